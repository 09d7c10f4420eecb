package scenery

import (
	"image/color"
	"math"
)

// vec is a point or direction in metres (x forward, y to the truck's left,
// z up, origin on the ground under the middle of the wheelbase), or a linear
// light colour (x red, y green, z blue).
type vec struct{ x, y, z float32 }

func (a vec) add(b vec) vec     { return vec{a.x + b.x, a.y + b.y, a.z + b.z} }
func (a vec) sub(b vec) vec     { return vec{a.x - b.x, a.y - b.y, a.z - b.z} }
func (a vec) mul(k float32) vec { return vec{a.x * k, a.y * k, a.z * k} }
func (a vec) tint(b vec) vec    { return vec{a.x * b.x, a.y * b.y, a.z * b.z} }
func (a vec) dot(b vec) float32 { return a.x*b.x + a.y*b.y + a.z*b.z }
func (a vec) length() float32   { return sqrt(a.dot(a)) }
func mix(a, b vec, t float32) vec {
	return vec{a.x + (b.x-a.x)*t, a.y + (b.y-a.y)*t, a.z + (b.z-a.z)*t}
}

func (a vec) cross(b vec) vec {
	return vec{a.y*b.z - a.z*b.y, a.z*b.x - a.x*b.z, a.x*b.y - a.y*b.x}
}

func (a vec) unit() vec {
	l := a.dot(a)
	if l < 1e-20 {
		return vec{0, 0, 1}
	}
	return a.mul(1 / sqrt(l))
}

func sqrt(x float32) float32 { return float32(math.Sqrt(float64(x))) }
func sin(x float32) float32  { return float32(math.Sin(float64(x))) }
func cos(x float32) float32  { return float32(math.Cos(float64(x))) }

func abs(x float32) float32 {
	if x < 0 {
		return -x
	}
	return x
}

func clamp(x, lo, hi float32) float32 {
	return min(max(x, lo), hi)
}

func lerp(a, b, t float32) float32 { return a + (b-a)*t }

// step is 0 below lo, 1 above hi, and a smooth curve between.
func step(lo, hi, x float32) float32 {
	t := clamp((x-lo)/(hi-lo), 0, 1)
	return t * t * (3 - 2*t)
}

// floor32 is the largest whole number not above x, for |x| < 2^31.
func floor32(x float32) int32 {
	i := int32(x)
	if float32(i) > x {
		i--
	}
	return i
}

// linear turns an sRGB byte triple 0xRRGGBB into linear light.
// Source of the curve: IEC 61966-2-1.
func linear(hex uint32) vec {
	return vec{toLinear(uint8(hex >> 16)), toLinear(uint8(hex >> 8)), toLinear(uint8(hex))}
}

func linearOf(c color.RGBA) vec { return vec{toLinear(c.R), toLinear(c.G), toLinear(c.B)} }

func toLinear(b uint8) float32 {
	v := float64(b) / 255
	if v <= 0.04045 {
		return float32(v / 12.92)
	}
	return float32(math.Pow((v+0.055)/1.055, 2.4))
}

// affine maps a point p to c0*p.x + c1*p.y + c2*p.z + t.
type affine struct{ c0, c1, c2, t vec }

var identity = affine{vec{1, 0, 0}, vec{0, 1, 0}, vec{0, 0, 1}, vec{}}

func (m affine) point(p vec) vec { return m.dir(p).add(m.t) }

func (m affine) dir(p vec) vec {
	return vec{
		m.c0.x*p.x + m.c1.x*p.y + m.c2.x*p.z,
		m.c0.y*p.x + m.c1.y*p.y + m.c2.y*p.z,
		m.c0.z*p.x + m.c1.z*p.y + m.c2.z*p.z,
	}
}

// then returns the map that applies in first and m after it.
func (m affine) then(in affine) affine {
	return affine{m.dir(in.c0), m.dir(in.c1), m.dir(in.c2), m.point(in.t)}
}

func move(x, y, z float32) affine {
	m := identity
	m.t = vec{x, y, z}
	return m
}

// Turns about the three axes, in radians, counterclockwise seen from the axis's tip.
func turnX(a float32) affine {
	s, c := sin(a), cos(a)
	return affine{vec{1, 0, 0}, vec{0, c, s}, vec{0, -s, c}, vec{}}
}

func turnY(a float32) affine {
	s, c := sin(a), cos(a)
	return affine{vec{c, 0, -s}, vec{0, 1, 0}, vec{s, 0, c}, vec{}}
}

func turnZ(a float32) affine {
	s, c := sin(a), cos(a)
	return affine{vec{c, s, 0}, vec{-s, c, 0}, vec{0, 0, 1}, vec{}}
}

func stretch(x, y, z float32) affine {
	return affine{vec{x, 0, 0}, vec{0, y, 0}, vec{0, 0, z}, vec{}}
}
