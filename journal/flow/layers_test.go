package flow_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// derived records a photo and that its plain sizes are there.
func (y *yard) derived(a flow.Actor, seed int) journal.Photo {
	y.t.Helper()
	p := y.photo(a, y.heron, seed, y.now.Add(-time.Hour))
	p.Tone, p.Hash = "#101010", fmt.Sprintf("%016x", seed)
	y.do(y.steps.PhotoDerived(y.ctx, p))
	return got(y.steps.PhotoFileAllowed(y.ctx, y.office, y.heron, p.ID))(y.t)
}

// The house's rule of who may edit, for photos: the office all, the floor those
// they posted or that stand in an entry of theirs.
func TestSetLayer_WhoMay(t *testing.T) {
	y := newYard(t)
	p := y.derived(y.jory, 1)
	turn := func(a flow.Actor, read, quarters int) error {
		return y.steps.SetLayer(y.ctx, a, y.heron, p.ID, read, journal.Layer{Turn: quarters})
	}
	refused(t, turn(y.ada, 0, 1), journal.Forbidden)
	refused(t, turn(y.sam, 0, 1), journal.Forbidden)
	y.do(turn(y.jory, 0, 1))
	y.do(turn(y.office, 1, 2))
	y.entry(y.sam, y.heron, journal.OwnerToo, "shown again", p)
	y.do(turn(y.sam, 2, 3))
	refused(t, turn(y.office, 2, 1), journal.Conflict)
	refused(t, y.steps.SetLayer(y.ctx, y.office, y.juniper, p.ID, 3, journal.Layer{}), journal.NotFound)
	v := got(y.steps.LayerShow(y.ctx, y.office, y.heron, p.ID))(t)
	if len(v.History) != 3 || v.History[0].By != "Jory Pike" || v.Photo.Layer.Number != 3 || v.Photo.State != journal.PhotoPending {
		t.Errorf("%+v", v)
	}
	fresh := y.photo(y.jory, y.heron, 2, y.now)
	refused(t, y.steps.SetLayer(y.ctx, y.jory, y.heron, fresh.ID, 0, journal.Layer{Turn: 1}), journal.Conflict)
}

// The worker makes each view that was set, and only the one in force makes the
// photo ready; the hash stays that of the whole photo. Marks alone need no work.
func TestSetLayer_Work(t *testing.T) {
	y := newYard(t)
	p := y.derived(y.jory, 1)
	mark := []journal.Mark{{Shape: journal.MarkArrow, X: 1, Y: 1, X2: 9, Y2: 9, Text: " crack "}}
	y.do(y.steps.SetLayer(y.ctx, y.jory, y.heron, p.ID, 0, journal.Layer{Marks: mark}))
	y.do(y.steps.SetLayer(y.ctx, y.jory, y.heron, p.ID, 1, journal.Layer{Marks: mark})) // again: nothing
	now := got(y.steps.PhotoFileAllowed(y.ctx, y.office, y.heron, p.ID))(t)
	if now.State != journal.PhotoReady || now.Layer.Number != 1 || now.Layer.Marks[0].Text != "crack" {
		t.Errorf("marked: %s, %+v", now.State, now.Layer)
	}
	y.do(y.steps.SetLayer(y.ctx, y.jory, y.heron, p.ID, 1, journal.Layer{Turn: 1}))
	y.do(y.steps.SetLayer(y.ctx, y.jory, y.heron, p.ID, 2, journal.Layer{Turn: 2}))
	subject := func(n string) string { return string(y.heron) + "/" + string(p.ID) + n }
	first := got(y.steps.PhotoOfJob(y.ctx, subject("/2")))(t)
	second := got(y.steps.PhotoOfJob(y.ctx, subject("/3")))(t)
	if first.Layer.Turn != 1 || second.Layer.Turn != 2 || !got(y.steps.PhotoOfJob(y.ctx, subject("")))(t).Layer.Plain() {
		t.Errorf("jobs are about %+v and %+v", first.Layer, second.Layer)
	}
	for _, bad := range []string{"/9", "/-1", "/x", "/2/3"} {
		_, err := y.steps.PhotoOfJob(y.ctx, subject(bad))
		refused(t, err, journal.NotFound)
	}
	first.Tone, first.Hash = "#222222", "of the view"
	y.do(y.steps.PhotoDerived(y.ctx, first))
	y.do(y.steps.PhotoFailed(y.ctx, first, "Not this one."))
	if now = got(y.steps.PhotoFileAllowed(y.ctx, y.office, y.heron, p.ID))(t); now.State != journal.PhotoPending {
		t.Errorf("another view made the photo %s", now.State)
	}
	second.Tone, second.Hash, second.Preview = "#333333", "of the view", []byte("GIF")
	y.do(y.steps.PhotoDerived(y.ctx, second))
	now = got(y.steps.PhotoFileAllowed(y.ctx, y.office, y.heron, p.ID))(t)
	if now.State != journal.PhotoReady || now.Tone != "#333333" || now.Hash != p.Hash || string(now.Preview) != "GIF" {
		t.Errorf("derived: %+v", now)
	}
}

// A paper freezes how its evidence is shown, in the bytes that are signed; a
// later layer changes neither them nor what the owner may get by them.
func TestSetLayer_PapersKeepWhatWasShown(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	p := y.derived(y.jory, 1)
	layer := journal.Layer{Turn: 1, Crop: journal.Crop{X: 0, Y: 5000, W: 10000, H: 5000}, Marks: []journal.Mark{{Shape: journal.MarkText, X: 1, Y: 9000, X2: 1, Y2: 9000, Text: "rust"}}}
	y.do(y.steps.SetLayer(y.ctx, y.office, y.heron, p.ID, 0, layer))
	paper := got(y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.ChangeOrder}))(t)
	paper = got(y.steps.SavePaper(y.ctx, y.office, y.heron, paper.ID, paper.Version, signoff.Draft{
		Title: "Pans", Reason: "Rust.", StageID: y.stage(y.heron, 1).ID, Days: 2, Photos: []signoff.Evidence{{PhotoID: p.ID}},
	}))(t)
	paper = got(y.steps.SendPaper(y.ctx, y.office, y.heron, paper.ID, paper.Version))(t)
	y.do(y.steps.RestoreLayer(y.ctx, y.office, y.heron, p.ID, 1, 0))
	page := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, paper.ID))(t)
	shown := page.Sheet.Photos[0]
	// The photo is 4032 x 3024 upright;
	// turned 3024 x 4032, its lower half 3024 x 2016.
	if shown.Shown == nil || shown.Shown.Width != 3024 || shown.Shown.Height != 2016 || shown.Layer().View() != layer.View() || shown.Layer().Marks[0] != layer.Marks[0] {
		t.Errorf("frozen: %+v", shown.Shown)
	}
	if !strings.Contains(string(page.Revisions[0].Bytes), `"view":"`+layer.View()+`"`) {
		t.Error("the frozen bytes do not say how the photo was shown")
	}
	allowed := func(a flow.Actor, view string) bool {
		_, err := y.steps.PhotoViewAllowed(y.ctx, a, y.heron, p.ID, view)
		var ours *journal.Error
		if err != nil && (!errors.As(err, &ours) || ours.Code != journal.NotFound) {
			t.Fatal(err)
		}
		return err == nil
	}
	if !allowed(y.ada, layer.View()) || !allowed(y.ada, "") || allowed(y.ada, "t3-0-0-10000-10000") || allowed(y.ben, "") || allowed(y.ben, layer.View()) {
		t.Error("the owner gets what was shown and what is shown now, and nobody else anything")
	}
}
