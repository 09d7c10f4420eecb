package billing

import (
	"testing"

	"farbay/journal"
)

// The figures here are from filed applications for payment of the City of
// Carmel, Indiana (cocdocs.carmel.in.gov), read from scans; each test names the
// record.

// Records 940843 and 495044, applications 25 and 26: original 7,505,000.00 less
// deductive change orders of 467,808.00; 6,448,296.27 completed, then
// 6,585,898.78; the cheque for application 26 was 137,602.51. Their retainage
// was 5 % of the contract sum, 351,859.60, not of the work completed, so no
// holdback rate of ours may produce it by accident.
func TestPublished_DeductiveChangeOrders(t *testing.T) {
	app25 := cents(t, "6,448,296.27")
	app26 := cents(t, "137,602.51")
	rest := cents(t, "7,505,000.00") - app25 - app26
	a := account(stage("25", app25), stage("26", app26), stage("rest", rest), delta("net", "rest", -cents(t, "467,808.00")))

	s := adds(t, *a)
	same(t, "contract sum to date", s.Agreed, cents(t, "7,037,192.00"))
	same(t, "5 % of the contract sum", s.Agreed.MulDiv(500, 10_000), cents(t, "351,859.60"))

	bill(t, a, "25")
	d := bill(t, a, "26")
	same(t, "cheque for application 26", d.Payable, cents(t, "137,602.51"))
	same(t, "completed", StatementOf(*a).Billed, cents(t, "6,585,898.78"))
	if byRate := StatementOf(*a).Billed.MulDiv(500, 10_000); byRate == cents(t, "351,859.60") {
		t.Errorf("5 %% of work completed must differ from 5 %% of the contract sum, and is %s", byRate)
	}
}

// The same records, applications 33 and 39: additions raise the sum again.
func TestPublished_ChangeOrdersAddedLater(t *testing.T) {
	a := account(stage("all", cents(t, "7,505,000.00")), delta("net", "all", -cents(t, "467,808.00")))
	a.Agreed = append(a.Agreed, delta("to 33", "all", cents(t, "467,808.00")-cents(t, "129,895.00")))
	same(t, "application 33, sum", adds(t, *a).Agreed, cents(t, "7,375,105.00"))
	a.Agreed = append(a.Agreed, delta("to 39", "all", cents(t, "129,895.00")-cents(t, "4,237.00")))
	same(t, "application 39, sum", adds(t, *a).Agreed, cents(t, "7,500,763.00"))
}

// Record 752421: 947,700.00 and a change order of 45,492.00 make 993,192.00, all
// completed; 10 % retainage of 99,319.20 is released and paid in one cheque of
// 103,599.25 with the 4,280.05 of application 17.
//
// The second half runs it through the lines of ENG Form 93 of the US Army Corps
// of Engineers (usaceengineerforms.tpub.com/e93/e930001.htm): L = E - H + K,
// total retained = B + F - I, total paid = C + L. A = 0, B = 99,319.20,
// C = 893,872.80, E = 0, F = G = 0, I = 99,319.20 are our derivation.
func TestPublished_RetainageReleased(t *testing.T) {
	a := account(stage("all", cents(t, "947,700.00")), delta("1", "all", cents(t, "45,492.00")))
	a.Terms.HoldbackRate = 1000
	same(t, "agreed", adds(t, *a).Agreed, cents(t, "993,192.00"))
	invoice := bill(t, a, "all")
	same(t, "B, held back", StatementOf(*a).HeldBack, cents(t, "99,319.20"))
	pay(t, a, invoice.ID, invoice.Payable)
	same(t, "C, paid before", StatementOf(*a).Paid, cents(t, "893,872.80"))

	d := release(t, a)
	same(t, "L = E - H + K", d.Payable, cents(t, "99,319.20"))
	same(t, "the cheque, with application 17", cents(t, "4,280.05")+d.Payable, cents(t, "103,599.25"))
	pay(t, a, d.ID, d.Payable)
	s := StatementOf(*a)
	same(t, "B + F - I", s.HeldBack, 0)
	same(t, "C + L", s.Paid, cents(t, "993,192.00"))
	same(t, "due", s.Due, 0)
}

// Record 928166: invoices of 9,200.00, 78,600.00, 22,000.00 and 2,371.00 with
// open balances of 139.75, 7,860.00, 2,200.00 and 2,371.00; a payment of
// 12,189.30 leaves 381.45.
func TestPublished_OpenBalances(t *testing.T) {
	invoices := []struct{ amount, open string }{
		{"9,200.00", "139.75"}, {"78,600.00", "7,860.00"}, {"22,000.00", "2,200.00"}, {"2,371.00", "2,371.00"},
	}
	a := account()
	for i, in := range invoices {
		id := string(rune('a' + i))
		a.Agreed = append(a.Agreed, stage(id, cents(t, in.amount)))
		d := bill(t, a, id)
		if paid := cents(t, in.amount) - cents(t, in.open); paid > 0 {
			pay(t, a, d.ID, paid)
		}
	}
	s := StatementOf(*a)
	same(t, "invoiced", s.Billed, cents(t, "112,171.00"))
	same(t, "open", s.Due, cents(t, "12,570.75"))
	left := cents(t, "12,189.30")
	for i, b := range Open(*a) {
		same(t, "open on "+b.Document.ID, b.Open, cents(t, invoices[i].open))
		amount := min(b.Open, left)
		pay(t, a, b.Document.ID, amount)
		left -= amount
	}
	same(t, "still held by the city", StatementOf(*a).Due, cents(t, "381.45"))
}

// Record 925719: 10 % retained from each of six applications, as printed. Each
// rounded by itself they come to 71,255.49; 10 % of the running total is
// 71,255.499, rounded 71,255.50. Ours is the running total, and no document is
// more than a cent off the printed one.
func TestPublished_SumOfRoundedIsNotRoundedSum(t *testing.T) {
	printed := []struct{ invoice, retained string }{
		{"94,313.33", "9,431.33"}, {"172,644.44", "17,264.44"}, {"58,588.89", "5,858.89"},
		{"27,432.22", "2,743.22"}, {"118,846.10", "11,884.61"}, {"240,730.01", "24,073.00"},
	}
	a := account()
	a.Terms.HoldbackRate = 1000
	var alone journal.Cents
	for i, p := range printed {
		amount, retained := cents(t, p.invoice), cents(t, p.retained)
		same(t, "10 % of "+p.invoice, amount.MulDiv(1000, 10_000), retained)
		alone += retained
		id := string(rune('a' + i))
		a.Agreed = append(a.Agreed, stage(id, amount))
		d := bill(t, a, id)
		if off := d.Holdback - retained; off < -1 || off > 1 {
			t.Errorf("invoice of %s holds %s; printed %s", p.invoice, d.Holdback, p.retained)
		}
	}
	same(t, "sum of the invoices", StatementOf(*a).Billed, cents(t, "712,554.99"))
	same(t, "sum of the rounded", alone, cents(t, "71,255.49"))
	same(t, "rounded sum", StatementOf(*a).HeldBack, cents(t, "71,255.50"))
	same(t, "released", release(t, a).Payable, cents(t, "71,255.50"))
}

// bizfluent.com/info-10043589: 10 % retention of 225,000 is 22,500, leaving
// 202,500. California Civil Code section 8811 caps retention at 5 % of each
// payment and of the price: of 20,000.00 that is 1,000.00, of 125,000.00
// 6,250.00 (worked by us from the cap).
func TestPublished_SingleSteps(t *testing.T) {
	for _, tc := range []struct {
		amount, held string
		rate         journal.BasisPoints
	}{{"225,000", "22,500", 1000}, {"20,000.00", "1,000.00", 500}, {"125,000.00", "6,250.00", 500}} {
		a := account(stage("one", cents(t, tc.amount)))
		a.Terms.HoldbackRate = tc.rate
		d := bill(t, a, "one")
		same(t, "held of "+tc.amount, d.Holdback, cents(t, tc.held))
		same(t, "left of "+tc.amount, d.Payable, cents(t, tc.amount)-cents(t, tc.held))
	}
}

// California Civil Code section 8811, contracts from 2026: at most 5 % of each
// payment and 5 % of the contract price. The figures are worked by us from it, now
// through the limit: 1,000.00 of a payment of 20,000.00, 6,250.00 of a price of
// 125,000.00, however it is billed; a cent that rounding would hold beyond it is not.
func TestPublished_LimitOnHoldback(t *testing.T) {
	a := account(stage("one", cents(t, "20,000.00")), stage("two", cents(t, "80,000.10")), stage("three", cents(t, "24,999.90")))
	a.Terms.HoldbackRate, a.Terms.HoldbackCap = 500, Limits[0].Name
	same(t, "price", adds(t, *a).Agreed, cents(t, "125,000.00"))
	same(t, "of the first payment", bill(t, a, "one").Holdback, cents(t, "1,000.00"))
	// 5 % of 80,000.10 are 4,000.005: half away would be 4,000.01.
	same(t, "of the second payment", bill(t, a, "two").Holdback, cents(t, "4,000.00"))
	bill(t, a, "three")
	if held := StatementOf(*a).HeldBack; held > cents(t, "6,250.00") || held < cents(t, "6,249.99") {
		t.Errorf("%s is held of 125,000.00", held)
	}
	a.Terms.HoldbackRate = 501
	if err := a.Terms.Validate(); journal.CodeOf(err) != journal.Invalid {
		t.Errorf("5.01 %%: %v", err)
	}
}

// FAR 32.503-10(b)(3) (GSA repository, dita/32.503-10.dita): price 2,200,000, cost
// 2,000,000. Progress payments of 85 % of the cost make a rate of 77.3 % of the
// price, of 80 % one printed as 72.7. By (b)(4) tenths are rounded up: 77.2727 makes
// 77.3, as printed, and 72.7272 makes 72.8, so the printed 72.7 is a misprint, or
// the nearest tenth. Half away gives 77.3 and 72.7, so it is no substitute for
// rounding up.
//
// Credited by such a share of each delivery, the misprint leaves 600.00 of the
// advance over, which the last one takes; the rate of the rule uses it up before.
// The four deliveries are our own.
func TestPublished_LiquidationRate(t *testing.T) {
	price, cost := cents(t, "2,200,000.00"), cents(t, "2,000,000.00")
	up := func(advance journal.Cents) int64 { return int64((advance*1000 + price - 1) / price) } // tenths of a per cent
	for _, tc := range []struct {
		of               journal.BasisPoints
		byRule, halfAway int64
		share            journal.BasisPoints
		credits          []string
	}{
		{8500, 773, 773, 7730, []string{"425,150.00", "425,150.00", "425,150.00", "424,550.00"}},
		{8000, 728, 727, 7280, []string{"400,400.00", "400,400.00", "400,400.00", "398,800.00"}},
		{8000, 728, 727, 7270, []string{"399,850.00", "399,850.00", "399,850.00", "400,450.00"}},
	} {
		advance := cost.MulDiv(int64(tc.of), 10_000)
		if got := up(advance); got != tc.byRule {
			t.Errorf("tenths rounded up: %d; want %d", got, tc.byRule)
		}
		if got := journal.Cents(1000).MulDiv(int64(advance), int64(price)); int64(got) != tc.halfAway {
			t.Errorf("the nearest tenth: %d; want %d", got, tc.halfAway)
		}
		quarter := price / 4
		a := agreedOf(Terms{Deposit: advance, Crediting: ShareOfEach, DepositShare: tc.share}, advance, quarter, quarter, quarter, quarter)
		var want []journal.Cents
		for _, s := range tc.credits {
			want = append(want, cents(t, s))
		}
		equalCents(t, FormatRate(tc.share)+" % of each", billEach(t, a, quarter, quarter, quarter, quarter), want)
		same(t, "left of the advance", StatementOf(*a).DepositUnearned, 0)
	}
}
