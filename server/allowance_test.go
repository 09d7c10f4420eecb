package server_test

import (
	"context"
	"net/http"
	"net/url"
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// signed writes a paper, sends it and has the owner sign it.
func signed(t *testing.T, s *servertest.Server, build journal.BuildID, owner journal.Person, kind signoff.Kind, fill func(*signoff.Draft)) signoff.Paper {
	t.Helper()
	ctx, steps, office := context.Background(), s.App.Steps(), servertest.Actor(s.Office)
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	p, err := steps.NewPaper(ctx, office, build, flow.PaperStart{Kind: kind})
	must(err)
	d := p.Draft
	d.Title, d.Reason = "A paper", "As we spoke of."
	fill(&d)
	p, err = steps.SavePaper(ctx, office, build, p.ID, p.Version, d)
	must(err)
	p, err = steps.SendPaper(ctx, office, build, p.ID, p.Version)
	must(err)
	v, err := steps.PaperPage(ctx, servertest.Actor(owner), build, p.ID)
	must(err)
	_, err = steps.Decide(ctx, servertest.Actor(owner), build, p.ID, flow.DecideInput{
		Revision: v.Sheet.Revision, SHA256: v.SHA256(), Outcome: signoff.OutcomeSigned, TypedName: owner.Name,
	})
	must(err)
	return p
}

// A find is booked on the allowance through the pages; the owner sees it and
// ends the allowance.
func TestAllowance_BookedAndEnded(t *testing.T) {
	s := servertest.New(t)
	full := s.Full("Heron", s.Owner, 100)
	s.Settle()
	s.Consents(s.Owner)
	office, owner := s.As(s.Office), s.As(s.Owner)
	at := "/builds/" + string(full.ID)
	entry := at + "/entries/" + string(full.Shared)
	office.Get(entry + "/allowance").Redirects(at + "/allowance") // none is in force
	owner.Get(at + "/allowance").Says("None is in force")
	signed(t, s, full.ID, s.Owner, signoff.ChangeOrder, func(d *signoff.Draft) {
		d.StageID, d.Allowance = full.Open, &signoff.Limits{PerFind: 25_000, PerMonth: 40_000}
	})
	office.Get(entry).Check(htmlcheck.In(`a[href="` + entry + `/allowance"]`))
	owner.Get(entry).Check(htmlcheck.NotIn(`a[href="` + entry + `/allowance"]`))
	form := formIn(t, office.Get(entry+"/allowance").Says("250.00 is left for this find"), entry+"/allowance")
	filled := with(form, "title", "Spring bracket <b>", "reason", "Cracked.", "lines.0.kind", "parts", "lines.0.text", "Bracket", "lines.0.amount", "300")
	reply := office.Post(entry+"/allowance", filled).Status(http.StatusUnprocessableEntity).Says("250.00 is left for this find")
	reply.Check(htmlcheck.In(`input[name="title"][value="Spring bracket <b>"]`), htmlcheck.In(`input[name="lines.0.amount"][value="300"]`))
	filled = with(filled, "lines.0.amount", "180.00")
	office.Post(entry+"/allowance", filled).Redirects(at + "/allowance")
	office.Post(entry+"/allowance", filled).Redirects(at + "/allowance") // sent twice
	page := owner.Get(at + "/allowance").Says("220.00 of .400.00 is left").Says("Spring bracket <b>").Says("180.00")
	page.Check(htmlcheck.In("article#use-1 img"), htmlcheck.NotIn("article#use-2"))
	owner.Get(entry).Check(htmlcheck.In(`a[href="` + at + `/allowance#use-1"]`))
	end := formIn(t, page, at+"/allowance/end")
	s.As(s.Floor).Post(at+"/allowance/end", end).Status(http.StatusForbidden)
	owner.Post(at+"/allowance/end", end).Redirects(at + "/allowance")
	owner.Get(at + "/allowance").Says("None is in force").Check(htmlcheck.In("article#use-1"))
}

// A belonging is asked about from the find's page, answered from the owner's
// first page with one tap, and done.
func TestBelonging_OneTap(t *testing.T) {
	s := servertest.New(t)
	full := s.Full("Heron", s.Owner, 100)
	s.Settle()
	floor, owner := s.As(s.Floor), s.As(s.Owner)
	at := "/builds/" + string(full.ID)
	entry := at + "/entries/" + string(full.Shared)
	ask := formIn(t, floor.Get(entry), entry+"/ask")
	floor.Post(entry+"/ask", with(ask, "what", "")).Status(http.StatusUnprocessableEntity).Says("what it is")
	floor.Post(entry+"/ask", with(ask, "what", "a toolbox <i>")).Redirects(entry)
	page := owner.Get(at).Says("A toolbox <i>").Says("asks whether to keep, ship or discard it")
	page.Check(htmlcheck.In(`.waits form[action="` + entry + `/belonging"] button[value="ship"]`))
	owner.Post(entry+"/belonging", url.Values{"answer": {"burn"}, "note": {"Typed & kept"}}).Status(http.StatusUnprocessableEntity).Says("Typed & kept")
	owner.Post(entry+"/belonging", url.Values{"answer": {"ship"}, "note": {"To 9 Lake Street"}}).Redirects(entry)
	owner.Get(at).Check(htmlcheck.NotIn(`form[action="` + entry + `/belonging"]`))
	floor.Get(entry).Says("Ship it now").Says("To 9 Lake Street")
	floor.Post(entry+"/belonging/done", formIn(t, floor.Get(entry), entry+"/belonging/done")).Redirects(entry)
	owner.Get(entry).Says("Done by").Check(htmlcheck.NotIn(`form[action="` + entry + `/belonging"]`))
	owner.Post(entry+"/belonging", url.Values{"answer": {"keep"}}).Status(http.StatusConflict).Says("call them")
}
