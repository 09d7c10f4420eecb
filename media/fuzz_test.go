package media

import (
	"bytes"
	"context"
	"encoding/base64"
	"errors"
	"image"
	"image/color"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/rwcarlsen/goexif/exif"
)

// seedFiles are small files of every kind, and the hostile set if it is there.
func seedFiles(f *testing.F) [][]byte {
	small := photo(16, 12)
	out := [][]byte{
		segmentAt(encodeJPEG(f, small), exifSegment(orientationBlock(6))),
		withChunk(encodePNG(f, small), "eXIf", orientationBlock(3)),
		progressive(16, 16, 2, 4),
		[]byte("RIFF\x12\x00\x00\x00WEBPVP8L\x05\x00\x00\x00\x2f\x00\x00\x00\x00\x00"),
		[]byte("\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic\x00\x00\x00\x0cmeta\x00\x00\x00\x00"),
	}
	folder := findCamera(f)
	if folder == "" {
		return out
	}
	hostile, err := filepath.Glob(filepath.Join(folder, "hostile", "*.jpg"))
	if err != nil {
		f.Fatal(err)
	}
	for _, path := range hostile {
		b, err := os.ReadFile(path)
		if err != nil {
			f.Fatal(err)
		}
		out = append(out, b)
	}
	return out
}

// FuzzInspect: no file makes Inspect panic, hang, or say what cannot be; its
// errors are the documented ones.
func FuzzInspect(f *testing.F) {
	for _, b := range seedFiles(f) {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		begin := processorTime(t)
		info, err := inspectBytes(b)
		if took := processorTime(t) - begin; took > 2*time.Second*raceSlowdown {
			t.Errorf("took %v", took)
		}
		if err != nil {
			for _, known := range []error{ErrEmpty, ErrNotImage, ErrUnsupported, ErrTruncated, ErrDamaged, ErrTooManyPixels, ErrTooManyScans, ErrTooLong} {
				if errors.Is(err, known) {
					return
				}
			}
			t.Fatalf("undocumented error: %v", err)
		}
		if info.Width < 1 || info.Height < 1 || info.Width > MaxPixels/info.Height || info.Orientation < 1 || info.Orientation > 8 {
			t.Errorf("%d x %d, orientation %d", info.Width, info.Height, info.Orientation)
		}
		CaptureTime(info.Exif, time.UTC)
	})
}

// FuzzDerive: what Inspect lets through either becomes derivatives or an error.
func FuzzDerive(f *testing.F) {
	for _, b := range seedFiles(f) {
		f.Add(b)
	}
	fuzzDerive(f, "")
}

// FuzzDeriveJPEG is FuzzDerive for one decoder: greyscale, every subsampling,
// progressive and four inks.
func FuzzDeriveJPEG(f *testing.F) {
	for _, b := range seedFiles(f) {
		f.Add(b)
	}
	f.Add(encodeJPEG(f, image.NewGray(image.Rect(0, 0, 9, 7))))
	f.Add(progressive(33, 17, 3, 40))
	seedSamples(f, "phone__Issue_508.jpg")
	fuzzDerive(f, JPEG)
}

// FuzzDerivePNG is FuzzDerive for one decoder: palette, 16 bits, grey, alpha.
func FuzzDerivePNG(f *testing.F) {
	area := image.Rect(0, 0, 9, 7)
	for _, img := range []image.Image{
		photo(9, 7), image.NewGray(area), image.NewGray16(area), image.NewNRGBA(area), image.NewNRGBA64(area),
		image.NewPaletted(area, color.Palette{color.Black, color.Transparent, color.White}),
	} {
		f.Add(encodePNG(f, img))
	}
	fuzzDerive(f, PNG)
}

// FuzzDeriveWebP is FuzzDerive for one decoder: lossy and lossless.
func FuzzDeriveWebP(f *testing.F) {
	f.Add([]byte("RIFF\x12\x00\x00\x00WEBPVP8L\x05\x00\x00\x00\x2f\x00\x00\x00\x00\x00"))
	f.Add(lossyWebP(f))
	seedSamples(f, "phone__Nikon_D1X.webp")
	fuzzDerive(f, WebP)
}

// lossyWebP is a whole lossy WebP: the still of 1 pixel by 1 that the format's
// own documentation offers browsers to detect support with ("lossy",
// developers.google.com/speed/webp/faq).
func lossyWebP(tb testing.TB) []byte {
	tb.Helper()
	b, err := base64.StdEncoding.DecodeString("UklGRiIAAABXRUJQVlA4IBYAAAAwAQCdASoBAAEADsD+JaQAA3AAAAAA")
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// fuzzDerive takes files of up to 16,384 pixels, of one kind or any, through
// Derive.
func fuzzDerive(f *testing.F, kind Kind) {
	f.Helper()
	f.Fuzz(func(t *testing.T, b []byte) {
		info, err := inspectBytes(b)
		if err != nil || kind != "" && info.Kind != kind || !info.Decodable() || info.Width*info.Height > 1<<14 {
			return
		}
		n := 0
		err = Derive(context.Background(), bytes.NewReader(b), info, func(d Derivative) error {
			n++
			if want := fitted(image.Pt(info.Width, info.Height), d.LongEdge); want != image.Pt(d.Width, d.Height) {
				t.Errorf("%d x %d, want %v", d.Width, d.Height, want)
			}
			return nil
		})
		if (err == nil) != (n == 3) {
			t.Errorf("%d derivatives and error %v", n, err)
		}
	})
}

// FuzzRebuildTIFF: whatever the block, the rebuilt one is small and goexif reads
// it; reading it again changes nothing.
func FuzzRebuildTIFF(f *testing.F) {
	f.Add(orientationBlock(6))
	f.Add([]byte("II*\x00\x08\x00\x00\x00\x00\x00\x00\x00\x00\x00"))
	for _, b := range seedFiles(f) {
		info, err := inspectBytes(b)
		if err == nil && info.layout.exif != nil {
			f.Add(info.layout.exif)
		}
	}
	f.Fuzz(func(t *testing.T, block []byte) {
		clean := rebuildTIFF(block)
		if clean == nil {
			return
		}
		if len(clean) > 8192 {
			t.Errorf("%d bytes rebuilt from %d", len(clean), len(block))
		}
		if _, err := exif.Decode(bytes.NewReader(clean)); err != nil {
			t.Fatalf("goexif does not read the rebuilt block: %v", err)
		}
		if again := rebuildTIFF(clean); !bytes.Equal(again, clean) {
			t.Errorf("rebuilt twice: %x, once: %x", again, clean)
		}
		if _, err := readExif(block); err != nil {
			t.Error(err)
		}
	})
}
