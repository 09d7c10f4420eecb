package scenery

// framing is where the camera stands and what it must show.
type framing struct {
	target   vec
	azimuth  float32 // of the camera seen from the target, radians from +x
	height   float32 // of the camera above the floor
	corners  []vec   // must all be in the picture
	fill     float32 // share of the picture they take
	distance float32 // used as it is when there are no corners
	fov      float32 // of the photo's longer side, radians
}

// frameShot chooses the camera's place for a shot of the whole truck.
func (s Shot) frameShot(b *builder) framing {
	d := dice{seed: int32(s.Number)*131 + int32(s.Truck.Seed)*17 + int32(s.View)*7 + int32(s.State)*3}
	az := map[View]float32{SideRight: -pi / 2, SideLeft: pi / 2, Front: 0, Rear: pi, ThreeQuarterFront: 0.72, ThreeQuarterRear: pi - 0.68, Detail: 0.6}[s.View]
	if (s.View == ThreeQuarterFront || s.View == ThreeQuarterRear || s.View == Detail) && d.unit() < 0.5 {
		az = -az
	}
	az += d.between(-0.1, 0.1)
	top := b.roof
	low := float32(0)
	f := framing{azimuth: az, height: d.between(1.25, 1.75), fill: d.between(0.84, 0.93), fov: 1.02}
	x0, x1, y := b.tail-0.15, b.nose+0.15, b.half+0.05
	switch s.State {
	case BareFrame, FrameCoated:
		low, top, y = 0.4, 0.95, 0.5
		f.height = d.between(1.3, 1.9)
	case RollingChassis:
		low, top = 0.1, 1.1
	case TornDown:
		y = 1.5
		x1 += 0.7
		f.height += 0.25
	case DeliveryTrailer:
		low, top = 0, b.roof+trailerDeck
		x0 -= 0.5
		x1 += 0.6
		f.height = d.between(1.4, 1.8)
	}
	if long := s.View != Front && s.View != Rear; s.Upright && long {
		// A long truck does not fit a tall picture: step up to one end of it.
		front := s.View == ThreeQuarterFront || (s.View != ThreeQuarterRear && d.unit() < 0.6)
		if front {
			x0 = -0.15 * b.base
		} else {
			x1 = 0.1 * b.base
		}
		f.fill = 0.96
	}
	f.target = vec{(x0 + x1) / 2, 0, (top + low) * 0.47}
	if s.View == Detail {
		spots := []vec{{b.nose - 0.1, b.half - 0.2, 0.9}, {b.front, b.half, 0.55}, {b.rear, b.half, 0.6}, {b.cowl, b.half, 1.1}}
		spot := spots[int(d.unit()*4)%4]
		if s.State == BareFrame || s.State == FrameCoated || s.State == RollingChassis {
			spot.y, spot.z = 0.4, 0.6
		}
		spot.z += b.fit.lift
		if az < 0 {
			spot.y = -spot.y
			f.azimuth = -d.between(0.55, 1.1)
		} else {
			f.azimuth = d.between(0.55, 1.1)
		}
		if spot.x < 0 {
			f.azimuth = sign(az)*pi - f.azimuth
		}
		f.target, f.distance, f.fov = spot, d.between(1.5, 2.0), 0.95
		f.height = spot.z + d.between(0.2, 0.6)
		return f
	}
	for _, x := range []float32{x0, x1} {
		for _, yy := range []float32{-y, y} {
			f.corners = append(f.corners, vec{x, yy, low}, vec{x, yy, top})
		}
	}
	return f
}

func sign(x float32) float32 {
	if x < 0 {
		return -1
	}
	return 1
}

// aim places the camera and turns the picture as the phone was held.
func (s *scene) aim(f framing, w, h int, orientation int) {
	upright := orientation == orientRightTop || orientation == orientLeftBottom
	tall, wide := float32(h), float32(w)
	if upright {
		tall, wide = wide, tall
	}
	long := max(tall, wide)
	half := sin(f.fov/2) / cos(f.fov/2)
	focal := long / 2 / half
	place := func(dist float32) (eye, fwd, right, up vec) {
		rise := f.height - f.target.z
		flat := sqrt(max(dist*dist-rise*rise, 0.01))
		eye = f.target.add(vec{cos(f.azimuth) * flat, sin(f.azimuth) * flat, rise})
		fwd = f.target.sub(eye).unit()
		right = fwd.cross(vec{0, 0, 1}).unit()
		return eye, fwd, right, right.cross(fwd)
	}
	dist := f.distance
	if len(f.corners) > 0 {
		lo, hi := float32(1.5), float32(20)
		for range 16 {
			mid := (lo + hi) / 2
			eye, fwd, right, up := place(mid)
			inside := true
			for _, p := range f.corners {
				q := p.sub(eye)
				z := q.dot(fwd)
				if z < 0.2 || abs(q.dot(right))/z*focal > f.fill*wide/2 || abs(q.dot(up))/z*focal > f.fill*tall/2 {
					inside = false
					break
				}
			}
			if inside {
				hi = mid
			} else {
				lo = mid
			}
		}
		dist = hi
	}
	eye, fwd, right, up := place(dist)
	c := camera{eye: eye, fwd: fwd, right: right, up: up, w: w, h: h, focal: focal}
	switch orientation {
	case orientRightTop: // stored turned a quarter counterclockwise
		c.right, c.up = up.mul(-1), right
	case orientLeftBottom:
		c.right, c.up = up, right.mul(-1)
	case orientBottomRight:
		c.right, c.up = right.mul(-1), up.mul(-1)
	}
	s.cam = c
}
