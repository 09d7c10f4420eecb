package flow_test

import (
	"crypto/sha256"
	"fmt"
	"slices"
	"sync"
	"testing"
	"time"

	"pgregory.net/rapid"

	"farbay/journal"
	"farbay/journal/flow"
)

// turned puts heron's first stage under way at 8:00 on 9 March and closes it on
// the 16th, when the second begins. It returns both.
func (y *yard) turned() (first, second journal.StageID) {
	y.t.Helper()
	first, second = y.stage(y.heron, 0).ID, y.stage(y.heron, 1).ID
	y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error {
		for _, turn := range []journal.Turn{
			{StageID: first, To: journal.UnderWay, At: march(9)}, {StageID: first, To: journal.Closed, At: march(16)}, {StageID: second, To: journal.UnderWay, At: march(16)},
		} {
			turn.ByID = y.jory.Person.ID
			if err := tx.AddTurn(turn); err != nil {
				return err
			}
		}
		return nil
	}))
	return first, second
}

func march(day int) time.Time { return time.Date(2026, 3, day, 8, 0, 0, 0, time.UTC) }

// Forty photos of two stages: asked first, then posted as two entries with the
// same words; captions are kept, and sending it again posts nothing more.
func TestPostSpread(t *testing.T) {
	y := newYard(t)
	first, second := y.turned()
	var batch []journal.EntryPhoto
	for i := range 40 {
		day := march(10)
		if i%8 >= 5 {
			day = march(18)
		}
		batch = append(batch, placed(y.photo(y.jory, y.heron, i, day.Add(time.Duration(40-i)*time.Minute)))...)
	}
	undated := y.photo(y.jory, y.heron, 100, time.Time{})
	batch = append(batch, placed(undated)...)
	n := flow.NewEntry{ID: "form-0123456789abcdef", StageID: second, Kind: journal.KindFind, Audience: journal.OwnerToo, Text: "Two weeks of work", Photos: batch}

	shares := got(y.steps.SpreadOf(y.ctx, y.jory, y.heron, n))(t)
	if len(shares) != 2 || shares[0].StageID != first || len(shares[0].Photos) != 25 || shares[1].StageID != second || len(shares[1].Photos) != 16 {
		t.Fatalf("shares: %+v", shares)
	}
	if all := got(y.steps.JournalPage(y.ctx, y.jory, y.heron, flow.EntryQuery{}))(t).Entries; len(all) != 0 {
		t.Fatalf("asking posted %d entries", len(all))
	}
	const phones = 5
	posted := make([][]journal.Entry, phones)
	var wait sync.WaitGroup
	for i := range phones {
		wait.Go(func() {
			var err error
			if posted[i], err = y.steps.PostSpread(y.ctx, y.jory, y.heron, n); err != nil {
				t.Error(err)
			}
		})
	}
	wait.Wait()
	all := got(y.steps.JournalPage(y.ctx, y.jory, y.heron, flow.EntryQuery{Limit: 50}))(t).Entries
	if len(all) != 2 {
		t.Fatalf("%d entries, want 2", len(all))
	}
	// The identifiers are as the documentation says they are made.
	other := journal.EntryID(fmt.Sprintf("%x", sha256.Sum256([]byte("form-0123456789abcdef/"+string(first))))[:32])
	for i, e := range all { // newest first
		want, earliest := shares[1-i], march(18).Add(time.Minute)
		if i == 1 {
			earliest = march(10).Add(4 * time.Minute)
		}
		if e.StageID != want.StageID || !slices.Equal(e.Photos, want.Photos) || e.Text != n.Text || e.Kind != n.Kind || e.Audience != n.Audience || e.SharedAt.IsZero() {
			t.Errorf("entry %d is %+v", i, e)
		}
		if !e.HappenedAt.Equal(earliest) {
			t.Errorf("entry %d happened %s, want %s", i, e.HappenedAt, earliest)
		}
	}
	if all[0].ID != n.ID || all[1].ID != other {
		t.Errorf("ids %s and %s, want %s and %s", all[0].ID, all[1].ID, n.ID, other)
	}
	for i, entries := range posted {
		if len(entries) != 2 {
			t.Errorf("phone %d was told of %d entries", i, len(entries))
		}
	}
	if shares := got(y.steps.SpreadOf(y.ctx, y.jory, y.heron, n))(t); shares != nil {
		t.Errorf("posted, and it would be divided into %v", shares)
	}
	if e := got(y.steps.PostEntry(y.ctx, y.jory, y.heron, n))(t); e.ID != n.ID || len(e.Photos) != 16 {
		t.Errorf("sent again undivided: %+v", e)
	}
}

func TestPostSpread_edges(t *testing.T) {
	y := newYard(t)
	first, second := y.turned()
	old, older := y.photo(y.jory, y.heron, 1, march(10)), y.photo(y.jory, y.heron, 2, march(11))
	n := flow.NewEntry{StageID: second, Kind: journal.KindProgress, Audience: journal.ShopOnly, Text: "Text"}
	if posted := got(y.steps.PostSpread(y.ctx, y.jory, y.heron, n))(t); len(posted) != 1 || posted[0].StageID != second {
		t.Errorf("without photos: %+v", posted)
	}
	// All in another stage: the form's own entry is that one.
	n.ID, n.Photos = "form-all-in-another", placed(old, older)
	if posted := got(y.steps.PostSpread(y.ctx, y.jory, y.heron, n))(t); len(posted) != 1 || posted[0].StageID != first || posted[0].ID != n.ID {
		t.Errorf("all in another stage: %+v", posted)
	}
	n.ID = "form-kept-in-the-chosen"
	if e := got(y.steps.PostEntry(y.ctx, y.jory, y.heron, n))(t); e.StageID != second {
		t.Errorf("kept together: %+v", e)
	}
	count := len(got(y.steps.JournalPage(y.ctx, y.office, y.heron, flow.EntryQuery{Limit: 50}))(t).Entries)
	theirs := y.photo(y.jory, y.juniper, 3, march(20))
	for field, change := range map[string]func(*flow.NewEntry){
		"stage":  func(n *flow.NewEntry) { n.StageID = "" },
		"photos": func(n *flow.NewEntry) { n.Photos = placed(old, theirs) },
		"text":   func(n *flow.NewEntry) { n.Text = "\x00" },
	} {
		bad := n
		bad.ID = "form-that-is-refused"
		change(&bad)
		_, err := y.steps.SpreadOf(y.ctx, y.jory, y.heron, bad)
		refused(t, err, journal.Invalid, field)
		_, err = y.steps.PostSpread(y.ctx, y.jory, y.heron, bad)
		refused(t, err, journal.Invalid, field)
	}
	_, err := y.steps.PostSpread(y.ctx, y.ada, y.heron, n)
	refused(t, err, journal.Forbidden)
	// Another's form identifier is taken over by nobody, and then nothing is posted.
	n.Photos = placed(old, y.photo(y.jory, y.heron, 4, march(20)))
	_, err = y.steps.PostSpread(y.ctx, y.sam, y.heron, n)
	refused(t, err, journal.Conflict)
	if now := len(got(y.steps.JournalPage(y.ctx, y.office, y.heron, flow.EntryQuery{Limit: 50}))(t).Entries); now != count {
		t.Errorf("%d entries became %d by refused forms", count, now)
	}
}

// Photos that come late, in whatever order, leave each entry dated by its
// earliest, so that the journal reads in the order of capture.
func TestJournalOrder_whateverTheArrival(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		y := newYard(t)
		type arrival struct{ entry, minute int }
		var arrivals []arrival
		earliest := map[int]int{}
		for entry := range 4 {
			for range rapid.IntRange(1, 4).Draw(rt, "photos") {
				a := arrival{entry, rapid.IntRange(0, 5000).Draw(rt, "minute")}
				arrivals = append(arrivals, a)
				if e, known := earliest[entry]; !known || a.minute < e {
					earliest[entry] = a.minute
				}
			}
		}
		for i := range arrivals {
			j := rapid.IntRange(0, i).Draw(rt, "swap")
			arrivals[i], arrivals[j] = arrivals[j], arrivals[i]
		}
		posted := map[int]journal.EntryID{}
		for i, a := range arrivals {
			p := y.photo(y.jory, y.heron, i, march(10).Add(time.Duration(a.minute)*time.Minute))
			id, there := posted[a.entry]
			if !there {
				posted[a.entry] = y.entry(y.jory, y.heron, journal.ShopOnly, fmt.Sprint("Entry ", a.entry), p).ID
				continue
			}
			y.do(y.steps.AppendPhotos(y.ctx, y.jory, y.heron, id, placed(p)))
		}
		entries := got(y.steps.JournalPage(y.ctx, y.jory, y.heron, flow.EntryQuery{Limit: 50}))(t).Entries
		for i, e := range entries {
			if i > 0 && e.HappenedAt.After(entries[i-1].HappenedAt) {
				rt.Fatalf("entry %d of %s stands below one of %s", i, e.HappenedAt, entries[i-1].HappenedAt)
			}
			for entry, id := range posted {
				if want := march(10).Add(time.Duration(earliest[entry]) * time.Minute); id == e.ID && !e.HappenedAt.Equal(want) {
					rt.Fatalf("entry %d happened %s, want %s", entry, e.HappenedAt, want)
				}
			}
		}
	})
}

// An edit that was begun before photos were appended keeps them, takes out what
// was unticked, and leaves no photo loose.
func TestEditEntry_keepsPhotosItDidNotKnow(t *testing.T) {
	y := newYard(t)
	p1, p2, p3 := y.photo(y.jory, y.heron, 1, march(12)), y.photo(y.jory, y.heron, 2, march(13)), y.photo(y.jory, y.heron, 3, march(11))
	for _, c := range []struct {
		reason string
		known  []journal.PhotoID
		ticked []journal.Photo
		want   []journal.Photo
	}{
		{"the form shows p1 and p2, p2 is unticked", []journal.PhotoID{p1.ID, p2.ID}, []journal.Photo{p1}, []journal.Photo{p1, p3}},
		{"the form shows none and ticks one that was appended meanwhile", []journal.PhotoID{}, []journal.Photo{p3}, []journal.Photo{p3, p1, p2}},
		{"no word of what was known", nil, []journal.Photo{p2}, []journal.Photo{p2}},
	} {
		e := y.entry(y.jory, y.heron, journal.ShopOnly, "Frist words", p1, p2)
		y.do(y.steps.AppendPhotos(y.ctx, y.jory, y.heron, e.ID, placed(p3)))
		change := editOf(e)
		change.Text, change.Photos, change.Known = "First words", placed(c.ticked...), c.known
		edited := got(y.steps.EditEntry(y.ctx, y.jory, y.heron, e.ID, change))(t)
		now := y.shown(e)
		if !slices.Equal(now.Photos, placed(c.want...)) || now.Text != "First words" || !slices.Equal(edited.Photos, now.Photos) {
			t.Errorf("%s: photos are %v, want %v", c.reason, now.Photos, placed(c.want...))
		}
		earliest := c.want[0].CapturedAt
		for _, p := range c.want {
			if p.CapturedAt.Before(earliest) {
				earliest = p.CapturedAt
			}
		}
		if !now.HappenedAt.Equal(earliest) {
			t.Errorf("%s: happened %s, want %s", c.reason, now.HappenedAt, earliest)
		}
	}
	// Beyond what an entry takes, the edit is refused and nothing is dropped.
	var many []journal.Photo
	for i := range 60 {
		many = append(many, y.photo(y.jory, y.heron, 100+i, time.Time{}))
	}
	e := y.entry(y.jory, y.heron, journal.ShopOnly, "Text", p1)
	y.do(y.steps.AppendPhotos(y.ctx, y.jory, y.heron, e.ID, placed(many[:59]...)))
	change := editOf(e)
	change.Photos, change.Known = placed(p1, many[59]), []journal.PhotoID{p1.ID}
	_, err := y.steps.EditEntry(y.ctx, y.jory, y.heron, e.ID, change)
	refused(t, err, journal.Invalid, "photos")
	if now := y.shown(e); len(now.Photos) != 60 {
		t.Errorf("%d photos", len(now.Photos))
	}
}

// hashed gives a photo the perceptual hash that its sizes would have.
func (y *yard) hashed(p journal.Photo, hash string) journal.Photo {
	y.t.Helper()
	p.Hash, p.Tone = hash, "#808080"
	y.do(y.steps.PhotoDerived(y.ctx, p))
	return y.stored(p)
}

func TestEntryOffers(t *testing.T) {
	y := newYard(t)
	first, second := y.turned()
	posted := y.hashed(y.photo(y.sam, y.heron, 1, march(10)), "00000000000000ff")
	y.entry(y.sam, y.heron, journal.ShopOnly, "Posted by another", posted)
	alike := y.hashed(y.photo(y.jory, y.heron, 2, march(10).Add(5*time.Second)), "00000000000000f0")
	later := y.hashed(y.photo(y.jory, y.heron, 3, march(18)), "00000000000000ff")
	silent, chosen := y.photo(y.jory, y.heron, 4, time.Time{}), posted
	o := got(y.steps.EntryOffers(y.ctx, y.jory, y.heron, []journal.PhotoID{chosen.ID, "gone"}))(t)
	if len(o.Loose) != 3 || len(o.Photos) != 4 {
		t.Errorf("%d loose, %d in all", len(o.Loose), len(o.Photos))
	}
	if o.Stages[alike.ID] != first || o.Stages[later.ID] != second || o.Stages[chosen.ID] != first || len(o.Stages) != 3 {
		t.Errorf("stages %v, none for %s", o.Stages, silent.ID)
	}
	if !o.Posted[alike.ID] || len(o.Posted) != 1 {
		t.Errorf("like one posted: %v", o.Posted)
	}
	_, err := y.steps.EntryOffers(y.ctx, y.ada, y.heron, nil)
	refused(t, err, journal.Forbidden)
}

func TestKeepOfBurst(t *testing.T) {
	y := newYard(t)
	var shots []journal.Photo
	for i := range 4 {
		shots = append(shots, y.hashed(y.photo(y.jory, y.heron, i, march(10).Add(time.Duration(i)*time.Second)), "00000000000000ff"))
	}
	other := y.hashed(y.photo(y.jory, y.heron, 9, march(9)), "00000000000000ff") // the same view, a day before
	photos := placed(shots[0], other, shots[1], shots[2], shots[3])
	photos[4].Caption = ""
	e := got(y.steps.PostEntry(y.ctx, y.jory, y.heron, flow.NewEntry{StageID: y.stage(y.heron, 0).ID, Kind: journal.KindProgress, Audience: journal.OwnerToo, Photos: photos}))(t)
	_, err := y.steps.KeepOfBurst(y.ctx, y.sam, y.heron, e.ID, e.Version, shots[3].ID)
	refused(t, err, journal.Forbidden)
	_, err = y.steps.KeepOfBurst(y.ctx, y.jory, y.heron, e.ID, e.Version, other.ID)
	refused(t, err, journal.Conflict)
	_, err = y.steps.KeepOfBurst(y.ctx, y.jory, y.heron, e.ID, e.Version+1, shots[3].ID)
	refused(t, err, journal.Conflict)

	const phones = 6
	errs := make([]error, phones)
	var wait sync.WaitGroup
	for i := range phones {
		wait.Go(func() { _, errs[i] = y.steps.KeepOfBurst(y.ctx, y.jory, y.heron, e.ID, e.Version, shots[3].ID) })
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
	v := got(y.steps.EntryShow(y.ctx, y.jory, y.heron, e.ID))(t)
	want := []journal.EntryPhoto{{PhotoID: other.ID, Caption: photos[1].Caption}, {PhotoID: shots[3].ID, Caption: photos[0].Caption}}
	if won != 1 || !slices.Equal(v.Entry.Photos, want) || len(v.History) != 1 || !slices.Equal(v.History[0].Photos, photos) {
		t.Errorf("%d won; photos %v, want %v; history %v", won, v.Entry.Photos, want, v.History)
	}
	if loose := got(y.steps.LoosePhotos(y.ctx, y.jory, y.heron))(t); len(loose) != 3 {
		t.Errorf("%d photos are loose, want the three taken out", len(loose))
	}
	if len(y.events(y.heron, "photos taken out")) != 1 {
		t.Error("no event, or several")
	}
}
