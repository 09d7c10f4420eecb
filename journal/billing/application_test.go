package billing

import (
	"testing"

	"farbay/journal"
	"pgregory.net/rapid"
)

// sums fails unless the sheet adds up.
func sums(tb rapid.TB, a Application) Application {
	tb.Helper()
	if err := a.Check(); err != nil {
		tb.Fatalf("%v\n%+v", err, a)
	}
	return a
}

// The line identities of government forms hold for any account and period. Each is
// written out here from its source, over the account's own records:
//
//   - University of California, application for payment (Facilities Manual, LF:AP,
//     rev. 2006; docsbay.net/application-for-payment): 3 = 1 +- 2, 6 = 4 - 5,
//     8 = 6 - 7, 9 = balance to finish with retention.
//   - USDA form RD 1924-18 (omb.report/icr/201607-0572-002/doc/66627501): 3 = 1 + 2,
//     6 = 4 completed + 5 stored, 9 = 6 - 7 retainage - 8 previous payments.
//   - Idaho Division of Public Works, request for payment (docest.com/doc/165221):
//     (3) = (1) + (2), (6) = (4) - (5), (8) = (6) - (7); change orders are lines of
//     their own.
//   - US Army Corps of Engineers, ENG form 93 (usaceengineerforms.tpub.com/e93):
//     D = A + B + C, E = earnings to date - D, H = F + G, K = I + J, L = E - H + K,
//     total retained = B + F - I, total paid = C + L. Other deductions (A, G) and
//     refunds (J) do not occur here.
//   - HUD-51001 and 51002 (omb.report/icr/201609-2577-001): additions and deductions
//     in columns of their own.
//   - Instructions for a continuation sheet (contohproposal.jagomart.net/item/32626):
//     previous = what was completed by the application before, without its stored
//     materials; G = D + E + F, H = C - G.
func TestApplication_IdentitiesOfPublishedForms(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := aStory(t).b
		a := sums(t, ApplicationOf(b.Before, b.Now))
		var original, additions, deductions, unused, earned, earnedBefore, held, heldBefore journal.Cents
		for _, c := range b.Now.Agreed {
			switch total := c.Split.Total(); {
			case c.Source == Agreement:
				original += total
			case total > 0:
				additions += total
			default:
				deductions += total
			}
		}
		for i, d := range b.Now.Documents {
			earned += d.Subtotal
			held += d.Holdback
			if i < len(b.Before.Documents) {
				earnedBefore += d.Subtotal
				heldBefore += d.Holdback
			}
		}
		for _, r := range StatementOf(b.Now).Stages {
			unused += r.Unused
		}
		equal := func(what string, got, want journal.Cents) {
			if got != want {
				t.Fatalf("%s: %s; want %s\n%+v", what, got, want, a)
			}
		}
		equal("1", a.Original, original)
		equal("2, with ceilings not needed", a.NetChange(), additions+deductions-unused)
		equal("3 = 1 + 2", a.Sum, a.Original+a.NetChange())
		equal("4", a.Completed, earned)
		equal("5", a.Retainage, held)
		equal("6 = 4 - 5", a.Earned, earned-held)
		equal("8 = 6 - 7", a.Due, a.Earned-(earnedBefore-heldBefore))
		toFinish := journal.Cents(0)
		for _, l := range a.Lines {
			equal("H = C - G of "+l.Ref, l.Balance(), l.Scheduled-l.Previous-l.ThisPeriod-l.Stored)
			toFinish += l.Balance()
			if l.Change != (l.Ref[:5] != "stage") {
				t.Fatalf("%s stands among the wrong lines", l.Ref)
			}
		}
		equal("9", a.Balance, toFinish+held)

		B, C := heldBefore, earnedBefore-heldBefore
		D := B + C
		E := earned - D
		F, I := max(held-heldBefore, 0), max(heldBefore-held, 0)
		H, K := F, I
		L := E - H + K
		equal("ENG 93, L", a.Due, L)
		equal("ENG 93, total retained", a.Retainage, B+F-I)
		equal("ENG 93, total paid", a.Earned, C+L)
		equal("RD 1924-18, 9 = 6 - 7 - 8", a.Due, (a.Completed+0)-a.Retainage-a.Before)

		// What is asked for with the documents of the period, by their own figures.
		var payable journal.Cents
		for _, d := range b.Now.Documents[len(b.Before.Documents):] {
			payable += d.Payable
		}
		equal("asked for", a.Payable, payable)
	})
}

// An application begins, item by item, where the one before ended.
func TestApplication_FollowsTheOneBefore(t *testing.T) {
	followed := 0
	rapid.Check(t, func(t *rapid.T) {
		s := aStory(t)
		middle := s.past[rapid.IntRange(0, len(s.past)-1).Draw(t, "middle")]
		before := sums(t, ApplicationOf(s.past[0], middle))
		after := ApplicationOf(middle, s.past[len(s.past)-1])
		ended := map[string]journal.Cents{}
		for _, l := range before.Lines {
			ended[l.Ref] = l.Completed()
		}
		for _, l := range after.Lines {
			if l.Previous != ended[l.Ref] {
				t.Fatalf("%s was completed to %s, and %s is from previous applications", l.Ref, ended[l.Ref], l.Previous)
			}
			if l.Previous != 0 {
				followed++
			}
			delete(ended, l.Ref)
		}
		for ref, amount := range ended {
			if amount != 0 {
				t.Fatalf("%s with %s is gone from the application after", ref, amount)
			}
		}
		if after.Before != before.Earned {
			t.Fatalf("line 7 is %s; line 6 was %s", after.Before, before.Earned)
		}
	})
	if followed == 0 && !underRace {
		t.Error("nothing was ever completed before")
	}
}

// On a metered stage what is billed fills the items in order; what is left of a
// closed stage's ceiling is a deduction, and the sheet is at 100 %.
func TestApplicationOf_MeteredStage(t *testing.T) {
	a := account(stage("paint", 1_000_00), delta("1", "paint", 500_00))
	a.Metered = []Meter{{StageID: "paint"}}
	before := *a
	a.Work = []Charge{{Ref: "work:1", Source: LoggedWork, StageID: "paint", Split: journal.Split{Labour: 1_200_00}}}
	bill(t, a, "paint")
	lines := sums(t, ApplicationOf(before, *a)).Lines
	same(t, "the value is used up", lines[0].ThisPeriod, 1_000_00)
	same(t, "the change in part", lines[1].ThisPeriod, 200_00)
	a.Metered = []Meter{{StageID: "paint", Closed: true}}
	sheet := sums(t, ApplicationOf(before, *a))
	same(t, "additions", sheet.Additions, 500_00)
	same(t, "deductions", sheet.Deductions, -300_00)
	same(t, "line 9", sheet.Balance, 0)
	for _, l := range sheet.Lines {
		if l.Balance() != 0 {
			t.Errorf("%s has %s left to finish on a closed stage", l.Description, l.Balance())
		}
	}
	a.Documents[0].Charges[0].Split.Labour++
	if ApplicationOf(before, *a).Check() == nil {
		t.Error("a cent more on a document's charge was not noticed")
	}
}

// Every figure of the sheet is tested: changing any one fails.
func TestApplication_CheckFindsEveryFigure(t *testing.T) {
	figures := func(a *Application) map[string]*journal.Cents {
		return map[string]*journal.Cents{
			"1": &a.Original, "additions": &a.Additions, "deductions": &a.Deductions, "3": &a.Sum, "4": &a.Completed, "5": &a.Retainage, "6": &a.Earned,
			"7": &a.Before, "8": &a.Due, "9": &a.Balance, "tax": &a.Tax, "deposit": &a.DepositCredit, "payable": &a.Payable,
			"scheduled": &a.Lines[1].Scheduled, "previous": &a.Lines[1].Previous, "this period": &a.Lines[1].ThisPeriod, "stored": &a.Lines[1].Stored, "retainage": &a.Lines[1].Retainage,
		}
	}
	sheet := sums(t, ApplicationOf(Account{}, *busy(t)))
	for name := range figures(&sheet) {
		altered := ApplicationOf(Account{}, *busy(t))
		*figures(&altered)[name]++
		if altered.Check() == nil {
			t.Errorf("a cent more in %q was not noticed", name)
		}
	}
}

// Records 473485, 940843 and 495044 of the City of Carmel (cocdocs.carmel.in.gov),
// applications 24 to 26: 7,505,000.00 less 467,808.00; retainage fixed at 5 % of
// the contract sum, 351,859.60. Printed are 4 for 25 and 26, the retainage and all
// three payments; 4 for 24 is what they imply, and 6, 7 and 9 are worked by us.
func TestApplication_PublishedFixedRetainage(t *testing.T) {
	for _, tc := range []struct{ number, previous, completed, before, payment, earned, balance string }{
		{"24", "5,964,311.26", "6,265,101.75", "5,612,451.66", "300,790.49", "5,913,242.15", "1,123,949.85"},
		{"25", "6,265,101.75", "6,448,296.27", "5,913,242.15", "183,194.52", "6,096,436.67", "940,755.33"},
		{"26", "6,448,296.27", "6,585,898.78", "6,096,436.67", "137,602.51", "6,234,039.18", "803,152.82"},
	} {
		previous, completed := cents(t, tc.previous), cents(t, tc.completed)
		a := sums(t, NewApplication([]ApplicationLine{
			{Description: "Original contract", Scheduled: cents(t, "7,505,000.00"), Previous: previous, ThisPeriod: completed - previous, Retainage: cents(t, "351,859.60")},
			{Description: "Change orders", Change: true, Scheduled: -cents(t, "467,808.00")},
		}, cents(t, tc.before)))
		same(t, tc.number+", line 1", a.Original, cents(t, "7,505,000.00"))
		same(t, tc.number+", line 2", a.NetChange(), -cents(t, "467,808.00"))
		same(t, tc.number+", line 3", a.Sum, cents(t, "7,037,192.00"))
		same(t, tc.number+", 5 % of line 3", a.Sum.MulDiv(500, 10_000), a.Retainage)
		same(t, tc.number+", line 4", a.Completed, completed)
		same(t, tc.number+", line 6", a.Earned, cents(t, tc.earned))
		same(t, tc.number+", line 8", a.Due, cents(t, tc.payment))
		same(t, tc.number+", line 9", a.Balance, cents(t, tc.balance))
	}
}

// The same contract, records 928549 and 928552: application 33 with net changes of
// (129,895.00) pays 138,170.00, which is 147,955.00 less 9,785.00 held; application
// 39 with (4,237.00) pays 44,867.00. Printed are 2, 3, 4 and the payments; that
// nothing else is held, and so 7, is worked by us.
func TestApplication_PublishedSumsGoUp(t *testing.T) {
	for _, tc := range []struct{ number, change, sum, completed, period, held, payment, balance string }{
		{"33", "-129,895.00", "7,375,105.00", "7,195,226.78", "147,955.00", "9,785.00", "138,170.00", "189,663.22"},
		{"39", "-4,237.00", "7,500,763.00", "7,490,090.35", "44,867.00", "0", "44,867.00", "10,672.65"},
	} {
		completed, period := cents(t, tc.completed), cents(t, tc.period)
		a := sums(t, NewApplication([]ApplicationLine{
			{Scheduled: cents(t, "7,505,000.00"), Previous: completed - period, ThisPeriod: period, Retainage: cents(t, tc.held)},
			{Change: true, Scheduled: cents(t, tc.change)},
		}, completed-period))
		same(t, tc.number+", line 3", a.Sum, cents(t, tc.sum))
		same(t, tc.number+", line 4", a.Completed, completed)
		same(t, tc.number+", line 8", a.Due, cents(t, tc.payment))
		same(t, tc.number+", line 9", a.Balance, cents(t, tc.balance))
	}
}

// Record 752421 of the same city: 947,700.00 and a change order of 45,492.00, all
// completed; application 18 is the release of 10 %, 99,319.20. From our own account
// and as given.
func TestApplication_PublishedRelease(t *testing.T) {
	a := account(stage("all", cents(t, "947,700.00")), delta("1", "all", cents(t, "45,492.00")))
	a.Terms.HoldbackRate = 1000
	bill(t, a, "all")
	before := *a
	release(t, a)
	ours := sums(t, ApplicationOf(before, *a))
	given := sums(t, NewApplication([]ApplicationLine{
		{Scheduled: cents(t, "947,700.00"), Previous: cents(t, "947,700.00")},
		{Change: true, Scheduled: cents(t, "45,492.00"), Previous: cents(t, "45,492.00")},
	}, cents(t, "893,872.80")))
	for name, sheet := range map[string]Application{"ours": ours, "given": given} {
		same(t, name+", line 3", sheet.Sum, cents(t, "993,192.00"))
		same(t, name+", line 4", sheet.Completed, cents(t, "993,192.00"))
		same(t, name+", line 5", sheet.Retainage, 0)
		same(t, name+", line 8", sheet.Due, cents(t, "99,319.20"))
		same(t, name+", line 9", sheet.Balance, 0)
		same(t, name+", with application 17", cents(t, "4,280.05")+sheet.Due, cents(t, "103,599.25"))
		for _, l := range sheet.Lines {
			if l.Share() != whole {
				t.Errorf("%s: an item stands at %d, and is complete", name, l.Share())
			}
		}
	}
}

// Record 928166 of the same city: 112,171.00 invoiced, of which 12,570.75 is open;
// 381.45 stays held and 12,189.30 is paid. That what was open makes up line 7 is
// worked by us.
func TestApplication_PublishedPartialRelease(t *testing.T) {
	var lines []ApplicationLine
	before := journal.Cents(0)
	for _, in := range []struct{ amount, open string }{
		{"9,200.00", "139.75"}, {"78,600.00", "7,860.00"}, {"22,000.00", "2,200.00"}, {"2,371.00", "2,371.00"},
	} {
		amount := cents(t, in.amount)
		lines = append(lines, ApplicationLine{Scheduled: amount, Previous: amount})
		before += amount - cents(t, in.open)
	}
	lines[0].Retainage = cents(t, "381.45")
	a := sums(t, NewApplication(lines, before))
	same(t, "line 4", a.Completed, cents(t, "112,171.00"))
	same(t, "line 7", a.Before, cents(t, "99,600.25"))
	same(t, "line 8", a.Due, cents(t, "12,189.30"))
	same(t, "10 % of the second", lines[1].Scheduled.MulDiv(1000, 10_000), cents(t, "7,860.00"))
	same(t, "10 % of the third", lines[2].Scheduled.MulDiv(1000, 10_000), cents(t, "2,200.00"))
}

// Record 925719 of the same city: 10 % retained of each application, rounded one by
// one, makes 71,255.49; held on the running total as ours is, 71,255.50. The sheet
// takes either, and they differ in that one cent.
func TestApplication_PublishedRetainageRoundedEachTime(t *testing.T) {
	var lines []ApplicationLine
	ours := account()
	ours.Terms.HoldbackRate = 1000
	for i, p := range []struct{ invoice, retained string }{
		{"94,313.33", "9,431.33"}, {"172,644.44", "17,264.44"}, {"58,588.89", "5,858.89"},
		{"27,432.22", "2,743.22"}, {"118,846.10", "11,884.61"}, {"240,730.01", "24,073.00"},
	} {
		amount, id := cents(t, p.invoice), string(rune('a'+i))
		lines = append(lines, ApplicationLine{Scheduled: amount, ThisPeriod: amount, Retainage: cents(t, p.retained)})
		ours.Agreed = append(ours.Agreed, stage(id, amount))
		bill(t, ours, id)
	}
	printed, running := sums(t, NewApplication(lines, 0)), sums(t, ApplicationOf(Account{}, *ours))
	same(t, "line 4, printed", printed.Completed, cents(t, "712,554.99"))
	same(t, "line 4, ours", running.Completed, cents(t, "712,554.99"))
	same(t, "line 5, printed", printed.Retainage, cents(t, "71,255.49"))
	same(t, "line 5, ours", running.Retainage, cents(t, "71,255.50"))
	same(t, "line 6, printed", printed.Earned, cents(t, "641,299.50"))
	same(t, "line 6, ours", running.Earned, cents(t, "641,299.49"))
}

// bizfluent.com/info-10043589: 10 % of 225,000 is 22,500, which leaves 202,500.
// legalclarity.org, on progress payments: 20 % completed of 5,000,000 is 1,000,000.
func TestApplication_PublishedSingleSteps(t *testing.T) {
	a := sums(t, NewApplication([]ApplicationLine{{Scheduled: cents(t, "225,000"), ThisPeriod: cents(t, "225,000"), Retainage: cents(t, "22,500")}}, 0))
	same(t, "receivable", a.Due, cents(t, "202,500"))
	l := ApplicationLine{Scheduled: cents(t, "5,000,000"), ThisPeriod: cents(t, "1,000,000")}
	if l.Share() != 2000 {
		t.Errorf("1,000,000 of 5,000,000 is %d", l.Share())
	}
}

// Materials stored are a balance reckoned anew, never carried into what is
// completed (RD 1924-18, field instructions, omb.report/icr/200806-0572-001: "the
// amount reflective at the end of this payment period"). The figures are our own.
func TestApplication_StoredMaterialsAreABalance(t *testing.T) {
	first := sums(t, NewApplication([]ApplicationLine{{Scheduled: 1_000_00, ThisPeriod: 200_00, Stored: 300_00}}, 0))
	second := sums(t, NewApplication([]ApplicationLine{{Scheduled: 1_000_00, Previous: 200_00, ThisPeriod: 250_00, Stored: 50_00}}, first.Earned))
	same(t, "first, line 4", first.Completed, 500_00)
	same(t, "second, line 4", second.Completed, 500_00)
	same(t, "second, line 8", second.Due, 0)
}
