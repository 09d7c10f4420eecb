package flow_test

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
)

// wayOf is a photo's history in short: "out of e1 (Arrival); into e2 (Teardown)".
func (y *yard) wayOf(p journal.Photo) string {
	y.t.Helper()
	var all []string
	for _, s := range got(y.steps.PhotoHistory(y.ctx, y.sam, p.BuildID, p.ID))(y.t) {
		way := ""
		if s.From.EntryID != "" {
			way += fmt.Sprintf("from %s (%s) ", s.From.EntryID, s.From.Stage)
		}
		if s.To.EntryID != "" {
			way += fmt.Sprintf("to %s (%s) ", s.To.EntryID, s.To.Stage)
		}
		if s.To.Withdrawn {
			way += "withdrawn "
		}
		all = append(all, way+"by "+s.By)
	}
	return strings.Join(all, "; ")
}

func TestMovePhotos(t *testing.T) {
	y := newYard(t)
	first, second := y.turned()
	p1, p2, p3 := y.photo(y.jory, y.heron, 1, march(12)), y.photo(y.jory, y.heron, 2, march(11)), y.photo(y.jory, y.heron, 3, march(10))
	from := y.entry(y.jory, y.heron, journal.ShopOnly, "From here", p1, p2)
	to := got(y.steps.PostEntry(y.ctx, y.jory, y.heron, flow.NewEntry{StageID: second, Kind: journal.KindFind, Audience: journal.ShopOnly, Text: "To here", Photos: placed(p1)}))(t)
	y.now = y.now.Add(time.Hour)
	moved := got(y.steps.MovePhotos(y.ctx, y.office, y.heron, flow.PhotoMove{From: from.ID, Version: from.Version, Photos: []journal.PhotoID{p1.ID, p2.ID}, To: to.ID}))(t)
	here, there := got(y.steps.EntryShow(y.ctx, y.jory, y.heron, from.ID))(t), got(y.steps.EntryShow(y.ctx, y.jory, y.heron, to.ID))(t)
	if moved.ID != to.ID || len(here.Entry.Photos) != 0 || !slices.Equal(there.Entry.Photos, placed(p1, p2)) {
		t.Errorf("moved to %s: %v left, %v there", moved.ID, here.Entry.Photos, there.Entry.Photos)
	}
	if !here.Entry.HappenedAt.Equal(from.PostedAt) || !there.Entry.HappenedAt.Equal(march(11)) || !here.Entry.EditedAt.Equal(y.now) || !there.Entry.EditedAt.Equal(y.now) {
		t.Errorf("happened %s and %s, edited %s and %s", here.Entry.HappenedAt, there.Entry.HappenedAt, here.Entry.EditedAt, there.Entry.EditedAt)
	}
	for _, v := range []flow.EntryView{here, there} {
		if len(v.History) != 1 || v.History[0].ByID != y.office.Person.ID {
			t.Errorf("history of %q: %+v", v.Entry.Text, v.History)
		}
	}
	arrival, teardown := y.stage(y.heron, 0).Name, y.stage(y.heron, 1).Name
	way := fmt.Sprintf("from %s (%s) to %s (%s) by Marta Quill", from.ID, arrival, to.ID, teardown)
	if got := y.wayOf(p2); got != way {
		t.Errorf("way %q, want %q", got, way)
	}
	// Into a new entry of another stage; the old one goes with its last photo when
	// it says nothing.
	silent := got(y.steps.PostEntry(y.ctx, y.jory, y.heron, flow.NewEntry{StageID: first, Kind: journal.KindProblem, Audience: journal.OwnerToo, Photos: placed(p3)}))(t)
	y.now = y.now.Add(time.Hour)
	fresh := got(y.steps.MovePhotos(y.ctx, y.jory, y.heron, flow.PhotoMove{From: silent.ID, Version: silent.Version, Photos: []journal.PhotoID{p3.ID}, StageID: second}))(t)
	now, old := y.shown(fresh), y.shown(silent)
	if now.StageID != second || now.Kind != journal.KindProblem || now.Audience != journal.OwnerToo || !now.SharedAt.Equal(silent.SharedAt) || !now.PostedAt.Equal(silent.PostedAt) || now.AuthorID != y.jory.Person.ID || !now.HappenedAt.Equal(march(10)) || !slices.Equal(now.Photos, placed(p3)) {
		t.Errorf("the new entry is %+v", now)
	}
	if old.WithdrawnAt.IsZero() || old.WithdrawnWhy == "" || len(old.Photos) != 0 {
		t.Errorf("the empty entry is %+v", old)
	}
	if got, want := y.wayOf(p3), fmt.Sprintf("from %s (%s) to %s (%s) by Jory Pike", silent.ID, arrival, fresh.ID, teardown); got != want {
		t.Errorf("way %q, want %q", got, want)
	}
	// The stage of its entry, being taken out by an edit, put in by one, and a
	// withdrawal are steps too.
	e := editOf(now)
	e.StageID = first
	edited := got(y.steps.EditEntry(y.ctx, y.jory, y.heron, now.ID, e))(t)
	e = editOf(edited)
	e.Photos, e.Text = nil, "Without it"
	edited = got(y.steps.EditEntry(y.ctx, y.office, y.heron, now.ID, e))(t)
	e = editOf(edited)
	e.Photos = placed(p3)
	edited = got(y.steps.EditEntry(y.ctx, y.jory, y.heron, now.ID, e))(t)
	y.do(y.steps.WithdrawEntry(y.ctx, y.jory, y.heron, now.ID, edited.Version, "wrong truck"))
	steps := strings.Split(y.wayOf(p3), "; ")
	want := []string{
		fmt.Sprintf("from %[1]s (%[3]s) to %[1]s (%[2]s) by Jory Pike", fresh.ID, arrival, teardown),
		fmt.Sprintf("from %s (%s) by Marta Quill", fresh.ID, arrival),
		fmt.Sprintf("to %s (%s) by Jory Pike", fresh.ID, arrival),
		fmt.Sprintf("from %[1]s (%[2]s) to %[1]s (%[2]s) withdrawn by Jory Pike", fresh.ID, arrival),
	}
	if len(steps) != 5 || !slices.Equal(steps[1:], want) {
		t.Errorf("steps are %q, want behind the first %q", steps, want)
	}
	_, err := y.steps.PhotoHistory(y.ctx, y.ada, y.heron, p3.ID)
	refused(t, err, journal.Forbidden)
}

func TestMovePhotos_audience(t *testing.T) {
	y := newYard(t)
	hidden, shared := y.photo(y.jory, y.heron, 1, march(12)), y.photo(y.jory, y.heron, 2, march(11))
	from := y.entry(y.jory, y.heron, journal.ShopOnly, "Shop only", hidden, shared)
	y.now = y.now.Add(time.Hour)
	seen := y.entry(y.jory, y.heron, journal.OwnerToo, "Seen by the owner", shared)
	y.now = y.now.Add(time.Hour)
	sees := func(p journal.Photo) bool {
		_, err := y.steps.PhotoFileAllowed(y.ctx, y.ada, y.heron, p.ID)
		return err == nil
	}
	if v := got(y.steps.MoveShow(y.ctx, y.jory, y.heron, from.ID))(t); v.Hidden != 1 || len(v.Targets) != 1 || v.Targets[0].ID != seen.ID {
		t.Errorf("the page shows %+v", v)
	}
	move := flow.PhotoMove{From: from.ID, Version: from.Version, Photos: []journal.PhotoID{hidden.ID}, To: seen.ID}
	_, err := y.steps.MovePhotos(y.ctx, y.jory, y.heron, move)
	refused(t, err, journal.Invalid, "show")
	if sees(hidden) || len(y.shown(from).Photos) != 2 || len(y.shown(seen).Photos) != 1 {
		t.Fatal("a refused move moved something")
	}
	news := y.lastNews()
	move.Show = true
	got(y.steps.MovePhotos(y.ctx, y.jory, y.heron, move))(t)
	if now := y.shown(seen); !sees(hidden) || !now.SharedAt.Equal(seen.SharedAt) {
		t.Errorf("the owner sees it: %v; shared %s", sees(hidden), now.SharedAt)
	}
	if !y.lastNews().Equal(news) {
		t.Error("a moved photo counts as news to the owner")
	}
	// What the owner sees already needs no word, and goes out of sight again.
	back := y.shown(seen)
	got(y.steps.MovePhotos(y.ctx, y.jory, y.heron, flow.PhotoMove{From: seen.ID, Version: back.Version, Photos: []journal.PhotoID{hidden.ID}, To: from.ID}))(t)
	if sees(hidden) || !sees(shared) {
		t.Error("moved back, the owner still sees it")
	}
	// Between two entries that the owner sees nothing new is shown.
	other := y.entry(y.jory, y.heron, journal.OwnerToo, "Another", y.photo(y.jory, y.heron, 3, march(12)))
	got(y.steps.MovePhotos(y.ctx, y.jory, y.heron, flow.PhotoMove{From: other.ID, Version: other.Version, Photos: []journal.PhotoID{other.Photos[0].PhotoID}, To: seen.ID}))(t)
}

func (y *yard) lastNews() (at time.Time) {
	y.t.Helper()
	y.do(y.steps.Store.Read(y.ctx, func(r flow.Reads) (err error) {
		at, err = r.LastNews(y.heron)
		return err
	}))
	return at
}

func TestMovePhotos_refuses(t *testing.T) {
	y := newYard(t)
	p1, p2 := y.photo(y.jory, y.heron, 1, march(12)), y.photo(y.sam, y.heron, 2, march(12))
	mine, sams := y.entry(y.jory, y.heron, journal.ShopOnly, "Mine", p1), y.entry(y.sam, y.heron, journal.ShopOnly, "Sam's", p2)
	gone := y.entry(y.jory, y.heron, journal.ShopOnly, "Withdrawn")
	y.do(y.steps.WithdrawEntry(y.ctx, y.jory, y.heron, gone.ID, gone.Version, "twice"))
	theirs := y.entry(y.jory, y.juniper, journal.ShopOnly, "In another build")
	var many []journal.Photo
	for i := range 60 {
		many = append(many, y.photo(y.jory, y.heron, 100+i, time.Time{}))
	}
	full := y.entry(y.jory, y.heron, journal.ShopOnly, "Full", many...)
	good := flow.PhotoMove{From: mine.ID, Version: mine.Version, Photos: []journal.PhotoID{p1.ID}, StageID: y.stage(y.heron, 1).ID}
	into := func(id journal.EntryID) func(*flow.PhotoMove) { return func(m *flow.PhotoMove) { m.To = id } }
	for _, c := range []struct {
		reason string
		who    flow.Actor
		change func(*flow.PhotoMove)
		code   journal.Code
		fields []string
	}{
		{"no photo", y.jory, func(m *flow.PhotoMove) { m.Photos = nil }, journal.Invalid, []string{"photos"}},
		{"a photo that is not in it", y.jory, func(m *flow.PhotoMove) { m.Photos = append(m.Photos, p2.ID) }, journal.Invalid, []string{"photos"}},
		{"into itself", y.jory, into(mine.ID), journal.Invalid, []string{"to"}},
		{"into an entry of another build", y.jory, into(theirs.ID), journal.Invalid, []string{"to"}},
		{"no stage", y.jory, func(m *flow.PhotoMove) { m.StageID = "" }, journal.Invalid, []string{"stage"}},
		{"a stage of another build", y.jory, func(m *flow.PhotoMove) { m.StageID = y.stage(y.juniper, 0).ID }, journal.Invalid, []string{"stage"}},
		{"into a full one", y.jory, into(full.ID), journal.Invalid, []string{"photos"}},
		{"into a withdrawn one", y.jory, into(gone.ID), journal.Conflict, nil},
		{"into somebody else's", y.jory, into(sams.ID), journal.Forbidden, nil},
		{"out of somebody else's", y.sam, into(sams.ID), journal.Forbidden, nil},
		{"by an owner", y.ada, func(*flow.PhotoMove) {}, journal.Forbidden, nil},
		{"of what was changed meanwhile", y.jory, func(m *flow.PhotoMove) { m.Version++ }, journal.Conflict, nil},
		{"out of no entry", y.jory, func(m *flow.PhotoMove) { m.From = "x" }, journal.NotFound, nil},
	} {
		t.Run(c.reason, func(t *testing.T) {
			m := good
			m.Photos = slices.Clone(good.Photos)
			c.change(&m)
			_, err := y.steps.MovePhotos(y.ctx, c.who, y.heron, m)
			refused(t, err, c.code, c.fields...)
		})
	}
	if now := y.shown(mine); now.Version != mine.Version || !slices.Equal(now.Photos, mine.Photos) || len(y.shown(full).Photos) != 60 {
		t.Errorf("refused and yet moved: %+v", now)
	}
	for _, a := range []flow.Actor{y.sam, y.ada} {
		_, err := y.steps.MoveShow(y.ctx, a, y.heron, mine.ID)
		refused(t, err, journal.Forbidden)
	}
	// Two at once: the photo is moved once.
	const phones = 6
	errs := make([]error, phones)
	var wait sync.WaitGroup
	for i := range phones {
		wait.Go(func() { _, errs[i] = y.steps.MovePhotos(y.ctx, y.jory, y.heron, good) })
	}
	wait.Wait()
	won := 0
	for _, err := range errs {
		if err == nil {
			won++
		} else {
			refused(t, err, journal.Conflict)
		}
	}
	if n := got(y.steps.PhotoShow(y.ctx, y.jory, y.heron, p1.ID, ""))(t); won != 1 || len(n.Entries) != 1 {
		t.Errorf("%d moves, the photo is in %d entries", won, len(n.Entries))
	}
}
