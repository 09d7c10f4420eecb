package server

import (
	"fmt"
	"testing"
	"time"

	"farbay/journal"
)

func TestLimits(t *testing.T) {
	now := time.Date(2026, 4, 14, 15, 0, 0, 0, time.UTC)
	l := newLimits(func() time.Time { return now }, allowance{burst: 2, each: time.Minute})
	try := func(key string, want bool) {
		t.Helper()
		err := l.allow(key)
		if (err == nil) != want || err != nil && journal.CodeOf(err) != journal.TooMany {
			t.Errorf("%s at %s: %v, want allowed %v", key, now.Format("04:05"), err, want)
		}
	}
	try("a", true)
	try("a", true)
	try("a", false)
	try("b", true)
	now = now.Add(59 * time.Second)
	try("a", false)
	now = now.Add(2 * time.Second)
	try("a", true)
	try("a", false)
	l.forget("a")
	try("a", true)
}

// However many keys there are, memory stays bounded; keys whose allowance is
// whole again make room.
func TestLimitsMemory(t *testing.T) {
	now := time.Date(2026, 4, 14, 15, 0, 0, 0, time.UTC)
	l := newLimits(func() time.Time { return now }, allowance{burst: 2, each: time.Minute})
	for i := range maxLimitKeys {
		if err := l.allow(fmt.Sprint(i)); err != nil {
			t.Fatal(err)
		}
	}
	if err := l.allow("one more"); journal.CodeOf(err) != journal.TooMany {
		t.Errorf("a key too many: %v", err)
	}
	now = now.Add(time.Minute)
	if err := l.allow("one more"); err != nil || len(l.keys) != 1 {
		t.Errorf("after a minute: %v, %d keys", err, len(l.keys))
	}
}

func TestNetwork(t *testing.T) {
	for address, want := range map[string]string{
		"192.0.2.7": "192.0.2.7", "::ffff:192.0.2.7": "192.0.2.7",
		// A site usually gets a /64 (RFC 6177; RFC 7421).
		"2001:db8:1:2:3:4:5:6": "2001:db8:1:2::/64", "2001:db8:1:2::1%eth0": "2001:db8:1:2::/64", "": "", "x": "x",
	} {
		if got := network(address); got != want {
			t.Errorf("network(%q) = %q, want %q", address, got, want)
		}
	}
}
