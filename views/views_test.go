package views

import (
	"testing"
)

func mustNew(tb testing.TB) *Set {
	tb.Helper()
	set, err := New()
	if err != nil {
		tb.Fatal(err)
	}
	return set
}

func TestNew(t *testing.T) { mustNew(t) }
