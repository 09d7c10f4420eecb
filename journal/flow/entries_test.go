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

func TestPostEntry_datedByTheCameraOrElseByThePosting(t *testing.T) {
	y := newYard(t)
	early := time.Date(2026, 4, 10, 15, 0, 0, 0, time.UTC)
	late := early.Add(3 * time.Hour)
	doubtful := aPhoto(9, y.now.Add(48*time.Hour))
	doubtful.CapturedDoubt = "That is still to come."
	future, _, err := y.steps.RecordPhoto(y.ctx, y.jory, y.heron, doubtful)
	y.do(err)
	wrong := y.photo(y.jory, y.heron, 8, time.Date(2012, 1, 1, 0, 0, 0, 0, time.UTC)) // before the arrival
	silent := y.photo(y.jory, y.heron, 7, time.Time{})
	y.now = y.now.Add(time.Hour)
	for _, c := range []struct {
		reason string
		photos []journal.Photo
		want   time.Time
	}{
		{"no photos", nil, y.now},
		{"the earliest counts, wherever it stands", []journal.Photo{y.photo(y.jory, y.heron, 1, late), y.photo(y.jory, y.heron, 2, early)}, early},
		{"doubtful times do not count", []journal.Photo{wrong, future, y.photo(y.jory, y.heron, 3, late)}, late},
		{"the time of receipt is not the camera's", []journal.Photo{silent}, y.now},
	} {
		t.Run(c.reason, func(t *testing.T) {
			e := y.entry(y.jory, y.heron, journal.OwnerToo, "Text", c.photos...)
			stored := got(y.steps.EntryShow(y.ctx, y.jory, y.heron, e.ID))(t).Entry
			if !stored.HappenedAt.Equal(c.want) || !stored.PostedAt.Equal(y.now) || !stored.SharedAt.Equal(y.now) {
				t.Errorf("happened %s, posted %s, shared %s, want happened %s", stored.HappenedAt, stored.PostedAt, stored.SharedAt, c.want)
			}
		})
	}
}

// Text is stored as typed, whatever it looks like; what cannot be text is
// refused beside its field.
func TestPostEntry_hostileText(t *testing.T) {
	y := newYard(t)
	p := y.photo(y.jory, y.heron, 1, time.Time{})
	for _, text := range []string{
		`<script>alert("x")</script> & <b onclick='y'>`, "'; DROP TABLE entries; --", `{{.Secret}} %s %d \ufffd`,
		"مرحبا \u202eدخيل\u202c", "🛻 👩🏽‍🔧", "a\u0301 e\u0301", "two\n\n\tlines\nand a tab", "https://example.org/?a=1&b=2", strings.Repeat("ä", 10_000),
	} {
		caption := strings.ReplaceAll(strings.ReplaceAll(text, "\n", " "), "\t", " ")
		if len([]rune(caption)) > 300 {
			caption = string([]rune(caption)[:300])
		}
		e := got(y.steps.PostEntry(y.ctx, y.jory, y.heron, flow.NewEntry{
			StageID: y.stage(y.heron, 0).ID, Kind: journal.KindFind, Audience: journal.OwnerToo, Text: text,
			Photos: []journal.EntryPhoto{{PhotoID: p.ID, Caption: caption}},
		}))(t)
		stored := got(y.steps.EntryShow(y.ctx, y.ada, y.heron, e.ID))(t).Entry
		if stored.Text != text || stored.Photos[0].Caption != caption {
			t.Errorf("stored %q with caption %q, want %q", stored.Text, stored.Photos[0].Caption, text)
		}
	}
	for _, text := range []string{"\x00", "bell \a", "\xff\xfe", strings.Repeat("x", 10_001)} {
		_, err := y.steps.PostEntry(y.ctx, y.jory, y.heron, flow.NewEntry{
			StageID: y.stage(y.heron, 0).ID, Kind: journal.KindFind, Audience: journal.OwnerToo, Text: text,
		})
		refused(t, err, journal.Invalid, "text")
	}
}

func TestPostEntry_refuses(t *testing.T) {
	y := newYard(t)
	stage, other := y.stage(y.heron, 0).ID, y.stage(y.juniper, 0).ID
	theirs := y.photo(y.jory, y.juniper, 1, time.Time{})
	mine := y.photo(y.jory, y.heron, 2, time.Time{})
	var many []journal.EntryPhoto
	for i := range 61 {
		many = append(many, placed(y.photo(y.jory, y.heron, 100+i, time.Time{}))...)
	}
	good := flow.NewEntry{StageID: stage, Kind: journal.KindProgress, Audience: journal.ShopOnly, Text: "Text"}
	for _, c := range []struct {
		reason string
		change func(*flow.NewEntry)
		field  string
	}{
		{"nothing said or shown", func(n *flow.NewEntry) { n.Text = " \r\n " }, "text"},
		{"no stage", func(n *flow.NewEntry) { n.StageID = "" }, "stage"},
		{"stage of another build", func(n *flow.NewEntry) { n.StageID = other }, "stage"},
		{"unknown kind", func(n *flow.NewEntry) { n.Kind = "gossip" }, "kind"},
		{"unknown audience", func(n *flow.NewEntry) { n.Audience = "everybody" }, "audience"},
		{"photo of another build", func(n *flow.NewEntry) { n.Photos = placed(mine, theirs) }, "photos"},
		{"no such photo", func(n *flow.NewEntry) { n.Photos = []journal.EntryPhoto{{PhotoID: "x"}} }, "photos"},
		{"61 photos", func(n *flow.NewEntry) { n.Photos = many }, "photos"},
		{"one photo twice", func(n *flow.NewEntry) { n.Photos = placed(mine, mine) }, "photos"},
		{"caption too long", func(n *flow.NewEntry) {
			n.Photos = []journal.EntryPhoto{{PhotoID: mine.ID, Caption: strings.Repeat("x", 301)}}
		}, "photos"},
	} {
		t.Run(c.reason, func(t *testing.T) {
			n := good
			c.change(&n)
			_, err := y.steps.PostEntry(y.ctx, y.jory, y.heron, n)
			refused(t, err, journal.Invalid, c.field)
		})
	}
	if n := len(got(y.steps.JournalPage(y.ctx, y.office, y.heron, flow.EntryQuery{}))(t).Entries); n != 0 {
		t.Errorf("%d entries after refusals", n)
	}
	good.Photos = many[:60]
	got(y.steps.PostEntry(y.ctx, y.jory, y.heron, good))(t)
}

func TestPostEntry_formSentTwice(t *testing.T) {
	y := newYard(t)
	n := flow.NewEntry{ID: "form-4f0c9a71b2d8", StageID: y.stage(y.heron, 0).ID, Kind: journal.KindVisit, Audience: journal.OwnerToo, Text: "Text"}
	first := got(y.steps.PostEntry(y.ctx, y.jory, y.heron, n))(t)
	n.Text = "Text, sent again"
	if again := got(y.steps.PostEntry(y.ctx, y.jory, y.heron, n))(t); again.ID != n.ID || again.Text != first.Text {
		t.Errorf("second time %+v", again)
	}
	// Nobody takes over another's entry, here or in another build.
	_, err := y.steps.PostEntry(y.ctx, y.sam, y.heron, n)
	refused(t, err, journal.Conflict)
	n.StageID = y.stage(y.juniper, 0).ID
	_, err = y.steps.PostEntry(y.ctx, y.jory, y.juniper, n)
	refused(t, err, journal.Conflict)
	if all := got(y.steps.JournalPage(y.ctx, y.jory, y.heron, flow.EntryQuery{}))(t).Entries; len(all) != 1 {
		t.Errorf("%d entries, want 1", len(all))
	}
	for _, id := range []journal.EntryID{"", "short", "../../../../etc/passwd", "white space in an id", journal.EntryID(strings.Repeat("x", 65))} {
		n.ID = id
		if e := got(y.steps.PostEntry(y.ctx, y.jory, y.juniper, n))(t); e.ID == id || e.ID == "" {
			t.Errorf("the id %q was taken as %q", id, e.ID)
		}
	}
}

func editOf(e journal.Entry) flow.EntryChange {
	return flow.EntryChange{Version: e.Version, NewEntry: flow.NewEntry{
		StageID: e.StageID, Kind: e.Kind, Audience: e.Audience, Text: e.Text, Photos: e.Photos,
	}}
}

func TestEditEntry_keepsHistory(t *testing.T) {
	y := newYard(t)
	p1, p2 := y.photo(y.jory, y.heron, 1, time.Time{}), y.photo(y.jory, y.heron, 2, time.Time{})
	e := y.entry(y.jory, y.heron, journal.ShopOnly, "Frist words", p1)

	y.now = y.now.Add(time.Hour)
	c := editOf(e)
	c.Text, c.Audience, c.Photos = "First words", journal.OwnerToo, placed(p2, p1)
	edited := got(y.steps.EditEntry(y.ctx, y.office, y.heron, e.ID, c))(t)
	sharedAt := y.now
	y.now = y.now.Add(time.Hour)
	c = editOf(edited)
	c.Audience = journal.ShopOnly
	hidden := got(y.steps.EditEntry(y.ctx, y.jory, y.heron, e.ID, c))(t)
	got(y.steps.EditEntry(y.ctx, y.jory, y.heron, e.ID, editOf(hidden)))(t) // changes nothing

	v := got(y.steps.EntryShow(y.ctx, y.office, y.heron, e.ID))(t)
	if v.Entry.Text != "First words" || v.Entry.Version != hidden.Version || !v.Entry.SharedAt.Equal(sharedAt) || !v.Entry.HappenedAt.Equal(e.HappenedAt) {
		t.Errorf("entry is %+v", v.Entry)
	}
	if len(v.History) != 2 {
		t.Fatalf("history has %d lines, want 2", len(v.History))
	}
	first, second := v.History[0], v.History[1]
	if first.Text != "Frist words" || first.Audience != journal.ShopOnly || first.ByID != y.office.Person.ID ||
		first.Version != e.Version || !slices.Equal(first.Photos, placed(p1)) || !first.At.Equal(sharedAt) {
		t.Errorf("first line is %+v", first)
	}
	if second.Audience != journal.OwnerToo || second.ByID != y.jory.Person.ID || !slices.Equal(second.Photos, placed(p2, p1)) {
		t.Errorf("second line is %+v", second)
	}
	if v.Names[y.office.Person.ID] != "Marta Quill" || v.Photos[p2.ID].FileName != "IMG_0002.jpg" {
		t.Errorf("names %v, photos %v", v.Names, v.Photos)
	}
	// Shared again, it is still news of the day it was first shared.
	y.now = y.now.Add(time.Hour)
	c = editOf(v.Entry)
	c.Audience = journal.OwnerToo
	again := got(y.steps.EditEntry(y.ctx, y.jory, y.heron, e.ID, c))(t)
	if !again.SharedAt.Equal(sharedAt) || !again.EditedAt.Equal(y.now) {
		t.Errorf("shared %s, edited %s", again.SharedAt, again.EditedAt)
	}
	c = editOf(again)
	c.Audience = journal.ShopOnly
	got(y.steps.EditEntry(y.ctx, y.jory, y.heron, e.ID, c))(t)
	// Moved back, the owner sees neither the entry nor its photos any more.
	_, err := y.steps.EntryShow(y.ctx, y.ada, y.heron, e.ID)
	refused(t, err, journal.NotFound)
	_, err = y.steps.PhotoFileAllowed(y.ctx, y.ada, y.heron, p1.ID)
	refused(t, err, journal.NotFound)
}

func TestEditEntry_ownersNeverSeeHistory(t *testing.T) {
	y := newYard(t)
	e := y.entry(y.jory, y.heron, journal.OwnerToo, "What a mess the last shop left")
	c := editOf(e)
	c.Text = "The old welds need grinding out"
	got(y.steps.EditEntry(y.ctx, y.jory, y.heron, e.ID, c))(t)
	v := got(y.steps.EntryShow(y.ctx, y.ada, y.heron, e.ID))(t)
	if v.History != nil || v.MayEdit || v.Entry.Text != c.Text {
		t.Errorf("the owner is shown %+v", v)
	}
}

func TestEditEntry_whoMay(t *testing.T) {
	y := newYard(t)
	e := y.entry(y.jory, y.heron, journal.ShopOnly, "Text")
	c := editOf(e)
	c.Text = "Other text"
	_, err := y.steps.EditEntry(y.ctx, y.sam, y.heron, e.ID, c)
	refused(t, err, journal.Forbidden)
	refused(t, y.steps.WithdrawEntry(y.ctx, y.sam, y.heron, e.ID, e.Version, "not mine"), journal.Forbidden)
	refused(t, y.steps.AppendPhotos(y.ctx, y.sam, y.heron, e.ID, placed(y.photo(y.sam, y.heron, 1, time.Time{}))), journal.Forbidden)
	for who, may := range map[*flow.Actor]bool{&y.office: true, &y.jory: true, &y.sam: false} {
		if v := got(y.steps.EntryShow(y.ctx, *who, y.heron, e.ID))(t); v.MayEdit != may {
			t.Errorf("%s may edit: %v, want %v", who.Person.Name, v.MayEdit, may)
		}
	}
}

func TestEditEntry_twoAtOnce(t *testing.T) {
	y := newYard(t)
	e := y.entry(y.jory, y.heron, journal.ShopOnly, "Text")
	const n = 8
	errs := make([]error, n)
	var all sync.WaitGroup
	for i := range n {
		all.Go(func() {
			c := editOf(e)
			c.Text = fmt.Sprintf("Text of %d", i)
			_, errs[i] = y.steps.EditEntry(y.ctx, y.jory, y.heron, e.ID, c)
		})
	}
	all.Wait()
	won := -1
	for i, err := range errs {
		if err == nil {
			if won >= 0 {
				t.Errorf("%d and %d both won", won, i)
			}
			won = i
			continue
		}
		refused(t, err, journal.Conflict)
	}
	v := got(y.steps.EntryShow(y.ctx, y.jory, y.heron, e.ID))(t)
	if won < 0 || v.Entry.Text != fmt.Sprintf("Text of %d", won) || len(v.History) != 1 {
		t.Errorf("%d won, the entry says %q with %d lines of history", won, v.Entry.Text, len(v.History))
	}
}

func TestWithdrawEntry(t *testing.T) {
	y := newYard(t)
	p := y.photo(y.jory, y.heron, 1, time.Time{})
	e := y.entry(y.jory, y.heron, journal.OwnerToo, "Wrong truck", p)
	refused(t, y.steps.WithdrawEntry(y.ctx, y.jory, y.heron, e.ID, e.Version, " "), journal.Invalid, "reason")
	refused(t, y.steps.WithdrawEntry(y.ctx, y.jory, y.heron, e.ID, e.Version+1, "wrong truck"), journal.Conflict)
	y.do(y.steps.WithdrawEntry(y.ctx, y.jory, y.heron, e.ID, e.Version, "posted to the wrong truck"))
	refused(t, y.steps.WithdrawEntry(y.ctx, y.jory, y.heron, e.ID, e.Version+1, "again"), journal.Conflict)
	_, err := y.steps.EditEntry(y.ctx, y.office, y.heron, e.ID, editOf(e))
	refused(t, err, journal.Conflict)
	refused(t, y.steps.AppendPhotos(y.ctx, y.office, y.heron, e.ID, placed(p)), journal.Conflict)

	_, err = y.steps.EntryShow(y.ctx, y.ada, y.heron, e.ID)
	refused(t, err, journal.NotFound)
	_, err = y.steps.PhotoShow(y.ctx, y.ada, y.heron, p.ID, "")
	refused(t, err, journal.NotFound)
	v := got(y.steps.EntryShow(y.ctx, y.sam, y.heron, e.ID))(t)
	if v.Entry.WithdrawnWhy != "posted to the wrong truck" || v.Entry.Text != "Wrong truck" || len(v.History) != 1 || v.MayEdit {
		t.Errorf("the shop is shown %+v", v)
	}
}

func TestAppendPhotos(t *testing.T) {
	y := newYard(t)
	var photos []journal.Photo
	for i := range 61 {
		photos = append(photos, y.photo(y.jory, y.heron, i, time.Time{}))
	}
	e := y.entry(y.jory, y.heron, journal.ShopOnly, "Text", photos[:2]...)
	y.do(y.steps.AppendPhotos(y.ctx, y.jory, y.heron, e.ID, placed(photos[1], photos[2], photos[2])))
	y.do(y.steps.AppendPhotos(y.ctx, y.jory, y.heron, e.ID, placed(photos[2])))
	v := got(y.steps.EntryShow(y.ctx, y.jory, y.heron, e.ID))(t)
	if !slices.Equal(v.Entry.Photos, placed(photos[:3]...)) || len(v.History) != 0 {
		t.Errorf("photos are %v, history %v", v.Entry.Photos, v.History)
	}
	refused(t, y.steps.AppendPhotos(y.ctx, y.jory, y.heron, e.ID, placed(photos[3:]...)), journal.Invalid, "photos")
	y.do(y.steps.AppendPhotos(y.ctx, y.jory, y.heron, e.ID, placed(photos[3:60]...)))
	refused(t, y.steps.AppendPhotos(y.ctx, y.jory, y.heron, e.ID, placed(photos[60])), journal.Invalid, "photos")
	other := y.photo(y.jory, y.juniper, 1, time.Time{})
	e2 := y.entry(y.jory, y.heron, journal.ShopOnly, "Text")
	refused(t, y.steps.AppendPhotos(y.ctx, y.jory, y.heron, e2.ID, placed(other)), journal.Invalid, "photos")
	if loose := got(y.steps.LoosePhotos(y.ctx, y.jory, y.heron))(t); len(loose) != 1 || loose[0].ID != photos[60].ID {
		t.Errorf("%d loose photos", len(loose))
	}
}

// A page never holds what its reader may not see, and following the cursor
// shows everything once.
func TestJournalPage(t *testing.T) {
	y := newYard(t)
	var shared, all []journal.EntryID
	for i := range 25 {
		y.now = y.now.Add(time.Minute)
		audience := journal.OwnerToo
		if i%3 == 0 {
			audience = journal.ShopOnly
		}
		e := y.entry(y.jory, y.heron, audience, fmt.Sprint("Entry ", i), y.photo(y.jory, y.heron, i, time.Time{}))
		all = append([]journal.EntryID{e.ID}, all...)
		if audience == journal.OwnerToo {
			shared = append([]journal.EntryID{e.ID}, shared...)
		}
	}
	for _, c := range []struct {
		who   flow.Actor
		want  []journal.EntryID
		limit int
	}{{y.ada, shared, 4}, {y.dell, shared, 4}, {y.sam, all, 5}, {y.office, all, 25}, {y.office, all, 0}} {
		var seen []journal.EntryID
		q := flow.EntryQuery{Limit: c.limit, Staff: true}
		for pages := 0; ; pages++ {
			v := got(y.steps.JournalPage(y.ctx, c.who, y.heron, q))(t)
			for _, e := range v.Entries {
				seen = append(seen, e.ID)
				photo, found := v.Photos[e.Photos[0].PhotoID]
				if !found || v.Authors[e.AuthorID] != "Jory Pike" {
					t.Errorf("photo or author of %s is missing", e.ID)
				}
				if !c.who.Person.Role.Staff() && (photo.FileName != "" || photo.Camera != "" || photo.Located || photo.Latitude != 0 || photo.Longitude != 0) {
					t.Errorf("an owner is shown %+v", photo)
				}
			}
			if v.Next == (flow.EntryCursor{}) {
				break
			}
			if q.Before = v.Next; pages > 30 {
				t.Fatal("the pages do not end")
			}
		}
		if !slices.Equal(seen, c.want) {
			t.Errorf("%s saw %v, want %v", c.who.Person.Name, seen, c.want)
		}
	}
}

func TestIsNew(t *testing.T) {
	since := time.Date(2026, 4, 12, 9, 0, 0, 0, time.UTC)
	e := journal.Entry{PostedAt: since.Add(-time.Hour), SharedAt: since.Add(time.Hour)}
	for _, c := range []struct {
		reason string
		since  time.Time
		staff  bool
		want   bool
	}{
		{"shared since", since, false, true},
		{"posted before", since, true, false},
		{"seen after sharing", since.Add(time.Hour), false, false},
		{"first visit", time.Time{}, false, false},
	} {
		if flow.IsNew(e, c.since, c.staff) != c.want {
			t.Error(c.reason)
		}
	}
}
