package media

import (
	"bytes"
	"context"
	"errors"
	"image"
	"image/color"
	"testing"
)

// likeHeifConvert compares the largest derivative with what heif-convert shows.
func likeHeifConvert(t *testing.T, b []byte, most float64) {
	t.Helper()
	d := deriveAll(t, b)[2048]
	got, want := decodeJPEG(t, d.JPEG), heifConvert(t, b)
	if diff := meanDifference(t, got, want); diff > most {
		t.Errorf("mean difference %.2f of 255, want at most %.1f", diff, most)
	}
}

// TestDerive_HEICForms: what heif-convert (Debian's libheif-examples) shows is
// what the derivatives show, for each form of pixels. 3 of 255 is what two lossy
// encodings leave.
func TestDerive_HEICForms(t *testing.T) {
	if plainly(t) {
		return
	}
	img := photo(200, 120)
	clear, grey := image.NewNRGBA(img.Bounds()), image.NewGray(img.Bounds())
	deep, deepGrey := image.NewNRGBA64(img.Bounds()), image.NewGray16(img.Bounds())
	for y := range 120 {
		for x := range 200 {
			c := img.NRGBAAt(x, y)
			grey.SetGray(x, y, color.Gray{Y: c.B})
			deep.SetNRGBA64(x, y, color.NRGBA64{R: uint16(x * 327), G: uint16(y * 546), B: uint16((x + y) * 204), A: 0xffff})
			deepGrey.SetGray16(x, y, color.Gray16{Y: uint16(x * 327)})
			c.A = uint8(x)
			clear.SetNRGBA(x, y, c)
		}
	}
	tests := []struct {
		name string
		img  image.Image
		args []string
	}{
		{"4:2:0", img, []string{"-p", "chroma=420"}},
		{"4:2:2", img, []string{"-p", "chroma=422"}},
		{"4:4:4", img, []string{"-p", "chroma=444"}},
		{"odd size", img.SubImage(image.Rect(0, 0, 151, 101)), nil},
		{"odd size, 4:2:2", img.SubImage(image.Rect(0, 0, 151, 101)), []string{"-p", "chroma=422"}},
		{"narrower than 64", img.SubImage(image.Rect(20, 20, 57, 111)), nil},
		{"10 bits", deep, []string{"-b", "10"}},
		{"12 bits", deep, []string{"-b", "12"}},
		{"grey", grey, nil},
		{"grey of 10 bits", deepGrey, []string{"-b", "10"}},
		{"transparent", clear, nil},
		{"green, blue and red coded as such", img, []string{"-L", "-p", "chroma=444", "--matrix_coefficients=0"}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			likeHeifConvert(t, heifEnc(t, encodePNG(t, tt.img), tt.args...), 3)
		})
	}
}

// TestDerive_HEICRanges: limited range and other matrices, as nclx boxes name
// them (ITU-T H.273), against heif-convert. The coded planes are the same in
// all; taken for full range and Rec. 601, they are off by more than 8.
func TestDerive_HEICRanges(t *testing.T) {
	if plainly(t) {
		return
	}
	item := coded(t, photo(200, 120), "-p", "chroma=420")
	for _, tt := range []struct {
		name        string
		matrix, max int
		full        byte
	}{
		{"601, full", 6, 3, 0x80}, {"601, limited", 6, 3, 0},
		{"709, full", 1, 3, 0x80}, {"709, limited", 1, 3, 0},
		{"2020, full", 9, 3, 0x80},
	} {
		t.Run(tt.name, func(t *testing.T) {
			with := item
			nclx := box("colr", []byte("nclx"), be16(1), be16(13), be16(tt.matrix), []byte{tt.full})
			with.properties = append([][]byte{nclx}, item.properties...)
			likeHeifConvert(t, heicFile(1, []heifItem{with}), float64(tt.max))
		})
	}
}

// TestDerive_HEICTurned goes through every irot and imir, in both orders, and
// looks for the four corners where heif-convert has them, and pixel by pixel.
// Exif's orientation, which says something else, must not act again.
func TestDerive_HEICTurned(t *testing.T) {
	if plainly(t) {
		return
	}
	item := coded(t, storedAs(1, 96, 64), "-p", "chroma=444")
	seen := map[string]bool{}
	for quarter := range 4 {
		for mirror := -1; mirror <= 1; mirror++ {
			for _, mirrorFirst := range []bool{false, true} {
				irot := box("irot", []byte{byte(quarter)})
				turned := [][]byte{irot}
				if mirror >= 0 {
					imir := box("imir", []byte{byte(mirror)})
					turned = [][]byte{irot, imir}
					if mirrorFirst {
						turned = [][]byte{imir, irot}
					}
				}
				with := item
				with.properties = append(append([][]byte(nil), item.properties...), turned...)
				exif := heifItem{kind: "Exif", data: append(be32(0), orientationBlock(6)...)}
				b := heicFile(1, []heifItem{with, exif}, box("cdsc", be16(2), be16(1), be16(1)))
				info := mustInspect(t, b)
				if info.Exif.Orientation != 6 {
					t.Fatalf("Exif's orientation is %d", info.Exif.Orientation)
				}
				got, want := decodeJPEG(t, deriveAll(t, b)[2048].JPEG), heifConvert(t, b)
				if diff := meanDifference(t, got, want); diff > 4 { // two corners exchanged: over 50
					t.Errorf("irot %d, imir %d, mirror first %v: mean difference %.1f", quarter, mirror, mirrorFirst, diff)
				}
				seen[string([]byte{byte('0' + info.Orientation)})] = true
			}
		}
	}
	if len(seen) != 8 {
		t.Errorf("%d orientations occurred, want all 8", len(seen))
	}
}

// TestDerive_HEICCropped: clap, alone and with turns before and behind it.
func TestDerive_HEICCropped(t *testing.T) {
	item := coded(t, photo(200, 120), "-p", "chroma=444")
	// 100 x 60, its middle 20 right of and 10 above the image's.
	clap := box("clap", be32(100), be32(1), be32(60), be32(1), be32(20), be32(1), be32(-10), be32(1))
	small := box("clap", be32(60), be32(1), be32(100), be32(1), be32(10), be32(1), be32(6), be32(1))
	irot := box("irot", []byte{1})
	for name, properties := range map[string][][]byte{
		"alone": {clap}, "then turned": {clap, irot}, "after a turn": {irot, small},
	} {
		t.Run(name, func(t *testing.T) {
			with := item
			with.properties = append(append([][]byte(nil), item.properties...), properties...)
			likeHeifConvert(t, heicFile(1, []heifItem{with}), 3)
		})
	}
}

// TestDerive_HEICGrid: tiles, with the last ones cut to the size of the whole.
func TestDerive_HEICGrid(t *testing.T) {
	img := photo(128, 128)
	tile := func(x, y int) heifItem {
		return coded(t, img.SubImage(image.Rect(x, y, x+64, y+64)))
	}
	grid := gridOf(2, 2, 120, 100)
	grid.properties = append(grid.properties, box("irot", []byte{3}))
	b := heicFile(5, []heifItem{tile(0, 0), tile(64, 0), tile(0, 64), tile(64, 64), grid}, madeOf(5, 1, 2, 3, 4))
	likeHeifConvert(t, b, 3)
	if info := mustInspect(t, b); info.Width != 100 || info.Height != 120 {
		t.Errorf("%d x %d", info.Width, info.Height)
	}
}

// TestDerive_HEICSamples: real files against heif-convert.
func TestDerive_HEICSamples(t *testing.T) {
	if plainly(t) {
		return
	}
	if testing.Short() {
		t.Skip("skipped: several 12-megapixel photos")
	}
	for name, b := range sampleHEICs(t) {
		t.Run(name, func(t *testing.T) { likeHeifConvert(t, b, 3) })
	}
}

// TestDerive_HEICWithoutChild: a program that does not call RunChild starts
// nothing.
func TestDerive_HEICWithoutChild(t *testing.T) {
	b := heicFile(1, []heifItem{coded(t, photo(64, 64))})
	childReady.Store(false)
	defer childReady.Store(true)
	err := Derive(t.Context(), bytes.NewReader(b), mustInspect(t, b), func(Derivative) error { return nil })
	if !errors.Is(err, ErrNoChild) {
		t.Errorf("%v, want ErrNoChild", err)
	}
}

// TestDerive_HEICOneAtATime: while one is decoded the next waits, and gives up
// with its context.
func TestDerive_HEICOneAtATime(t *testing.T) {
	b := heicFile(1, []heifItem{coded(t, photo(64, 64))})
	heifTurn <- struct{}{}
	defer func() { <-heifTurn }()
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error)
	go func() {
		done <- Derive(ctx, bytes.NewReader(b), mustInspect(t, b), func(Derivative) error { return nil })
	}()
	select {
	case err := <-done:
		t.Fatalf("decoded beside another: %v", err)
	default:
	}
	cancel()
	if err := <-done; !errors.Is(err, context.Canceled) {
		t.Errorf("%v, want it cancelled", err)
	}
}
