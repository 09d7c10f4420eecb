package server_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// takenAt is a small photo that an invented phone took at a time, as of the shop.
func takenAt(t *testing.T, seed int, local string) file {
	t.Helper()
	return file{fmt.Sprintf("IMG_%04d.jpg", seed), exifTool(t, servertest.JPEG(t, seed), "-Make=Ostler", "-Model=Pocket 4", "-DateTimeOriginal="+local, "-OffsetTimeOriginal=-06:00")}
}

// twoStages is a build of which the first stage was under way on 14 April from
// nine to eleven at the shop, and the second since; it is then noon.
func twoStages(t *testing.T, s *servertest.Server) (build journal.BuildID, stages []journal.Stage) {
	t.Helper()
	build, stages = s.Agreed("Heron", s.Owner)
	steps, ctx, office := s.App.Steps(), context.Background(), servertest.Actor(s.Office)
	for _, act := range []func() error{
		func() error { return steps.OpenStage(ctx, office, build, stages[0].ID) },
		func() error { _, _, err := steps.CloseStage(ctx, office, build, stages[0].ID); return err },
		func() error { return steps.OpenStage(ctx, office, build, stages[1].ID) },
	} {
		if err := act(); err != nil {
			t.Fatal(err)
		}
		s.Clock.Pass(time.Hour)
	}
	return build, stages
}

// batch sends four photos, two of each stage, and returns the form for them.
func batch(t *testing.T, s *servertest.Server, c *servertest.Client, build journal.BuildID) (at string, form url.Values) {
	t.Helper()
	sent := sendPhotos(t, c, build, takenAt(t, 1, "2026:04:14 09:10:00"), takenAt(t, 2, "2026:04:14 11:30:00"), takenAt(t, 3, "2026:04:14 09:20:00"), takenAt(t, 4, "2026:04:14 11:40:00"))
	at = "/builds/" + string(build) + "/entries"
	form = with(formIn(t, c.Get(at+"/new").Status(http.StatusOK), at), "text", "Two stages\nin one day", "kind", "find", "audience", "owner too",
		"caption_"+string(sent.Photos[0].ID), "The first & <last>")
	return at, form
}

// With scripts off: the form asks, and either answer, or going back, loses
// nothing.
func TestSplit_AskedOnce(t *testing.T) {
	s := servertest.New(t)
	build, stages := twoStages(t, s)
	floor := s.As(s.Floor)
	at, form := batch(t, s, floor, build)
	if form.Get("stage") != string(stages[1].ID) || form.Get("split") != "ask" || len(form["photo"]) != 4 {
		t.Fatalf("the form begins with %v", form)
	}
	floor.Get(at + "/new").Says("during " + stages[0].Name).Says("during " + stages[1].Name)
	page := sendForm(floor, at, form).Status(http.StatusOK)
	page.Says("Two photos were taken while " + stages[0].Name + " was under way. Two photos go with " + stages[1].Name + ", as you chose").Says("Nothing is posted yet")
	if n := entriesOf(t, s, build); n != 0 {
		t.Fatalf("%d entries before the answer", n)
	}
	asked := formIn(t, page, at)
	back := formIn(t, floor.Post(at, with(asked, "split", "back")).Status(http.StatusOK), at)
	for name, want := range form {
		if got := back[name]; name != "text" && !slices.Equal(got, want) || name == "text" && journal.CleanText(got[0]) != journal.CleanText(want[0]) {
			t.Errorf("going back, %s is %q, was %q", name, got, want)
		}
	}
	// Both browsers of a person answer at once, and once more.
	var wait sync.WaitGroup
	for range 4 {
		wait.Go(func() { floor.Post(at, with(asked, "split", "yes")).Redirects(at + "/" + form.Get("id")) })
	}
	wait.Wait()
	floor.Get(at + "/" + form.Get("id")).Says("Two stages")
	journalPage, err := s.App.Steps().JournalPage(context.Background(), servertest.Actor(s.Office), build, flow.EntryQuery{Limit: 20})
	if err != nil {
		t.Fatal(err)
	}
	if len(journalPage.Entries) != 2 {
		t.Fatalf("%d entries, want 2", len(journalPage.Entries))
	}
	for i, e := range journalPage.Entries { // newest first
		if e.StageID != stages[1-i].ID || len(e.Photos) != 2 || e.Text != "Two stages\nin one day" || e.Kind != journal.KindFind || e.Audience != journal.OwnerToo {
			t.Errorf("entry %d is %+v", i, e)
		}
	}
	if caption := journalPage.Entries[1].Photos[0].Caption; caption != "The first & <last>" {
		t.Errorf("the caption became %q", caption)
	}
	s.As(s.Owner).Get("/builds/" + string(build) + "/journal").Says("Two stages")
}

func TestSplit_KeptTogether(t *testing.T) {
	s := servertest.New(t)
	build, stages := twoStages(t, s)
	floor := s.As(s.Floor)
	at, form := batch(t, s, floor, build)
	asked := formIn(t, sendForm(floor, at, form).Status(http.StatusOK), at)
	floor.Post(at, with(asked, "split", "no")).Redirects(at + "/" + form.Get("id"))
	if v := entryOf(t, s, build, form.Get("id")); len(v.Entry.Photos) != 4 || v.Entry.StageID != stages[1].ID {
		t.Errorf("kept together: %+v", v.Entry)
	}
	// A form that does not ask is posted as it always was, and what is wrong with
	// one that does is said on the form.
	form.Set("id", "0123456789abcdef-2")
	form.Del("split")
	sendForm(floor, at, form).Redirects(at + "/" + form.Get("id"))
	form.Set("id", "0123456789abcdef-3")
	form.Set("split", "ask")
	form.Set("stage", "")
	sendForm(floor, at, form).Status(http.StatusUnprocessableEntity).Says("Please choose the stage")
	if n := entriesOf(t, s, build); n != 2 {
		t.Errorf("%d entries, want 2", n)
	}
}

// A phone's queue is told in JSON, and decides by sending the same form again.
func TestSplit_Script(t *testing.T) {
	s := servertest.New(t)
	build, stages := twoStages(t, s)
	floor := s.As(s.Floor)
	at, form := batch(t, s, floor, build)
	post := func(split string, status int, into any) {
		t.Helper()
		form.Set("split", split)
		reply := postParts(floor, at, bytes.NewReader(multipartForm(form)), asData).Status(status)
		if err := json.Unmarshal([]byte(reply.Body), into); err != nil {
			t.Fatalf("%v in %s", err, reply.Body)
		}
	}
	var asked struct {
		Code, Error string
		Shares      []struct {
			Stage  journal.StageID
			Name   string
			Photos []string
		}
	}
	post("ask", http.StatusConflict, &asked)
	wholeSentence(t, asked.Error)
	if asked.Code != "split" || len(asked.Shares) != 2 || asked.Shares[0].Stage != stages[0].ID || asked.Shares[0].Name != stages[0].Name || len(asked.Shares[0].Photos) != 2 || entriesOf(t, s, build) != 0 {
		t.Errorf("asked %+v, %d entries", asked, entriesOf(t, s, build))
	}
	type posted struct {
		Entries []struct {
			ID     string
			Stage  journal.StageID
			Photos int
			URL    string
		}
	}
	var first, second posted
	post("yes", http.StatusOK, &first)
	post("yes", http.StatusOK, &second)
	ids := map[string]bool{}
	for _, e := range slices.Concat(first.Entries, second.Entries) {
		ids[e.ID] = true
		floor.Get(e.URL).Status(http.StatusOK)
		if e.Photos != 2 {
			t.Errorf("entry with %d photos", e.Photos)
		}
	}
	if len(first.Entries) != 2 || len(second.Entries) != 2 || len(ids) != 2 || entriesOf(t, s, build) != 2 {
		t.Errorf("posted %+v, then %+v", first, second)
	}
	var failed struct{ Code string }
	form.Set("id", "0123456789abcdef-4")
	form.Set("stage", "gone")
	post("yes", http.StatusUnprocessableEntity, &failed)
	if failed.Code != string(journal.Invalid) {
		t.Errorf("refused as %q", failed.Code)
	}
}

// The session ran out at the question: everything is back after signing in.
func TestSplit_KeptWhenSignedOut(t *testing.T) {
	s := servertest.New(t)
	build, _ := twoStages(t, s)
	floor := s.As(s.Floor)
	at, form := batch(t, s, floor, build)
	asked := formIn(t, sendForm(floor, at, form).Status(http.StatusOK), at)
	s.Clock.Pass(60 * 24 * time.Hour)
	floor.Post(at, with(asked, "split", "yes")).Status(http.StatusUnauthorized).Says("What you typed is kept")
	floor.Post(s.Link(s.Floor, at+"/new"), nil).Redirects(at + "/new")
	back := formIn(t, floor.Get(at+"/new"), at)
	if !slices.Equal(back["photo"], form["photo"]) || journal.CleanText(back.Get("text")) != form.Get("text") || back.Get("id") != form.Get("id") {
		t.Errorf("back as %v", back)
	}
	if n := entriesOf(t, s, build); n != 0 {
		t.Errorf("%d entries by somebody signed out", n)
	}
}

// Shots that look alike: one is ticked, the others are offered unticked and stay
// loose; on the entry's page one press takes the others out.
func TestBurst(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	shots := []file{takenAt(t, 1, "2026:04:13 09:10:00"), takenAt(t, 1, "2026:04:13 09:10:05"), takenAt(t, 2, "2026:04:13 09:10:06")}
	shots[1].body = exifTool(t, shots[1].body, "-UserComment=longer than the other, so that it is the larger file")
	sent := sendPhotos(t, floor, build, shots...)
	s.Settle()
	at := "/builds/" + string(build) + "/entries"
	page := floor.Get(at + "/new").Status(http.StatusOK)
	form := formIn(t, page, at)
	if want := []string{string(sent.Photos[1].ID), string(sent.Photos[2].ID)}; !slices.Equal(form["photo"], want) {
		t.Errorf("ticked %v, want the larger shot and the other view, %v", form["photo"], want)
	}
	page.Says("Two shots look alike").Check(htmlcheck.In("fieldset[data-burst] input[name=photo]", htmlcheck.HasAttr("value", "^"+string(sent.Photos[1].ID)+"$")))
	// All are posted nevertheless.
	form["photo"] = []string{string(sent.Photos[0].ID), string(sent.Photos[1].ID), string(sent.Photos[2].ID)}
	form.Set("stage", stageOf(t, s, build))
	entry := at + "/" + form.Get("id")
	sendForm(floor, at, form).Redirects(entry)
	floor.Get(entry).Says("Two shots look alike").Says("Keep this one")
	keep := url.Values{"version": {"1"}, "keep": {string(sent.Photos[0].ID)}}
	s.As(s.Owner).Post(entry+"/keep", keep).Status(http.StatusForbidden)
	other := s.As(s.Add(journal.Floor, "Sam Teal"))
	if strings.Contains(other.Get(entry).Status(http.StatusOK).Body, "Keep this one") {
		t.Error("somebody who may not edit it is offered to keep one")
	}
	other.Post(entry+"/keep", keep).Status(http.StatusForbidden)
	floor.Post(entry+"/keep", keep).Redirects(entry)
	floor.Post(entry+"/keep", keep).Status(http.StatusConflict)
	v := entryOf(t, s, build, form.Get("id"))
	if len(v.Entry.Photos) != 2 || v.Entry.Photos[0].PhotoID != sent.Photos[0].ID || len(v.History) != 1 {
		t.Errorf("kept %v, history %v", v.Entry.Photos, v.History)
	}
	// The one taken out is loose again, and not ticked for the next entry.
	page = floor.Get(at + "/new").Says("like one that is posted")
	if next := formIn(t, page, at); len(next["photo"]) != 0 {
		t.Errorf("ticked for the next entry: %v", next["photo"])
	}
}

// A form opened before photos were appended does not take them out.
func TestEntryEdit_KeepsAppended(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	floor := s.As(s.Floor)
	at := "/builds/" + string(b.ID) + "/entries/" + string(b.Shared)
	form := formIn(t, floor.Get(at+"/edit"), at+"/edit")
	late := s.Photo(b.ID, 900)
	if err := s.App.Steps().AppendPhotos(context.Background(), servertest.Actor(s.Floor), b.ID, b.Shared, []journal.EntryPhoto{{PhotoID: late.ID, Caption: "late"}}); err != nil {
		t.Fatal(err)
	}
	form.Set("text", "Better words")
	form.Del("photo") // the one it knew is unticked
	sendForm(floor, at+"/edit", form).Redirects(at)
	if v := entryOf(t, s, b.ID, string(b.Shared)); v.Entry.Text != "Better words" || !slices.Equal(v.Entry.Photos, []journal.EntryPhoto{{PhotoID: late.ID, Caption: "late"}}) {
		t.Errorf("edited to %+v", v.Entry)
	}
}

func TestMove(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	floor, owner := s.As(s.Floor), s.As(s.Owner)
	entries := "/builds/" + string(b.ID) + "/entries/"
	at := entries + string(b.Shop) + "/move"
	photo := "/builds/" + string(b.ID) + "/photos/" + string(b.ShopPhoto.ID)
	s.Settle()
	page := floor.Get(at).Status(http.StatusOK)
	page.Says("The owner does not see these photos now").Says("Seen by the owner of Heron")
	form := with(formIn(t, page, at), "to", string(b.Shared))
	if form.Get("photo") != string(b.ShopPhoto.ID) {
		t.Errorf("the only photo is not ticked: %v", form)
	}
	for _, c := range []struct {
		form url.Values
		says string
	}{
		{with(form, "to", ""), "Please choose where the photos go"},
		{with(form, "photo", "gone"), "Please choose photos of this entry"},
		{with(form, "to", "stage:gone"), "Please choose a stage of this build"},
		{form, "Please tick that the owner may see them"},
	} {
		page := floor.Post(at, c.form).Status(http.StatusUnprocessableEntity).Says(c.says)
		if again := formIn(t, page, at); again.Get("version") != form.Get("version") {
			t.Errorf("the form is back as %v", again)
		}
	}
	owner.Get(photo).Status(http.StatusNotFound)
	form.Set("show", "yes")
	floor.Post(at, form).Redirects(entries + string(b.Shared))
	floor.Post(at, form).Status(http.StatusConflict)
	owner.Get(photo).Status(http.StatusOK)
	floor.Get(photo).Says("Where it has been").Says("Moved to another entry of")
	for _, secret := range []string{"Where it has been", "Moved to another"} {
		if strings.Contains(owner.Get(photo).Body, secret) {
			t.Errorf("the owner's page of the photo says %q", secret)
		}
	}
	floor.Get(entries + string(b.Shop)).Says("History")

	// Of a withdrawn entry nothing is moved; another's is not mine to move.
	sam := s.As(s.Add(journal.Floor, "Sam Teal"))
	sam.Get(entries + string(b.Shared) + "/move").Status(http.StatusForbidden)
	sam.Post(entries+string(b.Shared)+"/move", url.Values{"photo": {string(b.SharedPhoto.ID)}, "to": {"stage:" + string(b.Open)}, "version": {"2"}}).Status(http.StatusForbidden)
	floor.Post(entries+string(b.Shared)+"/withdraw", url.Values{"version": {"2"}, "reason": {"wrong truck"}}).Status(http.StatusSeeOther)
	floor.Get(entries + string(b.Shared) + "/move").Status(http.StatusConflict)
	floor.Post(entries+string(b.Shared)+"/move", url.Values{"photo": {string(b.SharedPhoto.ID)}, "to": {"stage:" + string(b.Open)}, "version": {"3"}}).Status(http.StatusConflict)

	// The evidence of a paper that is out stays in the owner's sight, whatever
	// becomes of its entry.
	evidence := "/builds/" + string(b.ID) + "/photos/" + string(b.Evidence.ID)
	id, err := s.App.Steps().PostEntry(context.Background(), servertest.Actor(s.Floor), b.ID, flow.NewEntry{
		StageID: b.Open, Kind: journal.KindFind, Audience: journal.OwnerToo, Text: "With the evidence", Photos: []journal.EntryPhoto{{PhotoID: b.Evidence.ID}}})
	if err != nil {
		t.Fatal(err)
	}
	at = entries + string(id.ID) + "/move"
	floor.Post(at, with(formIn(t, floor.Get(at), at), "to", string(b.Shop))).Redirects(entries + string(b.Shop))
	owner.Get(entries + string(b.Shop)).Status(http.StatusNotFound)
	owner.Get(evidence).Status(http.StatusOK)
	owner.Get(evidence + "/320").Status(http.StatusOK)
}

// The office corrects a clock from a photo that shows one, sees what it does
// first, and undoes it.
func TestClocks(t *testing.T) {
	s := servertest.New(t)
	build, _ := twoStages(t, s)
	floor, office := s.As(s.Floor), s.As(s.Office)
	at, form := batch(t, s, floor, build)
	form.Del("split")
	sendForm(floor, at, form).Redirects(at + "/" + form.Get("id"))
	id := form["photo"][0]
	photo := "/builds/" + string(build) + "/photos/" + id
	office.Get(photo).Says("This time is wrong").Says("9:10.am")
	if strings.Contains(floor.Get(photo).Body, "This time is wrong") {
		t.Error("the floor is led to the clocks")
	}
	at = "/clocks?" + url.Values{"build": {string(build)}, "photo": {id}}.Encode()
	page := office.Get(at).Status(http.StatusOK).Says("This photo shows a clock").Says("Ostler Pocket 4 said Tuesday 14 April, 9:10.am")
	correction := with(formIn(t, page, "/clocks/preview"), "read", "2026-04-14T08:05:30", "why", "The wall clock <left> of the door")
	office.Get("/clocks/preview?" + with(correction, "read", "").Encode()).Status(http.StatusUnprocessableEntity).Says("Please type the date and the time")
	preview := office.Get("/clocks/preview?" + correction.Encode()).Status(http.StatusOK)
	preview.Says("Ostler Pocket 4 was 1.hour, 4.minutes and 30.seconds ahead").Says("Four photos get another time").Says("9:10:00.am to Tuesday 14 April, 8:05:30.am").Says("Nothing is changed yet").Says("4.photos in 1.entry, 1.of which moves")
	if n := len(clocksOf(t, s).Corrections); n != 0 {
		t.Fatalf("%d corrections before saving", n)
	}
	save := formIn(t, preview, "/clocks")
	floor.Post("/clocks", save).Status(http.StatusForbidden)
	saved := office.Post("/clocks", save).Status(http.StatusSeeOther)
	made := saved.Header.Get("Location")
	office.Post("/clocks", save).Redirects(made) // sent twice, done once
	if n := len(clocksOf(t, s).Corrections); n != 1 {
		t.Errorf("%d corrections, want 1", n)
	}
	v := entryOf(t, s, build, form.Get("id"))
	if want := time.Date(2026, 4, 14, 14, 5, 30, 0, time.UTC); !v.Entry.HappenedAt.Equal(want) {
		t.Errorf("the entry happened %s, want %s", v.Entry.HappenedAt, want)
	}
	office.Get(photo).Says("1.hour, 4.minutes and 30.seconds ahead").Says("The wall clock <left> of the door").Says("8:05.am").Says("Look at the correction")
	s.As(s.Owner).Get(photo).Says("the shop has corrected it")
	for _, secret := range []string{"wall clock", "Pocket", "/clocks"} {
		if strings.Contains(s.As(s.Owner).Get(photo).Body, secret) {
			t.Errorf("the owner's page says %q", secret)
		}
	}
	// Somebody else's correction in between: the preview is shown anew.
	late := formIn(t, office.Get("/clocks/preview?"+url.Values{"id": {"0123456789abcdef-5"}, "camera": {"Ostler Pocket 4"}, "hours": {"1"}, "was": {"behind"}, "why": {"Typed"}}.Encode()).Status(http.StatusOK), "/clocks")
	second := s.As(s.Add(journal.Office, "Second Office"))
	second.Post(made+"/undo", nil).Redirects(made)
	second.Post(made+"/undo", nil).Status(http.StatusConflict).Says("undone already")
	again := office.Post("/clocks", late).Status(http.StatusConflict).Says("have changed meanwhile").Says("Four photos get another time")
	office.Post("/clocks", formIn(t, again, "/clocks")).Status(http.StatusSeeOther)
	if v := entryOf(t, s, build, form.Get("id")); !v.Entry.HappenedAt.Equal(time.Date(2026, 4, 14, 16, 10, 0, 0, time.UTC)) {
		t.Errorf("the entry happened %s", v.Entry.HappenedAt)
	}
	office.Get("/clocks").Says("in force").Says("undone").Says("Undone by Second Office").Says("4.photos")
	office.Get("/clocks/none").Status(http.StatusNotFound)
	office.Post("/clocks/none/undo", nil).Status(http.StatusNotFound)
	office.Get("/clocks?photo=none&build=none").Status(http.StatusNotFound)
}

func clocksOf(t *testing.T, s *servertest.Server) flow.ClocksView {
	t.Helper()
	v, err := s.App.Steps().Clocks(context.Background(), servertest.Actor(s.Office))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// What is wrong with a typed correction is said beside its field, and the rest
// comes back.
func TestClocks_Problems(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	build, _ := s.Agreed("Heron", s.Owner)
	sendPhotos(t, office, build, takenAt(t, 1, "2026:04:13 09:10:00"))
	good := url.Values{"id": {"0123456789abcdef"}, "camera": {"Ostler Pocket 4"}, "minutes": {"5"}, "was": {"behind"}, "why": {"Wall clock"}, "from": {"2026-04-01"}, "to": {"2026-04-13 23:59"}}
	office.Get("/clocks/preview?" + good.Encode()).Status(http.StatusOK).Says("One photo gets another time")
	for _, c := range []struct{ field, value, says string }{
		{"camera", "", "Please choose the camera."},
		{"minutes", "", "nothing to correct"},
		{"minutes", "-5", "Please type a whole number between 0 and 999."},
		{"days", "10999", "more than 30 years"},
		{"was", "", "behind or ahead"},
		{"why", "", "how you know"},
		{"from", "yesterday", "Please type the date and time, such as"},
		{"from", "2026-03-08T02:30", "This time was skipped that day"},
		{"from", "0001-01-01", "Please type the date and time, such as"},
		{"to", "2026-03-31", "The last photo lies before the first."},
	} {
		query := with(good, c.field, c.value)
		page := office.Get("/clocks/preview?" + query.Encode()).Status(http.StatusUnprocessableEntity).Says(c.says)
		if back := formIn(t, page, "/clocks/preview"); back.Get(c.field) != c.value || back.Get("why") != query.Get("why") {
			t.Errorf("%s %q is back as %q", c.field, c.value, back.Get(c.field))
		}
		office.Post("/clocks", query).Status(http.StatusUnprocessableEntity).Says(c.says)
	}
	// The session ran out: the form comes back filled in.
	s.Clock.Pass(60 * 24 * time.Hour)
	office.Post("/clocks", good).Status(http.StatusUnauthorized).Says("What you typed is kept")
	office.Post(s.Link(s.Office, "/clocks"), nil)
	if v := clocksOf(t, s); len(v.Corrections) != 0 {
		t.Errorf("made by somebody signed out: %+v", v.Corrections)
	}
}

// The routes of clocks are the office's.
func TestClocks_Routes(t *testing.T) {
	s := servertest.New(t)
	found := 0
	for _, route := range s.App.Routes() {
		if strings.HasPrefix(route.Path, "/clocks") {
			if found++; route.Who != server.Office {
				t.Errorf("%s %s is open to level %d", route.Method, route.Path, route.Who)
			}
		}
	}
	if found != 5 {
		t.Errorf("%d routes", found)
	}
}
