package media

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"

	"github.com/kovidgoyal/imaging/prism/meta/icc"
)

const (
	// maxICCTags is far more than any profile has; they have 10 to 20.
	maxICCTags = 200
	// iccHeaderBytes, then the number of tags: ICC.1:2022 sections 7.2, 7.3.
	iccHeaderBytes = 128
)

// checkProfile sees that a profile is for space ("CMYK", "GRAY"), that its tags
// lie within it, and that its tables have the size they claim, before anything
// is allocated by those claims. It returns the profile without what is behind.
//
// Source: ICC.1:2022 sections 7.2, 7.3; 10.10 and 10.11 (lut16, lut8), 10.12
// (lutAToB).
func checkProfile(b []byte, space string) ([]byte, error) {
	if len(b) < iccHeaderBytes+4 || string(b[36:40]) != "acsp" || string(b[16:20]) != space {
		return nil, errors.New("no profile for " + space)
	}
	length := binary.BigEndian.Uint32(b)
	if length < iccHeaderBytes+4 || uint64(length) > uint64(len(b)) {
		return nil, errors.New("a profile of another length")
	}
	b = b[:length]
	count := binary.BigEndian.Uint32(b[iccHeaderBytes:])
	table := uint64(iccHeaderBytes + 4 + 12*uint64(count))
	if count > maxICCTags || table > uint64(length) {
		return nil, fmt.Errorf("%d tags", count)
	}
	// The library takes memory for a curve's points by their number alone,
	// wherever it finds a curve.
	for rest := b; ; {
		_, after, found := bytes.Cut(rest, []byte("curv"))
		if !found {
			break
		}
		if len(after) >= 8 && uint64(binary.BigEndian.Uint32(after[4:]))*2 > uint64(len(after)-8) {
			return nil, errors.New("a curve longer than the profile")
		}
		rest = after
	}
	for i := range count {
		entry := b[iccHeaderBytes+4+12*i:]
		off, n := uint64(binary.BigEndian.Uint32(entry[4:])), uint64(binary.BigEndian.Uint32(entry[8:]))
		if off < table || off+n > uint64(length) {
			return nil, fmt.Errorf("tag %q outside the profile", entry[:4])
		}
		if err := checkTable(b[off : off+n]); err != nil {
			return nil, fmt.Errorf("tag %q: %w", entry[:4], err)
		}
	}
	return b, nil
}

// checkTable sees that a tag's table of colours fits into it.
func checkTable(tag []byte) error {
	if len(tag) < 32 {
		return nil // too short for a table; what else it may be is not read here
	}
	var grid []byte
	in, out := int(tag[8]), int(tag[9])
	each := 1
	switch string(tag[:4]) {
	case "mft1", "mft2":
		if in > 4 || out > 4 {
			return fmt.Errorf("%d channels to %d", in, out)
		}
		grid = bytes.Repeat(tag[10:11], in)
		each = int(tag[3] - '0')
	case "mAB ", "mBA ":
		if in > 4 || out > 4 {
			return fmt.Errorf("%d channels to %d", in, out)
		}
		at := uint64(binary.BigEndian.Uint32(tag[24:]))
		if at == 0 {
			return nil
		}
		if at+20 > uint64(len(tag)) {
			return errors.New("table outside the tag")
		}
		grid, each = tag[at:at+uint64(in)], int(tag[at+16])
	default:
		return nil
	}
	values := out
	for _, n := range grid {
		values *= int(n)
	}
	if each < 1 || each > 2 || values < 1 || values*each > len(tag) {
		return fmt.Errorf("a table of %v points in %d bytes", grid, len(tag))
	}
	return nil
}

// toSRGB returns the way from a profile's colours, of so many channels from 0 to
// 1, to sRGB, likewise. The rendering intent is perceptual, with black point
// compensation: the press's darkest black becomes the screen's.
func toSRGB(profile []byte, space string, channels int) (convert func(in []float64) [3]float64, err error) {
	checked, err := checkProfile(profile, space)
	if err != nil {
		return nil, err
	}
	perr := guard(func() {
		var p *icc.Profile
		if p, err = icc.DecodeProfile(bytes.NewReader(checked)); err != nil {
			return
		}
		var way *icc.Pipeline
		if way, err = p.CreateTransformerToSRGB(icc.PerceptualRenderingIntent, true, channels, true, false, true); err != nil {
			return
		}
		convert = func(in []float64) [3]float64 {
			var from, to [4]float64
			copy(from[:], in)
			way.TransformGeneral(to[:], from[:])
			return [3]float64{to[0], to[1], to[2]}
		}
		probe := convert(make([]float64, channels)) // now, rather than at the first pixel
		for _, v := range probe {
			if math.IsNaN(v) {
				err = errors.New("a profile that gives no numbers")
			}
		}
	})
	return convert, errors.Join(err, perr)
}

// byteOf rounds 0 to 1 to 0 to 255; what is no number is 0.
func byteOf(v float64) uint8 {
	if math.IsNaN(v) {
		return 0
	}
	return uint8(max(0, min(255, math.Round(v*255))))
}

// greyToSRGB brings grey with a profile for grey to that of sRGB, in place.
// Without one, or with a broken one, it is taken as it is.
func greyToSRGB(pix []uint8, profile []byte) {
	if len(profile) == 0 {
		return
	}
	convert, err := toSRGB(profile, "GRAY", 1)
	if err != nil {
		return // not grey's, or broken: as without
	}
	var table [256]uint8
	for i := range table {
		table[i] = byteOf(convert([]float64{float64(i) / 255})[1])
	}
	for i, v := range pix {
		pix[i] = table[v]
	}
}

// inks is a picture of four inks: cyan, magenta, yellow, black, 255 for all. It
// is shrunk as such and then brought to sRGB, by its profile if there is one
// that can be read.
type inks struct {
	planes  [4]plane
	convert func(in []float64) [3]float64
}

// inksOf takes the inks apart, so that each can be shrunk by itself.
func inksOf(img *image.CMYK, profile []byte) inks {
	convert, err := toSRGB(profile, "CMYK", 4)
	if err != nil { // none, or broken: as without
		convert = plainInks
	}
	width, height := img.Rect.Dx(), img.Rect.Dy()
	out := inks{convert: convert}
	for i := range out.planes {
		pix := make([]uint8, width*height)
		for y := range height {
			row := img.Pix[y*img.Stride:][:4*width]
			for x := range width {
				pix[y*width+x] = row[4*x+i]
			}
		}
		out.planes[i] = plane{pix: pix, stride: width, width: width, height: height}
	}
	return out
}

// plainInks takes inks as perfect filters, as image/color does.
func plainInks(in []float64) [3]float64 {
	r, g, b := color.CMYKToRGB(byteOf(in[0]), byteOf(in[1]), byteOf(in[2]), byteOf(in[3]))
	return [3]float64{float64(r) / 255, float64(g) / 255, float64(b) / 255}
}

func (p inks) size() image.Point { return image.Pt(p.planes[0].width, p.planes[0].height) }

func (p inks) coloured() bool { return false }

func (p inks) average() string { return p.rgb().average() }

func (p inks) image() image.Image { return p.rgb().image() }

func (p inks) crop(r image.Rectangle) inks {
	for i, from := range p.planes {
		p.planes[i] = plane{from.pix[r.Min.Y*from.stride+r.Min.X:], from.stride, r.Dx(), r.Dy()}
	}
	return p
}

// shrink shrinks each ink, turning it, and gives what is left its colours.
func (p inks) shrink(orientation int, to image.Point) picture {
	for i, ink := range p.planes {
		small := planes{luma: ink, acrossX: 1, downY: 1}.shrink(orientation, to)
		p.planes[i] = small.(planes).luma
	}
	return p.rgb()
}

// rgb gives the inks their colours.
func (p inks) rgb() pixels {
	size := p.size()
	out := image.NewNRGBA(image.Rectangle{Max: size})
	known := map[[4]uint8][3]uint8{} // neighbours are often alike
	for y := range size.Y {
		for x := range size.X {
			var key [4]uint8
			for i, ink := range p.planes {
				key[i] = ink.pix[y*ink.stride+x]
			}
			rgb, ok := known[key]
			if !ok {
				in := [4]float64{float64(key[0]) / 255, float64(key[1]) / 255, float64(key[2]) / 255, float64(key[3]) / 255}
				c := p.convert(in[:])
				rgb = [3]uint8{byteOf(c[0]), byteOf(c[1]), byteOf(c[2])}
				if len(known) < 1<<16 {
					known[key] = rgb
				}
			}
			out.SetNRGBA(x, y, color.NRGBA{R: rgb[0], G: rgb[1], B: rgb[2], A: 255})
		}
	}
	return pixels{out, false}
}
