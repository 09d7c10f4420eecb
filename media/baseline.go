package media

import (
	"encoding/binary"
	"errors"
	"image"
	"image/jpeg"
	"io"
)

// decodeJPEGFile decodes a JPEG: one such as cameras write by the decoder below,
// which takes less than half the time, every other one, and whatever the former
// stumbles over, by image/jpeg.
func decodeJPEGFile(src *source) (image.Image, error) {
	img, err := decodeBaseline(src.reader())
	if err == nil || src.err != nil {
		return img, err
	}
	return jpeg.Decode(src.reader())
}

// errNotBaseline says that a file is for image/jpeg to decode, or to refuse.
var errNotBaseline = errors.New("not a plain baseline JPEG")

// baseline decodes JPEGs of one kind: baseline, 8 bits, all components in one
// scan, grey or YCbCr with one or two luma samples each way to a chroma sample.
//
// Source: ITU-T T.81, annexes B, F.2 and K, whose numbers are given below.
type baseline struct {
	in    bitReader
	quant [4]*[64]int32 // in zigzag order
	dc    [4]*huffmanTable
	ac    [4]*huffmanTable

	width, height int
	parts         []baselinePart
	restart       int // MCUs between restart markers, 0 for none
}

// baselinePart is a component of the frame.
type baselinePart struct {
	id, quantAt      byte
	across, down     int   // samples per MCU edge, in blocks
	last             int32 // the DC coefficient before
	pix              []uint8
	stride           int
	quant            *[64]int32
	dcTable, acTable *huffmanTable
}

// zigzag gives the place of a coefficient in rows of 8 (T.81 figure A.6). Runs
// that lead past the end are caught before it is asked.
var zigzag = [64]uint8{
	0, 1, 8, 16, 9, 2, 3, 10, 17, 24, 32, 25, 18, 11, 4, 5,
	12, 19, 26, 33, 40, 48, 41, 34, 27, 20, 13, 6, 7, 14, 21, 28,
	35, 42, 49, 56, 57, 50, 43, 36, 29, 22, 15, 23, 30, 37, 44, 51,
	58, 59, 52, 45, 38, 31, 39, 46, 53, 60, 61, 54, 47, 55, 62, 63,
}

func decodeBaseline(r io.Reader) (image.Image, error) {
	d := &baseline{in: bitReader{r: r, buf: make([]byte, 0, 64<<10)}}
	if d.in.next() != 0xff || d.in.next() != markerSOI {
		return nil, errNotBaseline
	}
	for {
		if d.in.next() != 0xff {
			return nil, errNotBaseline
		}
		marker := d.in.next()
		for marker == 0xff {
			marker = d.in.next()
		}
		n := int(d.in.next())<<8 | int(d.in.next())
		if d.in.err != nil || n < 2 || marker == 0 || marker == markerTEM || marker >= markerRST0 && marker <= markerEOI {
			return nil, errNotBaseline
		}
		data := make([]byte, n-2)
		for i := range data {
			data[i] = d.in.next()
		}
		if d.in.err != nil || !d.segment(marker, data) {
			return nil, errNotBaseline
		}
		if marker == markerSOS {
			return d.scan()
		}
	}
}

// segment reads a segment and says whether it is of the kind decoded here.
func (d *baseline) segment(marker byte, data []byte) bool {
	switch {
	case marker == 0xdb:
		return d.quantTables(data)
	case marker == 0xc4:
		return d.huffmanTables(data)
	case marker == 0xc0:
		return d.frame(data)
	case marker == 0xdd && len(data) == 2:
		d.restart = int(binary.BigEndian.Uint16(data))
		return true
	case marker == markerSOS:
		return d.scanHeader(data)
	case marker == 0xee && len(data) >= 12 && string(data[:5]) == "Adobe":
		return data[11] == 1 // YCbCr
	}
	return marker == 0xfe || marker >= 0xe0 && marker <= 0xef
}

// quantTables reads DQT (T.81 B.2.4.1).
func (d *baseline) quantTables(data []byte) bool {
	for ; len(data) >= 65 && data[0] < 4; data = data[65:] {
		t := new([64]int32)
		for i := range t {
			t[i] = int32(data[1+i])
		}
		d.quant[data[0]] = t
	}
	return len(data) == 0
}

// huffmanTables reads DHT (T.81 B.2.4.2).
func (d *baseline) huffmanTables(data []byte) bool {
	for len(data) >= 17 {
		count := 0
		for _, n := range data[1:17] {
			count += int(n)
		}
		at, isAC := data[0]&15, data[0]>>4
		if at > 1 || isAC > 1 || count > 256 || len(data) < 17+count {
			return false
		}
		t, ok := newHuffmanTable(data[1:17], data[17:17+count], isAC == 1)
		if !ok {
			return false
		}
		if isAC == 1 {
			d.ac[at] = t
		} else {
			d.dc[at] = t
		}
		data = data[17+count:]
	}
	return len(data) == 0
}

// frame reads SOF0 (T.81 B.2.2).
func (d *baseline) frame(data []byte) bool {
	if d.parts != nil || len(data) < 6 || data[0] != 8 || len(data) != 6+3*int(data[5]) {
		return false
	}
	d.height, d.width = int(binary.BigEndian.Uint16(data[1:])), int(binary.BigEndian.Uint16(data[3:]))
	for c := data[6:]; len(c) > 0; c = c[3:] {
		d.parts = append(d.parts, baselinePart{id: c[0], across: int(c[1] >> 4), down: int(c[1] & 15), quantAt: c[2]})
	}
	if d.width == 0 || d.height == 0 || tooManyPixels(d.width, d.height) {
		return false
	}
	switch len(d.parts) {
	case 1:
		d.parts[0].across, d.parts[0].down = 1, 1 // alone, its blocks are not interleaved (A.2.2)
		return true
	case 3:
		y, cb, cr := d.parts[0], d.parts[1], d.parts[2]
		rgb := y.id == 'R' && cb.id == 'G' && cr.id == 'B'
		return !rgb && (y.across == 1 || y.across == 2) && (y.down == 1 || y.down == 2) &&
			cb.across == 1 && cb.down == 1 && cr.across == 1 && cr.down == 1 && cb.id != y.id && cr.id != y.id && cr.id != cb.id
	}
	return false
}

// scanHeader reads SOS (T.81 B.2.3).
func (d *baseline) scanHeader(data []byte) bool {
	n := len(d.parts)
	if n == 0 || len(data) != 4+2*n || int(data[0]) != n {
		return false
	}
	for i := range d.parts {
		p := &d.parts[i]
		tables := data[2+2*i]
		if data[1+2*i] != p.id || tables>>4 > 1 || tables&15 > 1 || p.quantAt > 3 {
			return false
		}
		p.dcTable, p.acTable, p.quant = d.dc[tables>>4], d.ac[tables&15], d.quant[p.quantAt]
		if p.dcTable == nil || p.acTable == nil || p.quant == nil {
			return false
		}
	}
	return true
}

// image makes room for whole MCUs, and cuts out of it what is shown.
func (d *baseline) image(across, down int) image.Image {
	shown := image.Rect(0, 0, d.width, d.height)
	if len(d.parts) == 1 {
		img := image.NewGray(image.Rect(0, 0, 8*across, 8*down))
		d.parts[0].pix, d.parts[0].stride = img.Pix, img.Stride
		return img.SubImage(shown)
	}
	ratio := [3][3]image.YCbCrSubsampleRatio{
		1: {1: image.YCbCrSubsampleRatio444, 2: image.YCbCrSubsampleRatio440},
		2: {1: image.YCbCrSubsampleRatio422, 2: image.YCbCrSubsampleRatio420},
	}[d.parts[0].across][d.parts[0].down]
	img := image.NewYCbCr(image.Rect(0, 0, 8*d.parts[0].across*across, 8*d.parts[0].down*down), ratio)
	d.parts[0].pix, d.parts[0].stride = img.Y, img.YStride
	d.parts[1].pix, d.parts[1].stride = img.Cb, img.CStride
	d.parts[2].pix, d.parts[2].stride = img.Cr, img.CStride
	return img.SubImage(shown)
}

// mcuRow is the coefficients of one row of MCUs, block by block in the order of
// the data, and whether a block has but its first.
type mcuRow struct {
	number       int
	coefficients [][64]int32
	flat         []bool
}

// rowsAhead is how many rows of MCUs may be decoded and not yet transformed.
const rowsAhead = 4

// scan decodes all MCUs (T.81 A.2.3, F.2.1). Their coefficients are read here
// and made samples beside it, row by row: each is about half of the work.
func (d *baseline) scan() (image.Image, error) {
	across, down := ceilDiv(d.width, 8*d.parts[0].across), ceilDiv(d.height, 8*d.parts[0].down)
	img := d.image(across, down)
	blocks := 0
	for _, p := range d.parts {
		blocks += across * p.across * p.down
	}
	empty, read := make(chan mcuRow, rowsAhead), make(chan mcuRow, rowsAhead)
	for range rowsAhead {
		empty <- mcuRow{coefficients: make([][64]int32, blocks), flat: make([]bool, blocks)}
	}
	transformed := make(chan error)
	go func() {
		var err error
		for row := range read {
			if err == nil {
				err = guard(func() { d.transform(row, across) })
			}
			empty <- row
		}
		transformed <- err
	}()
	whole := true
	left, restarts := d.restart, 0
	for number := 0; number < down && whole; number++ {
		row := <-empty
		row.number = number
		if whole = d.readRow(row, across, &left, &restarts); whole {
			read <- row
		}
	}
	close(read)
	if err := <-transformed; err != nil || !whole || !d.in.ends() {
		return nil, errNotBaseline
	}
	return img, nil
}

// readRow reads the coefficients of a row of MCUs. left counts the MCUs to the
// next restart marker, restarts the markers seen.
func (d *baseline) readRow(row mcuRow, across int, left, restarts *int) bool {
	at := 0
	for range across {
		if d.restart > 0 && *left == 0 {
			if !d.in.restart(byte(*restarts & 7)) {
				return false
			}
			for i := range d.parts {
				d.parts[i].last = 0
			}
			*left = d.restart
			*restarts++
		}
		*left--
		for i := range d.parts {
			p := &d.parts[i]
			for range p.across * p.down {
				var ok bool
				if row.flat[at], ok = d.in.block(p, &row.coefficients[at]); !ok {
					return false
				}
				at++
			}
		}
	}
	return d.in.padded <= d.in.n && d.in.err == nil // else the data ended before the picture
}

// transform makes samples of a row of MCUs.
func (d *baseline) transform(row mcuRow, across int) {
	at := 0
	for column := range across {
		for i := range d.parts {
			p := &d.parts[i]
			for y := range p.down {
				for x := range p.across {
					to := p.pix[8*((row.number*p.down+y)*p.stride+column*p.across+x):]
					if row.flat[at] {
						fillFlat(row.coefficients[at][0], to, p.stride)
					} else {
						inverseDCT(&row.coefficients[at], to, p.stride)
					}
					at++
				}
			}
		}
	}
}
