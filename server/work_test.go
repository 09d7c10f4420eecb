package server_test

import (
	"bytes"
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// metered makes the stage that is under way in a full build one by time and
// materials, with a ceiling of 1,200.00.
func metered(t *testing.T, s *servertest.Server, full servertest.Full) {
	t.Helper()
	err := s.App.Steps().Store.Write(context.Background(), func(tx flow.Tx) error {
		st, err := tx.Stage(full.ID, full.Open)
		if err != nil {
			return err
		}
		st.Metered = true
		return tx.SaveStage(st)
	})
	if err != nil {
		t.Fatal(err)
	}
}

// post sends a form for logged work, with a file if data is there.
func postWork(t *testing.T, c *servertest.Client, path string, form url.Values, name string, data []byte) *servertest.Reply {
	t.Helper()
	kind, body := scanForm(t, form, name, data)
	return c.Send(http.MethodPost, path, strings.ReplaceAll(kind, "scan", "file"), bytes.NewReader(bytes.ReplaceAll(body, []byte(`name="scan"`), []byte(`name="file"`))))
}

func TestLogWork_FromThePhone(t *testing.T) {
	s := servertest.New(t)
	full := s.Full("Heron", s.Owner, 100)
	office, floor, owner := s.As(s.Office), s.As(s.Floor), s.As(s.Owner)
	at := "/builds/" + string(full.ID) + "/stages/" + string(full.Open)
	hours := formIn(t, floor.Get(at).Status(http.StatusOK), at+"/work")
	if hours.Get("person") != string(s.Floor.ID) || hours.Get("day") == "" || hours.Get("id") == "" || hours.Has("rate") {
		t.Errorf("the form begins with %v", hours)
	}
	// Nothing tapped: what was typed stays, with its sentence beside it.
	page := postWork(t, floor, at+"/work", with(hours, "text", "Welded <b>the pan</b>."), "", nil).Status(http.StatusUnprocessableEntity)
	page.Says(`from 0\.1 to 24`).Check(htmlcheck.In("details[open] #f-text", htmlcheck.HasText(`Welded <b>the pan</b>\.`)))
	postWork(t, floor, at+"/work", with(hours, "text", "x", "typed", "two"), "", nil).Status(http.StatusUnprocessableEntity).Says("Please type the hours")
	tapped := with(hours, "text", "Welded <b>the pan</b>.", "hours", "2", "quarter", "15")
	postWork(t, floor, at+"/work", tapped, "", nil).Redirects(at + "#work")
	postWork(t, floor, at+"/work", tapped, "", nil).Redirects(at + "#work") // a second tap
	page = floor.Get(at).Says(`2 hours 15 minutes: Welded <b>the pan</b>\.`)
	page.Check(htmlcheck.In("#work", htmlcheck.HasNoText(`\$`)))
	office.Get(at).Says(`2 hours 15 minutes × \$`).Says("the owner does not see it").Check(htmlcheck.NotIn(`form[action="` + at + `/bill"]`))
	if body := owner.Get(at).Status(http.StatusOK).Body; strings.Contains(body, "Logged work") || strings.Contains(body, "Welded") {
		t.Error("the owner sees the log of a stage at a fixed price")
	}
	owner.Post(at+"/work", tapped).Status(http.StatusForbidden)

	// A rate from the floor is not read, and one of the office is.
	kept := with(formIn(t, floor.Get(at), at+"/work"), "text", "Dear hours.", "typed", "1.5", "rate", "900.00")
	postWork(t, floor, at+"/work", kept, "", nil).Redirects(at + "#work")
	office.Get(at).Check(htmlcheck.In("#work", htmlcheck.HasNoText(`900`)))
	kept = with(formIn(t, office.Get(at), at+"/work"), "text", "By the office.", "typed", "1.5", "rate", "abc")
	postWork(t, office, at+"/work", kept, "", nil).Status(http.StatusUnprocessableEntity).Check(htmlcheck.In(`input[name="rate"][value="abc"]`))
	kept.Set("rate", "60")
	postWork(t, office, at+"/work", kept, "", nil).Redirects(at + "#work")
	office.Get(at).Says(`1\.5 hours × \$60\.00`)

	// Taking back asks for a reason.
	forms, err := htmlcheck.Values(office.Get(at).Body, `#work form[action$="/take-back"]`, "action")
	if err != nil || len(forms) == 0 {
		t.Fatalf("nothing can be taken back: %v", err)
	}
	office.Post(forms[0], url.Values{"reason": {" "}}).Status(http.StatusUnprocessableEntity).Says("Please say why it is taken back").Check(htmlcheck.In("li details[open] #f-reason"))
	office.Post(forms[0], url.Values{"reason": {"Wrong stage."}}).Redirects(at + "#work")
	office.Post(forms[0], url.Values{"reason": {"Wrong stage."}}).Status(http.StatusConflict).Says("taken back already")
	office.Get(at).Says("Taken back by .*: Wrong stage")
}

func TestLogWork_Metered(t *testing.T) {
	s := servertest.New(t)
	full := s.Full("Heron", s.Owner, 100)
	metered(t, s, full)
	office, floor, owner := s.As(s.Office), s.As(s.Floor), s.As(s.Owner)
	build := "/builds/" + string(full.ID)
	at := build + "/stages/" + string(full.Open)
	file := build + "/work/" + string(full.Work) + "/file"

	owner.Get(at).Says("By time and materials").Says(`\$987\.65 is logged, before tax: 82.% of the \$1,200\.00`).Says("Blasted for the shop only, of Heron").Check(
		htmlcheck.In(`#work a[href="`+file+`"]`), htmlcheck.NotIn("#work form"))
	reply := owner.Get(file).Status(http.StatusOK)
	if reply.Body != "%PDF-1.7 of the blaster of Heron" || reply.Header.Get("Content-Type") != "application/pdf" || !strings.HasPrefix(reply.Header.Get("Content-Disposition"), "attachment") {
		t.Errorf("the file came as %v", reply.Header)
	}
	s.As(s.Add(journal.Owner, "Bodil Strand")).Get(file).Status(http.StatusNotFound)
	owner.Get(build + "/work/nothing/file").Status(http.StatusNotFound)

	// Outside work wants its invoice, by content and not by name.
	bought := url.Values{"id": {"bought-0123456789abcdef"}, "kind": {"outside work"}, "day": {"2026-04-10"}, "text": {"Chrome"}, "cost": {"100"}}
	postWork(t, floor, at+"/work", bought, "", nil).Status(http.StatusUnprocessableEntity).Says("needs the supplier's invoice").Check(htmlcheck.In(`details[open] input[name="cost"][value="100"]`))
	postWork(t, floor, at+"/work", bought, "chrome.pdf", []byte("no PDF at all")).Status(http.StatusUnprocessableEntity).Says("no PDF, JPEG or PNG")
	postWork(t, floor, at+"/work", bought, "chrome.pdf", []byte("%PDF-1.7")).Redirects(at + "#work")

	floor.Post(at+"/bill", nil).Status(http.StatusForbidden)
	to := office.Post(at+"/bill", nil).Status(http.StatusSeeOther).Header.Get("Location")
	office.Post(at+"/bill", nil).Status(http.StatusConflict).Says("left to bill")
	page := owner.Get(to).Says("For the work logged so far on the stage Teardown").Says(`Friday 10 April: cost \$987\.65, no mark-up`)
	linesLeadSomewhere(t, owner, page)
	office.Get(at).Says("on invoice 2")
}

// The office is told on its board that a ceiling is near, with the one act that ends
// it and a letter; the floor is not.
func TestWhatWaits_Ceiling(t *testing.T) {
	s := servertest.New(t)
	id, stages := s.Agreed("Heron", s.Owner)
	steps, floorActor := s.App.Steps(), servertest.Actor(s.Floor)
	if err := steps.OpenStage(t.Context(), floorActor, id, stages[0].ID); err != nil {
		t.Fatal(err)
	}
	metered(t, s, servertest.Full{ID: id, Open: stages[0].ID})
	err := steps.LogWork(t.Context(), floorActor, id, flow.NewWork{
		ID: "work-0123456789abcdef", StageID: stages[0].ID, Kind: journal.Parts, Day: "2026-04-10", Text: "A frame", Cost: 110_000,
	})
	if err != nil {
		t.Fatal(err)
	}
	s.Settle()
	office, floor := s.As(s.Office), s.As(s.Floor)
	at := "/builds/" + string(id) + "/stages/" + string(stages[0].ID)
	office.Get("/").Says("send a change order, Arrival has used 92.% of its ceiling").Check(htmlcheck.In(`a[href="` + at + `#work"]`))
	if strings.Contains(floor.Get("/").Body, "of its ceiling") {
		t.Error("the floor is told of the ceiling")
	}
	letters := s.Mail.To(s.Office.Email)
	if n := len(letters); n == 0 || !strings.Contains(letters[n-1].Text, "has used 80 % of its ceiling") || !strings.Contains(letters[n-1].Text, at+"#work") {
		t.Errorf("letters to the office: %+v", letters)
	}
	floor.Get(at).Check(htmlcheck.NotIn(`#work input[name="stage"]`))
	form := formIn(t, office.Get(at).Says("The ceiling is near"), "/builds/"+string(id)+"/papers")
	edit := office.Post("/builds/"+string(id)+"/papers", form).Status(http.StatusSeeOther).Header.Get("Location")
	office.Get(edit).Status(http.StatusOK).Says("change order").Check(htmlcheck.In(`input[value="Another ceiling for Arrival"]`))
	if strings.Contains(office.Get("/").Body, "of its ceiling") {
		t.Error("it waits beside the change order that was begun")
	}
}

// linesLeadSomewhere follows the link of each line of an invoice: the page is there,
// and so is the place on it.
func linesLeadSomewhere(t *testing.T, c *servertest.Client, invoice *servertest.Reply) {
	t.Helper()
	links, err := htmlcheck.Values(invoice.Body, "article table tbody a.way", "href")
	if err != nil || len(links) == 0 {
		t.Fatalf("the lines of the invoice lead nowhere: %v", err)
	}
	for _, link := range links {
		path, place, named := strings.Cut(link, "#")
		page := c.Get(path).Status(http.StatusOK)
		if named {
			page.Check(htmlcheck.In(`[id="` + place + `"]`))
		}
	}
}

// Lines of the agreement, of signed changes and of uses of an allowance lead to
// what they come from.
func TestInvoice_LinesLeadToTheirSource(t *testing.T) {
	s := servertest.New(t)
	full := s.Full("Heron", s.Owner, 100)
	owner := s.As(s.Owner)
	at := "/builds/" + string(full.ID)
	page := owner.Get(at + "/invoices/" + string(full.Invoice.ID)).Status(http.StatusOK)
	page.Check(htmlcheck.In(`article a[href="`+at+`/stages/`+string(full.Closed)+`"]`), htmlcheck.In("article", htmlcheck.HasText("From: the agreed value of Arrival")))
	linesLeadSomewhere(t, owner, page)
}
