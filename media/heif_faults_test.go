//go:build unix

package media

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"syscall"
	"testing"
	"time"
)

// headOf is what an honest child begins with, for a grey image.
func headOf(width, height int) []byte {
	return childHead{form: heifGrey, width: width, height: height}.append(nil)
}

// TestHEICChild_Faults: a child that breaks, lies, floods or hangs costs the one
// photo and ends; only what is not the file's fault may be tried again. The
// children are shell scripts in the place of the decoder.
func TestHEICChild_Faults(t *testing.T) {
	info := Info{Kind: HEIC, Bytes: 6, Orientation: 1}
	info.layout.coded.X, info.layout.coded.Y = 2, 3
	say := func(b []byte) string { // printf's own escapes
		out := &strings.Builder{}
		for _, c := range b {
			fmt.Fprintf(out, `\%03o`, c)
		}
		return "printf '" + out.String() + "'; "
	}
	good := say(headOf(2, 3)) + "printf abcdef; printf '" + strings.TrimSpace(childTrailer) + `\n'`
	tests := []struct {
		name, script string
		want         error // nil: none; errAgain: any but ErrDamaged
	}{
		{"an honest one", "cat >/dev/null; " + good, nil},
		{"an honest one that does not read all", good, nil},
		{"nothing said", "exit 0", ErrDamaged},
		{"an error", "echo no such codec >&2; exit 1", ErrDamaged},
		{"broken off", say(headOf(2, 3)) + "printf abc", ErrDamaged},
		{"all said, then an error", good + "; exit 3", ErrDamaged},
		{"no head", "printf 'panic: something else, and much of it, which is no head'", ErrDamaged},
		{"other size", say(headOf(3, 2)) + "printf abcdef", ErrDamaged},
		{"size of 16 EB", say(childHead{form: heifRGB, alpha: alphaWithin, width: 0xffffffff, height: 0xffffffff}.append(nil)), ErrDamaged},
		{"unknown form", say(childHead{form: 9, width: 2, height: 3}.append(nil)) + "printf abcdef", ErrDamaged},
		{"too much", good + "; printf more", ErrDamaged},
		{"flood", "exec cat /dev/zero", ErrDamaged},
		{"flood of errors", "head -c 10000000 /dev/zero >&2; exit 1", ErrDamaged},
		{"crash", "kill -SEGV $$", ErrDamaged},
		{"killed by somebody", "kill -KILL $$", errAgain},
		{"killed half-way", say(headOf(2, 3)) + "printf abc; kill -KILL $$", errAgain},
		{"hangs", "exec sleep 1000", errChildTime},
		{"hangs half-way", say(headOf(2, 3)) + "printf abc; exec sleep 1000", errChildTime},
		{"hangs at its end", good + "; exec >&-; exec sleep 1000", errChildTime},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			limit := 10 * time.Minute
			if tt.want == errChildTime {
				limit = 200 * time.Millisecond
			}
			ctx, cancel := context.WithTimeoutCause(t.Context(), limit, errChildTime)
			defer cancel()
			child := exec.CommandContext(ctx, "/bin/sh", "-c", tt.script)
			child.Env = []string{"PATH=" + os.Getenv("PATH")}
			raw, err := runHEIFChild(ctx, child, strings.NewReader("a file"), info)
			switch {
			case tt.want == nil && (err != nil || string(raw.planes[0]) != "abcdef"):
				t.Errorf("%v", err)
			case tt.want == errAgain && (err == nil || errors.Is(err, ErrDamaged)):
				t.Errorf("%v, want an error that does not blame the file", err)
			case tt.want != errAgain && !errors.Is(err, tt.want):
				t.Errorf("%v, want %v", err, tt.want)
			}
			noChildren(t)
		})
	}
}

var errAgain = errors.New("try again")

// noChildren sees that this process has no child, not even a dead one.
func noChildren(t *testing.T) {
	t.Helper()
	if pid, err := syscall.Wait4(-1, nil, syscall.WNOHANG, nil); err != syscall.ECHILD {
		t.Errorf("a child is left: %d, %v", pid, err)
	}
}

// killsAt is a file that kills a process when it has been read this far.
type killsAt struct {
	io.ReaderAt
	at    int64
	child *exec.Cmd
}

func (k *killsAt) ReadAt(p []byte, off int64) (int, error) {
	if off >= k.at {
		if err := k.child.Process.Kill(); err != nil {
			return 0, err
		}
	}
	return k.ReaderAt.ReadAt(p, off)
}

// TestHEICChild_KilledMidWay kills the real decoder while it gets the file; the
// next photo is decoded as if nothing had been.
func TestHEICChild_KilledMidWay(t *testing.T) {
	b := heicFile(1, []heifItem{coded(t, photo(640, 480))})
	padded := append(append([]byte(nil), b...), box("free", make([]byte, 1<<20))...)
	info := mustInspect(t, padded)
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	child := exec.CommandContext(t.Context(), program)
	_, err = runHEIFChild(t.Context(), child, &killsAt{bytes.NewReader(padded), 1 << 19, child}, info)
	if err == nil || errors.Is(err, ErrDamaged) {
		t.Errorf("%v, want an error that does not blame the file", err)
	}
	noChildren(t)
	deriveAll(t, b)
	noChildren(t)
}

// TestDerive_HEICLeavesNoProcess: twenty photos, good and bad, one after the
// other.
func TestDerive_HEICLeavesNoProcess(t *testing.T) {
	if plainly(t) {
		return
	}
	good := heicFile(1, []heifItem{coded(t, photo(64, 64))})
	for i := range 20 {
		b := good
		if i%4 == 3 {
			b = bytes.Replace(good, []byte("hvcC"), []byte("xxxx"), 1)
		}
		err := Derive(t.Context(), bytes.NewReader(b), mustInspect(t, b), func(Derivative) error { return nil })
		if (i%4 == 3) != errors.Is(err, ErrDamaged) || i%4 != 3 && err != nil {
			t.Errorf("%d: %v", i, err)
		}
	}
	noChildren(t)
}

// TestDerive_HEICFileFails: an error of the file itself is handed on.
func TestDerive_HEICFileFails(t *testing.T) {
	b := heicFile(1, []heifItem{coded(t, photo(64, 64))})
	err := Derive(t.Context(), failing{}, mustInspect(t, b), func(Derivative) error { return nil })
	if !errors.Is(err, syscall.EIO) {
		t.Errorf("%v, want the file's error", err)
	}
	noChildren(t)
}

type failing struct{}

func (failing) ReadAt([]byte, int64) (int, error) { return 0, syscall.EIO }

// TestDerive_HEICBombs: files of some KB that claim to be huge. Nothing takes
// more than the child's bounds, and the server's process next to nothing.
func TestDerive_HEICBombs(t *testing.T) {
	if testing.Short() {
		t.Skip("skipped: large images")
	}
	tile := coded(t, photo(64, 64))
	resized := func(w, h int) heifItem {
		out := tile
		out.properties = append([][]byte{box("ispe", be32(0), be32(w), be32(h))}, tile.properties[1:]...)
		return out
	}
	if !bytes.Contains(tile.properties[0], []byte("ispe")) {
		out := append([][]byte(nil), tile.properties...)
		tile.properties = [][]byte{out[1], out[0]}
	}
	same := func(n int) []int {
		out := make([]int, n)
		for i := range out {
			out[i] = 1
		}
		return out
	}
	nested := gridOf(1, 1, 64, 64)
	for name, tt := range map[string]struct {
		b    []byte
		want error
	}{
		"64 by 64 said to be 8000 by 8000": {heicFile(1, []heifItem{resized(8000, 8000)}), ErrDamaged},
		"64 by 64 said to be 130 by 64":    {heicFile(1, []heifItem{resized(130, 64)}), ErrDamaged},
		"the same tile 3600 times":         {heicFile(2, []heifItem{tile, gridOf(60, 60, 3840, 3840)}, madeOf(2, same(3600)...)), nil},
		"the same tile 15625 times":        {heicFile(2, []heifItem{tile, gridOf(125, 125, 8000, 8000)}, madeOf(2, same(15625)...)), nil},
		"a grid of itself":                 {heicFile(1, []heifItem{nested}, madeOf(1, 1)), ErrDamaged},
		"a grid of tiles that are not":     {heicFile(2, []heifItem{tile, gridOf(125, 125, 8000, 8000)}, madeOf(2, 1, 1)), ErrDamaged},
	} {
		t.Run(name, func(t *testing.T) {
			info := mustInspect(t, tt.b)
			program, err := os.Executable()
			if err != nil {
				t.Fatal(err)
			}
			child := exec.CommandContext(t.Context(), program)
			_, err = runHEIFChild(t.Context(), child, bytes.NewReader(tt.b), info)
			if tt.want != nil && !errors.Is(err, tt.want) {
				t.Errorf("%v, want %v", err, tt.want)
			}
			used := child.ProcessState.SysUsage().(*syscall.Rusage)
			peak := used.Maxrss << 10 // in KB on Linux
			t.Logf("%v: %v of computing, %d MB", err, child.ProcessState.UserTime(), peak>>20)
			if peak > childMemoryBytes {
				t.Errorf("%d MB at most in memory", peak>>20)
			}
		})
	}
	huge := heicFile(1, []heifItem{resized(8001, 8000)})
	if _, err := inspectBytes(huge); !errors.Is(err, ErrTooManyPixels) {
		t.Errorf("%v, want ErrTooManyPixels", err)
	}
}

// TestLimitMemory: the kernel's bound is one. A process of this program takes
// 64 MB within a bound of 512, and dies of 1024.
func TestLimitMemory(t *testing.T) {
	if plainly(t) { // the race detector takes more than the bound for itself
		return
	}
	if raceSlowdown > 1 {
		t.Skip("skipped: the race detector takes more than the bound for itself")
	}
	for size, ok := range map[string]bool{"64": true, "1024": false} {
		program, err := os.Executable()
		if err != nil {
			t.Fatal(err)
		}
		cmd := exec.Command(program)
		cmd.Env = append(os.Environ(), "FARBAY_TEST_TAKE_MB="+size)
		out, err := cmd.CombinedOutput()
		if ok != (err == nil) {
			t.Errorf("%s MB: %v: %.200s", size, err, out)
		}
	}
}
