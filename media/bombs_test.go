package media

import (
	"bytes"
	"compress/zlib"
	"context"
	"encoding/binary"
	"errors"
	"image"
	"io"
	"runtime"
	"syscall"
	"testing"
	"time"
)

// within runs fn and fails if it takes more than 2 s of processor time, which
// does not depend on what else the machine does, or allocates more than 64 MB:
// the bounds that hostile.json sets.
func within(t *testing.T, what string, fn func()) {
	t.Helper()
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	begin := processorTime(t)
	fn()
	took := processorTime(t) - begin
	runtime.ReadMemStats(&after)
	if took > 2*time.Second*raceSlowdown {
		t.Errorf("%s took %v", what, took)
	}
	t.Logf("%s: %d KB", what, (after.TotalAlloc-before.TotalAlloc)>>10)
	if mb := (after.TotalAlloc - before.TotalAlloc) >> 20; mb > 64 {
		t.Errorf("%s allocated %d MB", what, mb)
	}
}

// processorTime is what this process has used so far.
func processorTime(tb testing.TB) time.Duration {
	tb.Helper()
	var usage syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &usage); err != nil {
		tb.Fatal(err)
	}
	return time.Duration(usage.Utime.Nano() + usage.Stime.Nano())
}

// progressive makes a JPEG of one component and this many scans, each with
// entropy bytes of data: frame, tables and scan headers after T.81 annex B.
// Every scan says DC, first approximation; an all-zero table of one code makes
// each block one bit.
func progressive(w, h, scans, entropy int) []byte {
	b := []byte{0xff, 0xd8}
	b = append(b, 0xff, 0xdb, 0, 67, 0)
	b = append(b, bytes.Repeat([]byte{1}, 64)...)
	b = append(b, 0xff, 0xc2, 0, 11, 8)
	b = binary.BigEndian.AppendUint16(b, uint16(h))
	b = binary.BigEndian.AppendUint16(b, uint16(w))
	b = append(b, 1, 1, 0x11, 0)
	b = append(b, 0xff, 0xc4, 0, 20, 0, 1)
	b = append(b, make([]byte, 15)...)
	b = append(b, 0) // one code of one bit: difference 0
	for range scans {
		b = append(b, 0xff, 0xda, 0, 8, 1, 1, 0, 0, 0, 0)
		b = append(b, make([]byte, entropy)...)
	}
	return append(b, 0xff, 0xd9)
}

// TestInspect_ProgressiveHeaderBomb: a 2.2 KB file whose header claims 96
// megapixels makes image/jpeg take 1.8 GB (MEDIA.md). It is found out by having
// fewer bits than blocks.
func TestInspect_ProgressiveHeaderBomb(t *testing.T) {
	bomb := progressive(12000, 8000, 1, 2000)
	within(t, "Inspect", func() {
		if _, err := inspectBytes(bomb); !errors.Is(err, ErrTruncated) {
			t.Errorf("%d bytes for 96 megapixels: %v, want %v", len(bomb), err, ErrTruncated)
		}
	})
	// The same with as many bits as blocks is a picture, and stays one.
	whole := progressive(64, 64, 1, 8)
	deriveAll(t, whole)
}

// TestInspect_ThousandScans: 27 KB with 1,000 scans keep a decoder busy for
// seconds (MEDIA.md).
func TestInspect_ThousandScans(t *testing.T) {
	within(t, "Inspect", func() {
		if _, err := inspectBytes(progressive(512, 512, 1000, 17)); !errors.Is(err, ErrTooManyScans) {
			t.Errorf("1,000 scans: %v, want %v", err, ErrTooManyScans)
		}
		if _, err := inspectBytes(progressive(512, 512, MaxScans+1, 600)); !errors.Is(err, ErrTooManyScans) {
			t.Errorf("one scan over the limit: %v", err)
		}
	})
	if info, err := inspectBytes(progressive(512, 512, MaxScans, 600)); err != nil {
		t.Errorf("%d scans: %v, %+v", MaxScans, err, info)
	}
}

// pngOf makes a PNG of any size with this compressed data.
func pngOf(w, h uint32, depth, colour byte, data []byte, more ...[]byte) []byte {
	header := binary.BigEndian.AppendUint32(nil, w)
	header = binary.BigEndian.AppendUint32(header, h)
	header = append(header, depth, colour, 0, 0, 0)
	b := append(append([]byte(nil), pngSignature...), pngChunk("IHDR", header)...)
	for _, chunk := range more {
		b = append(b, chunk...)
	}
	b = append(b, pngChunk("IDAT", data)...)
	return append(b, pngChunk("IEND", nil)...)
}

func deflated(tb testing.TB, n int64) []byte {
	tb.Helper()
	var buf bytes.Buffer
	z, err := zlib.NewWriterLevel(&buf, zlib.BestCompression)
	if err != nil {
		tb.Fatal(err)
	}
	if _, err := io.CopyN(z, zeros{}, n); err != nil {
		tb.Fatal(err)
	}
	if err := z.Close(); err != nil {
		tb.Fatal(err)
	}
	return buf.Bytes()
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

// TestInspect_PNGBombs: a small file with a large header, and text and profile
// chunks that inflate to much more than they are.
func TestInspect_PNGBombs(t *testing.T) {
	text := append([]byte("Raw profile type exif\x00\x00"), deflated(t, 20<<20)...)
	profile := append([]byte("icc\x00\x00"), deflated(t, 20<<20)...)
	row, megabytes := deflated(t, 1+4), deflated(t, 4<<20)
	// Each inflates to 4 MB, of nothing.
	texts := bytes.Repeat(pngChunk("zTXt", append([]byte("Raw profile type exif\x00\x00"), megabytes...)), 200)
	chunks := bytes.Repeat(pngChunk("tIME", nil), maxPNGChunks)
	within(t, "Inspect of a large header", func() {
		if _, err := inspectBytes(pngOf(10000, 9000, 16, 6, row)); !errors.Is(err, ErrTruncated) {
			t.Errorf("90 megapixels in %d bytes: %v, want %v", len(row), err, ErrTruncated)
		}
	})
	within(t, "Inspect of large text and profile", func() {
		info, err := inspectBytes(pngOf(1, 1, 8, 6, row, pngChunk("zTXt", text), pngChunk("iCCP", profile)))
		if err != nil || info.layout.icc != nil || info.Exif != (Exif{}) {
			t.Errorf("20 MB of zeros as text and profile: %v, %d bytes of profile", err, len(info.layout.icc))
		}
	})
	within(t, "Inspect of many profiles", func() {
		if _, err := inspectBytes(pngOf(1, 1, 8, 6, row, texts)); err != nil {
			t.Errorf("many profiles: %v", err)
		}
	})
	within(t, "Inspect of many chunks", func() {
		if _, err := inspectBytes(pngOf(1, 1, 8, 6, row, chunks)); !errors.Is(err, ErrDamaged) {
			t.Errorf("%d chunks: %v", maxPNGChunks, err)
		}
	})
}

// webpOf makes a WebP of one chunk.
func webpOf(kind string, data []byte) []byte {
	b := binary.LittleEndian.AppendUint32([]byte("RIFF"), uint32(12+len(data)+len(data)&1))
	b = binary.LittleEndian.AppendUint32(append(b, "WEBP"+kind...), uint32(len(data)))
	return append(append(b, data...), make([]byte, len(data)&1)...)
}

// losslessWebP is a header of this size, and then data (RFC 9649, 3.4).
func losslessWebP(w, h uint32, data ...byte) []byte {
	return webpOf("VP8L", append(binary.LittleEndian.AppendUint32([]byte{0x2f}, (w-1)|(h-1)<<14), data...))
}

// lossyWebPOf is a key frame's header of this size, and then data (RFC 6386, 9.1).
func lossyWebPOf(w, h uint16, data ...byte) []byte {
	first := 0x10 | uint32(len(data))<<5 // a key frame that is shown; its first part is all there is
	frame := []byte{byte(first), byte(first >> 8), byte(first >> 16), 0x9d, 0x01, 0x2a}
	frame = binary.LittleEndian.AppendUint16(frame, w)
	return webpOf("VP8 ", append(binary.LittleEndian.AppendUint16(frame, h), data...))
}

// TestInspect_WebPBombs: the largest sizes that WebP can name, as frame and as
// canvas, in a few bytes.
func TestInspect_WebPBombs(t *testing.T) {
	canvas := append([]byte{0, 0, 0, 0}, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff) // 2^24 each way
	for name, b := range map[string][]byte{
		"lossless": losslessWebP(1<<14, 1<<14, 0, 0, 0, 0),
		"lossy":    lossyWebPOf(1<<14-1, 1<<14-1, make([]byte, 20)...),
		"canvas":   webpOf("VP8X", canvas),
	} {
		within(t, "Inspect of "+name, func() {
			if _, err := inspectBytes(b); !errors.Is(err, ErrTooManyPixels) {
				t.Errorf("%s: %v, want %v", name, err, ErrTooManyPixels)
			}
		})
	}
}

// TestDerive_WebPBombs: just below the limit, in a few bytes. The file may be
// told from a picture by Inspect or by the decoder, but before it takes the
// memory of 90 megapixels.
func TestDerive_WebPBombs(t *testing.T) {
	for name, b := range map[string][]byte{
		"lossless": losslessWebP(10_000, 9_000, 0, 0, 0, 0),
		"lossy":    lossyWebPOf(10_000, 9_000, make([]byte, 20)...),
	} {
		within(t, "Derive of "+name, func() {
			info, err := inspectBytes(b)
			if err == nil {
				err = Derive(context.Background(), bytes.NewReader(b), info, func(Derivative) error { return nil })
			}
			if !errors.Is(err, ErrTruncated) && !errors.Is(err, ErrDamaged) {
				t.Errorf("%s: %v", name, err)
			}
		})
	}
}

// TestInspect_JPEGBombs: the largest size that JPEG can name, progressive and
// baseline, is refused by its header.
func TestInspect_JPEGBombs(t *testing.T) {
	for name, frame := range map[string]byte{"progressive": 0xc2, "baseline": 0xc0} {
		b := progressive(0xffff, 0xffff, 1, 2000)
		b[2+2+67+1] = frame
		within(t, "Inspect of "+name, func() {
			if _, err := inspectBytes(b); !errors.Is(err, ErrTooManyPixels) {
				t.Errorf("%s of 4,295 megapixels: %v, want %v", name, err, ErrTooManyPixels)
			}
		})
	}
}

// TestLimiter_Bounds: two photos that together need more than the bound run
// one after the other; one that needs more than all of it runs too.
func TestLimiter_Bounds(t *testing.T) {
	b := encodeJPEG(t, photo(640, 480))
	info := mustInspect(t, b)
	l := NewLimiter(info.needBytes())
	inFirst, secondEnds := make(chan struct{}), make(chan error, 1)
	ctx, cancel := context.WithCancel(context.Background())
	once := false
	err := l.Derive(context.Background(), bytes.NewReader(b), info, func(Derivative) error {
		if once {
			return nil
		}
		once = true
		close(inFirst)
		go func() {
			secondEnds <- l.Derive(ctx, bytes.NewReader(b), info, func(Derivative) error {
				t.Error("two photos within the bound for one")
				return nil
			})
		}()
		cancel()
		if err := <-secondEnds; !errors.Is(err, context.Canceled) {
			t.Errorf("the second, waiting: %v", err)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	<-inFirst
	tiny := NewLimiter(1)
	if err := tiny.Derive(context.Background(), bytes.NewReader(b), info, func(Derivative) error { return nil }); err != nil {
		t.Errorf("a photo larger than the bound: %v", err)
	}
}

// stripes draws a large 4:2:0 picture quickly.
func stripes(w, h int) image.Image {
	img := image.NewYCbCr(image.Rect(0, 0, w, h), image.YCbCrSubsampleRatio420)
	for x := range img.YStride {
		img.Y[x] = uint8(x)
	}
	for y := 1; y < h; y++ {
		copy(img.Y[y*img.YStride:], img.Y[:img.YStride])
	}
	for i := range img.Cb {
		img.Cb[i], img.Cr[i] = 90, 160
	}
	return img
}

// TestDerive_Memory: the estimate by which photos wait for each other covers all
// that one allocates, freed or not, and so its peak.
func TestDerive_Memory(t *testing.T) {
	for name, b := range map[string][]byte{
		"JPEG": encodeJPEG(t, stripes(4000, 3000)),
		"PNG":  encodePNG(t, photo(1500, 1000)),
	} {
		info := mustInspect(t, b)
		var before, after runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&before)
		if err := Derive(context.Background(), bytes.NewReader(b), info, func(Derivative) error { return nil }); err != nil {
			t.Fatal(err)
		}
		runtime.ReadMemStats(&after)
		took := int64(after.TotalAlloc - before.TotalAlloc)
		t.Logf("%s: %d MB allocated in all, estimate %d MB", name, took>>20, info.needBytes()>>20)
		if took > info.needBytes() {
			t.Errorf("%s: allocated %d MB, estimated %d MB", name, took>>20, info.needBytes()>>20)
		}
	}
}

// TestDerive_Panics: what panics in a decoder or behind it becomes an error.
func TestDerive_Panics(t *testing.T) {
	err := guard(func() { _ = nrgba8(&image.NRGBA64{Rect: image.Rect(0, 0, 4, 4), Stride: 32}) })
	if !errors.Is(err, ErrDamaged) {
		t.Errorf("got %v, want %v", err, ErrDamaged)
	}
	short := planesOf(image.NewYCbCr(image.Rect(0, 0, 64, 64), image.YCbCrSubsampleRatio420))
	short.chroma[0].pix = short.chroma[0].pix[:10]
	err = guard(func() { short.shrink(1, image.Pt(32, 32)) })
	if !errors.Is(err, ErrDamaged) {
		t.Errorf("got %v, want %v", err, ErrDamaged)
	}
	// A palette index without a colour is what panicked inside imaging, out of
	// reach (CVE-2023-36308).
	bad := image.NewPaletted(image.Rect(0, 0, 4, 4), nil)
	bad.Pix[3] = 200
	if got := nrgba8(bad).NRGBAAt(3, 0); got.A != 0 {
		t.Errorf("index without a colour gives %v", got)
	}
}

// TestDerive_Ends: it stops with its context, and passes on what emit says.
func TestDerive_Ends(t *testing.T) {
	b := encodeJPEG(t, photo(640, 480))
	info := mustInspect(t, b)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	err := Derive(ctx, bytes.NewReader(b), info, func(Derivative) error { return nil })
	if !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
	full := errors.New("no room")
	calls := 0
	err = Derive(context.Background(), bytes.NewReader(b), info, func(Derivative) error { calls++; return full })
	if !errors.Is(err, full) || calls != 1 {
		t.Errorf("emit failed: %v after %d calls", err, calls)
	}
	if err := Derive(context.Background(), bytes.NewReader(b), Info{}, nil); !errors.Is(err, ErrUnsupported) {
		t.Errorf("not inspected: %v", err)
	}
	// The file was exchanged after Inspect.
	other := encodeJPEG(t, photo(64, 48))
	info.Bytes = int64(len(other))
	if err := Derive(context.Background(), bytes.NewReader(other), info, func(Derivative) error { return nil }); !errors.Is(err, ErrDamaged) {
		t.Errorf("other pixels than inspected: %v", err)
	}
}
