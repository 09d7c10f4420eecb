package scenery

// kind chooses how a material is shaded.
type kind uint8

const (
	kindPlain  kind = iota // matt, a little uneven
	kindPaint              // clear-coated when gloss > 0; rusts
	kindSteel              // bare or rusted steel, no coat
	kindMetal              // polished or plated: mirrors its surroundings
	kindRubber             // tyres, seals
	kindWood               // bench tops, boards
	kindGlow               // lamps: shines by itself
	kindDecal              // a picture laid on: gauges, plates, displays
	kindLiner              // sprayed bed liner: black grit
	kindGlass              // drawn last, over what is behind it
	kindLeaf               // trees and grass
	kindPan                // a rusted-through floor pan: holes show what is below
	kindFloor              // the workshop's concrete
	kindWall               // the workshop's painted block wall
	kindDoor               // the roller door's slats
	kindGravel             // the yard
	kindRoad               // dirt road with ruts, grass beside it
	kindBooth              // white booth wall and floor
)

// material is one surface finish.
type material struct {
	kind     kind
	col      vec     // linear reflectance
	gloss    float32 // mirror strength seen head on, 0..1
	rough    float32 // 0 sharp reflections .. 1 none
	rust     float32 // 0 none .. 1 all
	dust     float32 // 0 clean .. 1 covered
	noShadow bool
	twoSided bool // a sheet without thickness, seen from both sides
	decal    *decal
	crack    *crack
}

// decal lays a picture on a surface: u = (p-at)·across, v = (p-at)·down, 0..1.
type decal struct {
	at, across, down vec
	pic              *picture
}

// Colours of rust, from dark scale to fresh bloom, and of the grey below it.
var (
	holeCol   = linear(0x14110f)
	rustDark  = linear(0x3a1d12)
	rustMid   = linear(0x6e3e24)
	rustBloom = linear(0xa2673a)
	oldPrimer = linear(0x6e6258)
	dustCol   = linear(0xa8957a)
)

// texUV projects p along the axis its surface faces, in metres.
func (s *scene) texUV(axis uint8, p vec) (u, v float32) {
	p = p.mul(s.texScale).add(s.offset)
	switch axis {
	case 0:
		return p.y, p.z
	case 1:
		return p.x, p.z
	}
	return p.x, p.y + 0.37
}

// shade is the light a surface sends to the camera through (fx, fy).
func (s *scene) shade(c *canvas, st *screenTri, fx, fy float32) vec {
	p, n, iw := s.surface(st, fx, fy)
	m := &s.mats[st.mat]
	turn := int(s.tiles.grain[(int(fy)&(tileSize-1))*tileSize+int(fx)&(tileSize-1)])
	switch m.kind {
	case kindGlow:
		return m.col
	case kindFloor, kindGravel, kindRoad, kindBooth, kindWall, kindDoor:
		return s.shadeRoom(c, m, st, p, n, iw, fx, fy, turn)
	}
	u, v := s.texUV(st.axis, p)
	col, gloss, rough := m.col, m.gloss, m.rough
	cloud := s.tiles.cloud.at(u*310, v*310)
	switch m.kind {
	case kindPlain, kindRubber:
		col = col.mul(0.82 + 0.36*cloud)
	case kindPaint:
		if m.rust > 0 {
			col, gloss, n = s.rusted(m, u, v, p, n, cloud)
		} else if gloss < 0.02 { // primer: sanded, slightly cloudy
			f := s.tiles.cloud.at(u*90, v*900)
			col = col.mul(0.86 + 0.16*cloud + 0.12*f)
		} else {
			col = col.mul(0.97 + 0.06*cloud)
		}
	case kindSteel:
		col, gloss, n = s.steel(m, u, v, n, cloud)
	case kindMetal:
		rough += 0.1 * (cloud - 0.5)
	case kindWood:
		g := s.tiles.cloud.at(u*60+cloud*12, v*900)
		b := s.tiles.fine.at(u*120, v*500)
		col = col.mul(0.6 + 0.5*g + 0.3*b)
	case kindDecal:
		q := p.sub(m.decal.at)
		col = m.decal.pic.at(q.dot(m.decal.across), q.dot(m.decal.down))
	case kindLiner:
		g := s.tiles.cells.at(u*900, v*900)
		h := s.tiles.cells.at(u*900+4, v*900+3)
		n = n.add(vec{(g - h) * 0.55, (h - g) * 0.45, 0}).unit()
		col = col.mul(0.6 + 0.8*g)
	case kindLeaf:
		g := s.tiles.cells.at(u*420+p.z*90, v*420)
		col = col.mul(0.45 + 1.1*g)
		n = n.add(vec{g - 0.5, cloud - 0.5, 0.3}).unit()
	case kindPan:
		var hole bool
		if col, n, hole = s.pan(m, p, n, u, v, cloud); hole {
			return holeCol.mul(0.5 + cloud)
		}
		gloss = 0.02
	}
	if m.crack != nil {
		col = m.crack.over(s, col, p)
	}
	if m.dust > 0 {
		// Dust lies on what faces up, and is thrown up from below.
		low := step(1.15, 0.55, p.z*s.texScale)
		d := m.dust * step(0.3, 0.85, 0.5*s.tiles.cloud.at(u*110, v*110)+0.3*max(n.z, 0)+0.5*low)
		col = mix(col, dustCol, d)
		gloss *= 1 - d
	}
	// A reflection squeezed into less than a pixel would sparkle: spread it.
	rough = max(rough, min(st.curve*3, 0.8))
	return s.finish(c, p, n, col, gloss, rough, iw, fx, fy, turn, m.kind == kindMetal)
}

// finish adds up light: key light with shadow, sky and floor light dimmed by
// nearby surfaces, and for glossy surfaces a mirror image of the surroundings.
func (s *scene) finish(c *canvas, p, n, col vec, gloss, rough, iw, fx, fy float32, turn int, metal bool) vec {
	open := c.ao.at(fx, fy, iw)
	// Under the truck little light comes from the floor either.
	low := s.lowCol
	if p.z < 1.4 && n.z < 0.5 {
		low = low.mul(0.35 + 0.65*c.ground.at(p.add(vec{n.x, n.y, 0}.mul(0.35))))
	}
	light := mix(low, s.skyCol, n.z*0.5+0.5).mul(open)
	d := n.dot(s.key)
	var lit float32
	if d > 0 {
		lit = s.lit(c, p, n, turn)
		light = light.add(s.keyCol.mul(d * lit * (0.55 + 0.45*open)))
	}
	out := col.tint(light)
	if gloss <= 0.004 {
		return out
	}
	view := s.cam.eye.sub(p).unit()
	nv := clamp(n.dot(view), 0, 1)
	r := n.mul(2 * n.dot(view)).sub(view)
	k := 1 - nv
	k2 := k * k
	f := gloss + (1-gloss)*k2*k2*k*(1-rough)
	mirror := s.surroundings(p, r, rough)
	if hl := r.dot(s.key); hl > 0 && lit > 0 {
		hl *= hl
		hl *= hl
		hl *= hl
		sharp := hl * hl
		sharp *= sharp
		sharp *= sharp
		mirror = mirror.add(s.keyCol.mul(lerp(4*sharp, hl*0.6, min(rough*2, 1)) * lit * (1 - 0.8*rough)))
	}
	mirror = mirror.mul(f * (0.3 + 0.7*open))
	if metal {
		return out.mul(0.06 + 0.3*rough).add(mirror.tint(col))
	}
	return out.mul(1 - f*0.6).add(mirror)
}

// rusted wears a coat of paint: chalky where it holds, primer at the edges of
// patches, brown scale inside them, more of it low down and under run-off.
func (s *scene) rusted(m *material, u, v float32, p, n vec, cloud float32) (vec, float32, vec) {
	fine := s.tiles.fine.at(u*400, v*400)
	big := s.tiles.cloud.at(u*120+40, v*120)
	run := s.tiles.cloud.at(u*700, v*60)
	level := m.rust*1.15 - 0.42 - (cloud*0.34 + big*0.38 + fine*0.14 + run*0.22)
	level += 0.16 * clamp((0.95-p.z)/0.5, -0.6, 1)
	grey := (m.col.x + m.col.y + m.col.z) / 3
	chalk := mix(m.col, vec{grey, grey, grey}.add(vec{0.1, 0.1, 0.09}), 0.28+0.3*big)
	chalk = chalk.mul(0.8 + 0.3*cloud)
	// Run-off stains below the patches.
	chalk = mix(chalk, rustBloom, 0.5*step(0.5, 0.85, run+0.4*(m.rust-0.5)-0.2*n.z))
	level += 0.46
	inside := step(0, 0.035, level)
	rim := step(-0.04, 0.0, level) * (1 - inside)
	scale := mix(rustDark, rustMid, step(0.25, 0.6, fine*0.6+cloud*0.4))
	scale = mix(scale, rustBloom, step(0.5, 0.9, fine*0.45+big*0.55)*0.8)
	col := mix(mix(chalk, oldPrimer, rim*0.85), scale, inside)
	if inside > 0.5 {
		f2 := s.tiles.fine.at(u*400+3, v*400+2)
		n = n.add(vec{fine - f2, f2 - fine, fine - f2}.mul(0.7)).unit()
	}
	return col, m.gloss * (1 - inside) * (0.35 + 0.3*cloud), n
}

// steel is uncoated: blasted grey at rust 0, flash rust between, brown scale at 1.
func (s *scene) steel(m *material, u, v float32, n vec, cloud float32) (vec, float32, vec) {
	fine := s.tiles.fine.at(u*420, v*420)
	big := s.tiles.cloud.at(u*110+90, v*110)
	grey := m.col.mul(0.74 + 0.3*cloud + 0.22*fine)
	scale := mix(rustDark, rustMid, step(0.3, 0.65, fine*0.5+cloud*0.5))
	scale = mix(scale, rustBloom, step(0.45, 0.8, fine*0.45+big*0.55)*0.85)
	t := step(-0.12, 0.12, m.rust*1.3-0.15-(cloud*0.5+big*0.3+fine*0.2))
	if m.rust > 0 {
		f2 := s.tiles.fine.at(u*420+3, v*420+2)
		n = n.add(vec{fine - f2, f2 - fine, fine - f2}.mul(0.5 * t)).unit()
	}
	return mix(grey, scale, t), m.gloss * (1 - t), n
}

// surroundings is what a mirror at p would show in direction r.
func (s *scene) surroundings(p, r vec, rough float32) vec {
	soft := 0.05 + rough*0.6
	switch s.setting {
	case booth:
		// Light strips along the ceiling's edges, white all round, a pale floor.
		if r.z < 0 {
			return vec{0.42, 0.42, 0.43}.mul(0.6 + 0.4*step(-1, 0, r.z))
		}
		t := (roomZ - p.z) / (r.z + 0.02)
		hy := abs(p.y + r.y*t)
		strip := step(1.1-soft, 1.1+soft, hy) * (1 - step(2.3-soft, 2.3+soft, hy))
		base := lerp(0.55, 0.8, step(0, 0.5, r.z))
		return vec{base, base, base * 1.02}.add(vec{2.6, 2.65, 2.7}.mul(strip * step(0.05, 0.3, r.z)))
	case yard, road:
		h := step(-0.03-soft*0.5, 0.05+soft*0.5, r.z-0.06)
		ground := vec{0.2, 0.17, 0.12}
		if s.setting == yard {
			ground = vec{0.24, 0.23, 0.21}
		}
		trees := step(0.16+soft, 0.04, r.z) * 0.55
		sky := mix(vec{0.95, 0.98, 1.02}, vec{0.34, 0.52, 0.85}, step(0.02, 0.75, r.z))
		return mix(ground, sky.mul(1-trees), h)
	}
	// The workshop: find the wall, ceiling or floor the ray meets.
	if r.z < -0.001 {
		t := -p.z / r.z
		h := p.add(r.mul(t))
		near := step(0, 1.6, max(abs(h.x)-1.7, abs(h.y)-0.7))
		return vec{0.26, 0.255, 0.245}.mul(0.15 + 0.85*near)
	}
	tx, ty, tz := float32(1e9), float32(1e9), (roomZ-p.z)/(r.z+0.001)
	if r.x > 0.001 {
		tx = (roomX - p.x) / r.x
	} else if r.x < -0.001 {
		tx = (-roomX - p.x) / r.x
	}
	if r.y > 0.001 {
		ty = (roomY - p.y) / r.y
	} else if r.y < -0.001 {
		ty = (-roomY - p.y) / r.y
	}
	if tz < tx && tz < ty {
		hx, hy := p.x+r.x*tz, p.y+r.y*tz
		d := abs(hy - 3.4*float32(floor32(hy/3.4+0.5)))
		tube := 1 - step(0.16-soft*0.3, 0.2+soft, d)
		gap := abs(hx - 2.6*float32(floor32(hx/2.6+0.5)))
		tube *= step(0.1, 0.25+soft, gap) / (1 + 1.5*rough)
		return vec{0.24, 0.24, 0.25}.add(vec{4.2, 4.3, 4.4}.mul(tube))
	}
	t := min(tx, ty)
	hz := p.z + r.z*t
	along := p.x + r.x*t
	if tx < ty {
		along = p.y + r.y*t
	}
	window := step(1.9-soft, 2.05+soft, hz) * (1 - step(3.3-soft, 3.45+soft, hz))
	pane := abs(along - 1.9*float32(floor32(along/1.9+0.5)))
	window *= step(0.12-soft*0.1, 0.2+soft*0.5, pane)
	base := lerp(0.07, 0.34, step(0.9-soft, 1.3+soft, hz))
	return vec{base, base, base * 0.98}.add(vec{1.9, 2.1, 2.35}.mul(window))
}
