package media

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/gif"
	"image/jpeg"
	"math/rand/v2"
	"path/filepath"
	"regexp"
	"slices"
	"testing"

	"github.com/disintegration/imaging"
)

// TestDistance: bits that differ, by the definition of Hamming distance.
func TestDistance(t *testing.T) {
	for _, tt := range []struct {
		a, b uint64
		want int
	}{{0, 0, 0}, {0, 1, 1}, {0xff, 0, 8}, {1 << 63, 1, 2}, {0, ^uint64(0), 64}} {
		if got := Distance(tt.a, tt.b); got != tt.want {
			t.Errorf("Distance(%x, %x) = %d, want %d", tt.a, tt.b, got, tt.want)
		}
	}
}

// TestDifferenceHash_ByDefinition: a picture of 9 by 8 samples is its own grid,
// so that the bits can be told from it: one if the sample to the right is
// brighter.
func TestDifferenceHash_ByDefinition(t *testing.T) {
	grey := func(at func(x, y int) uint8) *image.Gray {
		img := image.NewGray(image.Rect(0, 0, 9, 8))
		for y := range 8 {
			for x := range 9 {
				img.Pix[y*img.Stride+x] = at(x, y)
			}
		}
		return img
	}
	rng := rand.New(rand.NewPCG(3, 4))
	random := grey(func(int, int) uint8 { return uint8(rng.Uint32()) })
	var want uint64
	for i := range 64 {
		if random.GrayAt(i%8+1, i/8).Y > random.GrayAt(i%8, i/8).Y {
			want |= 1 << (63 - i)
		}
	}
	for _, tt := range []struct {
		name string
		img  image.Image
		want uint64
	}{
		{"brighter to the right", grey(func(x, _ int) uint8 { return uint8(20 * x) }), ^uint64(0)},
		{"darker to the right", grey(func(x, _ int) uint8 { return uint8(200 - 20*x) }), 0},
		{"flat", grey(func(int, int) uint8 { return 77 }), 0},
		{"brighter in the first row's first step only", grey(func(x, y int) uint8 {
			if x == 0 && y == 0 {
				return 10
			}
			return 90
		}), 1 << 63},
		{"noise", random, want},
		{"noise in RGB", imaging.Clone(random), want},
	} {
		if got := differenceHash(tt.img); got != tt.want {
			t.Errorf("%s: %064b, want %064b", tt.name, got, tt.want)
		}
	}
}

// known is a photo's smallest derivative.
func known(tb testing.TB, b []byte) Derivative {
	tb.Helper()
	info := mustInspect(tb, b)
	var all []Derivative
	err := Derive(context.Background(), bytes.NewReader(b), info, func(d Derivative) error {
		all = append(all, d)
		return nil
	})
	if err != nil {
		tb.Fatal(err)
	}
	for _, d := range all[1:] {
		if d.Hash != all[0].Hash || d.Average != all[0].Average || !bytes.Equal(d.Preview, all[0].Preview) {
			tb.Errorf("%d and %d differ in hash, colour or preview", d.LongEdge, all[0].LongEdge)
		}
	}
	return all[0]
}

// burst is how else the camera could have taken a photo a moment later: held 2 %
// aside, 3 % closer, exposed 10 % longer; and how else it comes in, smaller and
// compressed more.
func burst(tb testing.TB, img image.Image) map[string][]byte {
	tb.Helper()
	size := img.Bounds().Size()
	part := func(left, top, right, bottom float64) image.Image {
		w, h := float64(size.X), float64(size.Y)
		return imaging.Crop(img, image.Rect(int(left*w), int(top*h), int(w-right*w), int(h-bottom*h)))
	}
	brighter := func(img image.Image) image.Image {
		return imaging.AdjustFunc(img, func(c color.NRGBA) color.NRGBA {
			up := func(v uint8) uint8 { return clamp8(int32(v) * 11 / 10) }
			return color.NRGBA{up(c.R), up(c.G), up(c.B), c.A}
		})
	}
	encode := func(img image.Image, quality int) []byte {
		var buf bytes.Buffer
		if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: quality}); err != nil {
			tb.Fatal(err)
		}
		return buf.Bytes()
	}
	return map[string][]byte{
		"quality 50":   encode(img, 50),
		"70 % size":    encode(imaging.Resize(img, size.X*7/10, 0, imaging.Lanczos), 90),
		"2 % aside":    encode(part(0.02, 0, 0, 0), 90),
		"2 % and down": encode(part(0.02, 0.02, 0, 0), 90),
		"10 % longer":  encode(brighter(img), 90),
		"3 % cropped":  encode(part(0.015, 0.015, 0.015, 0.015), 90),
		"all":          encode(brighter(part(0.02, 0.02, 0, 0)), 50),
	}
}

// samePicture finds the samples that are one photo stored several ways: the
// orientation sets, and conversions to WebP.
var samePicture = regexp.MustCompile(`^orientation__(Landscape|Portrait)_[2-8]\.|^phone__(HTC_Desire|Nikon_D1X)\.webp$`)

// TestAlike_CameraSamples measures what the threshold is set by: shots of a burst
// are alike, different photos are not.
func TestAlike_CameraSamples(t *testing.T) {
	if testing.Short() {
		t.Skip("skipped: 200 photos")
	}
	if plainly(t) {
		return
	}
	folder := cameraFolder(t)
	paths, err := filepath.Glob(filepath.Join(folder, "files", "*"))
	if err != nil {
		t.Fatal(err)
	}
	hashes := map[string]uint64{}
	var names []string
	within := make([]int, 65)
	for _, path := range paths {
		name := filepath.Base(path)
		b := readFile(t, path)
		info := mustInspect(t, b)
		if info.Kind != JPEG && info.Kind != WebP || info.Width < 100 || samePicture.MatchString(name) {
			continue
		}
		photo := known(t, b)
		hashes[name] = photo.Hash
		names = append(names, name)
		full := decodeJPEG(t, deriveAll(t, b)[960].JPEG)
		for what, again := range burst(t, full) {
			d := Distance(photo.Hash, known(t, again).Hash)
			within[d]++
			if d > alikeBits {
				t.Errorf("%s, %s: %d bits away", name, what, d)
			}
		}
	}
	slices.Sort(names)
	between := make([]int, 65)
	for i, a := range names {
		for _, b := range names[:i] {
			d := Distance(hashes[a], hashes[b])
			between[d]++
			if Alike(hashes[a], hashes[b]) {
				t.Errorf("%s and %s are %d bits away", a, b, d)
			}
		}
	}
	t.Logf("%d photos; bits within bursts %v; between photos %v", len(names), within[:alikeBits+6], between[:alikeBits+16])
}

// TestDerive_Preview: a GIF that any reader opens, of the photo's shape and
// colours, of 300 bytes at most, with nothing but pixels in it.
func TestDerive_Preview(t *testing.T) {
	files := map[string][]byte{
		"JPEG turned": segmentAt(encodeJPEG(t, photo(640, 480)), exifSegment(orientationBlock(6))),
		"square":      encodeJPEG(t, photo(500, 500)),
		"noise":       encodeJPEG(t, bigPhoto(400, 400)),
		"thin":        encodeJPEG(t, photo(3000, 3)),
		"one pixel":   encodePNG(t, photo(1, 1)),
		"PNG":         encodePNG(t, photo(300, 200)),
		"grey":        encodeJPEG(t, image.NewGray(image.Rect(0, 0, 80, 60))),
	}
	if folder := findCamera(t); folder != "" {
		for _, name := range []string{"orientation__Portrait_6.jpg", "phone__HTC_Desire.webp", "no-exif__Multiple_ICC_segments.jpg"} {
			files[name] = readFile(t, filepath.Join(folder, "files", name))
		}
	}
	for name, b := range files {
		d := known(t, b)
		img, err := gif.Decode(bytes.NewReader(d.Preview))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		info := mustInspect(t, b)
		if want := fitted(image.Pt(info.Width, info.Height), previewLongEdge); fmt.Sprint(want) != fmt.Sprint(img.Bounds().Size()) {
			// Rounded twice, from 320 px: one pixel off at most.
			diff := want.Sub(img.Bounds().Size())
			if diff.X*diff.X+diff.Y*diff.Y > 1 {
				t.Errorf("%s: %v, want %v", name, img.Bounds().Size(), want)
			}
		}
		if len(d.Preview) > 300 {
			t.Errorf("%s: %d bytes", name, len(d.Preview))
		}
		small := decodeJPEG(t, d.JPEG)
		a, p := meanColour(small), meanColour(img)
		for c := range 3 {
			if gap := a[c] - p[c]; gap > 6 || gap < -6 {
				t.Errorf("%s: channel %d is %.1f on average, %.1f in the preview", name, c, a[c], p[c])
			}
		}
		t.Logf("%s: %d bytes, %v", name, len(d.Preview), img.Bounds().Size())
	}
}

// TestPalette: no more colours than asked for, and all of them if they are few.
func TestPalette(t *testing.T) {
	img := image.NewRGBA(image.Rect(0, 0, 4, 4))
	draw.Draw(img, img.Rect, image.NewUniform(color.RGBA{200, 0, 0, 255}), image.Point{}, draw.Src)
	img.SetRGBA(1, 1, color.RGBA{0, 0, 50, 255})
	got := palette(img, 16)
	slices.SortFunc(got, func(a, b color.Color) int { return int(a.(color.RGBA).R) - int(b.(color.RGBA).R) })
	if want := (color.Palette{color.RGBA{0, 0, 50, 255}, color.RGBA{200, 0, 0, 255}}); fmt.Sprint(got) != fmt.Sprint(want) {
		t.Errorf("two colours: %v", got)
	}
	if n := len(palette(bigPhoto(16, 16), 16)); n != 16 {
		t.Errorf("of noise: %d colours", n)
	}
}
