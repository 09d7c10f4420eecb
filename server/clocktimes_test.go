package server

import (
	"net/url"
	"testing"
	"time"
)

// What a typed time can mean in Denver, where clocks were set forward on 8 March
// and are set back on 1 November 2026. Source: IANA time zone database,
// America/Denver (rule US: second Sunday of March, first of November).
func TestFormMoments(t *testing.T) {
	denver, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ typed, first, last string }{
		{"", "", ""},
		{"2026-04-14T15:12:30", "2026-04-14T21:12:30Z", "2026-04-14T21:12:30.999Z"},
		{"2026-04-14 15:12", "2026-04-14T21:12:00Z", "2026-04-14T21:12:59.999Z"},
		{"2026-01-14", "2026-01-14T07:00:00Z", "2026-01-15T06:59:59.999Z"},
		{"2026-03-08", "2026-03-08T07:00:00Z", "2026-03-09T05:59:59.999Z"},          // 23 hours
		{"2026-11-01", "2026-11-01T06:00:00Z", "2026-11-02T06:59:59.999Z"},          // 25 hours
		{"2026-11-01T01:30:00", "2026-11-01T07:30:00Z", "2026-11-01T08:30:00.999Z"}, // occurred twice
		{"2026-11-01T02:00:00", "2026-11-01T09:00:00Z", "2026-11-01T09:00:00.999Z"}, // once
		{"2026-03-08T01:59:59", "2026-03-08T08:59:59Z", "2026-03-08T08:59:59.999Z"}, // the second before
		{"2026-03-08T03:00:00", "2026-03-08T09:00:00Z", "2026-03-08T09:00:00.999Z"}, // the second after
	} {
		f := formOf(url.Values{"at": {c.typed}})
		first, last := f.moments("at", denver)
		for _, m := range []struct {
			got  time.Time
			want string
		}{{first, c.first}, {last, c.last}} {
			if m.want == "" && m.got.IsZero() {
				continue
			}
			if want, err := time.Parse(time.RFC3339, m.want); err != nil || !m.got.Equal(want) {
				t.Errorf("%q: %s, want %s (%v)", c.typed, m.got.UTC(), m.want, err)
			}
		}
		if err := f.err(); err != nil {
			t.Errorf("%q: %v", c.typed, err)
		}
	}
	for _, bad := range []string{"2026-03-08T02:00", "2026-03-08T02:59:59", "2026-13-01", "2026-02-30", "14.4.2026", "2026-04-14T25:00", "1979-12-31", "9999-01-01", "now", "2026-04-14T15:12:30Z"} {
		f := formOf(url.Values{"at": {bad}})
		if first, last := f.moments("at", denver); f.bad["at"] == "" || !first.IsZero() || !last.IsZero() {
			t.Errorf("%q was taken as %s to %s", bad, first, last)
		}
	}
}
