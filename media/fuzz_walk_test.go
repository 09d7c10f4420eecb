package media

import (
	"bytes"
	"errors"
	"io"
	"path/filepath"
	"testing"
	"time"
)

// maxFuzzSeed keeps whole photos out of the fuzzers: their structure is in the
// first and the smallest ones, and what is small is mutated a thousand times
// more often.
const maxFuzzSeed = 48 << 10

// seedSamples adds the camera samples of a kind that are small enough.
func seedSamples(f *testing.F, pattern string) {
	f.Helper()
	folder := findCamera(f)
	if folder == "" {
		return
	}
	paths, err := filepath.Glob(filepath.Join(folder, "files", pattern))
	if err != nil {
		f.Fatal(err)
	}
	for _, path := range paths {
		if b := readFile(f, path); len(b) <= maxFuzzSeed {
			f.Add(b)
		}
	}
}

// fuzzWalk holds a walker to what it promises for every file: no panic, an end
// within 2 s, only the errors that Inspect documents, and nothing kept that is
// larger than its bound.
func fuzzWalk(f *testing.F, walk func(io.ReaderAt, int64) (layout, error)) {
	f.Helper()
	f.Fuzz(func(t *testing.T, b []byte) {
		begin := processorTime(t)
		out, err := walk(bytes.NewReader(b), int64(len(b)))
		if took := processorTime(t) - begin; took > 2*time.Second*raceSlowdown {
			t.Errorf("took %v", took)
		}
		if len(out.exif) > maxExifBytes+1<<16 || len(out.icc) > maxICCBytes {
			t.Errorf("%d bytes of Exif, %d of profile kept", len(out.exif), len(out.icc))
		}
		if out.exif != nil && !startsTIFF(out.exif) {
			t.Errorf("Exif that is no TIFF block: %x", out.exif[:min(8, len(out.exif))])
		}
		if out.width < 0 || out.height < 0 || out.decodeBytesPerPixel < 0 {
			t.Errorf("%d x %d, %d bytes a pixel", out.width, out.height, out.decodeBytesPerPixel)
		}
		if err == nil {
			return
		}
		for _, known := range []error{ErrUnsupported, ErrTruncated, ErrDamaged, ErrTooManyScans} {
			if errors.Is(err, known) {
				return
			}
		}
		t.Fatalf("undocumented error: %v", err)
	})
}

// FuzzWalkJPEG: the segment walk.
func FuzzWalkJPEG(f *testing.F) {
	for _, b := range seedFiles(f) {
		if bytes.HasPrefix(b, []byte("\xff\xd8")) {
			f.Add(b)
		}
	}
	f.Add(segmentAt(encodeJPEG(f, photo(16, 12)), profileSegments(Info{layout: layout{icc: profileFor("RGB ", 70000)}}, pixels{rgb: true})))
	seedSamples(f, "*.jpg")
	fuzzWalk(f, func(r io.ReaderAt, size int64) (layout, error) {
		if size < 2 {
			return layout{}, ErrTruncated // sniff lets nothing shorter through
		}
		return walkJPEG(r, size)
	})
}

// FuzzWalkPNG: the chunk walk, and the text and profiles inflated on it.
func FuzzWalkPNG(f *testing.F) {
	plain := encodePNG(f, photo(16, 12))
	f.Add(plain)
	f.Add(withChunk(plain, "eXIf", orientationBlock(3)))
	f.Add(withChunk(plain, "iCCP", append([]byte("icc\x00\x00"), deflated(f, 4096)...)))
	f.Add(withChunk(plain, "zTXt", append([]byte("Raw profile type exif\x00\x00"), deflated(f, 4096)...)))
	f.Add(withChunk(plain, "tEXt", []byte("Raw profile type exif\x00\nexif\n      14\n49492a000800000000000000\n0000\n")))
	f.Add(withChunk(plain, "iTXt", []byte("Raw profile type exif\x00\x00\x00en\x00t\x00\nexif\n      14\n49492a000800000000000000\n0000\n")))
	fuzzWalk(f, func(r io.ReaderAt, size int64) (layout, error) {
		if size < int64(len(pngSignature)) {
			return layout{}, ErrTruncated
		}
		return walkPNG(r, size)
	})
}

// FuzzWalkWebP: the chunk walk and the frame headers.
func FuzzWalkWebP(f *testing.F) {
	for _, b := range seedFiles(f) {
		if bytes.HasPrefix(b, []byte("RIFF")) {
			f.Add(b)
		}
	}
	seedSamples(f, "*.webp")
	fuzzWalk(f, walkWebP)
}

// FuzzWalkHEIC: the boxes, and the Exif item found through them.
func FuzzWalkHEIC(f *testing.F) {
	parts := heicParts{exif: orientationBlock(6), extra: [][]byte{
		box("irot", []byte{1}), box("imir", []byte{1}), box("colr", []byte("prof"), profileFor("RGB ", 0)),
	}}
	f.Add(heicOf(parts))
	f.Add(withMediaData(parts))
	if folder := findCamera(f); folder != "" {
		// A phone's meta box is whole in the first 8 KB.
		f.Add(readFile(f, filepath.Join(folder, "files", "offset__IMG_2927.HEIC"))[:8<<10])
	}
	fuzzWalk(f, walkHEIC)
}
