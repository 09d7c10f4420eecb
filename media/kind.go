package media

import (
	"bytes"
	"encoding/binary"
)

// Kind is an image or video format, told from the first bytes of a file; names
// and declared types play no part.
type Kind string

// The kinds that are taken.
const (
	JPEG Kind = "JPEG"
	PNG  Kind = "PNG"
	WebP Kind = "WebP"
	HEIC Kind = "HEIC"
	MP4  Kind = "MP4" // and its kin of other brands: M4V, 3GP
	MOV  Kind = "MOV" // QuickTime
)

// BeginsVideo says whether a file that begins with these bytes is a video, as
// far as they tell; 64 bytes are enough. What it is in full, [Inspect] says.
func BeginsVideo(head []byte) bool {
	kind, err := sniff(head)
	return err == nil && kind.Video()
}

// Video says whether the kind is one of videos.
func (k Kind) Video() bool { return k == MP4 || k == MOV }

// ContentType is the media type to serve an original of this kind with.
//
// Source: IANA media types image/jpeg (RFC 2046), image/png, image/webp
// (RFC 9649), image/heic (ISO/IEC 23008-12), video/mp4
// (RFC 4337); video/quicktime is registered without one.
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
	case MP4:
		return "video/mp4"
	case MOV:
		return "video/quicktime"
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
	case has(4, "moov"), has(4, "wide"), has(4, "mdat"):
		// QuickTime before it had brands. Text has no control character first.
		if head[0] < ' ' {
			return MOV, nil
		}
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
// compatible ones. The brands of videos are those registered with the MP4
// registration authority (mp4ra.org) that cameras write, from memory.
func sniffBrands(head []byte) (Kind, error) {
	end := min(int(min(binary.BigEndian.Uint32(head), sniffBytes)), len(head))
	images, video := false, Kind("")
	for at := 8; at+4 <= end; at += 4 {
		if at == 12 {
			continue // the minor version
		}
		switch string(head[at : at+4]) {
		case "qt  ":
			if video == "" {
				video = MOV
			}
		case "isom", "iso2", "iso3", "iso4", "iso5", "iso6", "iso7", "iso8", "iso9",
			"mp41", "mp42", "avc1", "M4V ", "M4VH", "M4VP", "MSNV", "XAVC", "mmp4",
			"3gp4", "3gp5", "3gp6", "3gp7", "3g2a", "3g2b", "3g2c":
			if video == "" {
				video = MP4
			}
		case "heic", "heix", "heim", "heis", "hevc", "hevx":
			return HEIC, nil
		case "mif1", "msf1", "avif", "avis",
			"crx ": // a raw photo among brands of videos
			images = true
		}
	}
	switch {
	case images:
		return "", ErrUnsupported
	case video != "":
		return video, nil
	}
	return "", ErrNotImage
}
