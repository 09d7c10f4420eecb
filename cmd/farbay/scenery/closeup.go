package scenery

import "image"

// benchTop is the height of the bench that small things are photographed on.
const benchTop = 0.93

// drawCloseUp renders a photo of a part, a find or a job at the bench.
func (s Shot) drawCloseUp(sc *scene, w, h int) (*image.RGBA, error) {
	d := dice{seed: int32(s.Number)*131 + int32(s.Truck.Seed)*17 + int32(s.View)*7 + int32(s.State)*3}
	sc.macro = true
	sc.setting = workshop
	// The view turns the camera around its subject.
	turn := (float32(s.View)-2.5)*0.22 + d.between(-0.12, 0.12)
	f := framing{azimuth: -pi/2 + turn, fov: 0.95}
	var err error
	radius := float32(0.45)
	sc.texScale = 3.5
	switch s.State {
	case PartsTray:
		sc.benchScene()
		err = sc.partsTray(s.Truck, s.Number, &d)
		f.target, f.distance, f.height = vec{0, 0, benchTop + 0.01}, d.between(0.52, 0.62), benchTop+d.between(0.34, 0.45)
	case ToolboxFind:
		sc.benchScene()
		sc.toolbox(&d)
		f.target, f.distance, f.height = vec{0.01, 0.0, benchTop + 0.08}, d.between(0.8, 0.92), benchTop+d.between(0.52, 0.64)
	case PaintMixing:
		sc.benchScene()
		err = sc.paintMixing(s, &d)
		f.target, f.distance, f.height = vec{0, 0.02, benchTop + 0.09}, d.between(0.64, 0.74), benchTop+d.between(0.4, 0.5)
	case OdometerPlate:
		err = sc.gauges(s.Truck)
		f.target, f.distance, f.height = vec{0.01, 0, 1.19}, d.between(0.4, 0.48), 1.19+d.between(0.02, 0.14)
		f.azimuth = -pi/2 + turn*0.7
	case CrackedBracket:
		sc.crackedBracket(&d)
		f.target, f.distance, f.height = vec{0, -0.04, 0.6}, d.between(0.5, 0.62), 0.6+d.between(0.0, 0.18)
		f.azimuth = -pi/2 + turn*0.8
	case RustedFloorPan, LinerSprayed:
		sc.texScale = 1
		f = s.insideTruck(sc, turn, &d)
		radius = 2.6
	}
	if err != nil {
		return nil, err
	}
	sc.aim(f, w, h, s.orientation())
	sc.lightUp(f.azimuth, d)
	sc.blur = 0.85
	sc.focus = f.target.sub(sc.cam.eye).length()
	if radius > 1 { // a body is too deep for so little depth of field
		sc.macro = false
	}
	return sc.render(vec{f.target.x, f.target.y, f.target.z}, radius, 0.012, f.target.z-0.1), nil
}

// benchScene is a bench in the middle of the shop, seen from its front.
func (s *scene) benchScene() {
	s.room(kindFloor, kindWall)
	d := dice{seed: 5}
	s.shopFittings(-pi/2, &d)
	s.use(material{kind: kindWood, col: linear(0x9a7650), gloss: 0.02, rough: 0.6})
	for i := range 5 {
		y := -0.42 + 0.22*float32(i)
		s.box(-1.5, y, benchTop-0.05, 1.5, y+0.217, benchTop, 0.003)
	}
	s.use(material{kind: kindPaint, col: linear(0x4a5552), gloss: 0.03, rough: 0.5})
	s.box(-1.5, 0.66, benchTop-0.05, 1.5, 0.7, benchTop+0.1, 0.005)
}

// hexagon is a nut's outline, a across its corners.
func hexagon(a float32) []pt {
	out := make([]pt, 6)
	for i := range out {
		t := float32(i) / 6 * 2 * pi
		out[i] = pt{a / 2 * cos(t), a / 2 * sin(t)}
	}
	return out
}

// bolt lies along x from its head, centred on its length.
func (s *scene) bolt(l float32) {
	s.at(turnY(pi/2).then(move(0, 0, -l/2)), func() {
		s.prism(planeXY, hexagon(0.023), -0.009, 0, 0.002)
		p := []pt{{0.006, 0}}
		for z := l * 0.3; z < l-0.003; z += 0.0026 {
			p = append(p, pt{0.006, z}, pt{0.0051, z + 0.0013})
		}
		p = append(p, pt{0.0045, l}, pt{0, l})
		s.lathe(p, 12)
	})
}

// annulus is a flat ring lying on the table: washers, nuts' holes.
func (s *scene) annulus(r0, r1, h float32) {
	s.lathe([]pt{{r0, 0}, {r1, 0}, {r1, h}, {r0, h}, {r0, 0}}, 20)
}

// partsTray is a sheet-metal tray with fasteners sorted in rows, fresh from
// the plater, and a paper tag.
func (s *scene) partsTray(t Truck, number int, d *dice) error {
	m := s.model
	zinc := material{kind: kindMetal, col: linear(0xd9c489), gloss: 0.55, rough: 0.3}
	clear := material{kind: kindMetal, col: linear(0xcfd3d6), gloss: 0.55, rough: 0.28}
	black := material{kind: kindPaint, col: linear(0x202223), gloss: 0.07, rough: 0.35}
	old := material{kind: kindSteel, col: linear(0x8c857a), rust: 0.75}
	kinds := []material{zinc, clear, zinc, black, clear}
	if number%4 == 3 { // before they go out: as they came off
		kinds = []material{old, old, old, old, old}
	}
	var mats [5]uint16
	for i := range mats {
		mats[i] = m.use(kinds[i])
	}
	const hx, hy = 0.25, 0.165
	m.use(material{kind: kindSteel, col: linear(0x9fa3a3), gloss: 0.12, rough: 0.5})
	m.box(-hx, -hy, benchTop, hx, hy, benchTop+0.003, 0)
	for _, q := range [4][4]float32{{-hx, -hy, hx, -hy + 0.004}, {-hx, hy - 0.004, hx, hy}, {-hx, -hy, -hx + 0.004, hy}, {hx - 0.004, -hy, hx, hy}} {
		m.box(q[0], q[1], benchTop, q[2], q[3], benchTop+0.028, 0.0015)
	}
	for i := range 4 { // ribs part the rows
		y := -hy + 0.066*float32(i+1)
		m.box(-hx+0.006, y-0.001, benchTop, hx-0.006, y+0.001, benchTop+0.014, 0)
	}
	z := float32(benchTop + 0.003)
	shuffle := number % 5
	for row := range 5 {
		y := -hy + 0.033 + 0.066*float32(row)
		what := (row + shuffle) % 5
		m.mat = mats[row]
		step := [5]float32{0.05, 0.034, 0.03, 0.074, 0.056}[what]
		limit := float32(hx - 0.03)
		if row == 4 {
			limit = 0.1 // the tag's corner
		}
		for x := float32(-hx + 0.03); x < limit; x += step {
			if d.unit() < 0.06 {
				continue // one is still missing
			}
			a := d.between(-0.12, 0.12)
			px, py := x+d.between(-0.002, 0.002), y+d.between(-0.004, 0.004)
			switch what {
			case 0: // bolts, lying across the row
				m.at(move(px, py, z+0.0105).then(turnZ(pi/2+a)), func() { s.bolt(0.036) })
			case 1: // nuts
				m.at(move(px, py, z).then(turnZ(a*6)), func() {
					m.prism(planeXY, hexagon(0.025), 0, 0.011, 0.002)
					mat := m.mat
					m.use(material{kind: kindPlain, col: linear(0x1b1b1b)})
					m.rod(vec{0, 0, 0.0105}, vec{0, 0, 0.0112}, 0.0062, 14)
					m.mat = mat
				})
			case 2: // washers
				m.at(move(px, py, z), func() { s.annulus(0.006, 0.0125, 0.002) })
			case 3: // angle brackets
				m.at(move(px, py, z).then(turnZ(a)), func() {
					m.box(-0.028, -0.02, 0, 0.028, 0.02, 0.004, 0.001)
					m.box(-0.028, 0.016, 0, 0.028, 0.02, 0.034, 0.001)
					mat := m.mat
					m.use(material{kind: kindPlain, col: linear(0x2a2a2a)})
					for _, hxx := range []float32{-0.015, 0.015} {
						m.rod(vec{hxx, -0.004, 0.0035}, vec{hxx, -0.004, 0.0042}, 0.005, 12)
						m.rod(vec{hxx, 0.0158, 0.02}, vec{hxx, 0.0152, 0.02}, 0.005, 12)
					}
					m.mat = mat
				})
			case 4: // coil springs
				m.at(move(px, py, z+0.011).then(turnZ(a)), func() {
					var path []vec
					for i := range 73 {
						t := float32(i) / 72
						path = append(path, vec{(t - 0.5) * 0.042, 0.009 * cos(t*12*pi), 0.009 * sin(t*12*pi)})
					}
					m.tube(path, 0.0016, 6, false)
				})
			}
		}
	}
	label, err := tag([]string{"DOOR HINGES", "BED BOLTS", "DASH, LEFT", "BRACKETS"}[number&3], "tray "+string('A'+rune(number%7)))
	if err != nil {
		return err
	}
	m.at(move(0.172, hy-0.034, benchTop+0.02).then(turnZ(0.08)), func() {
		m.use(material{kind: kindDecal, decal: &decal{m.xf.point(vec{-0.055, 0.024, 0}), m.xf.dir(vec{1 / 0.11, 0, 0}), m.xf.dir(vec{0, -1 / 0.048, 0}), label}})
		m.box(-0.055, -0.024, -0.001, 0.055, 0.024, 0, 0)
	})
	return nil
}

// toolbox is the first owner's: faded, rusty, open, and all there.
func (s *scene) toolbox(d *dice) {
	m := s.model
	col := []uint32{0xa03a2c, 0x3c5f77, 0x4f6a4a}[int(d.unit()*3)%3]
	box := m.use(material{kind: kindPaint, col: linear(col), gloss: 0.03, rough: 0.5, rust: 0.42, dust: 0.2})
	inside := m.use(material{kind: kindSteel, col: linear(0x6d6258), rust: 0.55, dust: 0.3})
	steel := m.use(material{kind: kindMetal, col: linear(0xa9a59c), gloss: 0.4, rough: 0.5, dust: 0.25})
	worn := m.use(material{kind: kindSteel, col: linear(0x8a857c), rust: 0.4})
	handle := m.use(material{kind: kindWood, col: linear(0xa86f3a), gloss: 0.03, rough: 0.5})
	red := m.use(material{kind: kindPaint, col: linear(0xb5402a), gloss: 0.06, rough: 0.2})
	const hx, hy, h, t = 0.24, 0.11, 0.16, 0.004
	m.at(move(0, 0.1, benchTop).then(turnZ(d.between(-0.15, 0.15))), func() {
		m.mat = box
		m.box(-hx, -hy, 0, hx, -hy+t, h, 0.002)
		m.box(-hx, hy-t, 0, hx, hy, h, 0.002)
		m.box(-hx, -hy, 0, -hx+t, hy, h, 0.002)
		m.box(hx-t, -hy, 0, hx, hy, h, 0.002)
		m.rod(vec{-hx, -hy, h}, vec{hx, -hy, h}, 0.005, 10)
		m.mat = inside
		m.box(-hx+t, -hy+t, 0.004, hx-t, hy-t, 0.01, 0)
		// Lid, leaning back; its latch.
		m.mat = box
		m.at(move(0, hy, h).then(turnX(-0.45)), func() {
			m.prism(planeYZ, []pt{{0, 0}, {0.008, 0}, {0.075, 0.06}, {0.085, 0.2}, {0.02, 0.215}, {0.02, 0.21}, {0.078, 0.195}, {0.068, 0.063}, {0, 0.006}}, -hx, hx, 0.001)
			m.prism(planeYZ, []pt{{0, 0}, {0.075, 0.06}, {0.085, 0.2}, {0.02, 0.215}}, -hx, -hx+t, 0)
			m.prism(planeYZ, []pt{{0, 0}, {0.075, 0.06}, {0.085, 0.2}, {0.02, 0.215}}, hx-t, hx, 0)
		})
		m.mat = worn
		m.box(-0.02, -hy-0.004, h-0.05, 0.02, -hy, h-0.01, 0.002)
		// Lift-out tray with sockets.
		m.at(move(0, 0.04, 0.11), func() {
			m.mat = box
			m.box(-hx+0.01, -0.05, 0, hx-0.01, 0.05, 0.003, 0)
			m.box(-hx+0.01, -0.05, 0, hx-0.01, -0.047, 0.035, 0)
			m.box(-hx+0.01, 0.047, 0, hx-0.01, 0.05, 0.035, 0)
			for i := range 9 {
				r := 0.011 + 0.0014*float32(i)
				x := -0.19 + 0.036*float32(i) + 0.0006*float32(i*i)
				m.mat = steel
				m.at(move(x, 0.015, 0.003), func() {
					m.lathe([]pt{{0, 0}, {r, 0}, {r, 0.03}, {r * 0.7, 0.032}, {r * 0.66, 0.02}, {0, 0.02}}, 16)
				})
			}
			m.at(move(-0.08, -0.025, 0.012).then(turnZ(0.05)), func() { s.wrench(0.22, steel) })
		})
		// Below it, by the front: screwdrivers and a file.
		for i, c := range []uint16{red, handle, handle} {
			y := -0.03 - 0.024*float32(i)
			m.at(move(-0.14+0.05*float32(i), y, 0.075-0.012*float32(i)).then(turnY(-0.12)), func() { s.driver(c, worn) })
		}
	})
	// Laid out before the box.
	m.at(move(-0.16, -0.14, benchTop+0.008).then(turnZ(0.5)), func() { s.wrench(0.25, worn) })
	m.at(move(0.02, -0.19, benchTop+0.007).then(turnZ(0.28)), func() { s.wrench(0.19, steel) })
	m.at(move(0.25, -0.12, benchTop+0.017).then(turnZ(2.5)), func() { s.hammer(handle, worn) })
	m.at(move(0.1, -0.24, benchTop+0.014).then(turnZ(0.1)), func() { s.driver(red, worn) })
}

// wrench is a double open-ended spanner lying along x.
func (s *scene) wrench(l float32, mat uint16) {
	s.mat = mat
	jaw := l * 0.1
	s.prism(planeXY, []pt{{-l/2 + jaw, -l * 0.035}, {l/2 - jaw, -l * 0.03}, {l/2 - jaw, l * 0.03}, {-l/2 + jaw, l * 0.035}}, -0.003, 0.003, 0.0015)
	for _, e := range []float32{-1, 1} {
		s.at(move(e*(l/2-jaw*0.4), 0, 0).then(turnZ(0.26+(1-e)*pi/2)), func() {
			o := arc(0, 0, jaw, 0.55, 2*pi-0.55, 14)
			o = append(o, pt{jaw * 0.85, -jaw * 0.36}, pt{-jaw * 0.1, -jaw * 0.36}, pt{-jaw * 0.35, 0}, pt{-jaw * 0.1, jaw * 0.36}, pt{jaw * 0.85, jaw * 0.36})
			s.prism(planeXY, o, -0.0045, 0.0045, 0.0015)
		})
	}
}

func (s *scene) driver(handle, blade uint16) {
	s.at(turnY(pi/2), func() {
		s.mat = handle
		s.lathe([]pt{{0, 0}, {0.01, 0.002}, {0.0135, 0.02}, {0.013, 0.07}, {0.009, 0.085}, {0.0085, 0.1}, {0, 0.1}}, 12)
		s.mat = blade
		s.lathe([]pt{{0.0035, 0.1}, {0.0035, 0.2}, {0.0045, 0.215}, {0, 0.22}}, 10)
	})
}

func (s *scene) hammer(handle, head uint16) {
	s.mat = handle
	s.at(turnY(pi/2), func() {
		s.lathe([]pt{{0, 0}, {0.014, 0.002}, {0.016, 0.06}, {0.012, 0.16}, {0.011, 0.29}, {0, 0.29}}, 12)
	})
	s.mat = head
	s.at(move(0.28, 0, 0), func() {
		s.rod(vec{0, -0.055, 0}, vec{0, -0.03, 0}, 0.019, 16)
		s.box(-0.016, -0.035, -0.016, 0.016, 0.03, 0.016, 0.004)
		s.at(move(0, 0.045, 0), func() { ball(s.model, 0.019) })
	})
}
