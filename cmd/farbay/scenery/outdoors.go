package scenery

// building is the long steel shop with its doors, seen across the yard: it
// stands on the side away from the camera.
func (s *scene) building(azimuth float32) {
	m := s.model
	away := -sign(sin(azimuth))
	y := 15 * away
	m.use(material{kind: kindPaint, col: linear(0x8a9a94), noShadow: true})
	for i := range 60 { // standing seams
		x := -24 + 0.8*float32(i)
		m.box(x, y-0.1, 0, x+0.72, y+0.1, 4.6, 0.03)
	}
	m.box(-24.2, y-0.06, 0, 24.2, y+8*away, 4.6, 0)
	m.use(material{kind: kindPaint, col: linear(0x4b4f4d), noShadow: true})
	m.box(-24.4, y-0.5, 4.6, 24.4, y+0.5, 4.85, 0.02)
	m.use(material{kind: kindPaint, col: linear(0xd5d3c8), noShadow: true})
	for _, x := range []float32{-12, -5, 2, 9} {
		m.box(x, y-0.16, 0, x+4.2, y+0.16, 3.8, 0.02)
		for k := range 12 {
			m.box(x+0.1, y-0.18, 0.3*float32(k)+0.03, x+4.1, y+0.18, 0.3*float32(k)+0.3, 0.03)
		}
	}
	s.trees(&dice{seed: int32(s.offset.y * 900)}, 26, 24, 60)
}

// trees stand between near and far metres from the truck, off the road.
func (s *scene) trees(d *dice, n int, near, far float32) {
	m := s.model
	for range n {
		a, r := d.unit()*2*pi, near+(far-near)*d.unit()
		x, y := r*cos(a), r*sin(a)
		if abs(y) < 7 || (s.setting == yard && abs(y) < 26) {
			continue
		}
		h := d.between(4, 9)
		m.use(material{kind: kindPlain, col: linear(0x4a3a2a), noShadow: true})
		m.rod(vec{x, y, 0}, vec{x, y, h * 0.4}, 0.14, 6)
		c := mix(linear(0x2f4427), linear(0x4f6430), d.unit())
		leaf := [2]uint16{m.use(material{kind: kindLeaf, col: c.mul(0.8), noShadow: true}), m.use(material{kind: kindLeaf, col: c.mul(1.25), noShadow: true})}
		if d.unit() < 0.55 { // a conifer: ragged skirts
			for k := range 5 {
				z := h * (0.16 + 0.17*float32(k))
				w := h * 0.2 * (1 - 0.17*float32(k))
				m.at(move(x, y, z).then(turnZ(d.unit()*6)), func() {
					m.lathe([]pt{{w, 0}, {w * 0.55, h * 0.1}, {0.03, h * 0.25}}, 9)
				})
			}
			continue
		}
		for k := range 16 { // a broadleaf: a heap of leaf clouds
			w := h * d.between(0.09, 0.17)
			up := 0.34 + 0.5*float32(k)/16
			out := 0.26 * (1 - abs(up-0.52)*1.5)
			m.mat = leaf[k%2]
			m.at(move(x+d.between(-out, out)*h, y+d.between(-out, out)*h, h*up).then(stretch(1, 1, 0.75)), func() { ball(m, w) })
		}
	}
}

// countryside is what stands along the road: trees, tufts, a wire fence.
func (s *scene) countryside(d *dice) {
	m := s.model
	s.trees(d, 34, 18, 60)
	m.use(material{kind: kindWood, col: linear(0x7d6c55), noShadow: true})
	side := float32(6.5)
	for i := range 22 {
		x := -44 + 4*float32(i)
		for _, y := range []float32{-side, side} {
			m.rod(vec{x, y, 0}, vec{x + d.between(-0.05, 0.05), y, d.between(1.05, 1.2)}, 0.06, 7)
		}
	}
	// Grass tufts, thickest at the road's edge.
	greens := []uint16{
		m.use(material{kind: kindLeaf, col: linear(0x93a054), noShadow: true, twoSided: true}),
		m.use(material{kind: kindLeaf, col: linear(0xbcb06c), noShadow: true, twoSided: true}),
		m.use(material{kind: kindLeaf, col: linear(0x788a48), noShadow: true, twoSided: true}),
	}
	for range 1500 {
		x := d.between(-12, 12)
		y := 1.5 + 5*d.unit()*d.unit()
		if d.unit() < 0.5 {
			y = -y
		}
		m.mat = greens[int(d.unit()*3)%3]
		for range 4 {
			a := d.unit() * 2 * pi
			bx, by := x+d.between(-0.06, 0.06), y+d.between(-0.06, 0.06)
			h, lean := d.between(0.05, 0.17), d.between(0.02, 0.09)
			n := vec{cos(a) * 0.3, sin(a) * 0.3, 1}.unit()
			w := vec{-sin(a) * 0.008, cos(a) * 0.008, 0}
			p := vec{bx, by, 0}
			m.nextSurf()
			m.face(vertex{p.sub(w), n}, vertex{p.add(w), n}, vertex{p.add(vec{cos(a) * lean, sin(a) * lean, h}), n})
		}
	}
}

// drawTrailer is the two-axle trailer that takes the truck home.
func drawTrailer(b *builder) {
	m := b.model
	z := float32(trailerDeck)
	x0, x1 := b.tail-0.35, b.nose+0.45
	m.use(material{kind: kindPaint, col: linear(0x23282b), gloss: 0.05, rough: 0.3})
	b.both(func(float32) {
		m.box(x0, 0.93, z-0.14, x1, 1.02, z-0.02, 0.01)
		m.prism(planeXY, []pt{{x1 - 0.02, 0.93}, {x1 - 0.02, 1.02}, {x1 + 1.35, 0.08}, {x1 + 1.3, 0}}, z-0.14, z-0.03, 0.01)
		// Mudguards over the wheels.
		m.prism(planeXZ, append(arc(-0.45, 0.36, 0.46, 0.3, pi-0.3, 10), arc(-0.45, 0.36, 0.44, pi-0.3, 0.3, 10)...), 1.03, 1.3, 0)
		m.prism(planeXZ, append(arc(0.45, 0.36, 0.46, 0.3, pi-0.3, 10), arc(0.45, 0.36, 0.44, pi-0.3, 0.3, 10)...), 1.03, 1.3, 0)
		// Ramps folded up behind.
		m.at(move(x0-0.03, 0.6, z-0.05).then(turnY(-0.12)), func() {
			m.box(-0.05, -0.18, 0, 0, -0.14, 1.1, 0.004)
			m.box(-0.05, 0.14, 0, 0, 0.18, 1.1, 0.004)
			for i := range 8 {
				r := 0.08 + 0.13*float32(i)
				m.box(-0.05, -0.18, r, 0, 0.18, r+0.03, 0.004)
			}
		})
	})
	m.box(x0, -0.93, z-0.12, x0+0.1, 0.93, z-0.02, 0.01)
	m.box(x1-0.1, -0.93, z-0.12, x1, 0.93, z-0.02, 0.01)
	m.rod(vec{x1 + 1.2, 0, 0.03}, vec{x1 + 1.2, 0, z + 0.2}, 0.03, 10)
	m.rod(vec{x1 + 1.3, 0, z - 0.08}, vec{x1 + 1.55, 0, z - 0.08}, 0.035, 10)
	m.use(material{kind: kindWood, col: linear(0x8a6f50)})
	for i := range 12 {
		y := -0.92 + 0.154*float32(i)
		m.box(x0+0.1, y, z-0.05, x1-0.1, y+0.146, z, 0.004)
	}
	tyre := m.use(material{kind: kindRubber, col: linear(0x222324)})
	rim := m.use(material{kind: kindPaint, col: linear(0xd8d8d2), gloss: 0.05, rough: 0.2})
	b.both(func(float32) {
		for _, x := range []float32{-0.45, 0.45} {
			m.at(move(x, 1.16, 0.34).then(turnX(-pi/2)), func() {
				m.mat = tyre
				m.lathe([]pt{{0.2, -0.1}, {0.31, -0.11}, {0.34, -0.07}, {0.34, 0.07}, {0.31, 0.11}, {0.2, 0.1}}, 30)
				m.mat = rim
				m.lathe([]pt{{0.2, 0.1}, {0.19, 0.05}, {0.1, 0.06}, {0.08, 0.09}, {0, 0.09}}, 24)
			})
		}
	})
	// Straps over the axles.
	m.use(material{kind: kindPlain, col: linear(0xd2962a)})
	for _, x := range []float32{b.front, b.rear} {
		b.both(func(float32) {
			m.tube([]vec{{x - 0.5, 0.9, z}, {x - 0.32, 0.78, z + 0.5}, {x, 0.76, z + 0.84}, {x + 0.32, 0.78, z + 0.5}, {x + 0.5, 0.9, z}}, 0.018, 6, false)
		})
	}
}
