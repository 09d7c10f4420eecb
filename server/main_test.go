package server_test

import (
	"os"
	"testing"

	"farbay/media"
)

func TestMain(m *testing.M) {
	media.RunChild() // HEIC is decoded by this program, started once more
	os.Exit(m.Run())
}
