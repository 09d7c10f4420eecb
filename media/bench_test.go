package media

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"math/rand/v2"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// bigPhoto draws a picture with edges, gradients and grain, so that its JPEG is
// about as large as a phone's, 3 to 4 MB at 12 megapixels.
func bigPhoto(w, h int) image.Image {
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	rng := rand.New(rand.NewPCG(1, 2))
	for y := range h {
		for x := range w {
			grain := int(rng.Uint32()&31) - 16
			edge := 0
			if (x/97+y/61)%2 == 0 {
				edge = 50
			}
			v := func(n int) uint8 { return clamp8(int32(n + grain + edge)) }
			img.SetNRGBA(x, y, color.NRGBA{R: v(150 * x / w), G: v(150 * y / h), B: v(150 * (x + y) / (w + h)), A: 255})
		}
	}
	return img
}

// BenchmarkIntake12MP takes a 12-megapixel JPEG through Put, Inspect and Derive
// and reports how long that is against ImageMagick's convert making the same
// three files of the same photo in the same run ("x_convert"; convert's start is
// part of it), and the memory allocated for one.
//
//	go test -run '^$' -bench Intake12MP -benchtime 10x ./media
func BenchmarkIntake12MP(b *testing.B) {
	original := segmentAt(encodeJPEG(b, bigPhoto(4000, 3000)), exifSegment(orientationBlock(6)))
	disk, err := OpenDisk(b.TempDir())
	if err != nil {
		b.Fatal(err)
	}
	defer disk.Close()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	n := 0
	for b.Loop() {
		n++
		stored, err := disk.Put(context.Background(), bytes.NewReader(original), 1<<30)
		if err != nil {
			b.Fatal(err)
		}
		f, err := disk.Open(context.Background(), stored.SHA256)
		if err != nil {
			b.Fatal(err)
		}
		info, err := Inspect(f, f.Size())
		if err != nil {
			b.Fatal(err)
		}
		err = Derive(context.Background(), f, info, func(d Derivative) error {
			return disk.PutDerivative(context.Background(), stored.SHA256, d.LongEdge, d.JPEG)
		})
		if err != nil {
			b.Fatal(err)
		}
		if err := f.Close(); err != nil {
			b.Fatal(err)
		}
	}
	runtime.ReadMemStats(&after)
	ours := b.Elapsed() / time.Duration(n)
	b.ReportMetric(float64(after.TotalAlloc-before.TotalAlloc)/float64(n)/(1<<20), "MB_allocated/op")
	b.ReportMetric(float64(len(original))/(1<<20), "MB_original")

	convert, err := exec.LookPath("convert")
	if err != nil {
		b.Log("no ratio: convert is not installed")
		return
	}
	dir := b.TempDir()
	from := filepath.Join(dir, "in.jpg")
	writeFile(b, from, original)
	// As fast as it can: one decode, each size from the next larger one.
	line := "-auto-orient -strip -quality 82 -filter Lanczos" +
		" -resize 2048x2048 -write " + filepath.Join(dir, "2048.jpg") +
		" -resize 960x960 -write " + filepath.Join(dir, "960.jpg") +
		" -resize 320x320 " + filepath.Join(dir, "320.jpg")
	const rounds = 3
	begin := time.Now()
	for range rounds {
		if out, err := exec.Command(convert, append([]string{from}, strings.Fields(line)...)...).CombinedOutput(); err != nil {
			b.Fatalf("convert: %v: %s", err, out)
		}
	}
	theirs := time.Since(begin) / rounds
	b.ReportMetric(float64(theirs.Milliseconds()), "ms_convert")
	b.ReportMetric(float64(ours)/float64(theirs), "x_convert")
}

// BenchmarkDerive12MP is the part of it without disk, by format.
func BenchmarkDerive12MP(b *testing.B) {
	img := bigPhoto(4000, 3000)
	for name, original := range map[string][]byte{"JPEG": encodeJPEG(b, img), "PNG": encodePNG(b, img)} {
		info := mustInspect(b, original)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if err := Derive(context.Background(), bytes.NewReader(original), info, func(Derivative) error { return nil }); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkInspect is reading a 12-megapixel file's structure and Exif.
func BenchmarkInspect(b *testing.B) {
	original := segmentAt(encodeJPEG(b, bigPhoto(4000, 3000)), exifSegment(orientationBlock(6)))
	b.ReportAllocs()
	b.SetBytes(int64(len(original)))
	for b.Loop() {
		if _, err := inspectBytes(original); err != nil {
			b.Fatal(err)
		}
	}
}
