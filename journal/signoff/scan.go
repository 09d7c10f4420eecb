package signoff

import "bytes"

// MaxScanBytes is the largest scan of a signed sheet that is taken: 10 MiB.
const MaxScanBytes = 10 << 20

// ScanType returns the media type of a scan by its first bytes, or "" for a file
// that is none of PDF, JPEG and PNG.
//
// Source: ISO 32000-1, 7.5.2; ITU-T T.81, B.1.1.3; PNG (W3C), section 5.2.
func ScanType(b []byte) string {
	switch {
	case bytes.HasPrefix(b, []byte("%PDF-")):
		return "application/pdf"
	case bytes.HasPrefix(b, []byte{0xff, 0xd8, 0xff}):
		return "image/jpeg"
	case bytes.HasPrefix(b, []byte("\x89PNG\r\n\x1a\n")):
		return "image/png"
	}
	return ""
}
