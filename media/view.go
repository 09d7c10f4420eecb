package media

import (
	"context"
	"fmt"
	"image"
	"io"

	"github.com/disintegration/imaging"
)

// ViewParts is the whole edge of a picture in the parts that a [View] is
// measured in.
const ViewParts = 10_000

// View says which part of a photo is shown, and which way up: first the upright
// photo is turned by quarters clockwise, then cropped. The zero View is the
// whole photo, upright.
type View struct {
	Turn int // quarter turns clockwise, 0 to 3
	// X, Y, W and H are the part shown of the turned photo, in parts of
	// [ViewParts] from its left and top edge. All 0: the whole.
	X, Y, W, H int
}

// check refuses a View that shows nothing, or reaches beyond the photo.
func (v View) check() error {
	v = v.whole()
	const all = ViewParts
	if v.Turn < 0 || v.Turn > 3 || v.X < 0 || v.Y < 0 || v.W < 1 || v.H < 1 || v.W > all || v.H > all || v.X > all-v.W || v.Y > all-v.H {
		return fmt.Errorf("%+v: %w", v, ErrBadView)
	}
	return nil
}

// whole makes the crop explicit.
func (v View) whole() View {
	if v.X == 0 && v.Y == 0 && v.W == 0 && v.H == 0 {
		v.W, v.H = ViewParts, ViewParts
	}
	return v
}

// DeriveView makes the derivatives of one view of a photo, by the rules of
// [Derive]: from the original, upright, without metadata, nothing enlarged. The
// average colour and the preview are the view's; the hash, too, is that of the
// pixels shown and not the photo's.
//
// Edges of the part shown are rounded to whole pixels of the turned photo, its
// width and height first, each at least 1. It returns the errors of [Derive],
// and [ErrBadView] for a view that is none.
func DeriveView(ctx context.Context, r io.ReaderAt, info Info, view View, emit func(Derivative) error) error {
	return defaultLimiter.DeriveView(ctx, r, info, view, emit)
}

// DeriveView is the package's [DeriveView] within the bound of l.
func (l *Limiter) DeriveView(ctx context.Context, r io.ReaderAt, info Info, view View, emit func(Derivative) error) error {
	if err := view.check(); err != nil {
		return fmt.Errorf("media.DeriveView: %w", err)
	}
	return l.deriveView(ctx, r, info, view.whole(), emit)
}

// orientation is the one that an upright photo with the given orientation has
// after the view's quarter turns.
func (v View) orientation(orientation int) int {
	// One quarter clockwise after each: see turns.
	quarter := [9]int{1: 6, 6: 3, 3: 8, 8: 1, 2: 7, 7: 4, 4: 5, 5: 2}
	for range v.Turn {
		orientation = quarter[orientation]
	}
	return orientation
}

// turned is the size of an upright photo after the view's quarter turns.
func (v View) turned(info Info) image.Point {
	if v.Turn%2 == 1 {
		return image.Pt(info.Height, info.Width)
	}
	return image.Pt(info.Width, info.Height)
}

// rect is the part shown, in pixels of a turned photo of this size.
func (v View) rect(size image.Point) image.Rectangle {
	part := func(edge, of int) int { return (edge*of + ViewParts/2) / ViewParts }
	w, h := max(1, part(size.X, v.W)), max(1, part(size.Y, v.H))
	x, y := min(part(size.X, v.X), size.X-w), min(part(size.Y, v.Y), size.Y-h)
	return image.Rect(x, y, x+w, y+h)
}

// take cuts the view out of a decoded picture, as it is stored, and returns the
// orientation that what is left must be turned by.
func (v View) take(full picture, orientation int) (picture, int) {
	orientation = v.orientation(orientation)
	t := turns[orientation]
	stored := full.size()
	turned := stored
	if t.transpose {
		turned = image.Pt(stored.Y, stored.X)
	}
	r := v.rect(turned)
	if r.Size() == turned {
		return full, orientation
	}
	if t.transpose {
		r = image.Rect(r.Min.Y, r.Min.X, r.Max.Y, r.Max.X)
	}
	if t.flipX {
		r.Min.X, r.Max.X = stored.X-r.Max.X, stored.X-r.Min.X
	}
	if t.flipY {
		r.Min.Y, r.Max.Y = stored.Y-r.Max.Y, stored.Y-r.Min.Y
	}
	return cropped(full, r), orientation
}

// cropped cuts a part out of a decoded picture.
func cropped(p picture, r image.Rectangle) picture {
	switch p := p.(type) {
	case planes:
		return p.crop(r)
	case inks:
		return p.crop(r)
	case pixels:
		return pixels{imaging.Crop(p.img, r.Add(p.img.Bounds().Min)), p.rgb}
	}
	return pixels{imaging.Crop(p.image(), r), p.coloured()}
}

// crop cuts out a part without copying. Luma is cut to the pixel; chroma begins
// with the sample that covers the first pixel, so that it may lie off by less
// than one chroma sample.
func (p planes) crop(r image.Rectangle) planes {
	cut := func(from plane, x, y, w, h int) plane {
		w, h = min(w, from.width-x), min(h, from.height-y)
		return plane{from.pix[y*from.stride+x:], from.stride, w, h}
	}
	out := planes{luma: cut(p.luma, r.Min.X, r.Min.Y, r.Dx(), r.Dy()), acrossX: p.acrossX, downY: p.downY}
	for _, c := range p.chroma {
		out.chroma = append(out.chroma, cut(c, r.Min.X/p.acrossX, r.Min.Y/p.downY, ceilDiv(r.Dx(), p.acrossX), ceilDiv(r.Dy(), p.downY)))
	}
	return out
}
