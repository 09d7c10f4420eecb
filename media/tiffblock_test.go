package media

import (
	"bytes"
	"encoding/binary"
	"testing"
)

// entry is one tag of a block made by hand, after TIFF 6.0 section 2: its value
// in the entry itself, or an offset.
type entry struct {
	tag, typ uint16
	count    uint32
	value    [4]byte
}

// blockOf makes a big-endian block of one IFD at 8 and bytes behind it.
func blockOf(entries []entry, behind []byte) []byte {
	out := []byte{'M', 'M', 0, 42, 0, 0, 0, 8}
	out = binary.BigEndian.AppendUint16(out, uint16(len(entries)))
	for _, e := range entries {
		out = binary.BigEndian.AppendUint16(out, e.tag)
		out = binary.BigEndian.AppendUint16(out, e.typ)
		out = binary.BigEndian.AppendUint32(out, e.count)
		out = append(out, e.value[:]...)
	}
	return append(append(out, 0, 0, 0, 0), behind...)
}

func offset(n uint32) (v [4]byte) {
	binary.BigEndian.PutUint32(v[:], n)
	return v
}

// TestReadExif_OneBadTag: one tag that is wrong in whatever way loses itself
// and nothing else (MEDIA.md: it makes goexif lose the whole directory).
func TestReadExif_OneBadTag(t *testing.T) {
	good := entry{tagModel, typeASCII, 4, [4]byte{'B', 'o', 'x', 0}}
	tests := []struct {
		name string
		bad  entry
	}{
		{"count 0", entry{tagMake, typeASCII, 0, offset(8)}},
		{"count over the end", entry{tagMake, typeASCII, 1000, offset(8)}},
		{"count of 2^32-1", entry{tagMake, typeASCII, 1<<32 - 1, offset(8)}},
		{"count times size wraps", entry{tagMake, typeRational, 0x20000001, offset(8)}},
		{"offset over the end", entry{tagMake, typeASCII, 8, offset(1 << 31)}},
		{"unknown type", entry{tagMake, 77, 8, offset(8)}},
		{"number for text", entry{tagMake, typeLong, 1, offset(8)}},
		{"text for number", entry{tagOrientation, typeASCII, 2, [4]byte{'6', 0}}},
		{"Exif pointer to itself", entry{tagExifPointer, typeLong, 1, offset(8)}},
		{"GPS pointer to itself", entry{tagGPSPointer, typeLong, 1, offset(8)}},
		{"Exif pointer over the end", entry{tagExifPointer, typeLong, 1, offset(1 << 30)}},
		{"Exif pointer into the header", entry{tagExifPointer, typeLong, 1, offset(4)}},
	}
	for _, tt := range tests {
		for _, entries := range [][]entry{{tt.bad, good}, {good, tt.bad}} {
			within(t, tt.name, func() {
				e, err := readExif(blockOf(entries, nil))
				if err != nil || e != (Exif{Model: "Box"}) {
					t.Errorf("%s: %+v, %v, want the model alone", tt.name, e, err)
				}
			})
		}
	}
}

// TestReadExif_Unusual: forms that are allowed, or harmless and seen.
func TestReadExif_Unusual(t *testing.T) {
	const behind = 8 + 2 + 2*12 + 4
	date := append([]byte("2024:07:04 12:34:56"), 0)
	ifd := func(e entry) []byte { return blockOf([]entry{e}, nil)[8:] }
	tests := []struct {
		name  string
		block []byte
		want  Exif
	}{
		{"UTF-8 type of Exif 3.0", blockOf([]entry{{tagMake, typeUTF8, 4, [4]byte{'B', 'o', 'x', 0}}}, nil), Exif{Make: "Box"}},
		{"orientation as LONG", blockOf([]entry{{tagOrientation, typeLong, 1, offset(6)}}, nil), Exif{Orientation: 6}},
		{"orientation as BYTE", blockOf([]entry{{tagOrientation, typeByte, 1, [4]byte{6}}}, nil), Exif{Orientation: 6}},
		{"text without NUL", blockOf([]entry{{tagMake, typeASCII, 4, [4]byte{'O', 's', 't', 'l'}}}, nil), Exif{Make: "Ostl"}},
		{"text with NUL early", blockOf([]entry{{tagMake, typeASCII, 4, [4]byte{'B', 0, 'x', 'x'}}}, nil), Exif{Make: "B"}},
		{"text of blanks", blockOf([]entry{{tagMake, typeASCII, 4, [4]byte{' ', ' ', ' ', 0}}}, nil), Exif{}},
		{"text with control characters", blockOf([]entry{{tagMake, typeASCII, 4, [4]byte{'B', 0x1b, '\n', 'x'}}}, nil), Exif{Make: "Bx"}},
		{"dates in IFD0 (TIFF/EP)", blockOf([]entry{{tagMake, typeASCII, 2, [4]byte{'B'}}, {tagDateTimeOriginal, typeASCII, 20, offset(behind)}}, date),
			Exif{Make: "B", DateTimeOriginal: "2024:07:04 12:34:56"}},
		{"pointer of type IFD", blockOf([]entry{{tagMake, typeASCII, 2, [4]byte{'B'}}, {tagExifPointer, typeIFD, 1, offset(behind)}},
			ifd(entry{tagSubSecOriginal, typeASCII, 3, [4]byte{'4', '2'}})), Exif{Make: "B", SubSecTimeOriginal: "42"}},
		{"more entries announced than there", append(blockOf([]entry{{tagMake, typeASCII, 2, [4]byte{'B'}}}, nil)[:8],
			append([]byte{0xff, 0xff}, blockOf([]entry{{tagMake, typeASCII, 2, [4]byte{'B'}}}, nil)[10:]...)...), Exif{Make: "B"}},
		{"nothing", blockOf(nil, nil), Exif{}},
		{"IFD over the end", []byte{'M', 'M', 0, 42, 0, 0, 0xff, 0}, Exif{}},
		{"no block", []byte("Exif"), Exif{}},
	}
	for _, tt := range tests {
		if got, err := readExif(tt.block); err != nil || got != tt.want {
			t.Errorf("%s: %+v, %v, want %+v", tt.name, got, err, tt.want)
		}
	}
}

// TestReadExif_Location: places that cannot be are none.
func TestReadExif_Location(t *testing.T) {
	third := func(n, d uint32) []byte {
		return binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, n), d)
	}
	tests := []struct {
		name             string
		lat, lon         []byte
		latRef, lonRef   byte
		wantLat, wantLon float64
		want             bool
	}{
		// 40° 30' 0" N, 105° 15' 0" W, by 1/60 and 1/3600.
		{"usual", bytes.Join([][]byte{third(40, 1), third(30, 1), third(0, 1)}, nil),
			bytes.Join([][]byte{third(105, 1), third(15, 1), third(0, 1)}, nil), 'N', 'W', 40.5, -105.25, true},
		{"degrees with fraction", third(405, 10), third(10525, 100), 'S', 'E', -40.5, 105.25, true},
		{"poles and date line", third(90, 1), third(180, 1), 'N', 'E', 90, 180, true},
		{"latitude 200", third(200, 1), third(1, 1), 'N', 'E', 0, 0, false},
		{"longitude 181", third(1, 1), third(181, 1), 'N', 'E', 0, 0, false},
		{"0/0", third(0, 0), third(1, 1), 'N', 'E', 0, 0, false},
		{"1/0", third(1, 0), third(1, 1), 'N', 'E', 0, 0, false},
		{"no side", third(1, 1), third(1, 1), 0, 'E', 0, 0, false},
		{"wrong side", third(1, 1), third(1, 1), 'E', 'N', 0, 0, false},
	}
	for _, tt := range tests {
		const gpsAt = 8 + 2 + 12 + 4
		const valuesAt = gpsAt + 2 + 4*12 + 4
		gps := blockOf([]entry{
			{tagGPSLatitudeRef, typeASCII, 2, [4]byte{tt.latRef}},
			{tagGPSLatitude, typeRational, uint32(len(tt.lat) / 8), offset(valuesAt)},
			{tagGPSLongitudeRef, typeASCII, 2, [4]byte{tt.lonRef}},
			{tagGPSLongitude, typeRational, uint32(len(tt.lon) / 8), offset(valuesAt + uint32(len(tt.lat)))},
		}, append(tt.lat, tt.lon...))[8:]
		e, err := readExif(blockOf([]entry{{tagGPSPointer, typeLong, 1, offset(gpsAt)}}, gps))
		if err != nil || (e.Location != nil) != tt.want {
			t.Errorf("%s: %v, %v", tt.name, e.Location, err)
		} else if tt.want && (e.Location.Lat != tt.wantLat || e.Location.Lon != tt.wantLon) {
			t.Errorf("%s: %v, want %v, %v", tt.name, *e.Location, tt.wantLat, tt.wantLon)
		}
	}
}
