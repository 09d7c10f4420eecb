package billing_test

import (
	"testing"

	"pgregory.net/rapid"

	"farbay/journal"
	"farbay/journal/billing"
)

func TestPartOf(t *testing.T) {
	for _, c := range []struct {
		name string // and why
		s    journal.Split
		part journal.Cents
		want journal.Split
	}{
		{"nothing", journal.Split{Labour: 700, Parts: 300}, 0, journal.Split{}},
		{"all of it is itself", journal.Split{Labour: 701, Parts: 299}, 1000, journal.Split{Labour: 701, Parts: 299}},
		// Largest remainder by hand: 500 x 667/1000 = 333.5, 500 x 333/1000 = 166.5;
		// the cent left over goes to the first of equal fractions.
		{"the first of equal fractions gets the cent", journal.Split{Labour: 667, Parts: 333}, 500, journal.Split{Labour: 334, Parts: 166}},
		// A credit among the kinds shrinks with the rest: 1,200 - 200 = 1,000; half of each.
		{"kinds below zero in proportion", journal.Split{Labour: 1200, Parts: -200}, 500, journal.Split{Labour: 600, Parts: -100}},
		{"all of it, kinds below zero too", journal.Split{Labour: 1200, Parts: -200}, 1000, journal.Split{Labour: 1200, Parts: -200}},
	} {
		got, err := billing.PartOf(c.s, c.part)
		if err != nil || got != c.want {
			t.Errorf("%s: %+v, %v; want %+v", c.name, got, err, c.want)
		}
	}
	for _, part := range []journal.Cents{-1, 1001} {
		if _, err := billing.PartOf(journal.Split{Labour: 1000}, part); journal.CodeOf(err) != journal.Invalid {
			t.Errorf("%s of 10.00: %v", part, err)
		}
	}
}

// A part always comes to what was asked for, and never turns a kind around.
func TestPartOf_AddsUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var s journal.Split
		for _, k := range journal.LineKinds {
			s = s.Plus(k, journal.Cents(rapid.Int64Range(-1_000, 1_000_000).Draw(t, string(k))))
		}
		if s.Total() <= 0 {
			t.Skip("nothing to divide")
		}
		part := journal.Cents(rapid.Int64Range(0, int64(s.Total())).Draw(t, "part"))
		got, err := billing.PartOf(s, part)
		if err != nil || got.Total() != part {
			t.Fatalf("%s of %+v: %+v, %v", part, s, got, err)
		}
		for _, k := range journal.LineKinds {
			if got.Of(k) < 0 && s.Of(k) > 0 || got.Of(k) > 0 && s.Of(k) < 0 {
				t.Fatalf("%s of %+v turns %s around: %+v", part, s, k, got)
			}
		}
	})
}

// A build of three stages that ends early, by hand. Agreed: 1,000.00 closed and
// billed with 10 % held back; 2,000.00 (1,500.00 labour, 500.00 parts) of which
// 800.00 is earned; 4,000.00 not begun. Deposit 1,400.00, pro rata, of which the first
// invoice used 1,400 x 1,000/7,000 = 200.00. Tax 5 % of parts.
func TestFinal(t *testing.T) {
	a := billing.Account{
		Terms:           billing.Terms{Deposit: 140_000, Crediting: billing.ProRata, HoldbackRate: 1000, DueDays: 10, Tax: billing.Tax{Parts: 500}},
		DepositReceived: 140_000,
		Agreed: []billing.Charge{
			{Ref: "stage:1", Source: billing.Agreement, StageID: "1", Split: journal.Split{Labour: 100_000}},
			{Ref: "stage:2", Source: billing.Agreement, StageID: "2", Split: journal.Split{Labour: 150_000, Parts: 50_000}},
			{Ref: "stage:3", Source: billing.Agreement, StageID: "3", Split: journal.Split{Labour: 400_000}},
		},
	}
	first, _, err := billing.Next(a, []string{"stage:1"}, "2026-03-02", "1")
	if err != nil || first.DepositCredit != 20_000 || first.Holdback != 10_000 || first.Payable != 70_000 {
		t.Fatalf("the first invoice: %+v, %v", first, err)
	}
	first.ID, first.Number = "i1", 1
	a.Documents = append(a.Documents, first)

	rests := billing.Rests(a)
	if len(rests) != 3 || rests[0].Earned != 0 || rests[1].Earned != 200_000 || rests[2].Earned != 400_000 {
		t.Fatalf("rests: %+v", rests)
	}
	// 1,200.00 not done of 2,000.00: 900.00 labour and 300.00 parts.
	off := rests[1].NotDone(80_000)
	if off != (journal.Split{Labour: 90_000, Parts: 30_000}) || rests[2].NotDone(0) != (journal.Split{Labour: 400_000}) || rests[0].NotDone(0) != (journal.Split{}) {
		t.Fatalf("not done: %+v", off)
	}
	a.Agreed = append(a.Agreed,
		billing.Charge{Ref: "paper:p/stage:2", Source: billing.EarlyStop, StageID: "2", Split: journal.Split{Labour: -90_000, Parts: -30_000}},
		billing.Charge{Ref: "paper:p/stage:3", Source: billing.EarlyStop, StageID: "3", Split: journal.Split{Labour: -400_000}})
	docs, err := billing.Final(a, "2026-04-14")
	if err != nil || len(docs) != 2 {
		t.Fatalf("%d documents, %v", len(docs), err)
	}
	// Released: 100.00. Agreed is 1,800.00 now and 1,000.00 billed, so of the deposit
	// 1,400 x 1,000/1,800 = 777.78 is to be credited; 200.00 is, and the release can
	// take 100.00 of the rest.
	if r := docs[0]; r.Kind != billing.HoldbackRelease || r.Holdback != -10_000 || r.DepositCredit != 10_000 || r.Payable != 0 {
		t.Errorf("the release: %+v", r)
	}
	// Earned 600.00 labour and 200.00 parts, tax 10.00; the deposit pays it whole.
	if d := docs[1]; d.Kind != billing.Invoice || d.Subtotal != 80_000 || d.Tax != 1_000 || d.Holdback != 0 || d.DepositCredit != 81_000 || d.Payable != 0 {
		t.Errorf("the last invoice: %+v", d)
	}
	docs[0].ID, docs[1].ID = "r1", "i2"
	a.Documents = append(a.Documents, docs...)
	s := billing.StatementOf(a)
	if err := s.Check(); err != nil {
		t.Error(err)
	}
	// 1,400.00 less 200.00, 100.00 and 810.00.
	if s.Agreed != 180_000 || s.Billed != 180_000 || s.ToBill != 0 || s.HeldBack != 0 || s.Stop != -520_000 || s.DepositUnearned != 29_000 {
		t.Errorf("the statement: %+v", s)
	}
}

// Of a metered stage the logged work is earned, at most its ceiling, and the rest
// of the ceiling goes.
func TestRests_Metered(t *testing.T) {
	a := billing.Account{
		Terms:   billing.Terms{Crediting: billing.ProRata},
		Metered: []billing.Meter{{StageID: "1"}},
		Agreed:  []billing.Charge{{Ref: "stage:1", Source: billing.Agreement, StageID: "1", Split: journal.Split{Labour: 300_000, Parts: 100_000}}},
		Work:    []billing.Charge{{Ref: "work:1", Source: billing.LoggedWork, StageID: "1", Split: journal.Split{Labour: 120_000}}},
	}
	r := billing.Rests(a)[0]
	if !r.Metered || r.Earned != 120_000 || r.Agreed != 400_000 || r.Billed != 0 {
		t.Fatalf("%+v", r)
	}
	off := r.NotDone(r.Earned)
	if off != (journal.Split{Labour: 210_000, Parts: 70_000}) { // 2,800.00, three quarters of it labour
		t.Errorf("not done: %+v", off)
	}
	a.Metered[0].Closed = true
	a.Agreed = append(a.Agreed, billing.Charge{Ref: "paper:p/stage:1", Source: billing.EarlyStop, StageID: "1",
		Split: journal.Split{Labour: -210_000, Parts: -70_000}})
	docs, err := billing.Final(a, "2026-04-14")
	if err != nil || len(docs) != 1 || docs[0].Subtotal != 120_000 {
		t.Fatalf("%+v, %v", docs, err)
	}
	docs[0].ID = "i1"
	a.Documents = docs
	s := billing.StatementOf(a)
	if err := s.Check(); err != nil || s.Agreed != 120_000 || s.Unused != 0 || s.ToBill != 0 {
		t.Errorf("%+v: %v", s, err)
	}
}
