package media

import (
	"image"
	"math"
)

// toJFIF brings planes from the matrix and range that an nclx box names to
// those of a JPEG, in place: Rec. 601 and full range. Files without a box have
// them already, or are taken to.
//
// Both ways are linear: chroma depends on chroma alone, luma also on it.
// Matrices: ITU-T H.273 table 4 (1: Rec. 709, 9: Rec. 2020; 5 and 6: Rec. 601).
// Others are taken for Rec. 601.
func toJFIF(img *image.YCbCr, colour heifColour) {
	kr, kb := 0.299, 0.114
	switch colour.matrix {
	case 1:
		kr, kb = 0.2126, 0.0722
	case 9:
		kr, kb = 0.2627, 0.0593
	default:
		if !colour.limited {
			return
		}
	}
	lumaScale, lumaBlack, chromaScale := 1.0, 0.0, 1.0
	if colour.limited {
		lumaScale, lumaBlack, chromaScale = 255.0/219, 16, 255.0/224
	}
	// What one unit of Cb or of Cr adds to red, green and blue, and these to the
	// planes of JFIF 1.02.
	part := func(cb, cr float64) (y, cb2, cr2 float64) {
		r, b := 2*(1-kr)*cr, 2*(1-kb)*cb
		g := -(kr*r + kb*b) / (1 - kr - kb)
		y = 0.299*r + 0.587*g + 0.114*b
		return y, (b - y) / 1.772, (r - y) / 1.402
	}
	yOfCb, cbOfCb, crOfCb := part(chromaScale, 0)
	yOfCr, cbOfCr, crOfCr := part(0, chromaScale)
	byte8 := func(v float64) uint8 { return uint8(max(0, min(255, math.Round(v)))) }

	width, height := img.Rect.Dx(), img.Rect.Dy()
	lift := make([]float64, img.CStride) // what the chroma adds to luma, of one row
	acrossX, downY := planesOf(img).acrossX, planesOf(img).downY
	for y := range height {
		at := y / downY * img.CStride
		if y%downY == 0 {
			for x := range img.CStride {
				cb, cr := float64(img.Cb[at+x])-128, float64(img.Cr[at+x])-128
				lift[x] = cb*yOfCb + cr*yOfCr
				img.Cb[at+x] = byte8(128 + cb*cbOfCb + cr*cbOfCr)
				img.Cr[at+x] = byte8(128 + cb*crOfCb + cr*crOfCr)
			}
		}
		row := img.Y[y*img.YStride:][:width]
		for x, v := range row {
			row[x] = byte8((float64(v)-lumaBlack)*lumaScale + lift[x/acrossX])
		}
	}
}

// widenLuma brings grey from the limited to the full range, in place.
func widenLuma(pix []uint8) {
	for i, v := range pix {
		pix[i] = uint8(max(0, min(255, math.Round((float64(v)-16)*255/219))))
	}
}
