package media

import (
	"context"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"image/png"
	"io"
	"time"

	"golang.org/x/image/webp"
)

// MaxPixels is the most pixels an image may have: 100 million.
const MaxPixels = 100_000_000

// Info is what is known of a file without decoding it. Only [Inspect] makes
// one that [Derive] accepts.
type Info struct {
	Kind          Kind
	Bytes         int64
	Width, Height int // pixels, upright
	// Orientation is the Exif number, 1 to 8, of the turn that makes the stored
	// pixels upright. 1, nothing to do, for absent and impossible values. For
	// HEIC it comes from the file's own irot and imir, never from Exif, for
	// videos from the matrices of the first video track and the movie.
	Orientation int
	Exif        Exif
	// HasICC says that the file carries a colour profile, of whatever kind.
	HasICC bool

	// Of videos only. The size is that of the first video track as shown, the
	// orientation comes from its matrix, and Exif holds what the file's own tags
	// say.
	Duration time.Duration // at most [MaxVideo]
	// VideoCodec and AudioCodec are the four characters by which the file names
	// the codecs of its first tracks, such as "avc1", "hvc1", "mp4a"; AudioCodec
	// is "" of a video without sound.
	VideoCodec, AudioCodec string

	layout layout
}

// ContentType is the media type to serve the original with.
func (i Info) ContentType() string { return i.Kind.ContentType() }

// Decodable says whether [Derive] can make derivatives of it: of all but
// videos, of HEIC if the program calls [RunChild].
func (i Info) Decodable() bool { return !i.Kind.Video() }

// Inspect says what a file of size bytes is. It reads the file once, decodes no
// pixel and takes little memory, whatever the file claims of itself.
//
// It returns [ErrEmpty], [ErrNotImage], [ErrUnsupported], [ErrTooManyPixels],
// [ErrTooManyScans], [ErrTooLong], [ErrTruncated] or [ErrDamaged] for files that
// are not taken, or the error of r. When the kind is known, Info holds what was
// read until then. A JPEG is only accepted with its end marker, a PNG with its IEND,
// a WebP with all the bytes its header counts, a video with all its samples, at
// least one of them a picture, and not in fragments. Exif that cannot be read is
// no error; a photo may come without.
func Inspect(r io.ReaderAt, size int64) (Info, error) {
	info, err := inspect(r, size)
	if err != nil {
		return info, fmt.Errorf("media.Inspect: %w", err)
	}
	return info, nil
}

func inspect(r io.ReaderAt, size int64) (Info, error) {
	if size <= 0 {
		return Info{}, ErrEmpty
	}
	head, err := window(r, size, 0, min(size, sniffBytes))
	if err != nil {
		return Info{}, err
	}
	info := Info{Bytes: size, Orientation: 1}
	if info.Kind, err = sniff(head); err != nil {
		return Info{}, err
	}
	switch info.Kind {
	case JPEG:
		info.layout, err = walkJPEG(r, size)
	case PNG:
		info.layout, err = walkPNG(r, size)
	case WebP:
		info.layout, err = walkWebP(r, size)
	case HEIC:
		info.layout, err = walkHEIC(r, size)
	case MP4, MOV:
		info.layout, err = walkVideo(r, size)
	}
	exifErr := info.fill()
	switch {
	case tooManyPixels(info.Width, info.Height):
		// Before anything that may be wrong with the rest: it is what the
		// sender can do something about.
		err = fmt.Errorf("%d x %d: %w", info.Width, info.Height, ErrTooManyPixels)
	case err == nil:
		err = exifErr
	}
	if err != nil || !info.Decodable() || info.Kind == HEIC {
		return info, err // a HEIC's decoder runs in a process of its own, or not
	}
	return info, checkConfig(r, info)
}

// fill sets what follows from the layout.
func (i *Info) fill() (err error) {
	l := i.layout
	i.Width, i.Height, i.HasICC = l.width, l.height, l.hasICC
	if v := l.video; v != nil {
		i.Exif, i.Duration, i.VideoCodec, i.AudioCodec = v.exif, v.duration, v.codec, v.soundCodec
	} else {
		i.Exif, err = readExif(l.exif)
	}
	i.Orientation = i.Exif.Orientation
	if l.turned {
		i.Orientation = l.orientation
	}
	if i.Orientation < 1 || i.Orientation > 8 {
		i.Orientation = 1
	}
	if i.Orientation >= 5 {
		i.Width, i.Height = i.Height, i.Width
	}
	return err
}

func tooManyPixels(width, height int) bool {
	return width > 0 && height > 0 && (width > MaxPixels || height > MaxPixels || width > MaxPixels/height)
}

// checkConfig asks the decoder itself for the size, so that what is decoded
// later is what was measured here.
func checkConfig(r io.ReaderAt, info Info) error {
	src := &source{ctx: context.Background(), r: r, size: info.Bytes}
	var config image.Config
	var err error
	switch info.Kind {
	case JPEG:
		config, err = jpeg.DecodeConfig(src.reader())
	case PNG:
		config, err = png.DecodeConfig(src.reader())
	case WebP:
		config, err = webp.DecodeConfig(src.reader())
	}
	if err != nil {
		return src.decodeError(err)
	}
	if config.Width != info.layout.width || config.Height != info.layout.height || config.Width < 1 || config.Height < 1 {
		return fmt.Errorf("%d x %d in one place and %d x %d in another: %w",
			info.layout.width, info.layout.height, config.Width, config.Height, ErrDamaged)
	}
	return nil
}

// source is a file on its way into a decoder. It ends with its context, and
// remembers the file's own errors, which decoders hide.
type source struct {
	ctx  context.Context
	r    io.ReaderAt
	size int64
	err  error
}

func (s *source) reader() io.Reader { return io.NewSectionReader(s, 0, s.size) }

// ReadAt implements io.ReaderAt. It is used by one goroutine.
func (s *source) ReadAt(p []byte, off int64) (int, error) {
	if err := s.ctx.Err(); err != nil {
		s.err = err
		return 0, err
	}
	n, err := s.r.ReadAt(p, off)
	if err != nil && err != io.EOF {
		s.err = err
	}
	return n, err
}

// decodeError sorts an error of a decoder.
func (s *source) decodeError(err error) error {
	var badJPEG jpeg.UnsupportedError
	var badPNG png.UnsupportedError
	switch {
	case s.err != nil:
		return s.err
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("%w: %w", ErrTruncated, err)
	case errors.As(err, &badJPEG), errors.As(err, &badPNG):
		return fmt.Errorf("%w: %w", ErrUnsupported, err)
	}
	return fmt.Errorf("%w: %w", ErrDamaged, err)
}
