package scenery

import "sort"

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

// lathe turns a profile (u = radius, v = height along z) about the z axis. The
// outside is to the right of the way from its first point to its last, so a
// solid's profile runs from its foot outwards, up, and back in to the axis.
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
