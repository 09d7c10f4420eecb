package journal

import (
	"fmt"
	"time"
)

// Full is the whole edge of a picture in the parts that layers are measured in:
// ten-thousandths, so that a layer fits every size made of a photo.
const Full = 10_000

// MaxMarks bounds the marks of one layer.
const MaxMarks = 40

// Layer is what is laid over an untouched original when it is shown: quarter
// turns, then a crop, and marks. The zero Layer shows the photo as it is.
//
// All places are measured in parts of [Full] of the turned picture before the
// crop, from its left and top edge, so that changing the crop moves no mark.
type Layer struct {
	Number int // counts the settings of this photo; 0 when there was none
	Turn   int // quarter turns clockwise, 0 to 3
	Crop   Crop
	Marks  []Mark
}

// Crop is the part that is shown. The zero Crop is the whole picture.
type Crop struct {
	X, Y, W, H int
}

// MarkShape is the form of a mark.
type MarkShape string

const (
	// MarkArrow points from (X, Y) to (X2, Y2).
	MarkArrow MarkShape = "arrow"
	// MarkRing is an ellipse that fills the box between (X, Y) and (X2, Y2).
	MarkRing MarkShape = "ring"
	// MarkText stands at (X, Y).
	MarkText MarkShape = "text"
)

// Mark is drawn over a photo. Text says in words what the mark means; a text
// mark must have some, the others may.
type Mark struct {
	Shape        MarkShape
	X, Y, X2, Y2 int
	Text         string
}

// LayerSet is one setting of a photo's layer. Settings are kept for ever.
type LayerSet struct {
	BuildID BuildID
	PhotoID PhotoID
	Layer   Layer
	ByID    PersonID
	At      time.Time
}

// Plain reports whether the pixels are shown as they are, marks aside.
func (l Layer) Plain() bool { return l.Turn == 0 && l.Crop == (Crop{}) }

// View names the turn and crop, for files and addresses: "" if Plain, else such
// as "t1-0-2500-10000-5000": quarter turns, then left, top, width and height.
func (l Layer) View() string {
	if l.Plain() {
		return ""
	}
	c := l.Crop.whole()
	return fmt.Sprintf("t%d-%d-%d-%d-%d", l.Turn, c.X, c.Y, c.W, c.H)
}

// whole makes the zero Crop explicit.
func (c Crop) whole() Crop {
	if c == (Crop{}) {
		return Crop{W: Full, H: Full}
	}
	return c
}

// size is that of a picture of the given upright size under the layer, each
// edge rounded to whole pixels and no less than 1.
func (l Layer) size(width, height int) (int, int) {
	if l.Turn%2 == 1 {
		width, height = height, width
	}
	c := l.Crop.whole()
	part := func(edge, of int) int { return max(1, (edge*of+Full/2)/Full) }
	if width == 0 || height == 0 {
		return width, height
	}
	return part(width, c.W), part(height, c.H)
}

// Validate checks what a person can set, field by field.
func (l Layer) Validate() error {
	bad := Problems{}
	if l.Turn < 0 || l.Turn > 3 {
		bad.Add("turn", "Please turn the photo by 0, 1, 2 or 3 quarters.")
	}
	if c := l.Crop.whole(); c.X < 0 || c.Y < 0 || c.W < Full/20 || c.H < Full/20 || c.X > Full || c.Y > Full || c.W > Full-c.X || c.H > Full-c.Y {
		bad.Add("crop", "Please crop to a part inside the photo, at least a twentieth of each edge.")
	}
	if len(l.Marks) > MaxMarks {
		bad.Add("marks", "A photo takes at most %d marks.", MaxMarks)
	}
	for _, m := range l.Marks {
		m.check(bad)
	}
	return bad.Err()
}

func (m Mark) check(bad Problems) {
	inside := func(parts ...int) bool {
		for _, p := range parts {
			if p < 0 || p > Full {
				return false
			}
		}
		return true
	}
	if m.Shape != MarkArrow && m.Shape != MarkRing && m.Shape != MarkText {
		bad.Add("marks", "A mark is an arrow, a ring or a text.")
	}
	if !inside(m.X, m.Y, m.X2, m.Y2) {
		bad.Add("marks", "A mark lies outside the photo.")
	}
	if m.Shape != MarkText && m.X == m.X2 && m.Y == m.Y2 {
		bad.Add("marks", "A mark has no length; please draw it again.")
	}
	least := 0
	if m.Shape == MarkText {
		least = 1
	}
	CheckLine(bad, "marks", m.Text, least, 80, "Please keep the words of a mark to 1 to 80 characters.")
}
