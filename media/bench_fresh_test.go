package media

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// childEnv makes this test binary a program that derives the photos named in
// it, all at once, each into its own folder, and prints its peak memory.
const childEnv = "FARBAY_DERIVE_CHILD"

// TestDerive_Child is that program.
func TestDerive_Child(t *testing.T) {
	paths := os.Getenv(childEnv)
	if paths == "" {
		t.Skip("skipped: runs in a process of its own for the benchmarks")
	}
	var work sync.WaitGroup
	for _, path := range filepath.SplitList(paths) {
		work.Go(func() {
			if err := deriveFile(path); err != nil {
				t.Error(err)
			}
		})
	}
	work.Wait()
	fmt.Println(peakLabel, peakKB(t))
}

const peakLabel = "peak KB:"

// deriveFile writes the derivatives of a file beside it.
func deriveFile(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	stat, err := f.Stat()
	if err != nil {
		return err
	}
	info, err := Inspect(f, stat.Size())
	if err != nil {
		return err
	}
	return Derive(context.Background(), f, info, func(d Derivative) error {
		return os.WriteFile(fmt.Sprintf("%s-%d.jpg", path, d.LongEdge), d.JPEG, 0o600)
	})
}

// peakKB is the most memory this process ever had resident (VmHWM of proc(5)).
func peakKB(tb testing.TB) int {
	tb.Helper()
	status, err := os.ReadFile("/proc/self/status")
	if err != nil {
		tb.Skipf("skipped: peak memory is read from /proc: %v", err)
	}
	lines := bufio.NewScanner(bytes.NewReader(status))
	for lines.Scan() {
		if rest, ok := strings.CutPrefix(lines.Text(), "VmHWM:"); ok {
			kb, err := strconv.Atoi(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(rest), "kB")))
			if err != nil {
				tb.Fatal(err)
			}
			return kb
		}
	}
	tb.Skip("skipped: /proc/self/status has no VmHWM")
	return 0
}

// childDerives runs the program and returns how long it took and its peak
// memory in KB.
func childDerives(tb testing.TB, paths ...string) (took time.Duration, kb int) {
	tb.Helper()
	cmd := exec.Command(os.Args[0], "-test.run=^TestDerive_Child$")
	cmd.Env = append(os.Environ(), childEnv+"="+strings.Join(paths, string(filepath.ListSeparator)))
	begin := time.Now()
	out, err := cmd.CombinedOutput()
	took = time.Since(begin)
	if err != nil {
		tb.Fatalf("%v: %s", err, out)
	}
	_, rest, ok := strings.Cut(string(out), peakLabel)
	if !ok {
		tb.Skipf("skipped: the program says nothing of its memory: %s", out)
	}
	if _, err := fmt.Sscan(rest, &kb); err != nil {
		tb.Fatal(err)
	}
	return took, kb
}

// BenchmarkDeriveFresh12MP makes the three sizes of a 12-megapixel JPEG in a new
// process and reports how long that takes against three runs of vipsthumbnail
// on the same file ("x_vipsthumbnail": the median of the rounds' ratios; each
// round runs both), and the new process's peak memory. Goal: 0.60 or less.
//
//	go test -run '^$' -bench DeriveFresh12MP -benchtime 10x ./media
func BenchmarkDeriveFresh12MP(b *testing.B) {
	vips, err := exec.LookPath("vipsthumbnail")
	if err != nil {
		b.Skip("skipped: vipsthumbnail is not installed (Debian: libvips-tools)")
	}
	path := filepath.Join(b.TempDir(), "photo.jpg")
	var photo bytes.Buffer // 3.4 MB: grain and edges at a phone's quality
	if err := jpeg.Encode(&photo, bigPhoto(4000, 3000), &jpeg.Options{Quality: 85}); err != nil {
		b.Fatal(err)
	}
	writeFile(b, path, photo.Bytes())
	var ours, theirs []time.Duration
	peak := 0
	for b.Loop() {
		took, kb := childDerives(b, path)
		ours, peak = append(ours, took), max(peak, kb)
		begin := time.Now()
		for _, edge := range LongEdges {
			to := fmt.Sprintf("%s-vips-%d.jpg[Q=%d,strip]", path, edge, Quality)
			if out, err := exec.Command(vips, path, "--size", strconv.Itoa(edge), "-o", to).CombinedOutput(); err != nil {
				b.Fatalf("vipsthumbnail: %v: %s", err, out)
			}
		}
		theirs = append(theirs, time.Since(begin))
	}
	reportRatio(b, "x_vipsthumbnail", ours, theirs)
	b.ReportMetric(float64(peak)/1024, "MB_peak")
}

// BenchmarkPeak48MP derives four 48-megapixel JPEGs at once in a new process,
// within the default bound, and reports its peak memory. Goal: what leaves a
// whole server within 256 MB.
//
//	go test -run '^$' -bench Peak48MP -benchtime 3x ./media
func BenchmarkPeak48MP(b *testing.B) {
	dir := b.TempDir()
	original := encodeJPEG(b, stripes(8000, 6000))
	var paths []string
	for i := range 4 {
		path := filepath.Join(dir, strconv.Itoa(i)+".jpg")
		writeFile(b, path, original)
		paths = append(paths, path)
	}
	most := 0
	for b.Loop() {
		_, kb := childDerives(b, paths...)
		most = max(most, kb)
	}
	b.ReportMetric(float64(most)/1024, "MB_peak")
}
