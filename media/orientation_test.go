package media

import (
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"path/filepath"
	"testing"

	"github.com/disintegration/imaging"
)

// orientationBlock is a TIFF block with nothing but an orientation, big-endian,
// laid out by hand after TIFF 6.0 section 2.
func orientationBlock(orientation int) []byte {
	return []byte{'M', 'M', 0, 42, 0, 0, 0, 8, 0, 1, 0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, byte(orientation), 0, 0, 0, 0, 0, 0}
}

// corners are four distinct colours that JPEG keeps apart, clockwise from the
// top left as a viewer should see them.
var corners = [4]color.NRGBA{{220, 40, 40, 255}, {40, 200, 60, 255}, {50, 60, 220, 255}, {230, 220, 60, 255}}

// storedAs draws an upright w x h picture the way a camera stores it with this
// orientation. It follows the words of Exif 3.0 4.6.5.1.6 by themselves: "The
// 0th row is at the visual top of the image and the 0th column is the visual
// left-hand side" (1), top and right (2), bottom and right (3), bottom and left
// (4), left and top (5), right and top (6), right and bottom (7), left and
// bottom (8).
func storedAs(orientation, w, h int) *image.NRGBA {
	upright := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := corners[0]
			switch {
			case x >= w/2 && y < h/2:
				c = corners[1]
			case x >= w/2:
				c = corners[2]
			case y >= h/2:
				c = corners[3]
			}
			upright.SetNRGBA(x, y, c)
		}
	}
	row := [9]string{1: "top", 2: "top", 3: "bottom", 4: "bottom", 5: "left", 6: "right", 7: "right", 8: "left"}[orientation]
	column := [9]string{1: "left", 2: "right", 3: "right", 4: "left", 5: "top", 6: "top", 7: "bottom", 8: "bottom"}[orientation]
	// place says where, upright, the nth row or column from the named side is.
	place := func(side string, n int, p *image.Point) {
		switch side {
		case "top":
			p.Y = n
		case "bottom":
			p.Y = h - 1 - n
		case "left":
			p.X = n
		case "right":
			p.X = w - 1 - n
		}
	}
	sw, sh := w, h
	if orientation >= 5 {
		sw, sh = h, w
	}
	stored := image.NewNRGBA(image.Rect(0, 0, sw, sh))
	for r := range sh {
		for c := range sw {
			var p image.Point
			place(row, r, &p)
			place(column, c, &p)
			stored.SetNRGBA(c, r, upright.NRGBAAt(p.X, p.Y))
		}
	}
	return stored
}

// TestDerive_AllOrientations turns a picture of four coloured quarters, in
// every format and with sizes that halve evenly and not, and looks at every
// pixel away from the borders between quarters.
func TestDerive_AllOrientations(t *testing.T) {
	for _, size := range []image.Point{{96, 64}, {97, 65}, {64, 99}, {500, 300}} {
		for orientation := 1; orientation <= 8; orientation++ {
			stored := storedAs(orientation, size.X, size.Y)
			block := orientationBlock(orientation)
			files := map[string][]byte{
				"JPEG": segmentAt(encodeJPEG(t, stored), exifSegment(block)),
				"PNG":  withChunk(encodePNG(t, stored), "eXIf", block),
			}
			for kind, b := range files {
				name := fmt.Sprintf("%s %v orientation %d", kind, size, orientation)
				for edge, d := range deriveAll(t, b) {
					checkQuarters(t, fmt.Sprint(name, " ", edge), decodeJPEG(t, d.JPEG))
				}
			}
		}
	}
}

func checkQuarters(t *testing.T, name string, img image.Image) {
	t.Helper()
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	const margin = 10 // the ringing of JPEG blocks and of the filter at the borders
	for y := range h {
		for x := range w {
			if d := x - w/2; d > -margin && d < margin {
				continue
			}
			if d := y - h/2; d > -margin && d < margin {
				continue
			}
			want := corners[0]
			switch {
			case x >= w/2 && y < h/2:
				want = corners[1]
			case x >= w/2:
				want = corners[2]
			case y >= h/2:
				want = corners[3]
			}
			got := color.NRGBAModel.Convert(img.At(x, y)).(color.NRGBA)
			// JPEG moves these colours by up to 14; another quarter is 120 away.
			if apart(got.R, want.R) > 24 || apart(got.G, want.G) > 24 || apart(got.B, want.B) > 24 {
				t.Errorf("%s: pixel %d, %d of %d x %d is %v, want about %v", name, x, y, w, h, got, want)
				return
			}
		}
	}
}

// TestShrink_AllOrientations turns and shrinks in one step, as a photo larger
// than the largest derivative is.
func TestShrink_AllOrientations(t *testing.T) {
	for orientation := 1; orientation <= 8; orientation++ {
		stored := storedAs(orientation, 300, 200)
		full := map[string]picture{
			"planes": toPicture(decodeJPEG(t, encodeJPEG(t, stored)), Info{Kind: JPEG}),
			"pixels": toPicture(stored, Info{Kind: PNG}),
		}
		for kind, p := range full {
			for _, to := range []image.Point{{150, 100}, {147, 98}, {95, 63}} {
				small := p.shrink(orientation, to)
				if small.size() != to {
					t.Fatalf("%s, orientation %d: %v, want %v", kind, orientation, small.size(), to)
				}
				checkQuarters(t, fmt.Sprint(kind, " orientation ", orientation), small.image())
			}
		}
	}
}

func apart(a, b uint8) int { return max(int(a)-int(b), int(b)-int(a)) }

// TestDerive_OrientationSamples: after the turn, Landscape_2 to 8 look like
// Landscape_1 and Portrait_2 to 8 like Portrait_1, with a mean difference under
// 0.5 of 255 at 64 x 64, and 27 and more when the turn is wrong (README beside
// the samples). Taken as of brightness: in colour the samples themselves, as
// stored and turned by hand, are up to 0.61 apart.
func TestDerive_OrientationSamples(t *testing.T) {
	if plainly(t) {
		return
	}
	folder := cameraFolder(t)
	thumb := func(b []byte) image.Image {
		return imaging.Grayscale(imaging.Resize(decodeJPEG(t, b), 64, 64, imaging.Linear))
	}
	for _, set := range []string{"Landscape", "Portrait"} {
		first := map[int]image.Image{}
		for n := 1; n <= 8; n++ {
			b := readFile(t, filepath.Join(folder, "files", fmt.Sprintf("orientation__%s_%d.jpg", set, n)))
			for edge, d := range deriveAll(t, b) {
				if edge == 2048 {
					continue // the whole picture, of which 960 is made
				}
				if n == 1 {
					first[edge] = thumb(d.JPEG)
				} else if diff := meanDifference(t, first[edge], thumb(d.JPEG)); diff >= 0.5 {
					t.Errorf("%s_%d at %d px differs from %s_1 by %.2f", set, n, edge, set, diff)
				}
			}
		}
	}
}

// TestInspect_OddOrientations: 0, 9 and more, and one in the Exif IFD, turn
// nothing (MEDIA.md: goexif takes them).
func TestInspect_OddOrientations(t *testing.T) {
	plain := encodeJPEG(t, photo(60, 40))
	for _, orientation := range []int{0, 9, 255} {
		info := mustInspect(t, segmentAt(plain, exifSegment(orientationBlock(orientation))))
		if info.Orientation != 1 || info.Width != 60 || info.Exif.Orientation != orientation {
			t.Errorf("%d: orientation %d, width %d, stored %d", orientation, info.Orientation, info.Width, info.Exif.Orientation)
		}
	}
	var sub []byte // IFD0 with orientation 3 and a pointer to an Exif IFD with orientation 6
	sub = append(sub, 'M', 'M', 0, 42, 0, 0, 0, 8, 0, 2)
	sub = append(sub, 0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, 3, 0, 0)
	sub = append(sub, 0x87, 0x69, 0, 4, 0, 0, 0, 1, 0, 0, 0, 38)
	sub = append(sub, 0, 0, 0, 0)
	sub = append(sub, 0, 1, 0x01, 0x12, 0, 3, 0, 0, 0, 1, 0, 6, 0, 0, 0, 0, 0, 0)
	if info := mustInspect(t, segmentAt(plain, exifSegment(sub))); info.Orientation != 3 {
		t.Errorf("orientation %d, want IFD0's 3", info.Orientation)
	}
}

// withChunk puts a chunk behind a PNG's header.
func withChunk(b []byte, kind string, data []byte) []byte {
	return insertChunk(b, pngChunk(kind, data))
}

func insertChunk(b, chunk []byte) []byte {
	const headerEnd = 8 + 25
	out := append([]byte(nil), b[:headerEnd]...)
	out = append(out, chunk...)
	return append(out, b[headerEnd:]...)
}

func pngChunk(kind string, data []byte) []byte {
	out := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
	out = append(append(out, kind...), data...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[4:]))
}

// TestHEIFOrientation: irot turns anticlockwise by quarters, imir mirrors after
// it (ISO/IEC 23008-12 6.5.10, 6.5.12, from memory). The numbers are checked by
// turning a corner: where the stored top left ends up.
func TestHEIFOrientation(t *testing.T) {
	// Exif 3.0: row 0, column 0 of the stored picture is seen at the top left
	// (1), top right (2), bottom right (3), bottom left (4), and with rows and
	// columns exchanged top left (5), top right (6), bottom right (7), bottom
	// left (8).
	type seen struct{ x, y, dx int } // corner, and whether the stored row runs across
	exif := map[int]seen{1: {0, 0, 1}, 2: {1, 0, 1}, 3: {1, 1, 1}, 4: {0, 1, 1}, 5: {0, 0, 0}, 6: {1, 0, 0}, 7: {1, 1, 0}, 8: {0, 1, 0}}
	for turn := byte(0); turn < 4; turn++ {
		for mirror := -1; mirror <= 1; mirror++ {
			s := seen{0, 0, 1}
			for range turn { // a quarter turn anticlockwise: top left -> bottom left -> bottom right -> top right
				s = seen{s.y, 1 - s.x, 1 - s.dx}
			}
			shown := shownPart{turn: turns[1]}
			properties := []heifProperty{{[]byte("irot"), []byte{turn}}}
			if mirror >= 0 {
				properties = append(properties, heifProperty{[]byte("imir"), []byte{byte(mirror)}})
			}
			for _, p := range properties {
				if err := shown.apply(p); err != nil {
					t.Fatal(err)
				}
			}
			switch mirror {
			case 0: // about a horizontal axis: top and bottom change places
				s.y = 1 - s.y
			case 1:
				s.x = 1 - s.x
			}
			if got := shown.turn.orientation(); exif[got] != s {
				t.Errorf("irot %d, imir %d: orientation %d puts the corner at %v, want %v", turn, mirror, got, exif[got], s)
			}
		}
	}
}
