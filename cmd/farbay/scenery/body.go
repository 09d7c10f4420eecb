package scenery

const (
	archR    = 0.515 // radius of a wheel arch
	archZ    = 0.44  // height of its middle
	skin     = 0.03  // thickness of a body panel
	panelGap = 0.007
)

// arch is the cut-out of a wheel arch about x, from behind to before the
// wheel, between the points where it meets the height sill.
func arch(x, sill, r float32) []pt {
	lift := (sill - archZ) / r
	a := float32(0.0)
	for a = 0; sin(a) < lift; a += 0.01 {
	}
	return arc(x, archZ, r, pi-a, a, 22)
}

func (b *builder) drawBody() {
	f := &b.fit
	if f.tub {
		b.drawTub()
	}
	if f.bedPart {
		b.drawBack()
	}
	if f.fenders {
		b.drawFenders()
	}
	if f.bonnet {
		b.drawBonnet()
	}
	if f.grille {
		b.drawFace()
	}
	if f.doors {
		b.both(func(float32) { b.drawDoor() })
	}
	if f.roof {
		b.drawRoof()
	}
	if f.seats {
		b.drawCabin()
	}
	if f.glass {
		b.drawPanes()
	}
	if f.lamps {
		b.drawTrim()
	}
}

// ring is a frame between two outlines of equally many points.
func (b *builder) ring(pl plane, outer, inner []pt, d0, d1, bevel float32) {
	n := len(outer)
	if n > 8 { // many short pieces: rounding each would notch the joints
		bevel = 0
	}
	for i := range outer {
		j := (i + 1) % n
		b.prism(pl, []pt{outer[i], outer[j], inner[j], inner[i]}, d0, d1, bevel)
	}
}

// drawTub is the cab's lower half: floor, firewall, cowl, sills, windscreen
// frame base, and what stands behind the doors.
func (b *builder) drawTub() {
	b.bent(func() {
		b.with(b.fin.body, func() {
			// Firewall and cowl.
			b.prism(planeYZ, []pt{{-0.78, 0.76}, {0.78, 0.76}, {0.78, 1.17}, {-0.78, 1.17}}, b.cowl-0.03, b.cowl-0.005, 0.01)
			b.prism(planeXZ, []pt{{b.cowl - 0.2, 1.15}, {b.cowl - 0.004, 1.12}, {b.cowl - 0.004, 1.17}, {b.cowl - 0.05, b.belt - 0.01}, {b.cowl - 0.2, b.belt - 0.01}}, -b.half+0.01, b.half-0.01, 0.015)
			b.both(func(float32) {
				// Hinge post and sill.
				b.prism(planeXZ, []pt{{b.cowl - 0.05, b.sill}, {b.cowl - 0.004, b.sill}, {b.cowl - 0.004, 1.17}, {b.cowl - 0.05, 1.17}}, b.half-0.1, b.half-0.02, 0.008)
				b.prism(planeXZ, []pt{{b.doorEnd, b.sill - 0.03}, {b.cowl - 0.004, b.sill - 0.03}, {b.cowl - 0.004, b.sill + 0.035}, {b.doorEnd, b.sill + 0.035}}, b.half-0.14, b.half-0.008, 0.015)
			})
		})
		b.with(b.fin.liner, func() {
			z := float32(0.745)
			b.prism(planeXY, []pt{{b.cabBack, -b.half + 0.05}, {b.cowl - 0.03, -b.half + 0.05}, {b.cowl - 0.03, b.half - 0.05}, {b.cabBack, b.half - 0.05}}, z-0.015, z, 0)
			b.prism(planeYZ, append(arc(0, z, 0.17, 0, pi, 10), pt{-0.2, z - 0.01}, pt{0.2, z - 0.01}), b.doorEnd+0.1, b.cowl-0.03, 0.01)
			// Toe board.
			b.prism(planeXZ, []pt{{b.cowl - 0.22, z}, {b.cowl - 0.03, z + 0.18}, {b.cowl - 0.03, z}}, -0.74, 0.74, 0)
		})
		b.with(b.fin.body, func() { b.drawDoorPost() })
	})
}

// drawDoorPost is the body behind the door, to the cab's back or, where there
// is none, to the tail.
func (b *builder) drawDoorPost() {
	if b.truck.Body == ShortBed || b.truck.Body == LongBed {
		b.both(func(float32) {
			b.prism(planeXZ, []pt{{b.cabBack, b.sill - 0.01}, {b.doorEnd - panelGap, b.sill - 0.01}, {b.doorEnd - panelGap, b.belt}, {b.cabBack, b.belt}}, b.half-skin*2, b.half, 0.014)
		})
		b.prism(planeYZ, []pt{{-b.half + 0.02, 0.74}, {b.half - 0.02, 0.74}, {b.half - 0.02, b.belt}, {-b.half + 0.02, b.belt}}, b.cabBack, b.cabBack+0.025, 0.008)
	}
}

// drawBack is the bed of a pickup, or the rear of a tub.
func (b *builder) drawBack() {
	front := b.cabBack - 0.03
	top := float32(1.15)
	floor := float32(0.8)
	if b.truck.Body == Wagon || b.truck.Body == OpenTub {
		front = b.doorEnd - panelGap
		top = b.belt
		floor = 0.79
	}
	b.bent(func() {
		b.with(b.fin.body, func() {
			b.both(func(float32) {
				side := []pt{{b.tail, b.sill + 0.06}, {b.rear - archR*0.9, b.sill + 0.02}}
				side = append(side, arch(b.rear, b.sill, archR)...)
				side = append(side, pt{front, b.sill}, pt{front, top}, pt{b.tail, top})
				b.prism(planeXZ, side, b.half-skin, b.half, 0.012)
				b.prism(planeXZ, []pt{{b.tail, top - 0.012}, {front, top - 0.012}, {front, top + 0.02}, {b.tail, top + 0.02}}, b.half-0.07, b.half+0.004, 0.012)
				b.flare(b.rear)
			})
			// Front wall and tailgate.
			b.prism(planeYZ, []pt{{-b.half + 0.02, floor - 0.05}, {b.half - 0.02, floor - 0.05}, {b.half - 0.02, top}, {-b.half + 0.02, top}}, b.tail, b.tail+0.03, 0.01)
			b.prism(planeYZ, rounded(-b.half+0.14, floor+0.04, b.half-0.14, top-0.06, 0.04), b.tail-0.012, b.tail, 0.008)
			if b.truck.Body == ShortBed || b.truck.Body == LongBed {
				b.prism(planeYZ, []pt{{-b.half + 0.02, floor - 0.05}, {b.half - 0.02, floor - 0.05}, {b.half - 0.02, top}, {-b.half + 0.02, top}}, front-0.03, front, 0.01)
			}
		})
		b.with(b.fin.liner, func() {
			b.prism(planeXY, []pt{{b.tail + 0.02, -b.half + 0.03}, {front, -b.half + 0.03}, {front, b.half - 0.03}, {b.tail + 0.02, b.half - 0.03}}, floor-0.02, floor, 0)
			for y := float32(-0.42); y < 0.45; y += 0.14 {
				b.prism(planeYZ, []pt{{y - 0.035, floor}, {y + 0.035, floor}, {y + 0.025, floor + 0.014}, {y - 0.025, floor + 0.014}}, b.tail+0.06, front-0.05, 0)
			}
			b.both(func(float32) {
				b.prism(planeXZ, append(arc(b.rear, archZ+0.03, archR+0.02, 0.62, pi-0.62, 10), pt{b.rear - 0.44, floor}, pt{b.rear + 0.44, floor}), 0.5, b.half-skin, 0.02)
				b.prism(planeXZ, []pt{{b.tail + 0.02, floor}, {front - 0.02, floor}, {front - 0.02, top - 0.02}, {b.tail + 0.02, top - 0.02}}, b.half-skin-0.008, b.half-skin-0.002, 0)
			})
		})
		b.with(b.fin.black, func() { b.both(func(float32) { b.well(b.rear) }) })
	})
}

// flare is the lip around a wheel arch.
func (b *builder) flare(x float32) {
	foot := b.sill + 0.05
	outer, inner := arch(x, foot, archR+0.05), arch(x, foot, archR-0.004)
	for i := 0; i+1 < len(outer); i++ {
		b.prism(planeXZ, []pt{outer[i], outer[i+1], inner[i+1], inner[i]}, b.half-0.01, b.half+0.03, 0)
	}
	lip := []vec{}
	for _, p := range arch(x, foot, archR+0.022) {
		lip = append(lip, vec{p.u, b.half + 0.022, p.v})
	}
	b.tube(lip, 0.027, 8, false)
}

// well lines the inside of a wheel arch.
func (b *builder) well(x float32) {
	o, i := arch(x, b.sill, archR+0.015), arch(x, b.sill, archR)
	for k := 0; k+1 < len(o); k++ {
		b.prism(planeXZ, []pt{o[k], o[k+1], i[k+1], i[k]}, 0.5, b.half-skin, 0)
	}
}

func (b *builder) drawFenders() {
	b.bent(func() {
		b.both(func(float32) {
			b.with(b.fin.body, func() {
				side := []pt{{b.cowl + panelGap, 1.165}, {b.cowl + panelGap, b.sill - 0.02}}
				side = append(side, arch(b.front, b.sill-0.02, archR)...)
				side = append(side, pt{b.nose - 0.03, b.sill + 0.03}, pt{b.nose, b.sill + 0.06}, pt{b.nose, 1.10}, pt{b.nose - 0.05, 1.125})
				b.prism(planeXZ, side, b.half-skin, b.half, 0.014)
				b.prism(planeXZ, []pt{{b.cowl + panelGap, 1.135}, {b.nose - 0.01, 1.085}, {b.nose - 0.03, 1.125}, {b.cowl + panelGap, 1.167}}, 0.575, b.half-0.004, 0.02)
				b.prism(planeXZ, []pt{{b.cowl + 0.01, 0.78}, {b.nose - 0.04, 0.78}, {b.nose - 0.04, 1.09}, {b.cowl + 0.01, 1.14}}, 0.55, 0.575, 0)
				b.flare(b.front)
			})
			b.with(b.fin.black, func() { b.well(b.front) })
		})
	})
}

func (b *builder) drawBonnet() {
	b.bent(func() {
		b.with(b.fin.body, func() {
			b.prism(planeXZ, []pt{{b.cowl + panelGap, 1.155}, {b.nose - 0.1, 1.115}, {b.nose - 0.045, 1.07}, {b.nose - 0.015, 1.07},
				{b.nose - 0.02, 1.11}, {b.nose - 0.06, 1.152}, {b.cowl + panelGap, 1.2}}, -0.565, 0.565, 0.03)
			// Raised middle.
			b.prism(planeXZ, []pt{{b.cowl + 0.03, 1.18}, {b.nose - 0.22, 1.14}, {b.nose - 0.17, 1.15}, {b.nose - 0.3, 1.188}, {b.cowl + 0.03, 1.226}}, -0.25, 0.25, 0.03)
		})
	})
}

// drawFace is the front panel: a wide slotted grille between square lamp
// bezels. It is nobody's face but this truck's.
func (b *builder) drawFace() {
	x := b.nose
	b.bent(func() {
		b.with(b.fin.body, func() {
			b.prism(planeYZ, []pt{{-b.half + 0.01, b.sill + 0.06}, {b.half - 0.01, b.sill + 0.06}, {b.half - 0.01, 1.1}, {-b.half + 0.01, 1.1}}, x-0.03, x, 0.02)
		})
		b.with(b.fin.black, func() {
			b.prism(planeYZ, rounded(-0.43, 0.82, 0.43, 1.06, 0.05), x-0.01, x+0.004, 0)
			b.both(func(float32) {
				b.prism(planeYZ, rounded(0.49, 0.82, 0.76, 1.06, 0.05), x-0.01, x+0.003, 0)
			})
		})
		b.with(b.fin.roof, func() {
			outer, inner := rounded(-0.45, 0.8, 0.45, 1.08, 0.06), rounded(-0.42, 0.83, 0.42, 1.05, 0.045)
			b.ring(planeYZ, outer, inner, x-0.005, x+0.02, 0.006)
			for i := range 4 {
				z := 0.855 + 0.056*float32(i)
				b.prism(planeYZ, rounded(-0.42, z-0.011, 0.42, z+0.011, 0.008), x, x+0.014, 0.005)
			}
			b.box(x, -0.012, 0.83, x+0.017, 0.012, 1.05, 0.004)
		})
	})
}

// window is the opening in the door's upper half, as seen from the side.
func (b *builder) window() []pt {
	return []pt{{b.doorEnd + 0.02, b.belt}, {b.cowl - 0.05, b.belt}, {b.cowl - 0.27, b.roof - 0.075}, {b.doorEnd + 0.02, b.roof - 0.075}}
}

func inset(p []pt, d float32) []pt {
	n := len(p)
	out := make([]pt, n)
	for i := range p {
		a, c := p[(i+n-1)%n], p[(i+1)%n]
		e1, e2 := unit2(p[i], a), unit2(p[i], c)
		cr := abs(e1.u*e2.v - e1.v*e2.u)
		if cr < 0.1 {
			cr = 0.1
		}
		out[i] = pt{p[i].u + (e1.u+e2.u)*d/cr, p[i].v + (e1.v+e2.v)*d/cr}
	}
	return out
}

func unit2(a, b pt) pt {
	l := sqrt((b.u-a.u)*(b.u-a.u) + (b.v-a.v)*(b.v-a.v))
	return pt{(b.u - a.u) / l, (b.v - a.v) / l}
}

func (b *builder) drawDoor() {
	b.bent(func() {
		b.with(b.fin.body, func() {
			lower := rounded(b.doorEnd, b.sill+0.035+panelGap, b.cowl-panelGap, b.belt+0.3, 0.07)
			// Only the lower corners are round: the top is cut at the window line.
			var p []pt
			for _, q := range lower {
				if q.v > b.belt {
					q.v = b.belt
				}
				p = append(p, q)
			}
			b.prism(planeXZ, dedupe(p), b.half-skin, b.half, 0.012)
			if b.truck.Body != OpenTub {
				w := b.window()
				w[1].u += 0.02
				b.ring(planeXZ, w, inset(w, 0.035), b.half-0.045, b.half-0.012, 0.01)
			}
		})
		b.with(b.fin.seat, func() {
			b.prism(planeXZ, rounded(b.doorEnd+0.08, b.sill+0.16, b.cowl-0.1, b.belt-0.08, 0.05), b.half-skin-0.012, b.half-skin, 0.008)
		})
		if !b.fit.lamps {
			return
		}
		b.with(b.fin.chrome, func() {
			b.prism(planeXZ, rounded(b.doorEnd+0.05, b.belt-0.115, b.doorEnd+0.19, b.belt-0.085, 0.014), b.half+0.016, b.half+0.034, 0.006)
			b.rod(vec{b.doorEnd + 0.17, b.half - 0.01, b.belt - 0.1}, vec{b.doorEnd + 0.17, b.half + 0.03, b.belt - 0.1}, 0.018, 10)
			for _, z := range []float32{b.sill + 0.16, b.belt - 0.1} {
				b.rod(vec{b.cowl - 0.004, b.half + 0.004, z - 0.04}, vec{b.cowl - 0.004, b.half + 0.004, z + 0.04}, 0.013, 8)
			}
			// Mirror.
			b.rod(vec{b.cowl - 0.12, b.half - 0.03, b.belt - 0.02}, vec{b.cowl - 0.06, b.half + 0.14, b.belt + 0.1}, 0.008, 6)
			b.box(b.cowl-0.075, b.half+0.07, b.belt+0.06, b.cowl-0.045, b.half+0.23, b.belt+0.2, 0.012)
		})
	})
}

func dedupe(p []pt) []pt {
	var out []pt
	for i, q := range p {
		r := p[(i+1)%len(p)]
		if abs(q.u-r.u) < 1e-5 && abs(q.v-r.v) < 1e-5 {
			continue
		}
		// Points along the straight cut add nothing.
		if n := len(out); n > 0 && q.v == out[n-1].v && q.v == r.v {
			continue
		}
		out = append(out, q)
	}
	return out
}
