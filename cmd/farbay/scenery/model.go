package scenery

import (
	"sort"
	"sync"
)

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
	return &model{xf: identity, outer: identity, tris: triangles.Get().([]tri)[:0]}
}

// triangles keeps models' memory from one photo to the next.
var triangles = sync.Pool{New: func() any { return make([]tri, 0, 1<<16) }}

// release gives the model's memory back; the model is no longer usable.
func (m *model) release() {
	triangles.Put(m.tris[:0]) //nolint:staticcheck // a slice header is small beside what it keeps
	m.tris = nil
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

// plane says which way a profile's (u, v) and depth d lie in space.
type plane int

const (
	planeXZ plane = iota // u = x, v = z, depth along y
	planeXY              // u = x, v = y, depth along z
	planeYZ              // u = y, v = z, depth along x
)

func (p plane) at(u, v, d float32) vec {
	switch p {
	case planeXY:
		return vec{u, v, d}
	case planeYZ:
		return vec{d, u, v}
	}
	return vec{u, d, v}
}

// box is a bevelled block between two corners.
func (m *model) box(x0, y0, z0, x1, y1, z1, bevel float32) {
	m.prism(planeXY, []pt{{x0, y0}, {x1, y0}, {x1, y1}, {x0, y1}}, z0, z1, bevel)
}

// prism extrudes a simple polygon from depth d0 to d1. Its caps' edges are
// rounded off by bevel metres (shading makes the chamfer look round).
func (m *model) prism(pl plane, profile []pt, d0, d1, bevel float32) {
	if d1 < d0 {
		d0, d1 = d1, d0
	}
	if bevel > (d1-d0)/2 {
		bevel = (d1 - d0) / 2
	}
	poly := profile
	if area(poly) < 0 {
		poly = make([]pt, len(profile))
		for i, q := range profile {
			poly[len(profile)-1-i] = q
		}
	}
	n := len(poly)
	edge := make([]pt, n) // outward normal of edge i -> i+1
	for i := range poly {
		a, b := poly[i], poly[(i+1)%n]
		l := sqrt((b.u-a.u)*(b.u-a.u) + (b.v-a.v)*(b.v-a.v))
		if l == 0 {
			l = 1
		}
		edge[i] = pt{(b.v - a.v) / l, -(b.u - a.u) / l}
	}
	inner := poly
	if bevel > 0 {
		inner = make([]pt, n)
		for i := range poly {
			p, q := edge[(i+n-1)%n], edge[i]
			k := 1 + p.u*q.u + p.v*q.v
			if k < 0.4 {
				k = 0.4
			}
			inner[i] = pt{poly[i].u - (p.u+q.u)/k*bevel, poly[i].v - (p.v+q.v)/k*bevel}
		}
	}
	capN := func(s float32) vec { return pl.at(0, 0, s) }
	dir := func(e pt) vec { return pl.at(e.u, e.v, 0) }
	ears := earclip(inner)
	for _, end := range [2]struct{ d, s float32 }{{d0, -1}, {d1, 1}} {
		m.nextSurf()
		nv := capN(end.s)
		for _, t := range ears {
			m.face(
				vertex{pl.at(inner[t[0]].u, inner[t[0]].v, end.d), nv},
				vertex{pl.at(inner[t[1]].u, inner[t[1]].v, end.d), nv},
				vertex{pl.at(inner[t[2]].u, inner[t[2]].v, end.d), nv})
		}
	}
	m.nextSurf()
	for i := range poly {
		j := (i + 1) % n
		ni, nj := dir(edge[i]), dir(edge[i])
		if p := edge[(i+n-1)%n]; p.u*edge[i].u+p.v*edge[i].v > 0.8 {
			ni = dir(pt{p.u + edge[i].u, p.v + edge[i].v}).unit()
		} else {
			m.nextSurf()
		}
		if q := edge[j]; q.u*edge[i].u+q.v*edge[i].v > 0.8 {
			nj = dir(pt{q.u + edge[i].u, q.v + edge[i].v}).unit()
		}
		a, b := poly[i], poly[j]
		lo, hi := d0+bevel, d1-bevel
		if hi > lo {
			m.strip(vertex{pl.at(a.u, a.v, lo), ni}, vertex{pl.at(b.u, b.v, lo), nj},
				vertex{pl.at(b.u, b.v, hi), nj}, vertex{pl.at(a.u, a.v, hi), ni})
		}
		if bevel > 0 {
			c, d := inner[i], inner[j]
			m.strip(vertex{pl.at(a.u, a.v, hi), ni}, vertex{pl.at(b.u, b.v, hi), nj},
				vertex{pl.at(d.u, d.v, d1), capN(1)}, vertex{pl.at(c.u, c.v, d1), capN(1)})
			m.strip(vertex{pl.at(a.u, a.v, lo), ni}, vertex{pl.at(b.u, b.v, lo), nj},
				vertex{pl.at(d.u, d.v, d0), capN(-1)}, vertex{pl.at(c.u, c.v, d0), capN(-1)})
		}
	}
}

func (m *model) strip(a, b, c, d vertex) {
	m.face(a, b, c)
	m.face(a, c, d)
}

// lathe turns a profile (u = radius, v = height along z) about the z axis.
// Neighbouring profile pieces that meet at less than about 45° are smoothed.
func (m *model) lathe(profile []pt, segments int) {
	n := len(profile) - 1
	norm := make([]pt, n)
	for i := range norm {
		du, dv := profile[i+1].u-profile[i].u, profile[i+1].v-profile[i].v
		l := sqrt(du*du + dv*dv)
		if l == 0 {
			l = 1
		}
		norm[i] = pt{dv / l, -du / l}
	}
	ring := make([]pt, segments+1)
	for k := range ring {
		a := float32(k) / float32(segments) * 2 * pi
		ring[k] = pt{cos(a), sin(a)}
	}
	at := func(p pt, r pt) vec { return vec{p.u * r.u, p.u * r.v, p.v} }
	for i := 0; i < n; i++ {
		n0, n1 := norm[i], norm[i]
		if i > 0 && norm[i-1].u*norm[i].u+norm[i-1].v*norm[i].v > 0.7 {
			n0 = pt{norm[i-1].u + norm[i].u, norm[i-1].v + norm[i].v}
		} else {
			m.nextSurf()
		}
		if i+1 < n && norm[i+1].u*norm[i].u+norm[i+1].v*norm[i].v > 0.7 {
			n1 = pt{norm[i+1].u + norm[i].u, norm[i+1].v + norm[i].v}
		}
		for k := 0; k < segments; k++ {
			r, s := ring[k], ring[k+1]
			m.strip(
				vertex{at(profile[i], r), at(n0, r).unit()}, vertex{at(profile[i], s), at(n0, s).unit()},
				vertex{at(profile[i+1], s), at(n1, s).unit()}, vertex{at(profile[i+1], r), at(n1, r).unit()})
		}
	}
}

// rod is a closed cylinder of radius r from a to b, with slightly rounded rims.
func (m *model) rod(a, b vec, r float32, segments int) {
	l := b.sub(a).length()
	m.at(along(a, b), func() {
		e := r * 0.15
		m.lathe([]pt{{0, 0}, {r - e, 0}, {r, e}, {r, l - e}, {r - e, l}, {0, l}}, segments)
	})
}

// along places the z axis on the line from a towards b.
func along(a, b vec) affine {
	z := b.sub(a).unit()
	x := vec{0, 0, 1}
	if abs(z.z) > 0.9 {
		x = vec{1, 0, 0}
	}
	y := z.cross(x).unit()
	x = y.cross(z)
	return affine{x, y, z, a}
}

// tube sweeps a round section of radius r along a path.
func (m *model) tube(path []vec, r float32, segments int, closed bool) {
	n := len(path)
	if n < 2 {
		return
	}
	m.nextSurf()
	side := vec{}
	rings := make([][]vertex, n)
	for i, p := range path {
		var d vec
		switch {
		case closed:
			d = path[(i+1)%n].sub(path[(i+n-1)%n])
		case i == 0:
			d = path[1].sub(p)
		case i == n-1:
			d = p.sub(path[i-1])
		default:
			d = path[i+1].sub(path[i-1])
		}
		d = d.unit()
		if i == 0 {
			side = vec{0, 0, 1}
			if abs(d.z) > 0.9 {
				side = vec{1, 0, 0}
			}
		}
		side = side.sub(d.mul(side.dot(d))).unit()
		up := d.cross(side)
		ring := make([]vertex, segments)
		for k := range ring {
			a := float32(k) / float32(segments) * 2 * pi
			o := side.mul(cos(a)).add(up.mul(sin(a)))
			ring[k] = vertex{p.add(o.mul(r)), o}
		}
		rings[i] = ring
	}
	last := n - 1
	if closed {
		last = n
	}
	for i := 0; i < last; i++ {
		a, b := rings[i], rings[(i+1)%n]
		for k := range a {
			j := (k + 1) % segments
			m.strip(a[k], a[j], b[j], b[k])
		}
	}
}

const pi = 3.14159265

// arc lists points of a circle about (u, v) from angle a0 to a1 (radians).
func arc(u, v, r, a0, a1 float32, steps int) []pt {
	out := make([]pt, steps+1)
	for i := range out {
		a := a0 + (a1-a0)*float32(i)/float32(steps)
		out[i] = pt{u + r*cos(a), v + r*sin(a)}
	}
	return out
}

// rounded is a rectangle with corners of radius r.
func rounded(u0, v0, u1, v1, r float32) []pt {
	const k = 5
	out := arc(u1-r, v1-r, r, 0, pi/2, k)
	out = append(out, arc(u0+r, v1-r, r, pi/2, pi, k)...)
	out = append(out, arc(u0+r, v0+r, r, pi, 1.5*pi, k)...)
	return append(out, arc(u1-r, v0+r, r, 1.5*pi, 2*pi, k)...)
}

func area(p []pt) float32 {
	var s float32
	for i := range p {
		q := p[(i+1)%len(p)]
		s += p[i].u*q.v - q.u*p[i].v
	}
	return s / 2
}

// earclip triangulates a simple counterclockwise polygon.
func earclip(p []pt) [][3]int {
	idx := make([]int, len(p))
	for i := range idx {
		idx[i] = i
	}
	cross := func(a, b, c pt) float32 { return (b.u-a.u)*(c.v-a.v) - (b.v-a.v)*(c.u-a.u) }
	var out [][3]int
	for len(idx) > 3 {
		type cand struct {
			at int
			q  float32
		}
		var ears []cand
		for i := range idx {
			a, b, c := p[idx[(i+len(idx)-1)%len(idx)]], p[idx[i]], p[idx[(i+1)%len(idx)]]
			q := cross(a, b, c)
			if q <= 0 {
				continue
			}
			free := true
			for _, k := range idx {
				r := p[k]
				if r == a || r == b || r == c {
					continue
				}
				if cross(a, b, r) >= 0 && cross(b, c, r) >= 0 && cross(c, a, r) >= 0 {
					free = false
					break
				}
			}
			if free {
				ears = append(ears, cand{i, q})
				break
			}
		}
		i := 0 // a degenerate rest is closed from its first corner
		if len(ears) > 0 {
			i = ears[0].at
		}
		n := len(idx)
		out = append(out, [3]int{idx[(i+n-1)%n], idx[i], idx[(i+1)%n]})
		idx = append(idx[:i], idx[i+1:]...)
	}
	return append(out, [3]int{idx[0], idx[1], idx[2]})
}

// grid lists n+1 evenly spaced values from a to b, for a bend's cuts.
func grid(a, b float32, n int) []float32 {
	out := make([]float32, n+1)
	for i := range out {
		out[i] = a + (b-a)*float32(i)/float32(n)
	}
	sort.Slice(out, func(i, j int) bool { return out[i] < out[j] })
	return out
}
