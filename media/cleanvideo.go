package media

import (
	"cmp"
	"encoding/binary"
	"fmt"
	"io"
	"slices"
)

// cleanCodecs are the video codecs whose samples hold pictures and, in H.264 and
// H.265, messages that are looked through. Others, such as Motion JPEG, may have
// a camera's notes in each picture.
var cleanCodecs = map[string]bool{
	"avc1": true, "avc3": true, "hvc1": true, "hev1": true, "dvh1": true, "dvhe": true, "vp09": true, "av01": true,
}

// CleanVideo returns a video with nothing in it but pictures, sound, and what is
// needed to play them: no place, time, make, names, notes, previews, hidden
// tracks or leftovers. r and info are a file and what [Inspect] said of it.
//
// The copy has the original's length and offsets. What is taken out reads as
// zeros or as a free box; times of making read as zero; bytes of mdat that no
// picture or sound uses read as zeros; free text in H.264 and H.265 streams
// reads as 0xff. Pictures that a trimming on the phone has hidden, not cut,
// stay. It is made while being read, at any place, and holds only the tables in
// memory; several goroutines may read it if they may read r.
//
// It returns [ErrUnsupported] for a file that is no video or whose pictures may
// hold more than pictures (Motion JPEG and other old codecs; data in other
// files), and the errors of Inspect if the file is not as info says.
func CleanVideo(r io.ReaderAt, info Info) (*io.SectionReader, error) {
	if !info.Kind.Video() {
		return nil, fmt.Errorf("media.CleanVideo: %q: %w", info.Kind, ErrUnsupported)
	}
	out, err := cleanVideo(r, info)
	if err != nil {
		return nil, fmt.Errorf("media.CleanVideo: %w", err)
	}
	return out.section(), nil
}

func cleanVideo(r io.ReaderAt, info Info) (*cleanCopy, error) {
	m, err := readMovie(r, info.Bytes)
	if err != nil {
		return nil, err
	}
	video := m.first("vide")
	if video == nil || !video.kept() {
		return nil, fmt.Errorf("video in %q: %w", info.VideoCodec, ErrUnsupported)
	}
	keep, messages, err := m.keptSpans(r, info.Bytes)
	if err != nil {
		return nil, err
	}
	if err := m.clean(); err != nil {
		return nil, err
	}
	out := &cleanCopy{original: r, size: info.Bytes}
	for _, box := range m.top {
		if err := out.keepTop(m, box); err != nil {
			return nil, err
		}
		if box.kind == "mdat" {
			out.keepSamples(box, keep, messages)
		}
	}
	return out, nil
}

// keepTop adds the head of a top box, and its content if that stays as a whole.
func (c *cleanCopy) keepTop(m *movie, box topBox) error {
	head, err := window(c.original, c.size, box.head, box.start-box.head)
	if err != nil {
		return err
	}
	content := piece{at: box.start, end: box.end, from: box.start}
	switch box.kind {
	case "ftyp":
		if box.end-box.start > maxTopBoxBytes {
			return fmt.Errorf("ftyp box of %d bytes: %w", box.end-box.start, ErrDamaged)
		}
	case "moov":
		content.data = m.moov
	case "mdat":
		content.end = content.at
	default:
		copy(head[4:8], "free")
		content.end = content.at
	}
	c.pieces = append(c.pieces, piece{at: box.head, end: box.start, data: head})
	if content.at < content.end {
		c.pieces = append(c.pieces, content)
	}
	return nil
}

// keepSamples adds the parts of an mdat box that keep covers, with messages in
// place of what stands there.
func (c *cleanCopy) keepSamples(box topBox, keep []span, messages []piece) {
	ends := func(end, off int64) int { return cmp.Compare(end, off+1) }
	from, _ := slices.BinarySearchFunc(keep, box.start, func(s span, off int64) int { return ends(s.end, off) })
	text, _ := slices.BinarySearchFunc(messages, box.start, func(p piece, off int64) int { return ends(p.end, off) })
	messages = messages[text:]
	for _, s := range keep[from:] {
		if s.off >= box.end {
			return
		}
		at, end := max(s.off, box.start), min(s.end, box.end)
		for at < end {
			for len(messages) > 0 && messages[0].end <= at {
				messages = messages[1:]
			}
			stop := end
			if len(messages) > 0 {
				stop = min(stop, max(at, messages[0].at))
			}
			if at < stop {
				c.pieces = append(c.pieces, piece{at: at, end: stop, from: at})
				at = stop
				continue
			}
			stop = min(end, messages[0].end)
			data := messages[0].data[at-messages[0].at : stop-messages[0].at]
			c.pieces = append(c.pieces, piece{at: at, end: stop, data: data})
			at = stop
		}
	}
}

// keptSpans are the places of pictures and sound, in order, without those that
// another track uses too, and what stands in place of the text in them.
func (m *movie) keptSpans(r io.ReaderAt, size int64) (keep []span, messages []piece, err error) {
	var other []span
	for i := range m.tracks {
		track := &m.tracks[i]
		table, err := track.readSamples(&m.boxes)
		if err != nil {
			return nil, nil, err
		}
		spans, err := table.spans(size)
		if err != nil {
			return nil, nil, err
		}
		if !track.kept() {
			other = append(other, spans...)
			continue
		}
		keep = append(keep, spans...)
		if track.handler != "vide" {
			continue
		}
		found, err := streamTexts(r, size, &m.boxes, track, &table)
		if err != nil {
			return nil, nil, err
		}
		messages = append(messages, found...)
	}
	return without(union(keep), union(other)), inOrder(messages), nil
}

// clean takes out of moov, in place, what is not needed to play it.
func (m *movie) clean() error {
	tracks := 0
	return m.keepBoxes(m.moov, map[string]func([]byte) error{
		"mvhd": clearTimes,
		"trak": func(b []byte) error { return m.cleanTrack(b) },
	}, func(kind string) bool {
		if kind != "trak" {
			return true
		}
		tracks++
		return m.tracks[tracks-1].kept()
	})
}

// keepBoxes goes through the boxes in b: those in keep stay, with their content
// as the function there leaves it, unless allowed is there and says no; all
// others, and what is behind the last, are blanked.
func (m *movie) keepBoxes(b []byte, keep map[string]func([]byte) error, allowed func(kind string) bool) error {
	list, rest, err := m.boxes.children(b)
	if err != nil {
		return err
	}
	clear(rest)
	for _, box := range list {
		fn, ok := keep[box.kind]
		switch {
		case !ok, allowed != nil && !allowed(box.kind):
			box.blank()
		case fn != nil:
			if err := fn(box.data); err != nil {
				return err
			}
		}
	}
	return nil
}

// within returns a function that cleans the boxes inside a box.
func (m *movie) within(keep map[string]func([]byte) error) func([]byte) error {
	return func(b []byte) error { return m.keepBoxes(b, keep, nil) }
}

func (m *movie) cleanTrack(trak []byte) error {
	handler, err := m.boxes.need(trak, "mdia", "hdlr")
	if err != nil {
		return err
	}
	if len(handler) < 12 {
		return fmt.Errorf("short hdlr box: %w", ErrDamaged)
	}
	sound := string(handler[8:12]) == "soun"
	table := map[string]func([]byte) error{"stsd": func(b []byte) error { return m.cleanEntries(b, sound) }}
	for _, kind := range []string{"stts", "ctts", "cslg", "stsc", "stsz", "stz2", "stco", "co64", "stss", "stps", "sdtp", "sgpd", "sbgp"} {
		table[kind] = nil
	}
	return m.keepBoxes(trak, map[string]func([]byte) error{
		"tkhd": clearTimes,
		"edts": m.within(map[string]func([]byte) error{"elst": nil}),
		"tapt": m.within(map[string]func([]byte) error{"clef": nil, "prof": nil, "enof": nil}),
		"mdia": m.within(map[string]func([]byte) error{
			"mdhd": clearTimes,
			"hdlr": clearHandler,
			"minf": m.within(map[string]func([]byte) error{
				"vmhd": nil, "smhd": nil,
				"hdlr": clearHandler,
				"dinf": m.within(map[string]func([]byte) error{"dref": m.cleanReferences}),
				"stbl": m.within(table),
			}),
		}),
	}, nil)
}

// clearTimes takes the times of making and changing out of mvhd, tkhd or mdhd.
func clearTimes(b []byte) error {
	n := 8
	if len(b) > 0 && b[0] == 1 {
		n = 16
	}
	if len(b) < 4+n {
		return fmt.Errorf("short box of times: %w", ErrDamaged)
	}
	clear(b[4 : 4+n])
	return nil
}

// clearHandler takes everything but what it is for out of hdlr: maker, name.
func clearHandler(b []byte) error {
	if len(b) < 12 {
		return fmt.Errorf("short hdlr box: %w", ErrDamaged)
	}
	clear(b[12:])
	return nil
}

// cleanReferences leaves of each data reference only that it is this file.
func (m *movie) cleanReferences(b []byte) error {
	if len(b) < 8 {
		return fmt.Errorf("short dref box: %w", ErrDamaged)
	}
	list, rest, err := m.boxes.children(b[8:])
	if err != nil {
		return err
	}
	clear(rest)
	for _, box := range list {
		if len(box.data) < 4 || box.data[3]&1 == 0 {
			return fmt.Errorf("samples in another file: %w", ErrUnsupported)
		}
		clear(box.data[4:])
	}
	return nil
}

// What sample entries may have inside: how to decode and to show, in numbers.
var (
	videoEntryBoxes = map[string]func([]byte) error{
		"avcC": nil, "hvcC": clearConfigTexts, "lhvC": nil, "vpcC": nil, "av1C": nil, "dvcC": nil, "dvvC": nil,
		"colr": nil, "pasp": nil, "clap": nil, "fiel": nil, "gama": nil, "btrt": nil, "mdcv": nil, "clli": nil,
	}
	soundWaveBoxes = map[string]func([]byte) error{
		"frma": nil, "mp4a": nil, "esds": nil, "enda": nil, "alac": nil, "\x00\x00\x00\x00": nil,
	}
	soundEntryBoxes = map[string]func([]byte) error{
		"esds": nil, "chan": nil, "dac3": nil, "dec3": nil, "alac": nil, "dOps": nil, "dfLa": nil, "damr": nil,
		"pcmC": nil, "btrt": nil, "srat": nil, "dapa": nil,
	}
)

// cleanEntries takes makers' and compressors' names out of the sample entries of
// stsd, and the boxes that are not needed.
func (m *movie) cleanEntries(b []byte, sound bool) error {
	if len(b) < 8 {
		return fmt.Errorf("short stsd box: %w", ErrDamaged)
	}
	list, rest, err := m.boxes.children(b[8:])
	if err != nil {
		return err
	}
	clear(rest)
	for _, entry := range list {
		if sound {
			err = m.cleanSoundEntry(entry.data, b[0])
		} else {
			err = m.cleanVideoEntry(entry.data)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (m *movie) cleanVideoEntry(b []byte) error {
	if len(b) < videoEntryBytes {
		return fmt.Errorf("short sample entry: %w", ErrDamaged)
	}
	clear(b[12:16]) // vendor
	clear(b[42:74]) // compressor's name
	return m.keepBoxes(b[videoEntryBytes:], videoEntryBoxes, nil)
}

// cleanSoundEntry knows the three lengths that QuickTime's versions have. ISO
// files have the first only; where they number their entries otherwise, the
// version of stsd is 1.
func (m *movie) cleanSoundEntry(b []byte, version byte) error {
	length := 28
	if len(b) >= length && version == 0 {
		length = map[uint16]int{0: 28, 1: 44, 2: 64}[binary.BigEndian.Uint16(b[8:])]
	}
	if length == 0 || len(b) < length {
		return fmt.Errorf("a sample entry for sound that is short or of an unknown version: %w", ErrDamaged)
	}
	clear(b[12:16]) // vendor
	boxes := map[string]func([]byte) error{"wave": m.within(soundWaveBoxes)}
	for kind, fn := range soundEntryBoxes {
		boxes[kind] = fn
	}
	return m.keepBoxes(b[length:], boxes, nil)
}
