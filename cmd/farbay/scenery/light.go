package scenery

// setting is where a photo is taken.
type setting uint8

const (
	workshop setting = iota
	booth            // the spray booth: white walls, light from all sides
	yard             // gravel before the steel building
	road             // a dirt road in low hills
)

// scene is everything one photo shows.
type scene struct {
	*model
	cam      camera
	setting  setting
	key      vec // direction towards the main light
	keyCol   vec
	skyCol   vec // light from above and from below, for surfaces facing there
	lowCol   vec
	expose   float32
	blur     float32 // how far the background is out of focus, 0..1
	focus    float32 // distance from the camera that is sharp
	macro    bool    // a close-up: shallow depth of field
	texScale float32 // 1 for a truck; more for small things, whose rust is finer
	offset   vec     // moves the noise, so that no two trucks rust alike

	light lightView
	tiles *tiles
}

// Room of the workshop, half sizes and height, in metres.
const (
	roomX = 8.0
	roomY = 5.6
	roomZ = 4.4
)

// lightView maps a place to the shadow map seen from the key light.
type lightView struct {
	right, up, dir vec
	centre         vec
	scale          float32 // texels a metre
	size           int
	softness       float32 // radius of the penumbra in metres
	bias           float32 // depth within which a surface does not shade itself, metres
}

// castShadows draws the scene as the key light sees it, within radius of centre.
func (s *scene) castShadows(c *canvas, centre vec, radius, softness float32) {
	const size = 768
	l := lightView{dir: s.key, centre: centre, size: size, scale: size / (2 * radius), softness: softness, bias: 1.3 * 2 * radius / size}
	ref := vec{0, 0, 1}
	if abs(s.key.z) > 0.95 {
		ref = vec{1, 0, 0}
	}
	l.right = ref.cross(s.key).unit()
	l.up = s.key.cross(l.right)
	s.light = l
	c.lightMap = fit(c.lightMap, size*size)
	clearTo(c.lightMap, -1e9)
	flat := c.flat[:0]
	for i := range s.tris {
		t := &s.tris[i]
		k := s.mats[t.mat].kind
		if k == kindGlass || s.mats[t.mat].noShadow {
			continue
		}
		// Far sides cast the shadow: near ones would shade themselves.
		if !s.mats[t.mat].twoSided && t.n[0].dot(s.key) > 0 && t.n[1].dot(s.key) > 0 && t.n[2].dot(s.key) > 0 {
			continue
		}
		var st screenTri
		var d [3]float32
		for j, p := range t.p {
			q := p.sub(centre)
			st.x[j] = size/2 + q.dot(l.right)*l.scale
			st.y[j] = size/2 - q.dot(l.up)*l.scale
			d[j] = q.dot(l.dir)
		}
		if offscreen(st.x, size) || offscreen(st.y, size) {
			continue
		}
		g, ok := newGradient(st.x, st.y)
		if !ok {
			continue
		}
		st.iw = g.of(d)
		flat = append(flat, st)
	}
	raster(flat, size, size, 0, 0, c.lightMap, nil)
	c.flat = flat
}

// poisson spreads the shadow's samples.
var poisson = [5][2]float32{{-0.6, -0.5}, {0.7, -0.35}, {0.05, 0.05}, {-0.45, 0.7}, {0.55, 0.7}}

// lit is the share of the key light that reaches p, 0..1. turn (any number)
// rotates the sample pattern from pixel to pixel.
func (s *scene) lit(c *canvas, p, n vec, turn int) float32 {
	l := &s.light
	q := p.add(n.mul(l.bias)).sub(l.centre)
	x := float32(l.size)/2 + q.dot(l.right)*l.scale
	y := float32(l.size)/2 - q.dot(l.up)*l.scale
	d := q.dot(l.dir) + l.bias
	r := l.softness * l.scale
	lim := float32(l.size) - 1 - r
	if !(x > r && y > r && x < lim && y < lim) {
		return 1
	}
	cs, sn := r, float32(0)
	if turn&1 != 0 {
		cs, sn = r*0.707, r*0.707
	}
	if turn&2 != 0 {
		cs, sn = -sn, cs
	}
	var free float32
	for i := range poisson {
		ox := poisson[i][0]*cs - poisson[i][1]*sn
		oy := poisson[i][0]*sn + poisson[i][1]*cs
		over := c.lightMap[int(y+oy)*l.size+int(x+ox)] - d
		if over < 0 {
			free++
		} else if over < l.bias {
			free += 1 - over/l.bias
		}
	}
	return free / float32(len(poisson))
}

// groundMap is the shade that things cast on the floor below them from all
// sides at once, seen from below: three heights, each blurred by its height.
type groundMap struct {
	w, h       int
	x0, y0     float32
	perM       float32
	low        []float32
	mask, temp []float32
	shade      []float32
}

func (s *scene) shadeGround(c *canvas, centre vec, half float32, z float32) {
	const n = 256
	g := &c.ground
	g.w, g.h = n, n
	g.x0, g.y0, g.perM = centre.x-half, centre.y-half, n/(2*half)
	g.low, g.mask, g.temp, g.shade = fit(g.low, n*n), fit(g.mask, n*n), fit(g.temp, n*n), fit(g.shade, n*n)
	clearTo(g.low, -1e9)
	flat := c.flat[:0]
	for i := range s.tris {
		t := &s.tris[i]
		if s.mats[t.mat].noShadow || (t.n[0].z > 0 && t.n[1].z > 0 && t.n[2].z > 0) {
			continue
		}
		var st screenTri
		var d [3]float32
		for j, p := range t.p {
			st.x[j] = (p.x - g.x0) * g.perM
			st.y[j] = (p.y - g.y0) * g.perM
			d[j] = z - p.z
		}
		if d[0] > 0.02 || offscreen(st.x, n) || offscreen(st.y, n) {
			continue
		}
		gr, ok := newGradient(st.x, st.y)
		if !ok {
			continue
		}
		st.iw = gr.of(d)
		flat = append(flat, st)
	}
	raster(flat, n, n, 0, 0, g.low, nil)
	c.flat = flat
	clearTo(g.shade, 1)
	for _, layer := range [3]struct{ height, radius, dark float32 }{{0.12, 0.05, 0.72}, {0.9, 0.22, 0.5}, {2, 0.5, 0.3}} {
		for i, l := range g.low {
			g.mask[i] = 0
			if -l < layer.height {
				g.mask[i] = 1
			}
		}
		r := int(layer.radius*g.perM + 0.5)
		for range 2 {
			boxBlur(g.mask, g.temp, n, n, r)
			boxBlur(g.temp, g.mask, n, n, r)
		}
		for i, v := range g.mask {
			g.shade[i] *= 1 - layer.dark*v
		}
	}
}

// boxBlur writes the running mean of src over 2r+1 into dst, transposed: two
// calls blur both ways (of a square).
func boxBlur(src, dst []float32, w, h, r int) {
	inv := 1 / float32(2*r+1)
	for y := 0; y < h; y++ {
		row := src[y*w : y*w+w]
		var sum float32
		for x := -r; x <= r; x++ {
			sum += row[min(max(x, 0), w-1)]
		}
		for x := 0; x < w; x++ {
			dst[x*h+y] = sum * inv
			sum += row[min(x+r+1, w-1)] - row[max(x-r, 0)]
		}
	}
}

func (g *groundMap) at(p vec) float32 {
	u, v := (p.x-g.x0)*g.perM-0.5, (p.y-g.y0)*g.perM-0.5
	if !(u >= 0 && v >= 0 && u < float32(g.w-1) && v < float32(g.h-1)) {
		return 1
	}
	i, j := int(u), int(v)
	fu, fv := u-float32(i), v-float32(j)
	k := j*g.w + i
	a := lerp(g.shade[k], g.shade[k+1], fu)
	b := lerp(g.shade[k+g.w], g.shade[k+g.w+1], fu)
	return lerp(a, b, fv)
}

// aoMap is ambient occlusion at a quarter of the photo's size.
type aoMap struct {
	w, h int
	pos  []vec
	nrm  []vec
	iw   []float32
	open []float32
}

const aoStep = 4

// occlude estimates, for every fourth pixel each way, how much of the sky
// nearby surfaces hide, from the visible surfaces' places and normals.
func (s *scene) occlude(c *canvas, reach float32) {
	a := &c.ao
	a.w, a.h = (c.w+aoStep-1)/aoStep, (c.h+aoStep-1)/aoStep
	n := a.w * a.h
	a.pos, a.nrm, a.iw, a.open = fit(a.pos, n), fit(a.nrm, n), fit(a.iw, n), fit(a.open, n)
	for y := 0; y < a.h; y++ {
		for x := 0; x < a.w; x++ {
			px, py := min(x*aoStep+aoStep/2, c.w-1), min(y*aoStep+aoStep/2, c.h-1)
			k := y*a.w + x
			id := c.id[py*c.w+px]
			if id < 0 {
				a.iw[k] = 0
				continue
			}
			st := &c.screen[id]
			p, nv, iw := s.surface(st, float32(px)+0.5, float32(py)+0.5)
			a.pos[k], a.nrm[k], a.iw[k] = p, nv, iw
		}
	}
	const taps = 8
	var ring [4][taps][2]float32
	for k := range ring {
		for i := range taps {
			t := (float32(i) + float32(k)/4) / taps * 2 * pi
			r := 0.35 + 0.65*float32((i*5+k*3)%taps)/taps
			ring[k][i] = [2]float32{cos(t) * r, sin(t) * r}
		}
	}
	for y := 0; y < a.h; y++ {
		for x := 0; x < a.w; x++ {
			k := y*a.w + x
			if a.iw[k] == 0 {
				a.open[k] = 1
				continue
			}
			p, nv := a.pos[k], a.nrm[k]
			r := clamp(s.cam.focal*a.iw[k]*reach/aoStep, 2, 60)
			var hidden float32
			for _, o := range ring[x&1|y&1<<1] {
				tx, ty := x+int(o[0]*r), y+int(o[1]*r)
				if tx < 0 || ty < 0 || tx >= a.w || ty >= a.h {
					continue
				}
				q := a.pos[ty*a.w+tx].sub(p)
				d2 := q.dot(q) + 1e-5
				if v := q.dot(nv) / sqrt(d2); v > 0.08 {
					hidden += (v - 0.08) / (1 + d2/(reach*reach)*1.5)
				}
			}
			a.open[k] = clamp(1-hidden*1.9/taps, 0.12, 1)
		}
	}
}

// at reads the map at pixel (x, y), preferring texels at the same distance.
func (a *aoMap) at(x, y, iw float32) float32 {
	u, v := (x-aoStep/2)/aoStep, (y-aoStep/2)/aoStep
	i, j := int(u), int(v)
	if u < 0 {
		i = 0
	}
	if v < 0 {
		j = 0
	}
	if i > a.w-2 {
		i = a.w - 2
	}
	if j > a.h-2 {
		j = a.h - 2
	}
	fu, fv := clamp(u-float32(i), 0, 1), clamp(v-float32(j), 0, 1)
	k := j*a.w + i
	tol := iw * 0.012
	d0, d1, d2, d3 := abs(a.iw[k]-iw), abs(a.iw[k+1]-iw), abs(a.iw[k+a.w]-iw), abs(a.iw[k+a.w+1]-iw)
	if max(d0, d1, d2, d3) < tol {
		up, down := lerp(a.open[k], a.open[k+1], fu), lerp(a.open[k+a.w], a.open[k+a.w+1], fu)
		return lerp(up, down, fv)
	}
	w0 := (1 - fu) * (1 - fv) * tol / (tol + d0)
	w1 := fu * (1 - fv) * tol / (tol + d1)
	w2 := (1 - fu) * fv * tol / (tol + d2)
	w3 := fu * fv * tol / (tol + d3)
	return (a.open[k]*w0 + a.open[k+1]*w1 + a.open[k+a.w]*w2 + a.open[k+a.w+1]*w3 + 1e-6) / (w0 + w1 + w2 + w3 + 1e-6)
}

// surface is the place, normal (towards the camera) and 1/depth of a triangle
// under a pixel.
func (s *scene) surface(st *screenTri, x, y float32) (p, n vec, iw float32) {
	iw = st.iw[0]*x + st.iw[1]*y + st.iw[2]
	if iw < 1e-4 {
		iw = 1e-4
	}
	ray := s.ray(x, y)
	p = s.cam.eye.add(ray.mul(1 / iw))
	if st.flat {
		n = st.nc
	} else {
		n = vec{
			st.na.x*x + st.nb.x*y + st.nc.x,
			st.na.y*x + st.nb.y*y + st.nc.y,
			st.na.z*x + st.nb.z*y + st.nc.z,
		}
	}
	l := n.dot(n)
	if l < 1e-20 {
		n, l = ray.mul(-1), ray.dot(ray)
	}
	k := 1 / sqrt(l)
	if n.dot(ray) > 0 {
		k = -k
	}
	return p, n.mul(k), iw
}

// ray is the view direction through a pixel, scaled to depth 1.
func (s *scene) ray(x, y float32) vec {
	c := &s.cam
	dx, dy := (x-float32(c.w)/2)/c.focal, (y-float32(c.h)/2)/c.focal
	return vec{
		c.fwd.x + c.right.x*dx - c.up.x*dy,
		c.fwd.y + c.right.y*dx - c.up.y*dy,
		c.fwd.z + c.right.z*dx - c.up.z*dy,
	}
}
