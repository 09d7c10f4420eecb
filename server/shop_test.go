package server_test

import (
	"errors"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

func TestShopSettings(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	read := formIn(t, office.Get("/shop").Status(http.StatusOK), "/shop")
	filled := with(read, "name", "Tern Hollow <Works>", "address", "14 Quarry Road\n\nTern Hollow", "currency", "cad", "labour_rate", "$98.5",
		"closures", "2026-12-24 Winter break\n\n2026-07-06", "zone", "America/Boise", "quiet_days", "7")
	tests := []struct{ field, text, says string }{
		{"name", "", "shop's name"},
		{"email", "office at home", "e-mail address"},
		{"zone", "Mountain", "time zone by its name"},
		{"zone", "Local", "time zone by its name"},
		{"currency", "dollars", "three letters"},
		{"labour_rate", "1,234.5x", "Please type an amount"},
		{"labour_rate", "-1", "below zero"},
		{"quiet_days", "0", "between 1 and 365"},
		{"closures", "24 December: winter", "year-month-day"},
		{"closures", "2026-02-30 Leap", "day that exists"},
		{"closures", "2026-12-24 " + strings.Repeat("x", 121), "120 characters"},
	}
	for _, test := range tests {
		t.Run(test.field+" "+test.text[:min(len(test.text), 16)], func(t *testing.T) {
			sent := with(filled, test.field, test.text)
			page := office.Post("/shop", sent).Status(http.StatusUnprocessableEntity).Check(wrong(test.field, test.says))
			keeps(t, page, "/shop", sent, "name", "address", "email", "zone", "currency", "labour_rate", "quiet_days", "closures", "version")
		})
	}
	office.Post("/shop", filled).Redirects("/shop")
	page := office.Get("/shop").Says("The settings are saved").Says("Tern Hollow <Works>")
	keeps(t, page, "/shop", url.Values{"currency": {"CAD"}, "labour_rate": {"98.50"}, "address": {"14 Quarry Road\n\nTern Hollow"},
		"closures": {"2026-12-24 Winter break\n2026-07-06"}, "zone": {"America/Boise"}}, "currency", "labour_rate", "address", "closures", "zone")

	late := office.Post("/shop", with(read, "phone", "555 0199")).Status(http.StatusConflict).Says("Somebody else changed this page")
	keeps(t, late, "/shop", url.Values{"phone": {"555 0199"}, "name": {"Tern Hollow Truck Works"}}, "phone", "name")
	office.Post("/shop", formIn(t, late, "/shop")).Redirects("/shop")
	s.As(s.Floor).Get("/shop").Status(http.StatusForbidden)
}

func TestOutbox(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	office.Get("/outbox").Status(http.StatusOK).Says("No letter was written yet")

	s.Mail.FailWith(errors.New("no route to the mail server"))
	office.Post("/people/"+string(s.Floor.ID)+"/link", nil).Status(http.StatusSeeOther)
	s.Settle()
	page := office.Get("/outbox").Says("One letter is still to go out").Says("failed, will be tried again").Says("to Fenn Askew")
	office.Get("/").Says("One letter has not gone out")
	letters, err := htmlcheck.Values(page.Body, `main a[href^="/outbox/"]`, "href")
	if err != nil || len(letters) != 1 {
		t.Fatalf("letters: %q, %v", letters, err)
	}
	office.Get(letters[0]).Status(http.StatusOK).Says("not yet, after 1 try").
		Check(htmlcheck.In(`.letter a[href*="/set-password/"]`), htmlcheck.In(".sheet", htmlcheck.HasText("Fenn Askew, fenn.askew@people.example")))

	s.Mail.FailWith(nil)
	s.Clock.Pass(time.Hour)
	s.Settle()
	office.Get("/outbox").Says("Every letter has gone out")
	office.Get("/").Check(htmlcheck.In("main", htmlcheck.HasNoText("not gone out")))

	office.Get("/outbox/none").Status(http.StatusNotFound)
	for _, p := range []string{"/outbox", letters[0]} {
		s.As(s.Floor).Get(p).Status(http.StatusForbidden)
		s.As(s.Owner).Get(p).Status(http.StatusForbidden)
	}
}
