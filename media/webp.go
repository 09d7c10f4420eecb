package media

import (
	"encoding/binary"
	"fmt"
	"io"
)

// maxWebPChunks bounds the walk; a still image has up to seven.
const maxWebPChunks = 4096

// walkWebP finds the frame, Exif and colour profile of a WebP and makes sure
// that it is there to the end that its header gives. Animations are refused
// with ErrUnsupported.
//
// Source: RFC 9649 sections 2.3 to 2.7; VP8 frame header RFC 6386, 9.1.
func walkWebP(r io.ReaderAt, size int64) (layout, error) {
	var out layout
	head, err := window(r, size, 0, 12)
	if err != nil {
		return out, err
	}
	end := 8 + int64(binary.LittleEndian.Uint32(head[4:]))
	cut := end > size
	end = min(end, size)
	image := false
	off := int64(12)
	for range maxWebPChunks {
		if off+8 > end {
			break
		}
		head, err := window(r, size, off, 8)
		if err != nil {
			return out, err
		}
		kind, n := string(head[:4]), int64(binary.LittleEndian.Uint32(head[4:]))
		if n > end-off-8 {
			return out, ErrTruncated
		}
		if err := webpChunk(r, size, off+8, kind, n, &out); err != nil {
			return out, err
		}
		image = image || kind == "VP8 " || kind == "VP8L"
		off += 8 + n + n&1
	}
	switch {
	case cut:
		return out, ErrTruncated
	case !image:
		return out, fmt.Errorf("no image in it: %w", ErrDamaged)
	}
	return out, nil
}

func webpChunk(r io.ReaderAt, size, off int64, kind string, n int64, out *layout) error {
	keep := func(most int64) ([]byte, error) { return window(r, size, off, min(n, most)) }
	// The decoder's planes or pixels; for alpha also those that it is read from
	// and those that both become.
	perPixel := map[string]int64{"VP8 ": 2, "VP8L": 8, "ALPH": 9}
	out.decodeBytesPerPixel += perPixel[kind]
	switch kind {
	case "VP8X":
		b, err := keep(10)
		if err != nil || len(b) < 10 {
			return fmt.Errorf("short VP8X chunk: %w", ErrDamaged)
		}
		if b[0]&2 != 0 {
			return fmt.Errorf("animation: %w", ErrUnsupported)
		}
		grow(out, 1+(int(b[4])|int(b[5])<<8|int(b[6])<<16), 1+(int(b[7])|int(b[8])<<8|int(b[9])<<16))
	case "VP8 ":
		b, err := keep(10)
		if err != nil || len(b) < 10 || string(b[3:6]) != "\x9d\x01\x2a" {
			return fmt.Errorf("no VP8 key frame: %w", ErrDamaged)
		}
		w, h := int(binary.LittleEndian.Uint16(b[6:])&0x3fff), int(binary.LittleEndian.Uint16(b[8:])&0x3fff)
		grow(out, w, h)
		return vp8HasRoom(b, n, w, h)
	case "VP8L":
		b, err := keep(5)
		if err != nil || len(b) < 5 || b[0] != 0x2f {
			return fmt.Errorf("no VP8L header: %w", ErrDamaged)
		}
		bits := binary.LittleEndian.Uint32(b[1:])
		grow(out, 1+int(bits&0x3fff), 1+int(bits>>14&0x3fff))
	case "EXIF":
		if n > maxExifBytes || out.exif != nil {
			return nil
		}
		b, err := keep(n)
		if err != nil {
			return err
		}
		if b = cutExifPrefix(b); startsTIFF(b) {
			out.exif = b
		}
	case "ICCP":
		out.hasICC = true
		if n > maxICCBytes || out.icc != nil {
			return nil
		}
		b, err := keep(n)
		if err != nil {
			return err
		}
		out.icc = b
	}
	return nil
}

// vp8HasRoom returns ErrTruncated if a frame's first part is smaller than the
// modes of its macroblocks can be, one bit each; the decoder would take memory
// and time for all of them before it finds out.
//
// Source: RFC 6386, 9.1 for the part's length, 11.2 and 11.4 for the modes of
// key frames, whose probabilities are fixed: the likeliest first branch of the
// luma mode takes 0.82 bits (145 of 256), of the chroma mode 0.85 (142 of 256).
func vp8HasRoom(head []byte, n int64, width, height int) error {
	first := min(n, int64(head[0])>>5|int64(head[1])<<3|int64(head[2])<<11)
	blocks := int64(ceilDiv(width, 16)) * int64(ceilDiv(height, 16))
	if first*8 >= blocks || tooManyPixels(width, height) {
		return nil
	}
	return fmt.Errorf("%d bytes for %d blocks: %w", first, blocks, ErrTruncated)
}

// grow sets the size to the largest of those that the canvas and the frame
// claim; the decoder takes memory for each.
func grow(out *layout, width, height int) {
	out.width, out.height = max(out.width, width), max(out.height, height)
}
