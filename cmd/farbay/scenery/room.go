package scenery

var (
	concrete   = linear(0x8e8b82)
	wallUpper  = linear(0xd2d0c6)
	wallLower  = linear(0x5f7468)
	gravelCol  = linear(0xa39a8c)
	dirtCol    = linear(0xa98a63)
	grassCol   = linear(0x73803f)
	strawCol   = linear(0xa79a5c)
	boothWhite = linear(0xe9e9e6)
	wallStripe = linear(0x2c332f)
	slatCol    = linear(0xb9bfc0)
	wheelTrack = linear(0x7c7263)
)

// shadeRoom shades floors, walls and the ground outdoors.
func (s *scene) shadeRoom(c *canvas, m *material, st *screenTri, p, n vec, iw, fx, fy float32, turn int) vec {
	var col vec
	gloss, rough := float32(0), float32(0.6)
	t := s.tiles
	switch m.kind {
	case kindFloor:
		big := t.cloud.at(p.x*46+s.offset.x*40, p.y*46+s.offset.y*40)
		fine := t.fine.at(p.x*260, p.y*260)
		col = concrete.mul(0.7 + 0.42*big + 0.14*fine)
		// Old oil, and the saw cuts between slabs.
		oil := step(0.66, 0.82, t.cloud.at(p.x*70+200, p.y*70+s.offset.x*70))
		col = mix(col, vec{0.05, 0.045, 0.04}, oil*0.45)
		jx, jy := p.x+1.1, p.y+0.4
		gap := min(abs(jx-3.6*float32(floor32(jx/3.6+0.5))), abs(jy-3.2*float32(floor32(jy/3.2+0.5))))
		thin := 0.0016 / iw // a cut narrower than a pixel darkens the whole pixel a little
		col = col.mul(1 - 0.55*(1-step(0.003, 0.01+thin, gap))*0.012/(0.012+thin))
		gloss, rough = 0.05+0.05*big+0.1*oil, 0.28
	case kindBooth:
		col = boothWhite
		if st.axis == 2 && p.z < 0.1 {
			// Grating over the exhaust pit, and years of overspray.
			big := t.cloud.at(p.x*60, p.y*60)
			col = col.mul(0.5 + 0.2*big)
			if abs(p.y) < 0.55 {
				bar := abs(p.x*22 - float32(floor32(p.x*22+0.5)))
				col = col.mul(0.35 + 0.65*step(0.2, 0.3, bar))
			}
			gloss, rough = 0.05, 0.4
		} else {
			along := p.x
			if st.axis == 0 {
				along = p.y
			}
			seam := abs(along - 1.1*float32(floor32(along/1.1+0.5)))
			col = col.mul(0.8 + 0.2*step(0.006, 0.02, seam))
			if p.z > 1.9 && p.z < 2.9 && seam > 0.14 && st.axis != 2 {
				return vec{1.9, 1.95, 2.0} // light boxes behind glass
			}
		}
	case kindWall:
		along := p.x
		if st.axis == 0 {
			along = p.y
		}
		big := t.cloud.at(along*40+p.y*9, p.z*40)
		row := float32(floor32(p.z / 0.2))
		bz := abs(p.z/0.2 - row - 0.5)
		ba := along/0.4 + 0.5*float32(int32(row)&1)
		bx := abs(ba - float32(floor32(ba)) - 0.5)
		joint := step(0.44, 0.49, max(bz, bx*1.02))
		col = wallUpper
		if p.z < 1.25 {
			col = wallLower
		} else if p.z < 1.29 {
			col = wallStripe
		}
		col = col.mul((0.84 + 0.26*big) * (1 - 0.16*joint))
		col = col.mul(0.72 + 0.28*step(0, 0.5, p.z)) // splashes along the floor
	case kindDoor:
		f := p.z/0.12 - float32(floor32(p.z/0.12))
		n = n.add(vec{0, 0, (f - 0.5) * 1.1}).unit()
		big := t.cloud.at(p.x*50, p.z*50)
		col = slatCol.mul(0.78 + 0.3*big).mul(0.6 + 0.4*step(0.02, 0.12, f))
	case kindGravel:
		big := t.cloud.at(p.x*40, p.y*40)
		st1 := t.cells.at(p.x*330, p.y*330)
		st2 := t.cells.at(p.x*330+5, p.y*330+4)
		far := clamp(iw*6, 0, 1)
		n = n.add(vec{(st1 - st2) * far, (st2 - st1) * far, 0}).unit()
		col = gravelCol.mul(0.55 + 0.3*big + 0.5*st1*far + 0.25*(1-far))
		track := step(0.5, 0.2, abs(abs(p.y)-0.75))
		col = mix(col, wheelTrack, 0.4*track*big)
	case kindRoad:
		col, n = s.dirtRoad(p, n, iw)
	}
	return s.finishRoom(c, p, n, col, gloss, rough, iw, fx, fy, turn, st.axis == 2 && p.z < 0.2)
}

func (s *scene) finishRoom(c *canvas, p, n, col vec, gloss, rough, iw, fx, fy float32, turn int, floor bool) vec {
	open := c.ao.at(fx, fy, iw)
	if floor {
		open = lerp(1, open, 0.6) * c.ground.at(p)
	}
	light := mix(s.lowCol, s.skyCol, n.z*0.5+0.5).mul(open)
	d := n.dot(s.key)
	if d > 0 {
		lit := (s.lit(c, p, n, turn) + s.lit(c, p, n, turn+1)) / 2
		light = light.add(s.keyCol.mul(d * lit * (0.4 + 0.6*open)))
	}
	if s.setting == workshop {
		// Daylight from the windows fades across the room.
		light = light.mul(0.72 + 0.28*step(9, 2, sqrt(p.x*p.x+p.y*p.y)))
	}
	out := col.tint(light)
	if gloss <= 0.004 {
		return out
	}
	view := s.cam.eye.sub(p).unit()
	nv := clamp(n.dot(view), 0, 1)
	k := 1 - nv
	f := gloss + (0.42-gloss)*k*k*k*k
	r := n.mul(2 * n.dot(view)).sub(view)
	return out.mul(1 - 0.5*f).add(s.surroundings(p, r, rough).mul(f * open))
}

// dirtRoad is a track along x: two ruts, a crown of grass, meadow at the sides.
func (s *scene) dirtRoad(p, n vec, iw float32) (vec, vec) {
	t := s.tiles
	big := t.cloud.at(p.x*22+s.offset.x*50, p.y*22)
	mid := t.cloud.at(p.x*120, p.y*120)
	fine := t.fine.at(p.x*300, p.y*300)
	far := clamp(iw*7, 0, 1)
	dirt := dirtCol.mul(0.62 + 0.34*mid + 0.2*fine)
	edge := abs(p.y) + (big-0.5)*1.1 + (mid-0.5)*0.5
	rut := step(0.4, 0.08, abs(abs(p.y)-0.74+(big-0.5)*0.12))
	dirt = dirt.mul(1 - 0.22*rut)
	grass := mix(grassCol, strawCol, clamp(big*1.6-0.4+0.4*fine, 0, 1)).mul(0.5 + 0.55*mid + 0.35*fine)
	g := step(1.45, 1.75, edge)
	crown := step(0.34, 0.1, abs(p.y)+(mid-0.5)*0.5) * step(0.45, 0.62, mid) * 0.7
	f2 := t.fine.at(p.x*300+3, p.y*300+2)
	n = n.add(vec{(fine - f2) * far, (f2 - fine) * far, 0}.mul(0.5)).unit()
	return mix(dirt, grass, max(g, crown)), n
}

// sky is what lies behind everything, in direction r (not unit length).
func (s *scene) sky(r vec) vec {
	r = r.unit()
	switch s.setting {
	case workshop:
		return vec{0.2, 0.2, 0.2}
	case booth:
		return vec{0.8, 0.8, 0.8}
	}
	top := mix(vec{0.86, 0.92, 1.0}, vec{0.26, 0.46, 0.82}, step(-0.02, 0.55, r.z))
	// Clouds on a plane above.
	if r.z > 0.01 {
		k := 1 / (r.z + 0.12)
		cl := s.tiles.cloud.at(r.x*k*46+s.offset.x*90, r.y*k*46+s.offset.y*90)
		top = mix(top, vec{1.15, 1.13, 1.1}, step(0.5, 0.78, cl)*step(0.02, 0.2, r.z)*0.85)
	}
	// Three ridges, each paler than the one before it.
	az := atan(r.y, r.x) * 81.4873
	ridges := [3]struct {
		h, rise, freq float32
		col           vec
	}{
		{0.075, 0.11, 0.35, vec{0.36, 0.44, 0.52}},
		{0.035, 0.1, 0.8, vec{0.2, 0.27, 0.23}},
		{0.0, 0.085, 2.2, vec{0.075, 0.11, 0.05}},
	}
	for i, g := range ridges {
		k := float32(i) * 77
		h := g.h + (s.tiles.cloud.at(az*g.freq+k+s.offset.x*60, 31+k)-0.35)*g.rise
		if i == 2 {
			h += (s.tiles.fine.at(az*4, 9) - 0.5) * 0.03
		}
		e := step(h+0.002, h-0.002, r.z)
		shadeK := 0.8 + 0.5*s.tiles.cloud.at(az*g.freq*2, r.z*500+k)
		top = mix(top, g.col.mul(shadeK), e)
	}
	return top
}
