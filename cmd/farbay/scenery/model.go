package scenery

import "sync"

// pt is a point of a flat profile, in metres.
type pt struct{ u, v float32 }

// tri is one triangle of a model. surf numbers the smooth surface it belongs
// to, so that the rasteriser smooths edges between surfaces only.
type tri struct {
	p    [3]vec
	n    [3]vec
	mat  uint16
	flat bool
	surf int32
}

// vertex is a corner on its way into a model: place and surface normal.
type vertex struct{ p, n vec }

// model collects triangles. Every primitive goes through the bend (a
// deformation of the body's space) between its placement and the body's own.
type model struct {
	tris []tri
	mats []material

	mat   uint16
	xf    affine
	outer affine // placement of a bent body, applied after the bend
	surf  int32
	bend  *bend

	polys, spare [][]vertex
	kept         *[]tri // where tris came from
}

// bend is a free-form deformation: width narrows or swells with x and z, tops
// are crowned. Triangles are first cut along the given planes so that flat
// panels can follow the curve.
type bend struct {
	cutX, cutY, cutZ []float32
	scale            func(x, z float32) float32
	lift             func(x, y, z float32) float32
}

func newModel() *model {
	m := &model{xf: identity, outer: identity, kept: triangles.Get().(*[]tri)}
	m.tris = (*m.kept)[:0]
	return m
}

// triangles keeps models' memory from one photo to the next.
var triangles = sync.Pool{New: func() any {
	t := make([]tri, 0, 1<<16)
	return &t
}}

// release gives the model's memory back; the model is no longer usable.
func (m *model) release() {
	*m.kept = m.tris
	triangles.Put(m.kept)
	m.tris, m.kept = nil, nil
}

// use adds a material and makes it current; the number returned selects it again.
func (m *model) use(mt material) uint16 {
	m.mats = append(m.mats, mt)
	m.mat = uint16(len(m.mats) - 1)
	return m.mat
}

// at runs f with every primitive placed by x inside the present placement.
func (m *model) at(x affine, f func()) {
	old := m.xf
	m.xf = old.then(x)
	f()
	m.xf = old
}

// both runs f twice: as it stands, and mirrored to the truck's right side.
func (m *model) both(f func(side float32)) {
	f(1)
	m.at(stretch(1, -1, 1), func() { f(-1) })
}

func (m *model) nextSurf() { m.surf++ }

func (m *model) face(a, b, c vertex) {
	for _, v := range []*vertex{&a, &b, &c} {
		v.p, v.n = m.xf.point(v.p), m.xf.dir(v.n)
	}
	if m.bend == nil {
		m.place(a, b, c)
		return
	}
	if !m.bend.crosses(a.p, b.p, c.p) {
		m.place(m.bend.apply(a), m.bend.apply(b), m.bend.apply(c))
		return
	}
	polys := append(m.polys[:0], []vertex{a, b, c})
	spare := m.spare[:0]
	cut := func(planes []float32, axis int, p, q, r float32) {
		lo, hi := min(p, q, r), max(p, q, r)
		for _, at := range planes {
			if at <= lo || at >= hi {
				continue
			}
			spare = spare[:0]
			for _, p := range polys {
				lo, hi := splitPoly(p, axis, at)
				if len(lo) >= 3 {
					spare = append(spare, lo)
				}
				if len(hi) >= 3 {
					spare = append(spare, hi)
				}
			}
			polys, spare = spare, polys
		}
	}
	cut(m.bend.cutX, 0, a.p.x, b.p.x, c.p.x)
	cut(m.bend.cutY, 1, a.p.y, b.p.y, c.p.y)
	cut(m.bend.cutZ, 2, a.p.z, b.p.z, c.p.z)
	for _, p := range polys {
		for i := range p {
			p[i] = m.bend.apply(p[i])
		}
		for i := 2; i < len(p); i++ {
			m.place(p[0], p[i-1], p[i])
		}
	}
	m.polys, m.spare = polys, spare
}

// crosses reports whether one of the cutting planes goes through a triangle.
func (b *bend) crosses(p, q, r vec) bool {
	between := func(planes []float32, p, q, r float32) bool {
		lo, hi := min(p, q, r), max(p, q, r)
		for _, at := range planes {
			if lo < at && at < hi {
				return true
			}
		}
		return false
	}
	return between(b.cutX, p.x, q.x, r.x) || between(b.cutY, p.y, q.y, r.y) || between(b.cutZ, p.z, q.z, r.z)
}

func (b *bend) apply(v vertex) vertex {
	const e = 0.004
	p := v.p
	s := b.scale(p.x, p.z)
	sx := (b.scale(p.x+e, p.z) - s) / e
	sz := (b.scale(p.x, p.z+e) - s) / e
	l := b.lift(p.x, p.y, p.z)
	ly := (b.lift(p.x, p.y+e, p.z) - l) / e
	lx := (b.lift(p.x+e, p.y, p.z) - l) / e
	// Inverse transpose of the deformation's Jacobian, to first order.
	n := vec{v.n.x - v.n.y*p.y*sx/s - v.n.z*lx, v.n.y/s - v.n.z*ly, v.n.z - v.n.y*p.y*sz/s}
	return vertex{vec{p.x, p.y * s, p.z + l}, n.unit()}
}

func splitPoly(p []vertex, axis int, at float32) (lo, hi []vertex) {
	side := func(v vertex) float32 {
		switch axis {
		case 0:
			return v.p.x - at
		case 1:
			return v.p.y - at
		}
		return v.p.z - at
	}
	var anyLo, anyHi bool
	for _, v := range p {
		if d := side(v); d < -1e-6 {
			anyLo = true
		} else if d > 1e-6 {
			anyHi = true
		}
	}
	if !anyHi {
		return p, nil
	}
	if !anyLo {
		return nil, p
	}
	for i, v := range p {
		w := p[(i+1)%len(p)]
		dv, dw := side(v), side(w)
		if dv <= 0 {
			lo = append(lo, v)
		}
		if dv >= 0 {
			hi = append(hi, v)
		}
		if (dv < 0 && dw > 0) || (dv > 0 && dw < 0) {
			t := dv / (dv - dw)
			c := vertex{mix(v.p, w.p, t), mix(v.n, w.n, t)}
			lo, hi = append(lo, c), append(hi, c)
		}
	}
	return lo, hi
}

func (m *model) place(a, b, c vertex) {
	t := tri{mat: m.mat, surf: m.surf}
	for i, v := range [3]vertex{a, b, c} {
		t.p[i] = m.outer.point(v.p)
		t.n[i] = m.outer.dir(v.n)
	}
	t.flat = a.n == b.n && b.n == c.n
	m.tris = append(m.tris, t)
}

// stamp adds copies of finished triangles at the present placement.
func (m *model) stamp(tris []tri) {
	first := m.surf + 1
	for _, t := range tris {
		for i := range t.p {
			t.p[i] = m.xf.point(t.p[i])
			t.n[i] = m.xf.dir(t.n[i])
		}
		t.surf += first
		m.surf = max(m.surf, t.surf)
		m.tris = append(m.tris, t)
	}
}

// quad is a flat four-cornered face with one normal.
func (m *model) quad(a, b, c, d vec) {
	n := b.sub(a).cross(c.sub(a)).unit()
	m.nextSurf()
	m.face(vertex{a, n}, vertex{b, n}, vertex{c, n})
	m.face(vertex{a, n}, vertex{c, n}, vertex{d, n})
}
