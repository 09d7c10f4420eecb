package media

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"path/filepath"
	"strconv"
	"testing"
)

// slope draws a picture in which no place looks like another and nothing is too
// fine for JPEG's chroma.
func slope(w, h int) *image.NRGBA {
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			wave := 30 * math.Sin(float64(x)/17) * math.Sin(float64(y)/23)
			img.SetNRGBA(x, y, color.NRGBA{uint8(40 + 150*x/w), uint8(60 + 130*y/h), uint8(120 + wave), 255})
		}
	}
	return img
}

// asStored lays an upright picture out as a camera stores it under an
// orientation; see storedAs.
func asStored(upright *image.NRGBA, orientation int) *image.NRGBA {
	w, h := upright.Rect.Dx(), upright.Rect.Dy()
	t := turns[orientation]
	sw, sh := w, h
	if t.transpose {
		sw, sh = h, w
	}
	stored := image.NewNRGBA(image.Rect(0, 0, sw, sh))
	for y := range h {
		for x := range w {
			sx, sy := x, y
			if t.transpose {
				sx, sy = y, x
			}
			if t.flipX {
				sx = sw - 1 - sx
			}
			if t.flipY {
				sy = sh - 1 - sy
			}
			stored.SetNRGBA(sx, sy, upright.NRGBAAt(x, y))
		}
	}
	return stored
}

func deriveView(tb testing.TB, b []byte, v View) map[int]Derivative {
	tb.Helper()
	out := map[int]Derivative{}
	err := DeriveView(context.Background(), bytes.NewReader(b), mustInspect(tb, b), v, func(d Derivative) error {
		out[d.LongEdge] = d
		return nil
	})
	if err != nil || len(out) != len(LongEdges) {
		tb.Fatalf("%+v: %d derivatives, %v", v, len(out), err)
	}
	return out
}

// TestDeriveView_AsImageMagick compares the pixels of every turn of every
// orientation, cropped and whole, with what ImageMagick's -rotate (clockwise)
// and -crop make of the upright picture.
// Source: https://imagemagick.org/script/command-line-options.php#rotate, #crop.
func TestDeriveView_AsImageMagick(t *testing.T) {
	program(t, "convert")
	dir := t.TempDir()
	for _, size := range []image.Point{{151, 103}, {202, 128}} {
		upright := slope(size.X, size.Y)
		var file bytes.Buffer
		if err := png.Encode(&file, upright); err != nil {
			t.Fatal(err)
		}
		original := filepath.Join(dir, fmt.Sprint(size.X, ".png"))
		writeFile(t, original, file.Bytes())
		worst := 0.0
		for turn := range 4 {
			for i, v := range []View{{Turn: turn}, {Turn: turn, X: 1234, Y: 3333, W: 4321, H: 2500}, {Turn: turn, X: 4000, W: 5000, H: ViewParts}} {
				args := []string{original, "-rotate", strconv.Itoa(90 * turn), "+repage"}
				w, h := size.X, size.Y
				if turn%2 == 1 {
					w, h = h, w
				}
				if i > 0 {
					part := func(edge, of int) int { return int(math.Round(float64(edge) * float64(of) / ViewParts)) }
					args = append(args, "-crop", fmt.Sprintf("%dx%d+%d+%d", part(w, v.W), part(h, v.H), part(w, v.X), part(h, v.Y)), "+repage")
				}
				want, err := png.Decode(bytes.NewReader(run(t, "convert", append(args, "png:-")...)))
				if err != nil {
					t.Fatal(err)
				}
				for orientation := 1; orientation <= 8; orientation++ {
					stored := asStored(upright, orientation)
					files := map[string][]byte{"JPEG": segmentAt(encodeJPEG(t, stored), exifSegment(orientationBlock(orientation)))}
					if orientation == 1 || orientation == 7 {
						files["PNG"] = withChunk(encodePNG(t, stored), "eXIf", orientationBlock(orientation))
					}
					for kind, b := range files {
						d := deriveView(t, b, v)[2048]
						got := decodeJPEG(t, d.JPEG)
						if got.Bounds().Size() != want.Bounds().Size() || d.Width != got.Bounds().Dx() || d.Height != got.Bounds().Dy() {
							t.Fatalf("%s, orientation %d, %+v: %v, says %d x %d, want %v", kind, orientation, v, got.Bounds(), d.Width, d.Height, want.Bounds())
						}
						off := meanDifference(t, got, want)
						worst = max(worst, off)
						if off > 2 {
							t.Errorf("%s, orientation %d, %+v: differs by %.2f of 255", kind, orientation, v, off)
						}
					}
				}
			}
		}
		t.Logf("%v: the worst differs by %.2f of 255", size, worst)
	}
}

// The sizes of a view are those of a photo that was that large: nothing is
// enlarged, and what is said of the photo is said of what is shown.
func TestDeriveView_Sizes(t *testing.T) {
	half := image.NewNRGBA(image.Rect(0, 0, 1600, 1200))
	for y := range 1200 {
		for x := range 1600 {
			c := color.NRGBA{200, 30, 30, 255}
			if x >= 800 {
				c = color.NRGBA{30, 30, 200, 255}
			}
			half.SetNRGBA(x, y, c)
		}
	}
	got := deriveView(t, encodeJPEG(t, half), View{Turn: 1, X: 0, Y: 5000, W: ViewParts, H: 5000})
	// Turned clockwise, the left half is above: 1200 x 1600; its lower half is
	// what was right, and blue.
	for edge, want := range map[int]image.Point{2048: {1200, 800}, 960: {960, 640}, 320: {320, 213}} {
		if d := got[edge]; (image.Point{d.Width, d.Height}) != want || d.Average != got[320].Average {
			t.Errorf("%d: %d x %d, %s; want %v", edge, d.Width, d.Height, d.Average, want)
		}
	}
	if c := got[320].Average; c != "#1e1ec8" && c != "#1d1dc7" && c != "#1f1ec7" && c != "#1e1ec7" {
		t.Errorf("average %s, want about #1e1ec8", c)
	}
	if string(got[320].Preview) == string(deriveAll(t, encodeJPEG(t, half))[320].Preview) {
		t.Error("the preview is the whole photo's")
	}
}

func TestDeriveView_Refused(t *testing.T) {
	b := encodeJPEG(t, slope(40, 30))
	const big = math.MaxInt
	for _, v := range []View{
		{Turn: -1}, {Turn: 4}, {Turn: big}, {X: -1, W: 10, H: 10}, {W: 10}, {H: 10}, {X: 1}, {W: ViewParts + 1, H: 1},
		{X: 1, W: ViewParts, H: 1}, {X: big, W: 1, H: 1}, {X: 1, Y: 1, W: big, H: big}, {W: -big, H: -big},
	} {
		err := DeriveView(context.Background(), bytes.NewReader(b), mustInspect(t, b), v, func(Derivative) error { return nil })
		if !errors.Is(err, ErrBadView) {
			t.Errorf("%+v: %v", v, err)
		}
	}
	// The smallest part of the smallest photo is one pixel.
	one := deriveView(t, encodeJPEG(t, slope(1, 1)), View{Turn: 3, X: ViewParts - 1, Y: ViewParts - 1, W: 1, H: 1})
	if d := one[2048]; d.Width != 1 || d.Height != 1 {
		t.Errorf("%d x %d", d.Width, d.Height)
	}
}
