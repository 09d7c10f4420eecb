package main

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server/servertest"
)

// drag moves a finger from one place on an element to another, both in hundredths
// of its width and height.
func (w *window) drag(what, selector string, from, to [2]float64) {
	w.t.Helper()
	box := ask(w, what, chromedp.Evaluate[[]float64](fmt.Sprintf(
		`(() => { const e = document.querySelector(%s); e.scrollIntoView({block: "center"}); const r = e.getBoundingClientRect(); return [r.x, r.y, r.width, r.height] })()`, jsString(selector))))
	at := func(p [2]float64) []*input.TouchPoint {
		return []*input.TouchPoint{{X: box[0] + box[2]*p[0]/100, Y: box[1] + box[3]*p[1]/100}}
	}
	touch := func(kind input.DispatchTouchEventType, points []*input.TouchPoint) chromedp.Action[chromedp.Void] {
		return func(ctx context.Context, t *chromedp.Target) (chromedp.Void, error) {
			_, err := cdp.Call(ctx, t, input.DispatchTouchEvent, input.DispatchTouchEventParams{Type: kind, TouchPoints: points})
			return chromedp.Void{}, err
		}
	}
	halfway := [2]float64{(from[0] + to[0]) / 2, (from[1] + to[1]) / 2}
	w.do(what, touch("touchStart", at(from)), touch("touchMove", at(halfway)), touch("touchMove", at(to)), touch("touchEnd", []*input.TouchPoint{}))
}

// A mark drawn with a finger reaches the owner, in the picture and in words; a
// crop hides the rest from them; two photos are compared with keys. Every page is
// checked as all are: see window.look.
func TestMarks_OnAPhone(t *testing.T) {
	b := newBrowser(t)
	s := servertest.New(t)
	full := s.Full("Heron", s.Owner, 100)
	s.Settle()
	photo := "/builds/" + string(full.ID) + "/photos/" + string(full.SharedPhoto.ID)

	floor := b.window("the floor", s.URL)
	floor.open(s.Link(s.Floor, "/"))
	floor.press("Enter")
	floor.open(photo)
	floor.press("Mark, crop or turn")
	floor.drag("draws an arrow", "[data-board] svg", [2]float64{20, 80}, [2]float64{60, 40})
	floor.do("says what it shows", chromedp.SendKeys(chromedp.CSS("[data-list] input"), "crack at the weld"))
	// With keys: a ring in the middle, one step to the right.
	floor.do("adds a ring with keys", chromedp.Evaluate[chromedp.Void](`document.querySelector("[name=tool][value=ring]").click(); document.querySelector("[data-board]").focus()`),
		chromedp.KeyEvent("\r"), chromedp.Evaluate[chromedp.Void](`document.querySelector("[data-board]").focus()`), chromedp.KeyEvent(kb.ArrowRight))
	floor.look()
	floor.press("Save")
	floor.sees("Saved; the photo itself is unchanged.")

	owner := b.window("the owner", s.URL)
	owner.open(s.Link(s.Owner, "/"))
	owner.press("Enter")
	owner.open(photo)
	if got := owner.text(".mark-words"); got != "Arrow: crack at the weld Ring" {
		t.Errorf("the owner reads %q", got)
	}
	// From (20 %, 80 %) to (60 %, 40 %) of 1000 by 750 units, give or take a pixel.
	drawn := ask(owner, "looks at the arrow", chromedp.Evaluate[string](`document.querySelector(".stagebox .marks path").getAttribute("d")`))
	var x, y, x2, y2 float64
	if n, err := fmt.Sscanf(strings.ReplaceAll(drawn, "L", " "), "M%f %f %f %f", &x, &y, &x2, &y2); n != 4 {
		t.Fatalf("the arrow is %q: %v", drawn, err)
	}
	for _, p := range [][2]float64{{x, 200}, {y, 600}, {x2, 600}, {y2, 300}} {
		if p[0] < p[1]-6 || p[0] > p[1]+6 {
			t.Errorf("the arrow is %q, want about M200 600L600 300", drawn)
		}
	}
	over := ask(owner, "measures", chromedp.Evaluate[float64](`(() => { const a = document.querySelector(".stagebox img:not(.pre)").getBoundingClientRect(), b = document.querySelector(".stagebox .marks").getBoundingClientRect();
		return Math.abs((a.left + a.right) - (b.left + b.right)) + Math.abs(a.top - b.top) + Math.abs(a.height - b.height) })()`))
	if over > 2 {
		t.Errorf("the marks lie %v pixels beside the photo", over)
	}

	// The office crops to the lower half by finger; the owner sees that alone.
	office := b.window("the office", s.URL)
	office.open(s.Link(s.Office, "/"))
	office.press("Enter")
	office.open(photo + "/marks")
	office.do("chooses Crop", chromedp.Evaluate[chromedp.Void](`document.querySelector("[name=tool][value=crop]").click()`))
	office.drag("crops", "[data-board] svg", [2]float64{0.5, 50}, [2]float64{99.5, 99.5})
	office.press("Save")
	office.sees("Saved; the photo itself is unchanged.")
	s.Settle()
	owner.open(photo)
	shape := ask(owner, "measures", chromedp.Evaluate[float64](`(() => { const i = document.querySelector(".stagebox img:not(.pre)"); return i.naturalWidth / i.naturalHeight })()`))
	if shape < 2.3 || shape > 3.1 { // 64 x 48, its lower half
		t.Errorf("the owner's photo is %.2f times as wide as high", shape)
	}

	compare(t, s, owner, full)
}

// compare chooses a second photo and moves the edge with keys.
func compare(t *testing.T, s *servertest.Server, owner *window, full servertest.Full) {
	t.Helper()
	later := s.Photo(full.ID, 900)
	if _, err := s.App.Steps().PostEntry(context.Background(), servertest.Actor(s.Floor), full.ID, flow.NewEntry{
		StageID: full.Open, Kind: journal.KindProgress, Audience: journal.OwnerToo, Text: "The same place, later", Photos: []journal.EntryPhoto{{PhotoID: later.ID}},
	}); err != nil {
		t.Fatal(err)
	}
	s.Settle()
	owner.press("Compare with another photo")
	owner.follow("chooses the other", chromedp.Click(chromedp.CSS(".offers a")))
	owner.sees("Then", "Now")
	cut := func() string {
		return ask(owner, "looks at the edge", chromedp.Evaluate[string](`document.querySelector("[data-compare]").style.getPropertyValue("--cut")`))
	}
	if got := cut(); got != "50%" {
		t.Errorf("the edge begins at %q", got)
	}
	owner.do("moves the edge with keys", chromedp.Focus(chromedp.CSS("#between")), chromedp.KeyEvent(kb.ArrowRight+kb.ArrowRight+kb.ArrowRight))
	if got := cut(); got != "53%" {
		t.Errorf("after three arrow keys the edge is at %q", got)
	}
	owner.drag("moves it with a finger", "[data-side] .pic", [2]float64{50, 50}, [2]float64{20, 50})
	if got := cut(); got != "20%" {
		t.Errorf("after a finger's move to a fifth the edge is at %q", got)
	}
	owner.look()
}
