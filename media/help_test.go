package media

import (
	"bytes"
	"context"
	"encoding/json"
	"image"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
)

// findCamera finds the camera samples, which are no part of the project: in a
// folder shared/camera beside the module's root or beside a folder above it. It
// returns "" if there is none.
func findCamera(tb testing.TB) string {
	tb.Helper()
	dir, err := os.Getwd()
	if err != nil {
		tb.Fatal(err)
	}
	for dir != filepath.Dir(dir) {
		dir = filepath.Dir(dir)
		camera := filepath.Join(dir, "shared", "camera")
		if _, err := os.Stat(filepath.Join(camera, "truth.json")); err == nil {
			return camera
		}
	}
	return ""
}

// cameraFolder is findCamera for tests that cannot do without.
func cameraFolder(tb testing.TB) string {
	tb.Helper()
	folder := findCamera(tb)
	if folder == "" {
		tb.Skip("skipped: no folder shared/camera with camera samples beside the project")
	}
	return folder
}

// program finds an outside program, or skips; with FARBAY_TEST_ALL set it must
// be there.
func program(tb testing.TB, name string) string {
	tb.Helper()
	path, err := exec.LookPath(name)
	if err != nil && os.Getenv("FARBAY_TEST_ALL") != "" {
		tb.Fatalf("%s is not installed", name)
	}
	if err != nil {
		tb.Skipf("skipped: %s is not installed", name)
	}
	return path
}

// run runs an outside program and returns what it printed.
func run(tb testing.TB, name string, args ...string) []byte {
	tb.Helper()
	var stderr bytes.Buffer
	cmd := exec.Command(program(tb, name), args...)
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		tb.Fatalf("%s %q: %v: %s", name, args, err, stderr.Bytes())
	}
	return out
}

// exifTool returns what ExifTool reads in files, by path, then by group and
// tag, such as "IFD0:Make"; numbers as numbers. It starts ExifTool once.
func exifTool(tb testing.TB, paths []string, args ...string) map[string]map[string]any {
	tb.Helper()
	out := run(tb, "exiftool", append(append([]string{"-json", "-n", "-a", "-G1"}, args...), paths...)...)
	var rows []map[string]any
	if err := json.Unmarshal(out, &rows); err != nil {
		tb.Fatalf("exiftool printed no JSON: %v", err)
	}
	byPath := map[string]map[string]any{}
	for _, row := range rows {
		byPath[row["SourceFile"].(string)] = row
	}
	for _, path := range paths {
		if byPath[path] == nil {
			tb.Fatalf("exiftool says nothing of %s", path)
		}
	}
	return byPath
}

func readFile(tb testing.TB, path string) []byte {
	tb.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

func writeFile(tb testing.TB, path string, b []byte) {
	tb.Helper()
	if err := os.WriteFile(path, b, 0o600); err != nil {
		tb.Fatal(err)
	}
}

func inspectBytes(b []byte) (Info, error) {
	return Inspect(bytes.NewReader(b), int64(len(b)))
}

func mustInspect(tb testing.TB, b []byte) Info {
	tb.Helper()
	info, err := inspectBytes(b)
	if err != nil {
		tb.Fatal(err)
	}
	return info
}

// deriveAll makes all derivatives and checks what holds for every photo: their
// number, names, order, sizes, and that the JPEG is as large as it says.
func deriveAll(tb testing.TB, b []byte) map[int]Derivative {
	tb.Helper()
	info := mustInspect(tb, b)
	out := map[int]Derivative{}
	var order []int
	err := Derive(context.Background(), bytes.NewReader(b), info, func(d Derivative) error {
		out[d.LongEdge] = d
		order = append(order, d.LongEdge)
		return nil
	})
	if err != nil {
		tb.Fatal(err)
	}
	if len(order) != 3 || order[0] != 320 || order[1] != 960 || order[2] != 2048 {
		tb.Fatalf("derivatives in order %v, want 320, 960, 2048", order)
	}
	for edge, d := range out {
		config, err := jpeg.DecodeConfig(bytes.NewReader(d.JPEG))
		if err != nil {
			tb.Fatalf("%d: %v", edge, err)
		}
		if config.Width != d.Width || config.Height != d.Height {
			tb.Errorf("%d: says %d x %d, is %d x %d", edge, d.Width, d.Height, config.Width, config.Height)
		}
		if want := min(edge, max(info.Width, info.Height)); max(d.Width, d.Height) != want {
			tb.Errorf("%d: long edge is %d, want %d", edge, max(d.Width, d.Height), want)
		}
		if (d.Width > d.Height) != (info.Width > info.Height) && d.Width != d.Height {
			tb.Errorf("%d: %d x %d of %d x %d", edge, d.Width, d.Height, info.Width, info.Height)
		}
	}
	return out
}

func decodeJPEG(tb testing.TB, b []byte) image.Image {
	tb.Helper()
	img, err := jpeg.Decode(bytes.NewReader(b))
	if err != nil {
		tb.Fatal(err)
	}
	return img
}

func encodeJPEG(tb testing.TB, img image.Image) []byte {
	tb.Helper()
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: 95}); err != nil {
		tb.Fatal(err)
	}
	return buf.Bytes()
}

// meanDifference is the mean over all pixels and channels of how far two images
// of one size are apart, out of 255.
func meanDifference(tb testing.TB, a, b image.Image) float64 {
	tb.Helper()
	if a.Bounds().Size() != b.Bounds().Size() {
		tb.Fatalf("sizes differ: %v and %v", a.Bounds(), b.Bounds())
	}
	var sum float64
	size := a.Bounds().Size()
	for y := range size.Y {
		for x := range size.X {
			r1, g1, b1, _ := a.At(a.Bounds().Min.X+x, a.Bounds().Min.Y+y).RGBA()
			r2, g2, b2, _ := b.At(b.Bounds().Min.X+x, b.Bounds().Min.Y+y).RGBA()
			for _, d := range []int{int(r1>>8) - int(r2>>8), int(g1>>8) - int(g2>>8), int(b1>>8) - int(b2>>8)} {
				sum += float64(max(d, -d))
			}
		}
	}
	return sum / float64(3*size.X*size.Y)
}

// segmentAt inserts bytes behind a JPEG's first marker.
func segmentAt(b, segments []byte) []byte {
	out := append([]byte(nil), b[:2]...)
	out = append(out, segments...)
	return append(out, b[2:]...)
}

// exifSegment wraps a TIFF block as a JPEG APP1 segment.
func exifSegment(block []byte) []byte {
	n := 2 + 6 + len(block)
	return append([]byte{0xff, 0xe1, byte(n >> 8), byte(n), 'E', 'x', 'i', 'f', 0, 0}, block...)
}
