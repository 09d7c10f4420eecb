package media

import (
	"encoding/binary"
	"fmt"
	"image"
	"math"
	"strings"
)

// MaxHEICPixels is the most pixels a HEIC may have before it is cropped: 64
// million. Its decoder takes 14 to 20 bytes for each.
const MaxHEICPixels = 64_000_000

// heifColour is what an nclx colour box says (ITU-T H.273). Zero: no such box.
type heifColour struct {
	primaries, transfer, matrix int
	limited                     bool // luma 16 to 235, chroma 16 to 240
}

// describe fills in what the primary item's properties say.
func (m *heifMeta) describe(out *layout) error {
	shown := shownPart{turn: turns[1]}
	for _, p := range m.propertiesOf(m.primary) {
		switch string(p.kind) {
		case "ispe":
			if len(p.data) < 12 {
				continue
			}
			w, h := binary.BigEndian.Uint32(p.data[4:]), binary.BigEndian.Uint32(p.data[8:])
			if w > MaxHEICPixels || h > MaxHEICPixels || uint64(w)*uint64(h) > MaxHEICPixels {
				out.width, out.height = int(w), int(h)
				return fmt.Errorf("%d x %d in a HEIC: %w", w, h, ErrTooManyPixels)
			}
			out.coded = image.Pt(int(w), int(h))
			shown.rect = image.Rectangle{Max: out.coded}
		case "irot", "imir", "clap":
			if err := shown.apply(p); err != nil {
				return err
			}
		case "colr":
			readColour(p.data, out)
		}
	}
	if out.coded.X == 0 || out.coded.Y == 0 {
		return fmt.Errorf("no size of the primary image: %w", ErrDamaged)
	}
	out.crop, out.orientation = shown.rect, shown.turn.orientation()
	out.width, out.height = shown.rect.Dx(), shown.rect.Dy()
	out.decodeBytesPerPixel = 3 // what is handed over: 1.5 for 4:2:0, 3 for 4:4:4
	if m.alpha() != 0 {
		out.decodeBytesPerPixel = 8
	}
	if out.icc == nil {
		out.icc = wideProfile(out.colour)
	}
	return nil
}

// propertiesOf returns an item's properties in the order of its display.
func (m *heifMeta) propertiesOf(item uint32) []heifProperty {
	var out []heifProperty
	for _, number := range m.assigned[item] {
		if number > 0 && int(number) <= len(m.properties) {
			out = append(out, m.properties[number-1])
		}
	}
	return out
}

// readColour reads a colr box: a profile or the numbers of nclx.
func readColour(b []byte, out *layout) {
	if len(b) < 4 {
		return
	}
	switch kind, b := string(b[:4]), b[4:]; {
	case kind == "prof" || kind == "rICC":
		out.hasICC = true
		if len(b) <= maxICCBytes {
			out.icc = b
		}
	case kind == "nclx" && len(b) >= 7:
		out.colour = heifColour{
			primaries: int(binary.BigEndian.Uint16(b)), transfer: int(binary.BigEndian.Uint16(b[2:])),
			matrix: int(binary.BigEndian.Uint16(b[4:])), limited: b[6]&0x80 == 0,
		}
	}
}

// alpha returns the item that holds the primary image's transparency, or 0.
//
// Source: ISO/IEC 23008-12 section 6.6.2.1; both names are in use. From memory.
func (m *heifMeta) alpha() uint32 {
	for item, of := range m.auxiliary {
		if of != m.primary {
			continue
		}
		for _, p := range m.propertiesOf(item) {
			if string(p.kind) != "auxC" || len(p.data) < 4 {
				continue
			}
			name, _, _ := strings.Cut(string(p.data[4:]), "\x00")
			if name == "urn:mpeg:mpegB:cicp:systems:auxiliary:alpha" || name == "urn:mpeg:hevc:2015:auxid:1" {
				return item
			}
		}
	}
	return 0
}

// depth is the number of bits of an item's luma, by its decoder configuration or
// that of the first tile it is made of; 8 if neither says.
//
// Source: ISO/IEC 14496-15 section 8.3.3.1.2, from memory.
func (m *heifMeta) depth(item uint32) int {
	for _, of := range []uint32{item, m.tile[item]} {
		for _, p := range m.propertiesOf(of) {
			if string(p.kind) == "hvcC" && len(p.data) > 17 {
				return int(p.data[17]&7) + 8
			}
		}
	}
	return 8
}

// shownPart is the part of the coded image that is shown, in its coordinates,
// and the turn that makes it upright.
type shownPart struct {
	rect image.Rectangle
	turn turn
}

// apply follows one transformation. They act in the order in which the item
// lists them (ISO/IEC 23008-12 section 6.5.1, from memory), each on what those
// before it left.
func (s *shownPart) apply(p heifProperty) error {
	switch string(p.kind) {
	case "irot": // quarter turns anticlockwise
		if len(p.data) >= 1 {
			s.turn = s.turn.then(turns[[4]int{1, 8, 3, 6}[p.data[0]&3]])
		}
	case "imir": // axis 0: top and bottom change places; 1: left and right
		if len(p.data) >= 1 {
			s.turn = s.turn.then(turns[[2]int{4, 2}[p.data[0]&1]])
		}
	case "clap":
		size := s.rect.Size()
		if s.turn.transpose {
			size.X, size.Y = size.Y, size.X
		}
		cut, err := cleanAperture(p.data, size)
		if err != nil {
			return err
		}
		s.rect = s.turn.stored(cut, s.rect)
	}
	return nil
}

// then is the turn that does t first and next on its result.
func (t turn) then(next turn) turn {
	x, y := next.flipX, next.flipY
	if t.transpose {
		x, y = y, x
	}
	return turn{transpose: t.transpose != next.transpose, flipX: t.flipX != x, flipY: t.flipY != y}
}

// orientation is the Exif number of t.
func (t turn) orientation() int {
	for n, other := range turns[1:] {
		if other == t {
			return n + 1
		}
	}
	panic("a turn without a number")
}

// stored brings a rectangle of the upright image back to where it lies in the
// stored one, which is the part within of a larger.
func (t turn) stored(r, within image.Rectangle) image.Rectangle {
	if t.transpose {
		r = image.Rect(r.Min.Y, r.Min.X, r.Max.Y, r.Max.X)
	}
	if t.flipX {
		r.Min.X, r.Max.X = within.Dx()-r.Max.X, within.Dx()-r.Min.X
	}
	if t.flipY {
		r.Min.Y, r.Max.Y = within.Dy()-r.Max.Y, within.Dy()-r.Min.Y
	}
	return r.Add(within.Min)
}

// cleanAperture reads a clap box: the size of the part of an image that is
// shown, and how far its middle is from the image's, in fractions of pixels.
// Sizes are rounded to nearest, the left and top edge down. What lies outside
// the image is left out; nothing left is ErrDamaged.
//
// Source: ISO/IEC 14496-12 section 12.1.4, from memory.
func cleanAperture(b []byte, size image.Point) (image.Rectangle, error) {
	c := &cursor{b: b}
	side := func() (n, d int64) { return int64(c.uint(4)), int64(c.uint(4)) }
	wn, wd := side()
	hn, hd := side()
	xn, xd := side()
	yn, yd := side()
	if err := c.err(); err != nil {
		return image.Rectangle{}, err
	}
	// Offsets are signed, and so small that halves of them fit.
	xn, yn = int64(int32(xn)), int64(int32(yn))
	if wd == 0 || hd == 0 || xd == 0 || yd == 0 {
		return image.Rectangle{}, fmt.Errorf("a fraction of nothing in clap: %w", ErrDamaged)
	}
	edge := func(total, n, d, offN, offD int64) (from, to int) {
		length := (2*n + d) / (2 * d)
		middle := float64(total)/2 + float64(offN)/float64(offD)
		start := int(math.Floor(middle - float64(length)/2))
		return start, start + int(length)
	}
	x0, x1 := edge(int64(size.X), wn, wd, xn, xd)
	y0, y1 := edge(int64(size.Y), hn, hd, yn, yd)
	r := image.Rect(x0, y0, x1, y1).Intersect(image.Rectangle{Max: size})
	if r.Empty() {
		return image.Rectangle{}, fmt.Errorf("clap leaves nothing: %w", ErrDamaged)
	}
	return r, nil
}

// settle writes to the bytes that m was read from, so that a decoder shows the
// image as it is coded: its transformations become turns by nothing.
func (m *heifMeta) settle(item uint32) {
	for _, p := range m.propertiesOf(item) {
		switch string(p.kind) {
		case "irot", "imir", "clap":
			if len(p.data) > 0 {
				copy(p.kind, "irot")
				p.data[0] = 0
			}
		}
	}
}
