package media

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"
)

// plainVariable marks a process that plainly started, which runs its test itself
// however it is compiled.
const plainVariable = "FARBAY_TEST_PLAIN"

// plainly hands a test to a process of these same tests that is compiled without
// the race detector, and says whether it did: the caller then returns. It is for
// tests that go through millions of pixels, which takes ten times as long under
// the race detector and shows it nothing that a small picture does not; so all
// of their checks are made there too. Such tests run beside each other, when all
// others are done.
//
// Without the race detector, or without Go to compile with, the test goes on
// where it is.
func plainly(t *testing.T) bool {
	t.Helper()
	if raceSlowdown == 1 || os.Getenv(plainVariable) != "" {
		return false
	}
	if _, err := exec.LookPath("go"); err != nil {
		t.Logf("slow: there is no Go to compile this test without the race detector: %v", err)
		return false
	}
	t.Parallel()
	program, err := plainProgram()
	if err != nil {
		t.Fatal(err)
	}
	args := []string{"-test.v", "-test.run=^" + regexp.QuoteMeta(t.Name()) + "$", fmt.Sprintf("-test.short=%v", testing.Short())}
	if end, ok := t.Deadline(); ok {
		args = append(args, "-test.timeout="+time.Until(end).String())
	}
	cmd := exec.CommandContext(t.Context(), program, args...)
	cmd.Env = append(os.Environ(), plainVariable+"=1")
	out, err := cmd.CombinedOutput()
	said := "\n" + string(out)
	switch {
	case err == nil && strings.Contains(said, "\n--- SKIP: "+t.Name()+" "):
		t.Skipf("without the race detector:%s", said)
	case err != nil || !strings.Contains(said, "\n--- PASS: "+t.Name()+" "):
		t.Fatalf("without the race detector: %v%s", err, said)
	}
	t.Logf("without the race detector:%s", said)
	return true
}

// plainProgram compiles these tests without the race detector, once.
var plainProgram = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "farbay-media-test")
	if err != nil {
		return "", err
	}
	plainFolder = dir
	program := filepath.Join(dir, "media.test")
	out, err := exec.Command("go", "test", "-c", "-race=false", "-o", program, ".").CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("compile the tests without the race detector: %w: %s", err, out)
	}
	return program, nil
})

// plainFolder is where plainProgram lies; TestMain removes it.
var plainFolder string
