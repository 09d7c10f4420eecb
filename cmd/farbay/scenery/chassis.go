package scenery

const (
	railY = 0.40  // middle of a frame rail
	railW = 0.035 // half its width
	railH = 0.075 // half its height
)

// rail is the middle line of a frame rail, seen from the side: straight
// amidships, up over the axles.
func (b *builder) rail() []pt {
	z := b.frameZ - railH
	return []pt{
		{b.tail + 0.06, z + 0.04}, {b.rear - 0.42, z + 0.05}, {b.rear - 0.12, z + 0.08}, {b.rear + 0.22, z + 0.08},
		{b.rear + 0.52, z}, {b.front - 0.55, z}, {b.front - 0.2, z + 0.05}, {b.front + 0.3, z + 0.05}, {b.nose - 0.02, z + 0.03},
	}
}

// underRail is the height of the rail's lower edge at x.
func (b *builder) underRail(x float32) float32 {
	r := b.rail()
	for i := 1; i < len(r); i++ {
		if x <= r[i].u {
			return lerp(r[i-1].v, r[i].v, (x-r[i-1].u)/(r[i].u-r[i-1].u)) - railH + b.fit.lift
		}
	}
	return b.frameZ + b.fit.lift
}

// drawFrame is the ladder frame: two boxed rails, cross members, spring
// hangers and body mounts.
func (b *builder) drawFrame() {
	z := b.frameZ - railH
	top := b.rail()
	var poly []pt
	for _, p := range top {
		poly = append(poly, pt{p.u, p.v + railH})
	}
	for i := len(top) - 1; i >= 0; i-- {
		h := float32(railH)
		if i == 0 || i == len(top)-1 {
			h *= 0.6
		}
		poly = append(poly, pt{top[i].u, top[i].v - h})
	}
	b.with(b.fin.frame, func() {
		b.both(func(float32) {
			b.prism(planeXZ, poly, railY-railW, railY+railW, 0.008)
			// Body mounts: outriggers with a rubber pad each.
			for _, x := range []float32{b.tail + 0.3, b.rear + 0.62, b.doorEnd + 0.35, b.cowl - 0.05, b.front + 0.36} {
				b.prism(planeXZ, []pt{{x - 0.05, z - 0.02}, {x + 0.05, z - 0.02}, {x + 0.05, z + 0.05}, {x - 0.05, z + 0.05}}, railY, railY+0.2, 0.006)
				b.with(b.fin.black, func() {
					b.rod(vec{x, railY + 0.15, z + 0.05}, vec{x, railY + 0.15, z + 0.085}, 0.04, 14)
				})
			}
			// Spring hangers fore and aft of each axle.
			for _, x := range []float32{b.front + 0.5, b.front - 0.5, b.rear + 0.56, b.rear - 0.56} {
				b.prism(planeXZ, []pt{{x - 0.07, z + 0.02}, {x + 0.07, z + 0.02}, {x + 0.03, z - 0.17}, {x - 0.03, z - 0.17}}, railY-0.03, railY+0.03, 0.006)
				b.rod(vec{x, railY - 0.05, z - 0.14}, vec{x, railY + 0.05, z - 0.14}, 0.016, 8)
			}
			// Shock towers.
			for _, x := range []float32{b.front + 0.1, b.rear + 0.1} {
				b.box(x-0.04, railY, z+0.02, x+0.04, railY+0.06, z+0.16, 0.006)
			}
		})
		// Cross members: channels and tubes.
		for _, x := range []float32{b.tail + 0.12, b.rear - 0.3, b.rear + 0.66, b.doorEnd + 0.3, b.front - 0.62} {
			b.prism(planeXZ, []pt{{x - 0.055, z - 0.05}, {x + 0.055, z - 0.05}, {x + 0.045, z + 0.045}, {x - 0.045, z + 0.045}}, -railY, railY, 0.008)
		}
		b.rod(vec{b.rear + 0.3, -railY, z + 0.09}, vec{b.rear + 0.3, railY, z + 0.09}, 0.035, 14)
		b.prism(planeYZ, []pt{{-railY, z - 0.04}, {railY, z - 0.04}, {railY, z + 0.09}, {-railY, z + 0.09}}, b.nose-0.1, b.nose-0.03, 0.01)
		b.prism(planeXY, []pt{{b.front + 0.1, -railY}, {b.front + 0.22, -railY}, {b.front + 0.22, railY}, {b.front + 0.1, railY}}, z-0.06, z-0.01, 0.008)
	})
}

// drawAxles is both axles with their leaf springs, shock absorbers, propeller
// shafts, brake drums and steering.
func (b *builder) drawAxles() {
	z := b.wheel
	for _, x := range []float32{b.front, b.rear} {
		b.with(b.fin.axle, func() {
			b.rod(vec{x, -b.track + 0.1, z}, vec{x, b.track - 0.1, z}, 0.042, 16)
			off := float32(-0.08)
			if x > 0 {
				off = 0.2
			}
			b.at(move(x, off, z).then(turnY(pi/2)), func() {
				b.lathe([]pt{{0, -0.15}, {0.06, -0.145}, {0.115, -0.11}, {0.145, -0.05}, {0.145, 0.03}, {0.12, 0.1}, {0.06, 0.135}, {0, 0.14}}, 20)
				for i := range 10 {
					a := float32(i) / 10 * 2 * pi
					b.rod(vec{0.13 * cos(a), 0.13 * sin(a), -0.05}, vec{0.13 * cos(a), 0.13 * sin(a), -0.075}, 0.01, 6)
				}
			})
			b.both(func(float32) {
				b.at(move(x, b.track-0.12, z).then(turnX(-pi/2)), func() {
					b.lathe([]pt{{0, -0.03}, {0.13, -0.03}, {0.15, -0.02}, {0.15, 0.05}, {0.13, 0.06}, {0.06, 0.065}, {0.055, 0.12}, {0, 0.12}}, 24)
				})
				// Leaves: each shorter than the one above it, bowed upwards at the ends.
				for leaf := range 6 {
					l := 0.56 - 0.08*float32(leaf)
					drop := z + 0.06 - 0.013*float32(leaf) + 0.04
					b.leaf(x, l, 0.4, drop)
				}
				b.box(x-0.06, 0.36, z-0.06, x+0.06, 0.44, z-0.03, 0.006)
				for _, dx := range []float32{-0.045, 0.045} {
					b.rod(vec{x + dx, 0.37, z - 0.08}, vec{x + dx, 0.37, z + 0.13}, 0.009, 6)
					b.rod(vec{x + dx, 0.43, z - 0.08}, vec{x + dx, 0.43, z + 0.13}, 0.009, 6)
				}
			})
		})
		b.both(func(float32) {
			lo, hi := vec{x + 0.06, 0.5, z - 0.02}, vec{x + 0.1, 0.46, b.frameZ + 0.1}
			b.with(b.fin.body, func() {
				m := mix(lo, hi, 0.5)
				b.rod(m, hi, 0.035, 14)
			})
			b.with(b.fin.chrome, func() { b.rod(lo, hi, 0.018, 10) })
		})
	}
	b.with(b.fin.axle, func() {
		tz := b.frameZ - 0.12
		b.rod(vec{b.rear + 0.13, -0.08, z + 0.02}, vec{b.doorEnd + 0.32, -0.02, tz}, 0.035, 14)
		b.rod(vec{b.front - 0.13, 0.2, z + 0.02}, vec{b.doorEnd + 0.5, 0.16, tz}, 0.03, 14)
		b.rod(vec{b.front - 0.16, -0.6, z + 0.02}, vec{b.front - 0.16, 0.6, z + 0.02}, 0.018, 10)
	})
}

func (b *builder) leaf(x, half, y, z float32) {
	const t = 0.006
	var lo, hi []pt
	for i := range 9 {
		k := float32(i)/4 - 1
		bow := 0.1 * half * half / 0.3 * k * k
		hi = append(hi, pt{x + k*half, z + bow + t})
		lo = append([]pt{{x + k*half, z + bow - t}}, lo...)
	}
	b.prism(planeXZ, append(hi, lo...), y-0.032, y+0.032, 0)
}

// drawEngine is an inline six with its gearbox, transfer case, exhaust,
// radiator and fuel tank.
func (b *builder) drawEngine() {
	x0, x1 := b.cowl+0.08, b.front+0.22
	b.with(b.fin.engine, func() {
		b.box(x0, -0.15, b.frameZ-0.1, x1, 0.13, b.frameZ+0.2, 0.015)
		b.box(x0+0.02, -0.12, b.frameZ+0.2, x1-0.02, 0.1, b.frameZ+0.3, 0.02)
		b.prism(planeYZ, rounded(-0.09, b.frameZ+0.3, 0.07, b.frameZ+0.37, 0.03), x0+0.04, x1-0.05, 0.015)
		b.box(x0+0.1, -0.13, b.frameZ-0.22, x1-0.05, 0.11, b.frameZ-0.1, 0.03)
		b.at(move(x0, -0.01, b.frameZ).then(turnY(-pi/2)), func() {
			b.lathe([]pt{{0, -0.02}, {0.19, 0}, {0.19, 0.06}, {0.13, 0.2}, {0.12, 0.5}, {0.08, 0.54}, {0, 0.55}}, 24)
		})
		b.box(b.doorEnd+0.3, -0.1, b.frameZ-0.2, b.doorEnd+0.56, 0.24, b.frameZ+0.04, 0.04)
	})
	b.with(b.fin.black, func() {
		// Air cleaner and fan.
		b.at(move((x0+x1)/2+0.06, -0.02, b.frameZ+0.38), func() {
			b.lathe([]pt{{0, 0}, {0.15, 0}, {0.16, 0.02}, {0.16, 0.075}, {0.14, 0.09}, {0, 0.095}}, 28)
		})
		b.at(move(x1+0.02, -0.01, b.frameZ+0.12).then(turnY(pi/2)), func() {
			b.lathe([]pt{{0, 0}, {0.075, 0}, {0.075, 0.03}, {0, 0.03}}, 20)
			for i := range 5 {
				b.at(turnZ(float32(i)/5*2*pi).then(move(0, 0, 0.05)).then(turnX(0.45)), func() {
					b.box(0.03, -0.03, -0.004, 0.19, 0.03, 0.004, 0)
				})
			}
		})
		b.box(b.nose-0.2, -0.3, b.frameZ-0.02, b.nose-0.13, 0.3, b.frameZ+0.4, 0.01)
	})
	b.with(b.fin.rust, func() {
		for i := range 3 {
			x := x0 + 0.14 + 0.2*float32(i)
			b.tube([]vec{{x, -0.14, b.frameZ + 0.22}, {x, -0.2, b.frameZ + 0.2}, {x - 0.04, -0.23, b.frameZ + 0.12}}, 0.026, 8, false)
		}
		b.rod(vec{x0 + 0.02, -0.23, b.frameZ + 0.1}, vec{x1 - 0.1, -0.23, b.frameZ + 0.1}, 0.035, 12)
		b.tube([]vec{{x0 + 0.05, -0.23, b.frameZ + 0.06}, {x0 - 0.05, -0.26, b.frameZ - 0.14}, {b.doorEnd, -0.27, b.frameZ - 0.16},
			{b.rear + 0.6, -0.27, b.frameZ - 0.1}, {b.rear + 0.1, -0.28, b.frameZ + 0.1}, {b.rear - 0.3, -0.3, b.frameZ - 0.02}, {b.tail + 0.02, -0.34, b.frameZ - 0.04}}, 0.027, 10, false)
		b.at(along(vec{b.doorEnd - 0.05, -0.27, b.frameZ - 0.15}, vec{b.rear + 0.62, -0.27, b.frameZ - 0.1}), func() {
			b.lathe([]pt{{0, 0}, {0.05, 0}, {0.075, 0.03}, {0.075, 0.4}, {0.05, 0.43}, {0, 0.43}}, 16)
		})
	})
	if b.fit.tank {
		b.with(b.fin.frame, func() {
			b.box(b.tail+0.14, -0.34, b.frameZ-0.26, b.tail+0.5, 0.34, b.frameZ-0.04, 0.04)
		})
	}
}

// drawBumpers is a plain channel in front with two hooks, and two corners behind.
func (b *builder) drawBumpers() {
	b.with(b.fin.chrome, func() {
		z := b.frameZ - 0.09
		b.prism(planeXY, []pt{{b.nose + 0.08, -0.6}, {b.nose + 0.16, -0.56}, {b.nose + 0.16, 0.56}, {b.nose + 0.08, 0.6}, {b.nose - 0.02, 0.8}, {b.nose - 0.08, 0.8}, {b.nose + 0.02, 0.56}, {b.nose + 0.02, -0.56}, {b.nose - 0.08, -0.8}, {b.nose - 0.02, -0.8}}, z, z+0.13, 0.02)
		b.prism(planeXY, []pt{{b.tail - 0.12, -0.78}, {b.tail - 0.05, -0.78}, {b.tail - 0.05, 0.78}, {b.tail - 0.12, 0.78}}, z, z+0.11, 0.02)
	})
	b.with(b.fin.black, func() {
		b.both(func(float32) {
			b.box(b.nose-0.1, 0.36, b.frameZ-0.07, b.nose+0.06, 0.44, b.frameZ, 0.01)
			b.box(b.tail-0.07, 0.36, b.frameZ-0.07, b.tail+0.1, 0.44, b.frameZ, 0.01)
			x := b.nose + 0.17
			b.tube([]vec{{x, 0.4, b.frameZ - 0.05}, {x + 0.05, 0.4, b.frameZ - 0.03}, {x + 0.06, 0.4, b.frameZ + 0.02}, {x + 0.01, 0.4, b.frameZ + 0.03}}, 0.014, 8, false)
		})
	})
}
