package media

import (
	"encoding/binary"
	"math"
	"unicode/utf16"
)

// wideProfile makes an RGB profile for colours wider than sRGB that a HEIC
// names by numbers only, so that derivatives can say so too: without, their
// red would pale. It returns nil for all others, which are taken as sRGB.
//
// Tone curves: that of sRGB for all transfers; what is recorded for brighter
// screens (HLG, PQ) is shown by it as other cameras' photos are.
//
// Sources: ITU-T H.273 table 2 for the numbers, SMPTE EG 432-1 (12: Display P3)
// and ITU-R BT.2020 (9) for the primaries, white D65 in both.
func wideProfile(c heifColour) []byte {
	switch c.primaries {
	case 12:
		return rgbProfile("Display P3", [3][2]float64{{0.680, 0.320}, {0.265, 0.690}, {0.150, 0.060}})
	case 9:
		return rgbProfile("Rec. 2020", [3][2]float64{{0.708, 0.292}, {0.170, 0.797}, {0.131, 0.046}})
	}
	return nil
}

// matrix3 is by rows.
type matrix3 [3][3]float64

func (m matrix3) times(o matrix3) (out matrix3) {
	for i := range 3 {
		for j := range 3 {
			for k := range 3 {
				out[i][j] += m[i][k] * o[k][j]
			}
		}
	}
	return out
}

func (m matrix3) apply(v [3]float64) (out [3]float64) {
	for i := range 3 {
		out[i] = m[i][0]*v[0] + m[i][1]*v[1] + m[i][2]*v[2]
	}
	return out
}

func (m matrix3) inverse() (out matrix3) {
	minor := func(i, j int) float64 {
		a, b, c, d := (i+1)%3, (i+2)%3, (j+1)%3, (j+2)%3
		return m[a][c]*m[b][d] - m[a][d]*m[b][c]
	}
	det := m[0][0]*minor(0, 0) + m[0][1]*minor(0, 1) + m[0][2]*minor(0, 2)
	for i := range 3 {
		for j := range 3 {
			out[j][i] = minor(i, j) / det
		}
	}
	return out
}

// bradford brings colours seen under D65 to D50, the white of profiles
// (ICC.1:2022 annex E.3 with the whites of its table and of IEC 61966-2-1).
func bradford() matrix3 {
	cone := matrix3{{0.8951, 0.2664, -0.1614}, {-0.7502, 1.7135, 0.0367}, {0.0389, -0.0685, 1.0296}}
	from := cone.apply([3]float64{0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290})
	to := cone.apply([3]float64{0.9642, 1, 0.8249})
	scale := matrix3{{to[0] / from[0]}, {0, to[1] / from[1]}, {0, 0, to[2] / from[2]}}
	return cone.inverse().times(scale).times(cone)
}

// rgbProfile makes a display profile of version 4 with these primaries (x and
// y of red, green, blue), white D65 and the tone curve of sRGB.
//
// Source: ICC.1:2022 sections 7.2, 7.3, 8.3.3, 10.15 (mluc), 10.18 (para),
// 10.31 (XYZ).
func rgbProfile(name string, xy [3][2]float64) []byte {
	var primaries matrix3
	for i, p := range xy {
		primaries[0][i], primaries[1][i], primaries[2][i] = p[0]/p[1], 1, (1-p[0]-p[1])/p[1]
	}
	amounts := primaries.inverse().apply([3]float64{0.3127 / 0.3290, 1, (1 - 0.3127 - 0.3290) / 0.3290})
	for i := range 3 {
		for j := range 3 {
			primaries[j][i] *= amounts[i]
		}
	}
	primaries = bradford().times(primaries)

	fixed := func(b []byte, values ...float64) []byte {
		for _, v := range values {
			b = binary.BigEndian.AppendUint32(b, uint32(int32(math.Round(v*65536))))
		}
		return b
	}
	xyz := func(x, y, z float64) []byte { return fixed([]byte("XYZ \x00\x00\x00\x00"), x, y, z) }
	text := func(s string) []byte {
		b := append([]byte("mluc\x00\x00\x00\x00"), 0, 0, 0, 1, 0, 0, 0, 12, 'e', 'n', 'U', 'S')
		units := utf16.Encode([]rune(s))
		b = binary.BigEndian.AppendUint32(b, uint32(2*len(units)))
		b = binary.BigEndian.AppendUint32(b, 28)
		for _, u := range units {
			b = binary.BigEndian.AppendUint16(b, u)
		}
		for len(b)%4 != 0 {
			b = append(b, 0)
		}
		return b
	}
	curve := fixed([]byte("para\x00\x00\x00\x00\x00\x03\x00\x00"), 2.4, 1/1.055, 0.055/1.055, 1/12.92, 0.04045)
	tags := []struct {
		name string
		data []byte
	}{
		{"desc", text(name)},
		{"cprt", text("No copyright")},
		{"wtpt", xyz(0.9642, 1, 0.8249)},
		{"chad", nil}, // below
		{"rXYZ", xyz(primaries[0][0], primaries[1][0], primaries[2][0])},
		{"gXYZ", xyz(primaries[0][1], primaries[1][1], primaries[2][1])},
		{"bXYZ", xyz(primaries[0][2], primaries[1][2], primaries[2][2])},
		{"rTRC", curve}, {"gTRC", curve}, {"bTRC", curve},
	}
	chad := []byte("sf32\x00\x00\x00\x00")
	for _, row := range bradford() {
		chad = fixed(chad, row[:]...)
	}
	tags[3].data = chad

	out := make([]byte, 128)
	copy(out[8:], "\x04\x40\x00\x00mntrRGB XYZ ")
	binary.BigEndian.PutUint16(out[24:], 2024) // a fixed date: equal photos, equal bytes
	out[27], out[29] = 1, 1
	copy(out[36:], "acsp")
	copy(out[68:], fixed(nil, 0.9642, 1, 0.8249))
	out = binary.BigEndian.AppendUint32(out, uint32(len(tags)))
	at := len(out) + 12*len(tags)
	var body []byte
	for i, t := range tags {
		if i > 0 && tags[i-1].name[1:] == "TRC" { // one curve for all three
			at -= len(t.data)
		} else {
			body = append(body, t.data...)
		}
		out = append(out, t.name...)
		out = binary.BigEndian.AppendUint32(out, uint32(at))
		out = binary.BigEndian.AppendUint32(out, uint32(len(t.data)))
		at += len(t.data)
	}
	out = append(out, body...)
	binary.BigEndian.PutUint32(out, uint32(len(out)))
	return out
}
