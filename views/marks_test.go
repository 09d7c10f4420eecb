package views

import (
	"encoding/xml"
	"io"
	"slices"
	"strings"
	"testing"

	"farbay/journal"
)

func markedWith(width, height int, c journal.Crop, marks ...journal.Mark) PhotoView {
	p := journal.Photo{ID: "p1", BuildID: "b1", Width: width, Height: height, State: journal.PhotoReady, Layer: journal.Layer{Number: 1, Crop: c, Marks: marks}}
	return NewPhotoView(givenWords, p, "", "")
}

// Where marks come to lie, worked out by hand: parts of the whole photo, seen
// through the part that is shown, on a long edge of 1,000.
func TestOverlay_Places(t *testing.T) {
	ring := journal.Mark{Shape: journal.MarkRing, X: 2500, Y: 5000, X2: 7500, Y2: 10000}
	whole := markedWith(4000, 3000, journal.Crop{}, ring).Cover()
	// The box is 250..750 of 1000 across, 375..750 of 750 down.
	if whole.Width != 1000 || whole.Height != 750 || whole.Fit != "slice" || whole.Marks[0].Path != "M250.0 562.5a250.0 187.5 0 1 0 500.0 0a250.0 187.5 0 1 0 -500.0 0z" {
		t.Errorf("whole: %+v", whole)
	}
	// Its lower half is shown: 4000 x 1500, so 1000 x 375; the ring fills its
	// height, and begins a quarter in.
	half := markedWith(4000, 3000, journal.Crop{Y: 5000, W: 10000, H: 5000}, ring).Contain()
	if half.Width != 1000 || half.Height != 375 || half.Fit != "meet" || half.Marks[0].Path != "M250.0 187.5a250.0 187.5 0 1 0 500.0 0a250.0 187.5 0 1 0 -500.0 0z" {
		t.Errorf("half: %+v", half)
	}
	arrow := journal.Mark{Shape: journal.MarkArrow, X: 1000, Y: 5000, X2: 6000, Y2: 5000}
	line := markedWith(1000, 1000, journal.Crop{}, arrow).Cover().Marks[0]
	// The head goes back 40 from the tip at (600, 500), half a radian to each
	// side: 40 cos 0.5 = 35.1, 40 sin 0.5 = 19.2.
	if line.Path != "M100.0 500.0L600.0 500.0M564.9 480.8L600.0 500.0L564.9 519.2" || line.Number != 0 {
		t.Errorf("arrow: %+v", line)
	}
	text := journal.Mark{Shape: journal.MarkText, X: 9000, Y: 100, X2: 9000, Y2: 100, Text: "Rust goes on below the seam as far as the sill"}
	words := markedWith(1000, 500, journal.Crop{}, arrow, text).Cover()
	if words.Marks[0].Number != 1 || words.Marks[1].Anchor != "end" || words.Marks[1].Path != "" ||
		!slices.Equal(words.Marks[1].Lines, []string{"Rust goes on below the", "seam as far as the", "sill"}) {
		t.Errorf("words: %+v", words)
	}
	if o := markedWith(0, 0, journal.Crop{}, arrow).Cover(); o != nil {
		t.Errorf("of a size not known: %+v", o)
	}
	if o := markedWith(100, 100, journal.Crop{}).Cover(); o != nil {
		t.Errorf("of no marks: %+v", o)
	}
}

// What was cropped away is not told of, neither drawn nor in words.
func TestOverlay_CroppedAway(t *testing.T) {
	p := markedWith(4000, 3000, journal.Crop{X: 5000, Y: 0, W: 5000, H: 10000},
		journal.Mark{Shape: journal.MarkText, X: 1000, Y: 1000, X2: 9000, Y2: 1000, Text: "licence plate"},
		journal.Mark{Shape: journal.MarkArrow, X: 4000, Y: 1000, X2: 6000, Y2: 1000, Text: "comes in from the left"},
		journal.Mark{Shape: journal.MarkRing, X: 1000, Y: 1000, X2: 4999, Y2: 9999, Text: "a face"})
	if got := p.MarkWords(); !slices.Equal(got, []string{"Arrow: comes in from the left"}) || len(p.Cover().Marks) != 1 {
		t.Errorf("%q, %d drawn", got, len(p.Cover().Marks))
	}
	alt, err := p.AltMarked()
	if err != nil || !strings.HasSuffix(alt, ". Marked: Arrow: comes in from the left") {
		t.Errorf("%q, %v", alt, err)
	}
}

// The words of marks are any text; the overlay stays well-formed XML 1.0 with
// them, and has no style of its own (the policy forbids it).
func TestOverlay_AnyWords(t *testing.T) {
	set := mustNew(t)
	for _, text := range []string{"<script>alert(1)</script>", `"><img src=x>`, "a & b < c", "שלום עולם", strings.Repeat("W", 80), "e\u0301\U0001F6FB \u202eabc"} {
		for _, shape := range []journal.MarkShape{journal.MarkArrow, journal.MarkText, "<b>"} {
			page := givenPhoto(false)
			page.Photo.Layer.Marks = []journal.Mark{{Shape: shape, X: 1000, Y: 2000, X2: 3000, Y2: 4000, Text: text}}
			html := render(t, set, page)
			start := strings.Index(html, `<svg class="marks"`)
			svg := html[start : start+strings.Index(html[start:], "</svg>")+6]
			if strings.Contains(svg, "style") {
				t.Errorf("a style in %s", svg)
			}
			d := xml.NewDecoder(strings.NewReader(svg))
			for {
				if _, err := d.Token(); err == io.EOF {
					break
				} else if err != nil {
					t.Fatalf("%q: %v in %s", text, err, svg)
				}
			}
		}
	}
}

func TestWrapWords(t *testing.T) {
	for text, want := range map[string][]string{
		"": nil, "  ": nil, "one": {"one"}, "aa bb cc": {"aa bb", "cc"}, "abcdefg": {"abcde", "fg"}, "a bcdefgh": {"a", "bcdef", "gh"}, "ééééé é": {"ééééé", "é"},
	} {
		if got := wrapWords(text, 5); !slices.Equal(got, want) {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

// The placeholder is in the page itself and asks for nothing (RFC 2397).
func TestPlaceholder(t *testing.T) {
	set := mustNew(t)
	html := render(t, set, givenPhoto(false))
	if !strings.Contains(html, `<img class="pre" src="data:image/gif;base64,R0lGODlhAQABAAAAADs=" alt="" aria-hidden="true">`) {
		t.Errorf("no placeholder in %s", html)
	}
	page := givenPhoto(false)
	page.Photo.Preview = nil
	if strings.Contains(render(t, set, page), "data:") {
		t.Error("a placeholder for a photo without one")
	}
}

// The first photo of a journal loads at once, the others when they come near.
func TestJournal_FirstPhotoEager(t *testing.T) {
	j := givenJournal()
	eager := 0
	for i, run := range j.Runs() {
		for k, e := range run.Entries {
			for n, p := range e.Photos {
				if p.Eager {
					eager++
					if i+k+n > 0 {
						t.Errorf("photo %d of entry %d of run %d loads at once", n, k, i)
					}
				}
			}
		}
	}
	if eager != 1 || j.Entries[0].Photos[0].Eager {
		t.Errorf("%d load at once; the given entries were changed: %v", eager, j.Entries[0].Photos[0].Eager)
	}
}

func TestLayerLine_Said(t *testing.T) {
	for want, l := range map[string]journal.Layer{
		"As it was taken": {Number: 3}, "1\u00a0mark": {Marks: make([]journal.Mark, 1)},
		"2\u00a0marks, turned left by a quarter and cropped": {Turn: 3, Crop: journal.Crop{W: 500, H: 500}, Marks: make([]journal.Mark, 2)},
	} {
		if got := (LayerLine{Layer: l}).Said(); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
