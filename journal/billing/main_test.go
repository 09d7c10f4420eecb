package billing

import (
	"flag"
	"os"
	"testing"
)

// TestMain lets every property be tried 1,500 times where nobody asked for another
// number with -rapid.checks.
func TestMain(m *testing.M) {
	flag.Parse()
	asked := false
	flag.Visit(func(f *flag.Flag) { asked = asked || f.Name == "rapid.checks" })
	if !asked {
		if err := flag.Set("rapid.checks", "1500"); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}
