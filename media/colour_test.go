package media

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"path/filepath"
	"testing"
)

// profileFor makes a small ICC profile: header, tag table and one private tag
// of filler bytes, after ICC.1:2022 sections 7.2 and 7.3. space is the data
// colour space, such as "RGB ".
func profileFor(space string, filler int) []byte {
	p := make([]byte, 128+4+12, 128+4+12+filler)
	p = append(p, bytes.Repeat([]byte{0xa5}, filler)...)
	binary.BigEndian.PutUint32(p, uint32(len(p)))
	p[8] = 4
	copy(p[12:], "mntr")
	copy(p[16:], space)
	copy(p[20:], "XYZ ")
	copy(p[36:], "acsp")
	binary.BigEndian.PutUint32(p[128:], 1)
	copy(p[132:], "fill")
	binary.BigEndian.PutUint32(p[136:], 144)
	binary.BigEndian.PutUint32(p[140:], uint32(filler))
	return p
}

// TestDerive_KeepsProfile writes profiles into photos with ExifTool and reads
// them out of the derivatives with ExifTool: RGB ones come through byte for
// byte, also over 64 KB, which takes several segments; others do not.
func TestDerive_KeepsProfile(t *testing.T) {
	program(t, "exiftool")
	rgb, long := profileFor("RGB ", 400), profileFor("RGB ", 150_000)
	tests := []struct {
		name    string
		ext     string
		profile []byte
		kept    bool
	}{
		{"RGB in JPEG", "jpg", rgb, true},
		{"long RGB in JPEG", "jpg", long, true},
		{"RGB in PNG", "png", rgb, true},
		{"RGB in WebP", "webp", rgb, true},
		{"CMYK in JPEG", "jpg", profileFor("CMYK", 400), false},
		{"grey in JPEG", "jpg", profileFor("GRAY", 400), false},
	}
	base := bases(t)
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "profile.icc")
			writeFile(t, path, tt.profile)
			b := writeTagsTo(t, tt.ext, base[tt.ext], "-icc_profile<="+path)
			if !mustInspect(t, b).HasICC {
				t.Error("HasICC is false")
			}
			got := extractProfile(t, deriveAll(t, b)[320].JPEG)
			switch {
			case tt.kept && !bytes.Equal(got, tt.profile):
				t.Errorf("%d bytes of profile came through, want all %d", len(got), len(tt.profile))
			case !tt.kept && len(got) > 0:
				t.Errorf("%d bytes of profile came through, want none", len(got))
			}
		})
	}
}

func extractProfile(tb testing.TB, b []byte) []byte {
	tb.Helper()
	path := filepath.Join(tb.TempDir(), "derivative.jpg")
	writeFile(tb, path, b)
	return run(tb, "exiftool", "-icc_profile", "-b", path)
}

// TestDerive_ProfilesOfSamples: what ExifTool finds as the profile of a real
// photo is what it finds in the derivative, if it is one for RGB.
func TestDerive_ProfilesOfSamples(t *testing.T) {
	folder := cameraFolder(t)
	for name, kept := range map[string]bool{
		"camera__Canon_EOS_7D.jpg":           true,  // Adobe RGB (1998)
		"phone__HTC_Desire.webp":             true,  // sRGB
		"no-exif__Multiple_ICC_segments.jpg": false, // for inks, in nine segments
	} {
		path := filepath.Join(folder, "files", name)
		want := run(t, "exiftool", "-icc_profile", "-b", path)
		got := extractProfile(t, deriveAll(t, readFile(t, path))[960].JPEG)
		if len(want) == 0 || kept && !bytes.Equal(got, want) || !kept && len(got) != 0 {
			t.Errorf("%s: %d of %d bytes of profile came through", name, len(got), len(want))
		}
	}
}

// TestDerive_BadProfiles: profiles in missing, doubled or misnumbered chunks,
// and with lying lengths, are left out; what is behind one too.
func TestDerive_BadProfiles(t *testing.T) {
	plain := encodeJPEG(t, photo(60, 40))
	chunk := func(number, count byte, data []byte) []byte {
		n := 2 + 12 + 2 + len(data)
		out := append([]byte{0xff, 0xe2, byte(n >> 8), byte(n)}, "ICC_PROFILE\x00"...)
		return append(append(out, number, count), data...)
	}
	good := profileFor("RGB ", 400)
	lying := append([]byte(nil), good...)
	binary.BigEndian.PutUint32(lying, uint32(len(lying))+1)
	join := func(parts ...[]byte) []byte { return bytes.Join(parts, nil) }
	for name, tt := range map[string]struct{ segments, want []byte }{
		"whole":               {chunk(1, 1, good), good},
		"in the wrong order":  {join(chunk(2, 2, good[300:]), chunk(1, 2, good[:300])), good},
		"with a secret after": {chunk(1, 1, append(append([]byte(nil), good...), "SN-77123"...)), good},
		"one missing":         {chunk(1, 2, good), nil},
		"one doubled":         {join(chunk(1, 1, good), chunk(1, 1, good)), nil},
		"numbered 0":          {chunk(0, 1, good), nil},
		"counts differ":       {join(chunk(1, 2, good[:300]), chunk(2, 3, good[300:])), nil},
		"length over the end": {chunk(1, 1, lying), nil},
		"too short":           {chunk(1, 1, good[:127]), nil},
		"not a profile":       {chunk(1, 1, bytes.Repeat([]byte("RGB "), 60)), nil},
	} {
		b := segmentAt(plain, tt.segments)
		d := deriveAll(t, b)[320].JPEG
		got := mustInspect(t, d).layout.icc
		if !bytes.Equal(got, tt.want) {
			t.Errorf("%s: %d bytes came through, want %d", name, len(got), len(tt.want))
		}
		if bytes.Contains(d, []byte("SN-77123")) {
			t.Errorf("%s: the bytes behind the profile came along", name)
		}
	}
}

// meanColour is the mean of an image's channels.
func meanColour(img image.Image) (out [3]float64) {
	b := img.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			r, g, bl, _ := img.At(x, y).RGBA()
			out[0] += float64(r >> 8)
			out[1] += float64(g >> 8)
			out[2] += float64(bl >> 8)
		}
	}
	for i := range out {
		out[i] /= float64(b.Dx() * b.Dy())
	}
	return out
}

// TestDerive_ColoursAsImageMagick compares the derivative of every form of
// pixels with ImageMagick's own conversion of the same file to RGB: WebP in its
// limited range (golang/go#40173), palettes, 16 bits, greys, transparency on
// white, all chroma subsamplings, progressive.
func TestDerive_ColoursAsImageMagick(t *testing.T) {
	img := photo(200, 120)
	pngBytes := encodePNG(t, img)
	deep := image.NewNRGBA64(img.Bounds())
	clear := image.NewNRGBA(img.Bounds())
	deepGrey := image.NewGray16(img.Bounds())
	for y := range 120 {
		for x := range 200 {
			c := img.NRGBAAt(x, y)
			deep.SetNRGBA64(x, y, color.NRGBA64{R: uint16(x * 327), G: uint16(y * 546), B: uint16((x + y) * 204), A: 0xffff})
			deepGrey.SetGray16(x, y, color.Gray16{Y: uint16(x * 327)})
			c.A = uint8(x)
			clear.SetNRGBA(x, y, c)
		}
	}
	tests := []struct {
		name string
		ext  string
		b    func(t *testing.T) []byte
	}{
		{"lossy WebP", "webp", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "webp", "-quality", "95") }},
		{"lossless WebP", "webp", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "webp", "-define", "webp:lossless=true") }},
		{"WebP with alpha", "webp", func(t *testing.T) []byte { return convert(t, encodePNG(t, clear), "png", "webp", "-quality", "95") }},
		{"palette PNG", "png", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "png8", "+dither", "-colors", "64") }},
		{"16-bit PNG", "png", func(t *testing.T) []byte { return encodePNG(t, deep) }},
		{"16-bit grey PNG", "png", func(t *testing.T) []byte { return encodePNG(t, deepGrey) }},
		{"PNG with alpha", "png", func(t *testing.T) []byte { return encodePNG(t, clear) }},
		{"grey JPEG", "jpg", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "jpg", "-colorspace", "Gray") }},
		{"4:4:4 JPEG", "jpg", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "jpg", "-sampling-factor", "1x1") }},
		{"4:2:2 JPEG", "jpg", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "jpg", "-sampling-factor", "2x1") }},
		{"4:4:0 JPEG", "jpg", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "jpg", "-sampling-factor", "1x2") }},
		{"4:1:1 JPEG", "jpg", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "jpg", "-sampling-factor", "4x1") }},
		{"progressive JPEG", "jpg", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "jpg", "-interlace", "JPEG") }},
		{"RGB JPEG", "jpg", func(t *testing.T) []byte {
			return convert(t, pngBytes, "png", "jpg", "-set", "colorspace", "sRGB", "-colorspace", "RGB", "-set", "colorspace", "sRGB")
		}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := tt.b(t)
			want, err := png.Decode(bytes.NewReader(convert(t, b, tt.ext, "png", "-background", "white", "-flatten", "-depth", "8")))
			if err != nil {
				t.Fatal(err)
			}
			d := deriveAll(t, b)[2048]
			got := decodeJPEG(t, d.JPEG)
			if diff := meanDifference(t, got, want); diff > 3 { // of JPEG; limited range taken for full is 8
				t.Errorf("mean difference %.2f of 255", diff)
			}
			// The average is given, too.
			mean := meanColour(want)
			for i, v := range []string{d.Average[1:3], d.Average[3:5], d.Average[5:7]} {
				var n int
				if _, err := fmt.Sscanf(v, "%02x", &n); err != nil {
					t.Fatal(err)
				}
				if math.Abs(float64(n)-mean[i]) > 3 {
					t.Errorf("Average %s, ImageMagick's mean is %.0f", d.Average, mean)
				}
			}
		})
	}
}

// TestDerive_CMYK: ImageMagick's way from inks to colour without a profile is
// (1-C)(1-K), as is that of image/color; from memory.
func TestDerive_CMYK(t *testing.T) {
	b := convert(t, encodePNG(t, photo(200, 120)), "png", "jpg", "-colorspace", "CMYK")
	want, err := png.Decode(bytes.NewReader(convert(t, b, "jpg", "png", "-colorspace", "sRGB")))
	if err != nil {
		t.Fatal(err)
	}
	if diff := meanDifference(t, decodeJPEG(t, deriveAll(t, b)[2048].JPEG), want); diff > 3 {
		t.Errorf("mean difference %.2f of 255", diff)
	}
}

// TestWidenRange: RFC 9649 (by RFC 6386) keeps luma within 16 to 235 and chroma
// within 16 to 240 around 128.
func TestWidenRange(t *testing.T) {
	img := image.NewYCbCr(image.Rect(0, 0, 6, 1), image.YCbCrSubsampleRatio444)
	copy(img.Y, []uint8{0, 16, 17, 125, 235, 255})
	copy(img.Cb, []uint8{0, 16, 127, 128, 240, 255})
	widenRange(img)
	// 255/219 = 1.164, 255/224 = 1.138, to nearest.
	if want := []uint8{0, 0, 1, 127, 255, 255}; !bytes.Equal(img.Y, want) {
		t.Errorf("luma %v, want %v", img.Y, want)
	}
	if want := []uint8{0, 1, 127, 128, 255, 255}; !bytes.Equal(img.Cb, want) {
		t.Errorf("chroma %v, want %v", img.Cb, want)
	}
}
