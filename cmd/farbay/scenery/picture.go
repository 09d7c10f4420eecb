package scenery

import (
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"strings"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
	"golang.org/x/image/vector"
)

// picture is an image laid on a surface by a decal.
type picture struct {
	w, h int
	pix  []vec
}

func (p *picture) at(u, v float32) vec {
	x, y := clamp(u*float32(p.w)-0.5, 0, float32(p.w)-1.01), clamp(v*float32(p.h)-0.5, 0, float32(p.h)-1.01)
	i, j := int(x), int(y)
	fx, fy := x-float32(i), y-float32(j)
	k := j*p.w + i
	return mix(mix(p.pix[k], p.pix[k+1], fx), mix(p.pix[k+p.w], p.pix[k+p.w+1], fx), fy)
}

var byteLight = sync.OnceValue(func() *[256]float32 {
	t := new([256]float32)
	for i := range t {
		t[i] = toLinear(uint8(i))
	}
	return t
})

// sketch draws the flat pictures that decals carry.
type sketch struct {
	img *image.RGBA
	ras *vector.Rasterizer
}

func newSketch(w, h int, ground color.RGBA) *sketch {
	s := &sketch{image.NewRGBA(image.Rect(0, 0, w, h)), vector.NewRasterizer(w, h)}
	draw.Draw(s.img, s.img.Bounds(), image.NewUniform(ground), image.Point{}, draw.Src)
	return s
}

func (s *sketch) picture() *picture {
	b := s.img.Bounds()
	p := &picture{b.Dx(), b.Dy(), make([]vec, b.Dx()*b.Dy())}
	t := byteLight()
	for i := range p.pix {
		q := s.img.Pix[i*4:]
		p.pix[i] = vec{t[q[0]], t[q[1]], t[q[2]]}
	}
	return p
}

// fill paints a closed outline.
func (s *sketch) fill(c color.RGBA, outline ...pt) {
	s.ras.Reset(s.img.Bounds().Dx(), s.img.Bounds().Dy())
	s.ras.MoveTo(outline[0].u, outline[0].v)
	for _, p := range outline[1:] {
		s.ras.LineTo(p.u, p.v)
	}
	s.ras.ClosePath()
	s.ras.Draw(s.img, s.img.Bounds(), image.NewUniform(c), image.Point{})
}

func (s *sketch) disc(c color.RGBA, x, y, r float32) {
	s.fill(c, arc(x, y, r, 0, 2*pi, 64)...)
}

func (s *sketch) rect(c color.RGBA, x0, y0, x1, y1 float32) {
	s.fill(c, pt{x0, y0}, pt{x1, y0}, pt{x1, y1}, pt{x0, y1})
}

func (s *sketch) line(c color.RGBA, a, b pt, width float32) {
	d := unit2(a, b)
	n := pt{-d.v * width / 2, d.u * width / 2}
	s.fill(c, pt{a.u + n.u, a.v + n.v}, pt{b.u + n.u, b.v + n.v}, pt{b.u - n.u, b.v - n.v}, pt{a.u - n.u, a.v - n.v})
}

// Typefaces: Go's own, which come with golang.org/x/image.
var faces = sync.OnceValues(func() (map[string]*opentype.Font, error) {
	bold, err := opentype.Parse(gobold.TTF)
	if err != nil {
		return nil, err
	}
	mono, err := opentype.Parse(gomono.TTF)
	if err != nil {
		return nil, err
	}
	return map[string]*opentype.Font{"bold": bold, "mono": mono}, nil
})

// text writes a line with its middle at (x, y), its letters size pixels high.
func (s *sketch) text(face string, c color.RGBA, x, y, size float32, line string) error {
	all, err := faces()
	if err != nil {
		return err
	}
	f, err := opentype.NewFace(all[face], &opentype.FaceOptions{Size: float64(size), DPI: 72})
	if err != nil {
		return err
	}
	defer f.Close()
	d := font.Drawer{Dst: s.img, Src: image.NewUniform(c), Face: f}
	w := d.MeasureString(line)
	d.Dot = fixed.Point26_6{X: fixed.Int26_6(x*64) - w/2, Y: fixed.Int26_6((y + size*0.36) * 64)}
	d.DrawString(line)
	return nil
}

var (
	inkBlack = color.RGBA{0x15, 0x17, 0x18, 255}
	inkWhite = color.RGBA{0xec, 0xe6, 0xd2, 255}
	inkRed   = color.RGBA{0xd0, 0x4a, 0x22, 255}
)

// dial is the speedometer with its odometer.
func dial(miles int) (*picture, error) {
	const n = 640
	s := newSketch(n, n, inkBlack)
	const c = n / 2
	s.disc(color.RGBA{0x1c, 0x1f, 0x20, 255}, c, c, c*0.98)
	s.disc(color.RGBA{0x10, 0x12, 0x13, 255}, c, c, c*0.6)
	angle := func(mph float32) float32 { return pi*0.75 + mph/90*pi*1.5 }
	at := func(a, r float32) pt { return pt{c + r*c*cos(a), c + r*c*sin(a)} }
	for mph := 0; mph <= 90; mph += 2 {
		a := angle(float32(mph))
		inner, w := float32(0.88), float32(3)
		if mph%10 == 0 {
			inner, w = 0.82, 7
		}
		s.line(inkWhite, at(a, inner), at(a, 0.94), w)
	}
	for mph := 0; mph <= 90; mph += 10 {
		p := at(angle(float32(mph)), 0.7)
		if err := s.text("bold", inkWhite, p.u, p.v, 44, fmt.Sprint(mph)); err != nil {
			return nil, err
		}
	}
	if err := s.text("bold", inkWhite, c, c+120, 26, "MILES / HOUR"); err != nil {
		return nil, err
	}
	// Odometer: five drums in a window.
	digits := fmt.Sprintf("%05d", miles%100000)
	s.rect(color.RGBA{0x46, 0x48, 0x46, 255}, c-138, c-146, c+138, c-70)
	for i, d := range digits {
		x := float32(c) - 108 + 54*float32(i)
		ink, drum := inkWhite, color.RGBA{0x0c, 0x0d, 0x0e, 255}
		if i == len(digits)-1 {
			ink, drum = inkBlack, inkWhite
		}
		s.rect(drum, x-25, c-140, x+25, c-76)
		if err := s.text("bold", ink, x, c-108, 54, string(d)); err != nil {
			return nil, err
		}
	}
	a := angle(0) - 0.02
	tip, l, r := at(a, 0.86), at(a+pi/2, 0.04), at(a-pi/2, 0.04)
	s.fill(inkRed, tip, l, at(a+pi, 0.14), r)
	s.disc(color.RGBA{0x2a, 0x2c, 0x2d, 255}, c, c, 30)
	s.disc(color.RGBA{0x55, 0x58, 0x58, 255}, c, c, 12)
	return s.picture(), nil
}

// smallDial is a gauge with two ends and a needle between them.
func smallDial(name, lo, hi string, needle float32) (*picture, error) {
	const n, c = 256, 128
	s := newSketch(n, n, color.RGBA{0x1a, 0x1d, 0x1e, 255})
	at := func(t, r float32) pt {
		a := pi*1.15 + t*pi*0.7
		return pt{c + r*c*cos(a), c + 18 + r*c*sin(a)}
	}
	for i := range 5 {
		t := float32(i) / 4
		s.line(inkWhite, at(t, 0.72), at(t, 0.84), 5)
	}
	s.line(inkRed, at(1, 0.86), at(0.88, 0.86), 6)
	for _, w := range []struct {
		line    string
		x, y, h float32
	}{{name, c, c + 70, 30}, {lo, 52, c + 22, 30}, {hi, n - 52, c + 22, 30}} {
		if err := s.text("bold", inkWhite, w.x, w.y, w.h, w.line); err != nil {
			return nil, err
		}
	}
	p := at(needle, 0.78)
	s.line(inkRed, pt{c, c + 18}, p, 6)
	s.disc(color.RGBA{0x40, 0x42, 0x42, 255}, c, c+18, 14)
	return s.picture(), nil
}

// dataPlate is the stamped plate with the truck's make and serial number.
func dataPlate(t Truck) (*picture, error) {
	const w, h = 900, 420
	plate := color.RGBA{0xb9, 0xba, 0xb4, 255}
	s := newSketch(w, h, plate)
	s.rect(inkBlack, 14, 14, w-14, h-14)
	s.rect(plate, 20, 20, w-20, h-20)
	s.rect(inkBlack, 20, 20, w-20, 112)
	rows := []struct {
		face, line string
		c          color.RGBA
		x, y, h    float32
	}{
		{"bold", strings.ToUpper(t.Make + "  " + t.Model), plate, w / 2, 66, 46},
		{"bold", "SERIAL", inkBlack, 150, 180, 28},
		{"mono", t.Serial, inkBlack, 560, 180, 62},
		{"bold", "BUILT", inkBlack, 150, 275, 28},
		{"mono", fmt.Sprint(t.Year), inkBlack, 420, 275, 56},
		{"bold", "4 x 4", inkBlack, 720, 275, 44},
		{"bold", "KEEP THIS PLATE WITH THE TRUCK", inkBlack, w / 2, 366, 26},
	}
	for _, y := range []float32{228, 322} {
		s.rect(inkBlack, 40, y-1.5, w-40, y+1.5)
	}
	for _, r := range rows {
		if err := s.text(r.face, r.c, r.x, r.y, r.h, r.line); err != nil {
			return nil, err
		}
	}
	return s.picture(), nil
}

// display is the scale's reading in grams.
func display(grams float64) (*picture, error) {
	const w, h = 420, 140
	s := newSketch(w, h, color.RGBA{0x9f, 0xb3, 0x94, 255})
	if err := s.text("mono", color.RGBA{0x1d, 0x28, 0x1e, 255}, w/2-30, h/2, 104, fmt.Sprintf("%.1f", grams)); err != nil {
		return nil, err
	}
	if err := s.text("bold", color.RGBA{0x1d, 0x28, 0x1e, 255}, w-42, h/2+22, 44, "g"); err != nil {
		return nil, err
	}
	return s.picture(), nil
}

// tag is a paper label with two lines of pen on it.
func tag(line, below string) (*picture, error) {
	const w, h = 300, 120
	s := newSketch(w, h, color.RGBA{0xec, 0xe3, 0xc8, 255})
	pen := color.RGBA{0x22, 0x2c, 0x55, 255}
	if err := s.text("bold", pen, w/2, 42, 38, line); err != nil {
		return nil, err
	}
	if err := s.text("bold", pen, w/2, 86, 30, below); err != nil {
		return nil, err
	}
	return s.picture(), nil
}
