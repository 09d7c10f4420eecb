package scenery

import "image"

// draw renders the photo as it is stored, w x h pixels, both even.
func (s Shot) draw(w, h int) (*image.RGBA, error) {
	sc := &scene{model: newModel(), tiles: sharedTiles(), texScale: 1}
	defer sc.release()
	d := dice{seed: int32(s.Truck.Seed)*31 + 5}
	sc.offset = vec{d.between(0, 9), d.between(0, 9), d.between(0, 9)}
	if s.State.closeUp() {
		return s.drawCloseUp(sc, w, h)
	}
	b := newBuilder(sc.model, s.Truck)
	sc.setting = s.place()
	b.fin = s.finishes(sc.model)
	b.fit = s.outfit()
	sc.surroundTruck(b, s)
	b.draw()
	if s.State == TornDown {
		b.layOut()
	}
	s.standTruck(b)
	frame := s.frameShot(b)
	sc.aim(frame, w, h, s.orientation())
	sc.lightUp(frame.azimuth, d)
	sc.focus = frame.target.sub(sc.cam.eye).length()
	return sc.render(vec{0, 0, 0.7}, b.base/2+2.2, softness(sc.setting), 0), nil
}

func softness(p setting) float32 {
	switch p {
	case yard, road:
		return 0.02
	case booth:
		return 0.12
	}
	return 0.06
}

func (s State) closeUp() bool { return s >= RustedFloorPan && s <= LinerSprayed }

func (s Shot) place() setting {
	switch s.State {
	case Painted:
		return booth
	case RoadTest:
		return road
	case DeliveryTrailer:
		return yard
	case RustyWhole, Finished:
		if s.Number%3 == 2 {
			return yard
		}
	}
	return workshop
}

// finishes adds the truck's materials as they are at the shot's stage.
func (s Shot) finishes(m *model) finishes {
	top, accent := linearOf(s.Truck.Topcoat), linearOf(s.Truck.Accent)
	rusty := s.State == RustyWhole || s.State == TornDown
	var f finishes
	paint := func(c vec) uint16 {
		switch {
		case rusty:
			return m.use(material{kind: kindPaint, col: c.mul(0.9), gloss: 0.03, rough: 0.6, rust: 0.5, dust: 0.35})
		case s.State == TubInPrimer:
			return m.use(material{kind: kindPaint, col: linear(0x9a4a38)})
		}
		return m.use(material{kind: kindPaint, col: c, gloss: 0.055, rough: 0.04})
	}
	f.body, f.roof = paint(top), paint(accent)
	steel := func(old, now material) uint16 {
		if rusty {
			return m.use(old)
		}
		return m.use(now)
	}
	scale := material{kind: kindSteel, col: linear(0x7d756c), rust: 0.85, dust: 0.2}
	satin := material{kind: kindPaint, col: linear(0x17191a), gloss: 0.05, rough: 0.3}
	frame := satin
	if s.State == BareFrame {
		frame = material{kind: kindSteel, col: linear(0x8d8e8a), gloss: 0.05, rough: 0.7, rust: 0.27}
	}
	f.frame = steel(scale, frame)
	f.axle = steel(scale, satin)
	f.engine = steel(material{kind: kindSteel, col: linear(0x6d6a64), rust: 0.55, dust: 0.5},
		material{kind: kindPaint, col: linear(0x5f7d86), gloss: 0.045, rough: 0.25})
	f.rust = steel(material{kind: kindSteel, col: linear(0x5b5048), rust: 0.95},
		material{kind: kindSteel, col: linear(0x9b958c), gloss: 0.1, rough: 0.5, rust: 0.1})
	f.wheel = steel(material{kind: kindPaint, col: accent.mul(0.8), rust: 0.62, dust: 0.4},
		material{kind: kindPaint, col: accent, gloss: 0.05, rough: 0.1})
	f.chrome = steel(material{kind: kindPaint, col: linear(0x8f918d), gloss: 0.12, rough: 0.5, rust: 0.55},
		material{kind: kindMetal, col: linear(0xe2e4e4), gloss: 0.75, rough: 0.05})
	f.tyre = steel(material{kind: kindRubber, col: linear(0x3b3936), dust: 0.6}, material{kind: kindRubber, col: linear(0x222324), gloss: 0.02, rough: 0.8})
	f.seat = steel(material{kind: kindPlain, col: linear(0x4b4238), dust: 0.5}, material{kind: kindPlain, col: linear(0x6a4a33), gloss: 0.03, rough: 0.6})
	f.black = m.use(material{kind: kindPlain, col: linear(0x191a1a), gloss: 0.02, rough: 0.6})
	f.lampGlass = steel(material{kind: kindPaint, col: linear(0x9b9a90), gloss: 0.1, rough: 0.4},
		material{kind: kindMetal, col: linear(0xd5dde0), gloss: 0.6, rough: 0.12})
	f.amber = m.use(material{kind: kindPaint, col: linear(0xd97a18), gloss: 0.08, rough: 0.1})
	f.red = m.use(material{kind: kindPaint, col: linear(0xa01c18), gloss: 0.08, rough: 0.1})
	switch {
	case rusty:
		f.liner = m.use(material{kind: kindSteel, col: linear(0x6b6157), rust: 0.7, dust: 0.4})
		f.glass = m.use(material{kind: kindGlass, col: vec{0.62, 0.66, 0.6}, dust: 0.7})
	case s.State == BodyOnFrame || s.State == Finished || s.State == RoadTest || s.State == DeliveryTrailer:
		f.liner = m.use(material{kind: kindLiner, col: linear(0x1b1c1d), gloss: 0.03, rough: 0.7})
		f.glass = m.use(material{kind: kindGlass, col: vec{0.72, 0.78, 0.76}})
	default:
		f.liner = f.body
	}
	if s.State == RoadTest {
		for _, k := range []uint16{f.body, f.tyre, f.wheel, f.axle} {
			m.mats[k].dust = 0.45
		}
	}
	return f
}

func (s Shot) outfit() outfit {
	whole := outfit{frame: true, axles: true, wheels: true, engine: true, tank: true, tub: true, fenders: true, bonnet: true,
		doors: true, bedPart: true, roof: true, glass: true, lamps: true, bumpers: true, seats: true, grille: true}
	switch s.State {
	case TornDown:
		whole.fenders, whole.bonnet, whole.doors, whole.grille = false, false, false, false
		whole.glass, whole.lamps, whole.bumpers, whole.seats = false, false, false, s.Number%2 == 0
	case BareFrame, FrameCoated:
		return outfit{frame: true, lift: 0.12}
	case TubInPrimer:
		return outfit{tub: true, bedPart: true, fenders: s.Number%2 == 1, roof: true, bodyLift: -0.02}
	case Painted:
		return outfit{tub: true, bedPart: true, fenders: true, roof: true, doors: true, bonnet: true, grille: true, bodyLift: -0.02}
	case RollingChassis:
		return outfit{frame: true, axles: true, wheels: true, engine: true, tank: true}
	case BodyOnFrame:
		whole.glass, whole.lamps, whole.bumpers, whole.seats, whole.doors = false, false, false, false, false
		whole.bonnet = s.Number%2 == 0
	case DeliveryTrailer:
		whole.lift = trailerDeck
	}
	return whole
}

// lightUp sets the light for the place; the key light comes over the
// photographer's left or right shoulder.
func (s *scene) lightUp(azimuth float32, d dice) {
	turn := d.between(0.5, 0.85)
	if d.unit() < 0.4 {
		turn = -turn
	}
	a := azimuth + turn
	switch s.setting {
	case workshop:
		s.key = vec{cos(a), sin(a), 1.35}.unit()
		s.keyCol = vec{1.75, 1.68, 1.55}
		s.skyCol, s.lowCol = vec{0.62, 0.66, 0.72}, vec{0.27, 0.26, 0.24}
		s.expose, s.blur = 0.82, 0.75
	case booth:
		s.key = vec{cos(a) * 0.5, sin(a) * 0.5, 1.3}.unit()
		s.keyCol = vec{0.85, 0.86, 0.88}
		s.skyCol, s.lowCol = vec{1.05, 1.06, 1.08}, vec{0.6, 0.6, 0.6}
		s.expose, s.blur = 0.75, 0.35
	case yard, road:
		s.key = vec{cos(a), sin(a), 0.85}.unit()
		s.keyCol = vec{2.5, 2.28, 1.9}
		s.skyCol, s.lowCol = vec{0.5, 0.62, 0.85}, vec{0.3, 0.26, 0.2}
		s.expose, s.blur = 0.72, 0.8
	}
}

// standTruck puts what has no wheels on stands or a dolly.
func (s Shot) standTruck(b *builder) {
	m := b.model
	switch s.State {
	case BareFrame, FrameCoated:
		m.use(material{kind: kindPaint, col: linear(0xb3452c), gloss: 0.04, rough: 0.3})
		for _, x := range []float32{b.front - 0.3, b.rear + 0.25} {
			b.both(func(float32) { jackStand(m, x, railY, b.underRail(x)) })
		}
	case TubInPrimer, Painted:
		// A dolly: two long bars on castors.
		m.use(material{kind: kindPaint, col: linear(0x3c4a55), gloss: 0.04, rough: 0.4})
		b.both(func(float32) {
			m.box(b.tail+0.1, 0.36, 0.34, b.cowl+0.5, 0.44, 0.42, 0.008)
			for _, x := range []float32{b.tail + 0.4, b.cowl - 0.1} {
				m.box(x-0.03, 0.37, 0.42, x+0.03, 0.43, 0.74, 0.006)
				m.box(x-0.03, 0.37, 0.12, x+0.03, 0.43, 0.34, 0.006)
				m.rod(vec{x, 0.37, 0.06}, vec{x, 0.43, 0.06}, 0.06, 16)
			}
		})
		for _, x := range []float32{b.tail + 0.4, b.cowl - 0.1} {
			m.box(x-0.04, -0.44, 0.34, x+0.04, 0.44, 0.42, 0.008)
		}
	case DeliveryTrailer:
		drawTrailer(b)
	}
}

func jackStand(m *model, x, y, top float32) {
	for i := range 4 {
		a := float32(i)/4*2*pi + pi/4
		m.rod(vec{x + 0.17*cos(a), y + 0.17*sin(a), 0}, vec{x + 0.04*cos(a), y + 0.04*sin(a), 0.34}, 0.016, 8)
	}
	m.box(x-0.15, y-0.15, 0.03, x+0.15, y+0.15, 0.05, 0.004)
	m.box(x-0.045, y-0.045, 0.26, x+0.045, y+0.045, 0.36, 0.008)
	m.rod(vec{x, y, 0.3}, vec{x, y, top - 0.02}, 0.022, 12)
	m.box(x-0.05, y-0.06, top-0.025, x+0.05, y+0.06, top, 0.006)
}

// layOut sets the parts taken off around the truck: the bonnet on trestles,
// the doors against a rack, the front panel and bumper on the floor, the small
// parts in boxes.
func (b *builder) layOut() {
	wood := b.use(material{kind: kindWood, col: linear(0xb08a5a)})
	rack := b.use(material{kind: kindPaint, col: linear(0x3c4a55), gloss: 0.04, rough: 0.4})
	bx, by := b.front-0.2, float32(-2.2)
	b.at(move(bx, by, -0.4).then(turnZ(0.12)).then(move(-(b.cowl+b.nose)/2, 0, 0)), b.drawBonnet)
	b.with(wood, func() {
		for _, dx := range []float32{-0.38, 0.38} {
			b.box(bx+dx-0.04, by-0.5, 0.68, bx+dx+0.04, by+0.5, 0.74, 0.005)
			for _, y := range []float32{by - 0.42, by + 0.42} {
				b.rod(vec{bx + dx - 0.16, y, 0}, vec{bx + dx, y, 0.7}, 0.022, 8)
				b.rod(vec{bx + dx + 0.16, y, 0}, vec{bx + dx, y, 0.7}, 0.022, 8)
			}
		}
		for i := range 4 {
			x := b.tail + 0.1 + 0.62*float32(i)
			b.at(move(x, -1.6, 0).then(turnZ(b.dice.between(-0.1, 0.1))), func() { b.crate(0.25, 0.17, 0.16) })
		}
	})
	lean := func(x, y, turn float32, side float32) {
		b.at(move(x, y, 0).then(turnZ(turn)).then(turnX(-0.2)).then(move(-(b.cowl+b.doorEnd)/2, -b.half*side, -b.sill-0.03)), func() {
			if side > 0 {
				b.drawDoor()
			} else {
				b.at(stretch(1, -1, 1), b.drawDoor)
			}
		})
	}
	lean(b.rear+0.2, 1.8, 0.04, 1)
	lean(b.rear+1.4, 1.82, -0.05, -1)
	b.with(rack, func() {
		b.rod(vec{b.rear - 0.4, 2.06, 0.85}, vec{b.rear + 2.0, 2.06, 0.85}, 0.025, 10)
		for _, x := range []float32{b.rear - 0.35, b.rear + 0.8, b.rear + 1.95} {
			b.rod(vec{x, 2.06, 0}, vec{x, 2.06, 0.85}, 0.02, 8)
			b.rod(vec{x, 2.5, 0}, vec{x, 2.06, 0.85}, 0.02, 8)
		}
	})
	b.at(move(b.nose+1.0, 0.6, 0.02).then(turnZ(0.4)).then(turnY(-pi/2)).then(move(-b.nose, 0, -0.9)), b.drawFace)
	b.at(move(b.nose+0.5, -0.9, 0).then(turnZ(-0.5)), func() {
		b.with(b.fin.chrome, func() { b.box(0, -0.75, 0, 0.08, 0.75, 0.13, 0.02) })
	})
}

// crate is an open box, some way full of what came off.
func (b *builder) crate(hx, hy, h float32) {
	const t = 0.014
	b.box(-hx, -hy, 0, hx, hy, 0.012, 0)
	b.box(-hx, -hy, 0, hx, -hy+t, h, 0.003)
	b.box(-hx, hy-t, 0, hx, hy, h, 0.003)
	b.box(-hx, -hy, 0, -hx+t, hy, h, 0.003)
	b.box(hx-t, -hy, 0, hx, hy, h, 0.003)
	for i := range 14 {
		b.with([]uint16{b.fin.rust, b.fin.chrome, b.fin.axle, b.fin.black}[i%4], func() {
			b.at(move(b.dice.between(-hx, hx)*0.75, b.dice.between(-hy, hy)*0.7, b.dice.between(0.05, h)).then(turnZ(b.dice.unit()*6)).then(turnX(b.dice.unit())), func() {
				l, w := b.dice.between(0.03, 0.09), b.dice.between(0.015, 0.035)
				if i%3 == 0 {
					b.rod(vec{-l, 0, 0}, vec{l, 0, 0}, w*0.6, 10)
					return
				}
				b.box(-l, -w, -w*0.5, l, w, w*0.5, 0.004)
			})
		})
	}
}
