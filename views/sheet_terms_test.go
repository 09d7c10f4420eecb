package views

import (
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// meteredSheets are frozen papers about stages by time and materials, with every
// term that an agreement can have.
func meteredSheets() map[string]signoff.Sheet {
	agreed := func(fill func(*signoff.Sheet, *signoff.SheetAgreement)) signoff.Sheet {
		return sheetOf(signoff.BuildAgreement, "Restoration of Heron", func(s *signoff.Sheet) {
			s.Photos, s.AgreedBefore, s.TotalBefore, s.AgreedAfter, s.TotalAfter, s.DateBefore = []signoff.SheetPhoto{}, 0, 0, 900000, 925000, ""
			s.Delta, s.DeltaTax, s.DeltaWithTax = 900000, 25000, 925000
			a := &signoff.SheetAgreement{Deposit: 100000, Crediting: "pro rata", HoldbackRate: 500, DueDays: 14, Stages: []signoff.SheetAgreed{
				{ID: "s1", Name: "Teardown", Value: signoff.SheetSplit{Labour: 500000}, Days: 8},
				{ID: "s2", Name: "Mechanical", Value: signoff.SheetSplit{Labour: 100000, Parts: 300000}, Days: 30, Metered: true}}}
			fill(s, a)
			s.Agreement, s.Notices = a, a.Notices()
		})
	}
	return map[string]signoff.Sheet{
		"metered": agreed(func(s *signoff.Sheet, a *signoff.SheetAgreement) {
			a.HoldbackLimit = &signoff.SheetLimit{Name: "California, private works", OfPayment: 500, OfPrice: 500}
			a.MarkUp, a.BillDays, a.LateAsks, a.Transport, a.DeliverTo = 1250, []int{1, 15, 22}, true, string(billing.ShopSends), "Oregon"
		}),
		"metered-untaxed": agreed(func(s *signoff.Sheet, a *signoff.SheetAgreement) {
			a.Stages[0].Metered = true
			a.HoldbackLimit = &signoff.SheetLimit{Name: "Federal, construction", OfPayment: 1000}
			a.DeliverTo = "Norway"
			s.TaxRates, s.DeltaTax, s.DeltaWithTax, s.TotalAfter = []signoff.SheetRate{}, 0, 900000, 900000
		}),
		"metered-teardown": sheetOf(signoff.Teardown, "Taking Heron apart", func(s *signoff.Sheet) {
			s.Stage = signoff.SheetStage{ID: "s1", Name: "Teardown", Metered: true}
			s.Teardown = &signoff.SheetTeardown{Cost: 420000, CostWithTax: 428400, Destroyed: []string{"Gaskets"}}
		}),
		"metered-change": sheetOf(signoff.ChangeOrder, "Harder than thought", func(s *signoff.Sheet) {
			s.Stage = signoff.SheetStage{ID: "s2", Name: "Mechanical", Metered: true}
			s.Lines = []signoff.SheetLine{{Kind: journal.Labour, Text: "Line-bore the block", Minutes: 600, Rate: 9500, Amount: 95000}}
			s.Delta, s.DeltaWithTax, s.AgreedAfter, s.TotalAfter = 95000, 95000, s.AgreedBefore+95000, s.TotalBefore+95000
		}),
	}
}

// saidOfMetered is what stands of them on the page and in print alike.
func saidOfMetered() map[string][]string {
	return map[string][]string{
		"metered": {
			"up to $4,000.00", "by time and materials", "Before tax, at most", "$9,000.00", "The whole build, with tax", "$9,250.00", "Terms of payment, and transport",
			"A stage with a fixed price", "You pay the hours, parts and outside work logged, never more than $4,000.00 for Mechanical, before tax, unless you sign a change order.",
			"charged at what the shop paid for them, with a mark-up of 12.5 %.", "billed on the 1st, 15th and 22nd of each month, and when the stage closes.",
			"5 % of what is billed before tax, until delivery is accepted; never more than 5 % of an invoice, and 5 % of the agreed price in all, before tax, the limit chosen (California, private works)",
			"on a stage by time and materials it goes by what is logged", "While an invoice is late, the next stage opens only after the office has confirmed it.",
			"The shop delivers it or sends it with a carrier, to Oregon", "and for the work logged on stages by time and materials, on the days of the month that this agreement names.",
		},
		"metered-untaxed": {
			"The whole build at most", "The build comes to at most", "never more than $5,000.00 for Teardown and $4,000.00 for Mechanical, before tax, unless you sign a change order.",
			"at what the shop paid for them. What is logged is billed when the stage closes.", "never more than 10 % of an invoice before tax, the limit chosen (Federal, construction)",
			"to Norway; who brings the truck there is not settled", "No stage is billed before it is closed, but for a deposit where this agreement names one.",
		},
		"metered-teardown": {"up to $4,200.00 before tax, by time and materials. It is part of the agreement, not added to it."},
		"metered-change":   {"Mechanical goes by time and materials: this moves the most it may cost, and you pay what is logged."},
	}
}

// What is not agreed is not spoken of, and one that is agreed at a fixed price
// alone says nothing of hours.
func TestSheet_LeavesOutWhatIsNotAgreed(t *testing.T) {
	set := mustNew(t)
	plain := render(t, set, paperOfKind("agreement"))
	for _, text := range []string{"time and materials", ">up to $", "at most", "mark-up", "late", "Transport", "limit"} {
		if strings.Contains(plain, text) {
			t.Errorf("the agreement on fixed prices says %q", text)
		}
	}
	all := render(t, set, paperOf(meteredSheets()["metered-untaxed"]))
	for _, text := range []string{"is billed when it closes, at its value", "mark-up", "of each month", "A late invoice"} {
		if strings.Contains(all, text) {
			t.Errorf("the agreement without a fixed price says %q", text)
		}
	}
}

// What signing does is said in half a sentence too, in lists and letters. With tax
// only the sum before it is bounded, for it goes by what is logged.
func TestSheetView_ChangeOfMetered(t *testing.T) {
	for name, want := range map[string]string{
		"metered":          "up to $9,000.00 before tax, ready on 24 September",
		"metered-untaxed":  "up to $9,000.00, ready on 24 September",
		"metered-teardown": "leave to take the truck apart, at up to $4,200.00 before tax",
		"metered-change":   "+ $950.00, same date",
	} {
		view := must(givenWords.OfSheet(meteredSheets()[name], givenHash))
		if said := strings.ReplaceAll(must(view.Change()), "\u00a0", " "); said != want {
			t.Errorf("%s: %q, want %q", name, said, want)
		}
	}
	view := must(givenWords.OfSheet(meteredSheets()["metered"], givenHash))
	if said := must(view.Done()); said != "Heron is agreed at up to $9,000.00 before tax, and is to be ready on 24 September." {
		t.Errorf("once signed: %q", said)
	}
}

func TestMonthDays(t *testing.T) {
	var all []int
	for day := 1; day <= 28; day++ {
		all = append(all, day)
	}
	// Ordinal numbers as English grammars have them; common knowledge, no source.
	want := "1st, 2nd, 3rd, 4th, 5th, 6th, 7th, 8th, 9th, 10th, 11th, 12th, 13th, 14th, 15th, 16th, 17th, 18th, 19th, 20th, 21st, 22nd, 23rd, 24th, 25th, 26th, 27th and 28th"
	if said := MonthDays(all); said != want {
		t.Errorf("the days are %q", said)
	}
}
