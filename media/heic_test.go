package media

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"path/filepath"
	"testing"
)

// box makes an ISO base media box (ISO/IEC 14496-12 section 4.2).
func box(kind string, parts ...[]byte) []byte {
	data := bytes.Join(parts, nil)
	out := binary.BigEndian.AppendUint32(nil, uint32(8+len(data)))
	return append(append(out, kind...), data...)
}

func be16(n int) []byte { return binary.BigEndian.AppendUint16(nil, uint16(n)) }
func be32(n int) []byte { return binary.BigEndian.AppendUint32(nil, uint32(n)) }

// heicParts are the boxes that tests vary.
type heicParts struct {
	iloc  []byte   // nil for Exif in idat
	extra [][]byte // properties of the primary item beside its size
	exif  []byte
}

// heicOf makes a HEIC file without picture data: 64 x 48, with Exif.
func heicOf(p heicParts) []byte {
	item := append(be32(0), p.exif...)
	if p.iloc == nil {
		// Version 1: offsets and lengths of 4 bytes; item 2 by method 1, in idat.
		p.iloc = box("iloc", be32(1<<24), be16(0x4400), be16(1), be16(2), be16(1), be16(0), be16(1), be32(0), be32(len(item)))
	}
	properties := [][]byte{box("ispe", be32(0), be32(64), be32(48))}
	properties = append(properties, p.extra...)
	assigned := []byte{byte(len(properties))}
	for i := range properties {
		assigned = append(assigned, byte(i+1))
	}
	return bytes.Join([][]byte{
		box("ftyp", []byte("heic"), be32(0), []byte("mif1heic")),
		box("meta", be32(0),
			box("hdlr", be32(0), be32(0), []byte("pict"), make([]byte, 13)),
			box("pitm", be32(0), be16(1)),
			box("iinf", be32(0), be16(2),
				box("infe", be32(2<<24), be16(1), be16(0), []byte("hvc1\x00")),
				box("infe", be32(2<<24), be16(2), be16(0), []byte("Exif\x00"))),
			box("iprp", box("ipco", properties...), box("ipma", be32(0), be32(1), be16(1), assigned)),
			box("iref", be32(0), box("cdsc", be16(2), be16(1), be16(1))),
			box("idat", item),
			p.iloc),
	}, nil)
}

// withMediaData moves the Exif of p from the meta box to an mdat box at the end,
// in two extents, where phones have it.
func withMediaData(p heicParts) []byte {
	item := append(be32(0), p.exif...)
	located := func(at int) []byte {
		return box("iloc", be32(0), be16(0x4400), be16(1), be16(2), be16(0), be16(2),
			be32(at), be32(10), be32(at+10), be32(len(item)-10))
	}
	p.iloc, p.exif = located(0), nil
	at := len(heicOf(p)) + 8
	p.iloc = located(at)
	return append(heicOf(p), box("mdat", item)...)
}

// TestInspect_HEIC: ExifTool is the judge of what a file made here says. It
// (12.57) does not read Exif kept in the meta box itself, which the standard
// allows; that must say the same.
func TestInspect_HEIC(t *testing.T) {
	program(t, "exiftool")
	jpg := writeTagsTo(t, "jpg", encodeJPEG(t, photo(60, 40)), phoneTags...)
	parts := heicParts{exif: mustInspect(t, jpg).layout.exif}
	b := withMediaData(parts)
	path := filepath.Join(t.TempDir(), "made.heic")
	writeFile(t, path, b)
	compareWithExifTool(t, map[string]string{"made": path})
	info := mustInspect(t, b)
	inMeta := mustInspect(t, heicOf(parts)).Exif
	if inMeta.DateTimeOriginal != "2025:03:09 01:59:58" || *inMeta.Location != *info.Exif.Location {
		t.Errorf("in the meta box: %+v, in the media data: %+v", inMeta, info.Exif)
	}
	if info.Width != 64 || info.Height != 48 || !info.Decodable() || info.ContentType() != "image/heic" {
		t.Errorf("%+v", info)
	}
	// Exif's orientation is 6 here; irot and imir alone govern.
	if info.Exif.Orientation != 6 || info.Orientation != 1 {
		t.Errorf("orientation %d, Exif's %d", info.Orientation, info.Exif.Orientation)
	}
	turned := mustInspect(t, heicOf(heicParts{exif: orientationBlock(6), extra: [][]byte{box("irot", []byte{1})}}))
	if turned.Orientation != 8 || turned.Width != 48 || turned.Height != 64 {
		t.Errorf("a quarter turn anticlockwise: orientation %d, %d x %d", turned.Orientation, turned.Width, turned.Height)
	}
}

func TestInspect_HEICBroken(t *testing.T) {
	good := heicOf(heicParts{exif: orientationBlock(6)})
	located := func(offBytes, lenBytes int, rest ...[]byte) []byte {
		return box("iloc", be32(1<<24), be16(offBytes<<12|lenBytes<<8), bytes.Join(rest, nil))
	}
	one := bytes.Join([][]byte{be16(1), be16(2), be16(0), be16(0), be16(1)}, nil)
	var endless []byte // 4096 items of 65535 extents that take no bytes
	for range 4096 {
		endless = append(endless, bytes.Join([][]byte{be16(2), be16(0), be16(0), be16(0xffff)}, nil)...)
	}
	tests := []struct {
		name string
		b    []byte
		want error
	}{
		{"Exif behind the end", heicOf(heicParts{iloc: located(4, 4, one, be32(1<<30), be32(100))}), ErrTruncated},
		{"Exif over the end", heicOf(heicParts{iloc: located(4, 4, one, be32(10), be32(100_000))}), ErrTruncated},
		{"Exif at 2^63", heicOf(heicParts{iloc: located(8, 8, one, be32(1<<31), be32(0), be32(0), be32(100))}), ErrTruncated},
		{"Exif of 4 GB", heicOf(heicParts{iloc: located(4, 4, one, be32(10), be32(0xffffffff))}), nil},
		{"extents without size", heicOf(heicParts{iloc: located(0, 0, be16(4096), endless)}), nil},
		{"iloc cut off", heicOf(heicParts{iloc: located(4, 4, be16(100))}), ErrDamaged},
		{"no meta", box("ftyp", []byte("heic"), be32(0), []byte("heic")), ErrDamaged},
		{"no size", bytes.ReplaceAll(good, []byte("ispe"), []byte("xxxx")), ErrDamaged},
		{"box longer than the file", append(append([]byte(nil), good...), 0, 0, 1, 0, 'm', 'd', 'a', 't'), ErrTruncated},
		{"box of 3 bytes", append(append([]byte(nil), good...), 0, 0, 0, 3, 'm', 'd', 'a', 't'), ErrDamaged},
		{"200 megapixels", bytes.Replace(good, append(be32(64), be32(48)...), append(be32(16000), be32(12500)...), 1), ErrTooManyPixels},
	}
	for _, tt := range tests {
		within(t, tt.name, func() {
			if info, err := inspectBytes(tt.b); !errors.Is(err, tt.want) {
				t.Errorf("%s: %v, %v, want %v", tt.name, fmt.Sprint(info.Width, "x", info.Height), err, tt.want)
			}
		})
	}
}
