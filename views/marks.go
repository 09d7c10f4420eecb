package views

import (
	"fmt"
	"math"
	"strings"

	"farbay/journal"
)

// overlayUnits is the long edge of an overlay's picture in its own units: sizes
// below are thousandths of it.
const overlayUnits = 1000

const (
	headUnits = 40  // length of an arrow's head, at most
	headAngle = 0.5 // between its shaft and each side, in radians
	lineWidth = 22  // characters of a line of a text mark
)

// Overlay is a photo's marks, drawn over it, piece "overlay". It has no style of
// its own: the style sheet draws each line twice, dark below coloured.
type Overlay struct {
	Width, Height int    // of the picture, the long edge being overlayUnits
	Fit           string // how it lies in its box: "slice" as object-fit cover, "meet" as contain
	Marks         []DrawnMark
}

// DrawnMark is one mark in an overlay's units.
type DrawnMark struct {
	Path   string // of an arrow or a ring, as SVG has it; "" for a text
	X, Y   int    // where its words begin
	Anchor string // "start" or "end": which end of the words is at X
	Lines  []string
	Number int // its place in the list of marks, from 1; 0 for a text and for an only mark
}

// Cover returns the marks for a photo that fills its box and is cut to it; nil
// for none.
func (p PhotoView) Cover() *Overlay { return p.overlay("slice") }

// Contain returns the marks for a photo that is shown whole; nil for none.
func (p PhotoView) Contain() *Overlay { return p.overlay("meet") }

// marks are those that can be seen in the part shown.
func (p PhotoView) marks() []journal.Mark {
	c := p.Layer.Crop
	if c == (journal.Crop{}) {
		c = journal.Crop{W: journal.Full, H: journal.Full}
	}
	var seen []journal.Mark
	for _, m := range p.Layer.Marks {
		x2, y2 := m.X2, m.Y2
		if m.Shape == journal.MarkText {
			x2, y2 = m.X, m.Y
		}
		if max(m.X, x2) >= c.X && min(m.X, x2) <= c.X+c.W && max(m.Y, y2) >= c.Y && min(m.Y, y2) <= c.Y+c.H {
			seen = append(seen, m)
		}
	}
	return seen
}

// MarkWords returns the marks in words, as a list under the photo has them:
// "Arrow: crack at the weld".
func (p PhotoView) MarkWords() []string {
	var words []string
	for _, m := range p.marks() {
		word := UpperFirst(string(m.Shape))
		if m.Text != "" {
			word += ": " + m.Text
		}
		words = append(words, word)
	}
	return words
}

func (p PhotoView) overlay(fit string) *Overlay {
	marks := p.marks()
	if len(marks) == 0 || p.Width <= 0 || p.Height <= 0 {
		return nil
	}
	long := max(p.Width, p.Height)
	scale := func(edge int) int { return max(1, (edge*overlayUnits+long/2)/long) }
	o := &Overlay{Width: scale(p.Width), Height: scale(p.Height), Fit: fit}
	c := p.Layer.Crop
	if c == (journal.Crop{}) {
		c = journal.Crop{W: journal.Full, H: journal.Full}
	}
	at := func(x, y int) (float64, float64) {
		return float64((x-c.X)*o.Width) / float64(c.W), float64((y-c.Y)*o.Height) / float64(c.H)
	}
	for i, m := range marks {
		x, y := at(m.X, m.Y)
		x2, y2 := at(m.X2, m.Y2)
		d := DrawnMark{X: int(math.Round(x)), Y: int(math.Round(y)), Anchor: "start"}
		switch m.Shape {
		case journal.MarkArrow:
			d.Path = arrowPath(x, y, x2, y2)
		case journal.MarkRing:
			d.Path = ringPath(x, y, x2, y2)
			d.X, d.Y = int(math.Round(min(x, x2))), int(math.Round(min(y, y2)))
		default:
			d.Lines = wrapWords(m.Text, lineWidth)
		}
		if d.Path != "" && len(marks) > 1 {
			d.Number = i + 1
		}
		if d.X > o.Width*6/10 {
			d.Anchor = "end"
		}
		o.Marks = append(o.Marks, d)
	}
	return o
}

// arrowPath is a shaft with an open head at its end.
func arrowPath(x, y, x2, y2 float64) string {
	length := math.Hypot(x2-x, y2-y)
	head := min(headUnits, length*0.6)
	back := math.Atan2(y-y2, x-x2)
	side := func(turn float64) (float64, float64) {
		return x2 + head*math.Cos(back+turn), y2 + head*math.Sin(back+turn)
	}
	ax, ay := side(headAngle)
	bx, by := side(-headAngle)
	return fmt.Sprintf("M%.1f %.1fL%.1f %.1fM%.1f %.1fL%.1f %.1fL%.1f %.1f", x, y, x2, y2, ax, ay, x2, y2, bx, by)
}

// ringPath is the ellipse that fills a box.
func ringPath(x, y, x2, y2 float64) string {
	rx, ry := math.Abs(x2-x)/2, math.Abs(y2-y)/2
	return fmt.Sprintf("M%.1f %.1fa%.1f %.1f 0 1 0 %.1f 0a%.1f %.1f 0 1 0 %.1f 0z", min(x, x2), (y+y2)/2, rx, ry, 2*rx, rx, ry, -2*rx)
}

// wrapWords breaks a line of text into lines of about width characters, at
// blanks where there are some.
func wrapWords(text string, width int) []string {
	var lines []string
	line := []rune{}
	for _, word := range strings.Fields(text) {
		w := []rune(word)
		if len(line) > 0 && len(line)+1+len(w) > width {
			lines, line = append(lines, string(line)), nil
		}
		for len(w) > width {
			lines, w = append(lines, string(w[:width])), w[width:]
		}
		if len(line) > 0 {
			line = append(line, ' ')
		}
		line = append(line, w...)
	}
	if len(line) > 0 {
		lines = append(lines, string(line))
	}
	return lines
}
