package media

import (
	"image"
	"image/draw"
	"math/bits"
)

// alikeBits is the most bits in which hashes of photos that look alike differ.
//
// Measured (TestAlike_CameraSamples): 28 camera samples, each compressed more,
// made smaller, held 2 % aside, 3 % closer and exposed 10 % longer, and all
// of that at once, stay within 9 bits, half of them within 2; no two different
// samples are closer than 14. Of the demo's drawn photos, one truck in one
// workshop's light, 2 of 162 such shots are farther than 10 bits and 3 of 1,431
// pairs closer: one view of the truck at two stages.
const alikeBits = 10

// Distance is the number of bits in which two hashes differ (Hamming
// distance), 0 to 64.
func Distance(a, b uint64) int { return bits.OnesCount64(a ^ b) }

// Alike says whether two hashes are of photos that look alike: the same picture,
// or shots of one burst. It is a suggestion to group them, no more; photos of
// one subject from one place on different days can look alike too.
func Alike(a, b uint64) bool { return Distance(a, b) <= alikeBits }

// differenceHash is the perceptual hash of a picture: its luma shrunk to 9 by 8
// samples, and for each row, from the top and from the left, whether the next
// sample is brighter than this one. The first comparison is the highest bit.
//
// Source: Neal Krawetz, "Kind of Like That", hackerfactor.com, 2013 (dHash).
// It leaves the filter open; here it is the Lanczos of the derivatives, in whole
// numbers, so that every machine gives the same bits.
func differenceHash(img image.Image) uint64 {
	const columns, rows = 9, 8
	luma := lumaPlane(img)
	grid := luma.resample(
		newAxis(columns, 1, luma.width, 1, luma.width, false),
		newAxis(rows, 1, luma.height, 1, luma.height, false))
	var hash uint64
	for y := range rows {
		row := grid.pix[y*grid.stride:][:columns]
		for x := range columns - 1 {
			hash <<= 1
			if row[x] < row[x+1] {
				hash |= 1
			}
		}
	}
	return hash
}

// lumaPlane is the luma of a picture: its own if it has one.
func lumaPlane(img image.Image) plane {
	size := img.Bounds().Size()
	switch img := img.(type) {
	case *image.YCbCr:
		return plane{img.Y, img.YStride, size.X, size.Y}
	case *image.Gray:
		return plane{img.Pix, img.Stride, size.X, size.Y}
	}
	grey := image.NewGray(image.Rect(0, 0, size.X, size.Y))
	draw.Draw(grey, grey.Rect, img, img.Bounds().Min, draw.Src)
	return plane{grey.Pix, grey.Stride, size.X, size.Y}
}
