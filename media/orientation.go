package media

import (
	"image"

	"github.com/disintegration/imaging"
)

// turn is an Exif orientation taken apart: the upright pixel at x, y is the
// stored pixel at x, y, with the two exchanged if transpose, then counted from
// the far side of the stored width if flipX, of the stored height if flipY.
type turn struct {
	transpose, flipX, flipY bool
}

// turns by orientation. Source: Exif 3.0, 4.6.5.1.6 Orientation, which says for
// each number where row 0 and column 0 are: 1 top, left; 2 top, right;
// 3 bottom, right; 4 bottom, left; 5 left, top; 6 right, top; 7 right, bottom;
// 8 left, bottom.
var turns = [9]turn{
	1: {false, false, false},
	2: {false, true, false},
	3: {false, true, true},
	4: {false, false, true},
	5: {true, false, false},
	6: {true, false, true},
	7: {true, true, true},
	8: {true, true, false},
}

// turnUpright turns an image; imaging's angles are anticlockwise.
func turnUpright(img *image.NRGBA, orientation int) *image.NRGBA {
	switch orientation {
	case 2:
		return imaging.FlipH(img)
	case 3:
		return imaging.Rotate180(img)
	case 4:
		return imaging.FlipV(img)
	case 5:
		return imaging.Transpose(img)
	case 6:
		return imaging.Rotate270(img)
	case 7:
		return imaging.Transverse(img)
	case 8:
		return imaging.Rotate90(img)
	}
	return img
}
