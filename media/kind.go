package media

import (
	"bytes"
	"encoding/binary"
)

// Kind is an image format, told from the first bytes of a file; names and
// declared types play no part.
type Kind string

// The kinds that are taken.
const (
	JPEG Kind = "JPEG"
	PNG  Kind = "PNG"
	WebP Kind = "WebP"
	HEIC Kind = "HEIC"
)

// ContentType is the media type to serve an original of this kind with.
//
// Source: IANA media types image/jpeg (RFC 2046), image/png, image/webp
// (RFC 9649), image/heic (ISO/IEC 23008-12).
func (k Kind) ContentType() string {
	switch k {
	case JPEG:
		return "image/jpeg"
	case PNG:
		return "image/png"
	case WebP:
		return "image/webp"
	case HEIC:
		return "image/heic"
	}
	return "application/octet-stream"
}

// sniffBytes is how much of a file [sniff] looks at.
const sniffBytes = 64

var pngSignature = []byte("\x89PNG\r\n\x1a\n") // PNG 3rd edition, section 5.2

// sniff tells the kind from the first bytes, at most sniffBytes of them. It
// returns ErrUnsupported for images of other kinds and ErrNotImage for the rest.
func sniff(head []byte) (Kind, error) {
	has := func(at int, magic string) bool {
		return len(head) >= at+len(magic) && string(head[at:at+len(magic)]) == magic
	}
	switch {
	case has(0, "\xff\xd8\xff"):
		return JPEG, nil
	case bytes.HasPrefix(head, pngSignature):
		return PNG, nil
	case has(0, "RIFF") && has(8, "WEBP"):
		return WebP, nil
	case has(4, "ftyp"):
		return sniffBrands(head)
	case has(0, "GIF8"), has(0, "II*\x00"), has(0, "MM\x00*"), has(0, "II+\x00"), has(0, "MM\x00+"),
		has(0, "BM") && has(6, "\x00\x00\x00\x00"),
		has(0, "\xff\x0a"), has(4, "JXL "), has(4, "jP  \r\n\x87\n"):
		return "", ErrUnsupported
	}
	return "", ErrNotImage
}

// sniffBrands reads the brands of an ISO base media file (ISO/IEC 14496-12,
// 4.3). The HEVC brands of HEIF are those of ISO/IEC 23008-12, annex B.4; a
// file whose major brand is the codec-free "mif1" lists the codec's among the
// compatible ones.
func sniffBrands(head []byte) (Kind, error) {
	end := min(int(min(binary.BigEndian.Uint32(head), sniffBytes)), len(head))
	images := false
	for at := 8; at+4 <= end; at += 4 {
		if at == 12 {
			continue // the minor version
		}
		switch string(head[at : at+4]) {
		case "heic", "heix", "heim", "heis", "hevc", "hevx":
			return HEIC, nil
		case "mif1", "msf1", "avif", "avis":
			images = true
		}
	}
	if images {
		return "", ErrUnsupported
	}
	return "", ErrNotImage
}
