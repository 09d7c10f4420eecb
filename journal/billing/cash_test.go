package billing

import (
	"fmt"
	"strings"
	"testing"

	"farbay/journal"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// brief is what a test compares of one expected sum.
type brief struct {
	Kind   ComingKind
	Stage  string
	On     journal.Date
	Amount journal.Cents
	AtMost bool
}

func briefly(coming []Coming) []brief {
	var all []brief
	for _, c := range coming {
		all = append(all, brief{c.Kind, c.StageID, c.On, c.Amount, c.AtMost})
	}
	return all
}

func TestCash(t *testing.T) {
	terms := func(change func(*Terms)) Terms {
		terms := Terms{Crediting: ProRata, DueDays: 14}
		change(&terms)
		return terms
	}
	for _, c := range []struct {
		name     string
		a        func(t *testing.T) Account
		closings []Closing
		ready    journal.Date
		want     []brief
	}{
		{"a stage closes on its day and is due after the terms; one in the past closes today", func(*testing.T) Account {
			a := account(stage("frame", 100_00), stage("body", 200_00))
			a.Terms = terms(func(*Terms) {})
			return *a
		}, []Closing{{"frame", "2026-05-01"}, {"body", "2026-04-01"}}, "2026-06-01",
			[]brief{{ComingBilled, "body", "2026-04-28", 200_00, false}, {ComingBilled, "frame", "2026-05-15", 100_00, false}}},
		{"the holdback comes when the build is ready, of the deposit first what was asked", func(*testing.T) Account {
			a := account(stage("frame", 1000_00), stage("body", 1000_00))
			a.Terms = terms(func(t *Terms) { t.HoldbackRate, t.Deposit, t.Tax = 1000, 400_00, Tax{Labour: 500} })
			return *a
		}, []Closing{{"frame", "2026-05-01"}, {"body", "2026-05-20"}}, "2026-06-01",
			// each invoice: 1,050.00 less 100.00 held back and 200.00 of the deposit
			[]brief{{ComingDeposit, "", today, 400_00, false}, {ComingBilled, "frame", "2026-05-15", 750_00, false},
				{ComingBilled, "body", "2026-06-03", 750_00, false}, {ComingRelease, "", "2026-06-15", 200_00, false}}},
		{"open invoices stand at their due date, late ones too, less what was paid", func(t *testing.T) Account {
			a := account(stage("frame", 1000_00))
			a.Terms = terms(func(t *Terms) { t.DueDays = 0 })
			d := bill(t, a, "frame")
			pay(t, a, d.ID, 300_00)
			a.Documents[0].DueOn = "2026-03-01"
			return *a
		}, nil, "", []brief{{ComingOpen, "frame", "2026-03-01", 700_00, false}}},
		{"credit settles what comes next, and what is left goes back", func(t *testing.T) Account {
			a := account(stage("frame", 100_00), stage("body", 60_00))
			a.Terms = terms(func(*Terms) {})
			a.Payments = []Payment{{ID: "p", Amount: 250_00, On: today}}
			return *a
		}, []Closing{{"frame", "2026-05-01"}, {"body", "2026-05-20"}}, "",
			[]brief{{ComingBilled, "frame", "2026-05-15", 0, false}, {ComingBack, "", "2026-05-20", -90_00, false}, {ComingBilled, "body", "2026-06-03", 0, false}}},
		{"of a metered stage what is logged on its day of billing, and all of the ceiling at most", func(*testing.T) Account {
			a := account(stage("frame", 1000_00))
			a.Terms = terms(func(t *Terms) { t.BillDays = []int{1, 20} })
			a.Metered = []Meter{{StageID: "frame"}}
			a.Work = []Charge{{Ref: "work:1", Source: LoggedWork, StageID: "frame", Split: journal.Split{Labour: 300_00}}}
			return *a
		}, []Closing{{"frame", "2026-05-10"}}, "",
			[]brief{{ComingBilled, "", "2026-05-04", 300_00, false}, {ComingBilled, "frame", "2026-05-24", 700_00, true}}},
		{"what has no day stands last and without one", func(*testing.T) Account {
			a := account(stage("frame", 1000_00), stage("body", 500_00))
			a.Terms = terms(func(t *Terms) { t.HoldbackRate = 1000 })
			return *a
		}, []Closing{{"frame", ""}, {"body", "2026-05-01"}}, "2026-06-01",
			[]brief{{ComingBilled, "body", "2026-05-15", 450_00, false}, {ComingBilled, "frame", "", 900_00, false}, {ComingRelease, "", "", 150_00, false}}},
		{"a signed change on a closed stage goes with the next close, or at once", func(t *testing.T) Account {
			a := account(stage("frame", 100_00))
			a.Terms = terms(func(*Terms) {})
			bill(t, a, "frame")
			a.Agreed = append(a.Agreed, delta("1", "frame", -30_00))
			return *a
		}, nil, "", []brief{{ComingBilled, "", today, 0, false}, {ComingBack, "", today, -30_00, false}, {ComingOpen, "frame", "2026-04-28", 100_00, false}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := Cash(c.a(t), c.closings, c.ready, today)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(c.want, briefly(got)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// Whatever happened before: what is expected, what was paid and the deposit make
// up the agreed total with the tax of its documents, ceilings taken as used; and
// the account that was asked is left as it was.
func TestCash_AddsUp(t *testing.T) {
	stages := []string{"frame", "body", "paint"}
	metered, backs, credits := 0, 0, 0
	rapid.Check(t, func(t *rapid.T) {
		r := &recorder{now: today.Time()}
		r.a.Terms = Terms{Crediting: rapid.SampledFrom(Creditings).Draw(t, "crediting"), Tax: anyTax.Draw(t, "tax"), DueDays: 10,
			HoldbackRate: rapid.SampledFrom([]journal.BasisPoints{0, 500, 1000}).Draw(t, "holdback"), Deposit: rapid.SampledFrom([]journal.Cents{0, 5000_00}).Draw(t, "deposit")}
		switch r.a.Terms.Crediting {
		case ShareOfEach:
			r.a.Terms.DepositShare = 2500
		case FirstFirst:
			r.a.Terms.RefillFloor = r.a.Terms.Deposit / 10
		}
		if rapid.Bool().Draw(t, "days of billing") {
			r.a.Terms.BillDays = []int{1, 15}
		}
		var closings []Closing
		for i, id := range stages {
			r.a.Agreed = append(r.a.Agreed, Charge{Ref: "stage:" + id, Source: Agreement, StageID: id,
				Split: journal.Split{Labour: journal.Cents(rapid.Int64Range(0, 9000_00).Draw(t, "labour")), Parts: journal.Cents(rapid.Int64Range(0, 9000_00).Draw(t, "parts"))}})
			if i > 0 && rapid.Bool().Draw(t, "metered") {
				metered++
				r.a.Metered = append(r.a.Metered, Meter{StageID: id})
				for n := range rapid.IntRange(0, 3).Draw(t, "logged") {
					r.a.Work = append(r.a.Work, Charge{Ref: fmt.Sprint("work:", id, n), Source: LoggedWork, StageID: id,
						Split: journal.Split{Labour: journal.Cents(rapid.Int64Range(1, 5000_00).Draw(t, "work"))}})
				}
			}
			if i > 0 { // act bills all of the first; it counts as closed
				closings = append(closings, Closing{id, rapid.SampledFrom([]journal.Date{"", "2026-03-01", "2026-06-01", "2026-05-01"}).Draw(t, "planned")})
			}
		}
		for range rapid.IntRange(0, 8).Draw(t, "acts") {
			r.act(t)
		}
		if rapid.Bool().Draw(t, "less") {
			r.a.Agreed = append(r.a.Agreed, delta("less", "frame", -journal.Cents(rapid.Int64Range(1, 9000_00).Draw(t, "by"))))
		}
		before := sprint(r.a)
		coming, err := Cash(r.a, closings, "2026-07-01", today)
		if err != nil {
			t.Fatal(err)
		}
		if sprint(r.a) != before {
			t.Fatal("the account was changed")
		}
		var expected, tax, billed journal.Cents
		for _, c := range coming {
			expected += c.Amount
			if c.Kind == ComingBack {
				backs++
			}
			if c.Kind != ComingBilled {
				continue
			}
			if c.Document.Kind == CreditMemo {
				credits++
			}
			var lines []journal.Split
			for _, charge := range c.Document.Charges {
				lines = append(lines, charge.Split)
				billed += charge.Split.Total()
			}
			tax += referenceTax(r.a.Terms.Tax, lines)
		}
		s := StatementOf(r.a)
		if s.Billed+billed != s.Agreed {
			t.Fatalf("billed %s and expected to be billed %s; agreed is %s", s.Billed, billed, s.Agreed)
		}
		if got, want := expected+s.Paid+s.DepositReceived-s.DepositRefunded, s.Agreed+s.Tax+tax; got != want {
			t.Fatalf("expected, paid and the deposit come to %s; agreed with tax is %s\n%+v", got, want, briefly(coming))
		}
		for i, c := range coming {
			if c.Amount < 0 != (c.Kind == ComingBack) {
				t.Fatalf("%+v", c)
			}
			if i > 0 && byDue(coming[i-1].On, c.On) > 0 {
				t.Fatalf("out of order: %+v", briefly(coming))
			}
			for _, charge := range c.Document.Charges {
				if strings.HasPrefix(charge.Ref, restRef) && !c.AtMost {
					t.Fatalf("not said to be at most: %+v", c)
				}
			}
		}
	})
	if !underRace && (metered == 0 || backs == 0 || credits == 0) {
		t.Errorf("%d metered stages, %d sent back, %d credit memos", metered, backs, credits)
	}
}

// A forecast that comes true: deposits paid when asked, stages closed on their
// days, the holdback released. The documents are those that were expected.
func TestCash_ComesTrue(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := Account{Terms: Terms{Crediting: rapid.SampledFrom([]Crediting{ProRata, LastFirst}).Draw(t, "crediting"), Deposit: 3000_00, HoldbackRate: 1000, Tax: anyTax.Draw(t, "tax"), DueDays: 7}}
		var closings []Closing
		for i, id := range []string{"frame", "body", "paint"} {
			a.Agreed = append(a.Agreed, Charge{Ref: "stage:" + id, Source: Agreement, StageID: id,
				Split: journal.Split{Labour: journal.Cents(rapid.Int64Range(1, 9000_00).Draw(t, "labour")), Parts: journal.Cents(rapid.Int64Range(0, 9000_00).Draw(t, "parts"))}})
			closings = append(closings, Closing{id, today.AddDays(10 * (i + 1))})
		}
		coming, err := Cash(a, closings, "2026-07-01", today)
		if err != nil {
			t.Fatal(err)
		}
		var expected []Document
		for _, c := range coming {
			if c.Kind == ComingBilled || c.Kind == ComingRelease {
				expected = append(expected, c.Document)
			}
		}
		a.DepositReceived = DepositAsked(a)
		for _, c := range closings {
			d, ok, err := Next(a, a.Unbilled(c.StageID), c.On, c.StageID)
			if err != nil || !ok {
				t.Fatalf("%v %v", ok, err)
			}
			a.Documents = append(a.Documents, d)
		}
		d, ok, err := Release(a, "2026-07-01")
		if err != nil {
			t.Fatal(err)
		}
		if ok {
			a.Documents = append(a.Documents, d)
		}
		if diff := cmp.Diff(a.Documents, expected); diff != "" {
			t.Fatal(diff)
		}
	})
}
