package media

import (
	"context"
	"fmt"
	"image/jpeg"
	"io"
)

// FullQuality is the JPEG quality of full-size copies.
const FullQuality = 92

// fullBytesPerPixel is what a full-size copy takes beside the decoded image: it
// is turned, laid on white, and turned into what the encoder takes, in four bytes
// a pixel each time.
const fullBytesPerPixel = 12

// FullSize writes a photo as a JPEG at full size with nothing private in it: a
// JPEG without loss, as [CleanJPEG] gives it, with its orientation as a tag; all
// others decoded, turned upright, and encoded at [FullQuality], by the rules of
// [Derive] for transparency and colour profiles. r and info are a file and what
// [Inspect] said of it. The memory is bounded together with Derive's; a call
// waits for its turn.
//
// It returns [ErrUnsupported] if info is not decodable or longer than the 65,535
// pixels a JPEG may have, [ErrTruncated] or [ErrDamaged] if decoding fails, and
// the errors of r, ctx and w. After an error, w has a part of the JPEG or nothing.
func FullSize(ctx context.Context, r io.ReaderAt, info Info, w io.Writer) error {
	return FullSizeView(ctx, r, info, View{}, w)
}

// FullSizeView is [FullSize] for one view of a photo, cut by the rules of
// [DeriveView] out of the decoded photo, also out of a JPEG. It returns
// [ErrBadView] too, for a view that is none.
func FullSizeView(ctx context.Context, r io.ReaderAt, info Info, view View, w io.Writer) error {
	err := view.check()
	if err == nil {
		err = fullSize(ctx, r, info, view.whole(), w)
	}
	if err != nil {
		return fmt.Errorf("media.FullSize: %w", err)
	}
	return nil
}

func fullSize(ctx context.Context, r io.ReaderAt, info Info, view View, w io.Writer) error {
	if info.Kind == JPEG && view == (View{}).whole() {
		clean, err := cleanJPEG(r, info)
		if err != nil {
			return err
		}
		_, err = copyLimited(ctx, w, clean.section(), clean.size)
		return err
	}
	const maxEdge = 0xffff // T.81 B.2.2: 16 bits each
	if !info.Decodable() || info.Width > maxEdge || info.Height > maxEdge {
		return fmt.Errorf("%q, %d x %d: %w", info.Kind, info.Width, info.Height, ErrUnsupported)
	}
	pixels := int64(info.Width) * int64(info.Height)
	release, err := defaultLimiter.acquire(ctx, info.needBytes()+fullBytesPerPixel*pixels)
	if err != nil {
		return err
	}
	defer release()
	full, err := decode(ctx, r, info)
	if err != nil {
		return err
	}
	profile := profileSegments(info, full)
	size := view.rect(view.turned(info)).Size()
	err = guard(func() {
		part, orientation := view.take(full, info.Orientation)
		full = part.shrink(orientation, size)
	})
	if err != nil {
		return err
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	out := &profiled{w: w, profile: profile}
	if perr := guard(func() { err = jpeg.Encode(out, full.image(), &jpeg.Options{Quality: FullQuality}) }); perr != nil {
		return perr
	}
	if err != nil {
		return fmt.Errorf("encode: %w", err)
	}
	return nil
}

// profiled writes a JPEG with segments put in behind its first marker.
type profiled struct {
	w       io.Writer
	profile []byte
	written int64
}

// Write implements io.Writer.
func (p *profiled) Write(b []byte) (int, error) {
	const marker = 2
	n := 0
	if ahead := marker - p.written; len(p.profile) > 0 && ahead >= 0 && int64(len(b)) >= ahead {
		if err := p.write(b[:ahead], &n); err != nil {
			return n, err
		}
		if _, err := p.w.Write(p.profile); err != nil {
			return n, err
		}
		p.profile = nil
	}
	return n, p.write(b[n:], &n)
}

func (p *profiled) write(b []byte, n *int) error {
	k, err := p.w.Write(b)
	p.written += int64(k)
	*n += k
	return err
}
