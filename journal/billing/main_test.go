package billing

import (
	"flag"
	"os"
	"testing"
)

// TestMain lets every property be tried 1,500 times, and 150 times under the race
// detector, where nobody asked for another number with -rapid.checks.
func TestMain(m *testing.M) {
	flag.Parse()
	asked, checks := false, "1500"
	flag.Visit(func(f *flag.Flag) { asked = asked || f.Name == "rapid.checks" })
	if underRace {
		checks = "150"
	}
	if !asked {
		if err := flag.Set("rapid.checks", checks); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}
