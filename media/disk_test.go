package media_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"io/fs"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"farbay/media"
	"farbay/media/storagetest"
)

// folder is a place on disk for the suite.
type folder struct{ dir string }

func (f folder) Open(tb testing.TB, hook storagetest.Hook) media.Storage {
	tb.Helper()
	return openDisk(tb, f.dir, hook)
}

func openDisk(tb testing.TB, dir string, hook storagetest.Hook) *media.Disk {
	tb.Helper()
	d, err := media.OpenDiskOn(storagetest.Files(hook), dir)
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() {
		if err := d.Close(); err != nil {
			tb.Error(err)
		}
	})
	return d
}

func (f folder) Leftovers(tb testing.TB) []string {
	tb.Helper()
	var out []string
	err := filepath.WalkDir(filepath.Join(f.dir, "incoming"), func(path string, entry fs.DirEntry, err error) error {
		if err == nil && !entry.IsDir() && entry.Name() != "lock" {
			out = append(out, path)
		}
		return err
	})
	if err != nil {
		tb.Fatal(err)
	}
	return out
}

func (f folder) OriginalPath(sha string) string {
	return filepath.Join(f.dir, "originals", sha[:2], sha)
}

func (f folder) Spoil(tb testing.TB, sha string) {
	tb.Helper()
	path := f.OriginalPath(sha)
	b, err := os.ReadFile(path)
	if err != nil {
		tb.Fatal(err)
	}
	b[len(b)-1] ^= 1
	if err := os.Chmod(path, 0o600); err != nil {
		tb.Fatal(err)
	}
	if err := os.WriteFile(path, b, 0o600); err != nil {
		tb.Fatal(err)
	}
}

func TestDisk_Contract(t *testing.T) {
	storagetest.Run(t, func(tb testing.TB) storagetest.Place { return folder{tb.TempDir()} })
}

// TestDisk_Order: the bytes are durable before they get their name, and the
// name before Put returns. The order is that of "Files are hard" (fsync(2):
// "Calling fsync() does not necessarily ensure that the entry in the directory
// containing the file has also reached disk. For that an explicit fsync() on a
// file descriptor for the directory is also needed.").
func TestDisk_Order(t *testing.T) {
	var steps []string
	d := openDisk(t, t.TempDir(), func(step string) (error, bool) {
		steps = append(steps, step)
		return nil, false
	})
	b := bytes.Repeat([]byte("x"), 1000)
	for _, tt := range []struct {
		name string
		act  func() error
		want string
	}{
		{"new", func() error { _, err := d.Put(context.Background(), bytes.NewReader(b), 1000); return err },
			"create write sync close mkdir syncdir chmod rename syncdir"},
		{"again", func() error { _, err := d.Put(context.Background(), bytes.NewReader(b), 1000); return err },
			"create write sync close touch remove syncdir"},
		{"derivative", func() error { return d.PutDerivative(context.Background(), strings.Repeat("0", 64), 320, b) },
			"create write sync close mkdir syncdir chmod rename syncdir"},
	} {
		steps = nil
		if err := tt.act(); err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(steps, " "); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
	}
}

func TestDisk_OriginalsAreReadOnly(t *testing.T) {
	dir := t.TempDir()
	d := openDisk(t, dir, nil)
	stored, err := d.Put(context.Background(), strings.NewReader("photo"), 10)
	if err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(d.OriginalPath(stored.SHA256))
	if err != nil {
		t.Fatal(err)
	}
	if info.Mode().Perm() != 0o400 {
		t.Errorf("mode %v, want nobody to write and only the owner to read", info.Mode())
	}
}

// TestOpenDisk_Sweep: what a dead process left is removed, what a living one
// is receiving is not.
func TestOpenDisk_Sweep(t *testing.T) {
	dir := t.TempDir()
	living := openDisk(t, dir, nil)
	in, out := io.Pipe()
	done := make(chan error, 1)
	go func() {
		_, err := living.Put(context.Background(), in, 1000)
		done <- err
	}()
	if _, err := out.Write([]byte("first half, ")); err != nil {
		t.Fatal(err)
	}
	for name, content := range map[string]string{"dead/1.part": "half a photo", "dead/lock": "", "unlocked/2.part": "x", "stray": "x"} {
		path := filepath.Join(dir, "incoming", name)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	openDisk(t, dir, nil)
	left := folder{dir}.Leftovers(t)
	if len(left) != 1 || slices.ContainsFunc(left, func(p string) bool { return strings.Contains(p, "dead") }) {
		t.Errorf("left in incoming: %q, want the one being received", left)
	}
	if _, err := out.Write([]byte("second half")); err != nil {
		t.Fatal(err)
	}
	if err := out.Close(); err != nil {
		t.Fatal(err)
	}
	if err := <-done; err != nil {
		t.Errorf("the living process's Put: %v", err)
	}
	if left := (folder{dir}).Leftovers(t); len(left) != 0 {
		t.Errorf("left in incoming: %q", left)
	}
}

// killedEnv makes the test binary a process that puts photos until it is
// killed.
const killedEnv = "FARBAY_MEDIA_TEST_PUT_INTO"

// TestDisk_Killed kills a real process with SIGKILL while it puts photos, many
// times over the same folder. After each round what it acknowledged is there,
// every original is whole, and nothing else is left.
func TestDisk_Killed(t *testing.T) {
	if dir := os.Getenv(killedEnv); dir != "" {
		putUntilKilled(t, dir)
		return
	}
	dir := t.TempDir()
	rng := rand.New(rand.NewPCG(1, 2))
	acknowledged := map[string]bool{}
	rounds := 25
	if testing.Short() {
		rounds = 5
	}
	for round := range rounds {
		cmd := exec.Command(os.Args[0], "-test.run=^TestDisk_Killed$")
		cmd.Env = append(os.Environ(), killedEnv+"="+dir)
		stdout, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(stdout)
		// It is killed after so many lines; where in the next Put that falls is
		// chance.
		for n := rng.IntN(12); n >= 0 && lines.Scan(); n-- {
			acknowledged[lines.Text()] = true
		}
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		for lines.Scan() {
			acknowledged[lines.Text()] = true
		}
		if err := cmd.Wait(); err == nil {
			t.Fatal("the process ended before it was killed")
		}
		checkAfterKill(t, dir, round, acknowledged)
	}
	t.Logf("%d photos acknowledged over %d kills", len(acknowledged), rounds)
}

func checkAfterKill(t *testing.T, dir string, round int, acknowledged map[string]bool) {
	t.Helper()
	d, err := media.OpenDisk(dir)
	if err != nil {
		t.Fatal(err)
	}
	found := map[string]bool{}
	err = d.Each(context.Background(), func(sha string, _ int64) error {
		found[sha] = true
		return d.Verify(context.Background(), sha)
	})
	if err != nil {
		t.Errorf("round %d: %v", round, err)
	}
	for sha := range acknowledged {
		if !found[sha] {
			t.Errorf("round %d: %q was acknowledged and is not there", round, sha)
		}
	}
	if left := (folder{dir}).Leftovers(t); len(left) != 0 {
		t.Errorf("round %d: left behind %q", round, left)
	}
	if err := d.Close(); err != nil {
		t.Error(err)
	}
}

func putUntilKilled(t *testing.T, dir string) {
	d, err := media.OpenDisk(dir)
	if err != nil {
		t.Fatal(err)
	}
	for {
		b := make([]byte, 1+rand.IntN(600_000))
		for i := range b {
			b[i] = byte(rand.Uint32())
		}
		stored, err := d.Put(context.Background(), bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := fmt.Println(stored.SHA256); err != nil {
			return // nobody listens any more
		}
	}
}
