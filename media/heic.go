package media

import (
	"encoding/binary"
	"fmt"
	"io"
)

const (
	// maxMetaBytes is the largest meta box read; phones write 3 to 60 KB.
	maxMetaBytes = 4 << 20
	maxHEIFItems = 4096
	maxTopBoxes  = 4096
)

// heifMeta is what the meta box says, as far as it is needed.
type heifMeta struct {
	primary    uint32
	pitm       []byte            // where the file has primary: 2 or 4 bytes
	types      map[uint32]string // item -> type
	auxiliary  map[uint32]uint32 // item -> the item it belongs to (auxl)
	tile       map[uint32]uint32 // item -> the first that it is made of (dimg)
	extents    map[uint32][]heifExtent
	idat       []byte
	properties []heifProperty      // numbered from 1 in ipma
	assigned   map[uint32][]uint16 // item -> property numbers, in order
}

type heifExtent struct {
	inIdat      bool
	off, length uint64
}

// heifProperty is a property box. Its name and content are those of the bytes
// that were read, so that [heifMeta.settle] can write to them.
type heifProperty struct {
	kind []byte
	data []byte
}

// walkHEIC finds the primary image's size, its turning by irot and imir, its
// cropping by clap, its colours and Exif. Nothing is decoded. It returns
// ErrTruncated if the file ends before a box does, or an Exif block lies
// outside the file, and ErrTooManyPixels if decoding would take more than
// [MaxHEICPixels].
//
// Source: ISO/IEC 14496-12 sections 4.2, 8.11; ISO/IEC 23008-12 sections 6.5,
// 9.3 and annex A.2.1. From memory: both are paid standards and not at hand.
func walkHEIC(r io.ReaderAt, size int64) (layout, error) {
	out := layout{turned: true, orientation: 1}
	start, end, err := findMeta(r, size)
	if err != nil {
		return out, err
	}
	b, err := window(r, size, start, end-start)
	if err != nil {
		return out, err
	}
	meta, err := readMeta(b)
	if err != nil {
		return out, err
	}
	if err := meta.describe(&out); err != nil {
		return out, err
	}
	block, err := meta.readExif(r, size)
	out.exif = block
	return out, err
}

// findMeta returns where the content of the file's first meta box starts and
// ends, having seen that every box at the top is there whole.
func findMeta(r io.ReaderAt, size int64) (start, end int64, err error) {
	off := int64(0)
	for range maxTopBoxes {
		if off >= size {
			break
		}
		kind, from, to, err := boxAt(r, size, off)
		if err != nil {
			return 0, 0, err
		}
		if kind == "meta" && start == 0 {
			if to-from > maxMetaBytes {
				return 0, 0, fmt.Errorf("meta box of %d bytes: %w", to-from, ErrDamaged)
			}
			start, end = from, to
		}
		off = to
	}
	if start == 0 {
		return 0, 0, fmt.Errorf("no meta box: %w", ErrDamaged)
	}
	return start, end, nil
}

// boxAt reads the head of a box in the file: its kind and where its content
// starts and ends.
func boxAt(r io.ReaderAt, size, off int64) (kind string, start, end int64, err error) {
	head, err := window(r, size, off, 8)
	if err != nil {
		return "", 0, 0, err
	}
	length, start := int64(binary.BigEndian.Uint32(head)), off+8
	switch length {
	case 0: // to the end of the file
		length = size - off
	case 1:
		wide, err := window(r, size, start, 8)
		if err != nil {
			return "", 0, 0, err
		}
		length, start = int64(binary.BigEndian.Uint64(wide)), start+8
	}
	switch {
	case length < start-off:
		return "", 0, 0, fmt.Errorf("box shorter than its head: %w", ErrDamaged)
	case length > size-off:
		return "", 0, 0, ErrTruncated
	}
	return string(head[4:8]), start, off + length, nil
}

// boxes calls fn for each box in b, with its name and content.
func boxes(b []byte, fn func(kind, data []byte) error) error {
	for len(b) >= 8 {
		length, head := uint64(binary.BigEndian.Uint32(b)), uint64(8)
		if length == 1 && len(b) >= 16 {
			length, head = binary.BigEndian.Uint64(b[8:]), 16
		}
		if length == 0 {
			length = uint64(len(b))
		}
		if length < head || length > uint64(len(b)) {
			return fmt.Errorf("box of %d bytes in %d: %w", length, len(b), ErrDamaged)
		}
		if err := fn(b[4:8], b[head:length]); err != nil {
			return err
		}
		b = b[length:]
	}
	return nil
}

func readMeta(b []byte) (*heifMeta, error) {
	m := &heifMeta{
		types: map[uint32]string{}, auxiliary: map[uint32]uint32{}, tile: map[uint32]uint32{},
		extents: map[uint32][]heifExtent{}, assigned: map[uint32][]uint16{},
	}
	c := &cursor{b: b}
	c.uint(4) // version, flags
	err := boxes(c.b, func(kind, data []byte) error {
		c := &cursor{b: data}
		switch string(kind) {
		case "pitm":
			wide := c.version() > 0
			m.pitm = c.b[:min(len(c.b), c.wide(wide))]
			m.primary = c.id(wide)
		case "iref":
			wide := c.version() > 0
			return boxes(c.b, func(kind, data []byte) error { return m.references(kind, data, wide) })
		case "iinf":
			c.uint(c.wide(c.version() > 0))
			return boxes(c.b, m.itemInfo)
		case "iloc":
			m.locations(c)
		case "idat":
			m.idat = data
			return nil
		case "iprp":
			return boxes(data, m.itemProperties)
		}
		return c.err()
	})
	return m, err
}

// itemInfo reads an infe box. Versions before 2 have no item type.
func (m *heifMeta) itemInfo(kind, data []byte) error {
	c := &cursor{b: data}
	version := c.version()
	if string(kind) != "infe" || version < 2 || len(m.types) >= maxHEIFItems {
		return nil
	}
	id := c.id(version > 2)
	c.uint(2) // protection
	m.types[id] = string(c.take(4))
	return c.err()
}

// references reads a box of iref: which items are auxiliary to which, and made
// of which.
func (m *heifMeta) references(kind, data []byte, wide bool) error {
	to := map[string]map[uint32]uint32{"auxl": m.auxiliary, "dimg": m.tile}[string(kind)]
	if to == nil || len(to) >= maxHEIFItems {
		return nil
	}
	c := &cursor{b: data}
	from := c.id(wide)
	if c.uint(2) > 0 {
		to[from] = c.id(wide)
	}
	return c.err()
}

// locations reads an iloc box.
func (m *heifMeta) locations(c *cursor) {
	version := c.version()
	sizes := c.uint(2)
	offBytes, lenBytes, baseBytes, indexBytes := int(sizes>>12), int(sizes>>8&15), int(sizes>>4&15), int(sizes&15)
	if version == 0 {
		indexBytes = 0
	}
	if lenBytes == 0 {
		return // says where nothing is, at no cost in bytes however often
	}
	items := c.uint(c.wide(version > 1))
	for range min(items, maxHEIFItems) {
		id := c.id(version > 1)
		method := uint64(0)
		if version > 0 {
			method = c.uint(2) & 15
		}
		c.uint(2) // data reference: this file
		base := c.uint(baseBytes)
		extents := c.uint(2)
		for range extents {
			c.uint(indexBytes)
			e := heifExtent{inIdat: method == 1, off: base + c.uint(offBytes), length: c.uint(lenBytes)}
			if c.short {
				return
			}
			if method <= 1 && len(m.extents[id]) < maxHEIFItems {
				m.extents[id] = append(m.extents[id], e)
			}
		}
	}
}

// itemProperties reads a box of iprp: the properties or their assignment.
func (m *heifMeta) itemProperties(kind, data []byte) error {
	switch string(kind) {
	case "ipco":
		return boxes(data, func(kind, data []byte) error {
			m.properties = append(m.properties, heifProperty{kind, data})
			return nil
		})
	case "ipma":
		c := &cursor{b: data}
		head := c.uint(4)
		version, wide := head>>24, head&1 == 1
		for range min(c.uint(4), maxHEIFItems) {
			id := c.id(version > 0)
			for range c.uint(1) {
				number := c.uint(c.oneOrTwo(wide))
				if wide {
					number &= 0x7fff // the top bit says "essential"
				} else {
					number &= 0x7f
				}
				m.assigned[id] = append(m.assigned[id], uint16(number))
			}
			if c.short {
				break
			}
		}
		return c.err()
	}
	return nil
}

// readExif returns the TIFF block of the Exif item, or nil if there is none.
// The item starts with the number of bytes before the TIFF header.
func (m *heifMeta) readExif(r io.ReaderAt, size int64) ([]byte, error) {
	var id uint32
	found := false
	for item, kind := range m.types {
		if kind == "Exif" && (!found || item < id) {
			id, found = item, true
		}
	}
	if !found {
		return nil, nil
	}
	var item []byte
	for _, e := range m.extents[id] {
		if e.length > maxExifBytes || uint64(len(item))+e.length > maxExifBytes {
			return nil, nil
		}
		if e.inIdat {
			if e.off > uint64(len(m.idat)) || e.length > uint64(len(m.idat))-e.off {
				return nil, ErrTruncated
			}
			item = append(item, m.idat[e.off:e.off+e.length]...)
			continue
		}
		if e.off > uint64(size) {
			return nil, ErrTruncated
		}
		part, err := window(r, size, int64(e.off), int64(e.length))
		if err != nil {
			return nil, err
		}
		item = append(item, part...)
	}
	c := &cursor{b: item}
	skip := c.uint(4)
	if c.short || skip > uint64(len(c.b)) {
		return nil, nil
	}
	if block := cutExifPrefix(c.b[skip:]); startsTIFF(block) {
		return block, nil
	}
	return nil, nil
}
