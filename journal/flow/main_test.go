package flow_test

import (
	"flag"
	"os"
	"testing"
)

// TestMain lets the random histories run 20 times, and 3 times under the race
// detector, where nobody asked for another number with -rapid.checks: each is a
// database of its own.
func TestMain(m *testing.M) {
	flag.Parse()
	asked, checks := false, "20"
	flag.Visit(func(f *flag.Flag) { asked = asked || f.Name == "rapid.checks" })
	if underRace {
		checks = "3"
	}
	if !asked {
		if err := flag.Set("rapid.checks", checks); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

// alone leaves a test that goes through hundreds of databases in one goroutine to
// the run without the race detector, which .ci/test makes.
func alone(t *testing.T) {
	t.Helper()
	if underRace {
		t.Skip("runs without the race detector")
	}
}
