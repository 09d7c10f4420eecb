package media

import (
	"bytes"
	"errors"
	"io"
	"testing"
	"time"
)

// FuzzVideo: no file makes the walk of a video or its cleaning panic or hang;
// errors are the documented ones; a cleaned copy has the original's length, is a
// video to Inspect again, and names no camera, place or time.
func FuzzVideo(f *testing.F) {
	for _, parts := range []filmParts{
		{}, {wideMdat: true}, {openMdat: true}, {co64: true}, {noBrands: true}, {noDuration: true}, {elsewhere: true},
		{sizes: 1 << 30}, {chunks: 1 << 30}, {lastSize: 1 << 30}, {shift: 1 << 30}, {handler: "soun"}, {handler: "meta"},
	} {
		f.Add(filmOf(parts))
	}
	keys := box("keys", be32(0), be32(1), be32(8+27), []byte("mdtacom.apple.quicktime.model"))
	values := box("ilst", box("\x00\x00\x00\x01", box("data", be32(1), be32(0), []byte("Pocket 4"))))
	f.Add(append(box("ftyp", []byte("qt  "), be32(0), []byte("qt  ")), box("moov", box("mvhd", make([]byte, 100)), box("meta", keys, values))...))
	f.Fuzz(func(t *testing.T, b []byte) {
		begin := processorTime(t)
		info, err := inspectBytes(b)
		if err == nil && info.Kind.Video() {
			if info.Width < 1 || info.Height < 1 || info.Duration > MaxVideo || info.Duration < 0 {
				t.Errorf("%+v", info)
			}
			fuzzClean(t, b, info)
		}
		if took := processorTime(t) - begin; took > 2*time.Second*raceSlowdown {
			t.Errorf("took %v", took)
		}
		if err == nil || !info.Kind.Video() {
			return
		}
		documented(t, err, ErrUnsupported, ErrTruncated, ErrDamaged, ErrTooManyPixels, ErrTooLong)
	})
}

func fuzzClean(t *testing.T, b []byte, info Info) {
	section, err := CleanVideo(bytes.NewReader(b), info)
	if err != nil {
		documented(t, err, ErrUnsupported, ErrTruncated, ErrDamaged)
		return
	}
	clean, err := io.ReadAll(section)
	if err != nil || len(clean) != len(b) {
		t.Fatalf("%d bytes of %d, %v", len(clean), len(b), err)
	}
	again, err := inspectBytes(clean)
	if err != nil {
		t.Fatalf("the copy: %v", err)
	}
	if again.Exif != (Exif{}) || again.Width != info.Width || again.Height != info.Height || again.Orientation != info.Orientation {
		t.Errorf("the copy is %+v of %+v", again, info)
	}
}

func documented(t *testing.T, err error, list ...error) {
	t.Helper()
	for _, known := range list {
		if errors.Is(err, known) {
			return
		}
	}
	t.Fatalf("undocumented error: %v", err)
}
