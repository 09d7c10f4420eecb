package flow_test

import (
	"flag"
	"os"
	"testing"
)

// TestMain lets the random histories run 10 times where nobody asked for another
// number with -rapid.checks: each is a database of its own.
func TestMain(m *testing.M) {
	flag.Parse()
	asked := false
	flag.Visit(func(f *flag.Flag) { asked = asked || f.Name == "rapid.checks" })
	if !asked {
		if err := flag.Set("rapid.checks", "10"); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}
