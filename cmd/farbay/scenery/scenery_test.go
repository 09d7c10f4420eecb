package scenery

import (
	"bytes"
	"image"
	"image/color"
	"image/jpeg"
	"syscall"
	"testing"
	"time"
)

// small is the size the tests draw at where the size does not matter.
const smallW, smallH = 240, 180

// luma is the picture's brightness, pixel by pixel (weights of ITU-R BT.601).
func luma(img *image.RGBA) []float64 {
	out := make([]float64, 0, len(img.Pix)/4)
	for i := 0; i < len(img.Pix); i += 4 {
		out = append(out, 0.299*float64(img.Pix[i])+0.587*float64(img.Pix[i+1])+0.114*float64(img.Pix[i+2]))
	}
	return out
}

func difference(a, b *image.RGBA) float64 {
	var sum float64
	for i := range a.Pix {
		d := float64(a.Pix[i]) - float64(b.Pix[i])
		if d < 0 {
			d = -d
		}
		sum += d
	}
	return sum / float64(len(a.Pix)) * 4 / 3
}

func deviation(v []float64) float64 {
	var s, q float64
	for _, x := range v {
		s += x
		q += x * x
	}
	n := float64(len(v))
	return q/n - s*s/n/n
}

// TestDraw_EveryStateFromEveryView: each picture shows something (its
// brightness varies well beyond the grain's), and no two states look alike
// from the same place. Thresholds: grain alone gives a variance below 10 and a
// mean difference below 3 of 255; the smallest seen were well above these.
func TestDraw_EveryStateFromEveryView(t *testing.T) {
	for view := range Views {
		if underRace && view != Detail {
			continue
		}
		var seen []*image.RGBA
		for state := range States {
			s := sampleShot()
			s.State, s.View, s.Truck.Body = state, view, Body(int(view)%4)
			s.Number = 0
			s.Upright = false
			img, err := s.draw(smallW, smallH)
			if err != nil {
				t.Fatalf("%v from %v: %v", state, view, err)
			}
			if v := deviation(luma(img)); v < 150 {
				t.Errorf("%v from %v is nearly uniform: variance %.1f", state, view, v)
			}
			for other, b := range seen {
				if d := difference(img, b); d < 4 {
					t.Errorf("%v and %v from %v look alike: mean difference %.2f of 255", state, State(other), view, d)
				}
			}
			seen = append(seen, img)
		}
	}
}

// TestDraw_EveryBody draws each body at the stages where all its parts show.
func TestDraw_EveryBody(t *testing.T) {
	var seen []*image.RGBA
	for body := ShortBed; body <= OpenTub; body++ {
		s := sampleShot()
		s.Truck.Body, s.View, s.Number = body, ThreeQuarterRear, 0
		img, err := s.draw(smallW, smallH)
		if err != nil {
			t.Fatal(err)
		}
		for other, b := range seen {
			if d := difference(img, b); d < 2 {
				t.Errorf("bodies %d and %d look alike: mean difference %.2f of 255", body, other, d)
			}
		}
		seen = append(seen, img)
	}
}

// TestDraw_RustGoesAndPaintComes: the share of rust-brown pixels falls from
// arrival to the finished truck, and the topcoat's share rises.
func TestDraw_RustGoesAndPaintComes(t *testing.T) {
	share := func(state State, is func(c color.RGBA) bool) float64 {
		s := sampleShot()
		s.State, s.Number = state, 0
		s.Truck.Topcoat = color.RGBA{0x20, 0x70, 0x50, 255}
		img, err := s.draw(smallW, smallH)
		if err != nil {
			t.Fatal(err)
		}
		n := 0
		for y := range smallH {
			for x := range smallW {
				if is(img.RGBAAt(x, y)) {
					n++
				}
			}
		}
		return float64(n) / (smallW * smallH)
	}
	brown := func(c color.RGBA) bool { return int(c.R) > int(c.B)+45 && int(c.R) > int(c.G)+22 && c.R < 200 }
	green := func(c color.RGBA) bool { return int(c.G) > int(c.R)+40 && int(c.G) > int(c.B)+12 }
	if rusty, done := share(RustyWhole, brown), share(Finished, brown); rusty < 0.03 || rusty < 3*done {
		t.Errorf("rust covers %.3f of the photo on arrival and %.3f when finished", rusty, done)
	}
	if rusty, done := share(RustyWhole, green), share(Finished, green); done < 0.03 || done < 3*rusty {
		t.Errorf("the topcoat covers %.3f of the photo on arrival and %.3f when finished", rusty, done)
	}
}

// TestJPEG_SameShotSameBytes, also when photos are drawn at the same time and
// from memory that other photos have used.
func TestJPEG_SameShotSameBytes(t *testing.T) {
	s := sampleShot()
	first, err := s.JPEG()
	if err != nil {
		t.Fatal(err)
	}
	small, err := s.draw(smallW, smallH)
	if err != nil {
		t.Fatal(err)
	}
	type result struct {
		img *image.RGBA
		err error
	}
	results := make(chan result)
	other := s
	other.State, other.View, other.Upright = RustedFloorPan, Detail, true
	for range 2 {
		go func() {
			if _, err := other.draw(2*smallW, smallH); err != nil {
				results <- result{nil, err}
				return
			}
			img, err := s.draw(smallW, smallH)
			results <- result{img, err}
		}()
	}
	for range 2 {
		r := <-results
		if r.err != nil {
			t.Fatal(r.err)
		}
		if !bytes.Equal(r.img.Pix, small.Pix) {
			t.Error("the same shot gave another picture beside others")
		}
	}
	again, err := s.JPEG()
	if err != nil || !bytes.Equal(again, first) {
		t.Errorf("the same shot gave other bytes (error %v)", err)
	}
	s.Number++
	if img, err := s.draw(smallW, smallH); err != nil || bytes.Equal(img.Pix, small.Pix) {
		t.Errorf("another number gave the same picture (error %v)", err)
	}
}

// turned is img as a viewer shows it under an Exif orientation (CIPA DC-008,
// tag 0x0112: 3 is a half turn, 6 a quarter clockwise, 8 counterclockwise).
func turned(img image.Image, orientation int) *image.RGBA {
	b := img.Bounds()
	w, h := b.Dx(), b.Dy()
	ow, oh := w, h
	if orientation >= 5 {
		ow, oh = h, w
	}
	out := image.NewRGBA(image.Rect(0, 0, ow, oh))
	for y := range h {
		for x := range w {
			dx, dy := x, y
			switch orientation {
			case 3:
				dx, dy = w-1-x, h-1-y
			case 6:
				dx, dy = h-1-y, x
			case 8:
				dx, dy = y, w-1-x
			}
			out.Set(dx, dy, img.At(x, y))
		}
	}
	return out
}

// TestDraw_OrientationsShowTheSamePhoto: whichever way the file is stored, the
// photo as shown is the same up to grain and edges.
func TestDraw_OrientationsShowTheSamePhoto(t *testing.T) {
	seen := map[int]*image.RGBA{}
	s := sampleShot()
	s.State, s.View = Finished, ThreeQuarterFront
	for _, upright := range []bool{false, true} {
		s.Upright = upright
		sc := &scene{model: newModel(), tiles: sharedTiles(), texScale: 1}
		b := newBuilder(sc.model, s.Truck)
		b.fin, b.fit = s.finishes(sc.model), s.outfit()
		b.draw()
		f := s.frameShot(b)
		both := []int{orientTopLeft, orientBottomRight}
		if upright {
			both = []int{orientRightTop, orientLeftBottom}
		}
		for _, o := range both {
			sc.aim(f, smallW, smallH, o)
			sc.lightUp(f.azimuth, dice{})
			sc.focus = 5
			seen[o] = turned(sc.render(vec{0, 0, 0.7}, 3.5, 0.05, 0), o)
		}
		if d := difference(seen[both[0]], seen[both[1]]); d > 5 {
			t.Errorf("orientations %v show photos that differ by %.2f of 255", both, d)
		}
		// The ground is below: the photo's last rows differ from a photo turned over.
		if d := difference(seen[both[0]], turned(seen[both[0]], 3)); d < 15 {
			t.Errorf("orientation %d cannot be told from its half turn: %.2f of 255", both[0], d)
		}
	}
}

// TestShot_HeldEveryWay: over an album all four orientations occur, the usual
// ones most often.
func TestShot_HeldEveryWay(t *testing.T) {
	count := map[int]int{}
	for n := range 200 {
		s := sampleShot()
		s.Number, s.Upright = n, n%2 == 1
		o := s.orientation()
		if (o >= 5) != s.Upright {
			t.Fatalf("shot %d: orientation %d, upright %v", n, o, s.Upright)
		}
		count[o]++
	}
	for _, o := range []int{1, 3, 6, 8} {
		if count[o] == 0 {
			t.Errorf("no photo of 200 has orientation %d", o)
		}
	}
	if count[1] < 3*count[3] || count[6] < 3*count[8] {
		t.Errorf("the unusual ways to hold a phone are too common: %v", count)
	}
}

// BenchmarkJPEG reports processor time, which other work on the machine
// disturbs less than the clock, beside that of the JPEG encoding alone.
func BenchmarkJPEG(b *testing.B) {
	for _, state := range []State{RustyWhole, RollingChassis, Finished, PartsTray, RoadTest} {
		b.Run(state.String(), func(b *testing.B) {
			s := sampleShot()
			s.State = state
			start, n := processorTime(b), 0
			for b.Loop() {
				s.Number = n
				if _, err := s.JPEG(); err != nil {
					b.Fatal(err)
				}
				n++
			}
			b.ReportMetric(float64((processorTime(b)-start).Microseconds())/1000/float64(n), "cpu-ms/op")
		})
	}
	b.Run("EncodeOnly", func(b *testing.B) {
		img, err := sampleShot().draw(WidthPx, HeightPx)
		if err != nil {
			b.Fatal(err)
		}
		start, n := processorTime(b), 0
		var buf bytes.Buffer
		for b.Loop() {
			buf.Reset()
			if err := jpeg.Encode(&buf, img, &jpeg.Options{Quality: quality}); err != nil {
				b.Fatal(err)
			}
			n++
		}
		b.ReportMetric(float64((processorTime(b)-start).Microseconds())/1000/float64(n), "cpu-ms/op")
	})
}

func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var r syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &r); err != nil {
		b.Fatal(err)
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano())
}
