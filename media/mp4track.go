package media

import (
	"encoding/binary"
	"fmt"
	"math"
	"time"
)

// mp4Track is one track of a movie, as far as it is used.
type mp4Track struct {
	handler string // "vide", "soun", or what else the track is for
	// codec is the kind of its first sample entry, such as "avc1"; each entry
	// must be of that kind.
	codec         string
	entry         []byte // content of that sample entry
	width, height int    // as shown, before turning; 0 of tracks without a picture
	coded         [2]int // of the sample entry, only of video
	matrix        [4]int32
	media         time.Duration // of all its samples
	table         []byte        // content of stbl
}

// kept says whether owners get the track: pictures and sound, nothing else.
func (t mp4Track) kept() bool {
	return t.handler == "soun" || t.handler == "vide" && cleanCodecs[t.codec]
}

// readTrack reads the content of a trak box.
func readTrack(br *boxReader, trak []byte) (t mp4Track, err error) {
	header, err := br.need(trak, "tkhd")
	if err != nil {
		return t, err
	}
	media, err := br.need(trak, "mdia")
	if err != nil {
		return t, err
	}
	handler, err := br.need(media, "hdlr")
	if err != nil {
		return t, err
	}
	if len(handler) < 12 {
		return t, fmt.Errorf("short hdlr box: %w", ErrDamaged)
	}
	t.handler = string(handler[8:12])
	if err := t.readHeader(header); err != nil {
		return t, err
	}
	if t.table, err = br.find(media, "minf", "stbl"); err != nil {
		return t, err
	}
	if t.table == nil {
		if t.handler == "vide" || t.handler == "soun" {
			return t, fmt.Errorf("no stbl box: %w", ErrDamaged)
		}
		return t, nil
	}
	if err := t.readDescription(br); err != nil {
		return t, err
	}
	clock, err := br.need(media, "mdhd")
	if err != nil {
		return t, err
	}
	_, _, scale, err := readTimes(clock)
	if err != nil {
		return t, err
	}
	t.media, err = t.length(br, scale)
	return t, err
}

// readHeader reads a tkhd box: its size and matrix.
func (t *mp4Track) readHeader(b []byte) error {
	c := &cursor{b: b}
	times := 20
	if c.version() == 1 {
		times = 32
	}
	c.take(times + 16) // times, track, duration; layer, group, volume
	t.matrix = readMatrix(c)
	t.width, t.height = int(c.uint(4)>>16), int(c.uint(4)>>16) // 16.16
	return c.err()
}

// readMatrix reads the nine numbers of a display matrix and returns the four
// that turn and mirror: x' = a x + c y, y' = b x + d y for [a b c d].
func readMatrix(c *cursor) [4]int32 {
	var m [9]int32
	for i := range m {
		m[i] = int32(c.uint(4))
	}
	return [4]int32{m[0], m[1], m[3], m[4]}
}

// readDescription reads the sample entries in stsd.
func (t *mp4Track) readDescription(br *boxReader) error {
	description, err := br.need(t.table, "stsd")
	if err != nil {
		return err
	}
	if len(description) < 8 {
		return fmt.Errorf("short stsd box: %w", ErrDamaged)
	}
	entries, _, err := br.children(description[8:])
	if err != nil {
		return err
	}
	if len(entries) == 0 {
		return fmt.Errorf("no sample entry: %w", ErrDamaged)
	}
	for _, e := range entries {
		if e.kind != entries[0].kind {
			return fmt.Errorf("one track in two codecs, %q and %q: %w", entries[0].kind, e.kind, ErrUnsupported)
		}
	}
	t.codec, t.entry = entries[0].kind, entries[0].data
	if t.handler == "vide" {
		if len(t.entry) < videoEntryBytes {
			return fmt.Errorf("short sample entry: %w", ErrDamaged)
		}
		t.coded = [2]int{int(binary.BigEndian.Uint16(t.entry[24:])), int(binary.BigEndian.Uint16(t.entry[26:]))}
		if t.width == 0 || t.height == 0 {
			t.width, t.height = t.coded[0], t.coded[1]
		}
	}
	return nil
}

// length adds up the durations in stts, counted in 1/scale s.
func (t *mp4Track) length(br *boxReader, scale uint64) (time.Duration, error) {
	stts, err := br.need(t.table, "stts")
	if err != nil {
		return 0, err
	}
	c := &cursor{b: stts}
	c.version()
	entries, err := c.count(8)
	if err != nil {
		return 0, err
	}
	total := 0.0
	for range entries {
		samples, each := c.uint(4), c.uint(4)
		total += float64(samples) * float64(each)
	}
	return seconds(total, scale), nil
}

// count reads a table's number of entries of so many bytes, all of which must be
// there.
func (c *cursor) count(entryBytes int) (int, error) {
	n := c.uint(4)
	if c.short || n > uint64(len(c.b)/entryBytes) {
		return 0, fmt.Errorf("a table of %d entries in %d bytes: %w", n, len(c.b), ErrDamaged)
	}
	return int(n), nil
}

// readTimes reads the beginning of mvhd and mdhd: when made, in seconds since
// 1904; how long, in 1/scale s, 0 if not known.
func readTimes(b []byte) (created, duration, scale uint64, err error) {
	c := &cursor{b: b}
	wide := 4
	if c.version() == 1 {
		wide = 8
	}
	created = c.uint(wide)
	c.uint(wide)
	scale = c.uint(4)
	duration = c.uint(wide)
	if duration == math.MaxUint32 && wide == 4 || duration == math.MaxUint64 {
		duration = 0
	}
	if err := c.err(); err != nil {
		return 0, 0, 0, err
	}
	if scale == 0 {
		return 0, 0, 0, fmt.Errorf("a clock of no ticks a second: %w", ErrDamaged)
	}
	return created, duration, scale, nil
}

// seconds is n/scale s, at most a year: nothing longer is told apart.
func seconds(n float64, scale uint64) time.Duration {
	const most = 365 * 24 * 3600
	return time.Duration(min(n/float64(scale), most) * float64(time.Second))
}

// matrixOrientation gives the Exif number for a track's matrix followed by the
// movie's; 1 for what is no turn by quarters.
func matrixOrientation(track, movie [4]int32) int {
	product := [4]float64{}
	for row := range 2 {
		for column := range 2 {
			product[2*row+column] = float64(track[2*row])*float64(movie[column]) + float64(track[2*row+1])*float64(movie[2+column])
		}
	}
	sign := func(v float64) int {
		switch {
		case v > 0:
			return 1
		case v < 0:
			return -1
		}
		return 0
	}
	a, b, c, d := sign(product[0]), sign(product[1]), sign(product[2]), sign(product[3])
	return max(1, map[[4]int]int{
		{1, 0, 0, 1}: 1, {-1, 0, 0, 1}: 2, {-1, 0, 0, -1}: 3, {1, 0, 0, -1}: 4,
		{0, 1, 1, 0}: 5, {0, 1, -1, 0}: 6, {0, -1, -1, 0}: 7, {0, -1, 1, 0}: 8,
	}[[4]int{a, b, c, d}])
}
