package signoff

import "farbay/journal"

// SheetPhoto is one evidence photo: the SHA-256 of its original.
type SheetPhoto struct {
	ID      journal.PhotoID `json:"id"`
	SHA256  string          `json:"sha256"`
	Caption string          `json:"caption"`
	// Shown is how the photo was shown when the paper was sent. The member is
	// left out for a photo shown plain and whole.
	Shown *SheetShown `json:"shown,omitempty"`
}

// SheetShown is a photo's layer at the time of sending: see [journal.Layer].
type SheetShown struct {
	View   string      `json:"view"`  // [journal.Layer.View]; "" for the plain photo
	Width  int         `json:"width"` // of what is shown, in pixels
	Height int         `json:"height"`
	Turn   int         `json:"turn"`
	Crop   SheetCrop   `json:"crop"`
	Marks  []SheetMark `json:"marks"`
}

// SheetCrop is the part shown, in parts of [journal.Full]; all 0 for the whole.
type SheetCrop struct {
	X int `json:"x"`
	Y int `json:"y"`
	W int `json:"w"`
	H int `json:"h"`
}

// SheetMark is one mark, in parts of [journal.Full] of the turned photo.
type SheetMark struct {
	Shape journal.MarkShape `json:"shape"`
	X     int               `json:"x"`
	Y     int               `json:"y"`
	X2    int               `json:"x2"`
	Y2    int               `json:"y2"`
	Text  string            `json:"text"`
}

// ShownOf freezes how a photo is shown now; nil when plain, whole and unmarked.
func ShownOf(p journal.Photo) *SheetShown {
	if p.Layer.Plain() && len(p.Layer.Marks) == 0 {
		return nil
	}
	s := &SheetShown{View: p.Layer.View(), Turn: p.Layer.Turn, Crop: SheetCrop(p.Layer.Crop), Marks: []SheetMark{}}
	s.Width, s.Height = p.Shown()
	for _, m := range p.Layer.Marks {
		s.Marks = append(s.Marks, SheetMark(m))
	}
	return s
}

// Layer is the layer that was frozen.
func (p SheetPhoto) Layer() journal.Layer {
	if p.Shown == nil {
		return journal.Layer{}
	}
	l := journal.Layer{Turn: p.Shown.Turn, Crop: journal.Crop(p.Shown.Crop)}
	for _, m := range p.Shown.Marks {
		l.Marks = append(l.Marks, journal.Mark(m))
	}
	return l
}
