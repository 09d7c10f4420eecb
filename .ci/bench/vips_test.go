package bench

import (
	"bytes"
	"context"
	"image"
	"image/color"
	"image/jpeg"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"farbay/media"
)

// photo draws a 12-megapixel JPEG of 3 to 4 MB, with edges, gradients and grain.
func photo(b *testing.B) []byte {
	const w, h = 4000, 3000
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	rng := rand.New(rand.NewPCG(1, 2))
	for y := range h {
		for x := range w {
			grain := int(rng.Uint32()&31) - 16
			edge := 0
			if (x/97+y/61)%2 == 0 {
				edge = 50
			}
			v := func(n int) uint8 { return uint8(max(0, min(255, n+grain+edge))) }
			img.SetRGBA(x, y, color.RGBA{R: v(150 * x / w), G: v(150 * y / h), B: v(150 * (x + y) / (w + h)), A: 255})
		}
	}
	var buf bytes.Buffer
	if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: 85}); err != nil {
		b.Fatal(err)
	}
	return buf.Bytes()
}

// BenchmarkWarm12MP makes the three sizes of a 12-megapixel JPEG in a process
// that is warm, and reports how long that takes against libvips with one decode
// ("x_libvips": the median of the rounds' ratios; each round runs both). Goal:
// 1.2 or less.
//
//	cd .ci/bench && go test -run '^$' -bench Warm12MP -benchtime 10x .
func BenchmarkWarm12MP(b *testing.B) {
	if err := startVips(); err != nil {
		b.Fatal(err)
	}
	original := photo(b)
	ours := func() {
		r := bytes.NewReader(original)
		info, err := media.Inspect(r, int64(len(original)))
		if err == nil {
			err = media.Derive(context.Background(), r, info, func(media.Derivative) error { return nil })
		}
		if err != nil {
			b.Fatal(err)
		}
	}
	theirs := func() {
		lengths, err := threeSizes(original, media.Quality)
		if err != nil || slices.Min(lengths[:]) < 1000 {
			b.Fatal(lengths, err)
		}
	}
	ours()
	theirs()
	var ratios []float64
	for b.Loop() {
		begin := time.Now()
		ours()
		between := time.Now()
		theirs()
		ratios = append(ratios, float64(between.Sub(begin))/float64(time.Since(between)))
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[len(ratios)/2], "x_libvips")
	b.ReportMetric(float64(len(original))/(1<<20), "MB_original")
}
