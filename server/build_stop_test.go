package server_test

import (
	"net/http"
	"net/url"
	"testing"

	"farbay/journal/signoff"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// The office writes an early stop through the pages, with what was typed kept
// beside what is wrong; the owner reads what it comes to; and without a signature
// the office can still record the end.
func TestBuildStop_WrittenAndRecorded(t *testing.T) {
	s := servertest.New(t)
	full := s.Full("Heron", s.Owner, 100)
	s.Settle()
	office, owner := s.As(s.Office), s.As(s.Owner)
	at := "/builds/" + string(full.ID)
	for _, client := range []*servertest.Client{owner, s.As(s.Floor)} {
		client.Get(at + "/stop").Status(http.StatusForbidden)
		client.Post(at+"/stop", url.Values{"reason": {"x"}}).Status(http.StatusForbidden)
	}
	begun := office.Post(at+"/papers", url.Values{"kind": {"early stop"}}).Status(http.StatusSeeOther)
	edit := begun.Header.Get("Location")
	page := office.Get(edit).Says("What is done of the open stages")
	form := formIn(t, page, edit)
	earned := signoff.EarnedField(full.Open)
	bad := with(form, "reason", "The owner moves abroad.", "stop_by", "the owner", "stop_on", "2026-02-30", "stop_truck", "Fetched <b>", earned, "12x", "do", "preview")
	office.Post(edit, bad).Status(http.StatusUnprocessableEntity).Check(
		htmlcheck.In(`input[name="`+earned+`"][value="12x"]`), htmlcheck.In(`input[name="stop_truck"][value="Fetched <b>"]`))
	day := form.Get("stop_on")
	preview := office.Post(edit, with(bad, "stop_on", day, earned, "0")).Status(http.StatusSeeOther).Header.Get("Location")
	office.Get(preview).Says("The build ends on").Says("In the end")

	stop := formIn(t, office.Get(at+"/stop").Says("Go on with the early stop"), at+"/stop")
	office.Post(at+"/stop", with(stop, "reason", "")).Status(http.StatusUnprocessableEntity).Says("why no paper was signed")
	office.Post(at+"/stop", with(stop, "version", "0", "reason", "No answer <i>.")).Status(http.StatusConflict)
	office.Post(at+"/stop", with(stop, "reason", "No answer <i>.")).Redirects(at)
	office.Get(at).Says("Ended early").Says("No answer <i>.")
	owner.Get(at).Says("Nobody has signed").Says("No answer <i>.")
	office.Post(at+"/stop", with(stop, "reason", "Again.")).Status(http.StatusConflict)
	office.Get(at + "/papers").Says("Early stop").Check(htmlcheck.NotIn(`input[name="kind"][value="change order"]`))
	office.Get("/builds").Says("Stopped")
}
