package scenery

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"time"
)

// The invented phone.
const (
	cameraMake  = "Larkfield"
	cameraModel = "Larkfield P5"
	cameraSoft  = "Larkfield Camera 4.2"
)

// TIFF field types (TIFF 6.0, section 2; CIPA DC-008-2019, 4.6.2).
const (
	typeByte      = 1
	typeASCII     = 2
	typeShort     = 3
	typeLong      = 4
	typeRational  = 5
	typeUndefined = 7
)

// field is one entry of an image file directory, its value already in bytes
// (big-endian).
type field struct {
	tag, kind uint16
	count     uint32
	value     []byte
}

func ascii(tag uint16, s string) field {
	b := append([]byte(s), 0)
	return field{tag, typeASCII, uint32(len(b)), b}
}

func short(tag uint16, v uint16) field {
	return field{tag, typeShort, 1, binary.BigEndian.AppendUint16(nil, v)}
}

func long(tag uint16, v uint32) field {
	return field{tag, typeLong, 1, binary.BigEndian.AppendUint32(nil, v)}
}

func rational(tag uint16, pairs ...uint32) field {
	var b []byte
	for _, v := range pairs {
		b = binary.BigEndian.AppendUint32(b, v)
	}
	return field{tag, typeRational, uint32(len(pairs) / 2), b}
}

func undefined(tag uint16, b ...byte) field {
	return field{tag, typeUndefined, uint32(len(b)), b}
}

// exif is the body of the file's APP1 segment: "Exif\0\0" and a TIFF block
// with the directories IFD0, Exif and GPS. Tags and types as in CIPA
// DC-008-2019 (Exif 2.32), tables 4 to 19.
func (s Shot) exif() ([]byte, error) {
	const stamp = "2006:01:02 15:04:05"
	local, offset := s.At.Format(stamp), s.At.Format("-07:00")
	if _, sec := s.At.Zone(); sec%60 != 0 {
		return nil, errors.New("scenery: Exif writes a zone's offset in whole minutes")
	}
	utc := s.At.UTC()
	// Close-ups are taken with the same lens and a shorter exposure is of no
	// interest to anybody; light differs in and out of doors.
	exposure, iso := uint32(60), uint16(320)
	if s.State == RoadTest || s.State == DeliveryTrailer {
		exposure, iso = 900, 50
	}
	main := []field{
		ascii(0x010f, cameraMake),
		ascii(0x0110, cameraModel),
		short(0x0112, uint16(s.orientation())),
		rational(0x011a, 72, 1),
		rational(0x011b, 72, 1),
		short(0x0128, 2), // resolution unit: inch
		ascii(0x0131, cameraSoft),
		ascii(0x0132, local),
		short(0x0213, 1), // YCbCr positioning: centred, as JFIF has it
	}
	photo := []field{
		rational(0x829a, 1, exposure),
		rational(0x829d, 18, 10),
		short(0x8827, iso),
		undefined(0x9000, '0', '2', '3', '2'),
		ascii(0x9003, local),
		ascii(0x9004, local),
		ascii(0x9010, offset),
		ascii(0x9011, offset),
		ascii(0x9012, offset),
		undefined(0x9101, 1, 2, 3, 0), // Y, Cb, Cr
		rational(0x920a, 42, 10),
		ascii(0x9291, fmt.Sprintf("%03d", s.At.Nanosecond()/int(time.Millisecond))),
		undefined(0xa000, '0', '1', '0', '0'),
		short(0xa001, 1), // sRGB
		long(0xa002, WidthPx),
		long(0xa003, HeightPx),
		short(0xa405, 26), // focal length of the same view on 35 mm film
		short(0xa406, 0),
	}
	gps := []field{
		{0x0000, typeByte, 4, []byte{2, 3, 0, 0}},
		ascii(0x0001, ref(s.Lat, "N", "S")),
		rational(0x0002, degrees(s.Lat)...),
		ascii(0x0003, ref(s.Lon, "E", "W")),
		rational(0x0004, degrees(s.Lon)...),
		rational(0x0007, uint32(utc.Hour()), 1, uint32(utc.Minute()), 1, uint32(utc.Second()), 1),
		ascii(0x0012, "WGS-84"),
		ascii(0x001d, utc.Format("2006:01:02")),
	}
	// Pointers need the directories' offsets, which follow from their sizes.
	const header = 8
	photoAt := header + size(main) + 2*12 // two pointer entries more
	gpsAt := photoAt + size(photo)
	main = append(main, long(0x8769, uint32(photoAt)), long(0x8825, uint32(gpsAt)))
	var b bytes.Buffer
	b.WriteString("Exif\x00\x00MM\x00\x2a\x00\x00\x00\x08")
	writeDirectory(&b, main, header)
	writeDirectory(&b, photo, photoAt)
	writeDirectory(&b, gps, gpsAt)
	return b.Bytes(), nil
}

// size is a directory's length in bytes with its values, which start on even
// offsets.
func size(fs []field) int {
	n := 2 + 12*len(fs) + 4
	for _, f := range fs {
		if len(f.value) > 4 {
			n += (len(f.value) + 1) &^ 1
		}
	}
	return n
}

// writeDirectory writes fs, sorted by tag, as a directory at offset at of the
// TIFF block; none follows it.
func writeDirectory(b *bytes.Buffer, fs []field, at int) {
	next := at + 2 + 12*len(fs) + 4
	var values []byte
	put16 := func(v uint16) { b.Write(binary.BigEndian.AppendUint16(nil, v)) }
	put32 := func(v uint32) { b.Write(binary.BigEndian.AppendUint32(nil, v)) }
	put16(uint16(len(fs)))
	for _, f := range fs {
		put16(f.tag)
		put16(f.kind)
		put32(f.count)
		if len(f.value) <= 4 {
			b.Write(append(f.value[:len(f.value):len(f.value)], make([]byte, 4-len(f.value))...))
			continue
		}
		put32(uint32(next + len(values)))
		values = append(values, f.value...)
		if len(values)%2 == 1 {
			values = append(values, 0)
		}
	}
	put32(0)
	b.Write(values)
}

func ref(v float64, positive, negative string) string {
	if v < 0 {
		return negative
	}
	return positive
}

// degrees splits an angle into degrees, minutes and seconds to a hundredth,
// about 30 cm on the ground.
func degrees(v float64) []uint32 {
	c := uint32(math.Round(math.Abs(v) * 360000))
	return []uint32{c / 360000, 1, c / 6000 % 60, 1, c % 6000, 100}
}

// insertExif puts an APP1 segment with the given body behind the file's SOI
// marker, where Exif wants it (CIPA DC-008, 4.5.5).
func insertExif(file, body []byte) ([]byte, error) {
	if len(body)+2 > 0xffff {
		return nil, errors.New("scenery: the Exif block does not fit its segment")
	}
	if len(file) < 2 || file[0] != 0xff || file[1] != 0xd8 {
		return nil, errors.New("scenery: this is no JPEG file")
	}
	out := make([]byte, 0, len(file)+len(body)+4)
	out = append(out, 0xff, 0xd8, 0xff, 0xe1)
	out = binary.BigEndian.AppendUint16(out, uint16(len(body)+2))
	out = append(out, body...)
	return append(out, file[2:]...), nil
}
