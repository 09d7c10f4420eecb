package media

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// profileNamed is a profile of the test data of the library that reads them
// here, which is not the judge of it: ImageMagick with Little CMS is.
func profileNamed(tb testing.TB, name string) string {
	tb.Helper()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/kovidgoyal/imaging").Output()
	path := filepath.Join(strings.TrimSpace(string(out)), "prism", "meta", "icc", "test-profiles", name)
	if _, statErr := os.Stat(path); err != nil || statErr != nil {
		tb.Skipf("skipped: no %s in the module cache", name)
	}
	return path
}

// toLab is CIE L*a*b* of an sRGB colour, white D65 (IEC 61966-2-1, CIE 15).
func toLab(c color.Color) [3]float64 {
	r, g, b, _ := c.RGBA()
	var linear [3]float64
	for i, v := range []uint32{r, g, b} {
		f := float64(v>>8) / 255
		if f <= 0.04045 {
			linear[i] = f / 12.92
		} else {
			linear[i] = math.Pow((f+0.055)/1.055, 2.4)
		}
	}
	xyz := matrix3{{0.4124, 0.3576, 0.1805}, {0.2126, 0.7152, 0.0722}, {0.0193, 0.1192, 0.9505}}.apply(linear)
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	x, y, z := f(xyz[0]/0.9505), f(xyz[1]), f(xyz[2]/1.0890)
	return [3]float64{116*y - 16, 500 * (x - y), 200 * (y - z)}
}

// meanDeltaE is the mean distance of two images of one size in L*a*b* (CIE 1976).
func meanDeltaE(tb testing.TB, a, b image.Image) float64 {
	tb.Helper()
	size := a.Bounds().Size()
	if size != b.Bounds().Size() {
		tb.Fatalf("sizes differ: %v and %v", a.Bounds(), b.Bounds())
	}
	var sum float64
	for y := range size.Y {
		for x := range size.X {
			p := toLab(a.At(a.Bounds().Min.X+x, a.Bounds().Min.Y+y))
			q := toLab(b.At(b.Bounds().Min.X+x, b.Bounds().Min.Y+y))
			sum += math.Sqrt((p[0]-q[0])*(p[0]-q[0]) + (p[1]-q[1])*(p[1]-q[1]) + (p[2]-q[2])*(p[2]-q[2]))
		}
	}
	return sum / float64(size.X*size.Y)
}

// asSRGB is ImageMagick's conversion of a file to sRGB by its profile, with
// Little CMS.
func asSRGB(tb testing.TB, b []byte, ext string) image.Image {
	tb.Helper()
	out := convert(tb, b, ext, "png", "-intent", "perceptual", "-black-point-compensation", "-profile", profileNamed(tb, "sRGB.icc"), "-strip", "-depth", "8", "-define", "png:color-type=2")
	img, err := png.Decode(bytes.NewReader(out))
	if err != nil {
		tb.Fatal(err)
	}
	return img
}

// soft is a picture without sharp edges, so that what is left of JPEG's own
// losses does not hide errors of colour.
func soft(w, h int) image.Image {
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	wave := func(t float64) uint8 { return uint8(127.5 + 110*math.Sin(t)) }
	for y := range h {
		for x := range w {
			u, v := float64(x)/90, float64(y)/90
			img.SetNRGBA(x, y, color.NRGBA{R: wave(u), G: wave(v + 1), B: wave(u + v + 2), A: 255})
		}
	}
	return img
}

// shown is a picture as it goes to the JPEG encoder.
func shown(tb testing.TB, b []byte, info Info) image.Image {
	tb.Helper()
	p, err := decode(tb.Context(), bytes.NewReader(b), info)
	if err != nil {
		tb.Fatal(err)
	}
	return p.shrink(1, p.size()).image()
}

// TestDerive_InksAndGreysByProfile: Delta-E to ImageMagick's conversion. Without
// the profile it would be over 5.
func TestDerive_InksAndGreysByProfile(t *testing.T) {
	picture := encodePNG(t, soft(240, 160))
	inks := func(profile string) func(*testing.T) []byte {
		return func(t *testing.T) []byte {
			return convert(t, picture, "png", "jpg", "-profile", profileNamed(t, "sRGB.icc"), "-profile", profile, "-quality", "98", "-sampling-factor", "1x1")
		}
	}
	grey := func(name, ext string) func(*testing.T) []byte {
		return func(t *testing.T) []byte {
			path := profileNamed(t, name)
			if ext == "png" { // ImageMagick leaves a grey profile out
				return writeTagsTo(t, ext, convert(t, picture, "png", ext, "-colorspace", "Gray", "-strip"), "-icc_profile<="+path)
			}
			return convert(t, picture, "png", ext, "-colorspace", "Gray", "-strip", "-profile", path, "-quality", "98")
		}
	}
	ghostscript := "/usr/share/color/icc/ghostscript/default_cmyk.icc" // Debian's libgs-common
	tests := []struct {
		name, ext string
		b         func(*testing.T) []byte
	}{
		{"inks", "jpg", func(t *testing.T) []byte { return inks(profileNamed(t, "cmyk.icc"))(t) }},
		{"inks, another press", "jpg", func(t *testing.T) []byte {
			if _, err := os.Stat(ghostscript); err != nil {
				t.Skip("skipped: libgs-common is not installed")
			}
			return inks(ghostscript)(t)
		}},
		{"grey of gamma 1.8", "jpg", grey("gray-v2-gamma1.8-d65.icc", "jpg")},
		{"grey by a table", "jpg", grey("gray-v2-tabulated-prtr.icc", "jpg")},
		{"grey of gamma 1.8 in PNG", "png", grey("gray-v2-gamma1.8-d65.icc", "png")},
		{"grey of sRGB", "jpg", grey("gray-v4-srgb.icc", "jpg")},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := tt.b(t)
			info := mustInspect(t, b)
			if len(info.layout.icc) == 0 {
				t.Fatal("no profile in the file")
			}
			got, want := shown(t, b, info), asSRGB(t, b, tt.ext)
			diff := meanDeltaE(t, got, want)
			info.layout.icc = nil
			t.Logf("mean Delta-E %.2f, %.2f without the profile", diff, meanDeltaE(t, shown(t, b, info), want))
			if diff >= 1 {
				t.Errorf("mean Delta-E %.2f, want under 1", diff)
			}
		})
	}
}

// TestDerive_KeepsRed: a photo in Display P3 and its derivative are the same
// colours after ImageMagick's conversion of both to sRGB, in JPEG and, from a
// HEIC with no more than numbers for its colours, too.
func TestDerive_KeepsRed(t *testing.T) {
	p3 := profileNamed(t, "displayp3.icc")
	red := encodePNG(t, soft(240, 160))
	jpg := convert(t, red, "png", "jpg", "-strip", "-profile", p3, "-quality", "98", "-sampling-factor", "1x1")
	derived := deriveAll(t, jpg)[2048].JPEG
	if diff := meanDeltaE(t, asSRGB(t, derived, "jpg"), asSRGB(t, jpg, "jpg")); diff >= 1 {
		t.Errorf("JPEG: mean Delta-E %.2f, want under 1", diff)
	} else {
		t.Logf("JPEG: %.2f", diff)
	}
	if diff := meanDeltaE(t, decodeJPEG(t, derived), asSRGB(t, jpg, "jpg")); diff < 2 {
		t.Errorf("the profile makes a difference of %.2f only: this test shows nothing", diff)
	}

	item := coded(t, soft(240, 160), "-p", "chroma=444")
	item.properties = append(item.properties, box("colr", []byte("nclx"), be16(12), be16(13), be16(6), []byte{0x80}))
	fromHEIC := deriveAll(t, heicFile(1, []heifItem{item}))[2048].JPEG
	if diff := meanDeltaE(t, asSRGB(t, fromHEIC, "jpg"), asSRGB(t, jpg, "jpg")); diff >= 1 {
		t.Errorf("HEIC: mean Delta-E %.2f, want under 1", diff)
	} else {
		t.Logf("HEIC: %.2f", diff)
	}
}

// TestWideProfile: ExifTool reads the made profile. Its primaries are those of
// Apple's Display P3 profile (in its public display-p3 ICC; from memory),
// adapted to D50.
func TestWideProfile(t *testing.T) {
	path := filepath.Join(t.TempDir(), "p3.icc")
	writeFile(t, path, wideProfile(heifColour{primaries: 12}))
	tags := exifTool(t, []string{path})[path]
	for name, want := range map[string]string{
		"ICC_Profile:ProfileDescription": "Display P3",
		"ICC_Profile:RedMatrixColumn":    "0.51512 0.2412 -0.00105",
		"ICC_Profile:GreenMatrixColumn":  "0.29198 0.69225 0.04189",
		"ICC_Profile:BlueMatrixColumn":   "0.1571 0.06657 0.78407",
	} {
		got, _ := tags[name].(string)
		if strings.HasSuffix(name, "Description") {
			if got != want {
				t.Errorf("%s is %q, want %q", name, got, want)
			}
			continue
		}
		if g, w := numbers(t, got), numbers(t, want); math.Abs(g[0]-w[0])+math.Abs(g[1]-w[1])+math.Abs(g[2]-w[2]) > 0.001 {
			t.Errorf("%s is %s, want %s", name, got, want)
		}
	}
}

func numbers(tb testing.TB, s string) (out [3]float64) {
	tb.Helper()
	if _, err := fmt.Sscan(s, &out[0], &out[1], &out[2]); err != nil {
		tb.Fatalf("%q: %v", s, err)
	}
	return out
}

// TestDerive_BrokenProfilesOfInks: a profile that cannot be read, whose tables
// lie or which is cut off, is as none.
func TestDerive_BrokenProfilesOfInks(t *testing.T) {
	good := readFile(t, profileNamed(t, "cmyk.icc"))
	table := bytes.Index(good, []byte("A2B0"))
	at := binary.BigEndian.Uint32(good[table+4:])
	change := func(at int, to ...byte) []byte {
		b := append([]byte(nil), good...)
		copy(b[at:], to)
		return b
	}
	for name, b := range map[string][]byte{
		"cut off":            good[:len(good)/2],
		"for RGB":            change(16, []byte("RGB ")...),
		"4 billion tags":     change(128, 0xff, 0xff, 0xff, 0xff),
		"tag outside":        change(table+4, 0xff, 0xff, 0xff, 0),
		"255 points a side":  change(int(at)+10, 255),
		"255 channels":       change(int(at)+8, 255),
		"no points":          change(int(at)+10, 0),
		"curve of 4 billion": append(change(0, be32(len(good)+12)...), []byte("curv\x00\x00\x00\x00\xff\xff\xff\xff")...),
		"nothing":            {},
	} {
		within(t, name, func() {
			if _, err := toSRGB(b, "CMYK", 4); err == nil {
				t.Errorf("%s: taken", name)
			}
		})
	}
	if _, err := toSRGB(good, "CMYK", 4); err != nil {
		t.Errorf("the whole one: %v", err)
	}
}

// FuzzProfile: any profile ends in a way to sRGB or an error, without a panic,
// and with no more memory than its own size calls for.
func FuzzProfile(f *testing.F) {
	for _, name := range []string{"gray-v2-gamma1.8-d65.icc", "gray-v2-lut.icc", "gray-v4-lut.icc", "gray-v4-lab-gamma2.2.icc"} {
		f.Add(readFile(f, profileNamed(f, name)))
	}
	f.Add(profileFor("CMYK", 400))
	f.Fuzz(func(t *testing.T, b []byte) {
		if len(b) > 64<<10 {
			return
		}
		for space, channels := range map[string]int{"CMYK": 4, "GRAY": 1} {
			convert, err := toSRGB(b, space, channels)
			if err != nil {
				continue
			}
			if err := guard(func() { byteOf(convert([]float64{0.3, 0.6, 0.9, 1}[:channels])[0]) }); err != nil {
				t.Error(err)
			}
		}
	})
}
