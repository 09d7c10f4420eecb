package media

import (
	"encoding/binary"
	"fmt"
	"io"
)

const (
	// maxMovieBytes is the largest moov box read. Two minutes at 240 frames a
	// second take 0.5 MB of tables; phones put previews of some hundreds of KB
	// beside them.
	maxMovieBytes = 8 << 20
	// maxMovieBoxes is the most boxes looked at within moov, each as often as it
	// is; phones write 50 to 300.
	maxMovieBoxes = 1 << 16
	maxTracks     = 64
	// maxTopBoxBytes is the largest ftyp box read.
	maxTopBoxBytes = 4 << 10
)

// topBox is a box at the top level of a file: head and content, by offset.
type topBox struct {
	kind             string
	head, start, end int64
}

// topBoxes lists the boxes of a file. Fewer than 8 bytes behind the last one
// are no box and passed over. It returns ErrTruncated if a box goes on past the
// file's end.
//
// Source: ISO/IEC 14496-12 section 4.2. From memory, like all of it here: a paid
// standard and not at hand.
func topBoxes(r io.ReaderAt, size int64) ([]topBox, error) {
	var out []topBox
	for off := int64(0); size-off >= 8; {
		if len(out) == maxTopBoxes {
			return out, fmt.Errorf("more than %d boxes: %w", maxTopBoxes, ErrDamaged)
		}
		kind, start, end, err := boxAt(r, size, off)
		if err != nil {
			return out, err
		}
		out = append(out, topBox{kind, off, start, end})
		off = end
	}
	return out, nil
}

// memBox is a box in memory. Its slices share their bytes with the box that it
// was found in.
type memBox struct {
	kind string
	head []byte // size and kind, 8 or 16 bytes
	data []byte // content
}

// blank makes the box one that says nothing, of the same length.
func (b memBox) blank() {
	copy(b.head[4:8], "free")
	clear(b.data)
}

// boxReader finds boxes in memory, and no more of them than its budget.
type boxReader struct{ budget int }

// children returns the boxes that b consists of, and what is left behind them:
// less than a box, or, in QuickTime files, zeros that end a list.
func (br *boxReader) children(b []byte) (out []memBox, rest []byte, err error) {
	for len(b) >= 8 {
		length, head := uint64(binary.BigEndian.Uint32(b)), uint64(8)
		if length == 0 {
			break
		}
		if length == 1 && len(b) >= 16 {
			length, head = binary.BigEndian.Uint64(b[8:]), 16
		}
		if length < head || length > uint64(len(b)) {
			return nil, nil, fmt.Errorf("box %q of %d bytes in %d: %w", b[4:8], length, len(b), ErrDamaged)
		}
		if br.budget--; br.budget < 0 {
			return nil, nil, fmt.Errorf("more than %d boxes: %w", maxMovieBoxes, ErrDamaged)
		}
		out = append(out, memBox{string(b[4:8]), b[:head], b[head:length]})
		b = b[length:]
	}
	return out, b, nil
}

// find returns the content of the first box of a kind on each step of the way
// down, or nil.
func (br *boxReader) find(b []byte, way ...string) ([]byte, error) {
	for _, kind := range way {
		list, _, err := br.children(b)
		if err != nil {
			return nil, err
		}
		b = nil
		for _, box := range list {
			if box.kind == kind {
				b = box.data
				break
			}
		}
		if b == nil {
			return nil, nil
		}
	}
	return b, nil
}

// need is find for boxes that must be there.
func (br *boxReader) need(b []byte, way ...string) ([]byte, error) {
	out, err := br.find(b, way...)
	if err == nil && out == nil {
		err = fmt.Errorf("no %s box: %w", way[len(way)-1], ErrDamaged)
	}
	return out, err
}
