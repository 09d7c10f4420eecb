package scenery

const trailerDeck = 0.62 // height of the trailer's deck above the ground

// surroundTruck builds the place around the truck.
func (s *scene) surroundTruck(b *builder, shot Shot) {
	az := shot.frameShot(b).azimuth
	d := dice{seed: int32(shot.Truck.Seed)*13 + int32(shot.Number)}
	switch s.setting {
	case workshop:
		s.room(kindFloor, kindWall)
		s.shopFittings(az, &d)
	case booth:
		s.room(kindBooth, kindBooth)
	case yard:
		s.use(material{kind: kindGravel, noShadow: true})
		s.ground(90)
		s.building(az)
	case road:
		s.use(material{kind: kindRoad, noShadow: true})
		s.ground(90)
		s.countryside(&d)
	}
}

// ground is a floor out to r metres, in squares so that far ones stay exact.
func (s *scene) ground(r float32) {
	const n = 6
	for i := range n {
		for j := range n {
			x, y := -r+2*r*float32(i)/n, -r+2*r*float32(j)/n
			d := 2 * r / n
			s.quad(vec{x, y, 0}, vec{x + d, y, 0}, vec{x + d, y + d, 0}, vec{x, y + d, 0})
		}
	}
}

// room is floor, four walls seen from inside only, and a ceiling.
func (s *scene) room(floor, wall kind) {
	x, y, z := float32(roomX), float32(roomY), float32(roomZ)
	s.use(material{kind: floor, noShadow: true})
	s.quad(vec{-x - 4, -y - 4, 0}, vec{x + 4, -y - 4, 0}, vec{x + 4, y + 4, 0}, vec{-x - 4, y + 4, 0})
	s.use(material{kind: wall, noShadow: true})
	s.quad(vec{-x, y, 0}, vec{x, y, 0}, vec{x, y, z}, vec{-x, y, z})
	s.quad(vec{x, -y, 0}, vec{-x, -y, 0}, vec{-x, -y, z}, vec{x, -y, z})
	s.quad(vec{x, y, 0}, vec{x, -y, 0}, vec{x, -y, z}, vec{x, y, z})
	s.quad(vec{-x, -y, 0}, vec{-x, y, 0}, vec{-x, y, z}, vec{-x, -y, z})
	s.use(material{kind: kindPlain, col: linear(0x8d8f8c), noShadow: true})
	s.quad(vec{-x, -y, z}, vec{-x, y, z}, vec{x, y, z}, vec{x, -y, z}) // seen from below
	s.use(material{kind: kindGlow, col: vec{2.6, 2.65, 2.7}, noShadow: true})
	for _, ty := range []float32{-3.4, 0, 3.4} {
		for i := range 6 {
			tx := -6.5 + 2.6*float32(i)
			s.box(tx-1.1, ty-0.07, z-0.12, tx+1.1, ty+0.07, z-0.06, 0)
		}
	}
}

// shopFittings furnishes the walls the camera looks at; the one behind it
// stays bare so that nothing stands in the way.
func (s *scene) shopFittings(az float32, d *dice) {
	cx, cy := cos(az), sin(az)
	m := s.model
	z := float32(roomZ)
	beam := m.use(material{kind: kindPaint, col: linear(0x4d5a58), gloss: 0.03, rough: 0.5, noShadow: true})
	for i := range 5 {
		x := -roomX + 4*float32(i)
		m.box(x-0.08, -roomY, z-0.4, x+0.08, roomY, z-0.02, 0)
	}
	glass := m.use(material{kind: kindGlow, col: vec{1.45, 1.6, 1.75}, noShadow: true})
	frame := m.use(material{kind: kindPaint, col: linear(0x55605c), gloss: 0.03, rough: 0.5, noShadow: true})
	wood := m.use(material{kind: kindWood, col: linear(0xa9825a), noShadow: true})
	window := func(x0, x1, y float32) {
		m.mat = glass
		m.box(x0, y-0.02, 1.95, x1, y+0.02, 3.4, 0)
		m.mat = frame
		n := int((x1 - x0) / 0.6)
		for i := 0; i <= n; i++ {
			x := x0 + (x1-x0)*float32(i)/float32(n)
			m.box(x-0.025, y-0.05, 1.95, x+0.025, y+0.05, 3.4, 0)
		}
		for _, wz := range []float32{1.95, 2.45, 2.95, 3.4} {
			m.box(x0, y-0.05, wz-0.025, x1, y+0.05, wz+0.025, 0)
		}
	}
	if cy < 0.25 { // the left wall is in view: bench under the windows
		window(-5.6, -1.4, roomY-0.03)
		window(0.6, 4.8, roomY-0.03)
		s.bench(-4.9, 0.4, wood, frame, d)
		s.chest(1.3, roomY-0.35, linear(0x2f5a50))
		s.drums(5.3, roomY-0.6, d)
	}
	if cy > -0.25 { // the right wall: shelves
		window(-4.8, -0.6, -roomY+0.03)
		window(1.4, 5.0, -roomY+0.03)
		s.shelves(-3.4, 0.2, -roomY+0.35, frame, d)
		s.chest(1.6, -roomY+0.35, linear(0x7a3527))
		s.tyreStack(3.6, -roomY+0.6, 4)
		s.tyreStack(4.6, -roomY+0.65, 3)
	}
	if cx > -0.35 { // the wall behind the truck: the roller door
		m.use(material{kind: kindDoor, noShadow: true})
		m.quad(vec{-roomX + 0.04, -2.1, 0}, vec{-roomX + 0.04, 2.1, 0}, vec{-roomX + 0.04, 2.1, 3.5}, vec{-roomX + 0.04, -2.1, 3.5})
		m.mat = glass
		for i := range 4 {
			y := -1.75 + float32(i)*0.95
			m.box(-roomX+0.03, y, 1.5, -roomX+0.06, y+0.65, 1.8, 0)
		}
		m.mat = frame
		m.box(-roomX, -2.25, 0, -roomX+0.1, -2.1, 3.6, 0)
		m.box(-roomX, 2.1, 0, -roomX+0.1, 2.25, 3.6, 0)
		m.box(-roomX, -2.25, 3.5, -roomX+0.25, 2.25, 3.85, 0)
		// The lift in the next bay.
		m.use(material{kind: kindPaint, col: linear(0x38607a), gloss: 0.05, rough: 0.3})
		for _, y := range []float32{-1.9, 1.9} {
			m.box(-5.6, y-0.16, 0, -5.3, y+0.16, 3.1, 0.02)
			m.box(-5.75, y-0.3, 0, -5.15, y+0.3, 0.03, 0)
			m.box(-5.5, y*0.55, 0.95, -5.4, y*0.95, 1.05, 0.01)
		}
		s.tyreStack(-6.9, 3.9, 4)
		s.drums(-6.8, -4.2, d)
	}
	if cx < 0.35 { // the wall before the truck: board and cabinet
		s.hoist(5.6, 3.2)
		m.mat = wood
		m.box(roomX-0.04, -2.5, 1.35, roomX-0.01, 1.5, 2.6, 0)
		m.mat = beam
		for i := range 26 {
			y := -2.35 + 3.7*float32(i)/25
			h := d.between(0.15, 0.5)
			m.box(roomX-0.07, y-0.02, 2.45-h, roomX-0.04, y+0.02, 2.45, 0.005)
			if i%3 == 0 {
				m.box(roomX-0.07, y-0.06, 2.4, roomX-0.04, y+0.06, 2.46, 0.005)
			}
		}
		m.use(material{kind: kindPaint, col: linear(0x6a7a77), gloss: 0.04, rough: 0.3, noShadow: true})
		m.box(roomX-0.6, -2.4, 0.05, roomX-0.02, 1.4, 0.9, 0.01)
		for i := range 5 {
			y := -2.35 + 0.76*float32(i)
			m.box(roomX-0.62, y, 0.1, roomX-0.6, y+0.7, 0.85, 0.008)
		}
		m.mat = wood
		m.box(roomX-0.65, -2.45, 0.9, roomX, 1.45, 0.96, 0.006)
		s.clutter(roomX-0.35, -2.2, 1.3, 0.96, true, d)
	}
}

// bench stands along the left wall, with a board of hand tools and a vice.
func (s *scene) bench(x0, x1 float32, wood, steel uint16, d *dice) {
	m := s.model
	y0, y1 := float32(roomY-0.75), float32(roomY-0.03)
	m.mat = wood
	m.box(x0, y0, 0.86, x1, y1, 0.93, 0.006)
	m.box(x0+0.1, y0+0.1, 0.25, x1-0.1, y1, 0.28, 0)
	m.box(x0+0.4, roomY-0.06, 1.12, x1-0.4, roomY-0.03, 1.85, 0)
	m.mat = steel
	for x := x0 + 0.08; x < x1; x += 1.27 {
		m.box(x-0.04, y0+0.04, 0, x+0.04, y0+0.12, 0.86, 0)
	}
	for i := range 22 {
		x := x0 + 0.6 + (x1-x0-1.2)*float32(i)/21
		h := d.between(0.12, 0.45)
		m.box(x-0.018, roomY-0.09, 1.75-h, x+0.018, roomY-0.06, 1.75, 0.004)
		if i%4 == 1 {
			m.box(x-0.06, roomY-0.09, 1.7, x+0.06, roomY-0.06, 1.77, 0.004)
		}
	}
	m.use(material{kind: kindPaint, col: linear(0x2f4f6b), gloss: 0.05, rough: 0.3, noShadow: true})
	vx := x1 - 0.6
	m.box(vx-0.12, y0+0.1, 0.93, vx+0.12, y0+0.36, 0.98, 0.01)
	m.box(vx-0.07, y0-0.06, 0.98, vx+0.07, y0+0.34, 1.08, 0.015)
	m.box(vx-0.11, y0+0.08, 1.05, vx+0.11, y0+0.12, 1.15, 0.008)
	m.box(vx-0.11, y0-0.04, 1.05, vx+0.11, y0, 1.15, 0.008)
	s.clutter((y0+y1)/2+0.1, x0+0.3, vx-0.4, 0.93, false, d)
}

// clutter sets boxes, tins and jars along a surface at height z: along x at
// y = at, or along y at x = at when across is set.
func (s *scene) clutter(at, lo, hi, z float32, across bool, d *dice) {
	m := s.model
	cols := []uint32{0xb8452f, 0xd0a13a, 0x3f6e8a, 0x8b8f86, 0x567049, 0xd9d4c4, 0x2e3234, 0xa9764a}
	for p := lo; p < hi; p += d.between(0.25, 0.6) {
		m.use(material{kind: kindPaint, col: linear(cols[int(d.unit()*8)%8]), gloss: 0.04, rough: 0.4, noShadow: true})
		x, y := p, at
		if across {
			x, y = at, p
		}
		switch int(d.unit() * 3) {
		case 0:
			r, h := d.between(0.04, 0.09), d.between(0.1, 0.22)
			m.rod(vec{x, y, z}, vec{x, y, z + h}, r, 16)
		case 1:
			w, h := d.between(0.06, 0.16), d.between(0.06, 0.25)
			m.box(x-w, y-0.1, z, x+w, y+0.1, z+h, 0.006)
		default:
			for k := range 3 {
				r := float32(0.03)
				m.rod(vec{x + 0.07*float32(k), y, z}, vec{x + 0.07*float32(k), y, z + 0.1}, r, 12)
			}
		}
	}
}

func (s *scene) chest(x, y float32, col vec) {
	m := s.model
	m.use(material{kind: kindPaint, col: col, gloss: 0.05, rough: 0.15})
	front := y - 0.3
	if y < 0 {
		front = y + 0.3
	}
	m.box(x, y-0.28, 0.12, x+0.9, y+0.28, 1.05, 0.012)
	for i := range 6 {
		z := 0.17 + 0.145*float32(i)
		m.box(x+0.03, min(front, y), z, x+0.87, max(front, y), z+0.125, 0.006)
	}
	m.use(material{kind: kindMetal, col: linear(0xd0d2d2), gloss: 0.6, rough: 0.2})
	for i := range 6 {
		z := 0.255 + 0.145*float32(i)
		m.box(x+0.1, min(front*1.004, y), z, x+0.8, max(front*1.004, y), z+0.018, 0.004)
	}
	m.use(material{kind: kindRubber, col: linear(0x222222)})
	for _, dx := range []float32{0.1, 0.8} {
		m.rod(vec{x + dx, y - 0.2, 0.06}, vec{x + dx, y - 0.16, 0.06}, 0.06, 14)
		m.rod(vec{x + dx, y + 0.16, 0.06}, vec{x + dx, y + 0.2, 0.06}, 0.06, 14)
	}
}

func (s *scene) drums(x, y float32, d *dice) {
	m := s.model
	for i, c := range []uint32{0x2f5f86, 0xb3532e, 0x4d5350} {
		m.use(material{kind: kindPaint, col: linear(c), gloss: 0.05, rough: 0.3, rust: 0.2})
		px, py := x+0.64*float32(i), y+d.between(-0.1, 0.1)
		m.at(move(px, py, 0), func() {
			m.lathe([]pt{{0, 0}, {0.28, 0}, {0.29, 0.02}, {0.28, 0.04}, {0.28, 0.28}, {0.292, 0.3}, {0.28, 0.32}, {0.28, 0.58}, {0.292, 0.6}, {0.28, 0.62}, {0.28, 0.86}, {0.29, 0.88}, {0.28, 0.9}, {0.27, 0.88}, {0, 0.88}}, 28)
		})
	}
}

func (s *scene) tyreStack(x, y float32, n int) {
	m := s.model
	m.use(material{kind: kindRubber, col: linear(0x2b2b2b), dust: 0.3})
	for i := range n {
		z := 0.24 * float32(i)
		m.at(move(x+0.02*float32(i%2), y, z), func() {
			m.lathe([]pt{{0.22, 0.03}, {0.24, 0.01}, {0.3, 0}, {0.37, 0.02}, {0.39, 0.06}, {0.39, 0.17}, {0.37, 0.21}, {0.3, 0.23}, {0.24, 0.22}, {0.22, 0.2}, {0.22, 0.03}}, 30)
		})
	}
}

func (s *scene) shelves(x0, x1, y float32, steel uint16, d *dice) {
	m := s.model
	m.mat = steel
	for _, x := range []float32{x0, (x0 + x1) / 2, x1} {
		for _, dy := range []float32{-0.25, 0.25} {
			m.box(x-0.025, y+dy-0.025, 0, x+0.025, y+dy+0.025, 1.85, 0)
		}
	}
	for _, z := range []float32{0.2, 0.72, 1.24, 1.78} {
		m.mat = steel
		m.box(x0-0.03, y-0.28, z, x1+0.03, y+0.28, z+0.03, 0)
		s.clutter(y, x0+0.2, x1-0.2, z+0.03, false, d)
	}
}

// hoist is an engine crane.
func (s *scene) hoist(x, y float32) {
	m := s.model
	m.use(material{kind: kindPaint, col: linear(0xc58a1e), gloss: 0.05, rough: 0.3})
	m.box(x-0.05, y-0.05, 0.1, x+0.05, y+0.05, 1.6, 0.01)
	m.box(x-1.2, y-0.45, 0.08, x+0.1, y-0.37, 0.16, 0.01)
	m.box(x-1.2, y+0.37, 0.08, x+0.1, y+0.45, 0.16, 0.01)
	m.box(x-0.04, y-0.45, 0.08, x+0.04, y+0.45, 0.16, 0.01)
	m.at(move(x, y, 1.58).then(turnY(0.32)), func() { m.box(-1.3, -0.04, -0.04, 0.1, 0.04, 0.05, 0.01) })
	m.rod(vec{x, y, 0.8}, vec{x - 0.5, y, 1.72}, 0.035, 12)
	m.rod(vec{x - 1.2, y, 1.3}, vec{x - 1.2, y, 1.95}, 0.012, 8)
}
