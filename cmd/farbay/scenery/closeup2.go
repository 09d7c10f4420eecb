package scenery

// paintMixing is a cup on a scale, filled by weight with the truck's colour.
func (s *scene) paintMixing(shot Shot, d *dice) error {
	m := s.model
	paint := linearOf(shot.Truck.Topcoat)
	wet := m.use(material{kind: kindPaint, col: paint, gloss: 0.07, rough: 0.03})
	cup := m.use(material{kind: kindPlain, col: linear(0xe8e2d2), gloss: 0.02, rough: 0.6, twoSided: true})
	wood := m.use(material{kind: kindWood, col: linear(0xcfae7c)})
	tin := m.use(material{kind: kindMetal, col: linear(0xc9cccd), gloss: 0.6, rough: 0.25})
	// The scale.
	m.use(material{kind: kindPaint, col: linear(0xd9dad5), gloss: 0.05, rough: 0.3})
	m.prism(planeYZ, []pt{{-0.15, benchTop}, {0.13, benchTop}, {0.13, benchTop + 0.05}, {-0.06, benchTop + 0.05}, {-0.15, benchTop + 0.022}}, -0.11, 0.11, 0.006)
	m.mat = tin
	m.box(-0.095, -0.05, benchTop+0.05, 0.095, 0.12, benchTop+0.058, 0.003)
	grams := 180 + float64(int(d.unit()*2400))/10
	lcd, err := display(grams)
	if err != nil {
		return err
	}
	m.at(move(0, -0.105, benchTop+0.0375).then(turnX(0.302)), func() {
		m.use(material{kind: kindPlain, col: linear(0x2b2f30)})
		m.box(-0.062, -0.03, 0, 0.062, 0.03, 0.0025, 0.001)
		m.use(material{kind: kindDecal, decal: &decal{m.xf.point(vec{-0.054, 0.018, 0}), m.xf.dir(vec{1 / 0.108, 0, 0}), m.xf.dir(vec{0, -1 / 0.036, 0}), lcd}})
		m.box(-0.054, -0.018, 0, 0.054, 0.018, 0.0032, 0)
	})
	// The cup, its paint, a drip over the rim, a stir stick.
	z := float32(benchTop + 0.058)
	level := d.between(0.085, 0.108)
	m.at(move(0, 0.035, z), func() {
		m.mat = cup
		m.lathe([]pt{{0, 0.001}, {0.036, 0.001}, {0.05, 0.125}}, 36)
		m.lathe([]pt{{0.05, 0.125}, {0.0525, 0.128}, {0.05, 0.131}, {0.048, 0.128}}, 36)
		m.mat = wet
		r := 0.036 + 0.014*level/0.125 - 0.0006
		m.lathe([]pt{{r, level + 0.002}, {r * 0.9, level}, {0, level + 0.0005}}, 36)
		// What has run down the outside.
		for i := range 3 {
			a := -pi/2 + 0.5*float32(i-1) + d.between(-0.1, 0.1)
			l := d.between(0.03, 0.09)
			var path []vec
			for k := range 8 {
				h := 0.13 - l*float32(k)/7
				rr := 0.036 + 0.014*h/0.125 + 0.001
				path = append(path, vec{rr * cos(a), rr * sin(a), h})
			}
			m.tube(path, 0.0035, 8, false)
			end := path[len(path)-1]
			m.at(move(end.x, end.y, end.z), func() { ball(m, 0.0046) })
		}
		m.mat = wood
		m.at(along(vec{-0.02, 0.0, 0.02}, vec{0.062, 0.03, 0.2}), func() { m.box(-0.009, -0.0015, 0, 0.009, 0.0015, 0.24, 0.0008) })
	})
	// Tins, one with its lid off and paint in it; a tray of drips; a rag.
	for i, t := range []struct{ x, y, r, h float32 }{{-0.26, 0.2, 0.085, 0.19}, {0.27, 0.24, 0.085, 0.19}, {0.15, 0.42, 0.055, 0.13}, {-0.08, 0.44, 0.085, 0.19}} {
		m.at(move(t.x, t.y, benchTop), func() {
			m.mat = tin
			m.lathe([]pt{{0, 0}, {t.r, 0}, {t.r + 0.002, 0.004}, {t.r, 0.008}, {t.r, t.h - 0.01}, {t.r + 0.003, t.h - 0.005}, {t.r, t.h}, {t.r - 0.012, t.h - 0.003}, {t.r - 0.014, t.h - 0.012}, {0, t.h - 0.012}}, 36)
			label := []vec{paint, linear(0x3d4347), linear(0xd8cfb8), linearOf(shot.Truck.Accent)}[i]
			m.use(material{kind: kindPaint, col: label, gloss: 0.04, rough: 0.3})
			m.lathe([]pt{{t.r + 0.001, t.h * 0.2}, {t.r + 0.001, t.h * 0.75}}, 36)
			if i == 0 {
				m.mat = wet
				m.lathe([]pt{{t.r - 0.013, t.h - 0.011}, {0, t.h - 0.011}}, 30)
			}
		})
	}
	m.mat = tin
	m.at(move(-0.2, -0.12, benchTop), func() {
		m.lathe([]pt{{0.085, 0.003}, {0.083, 0.008}, {0.076, 0.008}, {0.074, 0.002}, {0, 0.002}}, 36)
		m.mat = wet
		m.lathe([]pt{{0.055, 0.0025}, {0.05, 0.0035}, {0, 0.0035}}, 24)
	})
	return nil
}

// gauges is the dashboard's instrument panel with the data plate below it.
func (s *scene) gauges(t Truck) error {
	m := s.model
	s.room(kindFloor, kindWall)
	s.use(material{kind: kindPaint, col: linearOf(t.Topcoat), gloss: 0.05, rough: 0.2, rust: 0.18, dust: 0.25})
	m.prism(planeXZ, rounded(-0.6, 1.0, 0.6, 1.34, 0.03), 0, 0.06, 0.02)
	m.box(-0.7, -0.08, 1.34, 0.7, 0.3, 1.36, 0.01)
	bezel := m.use(material{kind: kindMetal, col: linear(0xd8d6cf), gloss: 0.65, rough: 0.12})
	black := m.use(material{kind: kindPlain, col: linear(0x17191a), gloss: 0.03, rough: 0.5})
	glass := m.use(material{kind: kindGlass, col: vec{0.94, 0.95, 0.93}, dust: 0.12})
	main, err := dial(t.Miles)
	if err != nil {
		return err
	}
	fuel, err := smallDial("FUEL", "E", "F", 0.2)
	if err != nil {
		return err
	}
	temp, err := smallDial("TEMP", "C", "H", 0.06)
	if err != nil {
		return err
	}
	gauge := func(x, z, r float32, p *picture) {
		m.use(material{kind: kindDecal, decal: &decal{vec{x - r, 0, z + r}, vec{1 / (2 * r), 0, 0}, vec{0, 0, -1 / (2 * r)}, p}})
		m.at(move(x, 0, z).then(turnX(pi/2)), func() { m.lathe([]pt{{r, 0.002}, {0, 0.002}}, 48) })
		m.mat = bezel
		m.at(move(x, 0, z).then(turnX(pi/2)), func() {
			m.lathe([]pt{{r * 1.13, 0}, {r * 1.12, 0.006}, {r * 1.06, 0.011}, {r * 0.99, 0.009}, {r * 0.97, 0.002}}, 48)
		})
		m.mat = glass
		m.at(move(x, -0.006, z), func() {
			o := arc(0, 0, r*0.98, 0, 2*pi, 24)
			m.nextSurf()
			n := vec{0, -1, 0}
			for i := range 24 {
				m.face(vertex{vec{}, n}, vertex{vec{o[i].u, 0, o[i].v}, n}, vertex{vec{o[i+1].u, 0, o[i+1].v}, n})
			}
		})
	}
	gauge(-0.02, 1.225, 0.066, main)
	gauge(-0.155, 1.25, 0.036, fuel)
	gauge(0.115, 1.25, 0.036, temp)
	// Knobs and their shafts.
	for i := range 4 {
		x := 0.2 + 0.055*float32(i)
		m.mat = black
		m.at(move(x, 0, 1.25).then(turnX(pi/2)), func() {
			m.lathe([]pt{{0.007, 0}, {0.007, 0.02}, {0.014, 0.022}, {0.016, 0.03}, {0.014, 0.04}, {0, 0.042}}, 20)
		})
	}
	plate, err := dataPlate(t)
	if err != nil {
		return err
	}
	const px, pz, pw, ph = -0.01, 1.095, 0.15, 0.07
	m.use(material{kind: kindDecal, decal: &decal{vec{px - pw/2, 0, pz + ph/2}, vec{1 / float32(pw), 0, 0}, vec{0, 0, -1 / float32(ph)}, plate}})
	m.prism(planeXZ, rounded(px-pw/2, pz-ph/2, px+pw/2, pz+ph/2, 0.004), -0.0025, 0, 0)
	m.mat = bezel
	for _, dx := range []float32{-1, 1} {
		for _, dz := range []float32{-1, 1} {
			m.at(move(px+dx*(pw/2-0.006), -0.0025, pz+dz*(ph/2-0.006)), func() { ball(m, 0.0026) })
		}
	}
	return nil
}

// crack runs through a part; somebody has ringed it with chalk.
type crack struct {
	path   []vec
	centre vec
	ring   float32 // the chalk ring's radius
}

var chalkCol = linear(0xe9e4d2)

// over draws crack, rust and chalk over a surface's own colour.
func (c *crack) over(s *scene, col, p vec) vec {
	best := float32(1)
	for i := 0; i+1 < len(c.path); i++ {
		a, b := c.path[i], c.path[i+1]
		d := b.sub(a)
		t := clamp(p.sub(a).dot(d)/d.dot(d), 0, 1)
		if q := p.sub(a.add(d.mul(t))); q.dot(q) < best {
			best = q.dot(q)
		}
	}
	r := sqrt(best)
	if r < 0.02 {
		n := s.tiles.cloud.at(p.x*2600, p.z*2600)
		col = mix(col, rustMid, step(0.016, 0.002, r+(n-0.5)*0.012)*0.75)
		col = col.mul(1 - 0.97*step(0.0018, 0.0007, r+(n-0.5)*0.0008))
	}
	ring := abs(p.sub(c.centre).length() - c.ring + (s.tiles.cloud.at(p.x*300+9, p.z*300)-0.5)*0.012)
	if ring < 0.006 {
		grit := s.tiles.fine.at(p.x*4000, p.z*4000)
		col = mix(col, chalkCol, step(0.006, 0.003, ring)*step(0.15, 0.5, grit)*0.95)
	}
	return col
}

// crackedBracket is a spring hanger on its frame rail, blasted clean, with
// the crack that blasting brought to light.
func (s *scene) crackedBracket(d *dice) {
	m := s.model
	s.room(kindFloor, kindWall)
	fit := dice{seed: 3}
	s.shopFittings(-pi/2, &fit)
	cr := &crack{centre: vec{-0.028, -0.05, 0.575}, ring: 0.075}
	x, z := float32(-0.075), float32(0.60)
	for range 9 {
		cr.path = append(cr.path, vec{x, -0.05, z})
		x += d.between(0.007, 0.013)
		z += d.between(-0.013, 0.004)
	}
	steel := material{kind: kindSteel, col: linear(0x96948e), gloss: 0.06, rough: 0.6, rust: 0.25, crack: cr}
	m.use(steel)
	m.box(-1.2, -0.03, 0.64, 1.2, 0.05, 0.79, 0.008)
	// Hanger plates, welded on, with gussets and the spring's pin.
	for _, y := range []float32{-0.05, 0.04} {
		p := []pt{{-0.15, 0.74}, {-0.15, 0.66}, {-0.06, 0.5}}
		p = append(p, arc(0, 0.49, 0.06, pi, 2*pi, 10)...)
		p = append(p, pt{0.06, 0.5}, pt{0.15, 0.66}, pt{0.15, 0.74})
		m.prism(planeXZ, p, y, y+0.012, 0.003)
	}
	m.use(material{kind: kindSteel, col: linear(0x7f7b74), gloss: 0.08, rough: 0.5, rust: 0.4})
	bead := func(a, b vec) {
		n := 40
		for i := range n {
			p := mix(a, b, float32(i)/float32(n-1))
			m.at(move(p.x, p.y, p.z+d.between(-0.001, 0.001)), func() { ball(m, 0.0052) })
		}
	}
	bead(vec{-0.15, -0.036, 0.742}, vec{0.15, -0.036, 0.742})
	bead(vec{-0.153, -0.034, 0.742}, vec{-0.153, -0.034, 0.66})
	bead(vec{0.153, -0.034, 0.742}, vec{0.153, -0.034, 0.66})
	bolt := m.use(material{kind: kindSteel, col: linear(0x8a877f), gloss: 0.15, rough: 0.4, rust: 0.3})
	m.at(move(0, -0.05, 0.49).then(turnX(pi/2)), func() {
		m.rod(vec{0, 0, -0.13}, vec{0, 0, 0.004}, 0.017, 18)
		s.annulus(0.012, 0.03, 0.005)
		m.prism(planeXY, hexagon(0.046), 0.005, 0.024, 0.003)
		m.rod(vec{0, 0, 0.02}, vec{0, 0, 0.036}, 0.012, 14)
	})
	m.mat = bolt
	for _, q := range []pt{{-0.1, 0.7}, {0.1, 0.7}} {
		m.at(move(q.u, -0.05, q.v).then(turnX(pi/2)), func() {
			s.annulus(0.008, 0.02, 0.003)
			m.prism(planeXY, hexagon(0.031), 0.003, 0.016, 0.002)
		})
	}
	// The spring's eye and its leaves, out of the way behind.
	m.use(material{kind: kindSteel, col: linear(0x5a564f), rust: 0.7})
	m.at(move(0, 0.02, 0.49).then(turnX(pi/2)), func() {
		m.lathe([]pt{{0.018, -0.018}, {0.034, -0.018}, {0.034, 0.045}, {0.018, 0.045}}, 24)
	})
	m.prism(planeXZ, []pt{{0.02, 0.455}, {0.5, 0.40}, {1.1, 0.39}, {1.1, 0.40}, {0.5, 0.412}, {0.02, 0.47}}, -0.02, 0.035, 0)
	m.prism(planeXZ, []pt{{0.2, 0.42}, {0.6, 0.385}, {1.1, 0.375}, {1.1, 0.387}, {0.6, 0.397}, {0.2, 0.432}}, -0.02, 0.035, 0)
	s.use(material{kind: kindSteel, col: linear(0x6d675f), rust: 0.6})
	m.rod(vec{-1.2, 0.02, 0.62}, vec{1.2, 0.02, 0.625}, 0.006, 8) // brake line
}

// insideTruck looks down into the tub: at the rusted floor by the door, or at
// the bed with its new liner.
func (s Shot) insideTruck(sc *scene, turn float32, d *dice) framing {
	b := newBuilder(sc.model, s.Truck)
	sc.room(kindFloor, kindWall)
	rust := s
	if s.State == RustedFloorPan {
		rust.State = TornDown
	} else {
		rust.State = BodyOnFrame
	}
	b.fin = rust.finishes(sc.model)
	b.fit = outfit{frame: true, tub: true, bedPart: true, fenders: s.State == LinerSprayed, roof: s.State == LinerSprayed && s.Truck.Body != Wagon}
	if s.State == RustedFloorPan {
		b.fin.liner = sc.use(material{kind: kindPan, col: linearOf(s.Truck.Topcoat), rust: 0.5})
	}
	b.draw()
	if s.State == RustedFloorPan {
		az := pi/2 + turn*0.6
		return framing{target: vec{(b.cowl+b.doorEnd)/2 + 0.04, 0.42, 0.76}, azimuth: az, distance: d.between(1.3, 1.5), height: 0.76 + d.between(0.85, 1.0), fov: 0.95}
	}
	// Masking tape and paper still on the rails.
	sc.use(material{kind: kindPlain, col: linear(0xd8c08a)})
	b.bent(func() {
		b.both(func(float32) {
			top := float32(1.172)
			if b.truck.Body == Wagon || b.truck.Body == OpenTub {
				top = b.belt + 0.022
			}
			b.box(b.tail+0.02, b.half-0.065, top, b.cabBack-0.08, b.half-0.012, top+0.003, 0)
		})
	})
	height := float32(2.0)
	if b.truck.Body == Wagon || b.truck.Body == OpenTub {
		height = 2.2
	}
	return framing{target: vec{b.rear + 0.25, 0, 0.82}, azimuth: pi + turn*0.5, distance: 2.3, height: height + d.between(-0.05, 0.1), fov: 0.98}
}

// pan is a pressed floor: ribs along it, paint gone, rust through at the
// edges and in one corner. hole tells that there is no metal at p.
func (s *scene) pan(m *material, p, n vec, u, v, cloud float32) (col, nn vec, hole bool) {
	fine := s.tiles.fine.at(u*1100, v*1100)
	big := s.tiles.cloud.at(u*150+300, v*150)
	sheet := n.z > 0.8
	y := abs(p.y)
	if sheet && y > 0.2 && p.z < 0.77 {
		f := y/0.085 - float32(floor32(y/0.085)) - 0.5
		slope := step(0.12, 0.2, abs(f)) * (1 - step(0.28, 0.36, abs(f))) * sign(f) * sign(p.y)
		n = n.add(vec{0, slope * 0.8, 0}).unit()
		edge := step(0.45, 0.75, y)*0.3 + step(0.3, 0.05, abs(p.x-0.35+s.offset.x*0.02))*0.1
		through := big*0.62 + cloud*0.26 + fine*0.12 - edge*0.62
		if through < 0.235 {
			return col, n, true
		}
		if through < 0.255 { // the flaked edge of a hole
			return rustDark.mul(0.5), n, false
		}
	}
	c, _, nn := s.rusted(&material{col: m.col, rust: m.rust + 0.12*step(0.3, 0.7, y)}, u*1.7, v*1.7, vec{p.x, p.y, 0.8}, n, cloud)
	f2 := s.tiles.fine.at(u*1100+3, v*1100+2)
	return c.mul(0.75 + 0.4*fine), nn.add(vec{fine - f2, f2 - fine, 0}.mul(0.6)).unit(), false
}
