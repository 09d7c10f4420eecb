package journal

import (
	"reflect"
	"testing"
)

// Every field of Split belongs to exactly one line kind, and Total misses none.
// By reflection, so that a kind added later cannot be forgotten in one place.
func TestSplit_EveryFieldHasItsKind(t *testing.T) {
	fields := reflect.TypeFor[Split]().NumField()
	if fields != len(LineKinds) {
		t.Fatalf("Split has %d fields and there are %d line kinds", fields, len(LineKinds))
	}
	var all Split
	seen := map[int]LineKind{}
	for i, k := range LineKinds {
		if !k.Valid() {
			t.Errorf("%q is listed and not valid", k)
		}
		one := Split{}.Plus(k, 1<<i)
		if one.Of(k) != 1<<i || one.Total() != 1<<i {
			t.Errorf("%s: %+v", k, one)
		}
		for f := range fields {
			if !reflect.ValueOf(one).Field(f).IsZero() {
				if other, taken := seen[f]; taken {
					t.Errorf("%s and %s share a field", k, other)
				}
				seen[f] = k
			}
		}
		all = all.Add(one)
	}
	if want := Cents(1<<len(LineKinds) - 1); all.Total() != want || len(seen) != fields {
		t.Errorf("all kinds together: %+v, total %d; want %d", all, all.Total(), want)
	}
}

func TestSplit_UnknownKind(t *testing.T) {
	s := Split{Labour: 5}
	if LineKind("fuel").Valid() || s.Of("fuel") != 0 || s.Plus("fuel", 9) != s {
		t.Error("an unknown kind must change nothing")
	}
}

func TestSplit_PlusLeavesTheOriginal(t *testing.T) {
	s := Split{Parts: 5}
	if got := s.Plus(Parts, -7); got.Parts != -2 || s.Parts != 5 {
		t.Errorf("got %+v from %+v", got, s)
	}
}
