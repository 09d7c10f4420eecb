package media

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"image/color"
	"image/gif"
	"image/png"
	"io"
	"os"
	"path/filepath"
	"testing"
)

// photo draws a picture in which every pixel has its own colour, smooth enough
// to survive JPEG.
func photo(w, h int) *image.NRGBA {
	img := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			img.SetNRGBA(x, y, color.NRGBA{R: uint8(255 * x / w), G: uint8(255 * y / h), B: uint8(255 * (x + y) / (w + h)), A: 255})
		}
	}
	return img
}

func encodePNG(tb testing.TB, img image.Image) []byte {
	tb.Helper()
	var buf bytes.Buffer
	if err := png.Encode(&buf, img); err != nil {
		tb.Fatal(err)
	}
	return buf.Bytes()
}

// convert has ImageMagick turn an image into another format. The arguments go
// between the input and the output.
func convert(tb testing.TB, in []byte, inExt, outExt string, args ...string) []byte {
	tb.Helper()
	dir := tb.TempDir()
	from, to := filepath.Join(dir, "in."+inExt), filepath.Join(dir, "out."+outExt)
	writeFile(tb, from, in)
	run(tb, "convert", append(append([]string{from}, args...), to)...)
	return readFile(tb, to)
}

func TestInspect_Kinds(t *testing.T) {
	img := photo(120, 80)
	jpegBytes, pngBytes := encodeJPEG(t, img), encodePNG(t, img)
	tests := []struct {
		name string
		b    func(t *testing.T) []byte
		kind Kind
		mime string // IANA media types
	}{
		{"JPEG", func(*testing.T) []byte { return jpegBytes }, JPEG, "image/jpeg"},
		{"progressive JPEG", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "jpg", "-interlace", "JPEG") }, JPEG, "image/jpeg"},
		{"grey JPEG", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "jpg", "-colorspace", "Gray") }, JPEG, "image/jpeg"},
		{"CMYK JPEG", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "jpg", "-colorspace", "CMYK") }, JPEG, "image/jpeg"},
		{"JPEG with rubbish behind", func(*testing.T) []byte { return append(append([]byte(nil), jpegBytes...), "trailer"...) }, JPEG, "image/jpeg"},
		{"PNG", func(*testing.T) []byte { return pngBytes }, PNG, "image/png"},
		{"interlaced PNG", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "png", "-interlace", "PNG") }, PNG, "image/png"},
		{"lossy WebP", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "webp", "-quality", "80") }, WebP, "image/webp"},
		{"lossless WebP", func(t *testing.T) []byte { return convert(t, pngBytes, "png", "webp", "-define", "webp:lossless=true") }, WebP, "image/webp"},
		{"WebP with alpha", func(t *testing.T) []byte {
			return convert(t, pngBytes, "png", "webp", "-alpha", "set", "-channel", "A", "-evaluate", "set", "50%")
		}, WebP, "image/webp"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := tt.b(t)
			info := mustInspect(t, b)
			if info.Kind != tt.kind || info.ContentType() != tt.mime || !info.Decodable() {
				t.Errorf("%q, %q, decodable %v", info.Kind, info.ContentType(), info.Decodable())
			}
			if info.Width != 120 || info.Height != 80 || info.Orientation != 1 || info.Bytes != int64(len(b)) {
				t.Errorf("%d x %d, orientation %d, %d bytes", info.Width, info.Height, info.Orientation, info.Bytes)
			}
			deriveAll(t, b)
		})
	}
}

func TestInspect_Refused(t *testing.T) {
	var gifBytes bytes.Buffer
	if err := gif.Encode(&gifBytes, photo(20, 20), nil); err != nil {
		t.Fatal(err)
	}
	tests := []struct {
		name string
		b    []byte
		want error
	}{
		{"nothing", nil, ErrEmpty},
		{"one byte", []byte{0xff}, ErrNotImage},
		{"text", []byte("Rust behind the left rear wheel."), ErrNotImage},
		{"text like a bitmap", []byte("BM is what the parts list says here."), ErrNotImage},
		{"page", []byte("<!DOCTYPE html><title>x</title>"), ErrNotImage},
		{"PDF", []byte("%PDF-1.7\n"), ErrNotImage},
		{"video of nothing", []byte("\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00isommp42"), ErrTruncated},
		{"text like a movie", []byte("The mdat box is what the parts list says here."), ErrNotImage},
		{"RIFF sound", []byte("RIFF\x24\x00\x00\x00WAVEfmt "), ErrNotImage},
		{"GIF", gifBytes.Bytes(), ErrUnsupported},
		{"TIFF", []byte("II*\x00\x08\x00\x00\x00\x00\x00"), ErrUnsupported},
		{"BMP", append([]byte("BM\x46\x00\x00\x00\x00\x00\x00\x00\x36\x00\x00\x00\x28\x00\x00\x00"), make([]byte, 60)...), ErrUnsupported},
		{"AVIF", []byte("\x00\x00\x00\x1cftypavif\x00\x00\x00\x00avifmif1miaf"), ErrUnsupported},
		{"JPEG start only", []byte{0xff, 0xd8, 0xff}, ErrTruncated},
		{"JPEG without picture", []byte{0xff, 0xd8, 0xff, 0xd9}, ErrDamaged},
		{"PNG signature only", pngSignature, ErrTruncated},
		{"WebP head only", []byte("RIFF\x04\x00\x00\x00WEBP"), ErrDamaged},
	}
	for _, tt := range tests {
		if _, err := inspectBytes(tt.b); !errors.Is(err, tt.want) {
			t.Errorf("%s: %v, want %v", tt.name, err, tt.want)
		}
	}
}

// TestInspect_Truncated cuts a file of each kind at many places: none passes.
func TestInspect_Truncated(t *testing.T) {
	pngBytes := encodePNG(t, photo(60, 40))
	files := map[string][]byte{
		"baseline JPEG": encodeJPEG(t, photo(60, 40)),
		"PNG":           pngBytes,
	}
	t.Run("with ImageMagick", func(t *testing.T) {
		files["progressive JPEG"] = convert(t, pngBytes, "png", "jpg", "-interlace", "JPEG")
		files["WebP"] = convert(t, pngBytes, "png", "webp")
	})
	t.Run("with camera samples", func(t *testing.T) {
		folder := cameraFolder(t)
		files["HEIC"] = readFile(t, filepath.Join(folder, "files", "offset__IMG_2927.HEIC"))
	})
	for name, b := range files {
		step := max(1, len(b)/500)
		for n := 1; n < len(b); n += step {
			_, err := inspectBytes(b[:n])
			if !errors.Is(err, ErrTruncated) && !errors.Is(err, ErrDamaged) && !errors.Is(err, ErrNotImage) {
				t.Fatalf("%s cut to %d of %d bytes: %v", name, n, len(b), err)
			}
			if n > 64 && errors.Is(err, ErrNotImage) {
				t.Fatalf("%s cut to %d of %d bytes: %v", name, n, len(b), err)
			}
		}
	}
}

// TestInspect_ReaderFails: a fault of the disk is not taken for a fault of the
// photo.
func TestInspect_ReaderFails(t *testing.T) {
	for name, b := range map[string][]byte{"JPEG": encodeJPEG(t, photo(600, 400)), "PNG": encodePNG(t, photo(600, 400))} {
		for _, good := range []int64{0, 20, 200, int64(len(b)) - 10} {
			_, err := Inspect(failingReader{bytes.NewReader(b), good}, int64(len(b)))
			if !errors.Is(err, os.ErrDeadlineExceeded) || errors.Is(err, ErrDamaged) || errors.Is(err, ErrTruncated) {
				t.Errorf("%s, disk fails after %d bytes: %v", name, good, err)
			}
		}
	}
}

type failingReader struct {
	io.ReaderAt
	good int64
}

func (r failingReader) ReadAt(p []byte, off int64) (int, error) {
	if off+int64(len(p)) > r.good {
		return 0, os.ErrDeadlineExceeded
	}
	return r.ReaderAt.ReadAt(p, off)
}

// withJPEGSize rewrites the size in a JPEG's frame header (T.81 B.2.2).
func withJPEGSize(tb testing.TB, b []byte, w, h int) []byte {
	tb.Helper()
	out := append([]byte(nil), b...)
	for i := 2; i+9 < len(out); i += 2 + int(binary.BigEndian.Uint16(out[i+2:])) {
		if m := out[i+1]; m == 0xc0 || m == 0xc2 {
			binary.BigEndian.PutUint16(out[i+5:], uint16(h))
			binary.BigEndian.PutUint16(out[i+7:], uint16(w))
			return out
		}
	}
	tb.Fatal("no frame header")
	return nil
}

func TestInspect_TooManyPixels(t *testing.T) {
	small := encodeJPEG(t, photo(64, 64))
	pngBytes := encodePNG(t, photo(64, 64))
	pngSized := func(w, h uint32) []byte {
		out := append([]byte(nil), pngBytes...)
		binary.BigEndian.PutUint32(out[16:], w)
		binary.BigEndian.PutUint32(out[20:], h)
		return out
	}
	webp := func(w, h uint32) []byte { // a VP8L header, RFC 9649 section 3.4
		out := []byte("RIFF\x12\x00\x00\x00WEBPVP8L\x05\x00\x00\x00\x2f")
		out = binary.LittleEndian.AppendUint32(out, (w-1)|(h-1)<<14)
		return append(out, 0)
	}
	for name, b := range map[string][]byte{
		"200-megapixel JPEG":      withJPEGSize(t, small, 16000, 12500),
		"65535 x 65535 JPEG":      withJPEGSize(t, small, 65535, 65535),
		"100-megapixel and a row": withJPEGSize(t, small, 10000, 10001),
		"200-megapixel PNG":       pngSized(16000, 12500),
		"overflowing PNG":         pngSized(0x7fffffff, 0x7fffffff),
		"200-megapixel WebP":      webp(16000, 12500),
	} {
		if _, err := inspectBytes(b); !errors.Is(err, ErrTooManyPixels) {
			t.Errorf("%s: %v, want %v", name, err, ErrTooManyPixels)
		}
	}
	if tooManyPixels(10000, 10000) {
		t.Error("exactly 100 megapixels are too many")
	}
}
