package media

import (
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// BenchmarkExif reads every camera sample with Inspect and reports how many
// times faster that is, per file, than ExifTool with -fast2 reading all of
// them in one batch, its start included ("x_exiftool_faster"), and once more
// with the start of ExifTool on one file taken off ("x_without_start"). Goal:
// 50 or more.
//
//	go test -run '^$' -bench Exif -benchtime 20x ./media
func BenchmarkExif(b *testing.B) {
	tool, err := exec.LookPath("exiftool")
	if err != nil {
		b.Skip("skipped: exiftool is not installed (Debian: libimage-exiftool-perl)")
	}
	folder := cameraFolder(b)
	paths, err := filepath.Glob(filepath.Join(folder, "files", "*"))
	if err != nil || len(paths) < 40 {
		b.Fatalf("%d samples: %v", len(paths), err)
	}
	files := make([][]byte, len(paths))
	for i, path := range paths {
		files[i] = readFile(b, path)
	}
	exifTool := func(paths []string) time.Duration {
		begin := time.Now()
		args := append([]string{"-fast2", "-json", "-n", "-DateTimeOriginal", "-OffsetTimeOriginal", "-Orientation", "-Make", "-Model", "-GPSLatitude", "-GPSLongitude"}, paths...)
		if out, err := exec.Command(tool, args...).CombinedOutput(); err != nil {
			b.Fatalf("exiftool: %v: %s", err, out)
		}
		return time.Since(begin)
	}
	for b.Loop() {
		for _, file := range files {
			mustInspect(b, file)
		}
	}
	ours := b.Elapsed() / time.Duration(b.N)
	theirs, start := exifTool(paths), exifTool(paths[:1])
	b.ReportMetric(float64(ours.Microseconds())/float64(len(paths)), "us_per_file")
	b.ReportMetric(float64(theirs)/float64(ours), "x_exiftool_faster")
	b.ReportMetric(float64(theirs-start)/float64(ours), "x_without_start")
}
