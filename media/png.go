package media

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// maxPNGChunks bounds the walk; a 100 MB file in the usual 8 KB chunks has
// 13,000.
const maxPNGChunks = 1 << 17

// walkPNG finds the header, Exif and colour profile of a PNG and makes sure
// that it is there to its IEND. Checksums are the decoder's matter. Exif in an
// eXIf chunk goes before Exif in a text chunk "Raw profile type exif", which
// older programs wrote.
//
// Source: PNG (3rd edition, W3C 2025) sections 5.3, 11.2, 11.3; for the raw
// profile text, what ImageMagick and ExifTool write and read.
func walkPNG(r io.ReaderAt, size int64) (layout, error) {
	var out layout
	var rawProfile []byte
	rawSeen := false
	var imageBytes int64
	var bitsPerPixel, interlace int
	off := int64(len(pngSignature))
	for range maxPNGChunks {
		head, err := window(r, size, off, 8)
		if err != nil {
			return out, err
		}
		n := int64(binary.BigEndian.Uint32(head))
		kind := string(head[4:])
		if n > size-off-12 {
			return out, ErrTruncated
		}
		// One header, first, of 13 bytes: PNG 5.6 and 11.2.1.
		if first := off == int64(len(pngSignature)); first != (kind == "IHDR") || first && n != 13 {
			return out, fmt.Errorf("%q of %d bytes in the header's place, or a header elsewhere: %w", kind, n, ErrDamaged)
		}
		keep := func(most int64) ([]byte, error) {
			if n > most {
				return nil, nil // too large to be what it says; passed over
			}
			return window(r, size, off+8, n)
		}
		var data []byte
		switch kind {
		case "IHDR":
			if data, err = keep(n); err == nil {
				bitsPerPixel, interlace = readIHDR(data, &out)
			}
		case "IDAT":
			imageBytes += n
		case "eXIf":
			if data, err = keep(maxExifBytes); err == nil && out.exif == nil {
				if data = cutExifPrefix(data); startsTIFF(data) {
					out.exif = data
				}
			}
		case "zTXt", "tEXt", "iTXt":
			if data, err = keep(maxExifBytes); err == nil && !rawSeen && namesRawProfile(data) {
				rawSeen = true // one is inflated, not each of thousands
				rawProfile = rawExifProfile(kind, data)
			}
		case "iCCP":
			if data, err = keep(maxICCBytes); err == nil && !out.hasICC {
				out.hasICC = true
				out.icc = inflateICCP(data)
			}
		case "IEND":
			if out.exif == nil {
				out.exif = rawProfile
			}
			return out, pngHasRoom(out, imageBytes, bitsPerPixel, interlace)
		}
		if err != nil {
			return out, err
		}
		off += 12 + n
	}
	return out, fmt.Errorf("more than %d chunks: %w", maxPNGChunks, ErrDamaged)
}

// readIHDR reads the header and returns the bits per pixel and the interlace
// method.
func readIHDR(data []byte, out *layout) (bitsPerPixel, interlace int) {
	w, h := binary.BigEndian.Uint32(data), binary.BigEndian.Uint32(data[4:])
	out.width, out.height = int(w), int(h)
	depth := int(data[8])
	channels := map[byte]int{0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[data[9]]
	// The decoder's pixels, and for palettes and 16 bits those they become.
	out.decodeBytesPerPixel = 5
	if depth == 16 {
		out.decodeBytesPerPixel = 12
	}
	return depth * channels, int(data[12])
}

// pngHasRoom returns ErrTruncated if the compressed data is smaller than any
// zlib stream of the image can be: deflate makes at most 258 bytes of 2 bits
// (RFC 1951, 3.2.5), that is 1032 times.
func pngHasRoom(out layout, imageBytes int64, bitsPerPixel, interlace int) error {
	if out.width > MaxPixels || out.height > MaxPixels || interlace != 0 {
		return nil // refused by size; interlaced rows are many and short
	}
	rowBytes := (int64(out.width)*int64(bitsPerPixel) + 7) / 8
	if rowBytes*int64(out.height)/1032 <= imageBytes {
		return nil
	}
	return fmt.Errorf("%d bytes for %d x %d pixels: %w", imageBytes, out.width, out.height, ErrTruncated)
}

// inflate returns what a zlib stream holds, or nil if it is broken or holds
// more than most.
func inflate(b []byte, most int64) []byte {
	z, err := zlib.NewReader(bytes.NewReader(b))
	if err != nil {
		return nil
	}
	data, err := io.ReadAll(io.LimitReader(z, most+1))
	if err != nil || int64(len(data)) > most {
		return nil
	}
	return data
}

// inflateICCP reads an iCCP chunk: name, NUL, method 0, zlib stream.
func inflateICCP(data []byte) []byte {
	_, rest, ok := bytes.Cut(data, []byte{0})
	if !ok || len(rest) < 1 || rest[0] != 0 {
		return nil
	}
	return inflate(rest[1:], maxICCBytes)
}

// namesRawProfile says whether a text chunk's keyword promises Exif.
func namesRawProfile(data []byte) bool {
	key, _, ok := bytes.Cut(data, []byte{0})
	name := string(key)
	return ok && (name == "Raw profile type exif" || name == "Raw profile type APP1")
}

// rawExifProfile reads the Exif block from such a chunk, or returns nil. The
// text is a line feed, the profile's name, its length in decimal, and the bytes
// in hexadecimal with line feeds between.
func rawExifProfile(kind string, data []byte) []byte {
	_, rest, _ := bytes.Cut(data, []byte{0})
	switch {
	case kind == "zTXt" && len(rest) > 0 && rest[0] == 0:
		rest = inflate(rest[1:], 4*maxExifBytes)
	case kind == "zTXt":
		return nil
	case kind == "iTXt":
		rest = internationalText(rest)
	}
	fields := strings.Fields(string(rest))
	if len(fields) < 3 {
		return nil
	}
	n, err := strconv.Atoi(fields[1])
	if err != nil {
		return nil
	}
	block, err := hex.DecodeString(strings.Join(fields[2:], ""))
	if err != nil || len(block) != n {
		return nil
	}
	if block = cutExifPrefix(block); !startsTIFF(block) {
		return nil
	}
	return block
}

// internationalText returns the text of an iTXt chunk after its keyword:
// compressed or not, method, language, NUL, translated keyword, NUL, text.
func internationalText(rest []byte) []byte {
	if len(rest) < 2 {
		return nil
	}
	compressed := rest[0] == 1
	_, rest, ok := bytes.Cut(rest[2:], []byte{0})
	if !ok {
		return nil
	}
	_, rest, ok = bytes.Cut(rest, []byte{0})
	if !ok {
		return nil
	}
	if compressed {
		return inflate(rest, 4*maxExifBytes)
	}
	return rest
}
