package media

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"
	"runtime"
	"sync"
	"sync/atomic"
)

// planes is a picture as luma and two chroma planes, full range. It is shrunk
// plane by plane, without ever becoming RGB: a third of the arithmetic and of
// the memory. No chroma planes: grey.
type planes struct {
	luma           plane
	chroma         []plane // none or two, Cb and Cr
	acrossX, downY int     // luma samples per chroma sample
}

type plane struct {
	pix           []uint8
	stride        int
	width, height int
}

func planesOf(img *image.YCbCr) planes {
	per := map[image.YCbCrSubsampleRatio][2]int{
		image.YCbCrSubsampleRatio444: {1, 1}, image.YCbCrSubsampleRatio422: {2, 1},
		image.YCbCrSubsampleRatio420: {2, 2}, image.YCbCrSubsampleRatio440: {1, 2},
		image.YCbCrSubsampleRatio411: {4, 1}, image.YCbCrSubsampleRatio410: {4, 2},
	}[img.SubsampleRatio]
	w, h := img.Rect.Dx(), img.Rect.Dy()
	cw, ch := ceilDiv(w, per[0]), ceilDiv(h, per[1])
	return planes{
		luma:    plane{img.Y, img.YStride, w, h},
		chroma:  []plane{{img.Cb, img.CStride, cw, ch}, {img.Cr, img.CStride, cw, ch}},
		acrossX: per[0], downY: per[1],
	}
}

func greyPlane(img *image.Gray) planes {
	return planes{luma: plane{img.Pix, img.Stride, img.Rect.Dx(), img.Rect.Dy()}, acrossX: 1, downY: 1}
}

func (p planes) size() image.Point { return image.Pt(p.luma.width, p.luma.height) }

func (p planes) coloured() bool { return len(p.chroma) == 2 }

// shrink resizes with Lanczos and turns in the same step. The result has
// chroma at half size both ways (4:2:0), as the encoder wants it, with each
// chroma sample in the middle of its four luma samples (JFIF 1.02), whichever
// way the picture was turned.
func (p planes) shrink(orientation int, to image.Point) picture {
	t := turns[orientation]
	toX, toY := to.X, to.Y // along the stored axes
	if t.transpose {
		toX, toY = to.Y, to.X
	}
	out := planes{acrossX: 2, downY: 2, chroma: make([]plane, len(p.chroma))}
	x := newAxis(toX, 1, p.luma.width, 1, p.luma.width, t.flipX)
	y := newAxis(toY, 1, p.luma.height, 1, p.luma.height, t.flipY)
	luma := newResampling(p.luma, x, y, t.transpose)
	out.luma = luma.to
	bands := luma.bands()
	for i, c := range p.chroma {
		x := newAxis(toX, 2, p.luma.width, p.acrossX, c.width, t.flipX)
		y := newAxis(toY, 2, p.luma.height, p.downY, c.height, t.flipY)
		chroma := newResampling(c, x, y, t.transpose)
		out.chroma[i] = chroma.to
		bands = append(bands, chroma.bands()...)
	}
	inParallel(bands)
	return out
}

// inParallel does all tasks, on every core. A panic of one is passed on to the
// caller once all are done.
func inParallel(tasks []func()) {
	var next atomic.Int64
	workers := min(runtime.GOMAXPROCS(0), len(tasks))
	panics := make([]error, workers)
	var work sync.WaitGroup
	for i := range workers {
		work.Go(func() {
			panics[i] = guard(func() {
				for n := next.Add(1); n <= int64(len(tasks)); n = next.Add(1) {
					tasks[n-1]()
				}
			})
		})
	}
	work.Wait()
	if err := errors.Join(panics...); err != nil {
		panic(err) // caught where shrink is called
	}
}

func (p planes) average() string {
	if len(p.chroma) == 0 {
		y := p.luma.mean()
		return fmt.Sprintf("#%02x%02x%02x", y, y, y)
	}
	r, g, b := color.YCbCrToRGB(p.luma.mean(), p.chroma[0].mean(), p.chroma[1].mean())
	return fmt.Sprintf("#%02x%02x%02x", r, g, b)
}

func (p plane) mean() uint8 {
	var sum uint64
	for y := range p.height {
		for _, v := range p.pix[y*p.stride : y*p.stride+p.width] {
			sum += uint64(v)
		}
	}
	n := uint64(p.width * p.height)
	return uint8((sum + n/2) / n)
}

// image is for planes that shrink made: packed and 4:2:0, or grey.
func (p planes) image() image.Image {
	rect := image.Rect(0, 0, p.luma.width, p.luma.height)
	if len(p.chroma) == 0 {
		return &image.Gray{Pix: p.luma.pix, Stride: p.luma.stride, Rect: rect}
	}
	return &image.YCbCr{
		Y: p.luma.pix, Cb: p.chroma[0].pix, Cr: p.chroma[1].pix,
		YStride: p.luma.stride, CStride: p.chroma[0].stride,
		SubsampleRatio: image.YCbCrSubsampleRatio420, Rect: rect,
	}
}

const (
	// weightBits is the precision of the filter's weights, restBits what is
	// kept below the point between the two passes. 8 + 14 + 6 bits and the
	// filter's overshoot stay within an int32.
	weightBits = 14
	restBits   = 6
)

// axis holds, for each target sample along one axis, the first source sample
// that it is made of and the weights of that and the following ones, which sum
// to 1<<weightBits.
type axis struct {
	first   []int
	weights [][]uint64 // two's complement: negative ones too are multiplied as they are
}

// newAxis makes the Lanczos weights (3 lobes) that bring an axis of fromLuma
// luma samples to toLuma. The target plane has a sample for every toPer luma
// samples, the source plane for every fromPer, from samples in all. flip counts
// the target from the far end.
func newAxis(toLuma, toPer, fromLuma, fromPer, from int, flip bool) axis {
	n := ceilDiv(toLuma, toPer)
	a := axis{first: make([]int, n), weights: make([][]uint64, n)}
	scale := float64(fromLuma) / float64(toLuma) / float64(fromPer) // source samples per target luma sample
	spread := max(1, scale*float64(toPer))                          // below 1 the filter interpolates
	for i := range n {
		center := (float64(i) + 0.5) * float64(toPer)
		if flip {
			center = float64(toLuma) - center
		}
		first, weights := lanczosWeights(center*scale, spread, from)
		a.first[i], a.weights[i] = first, make([]uint64, len(weights))
		for k, w := range weights {
			a.weights[i][k] = uint64(int64(w))
		}
	}
	return a
}

// lanczosWeights returns the weights around center, in samples from the edge of
// the first one. What would fall outside the source is left out.
func lanczosWeights(center, spread float64, from int) (first int, weights []int32) {
	const lobes = 3
	first = max(0, int(math.Ceil(center-lobes*spread-0.5)))
	last := min(from-1, int(math.Floor(center+lobes*spread-0.5)))
	if first > last { // beyond an edge by rounding: the edge itself
		first = max(0, min(from-1, first))
		last = first
	}
	exact := make([]float64, last-first+1)
	sum := 0.0
	for i := range exact {
		x := (float64(first+i) + 0.5 - center) / spread
		switch {
		case x == 0:
			exact[i] = 1
		case math.Abs(x) < lobes:
			exact[i] = lobes * math.Sin(math.Pi*x) * math.Sin(math.Pi*x/lobes) / (math.Pi * math.Pi * x * x)
		}
		sum += exact[i]
	}
	weights = make([]int32, len(exact))
	left, largest := int32(1<<weightBits), 0
	for i, w := range exact {
		weights[i] = int32(math.Round(w / sum * (1 << weightBits)))
		left -= weights[i]
		if w > exact[largest] {
			largest = i
		}
	}
	weights[largest] += left // so that flat areas stay exactly flat
	for len(weights) > 1 && weights[0] == 0 {
		weights, first = weights[1:], first+1
	}
	for len(weights) > 1 && weights[len(weights)-1] == 0 {
		weights = weights[:len(weights)-1]
	}
	return first, weights
}
