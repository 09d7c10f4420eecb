package media

import (
	"fmt"
	"image"
	"io"
)

const (
	// maxExifBytes is the largest Exif block read. A JPEG segment holds 64 KB;
	// other containers and segments that continue one another could hold more,
	// of which all but a little is maker notes and thumbnails.
	maxExifBytes = 1 << 20
	// maxICCBytes is the largest colour profile kept. Profiles of displays and
	// cameras are 0.5 to 4 KB, table-based ones of scanners some hundreds of KB.
	maxICCBytes = 2 << 20
)

// layout is what walking a container found: where things are and how large, as
// far as it matters before decoding.
type layout struct {
	width, height int    // as stored, before turning
	exif          []byte // TIFF block, not yet checked; nil if none
	icc           []byte // nil if none, incomplete or over maxICCBytes
	hasICC        bool   // the file names a profile, kept in icc or not
	// decodeBytesPerPixel is what the decoder will hold per pixel, rounded up.
	decodeBytesPerPixel int64
	// turned says that the format's own boxes govern display (HEIC's irot and
	// imir, a video's matrix): orientation then comes from them and Exif's is not
	// applied.
	turned      bool
	orientation int
	// Of HEIC only: the size as coded, the part of it that is shown (of width
	// and height), and how its colours are to be read.
	coded  image.Point
	crop   image.Rectangle
	colour heifColour
	video  *videoLayout // of videos only
}

// window reads n bytes at off, and nothing past size.
func window(r io.ReaderAt, size, off, n int64) ([]byte, error) {
	if off < 0 || n < 0 || off > size || n > size-off {
		return nil, ErrTruncated
	}
	buf := make([]byte, n)
	got, err := r.ReadAt(buf, off)
	if int64(got) == n {
		return buf, nil
	}
	if err == io.EOF {
		return nil, ErrTruncated
	}
	return nil, fmt.Errorf("read %d bytes at %d: %w", n, off, err)
}

// startsTIFF says whether b begins with a TIFF header (TIFF 6.0, section 2).
func startsTIFF(b []byte) bool {
	return len(b) >= 8 && (string(b[:4]) == "II*\x00" || string(b[:4]) == "MM\x00*")
}

// cutExifPrefix takes off the "Exif\0\0" that JPEG puts before the TIFF block
// and that some writers put there in other containers too.
func cutExifPrefix(b []byte) []byte {
	if len(b) >= 6 && string(b[:5]) == "Exif\x00" {
		return b[6:]
	}
	return b
}
