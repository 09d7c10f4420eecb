package media

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/jpeg"
	"io"
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
	JPEG          []byte
	// Average is the photo's mean colour as "#rrggbb", to show in its place
	// until it arrives. The same in all derivatives of a photo.
	Average string
}

// Derive makes the derivatives of a photo and hands them to emit, smallest
// first. r and info are a file and what [Inspect] said of it. The memory of all
// calls together is bounded by [DefaultLimitBytes]; a call waits for its turn.
//
// Sizes are rounded to whole pixels, the short edge to no less than 1.
// Transparency is laid on white. The colour profile is copied if it is one for
// RGB; pixels of a photo with another kind are taken as sRGB or sRGB grey.
//
// It returns [ErrUnsupported] if info is not decodable, [ErrTruncated] or
// [ErrDamaged] if decoding fails (also by a panic of the decoder), and the
// errors of r, ctx and emit. Derivatives handed out before an error are good.
func Derive(ctx context.Context, r io.ReaderAt, info Info, emit func(Derivative) error) error {
	return defaultLimiter.Derive(ctx, r, info, emit)
}

// Derive is the package's [Derive] within the bound of l.
func (l *Limiter) Derive(ctx context.Context, r io.ReaderAt, info Info, emit func(Derivative) error) error {
	if !info.Decodable() {
		return fmt.Errorf("media.Derive: %q: %w", info.Kind, ErrUnsupported)
	}
	release, err := l.acquire(ctx, info.needBytes())
	if err != nil {
		return fmt.Errorf("media.Derive: %w", err)
	}
	defer release()
	if err := derive(ctx, r, info, emit); err != nil {
		return fmt.Errorf("media.Derive: %w", err)
	}
	return nil
}

func derive(ctx context.Context, r io.ReaderAt, info Info, emit func(Derivative) error) error {
	full, err := decode(ctx, r, info)
	if err != nil {
		return err
	}
	profile := profileSegments(info, full)
	var large, middle, small picture
	if err := guard(func() { large = full.shrink(info.Orientation, fit(info, LongEdges[0])) }); err != nil {
		return err
	}
	full = nil // let its memory go
	// The large one is encoded beside the shrinking and encoding of the others,
	// and yet comes last.
	type encoded struct {
		jpeg []byte
		err  error
	}
	largeDone := make(chan encoded, 1)
	go func() {
		var e encoded
		e.jpeg, e.err = encode(large, profile)
		largeDone <- e
	}()
	err = guard(func() {
		middle = large.shrink(1, fit(info, LongEdges[1]))
		small = middle.shrink(1, fit(info, LongEdges[2]))
	})
	if err == nil {
		err = ctx.Err()
	}
	average := ""
	if err == nil {
		average = small.average()
		err = deliver(small, LongEdges[2], average, profile, emit)
	}
	if err == nil {
		err = deliver(middle, LongEdges[1], average, profile, emit)
	}
	last := <-largeDone
	if err != nil {
		return err
	}
	if last.err != nil {
		return last.err
	}
	size := large.size()
	return emit(Derivative{LongEdges[0], size.X, size.Y, last.jpeg, average})
}

func deliver(p picture, longEdge int, average string, profile []byte, emit func(Derivative) error) error {
	data, err := encode(p, profile)
	if err != nil {
		return err
	}
	size := p.size()
	return emit(Derivative{longEdge, size.X, size.Y, data, average})
}

// fit returns the upright size with this long edge, or the photo's own if that
// is smaller.
func fit(info Info, longEdge int) image.Point {
	w, h := info.Width, info.Height
	long := max(w, h)
	if long <= longEdge {
		return image.Pt(w, h)
	}
	scale := func(n int) int { return max(1, (2*n*longEdge+long)/(2*long)) }
	return image.Pt(scale(w), scale(h))
}

// encode writes a JPEG, with the profile's segments behind its first marker.
func encode(p picture, profile []byte) (out []byte, err error) {
	var buf bytes.Buffer
	gerr := guard(func() { err = jpeg.Encode(&buf, p.image(), &jpeg.Options{Quality: Quality}) })
	if gerr != nil {
		err = gerr
	}
	if err != nil {
		return nil, fmt.Errorf("encode: %w", err)
	}
	plain := buf.Bytes()
	if len(profile) == 0 {
		return plain, nil
	}
	out = make([]byte, 0, len(plain)+len(profile))
	out = append(out, plain[:2]...)
	out = append(out, profile...)
	return append(out, plain[2:]...), nil
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
