package media

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"io"
	"slices"
)

const (
	// maxSampleUnits is the most units of one picture looked at; cameras write
	// up to some tens.
	maxSampleUnits = 1 << 10
	// maxMessageBytes is the largest unit of messages taken, maxMessagesBytes what
	// all that are changed come to.
	maxMessageBytes  = 64 << 10
	maxMessagesBytes = 16 << 20
	// userDataUnregistered is the message of free data: encoders' settings, and
	// cameras' models, dates and places. Source: ITU-T H.264 D.1.7, H.265
	// D.2.7; ExifTool's tag names "H264" for what cameras put there. From memory.
	userDataUnregistered = 5
)

// nalForm is what matters of a codec's units: how long their head is and which
// hold messages (SEI).
type nalForm struct {
	headBytes  int
	isMessages func(head byte) bool
}

var (
	h264Form = nalForm{1, func(head byte) bool { return head&31 == 6 }}
	h265Form = nalForm{2, func(head byte) bool { kind := head >> 1 & 63; return kind == 39 || kind == 40 }}
)

// streamForm returns the form of a track's units and how many bytes their
// lengths have; ok is false for codecs without messages.
//
// Source: ISO/IEC 14496-15 sections 5.3.3.1 and 8.3.3.1, from memory.
func streamForm(br *boxReader, track *mp4Track) (form nalForm, lengthBytes int, ok bool, err error) {
	config, at := "", 0
	switch track.codec {
	case "avc1", "avc3":
		form, config, at = h264Form, "avcC", 4
	case "hvc1", "hev1", "dvh1", "dvhe":
		form, config, at = h265Form, "hvcC", 21
	default:
		return form, 0, false, nil
	}
	b, err := br.need(track.entry[videoEntryBytes:], config)
	if err != nil {
		return form, 0, false, err
	}
	if len(b) <= at {
		return form, 0, false, fmt.Errorf("short %s box: %w", config, ErrDamaged)
	}
	return form, int(b[at]&3) + 1, true, nil
}

// streamTexts finds the free data in a video track's samples and returns what is
// to stand in its place.
func streamTexts(r io.ReaderAt, size int64, br *boxReader, track *mp4Track, table *sampleTable) ([]piece, error) {
	form, lengthBytes, ok, err := streamForm(br, track)
	if err != nil || !ok {
		return nil, err
	}
	w := &unitWalk{r: r, size: size, form: form, lengthBytes: lengthBytes}
	err = table.eachChunk(size, func(at span, first, samples int64) error {
		for i := range samples {
			length := table.same
			if table.sizes != nil {
				length = table.size(first + i)
			}
			if err := w.sample(span{at.off, at.off + length}); err != nil {
				return err
			}
			at.off += length
		}
		return nil
	})
	return w.found, err
}

// unitWalk goes through the units of samples.
type unitWalk struct {
	r           io.ReaderAt
	size        int64
	form        nalForm
	lengthBytes int
	found       []piece
	bytes       int
	buf         [512]byte
	bufAt       int64
	bufLen      int
}

// peek reads n bytes at off, a few, by way of a small buffer.
func (w *unitWalk) peek(off int64, n int) ([]byte, error) {
	if off < w.bufAt || off+int64(n) > w.bufAt+int64(w.bufLen) {
		want := min(int64(len(w.buf)), w.size-off)
		if want < int64(n) {
			return nil, ErrTruncated
		}
		got, err := w.r.ReadAt(w.buf[:want], off)
		if int64(got) < want {
			if err == io.EOF {
				err = ErrTruncated
			}
			return nil, err
		}
		w.bufAt, w.bufLen = off, got
	}
	return w.buf[off-w.bufAt:][:n], nil
}

// sample looks through one sample.
func (w *unitWalk) sample(at span) error {
	least := int64(w.lengthBytes + w.form.headBytes)
	for units := 0; at.end-at.off >= least; units++ {
		if units == maxSampleUnits {
			return fmt.Errorf("more than %d units in a picture: %w", maxSampleUnits, ErrDamaged)
		}
		head, err := w.peek(at.off, int(least))
		if err != nil {
			return err
		}
		length := int64(0)
		for _, b := range head[:w.lengthBytes] {
			length = length<<8 | int64(b)
		}
		at.off += int64(w.lengthBytes)
		if length > at.end-at.off {
			return fmt.Errorf("a unit of %d bytes in %d: %w", length, at.end-at.off, ErrDamaged)
		}
		if length >= int64(w.form.headBytes) && w.form.isMessages(head[w.lengthBytes]) {
			if err := w.messages(at.off, length); err != nil {
				return err
			}
		}
		at.off += length
	}
	return nil
}

// messages reads a unit of messages and keeps a copy of it without free data if
// it has such.
func (w *unitWalk) messages(off, length int64) error {
	if length > maxMessageBytes {
		return fmt.Errorf("messages of %d bytes: %w", length, ErrUnsupported)
	}
	unit, err := window(w.r, w.size, off, length)
	if err != nil {
		return err
	}
	if !clearUserData(unit[w.form.headBytes:]) {
		return nil
	}
	if w.bytes += len(unit); w.bytes > maxMessagesBytes {
		return fmt.Errorf("more than %d bytes of messages: %w", maxMessagesBytes, ErrUnsupported)
	}
	w.found = append(w.found, piece{at: off, end: off + length, data: unit})
	return nil
}

// clearUserData overwrites the free data among the messages of a unit, given
// without its head, with 0xff, and says whether there was any. Bytes 0 0 3 stay:
// the 3 is no part of the data but keeps it from looking like a start code, and
// what stays the same length with the 3 would not without. A message that goes
// past the unit's end is overwritten whatever it is.
//
// Source: ITU-T H.264 sections 7.3.2.3 and 7.4.1, from memory.
func clearUserData(b []byte) bool {
	plain := make([]int, 0, len(b)) // where each byte of the data is in b
	for i := range b {
		if b[i] == 3 && i >= 2 && b[i-1] == 0 && b[i-2] == 0 {
			continue
		}
		plain = append(plain, i)
	}
	changed := false
	at := 0
	number := func() int {
		n := 0
		for ; at < len(plain) && b[plain[at]] == 0xff; at++ {
			n += 255
		}
		if at < len(plain) {
			n += int(b[plain[at]])
			at++
		}
		return n
	}
	for at+1 < len(plain) { // the last byte ends the unit
		kind, length := number(), number()
		end := min(at+length, len(plain))
		if kind == userDataUnregistered || at+length > len(plain) {
			for _, i := range plain[at:end] {
				guarded := i+2 < len(b) && b[i] == 0 && b[i+1] == 0 && b[i+2] == 3 ||
					i > 0 && i+1 < len(b) && b[i-1] == 0 && b[i] == 0 && b[i+1] == 3
				if !guarded {
					b[i] = 0xff
					changed = true
				}
			}
		}
		at = end
	}
	return changed
}

// inOrder sorts pieces and leaves out those that begin within an earlier one.
func inOrder(pieces []piece) []piece {
	slices.SortFunc(pieces, func(a, b piece) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.end, b.end))
	})
	out := pieces[:0]
	for _, p := range pieces {
		if n := len(out); n == 0 || p.at >= out[n-1].end {
			out = append(out, p)
		}
	}
	return out
}

// clearConfigTexts overwrites the free data in the units of messages that an
// hvcC box may hold.
//
// Source: ISO/IEC 14496-15 section 8.3.3.1.2, from memory.
func clearConfigTexts(b []byte) error {
	if len(b) < 23 {
		return fmt.Errorf("short hvcC box: %w", ErrDamaged)
	}
	rest := b[23:]
	for range b[22] {
		if len(rest) < 3 {
			return fmt.Errorf("short hvcC box: %w", ErrDamaged)
		}
		kind, units := rest[0]&63, binary.BigEndian.Uint16(rest[1:])
		rest = rest[3:]
		for range units {
			if len(rest) < 2 {
				return fmt.Errorf("short hvcC box: %w", ErrDamaged)
			}
			length := int(binary.BigEndian.Uint16(rest))
			if rest = rest[2:]; length > len(rest) {
				return fmt.Errorf("short hvcC box: %w", ErrDamaged)
			}
			if unit := rest[:length]; length >= h265Form.headBytes && (kind == 39 || kind == 40) {
				clearUserData(unit[h265Form.headBytes:])
			}
			rest = rest[length:]
		}
	}
	return nil
}
