package server_test

import (
	"net/http"
	"net/url"
	"testing"
	"time"

	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

const day = 24 * time.Hour

// board fails the test unless the office's first page has a row of the build
// that passes the checks.
func board(page *servertest.Reply, at string, checks ...htmlcheck.Check) {
	page.Check(htmlcheck.In("ol.rows > li", append([]htmlcheck.Check{htmlcheck.In(`h2 a[href="` + at + `"]`)}, checks...)...))
}

func TestWhatWaits(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	office.Get("/").Status(http.StatusOK).Says("No build is under way")
	at := agreed(t, s, office)
	board(office.Get("/"), at, htmlcheck.HasText("open Arrival, no stage is under way"))

	stages := stagesOf(t, office, at)
	gateOf(t, office, stages[0], "")
	office.Post(stages[0]+"/open", nil).Redirects(stages[0])
	board(office.Get("/"), at, htmlcheck.In(`.wait-list a[href="`+stages[0]+`"]`, htmlcheck.HasText("close Arrival")), htmlcheck.HasText("Arrival under way, 0 of 14 closed"))
	invoice := office.Post(stages[0]+"/close", nil).Status(http.StatusSeeOther).Header.Get("Location")
	board(office.Get("/"), at, htmlcheck.In(`.wait-list a[href="`+invoice+`"]`, htmlcheck.HasText("invoice 1")), htmlcheck.HasText(`News today`))

	// A new build's terms give 14 days to pay (journal/flow's CreateBuild).
	s.Clock.Pass(17 * day)
	page := office.Get("/").Says(`Most pressing is Heron: invoice 1, 3\sdays late`).Says("Heron has been quiet for 17")
	board(page, at, htmlcheck.In(".late", htmlcheck.HasText("3.days late")), htmlcheck.In(".late", htmlcheck.HasText("Quiet 17.days")),
		htmlcheck.HasText(`\$1,250\.50 due`))

	// Delivered, it stays on the board as long as something is open, and is not
	// counted as under way.
	form := formIn(t, office.Get(at+"/edit"), at+"/edit")
	office.Post(at+"/edit", with(form, "delivered_on", "2026-05-01")).Redirects(at)
	page = office.Get("/").Says("No build is under way")
	board(page, at, htmlcheck.HasText("delivered"), htmlcheck.HasText("invoice 1"), htmlcheck.HasNoText("Quiet"))
	pay := formIn(t, office.Get(at+"/payments/new"), at+"/payments")
	office.Post(at+"/payments", pay).Redirects(at + "/money")
	page = office.Get("/").Says("1.build that is over").Check(htmlcheck.NotIn("ol.rows"))
	page.Check(htmlcheck.In("main", htmlcheck.HasNoText(`is due in all`)))
}

func TestFloorHome(t *testing.T) {
	s := servertest.New(t)
	office, floor := s.As(s.Office), s.As(s.Floor)
	floor.Get("/").Status(http.StatusOK).Says("No build is under way")
	at := agreed(t, s, office)
	form := with(heronForm(t, office), "nickname", "<i>Aster</i>")
	aster := office.Post("/builds", form).Status(http.StatusSeeOther).Header.Get("Location")

	stages := stagesOf(t, office, at)
	edit := formIn(t, office.Get(stages[1]+"/edit"), stages[1]+"/edit")
	office.Post(stages[1]+"/edit", with(edit, "lead", string(s.Floor.ID), "photos", "2", "checks", "One\nTwo\nThree", "teardown", "")).Redirects(stages[1])
	floor.Post(stages[1]+"/open", nil).Redirects(stages[1])
	page := floor.Get("/").Status(http.StatusOK).Says("Two builds are under way")
	page.Says("<i>Aster</i>").Check(htmlcheck.NotIn("h2 i"))
	page.Check(htmlcheck.In(".floor-build", htmlcheck.In(`a[href="`+at+`"]`), htmlcheck.HasText("you lead here"),
		htmlcheck.HasText("Teardown: 2 more photos the owner can see and 3 checks"), htmlcheck.In(`.stage-ways a[href="`+stages[1]+`"]`)))
	page.Check(htmlcheck.In(".floor-build", htmlcheck.In(`a[href="`+aster+`"]`), htmlcheck.HasNoText("you lead here")))
	page.Check(htmlcheck.In("main", htmlcheck.HasNoText(`\$`)))

	// Delivered builds are no work any more.
	edit = formIn(t, office.Get(at+"/edit"), at+"/edit")
	office.Post(at+"/edit", with(edit, "delivered_on", "2026-04-14")).Redirects(at)
	floor.Get("/").Says("One build is under way").Check(htmlcheck.NotIn(`a[href="` + at + `"]`))
	floor.Get("/builds").Status(http.StatusOK).Check(htmlcheck.In(`a[href="`+at+`"]`, htmlcheck.HasText("Heron")))
}

// A paper out for sign-off keeps its stage open, and stands on the board until
// it is decided.
func TestPaperHoldsStage(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := agreed(t, s, office)
	stage := stagesOf(t, office, at)[0]
	gateOf(t, office, stage, "")
	office.Post(stage+"/open", nil).Redirects(stage)

	edit := office.Post(at+"/papers", nil).Status(http.StatusSeeOther).Header.Get("Location")
	paper := edit[:len(edit)-len("/edit")]
	board(office.Get("/"), at, htmlcheck.HasText("finish a draft change order"))
	form := formIn(t, office.Get(edit), edit)
	form = with(form, "title", "Both front floor pans", "reason", "Rust has eaten through both.", "stage", stage[len(at+"/stages/"):],
		"lines.0.kind", "parts", "lines.0.text", "Two pressed pans", "lines.0.amount", "480", "days", "2", "do", "preview")
	office.Post(edit, form).Redirects(paper + "/preview")
	office.Post(paper+"/send", url.Values{"version": {formIn(t, office.Get(paper+"/preview"), paper+"/send").Get("version")}}).Redirects(paper)

	board(office.Get("/"), at, htmlcheck.In(`.wait-list a[href="`+paper+`"]`, htmlcheck.HasText("change order 1, Both front floor pans")))
	office.Get(at).Says("One paper waits for the owner").Says("Out for sign-off")
	page := office.Post(stage+"/close", nil).Status(http.StatusUnprocessableEntity)
	page.Says("Change order 1, Both front floor pans, is out for sign-off").Check(htmlcheck.In(`.gate a[href="` + paper + `"]`))
	s.As(s.Floor).Get("/").Says("Arrival: the decision on change order 1")
}
