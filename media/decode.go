package media

import (
	"context"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"

	"golang.org/x/image/webp"
)

// picture is decoded pixels on their way to a derivative.
type picture interface {
	// size in pixels.
	size() image.Point
	// coloured says that the pixels are RGB or YCbCr as the file had them, so
	// that the file's RGB profile applies.
	coloured() bool
	// shrink makes it upright and this large (upright) in one step.
	shrink(orientation int, to image.Point) picture
	// average is the mean colour, "#rrggbb".
	average() string
	// image is the picture for the JPEG encoder, opaque.
	image() image.Image
}

// decode decodes a photo once and brings it into one of the forms that are
// shrunk: planes for YCbCr and grey, pixels for the rest.
func decode(ctx context.Context, r io.ReaderAt, info Info) (picture, error) {
	if info.Kind == HEIC {
		return decodeHEIC(ctx, r, info)
	}
	src := &source{ctx: ctx, r: r, size: info.Bytes}
	var img image.Image
	var err error
	perr := guard(func() {
		switch info.Kind {
		case JPEG:
			img, err = decodeJPEGFile(src)
		case PNG:
			img, err = png.Decode(src.reader())
		case WebP:
			img, err = webp.Decode(src.reader())
		}
	})
	if perr != nil {
		return nil, perr
	}
	if err != nil {
		return nil, src.decodeError(err)
	}
	if size := img.Bounds().Size(); size != image.Pt(info.layout.width, info.layout.height) {
		return nil, fmt.Errorf("announced as %d x %d, decoded as %v: %w", info.layout.width, info.layout.height, size, ErrDamaged)
	}
	var p picture
	if perr := guard(func() { p = toPicture(img, info) }); perr != nil {
		return nil, perr
	}
	return p, nil
}

func toPicture(img image.Image, info Info) picture {
	switch img := img.(type) {
	case *image.YCbCr:
		if info.Kind == WebP {
			widenRange(img)
		}
		return planesOf(img)
	case *image.Gray:
		greyToSRGB(img.Pix, info.layout.icc)
		return greyPlane(img)
	case *image.Gray16:
		img8 := grey8(img)
		greyToSRGB(img8.Pix, info.layout.icc)
		return greyPlane(img8)
	case *image.NYCbCrA:
		widenRange(&img.YCbCr)
		return pixels{nrgba8(img), true}
	case *image.NRGBA:
		return pixels{img, true}
	case *image.RGBA:
		return pixels{img, true}
	case *image.CMYK:
		return inksOf(img, info.layout.icc)
	}
	return pixels{nrgba8(img), true}
}

// widenRange brings the planes of a lossy WebP from the limited range that
// RFC 9649 section 2.5 gives them (luma 16 to 235, chroma 16 to 240, Rec. 601) to
// the full range that image.YCbCr stands for. x/image/webp does not
// (golang/go#40173).
func widenRange(img *image.YCbCr) {
	var luma, chroma [256]uint8
	for i := range 256 {
		luma[i] = clamp8((int32(i-16)*255*2 + 219) / (2 * 219))
		chroma[i] = clamp8((int32(i-128)*255*2 + 224*257) / (2 * 224))
	}
	for i, v := range img.Y {
		img.Y[i] = luma[v]
	}
	for i, v := range img.Cb {
		img.Cb[i] = chroma[v]
	}
	for i, v := range img.Cr {
		img.Cr[i] = chroma[v]
	}
}

// grey8 halves the depth of 16-bit grey, rounding to nearest.
func grey8(img *image.Gray16) *image.Gray {
	out := image.NewGray(img.Bounds())
	for i := range out.Pix {
		out.Pix[i] = eighth(img.Pix[2*i], img.Pix[2*i+1])
	}
	return out
}

// eighth brings a big-endian 16-bit sample to 8 bits, rounding to nearest.
func eighth(high, low uint8) uint8 {
	return uint8((uint32(high)<<8 + uint32(low) + 128) / 257)
}

// nrgba8 converts pixel by pixel what imaging had better not see: palettes,
// whose indices may be out of range, 16 bits, YCbCr with alpha.
func nrgba8(img image.Image) *image.NRGBA {
	b := img.Bounds()
	out := image.NewNRGBA(image.Rect(0, 0, b.Dx(), b.Dy()))
	if p, ok := img.(*image.Paletted); ok {
		var table [256]color.NRGBA // an index without a colour is transparent
		for i, c := range p.Palette[:min(256, len(p.Palette))] {
			table[i] = color.NRGBAModel.Convert(c).(color.NRGBA)
		}
		for y := range b.Dy() {
			for x, index := range p.Pix[y*p.Stride : y*p.Stride+b.Dx()] {
				out.SetNRGBA(x, y, table[index])
			}
		}
		return out
	}
	if p, ok := img.(*image.NRGBA64); ok {
		for y := range b.Dy() {
			from, to := p.Pix[y*p.Stride:], out.Pix[y*out.Stride:]
			for i := range 4 * b.Dx() {
				to[i] = eighth(from[2*i], from[2*i+1])
			}
		}
		return out
	}
	if p, ok := img.(*image.RGBA64); ok && p.Opaque() {
		for y := range b.Dy() {
			from, to := p.Pix[y*p.Stride:], out.Pix[y*out.Stride:]
			for i := range 4 * b.Dx() {
				to[i] = eighth(from[2*i], from[2*i+1])
			}
		}
		return out
	}
	if p, ok := img.(*image.NYCbCrA); ok {
		for y := range b.Dy() {
			for x := range b.Dx() {
				c := p.NYCbCrAAt(b.Min.X+x, b.Min.Y+y)
				r, g, bl := color.YCbCrToRGB(c.Y, c.Cb, c.Cr)
				out.SetNRGBA(x, y, color.NRGBA{R: r, G: g, B: bl, A: c.A})
			}
		}
		return out
	}
	for y := range b.Dy() {
		for x := range b.Dx() {
			out.Set(x, y, img.At(b.Min.X+x, b.Min.Y+y))
		}
	}
	return out
}

func clamp8(v int32) uint8 { return uint8(max(0, min(255, v))) }
