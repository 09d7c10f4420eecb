package media

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"runtime/debug"
	"sync/atomic"
	"time"
)

// childVariable tells a process that it was started to decode one photo.
const childVariable = "FARBAY_MEDIA_CHILD"

// childReady says that this program's children are going to be decoders.
var childReady atomic.Bool

// RunChild lets this program be the process that decodes a HEIC photo. A
// program that makes derivatives calls it before anything else, in main and in
// tests' TestMain: in such a process it decodes the file on standard input,
// writes the pixels to standard output and ends the process; in all others it
// returns at once. In a program that has not called it, [Derive] returns
// [ErrNoChild] for a HEIC and starts nothing.
func RunChild() {
	if os.Getenv(childVariable) != "heic" {
		childReady.Store(true)
		return
	}
	if err := childMain(os.Stdin, os.Stdout); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(0)
}

// What passes from the child to its parent: a head, and then each plane's rows
// without gaps. All numbers are big-endian.
const (
	childMagic   = "FARBAY HEIC 1\n"
	childTrailer = "END\n"
	// childHeadBytes: the magic, then form, chroma, width, height, alpha.
	childHeadBytes = len(childMagic) + 5*4
)

// childHead says what form the pixels have.
type childHead struct {
	form          uint32 // heifYCbCr, heifRGB or heifGrey
	chroma        uint32 // heif420, heif422 or heif444, of heifYCbCr
	width, height int
	alpha         uint32 // of the values below
}

const (
	alphaNone          = 0
	alphaPlane         = 1 // a plane of its own follows, of 8 bits
	alphaWithin        = 2 // of heifRGB: the fourth byte of each pixel
	alphaPremultiplied = 3 // likewise, and the colours multiplied with it
)

func (h childHead) append(b []byte) []byte {
	b = append(b, childMagic...)
	for _, n := range []uint32{h.form, h.chroma, uint32(h.width), uint32(h.height), h.alpha} {
		b = binary.BigEndian.AppendUint32(b, n)
	}
	return b
}

// readChildHead reads what append made, and trusts none of it.
func readChildHead(r io.Reader, coded [2]int) (childHead, error) {
	b := make([]byte, childHeadBytes)
	if _, err := io.ReadFull(r, b); err != nil {
		return childHead{}, err
	}
	if string(b[:len(childMagic)]) != childMagic {
		return childHead{}, errors.New("no head")
	}
	var n [5]uint32
	for i := range n {
		n[i] = binary.BigEndian.Uint32(b[len(childMagic)+4*i:])
	}
	h := childHead{n[0], n[1], int(n[2]), int(n[3]), n[4]}
	formKnown := h.form == heifYCbCr && h.chroma >= heif420 && h.chroma <= heif444 && h.alpha <= alphaPlane ||
		h.form == heifGrey && h.alpha <= alphaPlane ||
		h.form == heifRGB && (h.alpha == alphaWithin || h.alpha == alphaPremultiplied)
	if !formKnown || h.width != coded[0] || h.height != coded[1] {
		return childHead{}, fmt.Errorf("pixels of form %+v, the file says %v", h, coded)
	}
	return h, nil
}

// rows are the planes of h in the order in which they pass: bytes a row, rows.
func (h childHead) rows() [][2]int {
	across, down := [4]int{1, 2, 2, 1}[h.chroma], [4]int{1, 2, 1, 1}[h.chroma]
	var out [][2]int
	switch h.form {
	case heifGrey:
		out = [][2]int{{h.width, h.height}}
	case heifYCbCr:
		chroma := [2]int{ceilDiv(h.width, across), ceilDiv(h.height, down)}
		out = [][2]int{{h.width, h.height}, chroma, chroma}
	case heifRGB:
		out = [][2]int{{4 * h.width, h.height}}
	}
	return out
}

// childMain is the life of the child.
func childMain(in io.Reader, out io.Writer) error {
	// The only large thing here is the decoder's memory, which lives until the
	// end: collecting it would only cost time.
	debug.SetGCPercent(-1)
	if err := limitMemory(childMemoryBytes); err != nil {
		return err
	}
	file, err := io.ReadAll(in)
	if err != nil {
		return fmt.Errorf("read the file: %w", err)
	}
	start, end, err := findMeta(bytes.NewReader(file), int64(len(file)))
	if err != nil {
		return err
	}
	meta, err := readMeta(file[start:end:end])
	if err != nil {
		return err
	}
	var l layout
	if err := meta.describe(&l); err != nil {
		return err
	}
	pixels := int64(l.coded.X) * int64(l.coded.Y)
	if err := limitTime(cpuLimit(pixels)); err != nil {
		return err
	}
	meta.settle(meta.primary)
	ctx := context.Background()
	d, err := newHEIFDecoder(ctx, wasmBytes(pixels, int64(len(file))))
	if err != nil {
		return err
	}
	return decodeTo(ctx, out, d, file, meta)
}

// decodeTo writes the primary image and then its transparency.
func decodeTo(ctx context.Context, out io.Writer, d *heifDecoder, file []byte, meta *heifMeta) error {
	picture, err := d.decode(ctx, file, meta.depth(meta.primary))
	if err != nil {
		return err
	}
	head := childHead{form: picture.form, chroma: picture.chroma, width: picture.width, height: picture.height}
	item := meta.alpha()
	switch {
	case picture.form == heifRGB && picture.premultiplied:
		head.alpha = alphaPremultiplied
	case picture.form == heifRGB:
		head.alpha = alphaWithin
	case item != 0:
		head.alpha = alphaPlane
	}
	if _, err := out.Write(head.append(nil)); err != nil {
		return err
	}
	if err := picture.writeRows(out, head.rows()); err != nil {
		return err
	}
	if head.alpha == alphaPlane {
		// The decoder gives the transparency to nobody who asks for YCbCr. It is
		// an image like others: made the primary one, it is decoded as such.
		meta.settle(item)
		meta.setPrimary(item)
		alpha, err := d.decode(ctx, file, meta.depth(item))
		if err != nil {
			return fmt.Errorf("transparency: %w", err)
		}
		if alpha.form == heifRGB || alpha.width != head.width || alpha.height != head.height {
			return fmt.Errorf("transparency of %d x %d, form %d", alpha.width, alpha.height, alpha.form)
		}
		if err := alpha.writeRows(out, [][2]int{{head.width, head.height}}); err != nil {
			return err
		}
	}
	_, err = io.WriteString(out, childTrailer)
	return err
}

// setPrimary writes the primary item's number to the bytes m was read from.
func (m *heifMeta) setPrimary(item uint32) {
	switch len(m.pitm) {
	case 2:
		binary.BigEndian.PutUint16(m.pitm, uint16(item))
	case 4:
		binary.BigEndian.PutUint32(m.pitm, item)
	}
}

const (
	// maxWASMBytes bounds the decoder's memory. Measured: 14 bytes a pixel for 8
	// bits, 18 for 10, beside 20 MB.
	maxWASMBytes = 1280 << 20
	// childMemoryBytes bounds the whole child: the decoder's memory, the file,
	// the compiled decoder and Go's own.
	childMemoryBytes = maxWASMBytes + 512<<20
)

// wasmBytes is the memory that decoding may take, for a file of so many bytes.
func wasmBytes(pixels, fileBytes int64) int64 {
	return min(maxWASMBytes, 96<<20+2*fileBytes+24*pixels)
}

// cpuLimit is how long a child may compute. Measured: 0.3 s a megapixel on a
// slow core.
func cpuLimit(pixels int64) time.Duration {
	return 15*time.Second + time.Duration(pixels)*2*time.Microsecond
}

// wallLimit is how long a child may take in all, beside others.
func wallLimit(pixels int64) time.Duration { return 4 * cpuLimit(pixels) }
