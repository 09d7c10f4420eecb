package media

import (
	"encoding/binary"
	"io"
)

// lookupBits is how many bits of a code are looked up at once; longer codes are
// rare.
const lookupBits = 10

// huffmanTable decodes one set of codes (T.81 annex C, F.2.2.3).
type huffmanTable struct {
	// symbols by the next lookupBits bits: the symbol above 8 bits of its
	// code's length; 0 for longer codes.
	symbols [1 << lookupBits]uint16
	// whole is for AC tables: where code and value fit into lookupBits, the
	// value above 16 bits, the run above 8, the length of both; else 0.
	whole [1 << lookupBits]int32
	// For longer codes, by length: the first number above the codes of that
	// length, shifted to 16 bits, and what to add to a code to find its symbol.
	above  [18]int32
	delta  [17]int32
	values [256]uint8
}

func newHuffmanTable(counts, values []byte, isAC bool) (*huffmanTable, bool) {
	t := &huffmanTable{}
	copy(t.values[:], values)
	code, k := int32(0), int32(0)
	for length := int32(1); length <= 16; length++ {
		t.delta[length] = k - code
		n := int32(counts[length-1])
		if code+n > 1<<length {
			return nil, false
		}
		for range n {
			if length <= lookupBits {
				first := code << (lookupBits - length)
				for i := range int32(1) << (lookupBits - length) {
					t.symbols[first+i] = uint16(values[k])<<8 | uint16(length)
				}
			}
			code++
			k++
		}
		t.above[length] = code << (16 - length)
		code <<= 1
	}
	t.above[17] = 1 << 30
	if isAC {
		for bits := range int32(1) << lookupBits {
			symbol := t.symbols[bits]
			length, run, size := int32(symbol&255), int32(symbol>>12), int32(symbol>>8&15)
			if length == 0 || size == 0 || length+size > lookupBits {
				continue
			}
			value := extend(bits>>(lookupBits-length-size)&(1<<size-1), size)
			t.whole[bits] = value<<16 | run<<8 | (length + size)
		}
	}
	return t, true
}

// extend makes a signed number of size bits that were read (T.81 F.2.2.1).
func extend(bits, size int32) int32 {
	if bits < 1<<(size-1) {
		return bits - 1<<size + 1
	}
	return bits
}

// bitReader reads bytes, and bits of a scan's data (T.81 F.2.2.5). At a marker
// or the end it gives zeros and counts them.
type bitReader struct {
	r   io.Reader
	buf []byte
	pos int
	err error

	bits   uint64 // the last n are still to be used
	n      int
	padded int // of the bits put in, zeros that are not in the file
}

// next is the next byte; 0 after an error.
func (b *bitReader) next() byte {
	if b.pos == len(b.buf) && !b.more() {
		return 0
	}
	v := b.buf[b.pos]
	b.pos++
	return v
}

// more reads on, keeping what is not used yet.
func (b *bitReader) more() bool {
	if b.err != nil {
		return false
	}
	kept := copy(b.buf[:cap(b.buf)], b.buf[b.pos:])
	n, err := io.ReadAtLeast(b.r, b.buf[kept:cap(b.buf)], 1)
	b.buf, b.pos = b.buf[:kept+n], 0
	if err != nil {
		b.err = err
	}
	return n > 0
}

// fill brings at least 32 bits.
func (b *bitReader) fill() {
	for b.n <= 32 {
		if b.pos+4 <= len(b.buf) {
			four := binary.BigEndian.Uint32(b.buf[b.pos:])
			if not := ^four; (not-0x01010101)&^not&0x80808080 == 0 { // none is 0xff
				b.bits = b.bits<<32 | uint64(four)
				b.n += 32
				b.pos += 4
				continue
			}
		}
		b.bits = b.bits<<8 | uint64(b.dataByte())
		b.n += 8
	}
}

// dataByte is the next byte of a scan.
func (b *bitReader) dataByte() byte {
	for b.pos+2 > len(b.buf) && b.more() {
	}
	switch {
	case b.pos == len(b.buf), b.pos+1 == len(b.buf) && b.buf[b.pos] == 0xff:
		b.padded += 8
		return 0
	case b.buf[b.pos] != 0xff:
		b.pos++
		return b.buf[b.pos-1]
	case b.buf[b.pos+1] == 0:
		b.pos += 2
		return 0xff
	}
	b.padded += 8 // at a marker
	return 0
}

// restart goes over a restart marker. Less than a byte of ones may be left
// before it.
func (b *bitReader) restart(number byte) bool {
	if b.n-b.padded > 7 || b.padded > b.n {
		return false
	}
	b.bits, b.n, b.padded = 0, 0, 0
	return b.next() == 0xff && b.next() == markerRST0+number
}

// ends says whether the data ends here, and the file after it.
func (b *bitReader) ends() bool {
	if b.n-b.padded > 7 || b.padded > b.n {
		return false
	}
	return b.next() == 0xff && b.next() == markerEOI && b.err == nil
}

// symbol takes a code off the bits, of which there must be 16.
func (b *bitReader) symbol(t *huffmanTable) (uint8, bool) {
	if s := t.symbols[b.bits>>(b.n-lookupBits)&(1<<lookupBits-1)]; s != 0 {
		b.n -= int(s & 255)
		return uint8(s >> 8), true
	}
	code := int32(b.bits >> (b.n - 16) & 0xffff)
	length := lookupBits + 1
	for code >= t.above[length] {
		length++
	}
	if length > 16 {
		return 0, false
	}
	b.n -= length
	return t.values[(code>>(16-length)+t.delta[length])&255], true
}

// value takes a signed number of so many bits.
func (b *bitReader) value(size int32) int32 {
	b.n -= int(size)
	return extend(int32(b.bits>>b.n)&(1<<size-1), size)
}

// block decodes a block of coefficients and multiplies them with their steps
// (T.81 F.2.2.1, F.2.2.2). flat says that all but the first are zero.
func (b *bitReader) block(p *baselinePart, to *[64]int32) (flat, ok bool) {
	clear(to[:])
	if b.n <= 32 {
		b.fill()
	}
	size, ok := b.symbol(p.dcTable)
	if !ok || size > 11 {
		return false, false
	}
	if size > 0 {
		p.last += b.value(int32(size))
	}
	to[0] = p.last * p.quant[0]
	for k := 1; k < 64; k++ {
		if b.n <= 32 {
			b.fill()
		}
		if w := p.acTable.whole[b.bits>>(b.n-lookupBits)&(1<<lookupBits-1)]; w != 0 {
			b.n -= int(w & 255)
			k += int(w >> 8 & 255)
			if k > 63 {
				return false, false
			}
			to[zigzag[k]&63] = w >> 16 * p.quant[k]
			continue
		}
		symbol, ok := b.symbol(p.acTable)
		if !ok {
			return false, false
		}
		size := int32(symbol & 15)
		switch {
		case size != 0:
			k += int(symbol >> 4)
			if k > 63 {
				return false, false
			}
			to[zigzag[k]&63] = b.value(size) * p.quant[k]
		case symbol == 0xf0:
			k += 15
		case symbol == 0:
			return k == 1, true
		default:
			return false, false
		}
	}
	return false, true
}
