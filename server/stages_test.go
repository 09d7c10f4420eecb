package server_test

import (
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"

	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// gateOf makes a stage's gate ask for the checks, one a line, and no photos.
func gateOf(t *testing.T, office *servertest.Client, stage, checks string) {
	t.Helper()
	form := formIn(t, office.Get(stage+"/edit").Status(http.StatusOK), stage+"/edit")
	office.Post(stage+"/edit", with(form, "photos", "0", "checks", checks)).Redirects(stage)
}

func TestOpenAndCloseStage(t *testing.T) {
	s := servertest.New(t)
	office, floor, owner := s.As(s.Office), s.As(s.Floor), s.As(s.Owner)
	at := agreed(t, s, office)
	stage := stagesOf(t, office, at)[0]
	check := "Battery <disconnected> & fluids looked at."
	gateOf(t, office, stage, check+"\n\n  Keys tagged \n")

	office.Post(stage+"/close", nil).Status(http.StatusConflict).Says("has not been started")
	floor.Get(stage).Status(http.StatusOK).Says("has not been started").Check(htmlcheck.In(`form[action="` + stage + `/open"]`))
	floor.Post(stage+"/open", nil).Redirects(stage)
	floor.Post(stage+"/open", nil).Redirects(stage) // a second tap changes nothing

	// The gate is not satisfied: nothing closes, and the page says what is missing.
	page := office.Post(stage+"/close", nil).Status(http.StatusUnprocessableEntity)
	page.Says("It cannot close yet").Says(`Not ticked yet: Battery <disconnected> & fluids looked at\.`).Says("Not ticked yet: Keys tagged")
	page.Check(htmlcheck.In("[role=alert]", htmlcheck.HasText(`Arrival cannot close yet\. Not ticked yet`)), htmlcheck.NotIn(`form[action="`+stage+`/close"]`))
	floor.Get("/").Says("Arrival: 2 checks")

	floor.Post(stage+"/check", url.Values{"text": {check}, "done": {"yes"}}).Redirects(stage + "#f-gate")
	floor.Get(stage).Says(`Ticked: Battery`).Says("Ticked by Fenn Askew, today")
	floor.Get("/").Says(`Arrival: the check “Keys tagged”`)
	office.Post(stage+"/check", url.Values{"text": {"Keys tagged"}, "done": {"yes"}}).Status(http.StatusSeeOther)
	office.Post(stage+"/check", url.Values{"text": {"No such check"}, "done": {"yes"}}).Status(http.StatusConflict).Says("no longer part of the gate")
	office.Post(stage+"/check", url.Values{"text": {check}, "done": {"perhaps"}}).Status(http.StatusUnprocessableEntity)
	office.Get("/").Says("close Arrival, its gate has all it needs")

	// The floor may not close; an owner may do nothing at all.
	floor.Get(stage).Says("The office closes it").Check(htmlcheck.NotIn(`form[action="`+stage+`/close"]`), htmlcheck.In("main", htmlcheck.HasNoText(`\$`)))
	for _, act := range []string{"close", "reopen"} {
		floor.Post(stage+"/"+act, url.Values{"reason": {"no"}}).Status(http.StatusForbidden)
	}
	for _, act := range []string{"open", "close", "reopen", "check", "edit"} {
		owner.Post(stage+"/"+act, nil).Status(http.StatusForbidden)
	}
	owner.Get(stage).Status(http.StatusOK).Says("Arrival")

	// What will follow is shown before: 1,000.00 + 250.50, no tax, no deposit.
	page = office.Get(stage).Says("Closing issues this invoice at once")
	page.Check(htmlcheck.In("table.follows tfoot", htmlcheck.HasText(`To pay \$1,250\.50`)))
	closed := office.Post(stage+"/close", nil).Status(http.StatusSeeOther)
	invoice := closed.Header.Get("Location")
	if !strings.HasPrefix(invoice, at+"/invoices/") {
		t.Fatalf("closing leads to %q", invoice)
	}
	office.Get(invoice).Status(http.StatusOK).Says(`The stage is closed\. Invoice 1 is issued`).Says(`\$1,250\.50`)
	owner.Get(invoice).Status(http.StatusOK).Says(`\$1,250\.50`)
	office.Get("/").Says(`invoice 1, \$1,250\.50`).Says(`\$1,250\.50 is due in all`)
	office.Post(stage+"/check", url.Values{"text": {check}, "done": {"no"}}).Status(http.StatusConflict).Says("its checks stay as they are")
	office.Post(stage+"/close", nil).Status(http.StatusConflict).Says("nothing was billed twice")
}

func TestReopenStage(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := agreed(t, s, office)
	stage := stagesOf(t, office, at)[0]
	gateOf(t, office, stage, "")
	office.Post(stage+"/open", nil).Redirects(stage)
	office.Post(stage+"/reopen", url.Values{"reason": {"why not"}}).Status(http.StatusConflict).Says("not closed")
	office.Post(stage+"/close", nil).Status(http.StatusSeeOther)

	long := strings.Repeat("ä", 301)
	page := office.Post(stage+"/reopen", url.Values{"reason": {long}}).Status(http.StatusUnprocessableEntity)
	page.Check(wrong("reason", "at most 300 characters"))
	keeps(t, page, stage+"/reopen", url.Values{"reason": {long}}, "reason")
	office.Post(stage+"/reopen", url.Values{"reason": {" "}}).Status(http.StatusUnprocessableEntity)
	office.Post(stage+"/reopen", url.Values{"reason": {"The left pan was missed 🛠."}}).Redirects(stage)
	office.Get(stage).Says("What was billed stays billed").Says("Reopened by Odile Marchbank").Says("The left pan was missed 🛠")

	// It bills once: closing again issues nothing.
	office.Post(stage+"/close", nil).Redirects(stage)
	office.Get(stage).Says("There was nothing left to bill")
	invoices, err := htmlcheck.Values(office.Get(at+"/money").Body, `a[href*="/invoices/"]`, "href")
	if err != nil {
		t.Fatal(err)
	}
	for _, one := range invoices {
		if one != invoices[0] {
			t.Errorf("more than one invoice: %q", invoices)
		}
	}
}

// Promise 6 from outside: many closes of one stage at once yield one invoice,
// and every other answer is a refusal.
func TestCloseStage_manyAtOnce(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := agreed(t, s, office)
	stage := stagesOf(t, office, at)[0]
	gateOf(t, office, stage, "")
	office.Post(stage+"/open", nil).Redirects(stage)

	const taps = 20
	answers := make(chan *servertest.Reply, taps)
	var started sync.WaitGroup
	started.Add(taps)
	for range taps {
		go func() {
			started.Done()
			started.Wait()
			answers <- office.Post(stage+"/close", nil)
		}()
	}
	closed := 0
	for range taps {
		switch r := <-answers; r.StatusCode {
		case http.StatusSeeOther:
			closed++
		case http.StatusConflict:
			r.Says("nothing was billed twice")
		default:
			t.Errorf("a close is answered with %d", r.StatusCode)
		}
	}
	if closed != 1 {
		t.Errorf("%d closes succeeded", closed)
	}
	office.Get("/").Says(`\$1,250\.50 is due in all`)
}

func TestEditStage(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)
	stages := stagesOf(t, office, at)
	path := stages[1] + "/edit"
	read := formIn(t, office.Get(path).Status(http.StatusOK), path)
	filled := with(read, "name", `Teardown "dry" <i>`, "days", "7", "from", "2026-05-04", "to", "2026-05-12", "photos", "3",
		"checks", "Bolts bagged\nתווית", "cautions", "Springs: use the tool's guard.", "lead", string(s.Floor.ID))
	tests := []struct{ field, text, says string }{
		{"name", "", "name this stage"},
		{"name", strings.Repeat("x", 61), "at most 60"},
		{"days", "0", "between 1 and 400"},
		{"days", "1e1", "whole number"},
		{"from", "2026-13-01", "day that exists"},
		{"to", "2026-05-01", "before the planned start"},
		{"photos", "501", "between 0 and 500"},
		{"checks", "Same\nSame", "listed twice"},
		{"checks", strings.Repeat("y", 201), "at most 200"},
		{"cautions", strings.Repeat("z", 401), "at most 400"},
	}
	for _, test := range tests {
		t.Run(test.field+" "+test.text[:min(len(test.text), 12)], func(t *testing.T) {
			sent := with(filled, test.field, test.text)
			page := office.Post(path, sent).Status(http.StatusUnprocessableEntity).Check(wrong(test.field, test.says))
			keeps(t, page, path, sent, "name", "days", "from", "to", "photos", "checks", "cautions", "lead", "version")
		})
	}
	office.Post(path, filled).Redirects(stages[1])
	page := office.Get(stages[1]).Says(`Teardown "dry" <i>`).Says("led by Fenn Askew").Says("Mon 4 May to Tue 12 May, 7 working days").Says("תווית")
	page.Check(htmlcheck.NotIn("h1 i"), htmlcheck.In(`a[href="`+stages[0]+`"]`, htmlcheck.HasText("Before: Arrival")),
		htmlcheck.In(`a[href="`+stages[2]+`"]`, htmlcheck.HasText("After: Re-estimate")))

	late := office.Post(path, with(read, "days", "12")).Status(http.StatusConflict).Says("Somebody else changed this stage")
	keeps(t, late, path, url.Values{"days": {"12"}}, "days")
	office.Get(stages[1]).Says("7 working days")
	office.Post(path, formIn(t, late, path)).Redirects(stages[1])
	office.Get(stages[1]).Says("12 working days")

	// A stage of another build is not found under this one.
	form := with(heronForm(t, office), "nickname", "Bramble")
	other := office.Post("/builds", form).Status(http.StatusSeeOther).Header.Get("Location")
	foreign := strings.Replace(stages[1], at, other, 1)
	for _, r := range []*servertest.Reply{office.Get(foreign), office.Get(foreign + "/edit"), office.Post(foreign+"/edit", filled),
		office.Post(foreign+"/open", nil), office.Post(foreign+"/close", nil)} {
		r.Status(http.StatusNotFound)
	}
}
