package scenery

import (
	"image"
	"math"
)

func atan(y, x float32) float32 { return float32(math.Atan2(float64(y), float64(x))) }

// render draws the scene into a picture of the camera's size.
func (s *scene) render(centre vec, radius, softness, floorZ float32) *image.RGBA {
	c := canvases.Get().(*canvas)
	defer canvases.Put(c)
	s.tiles = sharedTiles()
	c.reset(s.cam.w, s.cam.h)
	c.project(&s.cam, s.tris, s.mats)
	s.castShadows(c, centre, radius, softness)
	s.shadeGround(c, centre, radius+0.6, floorZ)
	c.see()
	reach := float32(0.3)
	if s.macro {
		reach = 0.05
	}
	s.occlude(c, reach)
	s.shadeAll(c)
	s.smoothEdges(c)
	s.drawGlass(c)
	return s.develop(c)
}

// blockMap is the photo in blocks of two by two pixels: where one surface
// fills a block it is shaded once. c.h and c.w are even.
type blockMap struct {
	id  []int32 // the block's surface, or mixed
	col []vec
}

const mixed = -2

// shadeAll colours every pixel. Blocks that show one surface are shaded in
// their middle and their pixels filled in between neighbours of the same
// surface; in the others each surface is shaded once. That is a third of the
// work of shading every pixel, and the camera's grain hides it.
func (s *scene) shadeAll(c *canvas) {
	m := &c.blocks
	bw, bh := c.w/2, c.h/2
	m.id, m.col = fit(m.id, bw*bh), fit(m.col, bw*bh)
	for by := range bh {
		for bx := range bw {
			i, k := by*2*c.w+bx*2, by*bw+bx
			id := c.id[i]
			if s.even(c, id, c.id[i+1]) && s.even(c, id, c.id[i+c.w]) && s.even(c, id, c.id[i+c.w+1]) {
				m.id[k], m.col[k] = id, s.point(c, id, float32(bx*2+1), float32(by*2+1))
				continue
			}
			m.id[k] = mixed
			s.shadeMixed(c, bx*2, by*2)
		}
	}
	for by := range bh {
		for bx := range bw {
			k := by*bw + bx
			id := m.id[k]
			if id == mixed {
				continue
			}
			own := m.col[k]
			if m.expanse(id, k, bx, by, bw, bh) {
				u, d, l, r := &m.col[k-bw], &m.col[k+bw], &m.col[k-1], &m.col[k+1]
				i := by*2*c.w + bx*2
				c.col[i] = between(own, *l, *u, m.col[k-bw-1])
				c.col[i+1] = between(own, *r, *u, m.col[k-bw+1])
				c.col[i+c.w] = between(own, *l, *d, m.col[k+bw-1])
				c.col[i+c.w+1] = between(own, *r, *d, m.col[k+bw+1])
				continue
			}
			near := [3][3]vec{}
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					near[dy+1][dx+1] = own
					x, y := bx+dx, by+dy
					if x < 0 || y < 0 || x >= bw || y >= bh {
						continue
					}
					j := y*bw + x
					if o := m.id[j]; o == id || o != mixed && s.even(c, id, o) {
						near[dy+1][dx+1] = m.col[j]
					}
				}
			}
			i := by*2*c.w + bx*2
			c.col[i] = between(own, near[1][0], near[0][1], near[0][0])
			c.col[i+1] = between(own, near[1][2], near[0][1], near[0][2])
			c.col[i+c.w] = between(own, near[1][0], near[2][1], near[2][0])
			c.col[i+c.w+1] = between(own, near[1][2], near[2][1], near[2][2])
		}
	}
}

// expanse reports whether a block and all its neighbours are one triangle.
func (m *blockMap) expanse(id int32, k, bx, by, bw, bh int) bool {
	if bx < 1 || by < 1 || bx >= bw-1 || by >= bh-1 {
		return false
	}
	up, own, down := m.id[k-bw-1:k-bw+2], m.id[k-1:k+2], m.id[k+bw-1:k+bw+2]
	return up[0] == id && up[1] == id && up[2] == id && own[0] == id && own[2] == id &&
		down[0] == id && down[1] == id && down[2] == id
}

// between is the colour a quarter of the way from own towards its neighbours
// at the side, above or below, and across the corner.
func between(own, side, level, corner vec) vec {
	const a, b, c = 9.0 / 16, 3.0 / 16, 1.0 / 16
	return vec{
		own.x*a + (side.x+level.x)*b + corner.x*c,
		own.y*a + (side.y+level.y)*b + corner.y*c,
		own.z*a + (side.z+level.z)*b + corner.z*c,
	}
}

// shadeMixed colours a block with several surfaces in it, each once.
func (s *scene) shadeMixed(c *canvas, x, y int) {
	i := y*c.w + x
	at := [4]int{i, i + 1, i + c.w, i + c.w + 1}
	for k, p := range at {
		id := c.id[p]
		known := false
		for _, q := range at[:k] {
			if s.even(c, c.id[q], id) {
				c.col[p], known = c.col[q], true
				break
			}
		}
		if !known {
			c.col[p] = s.point(c, id, float32(x+k&1)+0.5, float32(y+k>>1)+0.5)
		}
	}
}

// even reports whether two surfaces may share one colour in a block.
func (s *scene) even(c *canvas, a, b int32) bool {
	if a < 0 || b < 0 {
		return a == b
	}
	t := &c.screen[a]
	if s.mats[t.mat].kind == kindDecal { // writing stays sharp
		return false
	}
	return a == b || t.surf == c.screen[b].surf && t.curve < 0.06
}

// point is the light through the place (x, y) of the picture from the surface id, or from the sky.
func (s *scene) point(c *canvas, id int32, x, y float32) vec {
	if id < 0 {
		return s.sky(s.ray(x, y))
	}
	return s.shade(c, &c.screen[id], x, y)
}

// smoothEdges gives every further surface seen in a pixel its share.
func (s *scene) smoothEdges(c *canvas) {
	for _, e := range c.extra {
		x, y := int(e.pixel)%c.w, int(e.pixel)/c.w
		v, known := s.beside(c, e.id, x, y)
		if !known {
			v = s.point(c, e.id, float32(x)+0.5, float32(y)+0.5)
		}
		// Mixing in turn weighs the samples slightly unevenly; the error is
		// below the film grain.
		c.col[e.pixel] = mix(compress(c.col[e.pixel]), compress(v), 1.0/samples)
	}
}

// beside is the colour of a neighbouring pixel that shows the same surface.
func (s *scene) beside(c *canvas, id int32, x, y int) (vec, bool) {
	if x < 1 || y < 1 || x >= c.w-1 || y >= c.h-1 {
		return vec{}, false
	}
	i := y*c.w + x
	for _, k := range [4]int{i + 1, i + c.w, i - 1, i - c.w} {
		if s.even(c, c.id[k], id) {
			return c.col[k], true
		}
	}
	return vec{}, false
}

// compress keeps a lamp's edge from eating into its frame: a share of a very
// bright sample would still be white.
func compress(v vec) vec {
	return vec{min(v.x, 1.6), min(v.y, 1.6), min(v.z, 1.6)}
}

// drawGlass lays panes over what is behind them, the furthest first.
func (s *scene) drawGlass(c *canvas) {
	order := make([]int, len(c.glass))
	depth := make([]float32, len(c.glass))
	for i := range c.glass {
		g := &c.glass[i]
		x, y := (g.x[0]+g.x[1]+g.x[2])/3, (g.y[0]+g.y[1]+g.y[2])/3
		depth[i] = g.iw[0]*x + g.iw[1]*y + g.iw[2]
		k := i
		for k > 0 && depth[order[k-1]] > depth[i] {
			order[k] = order[k-1]
			k--
		}
		order[k] = i
	}
	for _, i := range order {
		g := &c.glass[i]
		y0, y1 := bounds(g.y, c.h)
		x0, x1 := bounds(g.x, c.w)
		for y := y0; y < y1; y++ {
			a, b := y*c.w+x0, y*c.w+x1
			clearTo(c.id2[a:b], -1)
			copy(c.depth2[a:b], c.depth[a:b])
		}
		raster(c.glass[i:i+1], c.w, c.h, 0, 0, c.depth2, c.id2)
		m := &s.mats[g.mat]
		for y := y0; y < y1; y++ {
			for x := x0; x < x1; x++ {
				k := y*c.w + x
				if c.id2[k] < 0 {
					continue
				}
				p, n, _ := s.surface(g, float32(x)+0.5, float32(y)+0.5)
				view := s.cam.eye.sub(p).unit()
				nv := clamp(n.dot(view), 0, 1)
				q := 1 - nv
				f := 0.06 + 0.8*q*q*q*q
				r := n.mul(2 * n.dot(view)).sub(view)
				mirror := s.surroundings(p, r, 0.02)
				u, v := s.texUV(g.axis, p)
				dirt := m.dust * (0.4 + 0.6*s.tiles.cloud.at(u*150, v*150))
				col := c.col[k].tint(m.col).mul(1 - f).add(mirror.mul(f * (1 - 0.5*dirt)))
				c.col[k] = mix(col, dustCol.mul(0.5), dirt*0.5)
			}
		}
	}
}

func bounds(v [3]float32, size int) (lo, hi int) {
	a, b := min(v[0], v[1], v[2]), max(v[0], v[1], v[2])
	return max(int(clamp(a, 0, float32(size)))-1, 0), min(int(clamp(b, 0, float32(size)))+2, size)
}
