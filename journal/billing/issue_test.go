package billing

import (
	"strings"
	"testing"

	"farbay/journal"
)

// All figures in this file are worked by us from the rules of the package
// comment; crediting deposits and holding back is common practice, no source.

func TestNext_StageWithChangesTaxHoldbackAndDeposit(t *testing.T) {
	a := account(
		Charge{Ref: "stage:frame", Source: Agreement, StageID: "frame", Text: "Frame", Split: journal.Split{Labour: 6_000_00, Parts: 4_000_00}},
		delta("7", "frame", -500_00),
		stage("paint", 10_500_00),
	)
	a.Terms = Terms{Crediting: ProRata, HoldbackRate: 500, Tax: Tax{Parts: 625}, DueDays: 14}
	a.DepositReceived = 5_000_00

	d := bill(t, a, "frame")
	same(t, "subtotal", d.Subtotal, 9_500_00)
	same(t, "tax: 6.25 % of 4,000.00 of parts", d.Tax, 250_00)
	same(t, "holdback: 5 % before tax", d.Holdback, 475_00)
	same(t, "deposit: 5,000.00 x 9,500 / 20,000", d.DepositCredit, 2_375_00)
	same(t, "payable", d.Payable, 9_500_00+250_00-475_00-2_375_00)
	if d.Kind != Invoice || d.IssuedOn != today || d.DueOn != "2026-04-28" || d.ClosesStageID != "frame" || len(d.Charges) != 2 {
		t.Errorf("document: %+v", d)
	}
	// Everything billed: the whole deposit is credited, to the cent.
	d = bill(t, a, "paint")
	same(t, "the rest of the deposit", d.DepositCredit, 2_625_00)
	s := StatementOf(*a)
	same(t, "covered", s.Covered, 5_000_00)
	same(t, "unearned", s.DepositUnearned, 0)
	same(t, "to bill", s.ToBill, 0)
}

func TestNext_OnlyOnceAndOnlyWhatIsAgreed(t *testing.T) {
	a := account(stage("frame", 1000), stage("paint", 2000), stage("free", 0))
	refs := a.Unbilled("frame")
	bill(t, a, "frame")
	for _, tc := range []struct {
		name string
		refs []string
		say  string
	}{
		{"closed twice", refs, "billed already"},
		{"along with something new", []string{"stage:paint", "stage:frame"}, "billed already"},
		{"never agreed", []string{"paper:unsigned"}, "agreed"},
		{"named twice", []string{"stage:paint", "stage:paint"}, "twice"},
	} {
		d, ok, err := Next(*a, tc.refs, today, "")
		if ok || journal.CodeOf(err) != journal.Conflict || len(d.Charges) != 0 {
			t.Errorf("%s: %+v, %v, %v; want a Conflict", tc.name, d, ok, err)
		}
		if m := journal.MessageOf(err); !strings.Contains(m, tc.say) || !strings.HasSuffix(m, ".") {
			t.Errorf("%s: %q", tc.name, m)
		}
	}
	for name, refs := range map[string][]string{"no charges": nil, "only charges of zero": {"stage:free"}} {
		if d, ok, err := Next(*a, refs, today, "free"); ok || err != nil {
			t.Errorf("%s: %+v, %v, %v; want nothing to bill", name, d, ok, err)
		}
	}
	if _, _, err := Next(*a, []string{"stage:paint"}, "", ""); journal.CodeOf(err) != journal.Invalid {
		t.Errorf("no day: %v", err)
	}
	a.Terms.HoldbackRate = 10_100
	if _, _, err := Next(*a, []string{"stage:paint"}, today, ""); journal.CodeOf(err) != journal.Invalid {
		t.Errorf("terms with a rate of 101 %%: %v", err)
	}
}

// A stage dropped before it began: value and change cancel out, and the owner
// gets a document that shows both.
func TestNext_ChargesThatCancelOut(t *testing.T) {
	a := account(stage("top", 3000), delta("1", "top", -3000))
	d := bill(t, a, "top")
	if d.Kind != Invoice || d.Payable != 0 || len(d.Charges) != 2 {
		t.Errorf("%+v", d)
	}
	if left := a.Unbilled(); left != nil {
		t.Errorf("left to bill: %v", left)
	}
}

// A negative change on a closed stage is a credit memo: tax and holdback go
// back, the deposit's credit stays, and the oldest open invoice shrinks.
func TestNext_CreditMemo(t *testing.T) {
	a := account(stage("frame", 10_000_00), stage("paint", 10_000_00))
	a.Terms = Terms{Crediting: ProRata, HoldbackRate: 1000, Tax: Tax{Labour: 500}}
	a.DepositReceived = 2_000_00
	invoice := bill(t, a, "frame")
	same(t, "deposit credited", invoice.DepositCredit, 1_000_00)

	a.Agreed = append(a.Agreed, delta("9", "frame", -4_000_00))
	memo := bill(t, a, "frame")
	same(t, "memo, subtotal", memo.Subtotal, -4_000_00)
	same(t, "memo, tax", memo.Tax, -200_00)
	same(t, "memo, holdback", memo.Holdback, -400_00)
	same(t, "memo, deposit", memo.DepositCredit, 0)
	same(t, "memo, payable", memo.Payable, -3_800_00)
	if memo.Kind != CreditMemo || memo.DueOn != "" {
		t.Errorf("memo: %+v", memo)
	}
	open := Open(*a)
	same(t, "invoice, credited", open[0].Credited, 3_800_00)
	same(t, "memo, used up", open[1].Open, 0)
	same(t, "due", StatementOf(*a).Due, invoice.Payable-3_800_00)
	// 2,000 x 16,000 / 16,000 at the end: all of the deposit, 1,000 more.
	same(t, "the rest of the deposit", bill(t, a, "paint").DepositCredit, 1_000_00)
}

// Credited to date stands above the new target when the agreed total rises: the
// next invoices credit nothing until it is caught up, and never less than zero.
func TestDeposit_NoClawBackWhenTheTotalRises(t *testing.T) {
	a := account(stage("a", 500_00), stage("b", 500_00))
	a.DepositReceived = 600_00
	same(t, "half of it", bill(t, a, "a").DepositCredit, 300_00)
	a.Agreed = append(a.Agreed, stage("c", 9_000_00))
	same(t, "600 x 1,000 / 10,000 is less than 300", bill(t, a, "b").DepositCredit, 0)
	same(t, "the rest, at the end", bill(t, a, "c").DepositCredit, 300_00)
}

func TestDeposit_WhenTheTotalFalls(t *testing.T) {
	a := account(stage("a", 500_00), stage("b", 9_500_00))
	a.DepositReceived = 1_000_00
	same(t, "a twentieth", bill(t, a, "a").DepositCredit, 50_00)
	a.Agreed = append(a.Agreed, delta("1", "b", -9_300_00))
	d := bill(t, a, "b")
	same(t, "all that is left, as far as the invoice goes", d.DepositCredit, 200_00)
	same(t, "payable", d.Payable, 0)
	s := StatementOf(*a)
	same(t, "unearned", s.DepositUnearned, 750_00)
	if err := CheckDepositRefund(*a, 750_01); journal.CodeOf(err) != journal.Invalid {
		t.Errorf("a cent too much sent back: %v", err)
	}
	if err := CheckDepositRefund(*a, 750_00); err != nil {
		t.Errorf("what is unearned sent back: %v", err)
	}
	a.DepositRefunded = 750_00
	same(t, "unearned after the refund", adds(t, *a).DepositUnearned, 0)
	if err := CheckDepositRefund(*a, 0); journal.CodeOf(err) != journal.Invalid {
		t.Errorf("nothing sent back: %v", err)
	}
}

// The agreed total is below what is billed, its credit memo not written yet:
// the target is the whole deposit, not more.
func TestDeposit_BilledAboveAgreed(t *testing.T) {
	a := account(stage("a", 1_000_00), stage("b", 100_00))
	a.DepositReceived = 500_00
	same(t, "500 x 1,000 / 1,100, half away", bill(t, a, "a").DepositCredit, 454_55)
	a.Agreed = append(a.Agreed, delta("1", "a", -5_000_00))
	same(t, "the rest", bill(t, a, "b").DepositCredit, 45_45)
	memo := bill(t, a, "a")
	same(t, "memo, deposit", memo.DepositCredit, 0)
	s := StatementOf(*a)
	same(t, "billed", s.Billed, -3_900_00)
	same(t, "due: all in the owner's favour", s.Due, -3_900_00-500_00)
}

// A deposit that came in late catches up; one that bounced after it was
// credited is owed again, and nothing more is credited from it.
func TestDeposit_LateAndBounced(t *testing.T) {
	a := account(stage("a", 100_00), stage("b", 100_00), stage("c", 200_00))
	same(t, "nothing received", bill(t, a, "a").DepositCredit, 0)
	a.DepositReceived = 40_00
	same(t, "40 x 200 / 400", bill(t, a, "b").DepositCredit, 20_00)
	a.DepositReceived = 0
	same(t, "nothing left", bill(t, a, "c").DepositCredit, 0)
	same(t, "owed again", StatementOf(*a).DepositUnearned, -20_00)
}

// A deposit larger than the build covers the holdback too, when it is released.
func TestRelease_CoveredByDeposit(t *testing.T) {
	a := account(stage("a", 1_000_00))
	a.Terms.HoldbackRate = 1000
	a.DepositReceived = 1_040_00
	d := bill(t, a, "a")
	same(t, "covered", d.DepositCredit, 900_00)
	same(t, "payable", d.Payable, 0)
	r := release(t, a)
	same(t, "released", r.Holdback, -100_00)
	same(t, "covered at release", r.DepositCredit, 100_00)
	same(t, "payable at release", r.Payable, 0)
	same(t, "left to refund", StatementOf(*a).DepositUnearned, 40_00)
	if r.Kind != HoldbackRelease || r.Total() != 0 {
		t.Errorf("release: %+v", r)
	}
}

func TestRelease_OnceAndNothingHeldAfter(t *testing.T) {
	a := account(stage("a", 1_000_00), stage("late", 500_00))
	a.Terms.HoldbackRate = 500
	if d, ok, err := Release(*a, today); ok || err != nil {
		t.Errorf("nothing held: %+v, %v, %v", d, ok, err)
	}
	bill(t, a, "a")
	same(t, "released", release(t, a).Payable, 50_00)
	if _, ok, err := Release(*a, today); ok || err != nil {
		t.Errorf("released twice: %v, %v", ok, err)
	}
	same(t, "held of work after the release", bill(t, a, "late").Holdback, 0)
	a.Agreed = append(a.Agreed, delta("1", "a", -200_00))
	same(t, "held of a credit after the release", bill(t, a, "a").Holdback, 0)
	if _, _, err := Release(*a, ""); journal.CodeOf(err) != journal.Invalid {
		t.Errorf("no day: %v", err)
	}
}

// The running total never holds more than a document comes to, nor gives back
// with an invoice, even when untaxed labour and taxed parts move against each
// other; what a limit cuts off comes with the next document that can bear it.
func TestHoldback_Limits(t *testing.T) {
	a := account(stage("a", 10_000_00))
	a.Terms = Terms{Crediting: ProRata, HoldbackRate: 10_000, Tax: Tax{Parts: 10_000}}
	same(t, "100 % held", bill(t, a, "a").Holdback, 10_000_00)
	for i, tc := range []struct {
		why             string
		labour, parts   journal.Cents
		kind            DocumentKind
		total, holdback journal.Cents
	}{
		{"-40 before tax, and an invoice gives nothing back", -100_00, 60_00, Invoice, 20_00, 0},
		{"+45 before tax: 5 to hold, and a credit memo holds nothing", 100_00, -55_00, CreditMemo, -10_00, 0},
		{"+70 before tax: 75 to hold, of a total of 10", 130_00, -60_00, Invoice, 10_00, 10_00},
		{"-130 before tax: 65 less to hold, of a total of -60", -200_00, 70_00, CreditMemo, -60_00, -60_00},
		{"500 before tax: 495 to hold", 0, 500_00, Invoice, 1000_00, 495_00},
	} {
		id := string(rune('1' + i))
		a.Agreed = append(a.Agreed, Charge{Ref: "paper:" + id, Source: ChangeOrder, StageID: "a", Split: journal.Split{Labour: tc.labour, Parts: tc.parts}})
		d := bill(t, a, "a")
		if d.Kind != tc.kind {
			t.Errorf("%s: a %s", tc.why, d.Kind)
		}
		same(t, tc.why+": total", d.Total(), tc.total)
		same(t, tc.why, d.Holdback, tc.holdback)
	}
	s := StatementOf(*a)
	same(t, "held in the end", s.HeldBack, s.Billed)
}

func TestCancel_MirrorsAndFrees(t *testing.T) {
	a := account(stage("a", 3_333_33), stage("b", 6_666_67))
	a.Terms = Terms{Crediting: ProRata, HoldbackRate: 333, Tax: Tax{Labour: 625}}
	a.DepositReceived = 1_000_00
	invoice := bill(t, a, "a")
	pay(t, a, invoice.ID, 100_00)
	memo := cancel(t, a, invoice.ID)
	if memo.Kind != CreditMemo || memo.Cancels != invoice.ID || memo.ClosesStageID != "" {
		t.Errorf("memo: %+v", memo)
	}
	same(t, "payable", memo.Payable, -invoice.Payable)
	s := StatementOf(*a)
	same(t, "billed", s.Billed, 0)
	same(t, "tax", s.Tax, 0)
	same(t, "held back", s.HeldBack, 0)
	same(t, "covered", s.Covered, 0)
	same(t, "due: the payment is in the owner's favour", s.Due, -100_00)

	again := bill(t, a, "a")
	same(t, "billed again, the same", again.Payable, invoice.Payable)
	same(t, "open on it: the payment counts", Open(*a)[2].Open, again.Payable-100_00)

	for name, id := range map[string]string{"cancelled already": invoice.ID, "no invoice": memo.ID} {
		if _, err := Cancel(*a, id, today); journal.CodeOf(err) != journal.Conflict {
			t.Errorf("%s: %v; want a Conflict", name, err)
		}
	}
	for _, id := range []string{"", "of another build"} {
		if _, err := Cancel(*a, id, today); journal.CodeOf(err) != journal.NotFound {
			t.Errorf("%q: %v; want NotFound", id, err)
		}
	}
	if _, err := Cancel(*a, again.ID, ""); journal.CodeOf(err) != journal.Invalid {
		t.Errorf("no day: %v", err)
	}
}

// Holdback that was released is not given back twice: the memo is then the
// whole total in the owner's favour.
func TestCancel_AfterRelease(t *testing.T) {
	a := account(stage("a", 1_000_00))
	a.Terms.HoldbackRate = 1000
	invoice := bill(t, a, "a")
	release(t, a)
	memo := cancel(t, a, invoice.ID)
	same(t, "holdback", memo.Holdback, 0)
	same(t, "payable", memo.Payable, -1_000_00)
	s := StatementOf(*a)
	same(t, "held back", s.HeldBack, 0)
	same(t, "due", s.Due, 0)
}

func TestNext_LeavesTheAccountAlone(t *testing.T) {
	a := account(stage("a", 1000), delta("1", "a", 500))
	d, _, err := Next(*a, a.Unbilled(), today, "")
	if err != nil {
		t.Fatal(err)
	}
	d.Charges[0].Split.Labour = 1
	if a.Agreed[0].Split.Labour != 1000 {
		t.Error("the document shares its charges with the account")
	}
	b := *a
	issued := bill(t, &b, "a")
	memo, err := Cancel(b, issued.ID, today)
	if err != nil {
		t.Fatal(err)
	}
	memo.Charges[0].Split.Labour = 1
	if b.Documents[0].Charges[0].Split.Labour != 1000 {
		t.Error("the credit memo shares its charges with the invoice")
	}
}
