package media

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// MaxScans is the most scans a JPEG may have. Progressive files have about ten;
// every scan makes the decoder go over the whole image again.
const MaxScans = 100

// JPEG markers, ITU-T T.81 table B.1.
const (
	markerTEM  = 0x01
	markerRST0 = 0xd0
	markerRST7 = 0xd7
	markerSOI  = 0xd8
	markerEOI  = 0xd9
	markerSOS  = 0xda
	markerAPP1 = 0xe1
	markerAPP2 = 0xe2
)

// jpegWalk goes through a JPEG from SOI to EOI, segment by segment, scan data
// included, without decoding.
type jpegWalk struct {
	r       *bufio.Reader
	out     layout
	frame   bool // a frame header was seen
	blocks  int64
	scans   int
	entropy int64 // bytes of scan data

	iccParts map[byte][]byte
	iccCount byte
	iccBytes int
	iccBad   bool
}

// walkJPEG finds the frame, Exif and colour profile of a JPEG and makes sure
// that it is there to its end.
//
// It returns ErrTruncated if the file ends before the EOI marker, or has fewer
// scan bits than blocks: each block of a frame has a DC code of one bit or more
// (T.81 F.1.2.1, G.1.2.1), so a smaller file cannot hold the size it declares.
// ErrTooManyScans, ErrDamaged as their names say.
func walkJPEG(r io.ReaderAt, size int64) (layout, error) {
	w := &jpegWalk{r: bufio.NewReaderSize(io.NewSectionReader(r, 0, size), 64<<10)}
	err := w.run()
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = ErrTruncated
	}
	w.joinICC()
	if err == nil && !w.frame {
		err = fmt.Errorf("no frame header: %w", ErrDamaged)
	}
	if err == nil && w.entropy*8 < w.blocks {
		err = fmt.Errorf("%d bytes of scans for %d blocks: %w", w.entropy, w.blocks, ErrTruncated)
	}
	return w.out, err
}

func (w *jpegWalk) run() error {
	if _, err := w.r.Discard(2); err != nil { // SOI, seen by sniff
		return err
	}
	marker, err := w.nextMarker(false)
	for ; err == nil; marker, err = w.nextMarker(marker == markerSOS) {
		switch {
		case marker == markerEOI:
			return nil
		case marker == markerTEM || marker == markerSOI || marker >= markerRST0 && marker <= markerRST7:
			continue // no length
		}
		if err := w.segment(marker); err != nil {
			return err
		}
	}
	return err
}

// nextMarker skips to the next marker and returns it. In scan data, stuffed
// zeros and restart markers belong to the data. Elsewhere stray bytes are
// skipped too, as decoders do.
func (w *jpegWalk) nextMarker(inScan bool) (byte, error) {
	for {
		skipped, err := w.r.ReadSlice(0xff)
		if inScan {
			w.entropy += int64(len(skipped))
		}
		if err == bufio.ErrBufferFull {
			continue
		}
		if err != nil {
			return 0, err
		}
		marker, err := w.r.ReadByte()
		for err == nil && marker == 0xff { // fill bytes, T.81 B.1.1.2
			marker, err = w.r.ReadByte()
		}
		if err != nil {
			return 0, err
		}
		if marker == 0 || inScan && marker >= markerRST0 && marker <= markerRST7 {
			continue
		}
		return marker, nil
	}
}

// segment reads one segment with a length.
func (w *jpegWalk) segment(marker byte) error {
	var length [2]byte
	if _, err := io.ReadFull(w.r, length[:]); err != nil {
		return err
	}
	n := int(binary.BigEndian.Uint16(length[:])) - 2
	if n < 0 {
		return fmt.Errorf("segment %#x shorter than its length field: %w", marker, ErrDamaged)
	}
	isFrame := marker >= 0xc0 && marker <= 0xcf && marker != 0xc4 && marker != 0xc8 && marker != 0xcc
	if !isFrame && marker != markerSOS && marker != markerAPP1 && marker != markerAPP2 {
		_, err := w.r.Discard(n)
		return err
	}
	data := make([]byte, n)
	if _, err := io.ReadFull(w.r, data); err != nil {
		return err
	}
	switch {
	case marker == markerSOS:
		w.scans++
		if w.scans > MaxScans {
			return ErrTooManyScans
		}
	case marker == markerAPP1:
		w.exif(data)
	case marker == markerAPP2:
		w.icc(data)
	default:
		return w.readFrame(marker, data)
	}
	return nil
}

// exif keeps the first Exif segment, and what continues it: a block over 64 KB
// goes on in further segments, which have no TIFF header of their own.
func (w *jpegWalk) exif(data []byte) {
	if len(data) < 6 || string(data[:5]) != "Exif\x00" {
		return
	}
	data = data[6:]
	switch {
	case w.out.exif == nil && startsTIFF(data):
		w.out.exif = data
	case w.out.exif != nil && !startsTIFF(data) && len(w.out.exif)+len(data) <= maxExifBytes:
		w.out.exif = append(w.out.exif, data...)
	}
}

// icc keeps one chunk of a colour profile. ICC.1:2022 annex B.4: the chunks are
// numbered from 1, each says how many there are.
func (w *jpegWalk) icc(data []byte) {
	const name = "ICC_PROFILE\x00"
	if len(data) < len(name)+2 || string(data[:len(name)]) != name {
		return
	}
	w.out.hasICC = true
	number, count := data[len(name)], data[len(name)+1]
	data = data[len(name)+2:]
	if w.iccParts == nil {
		w.iccParts = map[byte][]byte{}
		w.iccCount = count
	}
	w.iccBytes += len(data)
	if w.iccParts[number] != nil || number == 0 || number > count || count != w.iccCount || w.iccBytes > maxICCBytes {
		w.iccBad = true
		return
	}
	w.iccParts[number] = data
}

// joinICC puts the profile together if all its chunks came.
func (w *jpegWalk) joinICC() {
	if w.iccBad || w.iccParts == nil || len(w.iccParts) != int(w.iccCount) {
		return
	}
	for i := 1; i <= int(w.iccCount); i++ {
		w.out.icc = append(w.out.icc, w.iccParts[byte(i)]...)
	}
}

// readFrame reads a frame header (T.81 B.2.2).
func (w *jpegWalk) readFrame(marker byte, data []byte) error {
	if w.frame {
		return fmt.Errorf("second frame header: %w", ErrDamaged)
	}
	if len(data) < 6 || len(data) < 6+3*int(data[5]) {
		return fmt.Errorf("short frame header: %w", ErrDamaged)
	}
	w.frame = true
	w.out.height = int(binary.BigEndian.Uint16(data[1:]))
	w.out.width = int(binary.BigEndian.Uint16(data[3:]))
	components := data[6 : 6+3*int(data[5])]
	maxH, maxV := 1, 1
	for i := 0; i < len(components); i += 3 {
		maxH = max(maxH, int(components[i+1]>>4))
		maxV = max(maxV, int(components[i+1]&15))
	}
	var samples int64 // in units of 1/(maxH*maxV) per pixel
	for i := 0; i < len(components); i += 3 {
		h, v := int(components[i+1]>>4), int(components[i+1]&15)
		samples += int64(h * v)
		across := ceilDiv(ceilDiv(w.out.width*h, maxH), 8)
		down := ceilDiv(ceilDiv(w.out.height*v, maxV), 8)
		w.blocks += int64(across) * int64(down)
	}
	if marker > 0xc2 {
		w.blocks = 0 // lossless or arithmetic coding may take less than a bit
	}
	// One byte per sample decoded; a progressive decoder also holds four-byte
	// coefficients; inks are made one image and then another.
	perSample := int64(1)
	if marker == 0xc2 {
		perSample = 5
	}
	w.out.decodeBytesPerPixel = (samples*perSample + int64(maxH*maxV) - 1) / int64(maxH*maxV)
	if len(components) == 12 {
		w.out.decodeBytesPerPixel += 8
	}
	return nil
}

func ceilDiv(a, b int) int { return (a + b - 1) / b }
