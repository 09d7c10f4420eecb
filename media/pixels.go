package media

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"

	"github.com/disintegration/imaging"
)

// pixels is a picture of RGB pixels, possibly with alpha: *image.NRGBA or
// *image.RGBA, whose every value imaging can take.
type pixels struct {
	img draw.Image
	rgb bool // as the file had them, not converted from inks
}

func (p pixels) size() image.Point { return p.img.Bounds().Size() }

func (p pixels) coloured() bool { return p.rgb }

// shrink resizes with Lanczos, turns what is left, and lays it on white.
func (p pixels) shrink(orientation int, to image.Point) picture {
	stored := to
	if turns[orientation].transpose {
		stored = image.Pt(to.Y, to.X)
	}
	small := turnUpright(imaging.Resize(p.img, stored.X, stored.Y, imaging.Lanczos), orientation)
	out := image.NewRGBA(small.Bounds())
	draw.Draw(out, out.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.Draw(out, out.Bounds(), small, small.Bounds().Min, draw.Over)
	return pixels{out, p.rgb}
}

func (p pixels) average() string {
	var sum [3]uint64
	b := p.img.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			r, g, bl, _ := p.img.At(x, y).RGBA()
			sum[0] += uint64(r >> 8)
			sum[1] += uint64(g >> 8)
			sum[2] += uint64(bl >> 8)
		}
	}
	n := uint64(b.Dx() * b.Dy())
	return fmt.Sprintf("#%02x%02x%02x", (sum[0]+n/2)/n, (sum[1]+n/2)/n, (sum[2]+n/2)/n)
}

func (p pixels) image() image.Image { return p.img }
