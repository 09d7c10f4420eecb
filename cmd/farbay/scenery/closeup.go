package scenery

import "image"

// picture is an image laid on a surface by a decal.
type picture struct {
	w, h int
	pix  []vec
}

func (p *picture) at(u, v float32) vec {
	x, y := clamp(u*float32(p.w)-0.5, 0, float32(p.w)-1.01), clamp(v*float32(p.h)-0.5, 0, float32(p.h)-1.01)
	i, j := int(x), int(y)
	fx, fy := x-float32(i), y-float32(j)
	k := j*p.w + i
	return mix(mix(p.pix[k], p.pix[k+1], fx), mix(p.pix[k+p.w], p.pix[k+p.w+1], fx), fy)
}

type crack struct{}

func (c *crack) over(s *scene, col, p vec) vec { return col }

func (s *scene) pan(m *material, p, n vec, u, v, cloud float32) (vec, vec, bool) {
	return m.col, n, false
}

func (s Shot) drawCloseUp(sc *scene, w, h int) *image.RGBA {
	return image.NewRGBA(image.Rect(0, 0, w, h))
}
