package media

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"sync"
)

// LongEdges are the derivatives' long edges in pixels, largest first.
var LongEdges = [3]int{2048, 960, 320}

// Quality is the JPEG quality of derivatives.
const Quality = 82

// Derivative is one JPEG made of a photo: upright, with no metadata but an RGB
// colour profile.
type Derivative struct {
	// LongEdge is the name it goes by, one of [LongEdges]. The picture is
	// smaller if the original is: nothing is enlarged.
	LongEdge      int
	Width, Height int // pixels, of the JPEG
	// JPEG is not to be written to: of a small original, all three are one.
	JPEG []byte
	// Average is the photo's mean colour as "#rrggbb", to show in its place
	// until it arrives. The same in all derivatives of a photo.
	Average string
	// Hash is the photo's perceptual hash: photos that look alike have hashes
	// of a small [Distance]. Like Average, it is the photo's, upright, taken
	// from the smallest size, and the same in all derivatives.
	Hash uint64
	// Preview is the photo 16 pixels long, in up to 16 colours, as a GIF of some
	// 200 bytes ([PreviewType]) without metadata or colour profile: small enough
	// to be kept with the photo's row and sent within the page. The same in all
	// derivatives; not to be written to.
	Preview []byte
}

// Derive makes the derivatives of a photo and hands them to emit, smallest
// first. r and info are a file and what [Inspect] said of it. The memory of all
// calls together is bounded by [DefaultLimitBytes]; a call waits for its turn.
//
// Sizes are rounded to whole pixels, the short edge to no less than 1.
// Transparency is laid on white. The colour profile is copied if it is one for
// RGB; inks and greys are brought to sRGB by theirs, or, if it is absent or
// broken, taken as perfect inks and sRGB grey.
//
// It returns [ErrUnsupported] if info is not decodable, [ErrTruncated] or
// [ErrDamaged] if decoding fails (also by a panic of the decoder), [ErrNoChild]
// for a HEIC in a program without [RunChild], and the errors of r, ctx and emit.
// A HEIC whose decoder was killed or kept waiting gives another error, after
// which trying again may work. Derivatives handed out before an error are good.
func Derive(ctx context.Context, r io.ReaderAt, info Info, emit func(Derivative) error) error {
	return defaultLimiter.Derive(ctx, r, info, emit)
}

// Derive is the package's [Derive] within the bound of l.
func (l *Limiter) Derive(ctx context.Context, r io.ReaderAt, info Info, emit func(Derivative) error) error {
	return l.deriveView(ctx, r, info, View{}.whole(), emit)
}

func (l *Limiter) deriveView(ctx context.Context, r io.ReaderAt, info Info, view View, emit func(Derivative) error) error {
	if !info.Decodable() || info.layout.width < 1 { // the latter if Inspect did not make it
		return fmt.Errorf("media.Derive: %q: %w", info.Kind, ErrUnsupported)
	}
	release, err := l.acquire(ctx, info.needBytes())
	if err != nil {
		return fmt.Errorf("media.Derive: %w", err)
	}
	defer release()
	if err := derive(ctx, r, info, view, emit); err != nil {
		return fmt.Errorf("media.Derive: %w", err)
	}
	return nil
}

func derive(ctx context.Context, r io.ReaderAt, info Info, view View, emit func(Derivative) error) error {
	full, err := decode(ctx, r, info)
	if err != nil {
		return err
	}
	profile := profileSegments(info, full)
	large := &rendition{}
	size := view.rect(view.turned(info)).Size()
	err = guard(func() {
		part, orientation := view.take(full, info.Orientation)
		large.picture = part.shrink(orientation, fitted(size, LongEdges[0]))
	})
	if err != nil {
		return err
	}
	full = nil // let its memory go
	// The large one is encoded beside the shrinking and encoding of the others,
	// and yet comes last.
	var work sync.WaitGroup
	defer work.Wait()
	work.Go(func() { large.encode(profile) })
	var middle, small *rendition
	err = guard(func() {
		middle = large.shrunk(fitted(size, LongEdges[1]))
		small = middle.shrunk(fitted(size, LongEdges[2]))
	})
	if err != nil {
		return err
	}
	known, err := small.summary()
	if err != nil {
		return err
	}
	for i, r := range []*rendition{small, middle, large} {
		if err := ctx.Err(); err != nil {
			return err
		}
		if r.encode(profile); r.err != nil {
			return fmt.Errorf("encode: %w", r.err)
		}
		size := r.size()
		d := known
		d.LongEdge, d.Width, d.Height, d.JPEG = LongEdges[2-i], size.X, size.Y, r.jpeg
		if err := emit(d); err != nil {
			return err
		}
	}
	return nil
}

// rendition is an upright picture and, once encoded, its JPEG.
type rendition struct {
	picture
	once sync.Once
	jpeg []byte
	err  error
}

// shrunk returns a smaller rendition, or r itself if that is its size.
func (r *rendition) shrunk(to image.Point) *rendition {
	if r.size() == to {
		return r
	}
	return &rendition{picture: r.shrink(1, to)}
}

// encode makes the JPEG, with the profile's segments behind its first marker,
// or waits for who is making it.
func (r *rendition) encode(profile []byte) {
	r.once.Do(func() {
		var buf bytes.Buffer
		if err := guard(func() { r.err = jpeg.Encode(&buf, r.image(), &jpeg.Options{Quality: Quality}) }); err != nil {
			r.err = err
		}
		plain := buf.Bytes()
		if r.err != nil || len(profile) == 0 {
			r.jpeg = plain
			return
		}
		r.jpeg = make([]byte, 0, len(plain)+len(profile))
		r.jpeg = append(r.jpeg, plain[:2]...)
		r.jpeg = append(r.jpeg, profile...)
		r.jpeg = append(r.jpeg, plain[2:]...)
	})
}

// summary is what all derivatives say of the photo; r is the smallest.
func (r *rendition) summary() (d Derivative, err error) {
	perr := guard(func() {
		d.Average = r.average()
		d.Hash = differenceHash(r.image())
		if d.Preview, err = preview(r.picture); err != nil {
			err = fmt.Errorf("encode the preview: %w", err)
		}
	})
	if perr != nil {
		return d, perr
	}
	return d, err
}

// fitted returns size with this long edge, or size itself if that is smaller.
func fitted(size image.Point, longEdge int) image.Point {
	long := max(size.X, size.Y)
	if long <= longEdge {
		return size
	}
	scale := func(n int) int { return max(1, (2*n*longEdge+long)/(2*long)) }
	return image.Pt(scale(size.X), scale(size.Y))
}

// guard runs fn and turns a panic into ErrDamaged: decoders and the arithmetic
// after them may meet what nobody thought of, at the cost of one photo.
func guard(fn func()) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%w: panic: %v", ErrDamaged, p)
		}
	}()
	fn()
	return nil
}
