package media

import (
	"image"
	"math"
	"testing"
)

// TestLanczosWeights: the kernel is Lanczos's sinc(x) sinc(x/3), which is 1 at
// 0 and 0 at other whole numbers; weights always sum to one, so that flat areas
// stay flat.
func TestLanczosWeights(t *testing.T) {
	for _, spread := range []float64{1, 1.5, 1.953125, 9.3, 312.5} {
		for _, center := range []float64{0, 0.5, 1, 57.25, 99.5, 100} {
			first, weights := lanczosWeights(center, spread, 100)
			sum := int32(0)
			for _, w := range weights {
				sum += w
			}
			if sum != 1<<weightBits || first < 0 || first+len(weights) > 100 {
				t.Errorf("center %v, spread %v: weights %d to %d sum to %d", center, spread, first, first+len(weights), sum)
			}
		}
	}
	if first, weights := lanczosWeights(10.5, 1, 100); first != 10 || len(weights) != 1 {
		t.Errorf("on a sample: from %d, %v, want the sample alone", first, weights)
	}
	// Between two samples: L(0.5), from L(x) = 3 sin(πx) sin(πx/3) / (π²x²), is
	// 0.6079; L(1.5) is -0.1351; L(2.5) is 0.0243, summing to 0.9943 twice.
	_, weights := lanczosWeights(50, 1, 100)
	want := []float64{0.0243, -0.1351, 0.6079, 0.6079, -0.1351, 0.0243}
	if len(weights) != len(want) {
		t.Fatalf("weights %v", weights)
	}
	for i, w := range weights {
		if got := float64(w) / (1 << weightBits); math.Abs(got-want[i]/(2*(0.0243-0.1351+0.6079))) > 0.0002 {
			t.Errorf("weight %d = %.4f, want %.4f", i, got, want[i])
		}
	}
}

// TestPlanes_FlatStaysFlat, for each grey and both passes.
func TestPlanes_FlatStaysFlat(t *testing.T) {
	for v := range 256 {
		img := image.NewGray(image.Rect(0, 0, 40, 30))
		for i := range img.Pix {
			img.Pix[i] = uint8(v)
		}
		for _, to := range []image.Point{{40, 30}, {17, 13}, {1, 1}} {
			small := greyPlane(img).shrink(6, image.Pt(to.Y, to.X)).image().(*image.Gray)
			for _, got := range small.Pix {
				if int(got) != v {
					t.Fatalf("grey %d became %d at %v", v, got, to)
				}
			}
		}
	}
}

// TestDerive_Thin: the thinnest and the smallest pictures keep at least a
// pixel.
func TestDerive_Thin(t *testing.T) {
	for _, size := range []image.Point{{1, 1}, {2, 1}, {5000, 1}, {1, 3000}, {7000, 3}, {321, 320}} {
		for orientation := 1; orientation <= 8; orientation++ {
			b := segmentAt(encodeJPEG(t, photo(size.X, size.Y)), exifSegment(orientationBlock(orientation)))
			deriveAll(t, b)
		}
		deriveAll(t, encodePNG(t, photo(size.X, size.Y)))
	}
}
