package journal

import (
	"slices"
	"strings"
	"testing"
)

func TestLayer_Validate(t *testing.T) {
	arrow := Mark{Shape: MarkArrow, X2: Full, Y2: Full}
	for _, c := range []struct {
		name  string
		layer Layer
		field string // of the problem; "" for none
	}{
		{"nothing", Layer{}, ""},
		{"all of it", Layer{Turn: 3, Crop: Crop{5000, 0, 5000, Full}, Marks: []Mark{arrow, {Shape: MarkText, Text: "crack"}}}, ""},
		{"five quarters", Layer{Turn: 5}, "turn"},
		{"a sliver", Layer{Crop: Crop{0, 0, 100, Full}}, "crop"},
		{"over the edge", Layer{Crop: Crop{6000, 0, 5000, Full}}, "crop"},
		{"sums that wrap", Layer{Crop: Crop{X: 1 << 62, W: 1 << 62, H: Full}}, "crop"},
		{"a point", Layer{Marks: []Mark{{Shape: MarkArrow, X: 1, Y: 1, X2: 1, Y2: 1}}}, "marks"},
		{"outside", Layer{Marks: []Mark{{Shape: MarkRing, X2: Full + 1}}}, "marks"},
		{"no words", Layer{Marks: []Mark{{Shape: MarkText}}}, "marks"},
		{"another shape", Layer{Marks: []Mark{{Shape: "star", X2: 5}}}, "marks"},
		{"too many", Layer{Marks: slices.Repeat([]Mark{arrow}, MaxMarks+1)}, "marks"},
		{"long words", Layer{Marks: []Mark{{Shape: MarkText, Text: strings.Repeat("a", 81)}}}, "marks"},
	} {
		bad := problemsIn(c.layer.Validate())
		if _, found := bad[c.field]; c.field == "" && len(bad) > 0 || c.field != "" && !found {
			t.Errorf("%s: problems %v, want one with %q", c.name, bad, c.field)
		}
	}
}

func TestPhoto_Shown(t *testing.T) {
	for _, c := range []struct {
		layer         Layer
		width, height int
		view          string
	}{
		{Layer{}, 4000, 3000, ""},
		{Layer{Marks: []Mark{{Shape: MarkArrow, X2: 9}}}, 4000, 3000, ""},
		{Layer{Turn: 1}, 3000, 4000, "t1-0-0-10000-10000"},
		{Layer{Turn: 2, Crop: Crop{2500, 0, 5000, Full}}, 2000, 3000, "t2-2500-0-5000-10000"},
		{Layer{Turn: 3, Crop: Crop{0, 0, 3333, 6667}}, 1000, 2667, "t3-0-0-3333-6667"},
	} {
		p := Photo{Width: 4000, Height: 3000, Layer: c.layer}
		w, h := p.Shown()
		if w != c.width || h != c.height || c.layer.View() != c.view {
			t.Errorf("%+v: %d x %d as %q, want %d x %d as %q", c.layer, w, h, c.layer.View(), c.width, c.height, c.view)
		}
	}
	if w, h := (Photo{Layer: Layer{Turn: 1}}).Shown(); w != 0 || h != 0 {
		t.Errorf("a photo of unknown size is shown as %d x %d", w, h)
	}
}
