package scenery

// sizes are a truck's main measures in metres, by body.
type sizes struct {
	base       float32 // wheelbase
	front      float32 // x of the front axle
	rear       float32
	nose, tail float32 // ends of the body
	cowl       float32 // where the doors begin
	doorEnd    float32
	cabBack    float32
	half       float32 // half the body's width
	sill, belt float32 // z of the body's lower edge and of the window line
	roof       float32
	wheel      float32 // tyre radius
	track      float32 // half the distance between the wheels' middles
	frameZ     float32 // z of the frame rails' top
}

func (t Truck) sizes() sizes {
	s := sizes{half: 0.82, sill: 0.66, belt: 1.22, roof: 1.86, wheel: 0.41, track: 0.7, frameZ: 0.68}
	switch t.Body {
	case LongBed:
		s.base = 3.0
	case Wagon:
		s.base = 2.8
	case OpenTub:
		s.base = 2.25
		s.roof = 1.78
	default:
		s.base = 2.5
	}
	s.front, s.rear = s.base/2, -s.base/2
	s.nose = s.front + 0.52
	s.cowl = s.front - 0.64
	s.doorEnd = s.cowl - 0.94
	s.cabBack = s.doorEnd - 0.14
	s.tail = s.rear - 0.72
	switch t.Body {
	case Wagon:
		s.cabBack = s.tail
		s.tail -= 0.05
	case OpenTub:
		s.cabBack = s.doorEnd - 0.08
		s.tail = s.rear - 0.6
	}
	return s
}

// finishes are the materials of one truck at one stage, as model numbers.
type finishes struct {
	body, roof, frame, axle, engine, wheel, tyre, chrome, seat, liner, black uint16
	glass, lampGlass, amber, red, rust                                       uint16
}

// outfit says which parts a stage has, and where they are.
type outfit struct {
	frame, axles, wheels, engine, tank   bool
	tub, fenders, bonnet, doors, bedPart bool
	roof, glass, lamps, bumpers, seats   bool
	grille                               bool
	lift                                 float32 // how far the whole truck stands above its own height
	bodyLift                             float32 // how far the body stands above the frame
}

// builder draws one truck into a model.
type builder struct {
	*model
	sizes
	truck Truck
	fin   finishes
	fit   outfit
	body  *bend
	dice  dice

	wheelTris []tri
}

func newBuilder(m *model, t Truck) *builder {
	b := &builder{model: m, sizes: t.sizes(), truck: t, dice: dice{seed: int32(t.Seed) + 7}}
	b.body = &bend{
		cutX: append(grid(b.cowl, b.nose, 4), grid(b.tail, b.rear, 2)...),
		cutY: []float32{-0.66, -0.4, 0, 0.4, 0.66},
		cutZ: []float32{0.74, 0.86, 0.98, 1.075, 1.095, 1.15, 1.24, 1.45, 1.65},
		scale: func(x, z float32) float32 {
			// The sides swell to 1.02 m, carry a crease below the window
			// line, and lean in above it; the nose narrows a little.
			k := float32(1)
			if z < 0.98 {
				d := (0.98 - z) / 0.36
				k -= 0.026 * d * d
			}
			k += 0.007 * step(1.075, 1.095, z) * (1 - step(1.1, 1.28, z))
			if z > 1.12 {
				d := z - 1.12
				k -= 0.03*d + 0.13*d*d
			}
			if x > b.cowl {
				d := (x - b.cowl) / (b.nose - b.cowl)
				k -= 0.045 * d * d
			}
			if x < b.rear {
				d := (b.rear - x) / 0.8
				k -= 0.022 * d * d
			}
			return k
		},
		lift: func(x, y, z float32) float32 {
			if z < 1.05 {
				return 0
			}
			d := y / 0.82
			return 0.035*(1-d*d)*step(1.05, 1.15, z) - 0.02*step(b.cowl, b.nose, x)
		},
	}
	return b
}

// bent runs f with the body's curvature on.
func (b *builder) bent(f func()) {
	placed := b.xf
	b.outer, b.xf, b.bend = placed, identity, b.body
	f()
	b.outer, b.xf, b.bend = identity, placed, nil
}

func (b *builder) with(mat uint16, f func()) {
	old := b.mat
	b.mat = mat
	f()
	b.mat = old
}

// draw puts the truck, as its outfit says, at the origin.
func (b *builder) draw() {
	b.at(move(0, 0, b.fit.lift), func() {
		if b.fit.frame {
			b.drawFrame()
		}
		if b.fit.axles {
			b.drawAxles()
		}
		if b.fit.wheels {
			b.drawWheels()
		}
		if b.fit.engine {
			b.drawEngine()
		}
		b.at(move(0, 0, b.fit.bodyLift), b.drawBody)
		if b.fit.bumpers {
			b.drawBumpers()
		}
	})
}

func (b *builder) drawWheels() {
	for _, x := range []float32{b.front, b.rear} {
		b.both(func(side float32) {
			steer := float32(0)
			if x > 0 {
				steer = 0.12 * side
			}
			b.at(move(x, b.track, b.wheel).then(turnZ(steer)), func() { b.drawWheel() })
		})
	}
	if b.truck.Body == OpenTub || b.truck.Body == Wagon {
		// The spare hangs on the tailgate.
		b.at(move(b.tail-0.16, 0.1, 1.02+b.fit.bodyLift).then(turnZ(pi/2)), func() { b.drawWheel() })
	}
}

// drawWheel is a tyre on a steel wheel, its axis along y, its face towards +y.
// It is built once and then copied: it is half of all triangles.
func (b *builder) drawWheel() {
	if b.wheelTris == nil {
		kept, placed := b.tris, b.xf
		b.tris, b.xf = nil, identity
		b.buildWheel()
		b.wheelTris = b.tris
		b.tris, b.xf = kept, placed
	}
	b.stamp(b.wheelTris)
}

func (b *builder) buildWheel() {
	r := b.wheel
	const w = 0.125 // half the tyre's width
	b.at(turnX(-pi/2), func() {
		b.with(b.fin.tyre, func() {
			b.lathe([]pt{{0.225, -w + 0.02}, {0.25, -w}, {0.31, -w - 0.012}, {r - 0.05, -w + 0.004}, {r - 0.018, -w + 0.028},
				{r - 0.014, 0}, {r - 0.018, w - 0.028}, {r - 0.05, w - 0.004}, {0.31, w + 0.012}, {0.25, w}, {0.225, w - 0.02}}, 40)
			// Tread: staggered blocks, and shoulder lugs down the sides.
			const lugs = 30
			for i := range lugs {
				a := float32(i) / lugs * 2 * pi
				for k := range 4 {
					o := (float32(k) - 1.5) * 0.058
					b.at(turnZ(a+float32(k&1)*pi/lugs).then(move(r-0.012, 0, o)), func() {
						b.box(-0.012, -0.03, -0.025, 0.012, 0.03, 0.025, 0)
					})
				}
				for _, e := range []float32{-1, 1} {
					b.at(turnZ(a+pi/lugs*float32(i&1)).then(move(r-0.04, 0, e*(w-0.006))), func() {
						b.box(-0.03, -0.014, -0.012, 0.022, 0.014, 0.012, 0)
					})
				}
			}
		})
		b.with(b.fin.wheel, func() {
			b.lathe([]pt{{0.236, w - 0.012}, {0.226, w + 0.004}, {0.214, w - 0.004}, {0.205, w - 0.03}, {0.198, w - 0.075},
				{0.185, w - 0.085}, {0.15, w - 0.06}, {0.115, w - 0.05}, {0.1, w - 0.062}, {0.07, w - 0.062}}, 36)
			b.lathe([]pt{{0.07, -w + 0.05}, {0.2, -w + 0.05}, {0.2, w - 0.075}}, 24)
		})
		// Openings between the spokes read as dark slots.
		b.with(b.fin.black, func() {
			for i := range 8 {
				a := float32(i) / 8 * 2 * pi
				b.at(turnZ(a).then(move(0.166, 0, w-0.066)), func() {
					b.prism(planeXY, rounded(-0.013, -0.03, 0.013, 0.03, 0.012), -0.004, 0.004, 0)
				})
			}
		})
		b.with(b.fin.chrome, func() {
			b.lathe([]pt{{0.075, w - 0.064}, {0.072, w - 0.03}, {0.055, w - 0.012}, {0.03, w - 0.004}, {0, w - 0.002}}, 24)
			for i := range 5 {
				a := float32(i)/5*2*pi + 0.3
				p := vec{0.095 * cos(a), 0.095 * sin(a), w - 0.064}
				b.rod(p, p.add(vec{0, 0, 0.02}), 0.011, 6)
			}
		})
	})
}
