package media

import (
	"bytes"
	"image"
	"image/color"
	"image/draw"
	"image/gif"
	"slices"
)

// PreviewType is the media type of [Derivative.Preview].
const PreviewType = "image/gif"

// The size of previews. A GIF of this many colours has no header beside them
// worth mentioning: camera photos come to 180 bytes on average. The same pixels
// as PNG take 240, in all their colours 540; a JPEG begins with 620 bytes of
// tables. Enlarged softly, they lie closer to the photo (24.4 dB) than fewer
// pixels in all colours in more bytes (10 long, 280 bytes, 21.7 dB).
const (
	previewLongEdge = 16
	previewColours  = 16
)

// preview makes a picture tiny.
func preview(p picture) ([]byte, error) {
	tiny := p.shrink(1, fitted(p.size(), previewLongEdge)).image()
	out := image.NewPaletted(tiny.Bounds(), palette(tiny, previewColours))
	draw.Draw(out, out.Rect, tiny, tiny.Bounds().Min, draw.Src)
	var buf bytes.Buffer
	if err := gif.Encode(&buf, out, nil); err != nil {
		return nil, err
	}
	return buf.Bytes(), nil
}

// palette chooses at most so many colours for a small picture by median cut: the
// box of pixels that is largest, by pixels times range, is halved at the median
// of the channel that ranges most, until there are enough; each box gives its
// mean.
//
// Source: P. Heckbert, "Color Image Quantization for Frame Buffer Display",
// SIGGRAPH 1982.
func palette(img image.Image, most int) color.Palette {
	b := img.Bounds()
	all := make([][3]uint8, 0, b.Dx()*b.Dy())
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			c := color.RGBAModel.Convert(img.At(x, y)).(color.RGBA)
			all = append(all, [3]uint8{c.R, c.G, c.B})
		}
	}
	parts := [][][3]uint8{all}
	for len(parts) < most {
		chosen, channel, largest := 0, 0, 0
		for i, part := range parts {
			if c, span := widest(part); span*len(part) > largest {
				chosen, channel, largest = i, c, span*len(part)
			}
		}
		if largest == 0 { // as many parts as colours
			break
		}
		part := parts[chosen]
		slices.SortFunc(part, func(a, b [3]uint8) int {
			if a[channel] != b[channel] {
				return int(a[channel]) - int(b[channel])
			}
			return slices.Compare(a[:], b[:])
		})
		middle := len(part) / 2 // or where the channel next changes: no colour in two parts
		for middle < len(part) && part[middle][channel] == part[middle-1][channel] {
			middle++
		}
		for middle == len(part) || part[middle][channel] == part[middle-1][channel] {
			middle--
		}
		parts[chosen] = part[:middle]
		parts = append(parts, part[middle:])
	}
	out := make(color.Palette, len(parts))
	for i, part := range parts {
		out[i] = mean(part)
	}
	return out
}

// widest is the channel that ranges most and by how much.
func widest(part [][3]uint8) (channel, span int) {
	for c := range 3 {
		low, high := uint8(255), uint8(0)
		for _, p := range part {
			low, high = min(low, p[c]), max(high, p[c])
		}
		if int(high)-int(low) > span {
			channel, span = c, int(high)-int(low)
		}
	}
	return channel, span
}

func mean(part [][3]uint8) color.RGBA {
	var sum [3]int
	for _, p := range part {
		for c := range 3 {
			sum[c] += int(p[c])
		}
	}
	n := len(part)
	of := func(c int) uint8 { return uint8((sum[c] + n/2) / n) }
	return color.RGBA{of(0), of(1), of(2), 255}
}
