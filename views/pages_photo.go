package views

import (
	"time"

	"farbay/journal"
)

// PhotoMarks is the page on which the shop marks, crops and turns a photo. It
// posts the fields "number" and "layer" to the photo's /marks, and "number" and
// "to" to /marks/back.
type PhotoMarks struct {
	Frame
	Photo         PhotoView
	Width, Height int    // of the photo upright, in pixels
	Number        int    // of the layer in force, 0 for none
	Layer         string // what to begin with, as JSON
	// Unsaved says, in sentences, why what is shown is not what is saved; "".
	Unsaved  string
	Problems journal.Problems
	Papers   []Link      // that show the photo as it was when they were sent
	History  []LayerLine // newest first
}

// Template names the page's template.
func (PhotoMarks) Template() string { return "floor/photo_marks" }

// LayerLine is one setting of a photo's layer in its history.
type LayerLine struct {
	Words
	Layer journal.Layer
	At    time.Time
	By    string // name
	Now   bool   // it is in force
}

// Said puts the layer into words: "2 marks, turned by a quarter, cropped".
func (l LayerLine) Said() string {
	var parts []string
	if n := len(l.Layer.Marks); n > 0 {
		parts = append(parts, Plural(n, "mark", "marks"))
	}
	switch l.Layer.Turn {
	case 1:
		parts = append(parts, "turned right by a quarter")
	case 2:
		parts = append(parts, "turned by a half")
	case 3:
		parts = append(parts, "turned left by a quarter")
	}
	if l.Layer.Crop != (journal.Crop{}) {
		parts = append(parts, "cropped")
	}
	if len(parts) == 0 {
		return "As it was taken"
	}
	return UpperFirst(List(parts))
}

// Compare is two photos of a build over one another.
type Compare struct {
	Frame
	Before, After CompareSide
}

// Template names the page's template.
func (Compare) Template() string { return "owner/compare" }

// Sides are both, in the order of capture.
func (c Compare) Sides() []CompareSide { return []CompareSide{c.Before, c.After} }

// CompareSide is one of the two.
type CompareSide struct {
	Photo  PhotoView
	Stage  string // name; "" when it is in no entry
	Change string // address of the page to choose another in its place
}

// ComparePick is the page to choose a photo on: the first, or the one to compare
// Chosen with.
type ComparePick struct {
	Frame
	Chosen  *PhotoView // nil while none is
	Stages  []Link
	StageID journal.StageID
	Offers  []CompareOffer // of the stage
	Back    Link
}

// Template names the page's template.
func (ComparePick) Template() string { return "owner/compare_pick" }

// CompareOffer is a photo to choose.
type CompareOffer struct {
	Photo PhotoView
	Href  string
}

var _ = declare(PhotoMarks{}, Compare{}, ComparePick{})
