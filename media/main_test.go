package media

import (
	"os"
	"testing"
)

// TestMain lets the test program be the child that decodes a HEIC.
func TestMain(m *testing.M) {
	RunChild()
	os.Exit(m.Run())
}
