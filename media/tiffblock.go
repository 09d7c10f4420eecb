package media

import (
	"bytes"
	"encoding/binary"
)

// Tags read from an Exif block. Source: Exif 3.0 (CIPA DC-008-2023) tables 3,
// 8, 9 and 15; the numbers are those of Exif 2.32 too.
const (
	tagMake                = 0x010f
	tagModel               = 0x0110
	tagOrientation         = 0x0112
	tagExifPointer         = 0x8769
	tagGPSPointer          = 0x8825
	tagDateTimeOriginal    = 0x9003
	tagDateTimeDigitized   = 0x9004
	tagOffsetTimeOriginal  = 0x9011
	tagOffsetTimeDigitized = 0x9012
	tagSubSecOriginal      = 0x9291
	tagSubSecDigitized     = 0x9292
	tagGPSLatitudeRef      = 0x0001
	tagGPSLatitude         = 0x0002
	tagGPSLongitudeRef     = 0x0003
	tagGPSLongitude        = 0x0004
	tagGPSTimeStamp        = 0x0007
	tagGPSDateStamp        = 0x001d
)

// TIFF field types (TIFF 6.0 section 2; 13 from the supplement of 1995, 129
// UTF-8 from Exif 3.0).
const (
	typeByte      = 1
	typeASCII     = 2
	typeShort     = 3
	typeLong      = 4
	typeRational  = 5
	typeUndefined = 7
	typeSRational = 10
	typeIFD       = 13
	typeUTF8      = 129
)

var typeBytes = map[uint16]uint64{
	typeByte: 1, typeASCII: 1, typeShort: 2, typeLong: 4, typeRational: 8, typeUndefined: 1,
	typeSRational: 8, typeIFD: 4, typeUTF8: 1,
}

// maxTextBytes is the most that is kept of a text tag.
const maxTextBytes = 256

// wanted is a tag to be carried over, and the form it is carried in.
type wanted struct {
	tag  uint16
	form uint16 // typeASCII, typeShort or typeRational
}

var (
	wantedMain = []wanted{{tagMake, typeASCII}, {tagModel, typeASCII}, {tagOrientation, typeShort}}
	wantedExif = []wanted{
		{tagDateTimeOriginal, typeASCII}, {tagDateTimeDigitized, typeASCII},
		{tagOffsetTimeOriginal, typeASCII}, {tagOffsetTimeDigitized, typeASCII},
		{tagSubSecOriginal, typeASCII}, {tagSubSecDigitized, typeASCII},
	}
	wantedGPS = []wanted{
		{tagGPSLatitudeRef, typeASCII}, {tagGPSLatitude, typeRational},
		{tagGPSLongitudeRef, typeASCII}, {tagGPSLongitude, typeRational},
		{tagGPSTimeStamp, typeRational}, {tagGPSDateStamp, typeASCII},
	}
)

// field is one tag's value in little-endian order.
type field struct {
	tag, form uint16
	count     uint32
	value     []byte
}

// rebuildTIFF reads the wanted tags out of a camera's TIFF block and writes
// them into a clean one: little-endian, IFD0 with an Exif and a GPS IFD, no
// other tags, nothing that a TIFF reader could stumble over. It returns nil if
// none of them is there.
//
// IFD0, the Exif IFD and the GPS IFD are each read once, whatever else points
// where, so that cycles do not matter. A tag whose type is not one of its
// usual ones, whose count is zero, or whose value lies outside the block is
// left out, and only it. It allocates no more than the block's own size.
func rebuildTIFF(block []byte) []byte {
	if !startsTIFF(block) {
		return nil
	}
	src := &tiffSource{block: block, order: binary.LittleEndian}
	if block[0] == 'M' {
		src.order = binary.BigEndian
	}
	main := src.order.Uint32(block[4:])
	exifAt, gpsAt := src.pointer(main, tagExifPointer), src.pointer(main, tagGPSPointer)
	if exifAt == main {
		exifAt = 0
	}
	if gpsAt == 0 && exifAt != 0 {
		gpsAt = src.pointer(exifAt, tagGPSPointer) // seen in the wrong place
	}
	if gpsAt == main || gpsAt == exifAt {
		gpsAt = 0
	}
	mainFields := src.fields(main, wantedMain)
	exifFields := src.fields(exifAt, wantedExif)
	if len(exifFields) == 0 {
		exifFields = src.fields(main, wantedExif) // TIFF/EP keeps dates in IFD0
	}
	gpsFields := src.fields(gpsAt, wantedGPS)
	if len(mainFields)+len(exifFields)+len(gpsFields) == 0 {
		return nil
	}
	return writeTIFF(mainFields, exifFields, gpsFields)
}

// tiffSource is a block as a camera wrote it.
type tiffSource struct {
	block []byte
	order binary.ByteOrder
}

// find returns the first usable entry with this tag in the IFD at off: its
// type, count and value.
func (s *tiffSource) find(off uint32, tag uint16) (typ uint16, count uint32, value []byte, ok bool) {
	size := uint64(len(s.block))
	if off < 8 || uint64(off)+2 > size {
		return 0, 0, nil, false
	}
	entries := s.block[off+2:]
	n := min(int(s.order.Uint16(s.block[off:])), len(entries)/12)
	for i := range n {
		entry := entries[12*i : 12*i+12]
		if s.order.Uint16(entry) != tag {
			continue
		}
		typ, count = s.order.Uint16(entry[2:]), s.order.Uint32(entry[4:])
		bytes := typeBytes[typ] * uint64(count)
		if bytes == 0 {
			continue
		}
		if bytes <= 4 {
			return typ, count, entry[8 : 8+bytes], true
		}
		at := uint64(s.order.Uint32(entry[8:]))
		if at > size || bytes > size-at {
			continue
		}
		return typ, count, s.block[at : at+bytes], true
	}
	return 0, 0, nil, false
}

// pointer returns the offset that a pointer tag holds, or 0.
func (s *tiffSource) pointer(off uint32, tag uint16) uint32 {
	typ, _, value, ok := s.find(off, tag)
	if !ok || typ != typeLong && typ != typeIFD {
		return 0
	}
	return s.order.Uint32(value)
}

func (s *tiffSource) fields(off uint32, tags []wanted) []field {
	var out []field
	for _, w := range tags {
		typ, count, value, ok := s.find(off, w.tag)
		if !ok {
			continue
		}
		if f, ok := s.convert(w, typ, count, value); ok {
			out = append(out, f)
		}
	}
	return out
}

// convert brings a value into the form wanted.
func (s *tiffSource) convert(w wanted, typ uint16, count uint32, value []byte) (field, bool) {
	f := field{tag: w.tag, form: w.form}
	switch {
	case w.form == typeASCII && (typ == typeASCII || typ == typeUTF8 || typ == typeUndefined || typ == typeByte):
		text, _, _ := bytes.Cut(value[:min(len(value), maxTextBytes)], []byte{0})
		f.value = append(append(f.value, text...), 0)
		f.count = uint32(len(f.value))
		return f, len(text) > 0
	case w.form == typeShort && (typ == typeShort || typ == typeLong || typ == typeByte):
		n := uint32(0)
		switch typ {
		case typeShort:
			n = uint32(s.order.Uint16(value))
		case typeLong:
			n = s.order.Uint32(value)
		case typeByte:
			n = uint32(value[0])
		}
		f.count, f.value = 1, binary.LittleEndian.AppendUint16(nil, uint16(min(n, 0xffff)))
		return f, true
	case w.form == typeRational && (typ == typeRational || typ == typeSRational) && count <= 3:
		f.form = typ
		f.count = count
		for at := 0; at < len(value); at += 4 {
			f.value = binary.LittleEndian.AppendUint32(f.value, s.order.Uint32(value[at:]))
		}
		return f, true
	}
	return f, false
}

// writeTIFF lays out the block: header, IFD0, Exif IFD, GPS IFD, each followed
// by its values.
func writeTIFF(main, exif, gps []field) []byte {
	le := binary.LittleEndian
	withPointers := func(exifAt, gpsAt uint32) []field {
		out := append([]field(nil), main...)
		return append(out,
			field{tagExifPointer, typeLong, 1, le.AppendUint32(nil, exifAt)},
			field{tagGPSPointer, typeLong, 1, le.AppendUint32(nil, gpsAt)})
	}
	const mainAt = 8
	exifAt := uint32(mainAt + len(ifdBytes(withPointers(0, 0), 0)))
	exifIFD := ifdBytes(exif, exifAt)
	gpsAt := exifAt + uint32(len(exifIFD))
	out := append([]byte("II*\x00"), le.AppendUint32(nil, mainAt)...)
	out = append(out, ifdBytes(withPointers(exifAt, gpsAt), mainAt)...)
	out = append(out, exifIFD...)
	return append(out, ifdBytes(gps, gpsAt)...)
}

// ifdBytes writes an IFD that starts at the offset at, and its values behind
// it, each on an even offset. Fields come in ascending order of tag.
func ifdBytes(fields []field, at uint32) []byte {
	le := binary.LittleEndian
	out := le.AppendUint16(nil, uint16(len(fields)))
	var values []byte
	valuesAt := at + 2 + 12*uint32(len(fields)) + 4
	for _, f := range fields {
		out = le.AppendUint16(out, f.tag)
		out = le.AppendUint16(out, f.form)
		out = le.AppendUint32(out, f.count)
		if len(f.value) <= 4 {
			out = append(out, f.value...)
			out = append(out, make([]byte, 4-len(f.value))...)
			continue
		}
		out = le.AppendUint32(out, valuesAt+uint32(len(values)))
		values = append(values, f.value...)
		if len(values)%2 == 1 {
			values = append(values, 0)
		}
	}
	out = le.AppendUint32(out, 0) // no further IFD
	return append(out, values...)
}
