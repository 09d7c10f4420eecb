package flow_test

import (
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
)

// With the terms asking, a late invoice keeps the next stage from opening until the
// office says why it opens all the same.
func TestOpenStage_LateInvoice(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Crediting: billing.ProRata, DueDays: 10, LateAsks: true}))
	inv := y.billed(1)[0] // due on 24 April
	next := y.stage(y.heron, 1)
	y.plainStage(y.heron, y.stage(y.heron, 1))
	open := func(who flow.Actor) error { return y.steps.OpenStage(y.ctx, who, y.heron, next.ID) }

	y.now = y.now.Add(10 * oneDay) // the due day itself
	view := got(y.steps.StageOf(y.ctx, y.office, y.heron, next.ID))(t)
	if view.AskOffice || len(view.Late) > 0 {
		t.Errorf("on the due day it asks for %d late invoices", len(view.Late))
	}
	y.now = y.now.Add(oneDay)
	for _, who := range []flow.Actor{y.office, y.jory} {
		view := got(y.steps.StageOf(y.ctx, who, y.heron, next.ID))(t)
		office := who.Person.Role == journal.Office
		if !view.AskOffice || (len(view.Late) == 1) != office {
			t.Errorf("%s sees ask %t with %d invoices", who.Person.Name, view.AskOffice, len(view.Late))
		}
		err := open(who)
		refused(t, err, journal.Conflict)
		says := "Invoice 1 is a day late. Please say on the stage's page why Teardown is opened all the same."
		if !office {
			says = "The office has to agree before Teardown is opened. Please ask them."
		}
		if journal.MessageOf(err) != says {
			t.Errorf("%s is told %q", who.Person.Name, journal.MessageOf(err))
		}
	}
	refused(t, y.steps.OpenStageThough(y.ctx, y.jory, y.heron, next.ID, "I want to."), journal.Forbidden)
	refused(t, y.steps.OpenStageThough(y.ctx, y.ada, y.heron, next.ID, "I pay soon."), journal.Forbidden)
	refused(t, y.steps.OpenStageThough(y.ctx, y.office, y.heron, next.ID, ""), journal.Invalid, "reason")
	if y.stage(y.heron, 1).State != journal.NotStarted {
		t.Fatal("a refused stage is open")
	}
	y.do(y.steps.OpenStageThough(y.ctx, y.office, y.heron, next.ID, "Paid by wire, on its way."))
	opened := y.events(y.heron, "stage opened")
	last := opened[len(opened)-1]
	for _, want := range []string{`"reason":"Paid by wire, on its way."`, `"invoice":"` + string(inv.ID) + `"`, `"open":100000`, `"due_on":"2026-04-24"`} {
		if !strings.Contains(last.Detail, want) {
			t.Errorf("the record says %s, without %s", last.Detail, want)
		}
	}
	faults, _, err := y.steps.Check(y.ctx, func(string) error { return nil })
	if err != nil || len(faults) > 0 {
		t.Errorf("the check finds %v, %v", faults, err)
	}
}

// What does not ask: terms that do not, an invoice settled on time or late, and one
// that is not due.
func TestOpenStage_LateInvoiceDoesNotAsk(t *testing.T) {
	for _, tc := range []struct {
		name string
		asks bool
		paid bool
		wait int
	}{
		{"the terms do not ask", false, false, 30},
		{"paid", true, true, 30},
		{"due today", true, false, 10},
	} {
		t.Run(tc.name, func(t *testing.T) {
			y := newYard(t)
			y.do(y.saveTerms(y.heron, billing.Terms{Crediting: billing.ProRata, DueDays: 10, LateAsks: tc.asks}))
			inv := y.billed(1)[0]
			if tc.paid {
				y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(1, inv.ID, 100_000)))
			}
			y.plainStage(y.heron, y.stage(y.heron, 1))
			for range tc.wait {
				y.now = y.now.Add(oneDay)
			}
			y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, y.stage(y.heron, 1).ID))
		})
	}
}

func TestReceivables(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Crediting: billing.ProRata, DueDays: 10}))
	y.billed(2)
	y.do(y.steps.RecordPayment(y.ctx, y.office, y.juniper, journal.Payment{ID: "form-of-money-on-account", OnAccount: true, Amount: 7_000, On: "2026-04-14", Means: journal.Cash}))
	for range 41 { // 31 days late
		y.now = y.now.Add(oneDay)
	}
	_, err := y.steps.Receivables(y.ctx, y.jory)
	refused(t, err, journal.Forbidden)
	all := got(y.steps.Receivables(y.ctx, y.office))(t)
	if all.On != "2026-05-25" || len(all.Builds) != 2 {
		t.Fatalf("on %s, %d builds", all.On, len(all.Builds))
	}
	if open := all.Total.Open; open != [billing.AgeBuckets]journal.Cents{billing.LateTo60: 200_000} || all.Total.Favour != 7_000 || all.Total.Due() != 193_000 {
		t.Errorf("total %+v", all.Total)
	}
	if all.Builds[0].Build.Nickname != "Heron" || strings.Join(all.Builds[0].Owners, "; ") != "Ada Finch; Dell Finch" || len(all.Builds[0].Aging.Documents) != 2 {
		t.Errorf("heron: %+v", all.Builds[0])
	}
}
