package server_test

import (
	"bytes"
	"context"
	"io"
	"net/http"
	"net/url"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

func entryOf(t *testing.T, s *servertest.Server, build journal.BuildID, id string) flow.EntryView {
	t.Helper()
	v, err := s.App.Steps().EntryShow(context.Background(), servertest.Actor(s.Office), build, journal.EntryID(id))
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// entryForm is the form for a new entry with two photos that have been sent
// before, filled in as by a browser.
func entryForm(t *testing.T, s *servertest.Server, c *servertest.Client, build journal.BuildID) (at string, form url.Values, photos []journal.PhotoID) {
	t.Helper()
	for _, p := range sendPhotos(t, c, build, goodFiles(t, 2, 500+countPhotos(t, s.App, build))...).Photos {
		photos = append(photos, p.ID)
	}
	at = "/builds/" + string(build) + "/entries"
	form = formIn(t, c.Get(at+"/new").Status(http.StatusOK), at)
	return at, with(form, "stage", stageOf(t, s, build), "kind", "find", "audience", "owner too", "text", "Rust under the <left> door\r\n\r\nand \"more\" 🚙",
		"caption_"+string(photos[0]), "left sill, שלום", "caption_"+string(photos[1]), "& the other"), photos
}

// sendForm sends a form as a script leaves it, multipart and without files.
func sendForm(c *servertest.Client, at string, form url.Values, files ...file) *servertest.Reply {
	return postParts(c, at, bytes.NewReader(multipartForm(form, files...)))
}

// The session ran out while an entry was being written: nothing is recorded,
// and after signing in the form has everything back, photos and captions too.
func TestEntry_KeptWhenSignedOut(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	for _, files := range [][]file{nil, goodFiles(t, 2, 700)} {
		floor := s.As(s.Floor)
		at, form, photos := entryForm(t, s, floor, build)
		form.Set("token", "not for keeping")
		s.Clock.Pass(60 * 24 * time.Hour)
		before := len(originals(t, s))
		page := postParts(floor, at, bytes.NewReader(multipartForm(form, files...)), func(r *http.Request) { r.Header.Set("Referer", s.URL+at+"/new") })
		page.Status(http.StatusUnauthorized).Says("nothing was recorded").Says("What you typed is kept: sign in again and it is back on the page")
		page.Check(htmlcheck.In("a.act", htmlcheck.HasAttr("href", "(?i)^/sign-in\\?next="+url.QueryEscape(at+"/new")+"$")))
		if lost := htmlcheck.Run(page.Body, htmlcheck.In("[role=alert]", htmlcheck.HasText("The photos sent with it were not taken; please choose them again"))) == nil; lost != (len(files) > 0) {
			t.Errorf("with %d files, the page says that they are lost: %v", len(files), lost)
		}
		if n := len(originals(t, s)); n != before {
			t.Errorf("%d originals became %d by somebody signed out", before, n)
		}

		floor.Post(s.Link(s.Floor, at+"/new"), nil).Redirects(at + "/new")
		back := formIn(t, floor.Get(at+"/new").Status(http.StatusOK), at)
		for _, name := range []string{"id", "stage", "kind", "audience", "caption_" + string(photos[0]), "caption_" + string(photos[1])} {
			if back.Get(name) != form.Get(name) || form.Get(name) == "" {
				t.Errorf("%s is back as %q, was typed as %q", name, back.Get(name), form.Get(name))
			}
		}
		if got := journal.CleanText(back.Get("text")); got != journal.CleanText(form.Get("text")) {
			t.Errorf("the text is back as %q", got)
		}
		if got := back["photo"]; len(got) != 2 || got[0] != string(photos[0]) || got[1] != string(photos[1]) {
			t.Errorf("the photos are back as %v, want %v", got, photos)
		}
		sendForm(floor, at, back).Redirects(at + "/" + form.Get("id"))
		v := entryOf(t, s, build, form.Get("id"))
		if len(v.Entry.Photos) != 2 || v.Entry.Photos[0].Caption != "left sill, שלום" || v.Entry.Text != journal.CleanText(form.Get("text")) || v.Entry.AuthorID != s.Floor.ID {
			t.Errorf("posted %+v", v.Entry)
		}
		// Taken: the next entry begins empty.
		if next := formIn(t, floor.Get(at+"/new"), at); next.Get("text") != "" || next.Get("id") == form.Get("id") {
			t.Errorf("the next entry begins with %v", next)
		}
	}
	// The longest text that an entry takes is kept, whatever its letters.
	floor := s.As(s.Floor)
	at, form, _ := entryForm(t, s, floor, build)
	form.Set("text", strings.Repeat("🚙", 10_000))
	s.Clock.Pass(60 * 24 * time.Hour)
	sendForm(floor, at, form).Status(http.StatusUnauthorized).Says("What you typed is kept")
	floor.Post(s.Link(s.Floor, "/"), nil).Redirects("/")
	if back := formIn(t, floor.Get(at+"/new"), at); back.Get("text") != form.Get("text") {
		t.Errorf("10,000 of another plane are back as %d bytes", len(back.Get("text")))
	}
}

// What somebody signed out sends is never held: files are read past, text beyond
// reason is not kept, and of a stranger nothing is.
func TestEntry_KeptWithinReason(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	at, form, _ := entryForm(t, s, floor, build)
	s.Settle()
	s.Clock.Pass(60 * 24 * time.Hour)
	text := multipartForm(form)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	r := postParts(floor, at, io.MultiReader(strings.NewReader(field("photos", "film.jpg", true)), stream(100_000_000), strings.NewReader("\r\n"), bytes.NewReader(text)))
	runtime.ReadMemStats(&after)
	r.Status(http.StatusUnauthorized).Says("What you typed is kept").Says("The photos sent with it were not taken")
	allocated := float64(after.TotalAlloc-before.TotalAlloc) / 1e6
	t.Logf("%.1f MB were allocated while 100 MB were sent", allocated)
	if allocated > 20 {
		t.Error("that is too much for a file that is not taken")
	}
	if left := unfinished(t, s); len(left) > 0 {
		t.Errorf("half-received files: %v", left)
	}
	for _, bytes := range []int{70_000, 2 << 20} {
		c := s.As(s.Floor)
		s.Clock.Pass(60 * 24 * time.Hour)
		r := sendForm(c, at, with(form, "text", strings.Repeat("long text ", bytes/10))).Status(http.StatusUnauthorized)
		r.Check(htmlcheck.In("main", htmlcheck.HasNoText("is kept")))
		if len(r.Cookies()) != 0 {
			t.Errorf("cookies for %d bytes of text: %v", bytes, r.Cookies())
		}
	}
	if r := sendForm(s.Client(), at, form).Status(http.StatusUnauthorized); len(r.Cookies()) != 0 || strings.Contains(r.Body, "Rust under") {
		t.Errorf("of a stranger is kept: %v %s", r.Cookies(), servertest.Words(r.Body))
	}
	// Of a form that was cut off, in a text or in a part's head, nothing is kept.
	c := s.As(s.Floor)
	s.Clock.Pass(60 * 24 * time.Hour)
	for _, end := range []int{bytes.Index(text, []byte("Rust under")) + 5, bytes.LastIndex(text, []byte("form-data")), len(text) - 4} {
		if r := postParts(c, at, bytes.NewReader(text[:end])).Status(http.StatusUnauthorized); len(r.Cookies()) != 0 {
			t.Errorf("the first %d of %d bytes are kept: %v", end, len(text), r.Cookies())
		}
	}
}

// Markup, emoji and text from right to left are stored and shown as typed.
func TestEntry_TextIsShownAsTyped(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor, owner := s.As(s.Floor), s.As(s.Owner)
	at, form, photos := entryForm(t, s, floor, build)
	text := "<script>alert(1)</script> & </textarea> {{.}} \"quotes\" 👩\u200d🔧 שלום \u202eback\u202c\nsecond  line\n\nthird"
	caption := "<img src=x onerror=alert(1)> שלום 🚙"
	form = with(form, "text", strings.ReplaceAll(text, "\n", "\r\n"), "caption_"+string(photos[0]), caption)
	sendForm(floor, at, form).Redirects(at + "/" + form.Get("id"))
	s.Settle()
	if v := entryOf(t, s, build, form.Get("id")); v.Entry.Text != text || v.Entry.Photos[0].Caption != caption {
		t.Errorf("stored as %q, %q", v.Entry.Text, v.Entry.Photos[0].Caption)
	}
	words := strings.Join(strings.Fields(text), " ") // as htmlcheck counts blanks
	for _, c := range []*servertest.Client{floor, owner} {
		for _, path := range []string{at + "/" + form.Get("id"), "/builds/" + string(build) + "/journal"} {
			page := c.Get(path).Status(http.StatusOK)
			page.Check(htmlcheck.In(".said, .typed", htmlcheck.HasText("^"+quoted(words)+"$")), htmlcheck.In("figcaption", htmlcheck.HasText("^"+quoted(caption)+"(\\.|$)")),
				htmlcheck.NotIn("script:not([src])"), htmlcheck.NotIn("[onerror]"))
		}
	}
	edit := at + "/" + form.Get("id") + "/edit"
	if got := formIn(t, floor.Get(edit), edit); got.Get("text") != text || got.Get("caption_"+string(photos[0])) != caption {
		t.Errorf("the form has %q, %q", got.Get("text"), got.Get("caption_"+string(photos[0])))
	}
}

// A few files that are not taken are told of on the page of the posted entry.
func TestEntry_PlainFormWithFiles(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	at, form, _ := entryForm(t, s, floor, build)
	entry := at + "/" + form.Get("id")
	sendForm(floor, at, form, goodFiles(t, 1, 600)[0], file{"bad.jpg", []byte("no photo")}, goodFiles(t, 1, 601)[0]).Redirects(entry)
	floor.Get(entry).Status(http.StatusOK).Says(`Posted; the owner can see it\. bad\.jpg: This is not a photo`)
	if v := entryOf(t, s, build, form.Get("id")); len(v.Entry.Photos) != 4 {
		t.Errorf("the entry has %d photos", len(v.Entry.Photos))
	}
}

// What cannot be taken is refused beside its field, with all else as it was
// typed; photos sent with the refused form are safe and stay in it.
func TestEntry_RefusedBesideTheField(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	at, form, photos := entryForm(t, s, floor, build)
	tests := []struct{ field, value, says string }{
		{"text", strings.Repeat("א", 10_001), "Please keep the text to 10,000 characters."},
		{"stage", "none", "Please choose a stage of this build."},
		{"stage", "", "Please choose the stage this belongs to."},
		{"kind", "rumour", "Please choose what kind of entry this is."},
		{"audience", "everybody", "Please choose who sees this: shop only, or owner too."},
		{"caption_" + string(photos[0]), strings.Repeat("c", 301), "Please keep each caption to one line of at most 300 characters."},
	}
	for _, test := range tests {
		sent := with(form, test.field, test.value)
		page := sendForm(floor, at, sent, goodFiles(t, 1, 600)...).Status(http.StatusUnprocessableEntity)
		field := test.field
		if strings.HasPrefix(field, "caption_") {
			field = "photos"
		}
		page.Check(wrong(field, "^"+quoted(test.says)+"$"))
		fields := []string{"id", "text", "caption_" + string(photos[0]), "caption_" + string(photos[1])}
		for _, name := range []string{"stage", "kind", "audience"} {
			if name != test.field { // what is not offered cannot be shown as chosen
				fields = append(fields, name)
			}
		}
		shown := formIn(t, page, at)
		sent.Set("text", strings.ReplaceAll(sent.Get("text"), "\r\n", "\n")) // as the parser of HTML reads line ends
		shown.Set("text", strings.ReplaceAll(shown.Get("text"), "\r\n", "\n"))
		for _, name := range fields {
			if shown.Get(name) != sent.Get(name) {
				t.Errorf("%s refused: %s is %.60q, was typed as %.60q", test.field, name, shown.Get(name), sent.Get(name))
			}
		}
		if len(shown["photo"]) != 3 || shown["photo"][0] != string(photos[0]) {
			t.Errorf("%s refused: photos %v", test.field, shown["photo"])
		}
	}
	if n := entriesOf(t, s, build); n != 0 {
		t.Errorf("%d entries were posted", n)
	}
	// The longest text is taken.
	sendForm(floor, at, with(form, "text", strings.Repeat("א", 10_000))).Status(http.StatusSeeOther)
}

// One form posted many times at once, by double taps and a reload, is one entry.
func TestEntry_SameFormIsOneEntry(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	at, form, _ := entryForm(t, s, floor, build)
	var all sync.WaitGroup
	replies := make([]*servertest.Reply, 8)
	for i := range replies {
		all.Go(func() { replies[i] = sendForm(floor, at, form, goodFiles(t, 1, 600)...) })
	}
	all.Wait()
	for _, r := range append(replies, sendForm(floor, at, form)) {
		r.Redirects(at + "/" + form.Get("id"))
	}
	if n := entriesOf(t, s, build); n != 1 {
		t.Errorf("%d entries", n)
	}
	if v := entryOf(t, s, build, form.Get("id")); len(v.Entry.Photos) != 3 || len(v.History) != 0 {
		t.Errorf("%d photos, history %v", len(v.Entry.Photos), v.History)
	}
	// Somebody else's form with the same id changes nothing and takes nothing over.
	if r := sendForm(s.As(s.Office), at, with(form, "text", "Mine")); r.StatusCode < 400 {
		t.Errorf("another person's entry under the same id: status %d", r.StatusCode)
	}
	if v := entryOf(t, s, build, form.Get("id")); v.Entry.AuthorID != s.Floor.ID || v.Entry.Text == "Mine" {
		t.Errorf("the entry became %+v", v.Entry)
	}
}

// Two people change an entry at once: one is stored, the other is told and has
// everything they typed; then it works, and the history has what was replaced.
func TestEntry_EditedByTwo(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor, office := s.As(s.Floor), s.As(s.Office)
	at, form, photos := entryForm(t, s, floor, build)
	sendForm(floor, at, form).Redirects(at + "/" + form.Get("id"))
	edit := at + "/" + form.Get("id") + "/edit"
	first := with(formIn(t, office.Get(edit).Status(http.StatusOK), edit), "text", "The office's words")
	second := with(formIn(t, floor.Get(edit).Status(http.StatusOK), edit), "text", "The floor's words",
		"kind", "problem", "caption_"+string(photos[1]), "anew", "place_"+string(photos[1]), "1", "place_"+string(photos[0]), "2")
	sendForm(office, edit, first).Redirects(at + "/" + form.Get("id"))
	page := sendForm(floor, edit, second, goodFiles(t, 1, 600)...).Status(http.StatusConflict)
	page.Says("changed in the meantime|changed meanwhile|somebody")
	shown := formIn(t, page, edit)
	if shown.Get("text") != "The floor's words" || shown.Get("kind") != "problem" || shown.Get("caption_"+string(photos[1])) != "anew" ||
		len(shown["photo"]) != 3 || shown["photo"][0] != string(photos[1]) {
		t.Errorf("of what was typed is left: %v", shown)
	}
	sendForm(floor, edit, shown).Redirects(at + "/" + form.Get("id"))
	v := entryOf(t, s, build, form.Get("id"))
	if v.Entry.Text != "The floor's words" || len(v.Entry.Photos) != 3 || v.Entry.Photos[0].PhotoID != photos[1] || len(v.History) != 2 || v.History[1].Text != "The office's words" {
		t.Errorf("entry %+v, history %+v", v.Entry, v.History)
	}
	floor.Get(at + "/" + form.Get("id")).Status(http.StatusOK).Says("Rust under the <left> door").Says("The office's words")
}

// The floor changes its own entries; another's is the office's to change. A
// withdrawn entry stays for the shop with its reason, and can no longer change.
func TestEntry_WhoMayChange(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor, other, office := s.As(s.Floor), s.As(s.Add(journal.Floor, "Ina Culver")), s.As(s.Office)
	at, form, _ := entryForm(t, s, floor, build)
	entry := at + "/" + form.Get("id")
	sendForm(floor, at, form).Redirects(entry)

	other.Get(entry).Status(http.StatusOK).Check(htmlcheck.NotIn(`a[href="`+entry+`/edit"]`), htmlcheck.NotIn("form[action$=withdraw]"))
	other.Get(entry + "/edit").Status(http.StatusForbidden)
	sendForm(other, entry+"/edit", with(form, "version", "1", "text", "Mine")).Status(http.StatusForbidden)
	other.Post(entry+"/withdraw", url.Values{"version": {"1"}, "reason": {"mine"}}).Status(http.StatusForbidden)
	if v := entryOf(t, s, build, form.Get("id")); v.Entry.Version != 1 || len(v.History) != 0 {
		t.Errorf("it became %+v", v.Entry)
	}

	for _, reason := range []string{"", "   ", strings.Repeat("r", 301)} {
		r := floor.Post(entry+"/withdraw", url.Values{"version": {"1"}, "reason": {reason}}).Status(http.StatusUnprocessableEntity)
		r.Says("Please say why it is withdrawn, in one line of at most 300 characters.")
		if shown := formIn(t, r, entry+"/withdraw"); shown.Get("reason") != reason {
			t.Errorf("the reason is %q, was typed as %q", shown.Get("reason"), reason)
		}
	}
	office.Post(entry+"/withdraw", url.Values{"version": {"1"}, "reason": {"<wrong> truck"}}).Redirects(entry)
	page := floor.Get(entry).Status(http.StatusOK).Says("Withdrawn by Odile Marchbank").Says("<wrong> truck").Says("Rust under the <left> door")
	page.Check(htmlcheck.NotIn("form[action$=withdraw]"))
	if v := entryOf(t, s, build, form.Get("id")); len(v.History) != 1 || v.History[0].Text != journal.CleanText(form.Get("text")) || v.Entry.WithdrawnWhy != "<wrong> truck" {
		t.Errorf("history %+v", v.History)
	}
	s.As(s.Owner).Get(entry).Status(http.StatusNotFound)
	sendForm(floor, entry+"/edit", with(form, "version", "2", "text", "Back")).Status(http.StatusConflict)
	floor.Post(entry+"/withdraw", url.Values{"version": {"2"}, "reason": {"again"}}).Status(http.StatusConflict)
}
