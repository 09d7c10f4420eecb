package views

import (
	"bytes"
	"context"
	"fmt"
	"math"
	"strings"

	"github.com/carlos7ags/folio/image"

	"farbay/journal"
	"farbay/journal/signoff"
)

// Sizes of pictures in print, in points, and of what is fetched for them, in
// pixels: about 300 to the inch.
const (
	pictureGap  = 16.0
	aloneHeight = 320.0
	pairHeight  = 232.0
	aloneEdge   = 2048
	pairEdge    = 960
	longWords   = 260 // bytes below a picture from which on it stands alone
)

// figure is one picture with its words.
type figure struct {
	photo   PhotoView
	picture *image.Image // nil when it is not there
	number  int
	sha256  string
}

// pictures has the evidence photos, two beside each other, with their marks,
// captions and the SHA-256 of each original.
func (d *pdfDoc) pictures(ctx context.Context, get func(signoff.SheetPhoto, int) ([]byte, error)) error {
	frozen, shown := d.v.Sheet.Photos, d.v.Photos()
	var pair []figure
	flush := func() {
		d.figures(pair, (pdfMeasure-pictureGap)/2, pairHeight)
		pair = nil
	}
	for i, p := range frozen {
		if err := ctx.Err(); err != nil {
			return err
		}
		f := figure{photo: shown[i], number: i + 1, sha256: p.SHA256}
		alone, edge := len(frozen) == 1 || len(f.alt()) > longWords, pairEdge
		if alone {
			edge = aloneEdge
		}
		data, err := get(p, edge)
		if err == nil {
			f.picture, err = readPicture(data)
		}
		if err != nil {
			return fmt.Errorf("views.PaperPDF: picture of %s: %w", p.ID, err)
		}
		if alone {
			flush()
			d.figures([]figure{f}, pdfMeasure, aloneHeight)
			continue
		}
		if pair = append(pair, f); len(pair) == 2 {
			flush()
		}
	}
	flush()
	return nil
}

// readPicture reads JPEG or PNG; nil for no bytes.
func readPicture(data []byte) (*image.Image, error) {
	switch {
	case len(data) == 0:
		return nil, nil
	case bytes.HasPrefix(data, []byte("\x89PNG")):
		return image.NewPNG(data)
	}
	return image.NewJPEG(data)
}

func (f figure) caption() string {
	if f.photo.Caption == "" {
		return fmt.Sprintf("Photo %d", f.number)
	}
	return fmt.Sprintf("Photo %d: %s", f.number, f.photo.Caption)
}

// marks are the marks in words, numbered as they are on the picture.
func (f figure) marks() string {
	words := f.photo.MarkWords()
	if len(words) > 1 {
		for i := range words {
			words[i] = fmt.Sprintf("%d. %s", i+1, words[i])
		}
	}
	return strings.Join(words, "; ")
}

// alt is for those who do not see the picture.
func (f figure) alt() string {
	if marks := f.marks(); marks != "" {
		return f.caption() + "; " + marks
	}
	return f.caption()
}

// figures stand beside each other, each of a width and its picture no higher
// than most, in one block: no picture is parted from its words.
func (d *pdfDoc) figures(all []figure, width, most float64) {
	row := pdfBlock{after: 12}
	var draws []func(top float64)
	for i, f := range all {
		x := pdfLeft + float64(i)*(width+pictureGap)
		words, below := d.figureWords(f, width), 3.0
		for _, l := range words {
			below += l.height()
		}
		most := min(most, pdfHeight-pdfTop-pdfBottom-below)
		w, h := width, most/2
		if f.picture != nil {
			h = w / f.picture.AspectRatio()
			if h > most {
				w, h = most*f.picture.AspectRatio(), most
			}
		}
		figure := d.root.under("Figure")
		figure.alt = f.alt()
		draws = append(draws, func(top float64) {
			d.marked(figure, func(p *pdfPage) { d.drawFigure(p, f, x, top, w, h) })
		})
		down := h + 3
		for _, l := range words {
			tag, at := d.root.under("Caption"), down
			draws = append(draws, func(top float64) { l.draw(tag, x, top-at) })
			down += l.height()
		}
		row.height = max(row.height, down)
	}
	if len(all) == 0 {
		return
	}
	row.draw = func(top float64) {
		for _, draw := range draws {
			draw(top)
		}
	}
	d.add(row)
}

// figureWords stand below a picture: its caption, its marks in words, and the
// SHA-256 of its original.
func (d *pdfDoc) figureWords(f figure, width float64) []pdfLines {
	caption, hash := d.small(), d.small()
	caption.colour, hash.font, hash.size = toneInk, d.fonts.mono, 5.4
	words := []pdfLines{d.lines(f.caption(), caption, width)}
	if f.picture == nil {
		words = append(words, d.lines("The picture could not be had when this was printed; the original is the one with this SHA-256:", d.small(), width))
	}
	if marks := f.marks(); marks != "" {
		words = append(words, d.lines(marks, d.small(), width))
	}
	return append(words, d.lines(f.sha256, hash, width))
}

// drawFigure draws the picture and its marks; where there is no picture, an
// empty frame.
func (d *pdfDoc) drawFigure(p *pdfPage, f figure, x, top, w, h float64) {
	p.out.SaveState()
	defer p.out.RestoreState()
	if f.picture == nil {
		p.out.SetFillColorRGB(tone(toneBare))
		p.out.Rectangle(x, top-h, w, h)
		p.out.Fill()
		return
	}
	p.picture(f.picture, x, top, w, h)
	p.out.Rectangle(x, top-h, w, h)
	p.out.ClipNonZero()
	p.out.EndPath()
	d.drawMarks(p, f, x, top, w, h)
}

// drawMarks draws the marks over the picture as the pages do (type [Overlay]):
// each line twice, dark below coloured.
func (d *pdfDoc) drawMarks(p *pdfPage, f figure, x, top, w, h float64) {
	photo := f.photo
	photo.Width, photo.Height = f.picture.Width(), f.picture.Height()
	overlay := photo.Contain()
	if overlay == nil {
		return
	}
	crop := photo.Layer.Crop
	if crop == (journal.Crop{}) {
		crop = journal.Crop{W: journal.Full, H: journal.Full}
	}
	at := func(px, py int) (float64, float64) {
		return x + float64(px-crop.X)*w/float64(crop.W), top - float64(py-crop.Y)*h/float64(crop.H)
	}
	unit := max(w, h) / overlayUnits
	for i, m := range photo.marks() {
		x1, y1 := at(m.X, m.Y)
		x2, y2 := at(m.X2, m.Y2)
		switch m.Shape {
		case journal.MarkArrow:
			p.twice(func() { p.arrow(x1, y1, x2, y2, headUnits*unit) })
		case journal.MarkRing:
			p.twice(func() {
				p.out.Ellipse((x1+x2)/2, (y1+y2)/2, math.Abs(x2-x1)/2, math.Abs(y2-y1)/2)
				p.out.Stroke()
			})
		}
		drawn := overlay.Marks[i]
		lines := drawn.Lines
		if drawn.Number > 0 {
			lines = []string{fmt.Sprint(drawn.Number)}
		}
		for n, line := range lines {
			const size = 8.5
			line = d.fonts.printable(line)
			left := x + float64(drawn.X)*unit
			if drawn.Anchor == "end" {
				left -= d.fonts.bold.width(line, size)
			}
			y := top - float64(drawn.Y)*unit - size*(0.95+1.15*float64(n))
			p.out.SetStrokeColorRGB(tone(toneInk))
			p.out.SetLineWidth(2.6)
			p.write(line, d.fonts.bold, size, left, y, textStroked)
			p.show(line, d.fonts.bold, size, left, y, toneZinc)
		}
	}
}

// twice strokes a path dark, and over it narrower and light.
func (p *pdfPage) twice(stroke func()) {
	p.out.SetLineCap(1)
	p.out.SetLineJoin(1)
	p.out.SetStrokeColorRGB(tone(toneInk))
	p.out.SetLineWidth(3.2)
	stroke()
	p.out.SetStrokeColorRGB(tone(toneZinc))
	p.out.SetLineWidth(1.6)
	stroke()
}

// arrow strokes a shaft with an open head of at most a length at its end.
func (p *pdfPage) arrow(x1, y1, x2, y2, head float64) {
	head = min(head, math.Hypot(x2-x1, y2-y1)*0.6)
	back := math.Atan2(y1-y2, x1-x2)
	p.out.MoveTo(x1, y1)
	p.out.LineTo(x2, y2)
	p.out.MoveTo(x2+head*math.Cos(back+headAngle), y2+head*math.Sin(back+headAngle))
	p.out.LineTo(x2, y2)
	p.out.LineTo(x2+head*math.Cos(back-headAngle), y2+head*math.Sin(back-headAngle))
	p.out.Stroke()
}
