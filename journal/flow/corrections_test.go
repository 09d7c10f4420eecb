package flow_test

import (
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
)

// clocked records a photo that a camera's own clock dates.
func (y *yard) clocked(a flow.Actor, build journal.BuildID, seed int, taken time.Time, change ...func(*journal.Photo)) journal.Photo {
	y.t.Helper()
	p := aPhoto(seed, taken)
	p.FromClock = true
	for _, f := range change {
		f(&p)
	}
	stored, _, err := y.steps.RecordPhoto(y.ctx, a, build, p)
	y.do(err)
	return stored
}

// stored returns a photo as it is now.
func (y *yard) stored(p journal.Photo) (now journal.Photo) {
	y.t.Helper()
	y.do(y.steps.Store.Read(y.ctx, func(r flow.Reads) (err error) {
		now, err = r.Photo(p.BuildID, p.ID)
		return err
	}))
	return now
}

func (y *yard) shown(e journal.Entry) journal.Entry {
	y.t.Helper()
	return got(y.steps.EntryShow(y.ctx, y.office, e.BuildID, e.ID))(y.t).Entry
}

// correct saves a correction as somebody does who has just seen what it does.
func (y *yard) correct(n flow.NewCorrection) flow.CorrectionEffect {
	y.t.Helper()
	n.Seen = got(y.steps.PreviewCorrection(y.ctx, y.office, n))(y.t).Seen
	return got(y.steps.CorrectClock(y.ctx, y.office, n))(y.t)
}

// A camera whose clock was an hour slow: its photos move in both builds, the
// entries with them, what comes later too, and undoing gives everything back.
func TestCorrectClock(t *testing.T) {
	y := newYard(t)
	day := func(hour int) time.Time { return time.Date(2026, 4, 10, hour, 0, 0, 0, time.UTC) }
	moved := []journal.Photo{
		y.clocked(y.jory, y.heron, 1, day(14)), y.clocked(y.jory, y.heron, 2, day(16)), y.clocked(y.jory, y.juniper, 3, day(18)),
	}
	still := []journal.Photo{
		y.clocked(y.jory, y.heron, 4, day(12)), y.clocked(y.jory, y.heron, 5, day(20)), // outside the bounds
		y.clocked(y.jory, y.heron, 6, day(15), func(p *journal.Photo) { p.Camera = "Lumen 13" }),
		y.clocked(y.jory, y.heron, 7, day(15), func(p *journal.Photo) {
			p.FromClock, p.CapturedSource = false, "camera clock, offset from satellite time"
		}),
		y.clocked(y.jory, y.heron, 8, time.Time{}, func(p *journal.Photo) { p.FromClock = false }),
	}
	before := y.entry(y.jory, y.heron, journal.OwnerToo, "Dated by a photo that stays", still[0], moved[0])
	dated := y.entry(y.jory, y.heron, journal.OwnerToo, "Dated by a photo that moves", moved[0], moved[1])
	theirs := y.entry(y.jory, y.juniper, journal.ShopOnly, "In another build", moved[2])
	withdrawn := y.entry(y.jory, y.heron, journal.ShopOnly, "Withdrawn", moved[1])
	y.do(y.steps.WithdrawEntry(y.ctx, y.jory, y.heron, withdrawn.ID, withdrawn.Version, "posted twice"))

	n := flow.NewCorrection{Camera: "Lumen 12", From: day(14), To: day(18), Shift: time.Hour, Why: "It was still on winter time"}
	preview := got(y.steps.PreviewCorrection(y.ctx, y.office, n))(t)
	if preview.Photos != 3 || !preview.First.Was.Equal(day(14)) || !preview.First.Becomes.Equal(day(15)) || !preview.Last.Becomes.Equal(day(19)) {
		t.Errorf("preview: %+v", preview)
	}
	want := []flow.BuildEffect{{Photos: 2, Entries: 3, Dated: 2}, {Photos: 1, Entries: 1, Dated: 1}}
	for i, b := range preview.Builds {
		if nickname := []string{"Heron", "Juniper"}[i]; b.Build.Nickname != nickname || b.Photos != want[i].Photos || b.Entries != want[i].Entries || b.Dated != want[i].Dated {
			t.Errorf("preview of %s: %+v, want %+v", b.Build.Nickname, b, want[i])
		}
	}
	if !y.stored(moved[0]).CapturedAt.Equal(day(14)) {
		t.Error("the preview moved a photo")
	}
	made := y.correct(n)
	for i, hour := range []int{15, 17, 19} {
		if p := y.stored(moved[i]); !p.CapturedAt.Equal(day(hour)) || p.CorrectionID != made.Correction.ID || !p.ClaimedAt.Equal(moved[i].ClaimedAt) {
			t.Errorf("photo %d is %+v", i, p)
		}
	}
	for i, p := range still {
		if now := y.stored(p); !now.CapturedAt.Equal(p.CapturedAt) || now.CorrectionID != "" {
			t.Errorf("photo %d that is not concerned is of %s by %q", i, now.CapturedAt, now.CorrectionID)
		}
	}
	for _, c := range []struct {
		entry journal.Entry
		want  time.Time
	}{{before, day(12)}, {dated, day(15)}, {theirs, day(19)}, {withdrawn, day(17)}} {
		if e := y.shown(c.entry); !e.HappenedAt.Equal(c.want) || e.EditedAt != c.entry.EditedAt {
			t.Errorf("%q happened %s, want %s; edited %s", e.Text, e.HappenedAt, c.want, e.EditedAt)
		}
	}
	for _, build := range []journal.BuildID{y.heron, y.juniper} {
		if events := y.events(build, "clock corrected"); len(events) != 1 || events[0].Subject != string(made.Correction.ID) {
			t.Errorf("events of %s: %v", build, events)
		}
	}
	late := y.clocked(y.sam, y.heron, 9, day(17))
	if !late.CapturedAt.Equal(day(18)) || late.CorrectionID != made.Correction.ID {
		t.Errorf("a photo that came later is %+v", late)
	}
	y.do(y.steps.AppendPhotos(y.ctx, y.jory, y.heron, theirsIn(y, late), placed(late)))

	c, by, err := y.steps.CorrectionOfPhoto(y.ctx, y.sam, y.heron, late.ID)
	if y.do(err); c == nil || by != "Marta Quill" || c.Why != n.Why {
		t.Errorf("the shop is told %+v by %q", c, by)
	}
	c, by, err = y.steps.CorrectionOfPhoto(y.ctx, y.ada, y.heron, moved[0].ID)
	if y.do(err); c == nil || *c != (journal.ClockCorrection{ShiftSeconds: 3600}) || by != "" {
		t.Errorf("the owner is told %+v by %q", c, by)
	}
	_, _, err = y.steps.CorrectionOfPhoto(y.ctx, y.ben, y.heron, moved[0].ID)
	refused(t, err, journal.NotFound)

	undo := got(y.steps.PreviewUndo(y.ctx, y.office, made.Correction.ID))(t)
	if undo.Photos != 4 {
		t.Errorf("undoing moves %d photos, want 4", undo.Photos)
	}
	got(y.steps.UndoCorrection(y.ctx, y.office, made.Correction.ID))(t)
	for _, p := range slices.Concat(moved, still) {
		if now := y.stored(p); now.CapturedAt != p.CapturedAt || now.CapturedDoubt != p.CapturedDoubt || now.CorrectionID != "" {
			t.Errorf("%s is not given back: %+v", p.FileName, now)
		}
	}
	for _, e := range []journal.Entry{before, dated, theirs, withdrawn} {
		if now := y.shown(e); !now.HappenedAt.Equal(e.HappenedAt) {
			t.Errorf("%q happened %s, was %s", e.Text, now.HappenedAt, e.HappenedAt)
		}
	}
	_, err = y.steps.UndoCorrection(y.ctx, y.office, made.Correction.ID)
	refused(t, err, journal.Conflict)
	if v := got(y.steps.Clocks(y.ctx, y.office))(t); len(v.Cameras) != 2 || v.Cameras[0].Camera != "Lumen 12" || v.Cameras[0].Photos != 8 || len(v.Corrections) != 1 || v.Names[v.Corrections[0].UndoneBy] != "Marta Quill" {
		t.Errorf("clocks: %+v", v)
	}
}

// theirsIn posts an entry to put a photo into.
func theirsIn(y *yard, p journal.Photo) journal.EntryID {
	return y.entry(y.jory, p.BuildID, journal.ShopOnly, "For "+p.FileName).ID
}

// Doubts come and go with a correction: what the file itself raises goes with
// the file's own time.
func TestCorrectClock_doubt(t *testing.T) {
	y := newYard(t)
	reset := y.clocked(y.jory, y.heron, 1, time.Date(2012, 1, 1, 8, 0, 0, 0, time.UTC)) // its battery was out
	if reset.CapturedDoubt == "" {
		t.Fatal("a photo of 2012 is not doubtful")
	}
	fine := y.clocked(y.jory, y.heron, 2, time.Date(2026, 4, 1, 8, 0, 0, 0, time.UTC))
	e := y.entry(y.jory, y.heron, journal.OwnerToo, "Text", reset)
	shift := time.Date(2026, 4, 11, 16, 0, 0, 0, time.UTC).Sub(reset.ClaimedAt)
	n := flow.NewCorrection{Camera: "Lumen 12", To: reset.ClaimedAt.Add(48 * time.Hour), Shift: shift, Why: "The battery was out", BuildID: y.heron, PhotoID: reset.ID}
	if effect := y.correct(n); effect.Photos != 1 || effect.Settled != 1 || effect.Doubtful != 0 {
		t.Errorf("effect %+v", effect)
	}
	if p := y.stored(reset); p.CapturedDoubt != "" || !y.shown(e).HappenedAt.Equal(p.CapturedAt) {
		t.Errorf("photo %+v, entry of %s", p, y.shown(e).HappenedAt)
	}
	// Too far: into the time after its receipt.
	wrong := y.correct(flow.NewCorrection{Camera: "Lumen 12", From: fine.ClaimedAt, Shift: 30 * 24 * time.Hour, Why: "A slip of the finger"})
	if wrong.Doubtful != 1 || wrong.Settled != 0 || y.stored(fine).CapturedDoubt == "" {
		t.Errorf("effect %+v, photo %+v", wrong, y.stored(fine))
	}
	if undo := got(y.steps.UndoCorrection(y.ctx, y.office, wrong.Correction.ID))(t); undo.Settled != 1 || y.stored(fine).CapturedDoubt != "" {
		t.Errorf("undone: %+v", undo)
	}
}

// A correction of a correction: the one made last counts, measured from what the
// camera said, and undoing it brings back the one before.
func TestCorrectClock_lastInForce(t *testing.T) {
	y := newYard(t)
	claim := time.Date(2026, 4, 10, 14, 0, 0, 0, time.UTC)
	p := y.clocked(y.jory, y.heron, 1, claim)
	at := func(want time.Duration) {
		t.Helper()
		if now := y.stored(p).CapturedAt; !now.Equal(claim.Add(want)) {
			t.Errorf("%s off the claim, want %s", now.Sub(claim), want)
		}
	}
	first := y.correct(flow.NewCorrection{Camera: p.Camera, Shift: time.Hour, Why: "First"})
	second := y.correct(flow.NewCorrection{Camera: p.Camera, Shift: -90 * time.Second, Why: "Second, at the same moment"})
	at(-90 * time.Second)
	got(y.steps.UndoCorrection(y.ctx, y.office, first.Correction.ID))(t) // changes nothing
	at(-90 * time.Second)
	got(y.steps.UndoCorrection(y.ctx, y.office, second.Correction.ID))(t)
	at(0)
	y.correct(flow.NewCorrection{Camera: p.Camera, Shift: 2 * time.Hour, Why: "Third"})
	y.now = y.now.Add(-time.Hour) // the server's clock was set back
	fourth := y.correct(flow.NewCorrection{Camera: p.Camera, Shift: 3 * time.Hour, Why: "Fourth"})
	at(3 * time.Hour)
	got(y.steps.UndoCorrection(y.ctx, y.office, fourth.Correction.ID))(t)
	at(2 * time.Hour)
}

func TestCorrectClock_refuses(t *testing.T) {
	y := newYard(t)
	day := time.Date(2026, 4, 10, 14, 0, 0, 0, time.UTC)
	p := y.clocked(y.jory, y.heron, 1, day)
	other := y.clocked(y.jory, y.heron, 2, day, func(p *journal.Photo) { p.Camera = "Lumen 13" })
	satellite := y.clocked(y.jory, y.heron, 3, day, func(p *journal.Photo) { p.FromClock = false })
	good := flow.NewCorrection{Camera: p.Camera, Shift: time.Hour, Why: "Wall clock", BuildID: y.heron, PhotoID: p.ID}
	for _, c := range []struct {
		field  string
		change func(*flow.NewCorrection)
	}{
		{"camera", func(n *flow.NewCorrection) { n.Camera, n.PhotoID = "", "" }},
		{"shift", func(n *flow.NewCorrection) { n.Shift = time.Second - 1 }},
		{"shift", func(n *flow.NewCorrection) { n.Shift = journal.MaxShift + time.Second }},
		{"to", func(n *flow.NewCorrection) { n.From, n.To = day, day.Add(-1) }},
		{"why", func(n *flow.NewCorrection) { n.Why = " \n" }},
		{"photo", func(n *flow.NewCorrection) { n.PhotoID = other.ID }},
		{"photo", func(n *flow.NewCorrection) { n.PhotoID = satellite.ID }},
		{"photo", func(n *flow.NewCorrection) { n.BuildID = y.juniper }},
	} {
		n := good
		c.change(&n)
		_, err := y.steps.PreviewCorrection(y.ctx, y.office, n)
		refused(t, err, journal.Invalid, c.field)
		_, err = y.steps.CorrectClock(y.ctx, y.office, n)
		refused(t, err, journal.Invalid, c.field)
	}
	for _, a := range []flow.Actor{y.jory, y.ada} {
		_, err := y.steps.CorrectClock(y.ctx, a, good)
		refused(t, err, journal.Forbidden)
		_, err = y.steps.PreviewCorrection(y.ctx, a, good)
		refused(t, err, journal.Forbidden)
		_, err = y.steps.UndoCorrection(y.ctx, a, "x")
		refused(t, err, journal.Forbidden)
		_, err = y.steps.Clocks(y.ctx, a)
		refused(t, err, journal.Forbidden)
		_, err = y.steps.CorrectionShow(y.ctx, a, "x")
		refused(t, err, journal.Forbidden)
	}
	_, err := y.steps.UndoCorrection(y.ctx, y.office, "x")
	refused(t, err, journal.NotFound)
	if v := got(y.steps.Clocks(y.ctx, y.office))(t); len(v.Corrections) != 0 {
		t.Errorf("refused and yet there: %+v", v.Corrections)
	}
	// With no photo yet, it waits for those to come, and is on record.
	waiting := y.correct(flow.NewCorrection{Camera: "Lumen 14", Shift: time.Minute, Why: "A new one"})
	if events := y.events("", "clock corrected"); waiting.Photos != 0 || len(events) != 1 {
		t.Errorf("%d photos, events %v", waiting.Photos, events)
	}
}

// Two people of the office correct one camera at the same time: one does it, the
// other is told and has changed nothing. A form sent twice corrects once.
func TestCorrectClock_twoAtOnce(t *testing.T) {
	y := newYard(t)
	day := time.Date(2026, 4, 10, 14, 0, 0, 0, time.UTC)
	p := y.clocked(y.jory, y.heron, 1, day)
	const all = 6
	errs := make([]error, all)
	n := flow.NewCorrection{Camera: p.Camera, Why: "Wall clock"}
	n.Shift = time.Minute
	n.Seen = got(y.steps.PreviewCorrection(y.ctx, y.office, n))(t).Seen
	var wait sync.WaitGroup
	for i := range all {
		wait.Go(func() {
			mine := n
			mine.ID, mine.Shift = journal.CorrectionID(fmt.Sprintf("form-0123456789-%d", i)), time.Duration(i+1)*time.Minute
			_, errs[i] = y.steps.CorrectClock(y.ctx, y.office, mine)
		})
	}
	wait.Wait()
	won := -1
	for i, err := range errs {
		if err != nil {
			refused(t, err, journal.Conflict)
			continue
		}
		if won >= 0 {
			t.Errorf("%d and %d both won", won, i)
		}
		won = i
	}
	if now := y.stored(p).CapturedAt; won < 0 || now.Sub(day) != time.Duration(won+1)*time.Minute {
		t.Fatalf("%d won, the photo moved by %s", won, now.Sub(day))
	}
	n.ID, n.Shift = journal.CorrectionID(fmt.Sprintf("form-0123456789-%d", won)), time.Duration(won+1)*time.Minute
	again := got(y.steps.CorrectClock(y.ctx, y.office, n))(t)
	if v := got(y.steps.Clocks(y.ctx, y.office))(t); again.Correction.ID != n.ID || len(v.Corrections) != 1 {
		t.Errorf("sent again: %+v, %d corrections", again, len(v.Corrections))
	}
	// Twice at once undone, once in force no more.
	for i := range errs {
		wait.Go(func() { _, errs[i] = y.steps.UndoCorrection(y.ctx, y.office, n.ID) })
	}
	wait.Wait()
	undone := 0
	for _, err := range errs {
		if err == nil {
			undone++
		} else {
			refused(t, err, journal.Conflict)
		}
	}
	if undone != 1 || !y.stored(p).CapturedAt.Equal(day) {
		t.Errorf("undone %d times, the photo is of %s", undone, y.stored(p).CapturedAt)
	}
}

// A camera with 3,000 photos over 60 entries.
func TestCorrectClock_manyPhotos(t *testing.T) {
	y := newYard(t)
	if testing.Short() {
		t.Skip("3,000 photos take some seconds to record")
	}
	begin, stage := time.Date(2026, 2, 10, 14, 0, 0, 0, time.UTC), y.stage(y.heron, 0).ID
	y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error {
		for n := range 60 {
			e := journal.Entry{
				ID: journal.EntryID(fmt.Sprint("many-", n)), BuildID: y.heron, StageID: stage, AuthorID: y.jory.Person.ID, Kind: journal.KindProgress,
				Audience: journal.ShopOnly, PostedAt: y.now, HappenedAt: begin.Add(time.Duration(n) * time.Hour), Version: 1,
			}
			for i := range 50 {
				p := aPhoto(10_000+n*50+i, begin.Add(time.Duration(n)*time.Hour+time.Duration(i)*time.Second))
				p.ID, p.BuildID, p.ByID, p.State, p.FromClock = journal.PhotoID(fmt.Sprintf("many-%d-%d", n, i)), y.heron, y.jory.Person.ID, journal.PhotoReady, true
				p.ReceivedAt, p.ClaimedAt = y.now, p.CapturedAt
				if err := tx.AddPhoto(p); err != nil {
					return err
				}
				e.Photos = append(e.Photos, journal.EntryPhoto{PhotoID: p.ID})
			}
			if err := tx.AddEntry(e); err != nil {
				return err
			}
		}
		return nil
	}))
	started := time.Now()
	effect := y.correct(flow.NewCorrection{Camera: "Lumen 12", Shift: -30 * time.Minute, Why: "Wall clock"})
	took := time.Since(started)
	t.Logf("shown and saved in %s", took)
	if effect.Photos != 3000 || effect.Builds[0].Entries != 60 || effect.Builds[0].Dated != 60 {
		t.Errorf("effect %+v", effect)
	}
	if took > 20*time.Second { // about 1 s when this was written; a query for each photo and entry takes minutes
		t.Errorf("it took %s", took)
	}
}
