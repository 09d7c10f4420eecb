package scenery

// drawRoof is what stands above the window line: windscreen frame, posts and
// roof; on an open tub the windscreen frame and a roll bar.
func (b *builder) drawRoof() {
	x0, x1 := b.cowl-0.06, b.cowl-0.28
	open := b.truck.Body == OpenTub
	if open {
		x1 = b.cowl - 0.16
	}
	b.bent(func() {
		b.with(b.fin.body, func() {
			b.both(func(float32) { // front posts
				b.prism(planeXZ, []pt{{x0 - 0.05, b.belt - 0.02}, {x0 + 0.03, b.belt - 0.02}, {x1 + 0.03, b.roof - 0.05}, {x1 - 0.03, b.roof - 0.05}}, b.half-0.1, b.half-0.035, 0.012)
			})
			b.prism(planeXZ, []pt{{x1 - 0.03, b.roof - 0.09}, {x1 + 0.05, b.roof - 0.09}, {x1 + 0.03, b.roof - 0.035}, {x1 - 0.03, b.roof - 0.035}}, -b.half+0.04, b.half-0.04, 0.01)
			b.prism(planeXZ, []pt{{x0 - 0.05, b.belt - 0.03}, {x0 + 0.04, b.belt - 0.03}, {x0 + 0.025, b.belt + 0.05}, {x0 - 0.03, b.belt + 0.05}}, -b.half+0.04, b.half-0.04, 0.01)
		})
		if open {
			return
		}
		b.with(b.fin.roof, func() {
			back := b.cabBack - 0.02
			b.prism(planeXY, rounded(back, -b.half+0.01, x1+0.07, b.half-0.01, 0.12), b.roof-0.06, b.roof, 0.028)
			b.both(func(float32) { // drip rail
				b.prism(planeXZ, []pt{{back + 0.1, b.roof - 0.062}, {x1, b.roof - 0.062}, {x1, b.roof - 0.05}, {back + 0.1, b.roof - 0.05}}, b.half-0.03, b.half+0.01, 0.003)
			})
		})
		b.with(b.fin.body, func() {
			if b.truck.Body == Wagon {
				b.both(func(float32) {
					win := []pt{{b.tail + 0.03, b.belt}, {b.doorEnd, b.belt}, {b.doorEnd, b.roof - 0.05}, {b.tail + 0.06, b.roof - 0.05}}
					b.ring(planeXZ, win, inset(win, 0.075), b.half-0.06, b.half-0.01, 0.012)
				})
				gate := []pt{{-b.half + 0.03, b.belt + 0.02}, {b.half - 0.03, b.belt + 0.02}, {b.half - 0.03, b.roof - 0.05}, {-b.half + 0.03, b.roof - 0.05}}
				b.ring(planeYZ, gate, inset(gate, 0.08), b.tail+0.01, b.tail+0.05, 0.012)
				return
			}
			b.both(func(float32) {
				b.prism(planeXZ, []pt{{b.cabBack, b.belt - 0.01}, {b.doorEnd, b.belt - 0.01}, {b.doorEnd, b.roof - 0.05}, {b.cabBack + 0.02, b.roof - 0.05}}, b.half-0.07, b.half-0.012, 0.014)
			})
			win := []pt{{-b.half + 0.03, b.belt - 0.01}, {b.half - 0.03, b.belt - 0.01}, {b.half - 0.03, b.roof - 0.05}, {-b.half + 0.03, b.roof - 0.05}}
			b.ring(planeYZ, win, inset(win, 0.1), b.cabBack, b.cabBack+0.04, 0.012)
		})
	})
	if open && b.fit.lamps {
		b.with(b.fin.black, func() {
			x := b.doorEnd - 0.1
			hoop := []vec{{x, 0.62, 0.8}, {x, 0.62, 1.3}, {x, 0.6, 1.62}, {x, 0.52, 1.73}, {x, 0.4, 1.77}, {x, -0.4, 1.77}, {x, -0.52, 1.73}, {x, -0.6, 1.62}, {x, -0.62, 1.3}, {x, -0.62, 0.8}}
			b.tube(hoop, 0.026, 12, false)
			b.both(func(float32) {
				b.tube([]vec{{x, 0.56, 1.68}, {x - 0.3, 0.58, 1.4}, {b.rear - 0.2, 0.6, 1.0}, {b.rear - 0.3, 0.6, 0.8}}, 0.024, 10, false)
			})
		})
	}
}

// drawPanes is the glass.
func (b *builder) drawPanes() {
	b.bent(func() {
		b.with(b.fin.glass, func() {
			x0, x1 := b.cowl-0.06, b.cowl-0.28
			if b.truck.Body == OpenTub {
				x1 = b.cowl - 0.16
			}
			pane := func(p ...vec) { b.quad(p[0], p[1], p[2], p[3]) }
			y := b.half - 0.09
			pane(vec{x0, -y, b.belt + 0.04}, vec{x0, y, b.belt + 0.04}, vec{x1, y, b.roof - 0.08}, vec{x1, -y, b.roof - 0.08})
			if b.truck.Body == OpenTub {
				return
			}
			b.both(func(float32) {
				w := inset(b.window(), 0.03)
				y := b.half - 0.03
				pane(vec{w[0].u, y, w[0].v}, vec{w[1].u, y, w[1].v}, vec{w[2].u, y, w[2].v}, vec{w[3].u, y, w[3].v})
				if b.truck.Body == Wagon {
					pane(vec{b.tail + 0.1, y, b.belt + 0.06}, vec{b.doorEnd - 0.06, y, b.belt + 0.06}, vec{b.doorEnd - 0.06, y, b.roof - 0.12}, vec{b.tail + 0.12, y, b.roof - 0.12})
				}
			})
			xb := b.cabBack + 0.02
			if b.truck.Body == Wagon {
				xb = b.tail + 0.03
			}
			pane(vec{xb, -y + 0.04, b.belt + 0.08}, vec{xb, y - 0.04, b.belt + 0.08}, vec{xb, y - 0.04, b.roof - 0.14}, vec{xb, -y + 0.04, b.roof - 0.14})
		})
	})
}

// drawCabin is seats, dashboard and steering wheel.
func (b *builder) drawCabin() {
	b.with(b.fin.seat, func() {
		x := b.doorEnd + 0.12
		seat := func(y0, y1 float32) {
			b.box(x, y0, 0.84, x+0.48, y1, 1.0, 0.05)
			b.prism(planeXZ, []pt{{x - 0.06, 0.94}, {x + 0.08, 0.94}, {x - 0.02, 1.46}, {x - 0.14, 1.46}}, y0, y1, 0.045)
			for k := range 4 { // pleats
				y := y0 + (y1-y0)*(0.2+0.2*float32(k))
				b.with(b.fin.black, func() { b.box(x+0.06, y-0.003, 0.996, x+0.44, y+0.003, 1.003, 0) })
			}
		}
		if b.truck.Body == Wagon || b.truck.Body == OpenTub {
			seat(0.13, 0.62)
			seat(-0.62, -0.13)
		} else {
			seat(-0.64, 0.64)
		}
		if b.truck.Body == Wagon {
			x -= 0.95
			seat(-0.6, 0.6)
		}
	})
	b.with(b.fin.body, func() {
		b.prism(planeXZ, []pt{{b.cowl - 0.28, 1.03}, {b.cowl - 0.05, 1.03}, {b.cowl - 0.05, 1.2}, {b.cowl - 0.24, 1.2}, {b.cowl - 0.3, 1.13}}, -b.half+0.1, b.half-0.1, 0.02)
	})
	b.with(b.fin.black, func() {
		c := vec{b.cowl - 0.42, 0.36, 1.18}
		b.at(move(c.x, c.y, c.z).then(turnY(-1.05)), func() {
			var rim []vec
			for i := range 28 {
				a := float32(i) / 28 * 2 * pi
				rim = append(rim, vec{0.19 * cos(a), 0.19 * sin(a), 0})
			}
			b.tube(rim, 0.014, 8, true)
			for i := range 3 {
				a := float32(i)/3*2*pi + 0.5
				b.rod(vec{}, vec{0.18 * cos(a), 0.18 * sin(a), 0}, 0.009, 6)
			}
			b.rod(vec{0, 0, -0.03}, vec{0, 0, 0.02}, 0.04, 12)
		})
		b.rod(c, vec{b.cowl - 0.1, 0.36, 0.95}, 0.02, 8)
		b.rod(vec{b.cowl - 0.34, -0.02, 0.9}, vec{b.cowl - 0.42, 0.0, 1.22}, 0.01, 8)
		b.at(move(b.cowl-0.42, 0, 1.23), func() { ball(b.model, 0.028) })
	})
}

// ball is a sphere of radius r about the origin.
func ball(m *model, r float32) {
	p := arc(0, 0, r, -pi/2, pi/2, 8)
	m.lathe(p, 14)
}

// drawTrim is lamps, plates, wipers and the rest that comes last.
func (b *builder) drawTrim() {
	x := b.nose
	lamp := func(y, z, r float32) {
		b.at(move(x, y, z).then(turnY(pi/2)), func() {
			b.with(b.fin.chrome, func() {
				b.lathe([]pt{{r + 0.018, 0}, {r + 0.014, 0.022}, {r + 0.004, 0.028}, {r - 0.012, 0}}, 32)
			})
			b.with(b.fin.lampGlass, func() {
				b.lathe([]pt{{r, 0.012}, {r * 0.8, 0.026}, {r * 0.45, 0.036}, {0, 0.04}}, 28)
			})
		})
	}
	b.bent(func() {
		b.both(func(float32) {
			lamp(0.625, 0.94, 0.1)
			b.with(b.fin.amber, func() {
				b.prism(planeYZ, rounded(0.55, 0.745, 0.7, 0.79, 0.02), x, x+0.022, 0.01)
				b.prism(planeXZ, rounded(b.nose-0.2, 1.0, b.nose-0.1, 1.035, 0.015), b.half, b.half+0.012, 0.006)
			})
			// Tail lamps.
			tz := float32(0.94)
			b.with(b.fin.red, func() {
				b.prism(planeYZ, rounded(b.half-0.115, tz, b.half-0.03, tz+0.13, 0.02), b.tail-0.025, b.tail, 0.01)
			})
			b.with(b.fin.amber, func() {
				b.prism(planeYZ, rounded(b.half-0.115, tz-0.06, b.half-0.03, tz-0.012, 0.015), b.tail-0.025, b.tail, 0.01)
			})
		})
		b.with(b.fin.chrome, func() {
			// Filler cap, tailgate handle, the maker's small data plate.
			b.at(move(b.rear+0.62, -b.half, 1.0).then(turnX(pi/2)), func() {
				b.lathe([]pt{{0.05, -0.01}, {0.05, 0.012}, {0.04, 0.02}, {0, 0.022}}, 20)
			})
			b.box(b.tail-0.03, -0.09, 1.02, b.tail-0.012, 0.09, 1.045, 0.006)
			b.both(func(float32) {
				b.box(b.cowl+0.12, b.half, 1.03, b.cowl+0.3, b.half+0.006, 1.055, 0.003)
			})
		})
		b.with(b.fin.black, func() {
			b.both(func(float32) {
				b.rod(vec{b.cowl - 0.03, 0.16, b.belt + 0.045}, vec{b.cowl - 0.1, 0.5, b.belt + 0.12}, 0.007, 6)
				b.rod(vec{b.cowl - 0.065, 0.22, b.belt + 0.055}, vec{b.cowl - 0.1, 0.62, b.belt + 0.125}, 0.006, 6)
			})
		})
	})
}
