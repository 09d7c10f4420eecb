package server_test

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server/servertest"
)

// An entry from a phone's queue may come any number of times: it is posted once,
// photos that arrive late are added at its end, and never in another's name.
func TestCapture_EntryIsPostedOnce(t *testing.T) {
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	first, late := s.Photo(build, 1), s.Photo(build, 2)
	at := "/builds/" + string(build) + "/capture"
	form := url.Values{"id": {"0123456789abcdef0123456789abcdef"}, "person": {string(s.Floor.ID)}, "stage": {string(stages[0].ID)}, "text": {"Pans out."}, "photo": {string(first.ID)}}
	floor := s.As(s.Floor)
	post := func(c *servertest.Client) *servertest.Reply {
		return c.Send(http.MethodPost, at, "application/x-www-form-urlencoded", strings.NewReader(form.Encode()), asData)
	}
	failureOf(t, post(s.As(s.Office)).Status(http.StatusConflict))
	post(floor).Status(http.StatusOK)
	post(floor).Status(http.StatusOK)
	form.Add("photo", string(late.ID))
	post(floor).Status(http.StatusOK)
	v, err := s.App.Steps().EntryShow(context.Background(), servertest.Actor(s.Office), build, journal.EntryID(form.Get("id")))
	if err != nil {
		t.Fatal(err)
	}
	if e := v.Entry; len(e.Photos) != 2 || e.Photos[0].PhotoID != first.ID || e.Photos[1].PhotoID != late.ID || e.Audience != journal.ShopOnly || e.AuthorID != s.Floor.ID {
		t.Errorf("posted as %+v", e)
	}
}

// Photos from a phone's queue go to the stage that was under way when they were
// taken, however often and in whatever parts they are sent.
func TestCapture_Split(t *testing.T) {
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	steps, actor := s.App.Steps(), servertest.Actor(s.Floor)
	taken := func(seed int) journal.Photo { // now
		p, _, err := steps.RecordPhoto(t.Context(), actor, build, journal.Photo{
			SHA256: fmt.Sprintf("%064x", seed), Kind: "image/jpeg", CapturedAt: s.Clock.Now(), CapturedSource: "camera with offset",
			ReceivedAt: s.Clock.Now().Add(time.Hour), FromClock: true,
		})
		if err != nil {
			t.Fatal(err)
		}
		return p
	}
	var photos []journal.Photo
	for i := range 2 {
		if err := steps.OpenStage(t.Context(), actor, build, stages[i].ID); err != nil {
			t.Fatal(err)
		}
		s.Clock.Pass(time.Hour)
		photos = append(photos, taken(10*i), taken(10*i+1))
		s.Clock.Pass(time.Hour)
		if _, _, err := steps.CloseStage(t.Context(), servertest.Actor(s.Office), build, stages[i].ID); err != nil {
			t.Fatal(err)
		}
	}
	form := url.Values{
		"id": {"0123456789abcdef0123456789abcdef"}, "person": {string(s.Floor.ID)}, "stage": {string(stages[1].ID)}, "text": {"Cleaned up."}, "split": {"yes"},
		"photo": {string(photos[0].ID), string(photos[2].ID)},
	}
	floor := s.As(s.Floor)
	send := func() (answer struct{ ID, Said string }) {
		t.Helper()
		r := floor.Send(http.MethodPost, "/builds/"+string(build)+"/capture", "application/x-www-form-urlencoded", strings.NewReader(form.Encode()), asData).Status(http.StatusOK)
		if err := json.Unmarshal([]byte(r.Body), &answer); err != nil {
			t.Fatal(err)
		}
		return answer
	}
	first := send()
	if want := "1 photo in " + stages[0].Name; first.ID != form.Get("id") || !strings.Contains(strings.ReplaceAll(first.Said, "\u00a0", " "), want) {
		t.Errorf("answered %+v, want the chosen stage's entry and %q", first, want)
	}
	send()
	form["photo"] = append(form["photo"], string(photos[1].ID), string(photos[3].ID)) // two that come late
	send()
	send()
	view, err := steps.JournalPage(t.Context(), actor, build, flow.EntryQuery{})
	if err != nil || len(view.Entries) != 2 {
		t.Fatalf("%d entries (%v)", len(view.Entries), err)
	}
	for _, e := range view.Entries { // newest first
		of := 0
		if e.StageID == stages[1].ID {
			of = 2
		}
		if len(e.Photos) != 2 || e.Photos[0].PhotoID != photos[of].ID || e.Photos[1].PhotoID != photos[of+1].ID || e.Text != "Cleaned up." {
			t.Errorf("posted as %+v", e)
		}
	}
}

// What a phone keeps tells nothing of any person or build, and the install
// manifest names files that are there.
func TestCapture_ShellIsNobodys(t *testing.T) {
	s := servertest.New(t)
	s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	shell := floor.Get("/capture/shell").Status(http.StatusOK).Body
	for _, secret := range []string{"Heron", s.Floor.Name, "Sign out", "My day"} {
		if strings.Contains(shell, secret) {
			t.Errorf("the shell tells of %q", secret)
		}
	}
	nobody := s.Client()
	var m struct {
		StartURL string `json:"start_url"`
		Icons    []struct{ Src, Type string }
	}
	if err := json.Unmarshal([]byte(nobody.Get("/manifest.webmanifest").Status(http.StatusOK).Body), &m); err != nil || m.StartURL != "/capture" || len(m.Icons) != 5 {
		t.Fatalf("the manifest: %+v, %v", m, err)
	}
	for _, icon := range m.Icons {
		if got := nobody.Get(icon.Src).Status(http.StatusOK).Header.Get("Content-Type"); got != icon.Type {
			t.Errorf("%s is %s, not %s", icon.Src, got, icon.Type)
		}
	}
	if got := nobody.Get("/sw.js").Status(http.StatusOK).Header.Get("Content-Type"); !strings.HasPrefix(got, "text/javascript") {
		t.Errorf("the worker is %q", got)
	}
}
