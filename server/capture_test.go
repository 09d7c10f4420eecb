package server_test

import (
	"context"
	"encoding/json"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"farbay/journal"
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
