package media

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"math"
	"slices"
)

// span is a part of a file, from off to before end.
type span struct{ off, end int64 }

// sampleTable says where a track's samples are.
type sampleTable struct {
	chunks []int64 // where each chunk starts
	runs   []stscRun
	sizes  []byte // of each sample, width bits each; nil if all have one size
	width  int
	same   int64 // that size
	count  int64 // of samples
	// Sound of one size may come in packets: so many samples in so many bytes.
	packetSamples, packetBytes int64
}

// stscRun says that the chunks from first on, counted from 0, have so many
// samples.
type stscRun struct {
	first   int
	samples int64
}

// readSamples reads stco or co64, stsc, and stsz or stz2. Memory taken is a
// multiple of the tables', which are there.
//
// Source: ISO/IEC 14496-12 section 8.7, from memory.
func (t *mp4Track) readSamples(br *boxReader) (out sampleTable, err error) {
	if t.table == nil {
		return out, nil
	}
	if err := out.readChunks(br, t.table); err != nil {
		return out, err
	}
	b, err := br.need(t.table, "stsc")
	if err != nil {
		return out, err
	}
	c := &cursor{b: b}
	c.version()
	n, err := c.count(12)
	if err != nil {
		return out, err
	}
	for range n {
		first, samples := int64(c.uint(4))-1, int64(c.uint(4))
		c.uint(4)
		if first < 0 || len(out.runs) == 0 && first != 0 ||
			len(out.runs) > 0 && first <= int64(out.runs[len(out.runs)-1].first) {
			return out, fmt.Errorf("chunks out of order in stsc: %w", ErrDamaged)
		}
		out.runs = append(out.runs, stscRun{int(first), samples})
	}
	if err := out.readSizes(br, t.table); err != nil {
		return out, err
	}
	if t.handler == "soun" && out.sizes == nil {
		out.packets(t.entry)
	}
	return out, nil
}

func (s *sampleTable) readChunks(br *boxReader, table []byte) error {
	width := 4
	b, err := br.find(table, "stco")
	if err == nil && b == nil {
		width = 8
		b, err = br.need(table, "co64")
	}
	if err != nil {
		return err
	}
	c := &cursor{b: b}
	c.version()
	n, err := c.count(width)
	if err != nil {
		return err
	}
	s.chunks = make([]int64, n)
	for i := range s.chunks {
		off := c.uint(width)
		if off > math.MaxInt64/2 {
			return ErrTruncated
		}
		s.chunks[i] = int64(off)
	}
	return nil
}

func (s *sampleTable) readSizes(br *boxReader, table []byte) error {
	s.width = 32
	b, err := br.find(table, "stsz")
	if err != nil {
		return err
	}
	if b == nil {
		if b, err = br.need(table, "stz2"); err != nil {
			return err
		}
		if len(b) >= 8 {
			s.width = int(b[7])
		}
		if s.width != 4 && s.width != 8 && s.width != 16 {
			return fmt.Errorf("sizes of %d bits in stz2: %w", s.width, ErrDamaged)
		}
	} else if len(b) >= 8 {
		s.same = int64(binary.BigEndian.Uint32(b[4:]))
	}
	c := &cursor{b: b}
	c.uint(8)
	s.count = int64(c.uint(4))
	if c.short {
		return fmt.Errorf("short table of sizes: %w", ErrDamaged)
	}
	if s.same == 0 {
		if s.count > int64(len(c.b))*8/int64(s.width) {
			return fmt.Errorf("%d sizes in %d bytes: %w", s.count, len(c.b), ErrDamaged)
		}
		s.sizes = c.b
	}
	return nil
}

// packets reads from a sound's sample entry how many bytes samples of one size
// really take: QuickTime files say 1 for the size of a sample of whatever depth
// and number of channels.
//
// Source: QuickTime File Format Specification, "Sound sample description
// (version 1)", from memory.
func (s *sampleTable) packets(entry []byte) {
	if len(entry) < 28 {
		return
	}
	version := binary.BigEndian.Uint16(entry[8:])
	if version == 1 && len(entry) >= 44 {
		s.packetSamples = int64(binary.BigEndian.Uint32(entry[28:]))
		s.packetBytes = int64(binary.BigEndian.Uint32(entry[36:])) // of a frame: all channels
	}
	if s.packetSamples > 0 && s.packetBytes > 0 {
		return
	}
	channels, bits := int64(binary.BigEndian.Uint16(entry[16:])), int64(binary.BigEndian.Uint16(entry[18:]))
	s.packetSamples, s.packetBytes = 1, max(s.same, channels*(bits/8))
}

// size of sample i, of those that differ.
func (s *sampleTable) size(i int64) int64 {
	switch s.width {
	case 4:
		return int64(s.sizes[i/2] >> (4 * (1 - i%2)) & 15)
	case 8:
		return int64(s.sizes[i])
	case 16:
		return int64(binary.BigEndian.Uint16(s.sizes[2*i:]))
	}
	return int64(binary.BigEndian.Uint32(s.sizes[4*i:]))
}

// eachChunk calls fn with each chunk's place and its samples, numbered from
// first. It returns ErrTruncated if one lies past size.
func (s *sampleTable) eachChunk(size int64, fn func(at span, first, samples int64) error) error {
	run, next := 0, int64(0)
	for i, off := range s.chunks {
		if len(s.runs) == 0 {
			return fmt.Errorf("no stsc entries: %w", ErrDamaged)
		}
		for run+1 < len(s.runs) && s.runs[run+1].first <= i {
			run++
		}
		samples := min(s.runs[run].samples, s.count-next)
		length := int64(0)
		switch {
		case s.sizes != nil:
			for k := range samples {
				length += s.size(next + k)
			}
		case s.packetSamples > 0:
			length = (samples + s.packetSamples - 1) / s.packetSamples
			if length > size/s.packetBytes {
				return ErrTruncated
			}
			length *= s.packetBytes
		default:
			length = samples * s.same // both below 2^32
		}
		if length < 0 || off > size || length > size-off {
			return ErrTruncated
		}
		if err := fn(span{off, off + length}, next, samples); err != nil {
			return err
		}
		next += samples
	}
	if next < s.count {
		return fmt.Errorf("%d samples in no chunk: %w", s.count-next, ErrDamaged)
	}
	return nil
}

// spans are the places of all samples, in order, merged where they touch.
func (s *sampleTable) spans(size int64) ([]span, error) {
	var out []span
	err := s.eachChunk(size, func(at span, _, _ int64) error {
		if n := len(out); n > 0 && out[n-1].end == at.off {
			out[n-1].end = at.end
		} else if at.end > at.off {
			out = append(out, at)
		}
		return nil
	})
	return union(out), err
}

// union puts spans in order and merges those that touch. It may write to its
// argument.
func union(spans []span) []span {
	slices.SortFunc(spans, func(a, b span) int {
		return cmp.Or(cmp.Compare(a.off, b.off), cmp.Compare(a.end, b.end))
	})
	out := spans[:0]
	for _, s := range spans {
		if n := len(out); n > 0 && s.off <= out[n-1].end {
			out[n-1].end = max(out[n-1].end, s.end)
		} else {
			out = append(out, s)
		}
	}
	return out
}

// without returns the parts of spans that are in none of holes; both in order.
func without(spans, holes []span) []span {
	var out []span
	i := 0
	for _, s := range spans {
		for i > 0 && holes[i-1].end > s.off {
			i--
		}
		for ; i < len(holes) && holes[i].off < s.end; i++ {
			if h := holes[i]; h.end > s.off {
				if h.off > s.off {
					out = append(out, span{s.off, h.off})
				}
				s.off = h.end
			}
		}
		if s.off < s.end {
			out = append(out, s)
		}
	}
	return out
}
