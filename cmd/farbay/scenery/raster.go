package scenery

import "sync"

// camera is a pinhole camera in stored-pixel space: x to the right and y down
// in the file as it is stored, which for an upright photo is not how it is held.
type camera struct {
	eye, fwd, right, up vec
	w, h                int
	focal               float32 // pixels
}

// screenTri is a triangle as the camera sees it. 1/depth and normal/depth are
// linear over the screen: value = a*x + b*y + c at pixel centre (x, y).
type screenTri struct {
	x, y       [3]float32
	iw         [3]float32 // a, b, c of 1/depth
	na, nb, nc vec
	curve      float32 // how far the normal turns from pixel to pixel, radians
	flat       bool
	axis       uint8 // 0, 1, 2: the axis the normal is closest to
	mat        uint16
	surf       int32
}

// canvas holds one photo's buffers; they are kept for the next photo.
type canvas struct {
	w, h     int
	depth    []float32 // 1/depth of the nearest surface, 0 where there is none
	id       []int32   // index into screen, -1 where there is none
	depth2   []float32
	id2      []int32
	col      []vec
	screen   []screenTri
	glass    []screenTri
	extra    []sample
	flat     []screenTri // as the light, or the floor, sees the scene
	lightMap []float32
	ao       aoMap
	blocks   blockMap
	ground   groundMap
	soft     softMap
}

// sample is one more surface seen in a pixel beside its main one.
type sample struct{ pixel, id int32 }

var canvases = sync.Pool{New: func() any { return new(canvas) }}

func fit[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

func (c *canvas) reset(w, h int) {
	c.w, c.h = w, h
	n := w * h
	c.depth, c.id = fit(c.depth, n), fit(c.id, n)
	c.depth2, c.id2 = fit(c.depth2, n), fit(c.id2, n)
	c.col = fit(c.col, n)
	c.screen, c.glass, c.extra = c.screen[:0], c.glass[:0], c.extra[:0]
}

// project clips tris to the front of the camera and puts them on the screen.
func (c *canvas) project(cam *camera, tris []tri, mats []material) {
	const near = 0.08
	cx, cy := float32(cam.w)/2, float32(cam.h)/2
	type cv struct {
		p vec // x right, y up, z depth
		n vec
	}
	for i := range tris {
		t := &tris[i]
		var in [4]cv
		n := 0
		var v [3]cv
		behind := 0
		for k := range v {
			d := t.p[k].sub(cam.eye)
			v[k] = cv{vec{d.dot(cam.right), d.dot(cam.up), d.dot(cam.fwd)}, t.n[k]}
			if v[k].p.z < near {
				behind++
			}
		}
		if behind == 3 {
			continue
		}
		// Solids are closed and their normals point outwards: what faces away is hidden.
		if !mats[t.mat].twoSided && away(t, cam.eye) {
			continue
		}
		for k := range v {
			a, b := v[k], v[(k+1)%3]
			if a.p.z >= near {
				in[n] = a
				n++
			}
			if (a.p.z >= near) != (b.p.z >= near) {
				s := (near - a.p.z) / (b.p.z - a.p.z)
				in[n] = cv{mix(a.p, b.p, s), mix(a.n, b.n, s)}
				n++
			}
		}
		for k := 2; k < n; k++ {
			tv := [3]cv{in[0], in[k-1], in[k]}
			var st screenTri
			var iw [3]float32
			for j, q := range tv {
				iw[j] = 1 / q.p.z
				st.x[j] = cx + cam.focal*q.p.x*iw[j]
				st.y[j] = cy - cam.focal*q.p.y*iw[j]
			}
			if offscreen(st.x, float32(cam.w)) || offscreen(st.y, float32(cam.h)) {
				continue
			}
			pl, ok := newGradient(st.x, st.y)
			if !ok {
				continue
			}
			st.iw = pl.of(iw)
			st.flat, st.mat, st.surf = t.flat, t.mat, t.surf
			st.axis = closest(t.n[0])
			if t.flat {
				st.nc = t.n[0]
			} else {
				gx := pl.of([3]float32{tv[0].n.x * iw[0], tv[1].n.x * iw[1], tv[2].n.x * iw[2]})
				gy := pl.of([3]float32{tv[0].n.y * iw[0], tv[1].n.y * iw[1], tv[2].n.y * iw[2]})
				gz := pl.of([3]float32{tv[0].n.z * iw[0], tv[1].n.z * iw[1], tv[2].n.z * iw[2]})
				st.na, st.nb, st.nc = vec{gx[0], gy[0], gz[0]}, vec{gx[1], gy[1], gz[1]}, vec{gx[2], gy[2], gz[2]}
				w := 3 / (iw[0] + iw[1] + iw[2])
				n := tv[0].n.add(tv[1].n).add(tv[2].n).mul(1.0 / 3)
				dx, dy := st.na.sub(n.mul(st.iw[0])), st.nb.sub(n.mul(st.iw[1]))
				st.curve = w * sqrt(dx.dot(dx)+dy.dot(dy))
			}
			if mats[t.mat].kind == kindGlass {
				c.glass = append(c.glass, st)
			} else {
				c.screen = append(c.screen, st)
			}
		}
	}
}

// away reports whether the triangle faces away from eye at all its corners.
func away(t *tri, eye vec) bool {
	for k := range t.p {
		if t.n[k].dot(eye.sub(t.p[k])) > 0 {
			return false
		}
	}
	return true
}

func offscreen(v [3]float32, size float32) bool {
	return (v[0] < -1 && v[1] < -1 && v[2] < -1) || (v[0] > size+1 && v[1] > size+1 && v[2] > size+1)
}

func closest(n vec) uint8 {
	x, y, z := abs(n.x), abs(n.y), abs(n.z)
	switch {
	case z >= x && z >= y:
		return 2
	case y >= x:
		return 1
	}
	return 0
}

// gradient finds the plane through three values at a triangle's corners. It
// works in float64: corners of walls lie far off the screen.
type gradient struct {
	x0, y0, x1, y1, x2, y2 float64
	inv                    float64
}

func newGradient(x, y [3]float32) (gradient, bool) {
	g := gradient{float64(x[0]), float64(y[0]), float64(x[1]), float64(y[1]), float64(x[2]), float64(y[2]), 0}
	det := (g.x1-g.x0)*(g.y2-g.y0) - (g.x2-g.x0)*(g.y1-g.y0)
	if det > -1e-9 && det < 1e-9 {
		return g, false
	}
	g.inv = 1 / det
	return g, true
}

func (g *gradient) of(v [3]float32) [3]float32 {
	d1, d2 := float64(v[1]-v[0]), float64(v[2]-v[0])
	a := (d1*(g.y2-g.y0) - d2*(g.y1-g.y0)) * g.inv
	b := (d2*(g.x1-g.x0) - d1*(g.x2-g.x0)) * g.inv
	return [3]float32{float32(a), float32(b), float32(float64(v[0]) - a*g.x0 - b*g.y0)}
}

// raster draws tris into depth and id (id may be nil: depth only). Samples lie
// at pixel centres moved by (ox, oy). Larger depth values are nearer.
func raster(tris []screenTri, w, h int, ox, oy float32, depth []float32, id []int32) {
	ox += 0.5
	oy += 0.5
	// The last come first: the subject is built after its surroundings, and
	// what is already hidden costs least.
	for i := len(tris) - 1; i >= 0; i-- {
		t := &tris[i]
		a, b, c := 0, 1, 2
		if t.y[b] < t.y[a] {
			a, b = b, a
		}
		if t.y[c] < t.y[a] {
			a, c = c, a
		}
		if t.y[c] < t.y[b] {
			b, c = c, b
		}
		ya, yb, yc := t.y[a], t.y[b], t.y[c]
		y0, y1 := ceil(ya-oy), ceil(yc-oy)
		if y0 < 0 {
			y0 = 0
		}
		if y1 > h {
			y1 = h
		}
		if y0 >= y1 {
			continue
		}
		xa, xb, xc := t.x[a], t.x[b], t.x[c]
		long := (xc - xa) / (yc - ya)
		var up, down float32
		if yb > ya {
			up = (xb - xa) / (yb - ya)
		}
		if yc > yb {
			down = (xc - xb) / (yc - yb)
		}
		ia, ib := t.iw[0], t.iw[1]
		for y := y0; y < y1; y++ {
			cy := float32(y) + oy
			l := xa + (cy-ya)*long
			var r float32
			if cy < yb {
				r = xa + (cy-ya)*up
			} else {
				r = xb + (cy-yb)*down
			}
			if r < l {
				l, r = r, l
			}
			if r < 0 || l > float32(w) {
				continue
			}
			if l < 0 {
				l = 0
			}
			if r > float32(w) {
				r = float32(w)
			}
			x0, x1 := ceil(l-ox), ceil(r-ox)
			if x0 < 0 {
				x0 = 0
			}
			if x1 > w {
				x1 = w
			}
			if x0 >= x1 {
				continue
			}
			z := ia*(float32(x0)+ox) + ib*cy + t.iw[2]
			drow := depth[y*w+x0 : y*w+x1]
			if id == nil {
				for k := range drow {
					if z > drow[k] {
						drow[k] = z
					}
					z += ia
				}
				continue
			}
			irow := id[y*w+x0 : y*w+x1][:len(drow)]
			for k := range drow {
				if z > drow[k] {
					drow[k] = z
					irow[k] = int32(i)
				}
				z += ia
			}
		}
	}
}

func ceil(x float32) int {
	i := int(x)
	if float32(i) < x {
		i++
	}
	return i
}

// samples is how many points of a pixel are looked at.
const samples = 2

// see finds the visible surface of every pixel, and the further surfaces seen
// at one more point of it where they differ: edges are smoothed by those.
func (c *canvas) see() {
	clearTo(c.depth, 0)
	clearTo(c.id, -1)
	raster(c.screen, c.w, c.h, -0.25, -0.25, c.depth, c.id)
	for _, o := range [samples - 1][2]float32{{0.25, 0.25}} {
		clearTo(c.depth2, 0)
		clearTo(c.id2, -1)
		raster(c.screen, c.w, c.h, o[0], o[1], c.depth2, c.id2)
		for i, b := range c.id2 {
			a := c.id[i]
			if a == b {
				continue
			}
			if a >= 0 && b >= 0 && c.screen[a].surf == c.screen[b].surf {
				continue
			}
			c.extra = append(c.extra, sample{int32(i), b})
		}
	}
}

func clearTo[T int32 | float32](s []T, v T) {
	for i := range s {
		s[i] = v
	}
}
