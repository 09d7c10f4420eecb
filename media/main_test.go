package media

import (
	"fmt"
	"os"
	"strconv"
	"testing"
)

// TestMain lets the test program be the child that decodes a HEIC, and the one
// that runs into a bound of memory.
func TestMain(m *testing.M) {
	RunChild()
	if size := os.Getenv("FARBAY_TEST_TAKE_MB"); size != "" {
		if err := takeMemory(size); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	code := m.Run()
	if plainFolder != "" {
		if err := os.RemoveAll(plainFolder); err != nil {
			fmt.Fprintln(os.Stderr, err)
			code = 1
		}
	}
	os.Exit(code)
}

func takeMemory(size string) error {
	mb, err := strconv.Atoi(size)
	if err != nil {
		return err
	}
	if err := limitMemory(512 << 20); err != nil {
		return err
	}
	b := make([]byte, mb<<20)
	for i := 0; i < len(b); i += 4096 {
		b[i] = 1
	}
	fmt.Println(len(b))
	return nil
}
