package store

import (
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

func TestRoundTrip_Allowances(t *testing.T) {
	s, f := yard(t), &filler{}
	addFind(t, s)
	write(t, s, func(tx flow.Tx) error {
		return tx.AddPaper(signoff.Paper{ID: "sets", BuildID: heron, Kind: signoff.ChangeOrder, State: signoff.Drafted, CreatedBy: pat, CreatedAt: noon})
	})
	a := fill(t, f, func(a *signoff.Allowance) {
		a.ID, a.BuildID, a.PaperID, a.EndedBy = "allowance", heron, "sets", ada
		a.Limits.PerFind, a.Limits.PerMonth = 101, 202
	})
	write(t, s, func(tx flow.Tx) error { return tx.AddAllowance(a) })
	same(t, []signoff.Allowance{a}, get(t, s, func(r flow.Reads) ([]signoff.Allowance, error) { return r.Allowances(heron) }))

	u := fill(t, f, func(u *signoff.Use) {
		u.ID, u.BuildID, u.AllowanceID, u.EntryID, u.StageID, u.ByID, u.Month = "use", heron, "allowance", "find", teardown, pat, "2026-04"
		u.Photos = u.Photos[:1]
		u.Photos[0].PhotoID = "find-photo"
	})
	write(t, s, func(tx flow.Tx) error { return tx.AddUse(u) })
	same(t, []signoff.Use{u}, get(t, s, func(r flow.Reads) ([]signoff.Use, error) { return r.Uses(heron) }))
}

// One allowance is in force at most, and one that has ended stays ended.
func TestAllowances_OneInForce(t *testing.T) {
	s := yard(t)
	write(t, s, func(tx flow.Tx) error {
		for _, id := range []journal.PaperID{"one", "two"} {
			if err := tx.AddPaper(signoff.Paper{ID: id, BuildID: heron, Kind: signoff.ChangeOrder, State: signoff.Drafted, CreatedBy: pat, CreatedAt: noon}); err != nil {
				return err
			}
		}
		return nil
	})
	give := func(paper journal.PaperID) func(flow.Tx) error {
		return func(tx flow.Tx) error {
			return tx.AddAllowance(signoff.Allowance{ID: journal.AllowanceID(paper), BuildID: heron, PaperID: paper, Limits: signoff.Limits{PerFind: 1, PerMonth: 2}, FromAt: noon})
		}
	}
	write(t, s, give("one"))
	refused(t, s, journal.Conflict, give("two"))
	end := func(tx flow.Tx) error { return tx.EndAllowance(heron, ada, hours(1)) }
	write(t, s, end)
	write(t, s, end)
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Allowance(heron); return err })
	write(t, s, give("two"))
	if a := get(t, s, func(r flow.Reads) (signoff.Allowance, error) { return r.Allowance(heron) }); a.PaperID != "two" {
		t.Errorf("in force is that of paper %q", a.PaperID)
	}
}

func TestRoundTrip_Belongings(t *testing.T) {
	s, f := yard(t), &filler{}
	addFind(t, s)
	b := fill(t, f, func(b *journal.Belonging) {
		b.EntryID, b.BuildID, b.AskedBy, b.DoneBy = "find", heron, jory, pat
		b.Answers[0].Answer, b.Answers[1].Answer = journal.Ship, journal.Keep
		b.Answers[0].PersonID, b.Answers[1].PersonID = ada, ada
	})
	write(t, s, func(tx flow.Tx) error { return tx.AddBelonging(b) })
	for i, a := range b.Answers {
		write(t, s, func(tx flow.Tx) error { return tx.AnswerBelonging("find", i+1, a) })
	}
	same(t, b, get(t, s, func(r flow.Reads) (journal.Belonging, error) { return r.Belonging(heron, "find") }))
	same(t, []journal.Belonging{b}, get(t, s, func(r flow.Reads) ([]journal.Belonging, error) { return r.Belongings(heron) }))
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AnswerBelonging("find", 2, b.Answers[0]) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.DoneBelonging("find", pat, hours(1)) })
}
