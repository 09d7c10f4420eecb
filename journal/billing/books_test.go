package billing

import (
	"fmt"
	"slices"
	"testing"

	"farbay/journal"
	"pgregory.net/rapid"
)

// story makes up the books of a build: everything that can happen to its money,
// metered stages and money on account among it, with the account as it was at any
// moment on the way.
type story struct {
	b    Books
	past []Account
}

// snapshot copies what later events could reach.
func (s *story) snapshot() Account {
	a := s.b.Now
	a.Metered = slices.Clone(a.Metered)
	return a
}

func (s *story) add(t *rapid.T, d Document, ok bool, err error) {
	if err != nil {
		t.Fatal(err)
	}
	if ok {
		d.Number = len(s.b.Now.Documents) + 1
		d.ID = fmt.Sprintf("document-%d", d.Number)
		s.b.Now.Documents = append(s.b.Now.Documents, d)
	}
}

func (s *story) payment(p Payment) {
	p.ID, p.On = fmt.Sprintf("payment-%d", len(s.b.Now.Payments)+1), today
	s.b.Now.Payments = append(s.b.Now.Payments, p)
}

func (s *story) deposit(amount journal.Cents) {
	a := &s.b.Now
	p := Payment{ID: fmt.Sprintf("deposit-%d", len(s.b.Deposits)+len(s.b.Refunds)+1), Amount: amount, On: today}
	if amount > 0 {
		a.DepositReceived += amount
		s.b.Deposits = append(s.b.Deposits, p)
	} else {
		a.DepositRefunded -= amount
		s.b.Refunds = append(s.b.Refunds, p)
	}
}

// happen lets one thing happen, if it can.
func (s *story) happen(t *rapid.T) {
	a := &s.b.Now
	stage := rapid.SampledFrom([]string{"frame", "body", "paint", "wiring", ""}).Draw(t, "stage")
	amount := journal.Cents(rapid.Int64Range(-3_000_00, 9_000_00).Draw(t, "amount"))
	switch rapid.SampledFrom([]string{"agree", "change", "work", "turn", "bill", "bill", "cancel", "pay", "pay", "reverse", "on account", "refund", "deposit", "give back", "release"}).Draw(t, "event") {
	case "agree":
		a.Agreed = append(a.Agreed, Charge{Ref: fmt.Sprintf("stage:%d", len(a.Agreed)), Source: Agreement, StageID: stage, Split: journal.Split{Labour: max(amount, 0), Parts: 7}})
	case "change":
		a.Agreed = append(a.Agreed, Charge{Ref: fmt.Sprintf("paper:%d", len(a.Agreed)), StageID: stage, Split: journal.Split{Parts: amount},
			Source: rapid.SampledFrom([]Source{ChangeOrder, Allowance, EarlyStop}).Draw(t, "source")})
	case "work":
		a.Work = append(a.Work, Charge{Ref: fmt.Sprintf("work:%d", len(a.Work)), Source: LoggedWork, StageID: stage, Split: journal.Split{Labour: amount / 3}})
	case "turn":
		for i, m := range a.Metered {
			if m.StageID == stage {
				a.Metered[i].Closed = !m.Closed
			}
		}
	case "bill":
		d, ok, err := Next(*a, a.Unbilled(stage), today, "")
		s.add(t, d, ok, err)
	case "cancel":
		for _, d := range a.Documents {
			if memo, err := Cancel(*a, d.ID, today); err == nil {
				s.add(t, memo, true, nil)
				break
			}
		}
	case "pay":
		for _, b := range Open(*a) {
			if b.Open > 0 {
				s.payment(Payment{DocumentID: b.Document.ID, Amount: max(b.Open/2, 1)})
				break
			}
		}
	case "reverse":
		for _, p := range a.Payments {
			if r, err := Reversal(*a, p.ID, today); err == nil {
				s.payment(r)
				break
			}
		}
	case "on account":
		s.payment(Payment{Amount: max(amount, 1)})
	case "refund":
		if favour := -Due(*a); favour > 0 {
			s.payment(Payment{Amount: -(favour + 1) / 2})
		}
	case "deposit":
		s.deposit(max(amount, 1))
	case "give back":
		if left := StatementOf(*a).DepositUnearned; left > 0 {
			s.deposit(-(left + 1) / 2)
		}
	case "release":
		d, ok, err := Release(*a, today)
		s.add(t, d, ok, err)
	}
	s.past = append(s.past, s.snapshot())
}

// aStory draws books in which everything may have happened before the period or
// in it.
func aStory(t *rapid.T) *story {
	s := &story{}
	s.b.Now.Terms = Terms{Crediting: rapid.SampledFrom(Creditings[:3]).Draw(t, "crediting"), Tax: Tax{Parts: 625, Labour: 50},
		HoldbackRate: rapid.SampledFrom([]journal.BasisPoints{0, 500, 1000}).Draw(t, "holdback")}
	for _, m := range []string{"paint", "wiring"} {
		if rapid.Bool().Draw(t, "metered") {
			s.b.Now.Metered = append(s.b.Now.Metered, Meter{StageID: m})
		}
	}
	s.past = append(s.past, s.snapshot())
	for range rapid.IntRange(0, 40).Draw(t, "events") {
		s.happen(t)
	}
	s.b.Before = s.past[rapid.IntRange(0, len(s.past)-1).Draw(t, "before")]
	return s
}

// Each figure of a statement, of the build and of every stage, is the sum of the
// records it is explained by.
func TestExplain_SumsToEveryFigure(t *testing.T) {
	seen := map[Figure]int{}
	rapid.Check(t, func(t *rapid.T) {
		b := aStory(t).b
		p := PeriodOf(b)
		if err := p.Check(); err != nil {
			t.Fatalf("%v\n%+v", err, b)
		}
		asked := []*string{nil}
		for _, r := range p.Stages {
			asked = append(asked, &r.StageID)
		}
		for _, f := range Figures() {
			for _, stage := range asked {
				figure, ok := p.Figure(f, stage)
				parts := Explain(b, f, stage)
				var sum journal.Cents
				for _, part := range parts {
					sum += part.Amount
					if part.Charge == "" && part.Document == "" && part.Payment == "" {
						t.Fatalf("%s: a part says not where it is to be found: %+v", f, part)
					}
				}
				if sum != figure || !ok && len(parts) > 0 {
					t.Fatalf("%s of %v is %s (%v), and its parts come to %s:\n%+v", f, stage, figure, ok, sum, parts)
				}
				if len(parts) > 0 {
					seen[f]++
				}
			}
		}
	})
	for _, f := range Figures() {
		if seen[f] == 0 && !underRace { // too few there to come to everything
			t.Errorf("the stories never came to a record of %s", f)
		}
	}
}

// A statement that ends where the next begins is the next one's beginning, and the
// periods of a build make up all that is billed.
func TestPeriodOf_PeriodsFollowEachOther(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := aStory(t)
		var billed journal.Cents
		for i := 1; i < len(s.past); i++ {
			p := PeriodOf(Books{Before: s.past[i-1], Now: s.past[i]})
			sum := p.Total()
			billed += sum.InPeriod()
			if sum.Before+sum.InPeriod() != p.Now.Billed || billed != p.Now.Billed {
				t.Fatalf("periods up to %d bill %s, and %s is billed: %+v", i, billed, p.Now.Billed, sum)
			}
		}
	})
}

func TestPeriodRow_Share(t *testing.T) {
	for _, tc := range []struct {
		name                            string
		agreed, changes, unused, billed journal.Cents
		want                            journal.BasisPoints
	}{
		{"a third is cut off", 3_00, 0, 0, 1_00, 3333},
		{"a cent short is not 100 %", 10_000_00, 0, 0, 9_999_99, 9999},
		{"changes count", 10_00, 10_00, 0, 10_00, 5000},
		{"a ceiling not needed does not", 10_00, 0, 4_00, 6_00, 10_000},
		{"billed before a deduction was agreed", 10_00, -5_00, 0, 10_00, 20_000},
		{"nothing agreed", 0, 0, 0, 0, 0},
		{"less than nothing agreed", 0, -5_00, 0, -5_00, 0},
		{"the greatest amounts there are", 40 * 5 * journal.MaxCents, 0, 0, 40 * 5 * journal.MaxCents, 10_000},
	} {
		r := PeriodRow{StageRow: StageRow{Agreed: tc.agreed, Changes: tc.changes, Unused: tc.unused, Billed: tc.billed}}
		if got := r.Share(); got != tc.want {
			t.Errorf("%s: %d; want %d", tc.name, got, tc.want)
		}
	}
}

func TestPeriod_FigureOfNothingKnown(t *testing.T) {
	p, stage, none := PeriodOf(Books{Now: *busy(t)}), "frame", "no such stage"
	for name, ask := range map[string]struct {
		f     Figure
		stage *string
	}{"no such figure": {"turnover", nil}, "no such stage": {FigureBilled, &none}, "a figure that no stage has": {FigureTax, &stage}} {
		if amount, ok := p.Figure(ask.f, ask.stage); ok || amount != 0 {
			t.Errorf("%s: %s, %v", name, amount, ok)
		}
	}
}
