package scenery

import (
	"image"
	"math"
	"sync"
)

// softMap is the photo at a quarter of its size, blurred: once all of it, for
// the glow around lights, and once what is out of focus, for the background.
type softMap struct {
	w, h       int
	glow, temp []vec
	back       []vec
	weight     []float32
	tempW      []float32
}

const softStep = 4

// glowShare is how much of the light above white spills around its source.
const glowShare = 0.09

// toneShift cuts a float32's bits down to the tone table's index: the exponent
// and eight bits of the mantissa, from toneLow up.
const (
	toneShift = 15
	toneLow   = 0x3a000000 >> toneShift // light 2^-11, below which all is black
	toneTop   = 0x41000000 >> toneShift // light 8, above which all is white
)

// tone maps linear light to an sRGB byte x 16, with a soft shoulder. The
// curve is a fit in common use for film-like tone (constants from memory).
var tone = sync.OnceValue(func() *[toneTop - toneLow]int32 {
	t := new([toneTop - toneLow]int32)
	for i := range t {
		x := float64(math.Float32frombits(uint32(i+toneLow) << toneShift))
		y := x * (2.51*x + 0.03) / (x*(2.43*x+0.59) + 0.14)
		y = math.Min(math.Max(y, 0), 1)
		if y <= 0.0031308 {
			y *= 12.92
		} else {
			y = 1.055*math.Pow(y, 1/2.4) - 0.055
		}
		t[i] = int32(y*255*16 + 0.5)
	}
	return t
})

// outOfFocus is how blurred a surface at depth 1/iw is, 0..1.
func (s *scene) outOfFocus(iw float32) float32 {
	if iw <= 0 {
		return s.blur
	}
	k := iw * s.focus // 1 in the plane of focus, less behind it
	if s.macro {
		return max(clamp((0.92-k)*2.6, 0, 1), clamp((k-1.17)*1.3, 0, 1)) * s.blur
	}
	return clamp((0.86-k)*2.6, 0, 1) * s.blur
}

// softRow is one row of a softMap, brought to the photo's width.
type softRow struct{ a, d []vec }

// fill mixes rows j and j+1 of src by t; d holds the steps to the next texel.
func (r *softRow) fill(src []vec, w, j int, t float32) {
	r.a, r.d = fit(r.a, w), fit(r.d, w)
	up, down := src[j*w:j*w+w], src[(j+1)*w:(j+1)*w+w]
	for i := range r.a {
		r.a[i] = mix(up[i], down[i], t)
	}
	for i := range w - 1 {
		r.d[i] = r.a[i+1].sub(r.a[i])
	}
	r.d[w-1] = vec{}
}

// develop turns light into the photo: focus, glow, falling light towards the
// corners, tone curve, grain.
func (s *scene) develop(c *canvas) *image.RGBA {
	f := &c.soft
	s.soften(c, f)
	img := image.NewRGBA(image.Rect(0, 0, c.w, c.h))
	table := tone()
	grain := &s.tiles.grain
	cx, cy := float32(c.w)/2, float32(c.h)/2
	inv := 0.34 / (cx*cx + cy*cy)
	gx, gy := int(s.offset.x*97)&(tileSize-1), int(s.offset.y*61)&(tileSize-1)
	// Depths that are surely sharp need no closer look.
	sharpFar, sharpNear := 0.86/s.focus, float32(1e9)
	if s.macro {
		sharpFar, sharpNear = 0.92/s.focus, 1.17/s.focus
	}
	if s.blur == 0 {
		sharpFar = -1
	}
	var glow, back softRow
	for y := 0; y < c.h; y++ {
		row := img.Pix[y*img.Stride : y*img.Stride+c.w*4]
		v := clamp((float32(y)-1.5)/softStep, 0, float32(f.h)-1.001)
		glow.fill(f.glow, f.w, int(v), v-float32(int(v)))
		back.fill(f.back, f.w, int(v), v-float32(int(v)))
		dy := (float32(y) - cy) * (float32(y) - cy)
		grow := grain[((y+gy)&(tileSize-1))*tileSize:][:tileSize]
		cols, depths := c.col[y*c.w:y*c.w+c.w], c.depth[y*c.w:y*c.w+c.w]
		for x, col := range cols {
			u := max(x-2, 0)
			k := u / softStep
			t := float32(u%softStep) * (1.0 / softStep)
			if iw := depths[x]; iw < sharpFar || iw > sharpNear {
				b := s.outOfFocus(iw)
				col = mix(col, back.a[k].add(back.d[k].mul(t)), b)
			}
			g := glow.a[k].add(glow.d[k].mul(t))
			dx := (float32(x) - cx) * (float32(x) - cx)
			e := s.expose * (1 - (dx+dy)*inv)
			r, gr, b := toned(table, (col.x+g.x)*e), toned(table, (col.y+g.y)*e), toned(table, (col.z+g.z)*e)
			n := int32(grow[(x+gx)&(tileSize-1)])
			// Grain is strongest in the mid tones.
			n = n * (900 + min(gr, 4080-gr)) >> 11
			px := row[x*4 : x*4+4 : x*4+4]
			px[0], px[1], px[2], px[3] = level(r+n), level(gr+n), level(b+n), 255
		}
	}
	return img
}

func toned(t *[toneTop - toneLow]int32, v float32) int32 {
	i := int(math.Float32bits(v)>>toneShift) - toneLow
	if uint(i) < uint(len(t)) {
		return t[i]
	}
	if v > 1 {
		return t[len(t)-1]
	}
	return t[0]
}

func level(v int32) uint8 { return uint8(min(max(v>>4, 0), 255)) }

func (s *scene) soften(c *canvas, f *softMap) {
	f.w, f.h = (c.w+softStep-1)/softStep, (c.h+softStep-1)/softStep
	n := f.w * f.h
	f.glow, f.temp, f.back = fit(f.glow, n), fit(f.temp, n), fit(f.back, n)
	f.weight, f.tempW = fit(f.weight, n), fit(f.tempW, n)
	for y := 0; y < f.h; y++ {
		for x := 0; x < f.w; x++ {
			var sum, back vec
			var wsum float32
			for j := 0; j < softStep; j += 2 {
				for i := 0; i < softStep; i += 2 {
					k := min(y*softStep+j, c.h-1)*c.w + min(x*softStep+i+j/2, c.w-1)
					v := c.col[k]
					sum = sum.add(v)
					b := s.outOfFocus(c.depth[k]) + 0.0005
					back = back.add(v.mul(b))
					wsum += b
				}
			}
			k := y*f.w + x
			sum = sum.mul(0.25)
			f.glow[k] = vec{max(sum.x-0.75, 0), max(sum.y-0.75, 0), max(sum.z-0.75, 0)}.mul(glowShare)
			f.back[k] = back
			f.weight[k] = wsum
		}
	}
	for _, r := range [2]int{5, 11} {
		blurVec(f.glow, f.temp, f.w, f.h, r)
		blurVec(f.temp, f.glow, f.h, f.w, r)
	}
	if s.blur > 0 {
		for _, r := range [2]int{1, 2} {
			blurVec(f.back, f.temp, f.w, f.h, r)
			blurVec(f.temp, f.back, f.h, f.w, r)
			boxBlur(f.weight, f.tempW, f.w, f.h, r)
			boxBlur(f.tempW, f.weight, f.h, f.w, r)
		}
		for i := range f.back {
			f.back[i] = f.back[i].mul(1 / f.weight[i])
		}
	}
}

// blurVec is boxBlur for colours.
func blurVec(src, dst []vec, w, h, r int) {
	inv := 1 / float32(2*r+1)
	for y := 0; y < h; y++ {
		row := src[y*w : y*w+w]
		var sum vec
		for x := -r; x <= r; x++ {
			sum = sum.add(row[min(max(x, 0), w-1)])
		}
		for x := 0; x < w; x++ {
			dst[x*h+y] = sum.mul(inv)
			sum = sum.add(row[min(x+r+1, w-1)]).sub(row[max(x-r, 0)])
		}
	}
}
