package media

import (
	"errors"
	"fmt"
	"io"
	"time"
)

// MaxVideo is how long a video may be.
const MaxVideo = 2 * time.Minute

// maxFootage is how long the pictures in a file may be. More of them than are
// shown is what trimming on a phone leaves: it hides, and cuts nothing.
const maxFootage = 2 * MaxVideo

// ErrTooLong: a video longer than [MaxVideo].
var ErrTooLong = errors.New("the video is longer than allowed")

// videoEntryBytes is the length of a video sample entry before its boxes.
const videoEntryBytes = 78

// movie is a video file walked: its top boxes, its moov and tracks.
type movie struct {
	top    []topBox
	moov   []byte // content of the moov box
	moovAt int    // its place in top
	tracks []mp4Track
	boxes  boxReader
}

// readMovie walks a video file. It returns ErrTruncated if moov is missing, or a
// box goes past the file's end; ErrUnsupported for movies in fragments or
// compressed, which no phone's camera writes.
func readMovie(r io.ReaderAt, size int64) (*movie, error) {
	m := &movie{moovAt: -1, boxes: boxReader{maxMovieBoxes}}
	var err error
	m.top, err = topBoxes(r, size)
	for i, box := range m.top {
		switch {
		case box.kind == "moof":
			return m, fmt.Errorf("a movie in fragments: %w", ErrUnsupported)
		case box.kind == "moov" && m.moovAt < 0:
			m.moovAt = i
		case box.kind == "moov":
			return m, fmt.Errorf("second moov box: %w", ErrDamaged)
		}
	}
	if err != nil {
		return m, err
	}
	if m.moovAt < 0 {
		return m, fmt.Errorf("no moov box: %w", ErrTruncated)
	}
	at := m.top[m.moovAt]
	if at.end-at.start > maxMovieBytes {
		return m, fmt.Errorf("moov box of %d bytes: %w", at.end-at.start, ErrDamaged)
	}
	if m.moov, err = window(r, size, at.start, at.end-at.start); err != nil {
		return m, err
	}
	children, _, err := m.boxes.children(m.moov)
	if err != nil {
		return m, err
	}
	for _, child := range children {
		switch child.kind {
		case "cmov", "mvex":
			return m, fmt.Errorf("a movie in fragments or compressed (%s): %w", child.kind, ErrUnsupported)
		case "trak":
			if len(m.tracks) == maxTracks {
				return m, fmt.Errorf("more than %d tracks: %w", maxTracks, ErrDamaged)
			}
			track, err := readTrack(&m.boxes, child.data)
			if err != nil {
				return m, err
			}
			m.tracks = append(m.tracks, track)
		}
	}
	return m, nil
}

// first returns the first track of a handler, or nil.
func (m *movie) first(handler string) *mp4Track {
	for i := range m.tracks {
		if m.tracks[i].handler == handler {
			return &m.tracks[i]
		}
	}
	return nil
}

// walkVideo finds a video's size, turn, length, codecs and what its camera
// wrote. No frame is decoded. It returns the errors of readMovie; ErrUnsupported
// if there are no pictures in it; ErrTooLong; ErrTruncated if a sample of any
// track lies past the file's end.
func walkVideo(r io.ReaderAt, size int64) (layout, error) {
	out := layout{turned: true, orientation: 1}
	m, err := readMovie(r, size)
	if err != nil {
		return out, err
	}
	header, err := m.boxes.need(m.moov, "mvhd")
	if err != nil {
		return out, err
	}
	created, ticks, scale, err := readTimes(header)
	if err != nil {
		return out, err
	}
	video := m.first("vide")
	if video == nil {
		return out, fmt.Errorf("no video track: %w", ErrUnsupported)
	}
	out.width, out.height = video.width, video.height
	if tooManyPixels(video.coded[0], video.coded[1]) {
		out.width, out.height = video.coded[0], video.coded[1]
	}
	v := &videoLayout{codec: video.codec, duration: seconds(float64(ticks), scale)}
	out.video = v
	out.orientation = matrixOrientation(video.matrix, movieMatrix(header))
	if sound := m.first("soun"); sound != nil {
		v.soundCodec = sound.codec
	}
	if v.duration == 0 {
		v.duration = video.media
	}
	if v.exif, err = m.tags(); err != nil {
		return out, err
	}
	v.exif.VideoClockAt = movieTime(created)
	if v.duration > MaxVideo || video.media > maxFootage {
		return out, fmt.Errorf("%v, with %v of pictures: %w", v.duration, video.media, ErrTooLong)
	}
	if out.width < 1 || out.height < 1 || video.coded[0] < 1 || video.coded[1] < 1 {
		return out, fmt.Errorf("a picture of no size: %w", ErrDamaged)
	}
	return out, m.checkSamples(size)
}

// checkSamples makes sure that all samples are in the file.
func (m *movie) checkSamples(size int64) error {
	for _, track := range m.tracks {
		table, err := track.readSamples(&m.boxes)
		if err != nil {
			return err
		}
		nothing := func(span, int64, int64) error { return nil }
		if err := table.eachChunk(size, nothing); err != nil {
			return err
		}
		if track.handler == "vide" && table.count == 0 {
			return fmt.Errorf("a video track of no pictures: %w", ErrUnsupported)
		}
	}
	return nil
}

// videoLayout is what walking a video found beside the size.
type videoLayout struct {
	duration          time.Duration
	codec, soundCodec string
	exif              Exif
}

// movieMatrix reads the matrix of mvhd, whose beginning has been read.
func movieMatrix(b []byte) [4]int32 {
	c := &cursor{b: b}
	times := 16
	if c.version() == 1 {
		times = 28
	}
	c.take(times + 16) // rate, volume, reserved
	m := readMatrix(c)
	if c.short || m == [4]int32{} {
		return [4]int32{1, 0, 0, 1}
	}
	return m
}

// epoch1904 is where the clocks of these files begin. Source: ISO/IEC 14496-12,
// 8.2.2.
var epoch1904 = time.Date(1904, 1, 1, 0, 0, 0, 0, time.UTC)

// movieTime reads a moment in seconds since 1904. No video was made on a phone
// before 1990: such moments are those of clocks never set, or counted from 1970
// or 1980, and zero is returned, as for what lies past 2100.
func movieTime(seconds uint64) time.Time {
	const year = 365.2425 * 24 * 3600
	if seconds > 196*year {
		return time.Time{}
	}
	t := epoch1904.Add(time.Duration(seconds) * time.Second)
	if t.Year() < 1990 {
		return time.Time{}
	}
	return t
}
