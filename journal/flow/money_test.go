package flow_test

import (
	"fmt"
	"sync"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// Promises 5 and 6: no cent appears or vanishes; a stage bills once.

// ready makes a stage's gate ask for nothing, and for no teardown authorization,
// and opens it.
func (y *yard) ready(build journal.BuildID, n int) journal.StageID {
	y.t.Helper()
	st := y.stage(build, n)
	y.plainStage(build, st)
	y.do(y.steps.OpenStage(y.ctx, y.jory, build, st.ID))
	return st.ID
}

// plainStage makes a stage's gate ask for nothing.
func (y *yard) plainStage(build journal.BuildID, st journal.Stage) {
	y.t.Helper()
	y.do(y.steps.SaveStage(y.ctx, y.office, build, st.ID, flow.StageChange{
		Version: st.Version, Name: st.Name, PlannedDays: st.PlannedDays, LeadID: st.LeadID, Cautions: st.Cautions, Metered: st.Metered,
	}))
}

func payment(n int, invoice journal.InvoiceID, amount journal.Cents) journal.Payment {
	return journal.Payment{
		ID: journal.PaymentID(fmt.Sprintf("form-%020d", n)), InvoiceID: invoice, Amount: amount, On: "2026-04-13", Means: journal.Cheque, Reference: "1001",
	}
}

func TestCloseStage_GateSaysWhatIsMissing(t *testing.T) {
	y := newYard(t)
	st := y.stage(y.heron, 0)
	y.do(y.steps.SaveStage(y.ctx, y.office, y.heron, st.ID, flow.StageChange{
		Version: st.Version, Name: "Arrival", PlannedDays: 2, Gate: journal.Gate{Photos: 2, Checks: []string{"Odometer read"}},
	}))
	_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, st.ID)
	refused(t, err, journal.Conflict) // not opened
	y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, st.ID))
	_, _, err = y.steps.CloseStage(y.ctx, y.jory, y.heron, st.ID)
	refused(t, err, journal.Forbidden)
	want := "Arrival cannot close yet. The owner's agreement is not recorded yet. 2 more photos that the owner can see are wanted. Not ticked yet: Odometer read."
	_, _, err = y.steps.CloseStage(y.ctx, y.office, y.heron, st.ID)
	if journal.MessageOf(err) != want {
		t.Errorf("said %q\nwant %q", journal.MessageOf(err), want)
	}
	y.agree(y.heron)
	y.do(y.steps.TickCheck(y.ctx, y.jory, y.heron, st.ID, "Odometer read", true))
	y.entry(y.jory, y.heron, journal.ShopOnly, "Not for the owner", y.photo(y.jory, y.heron, 1, y.now))
	y.entry(y.jory, y.heron, journal.OwnerToo, "All round", y.photo(y.jory, y.heron, 2, y.now), y.photo(y.jory, y.heron, 3, y.now))
	change := y.pans(y.heron, 0)
	p := y.sent(y.heron, change)
	_, _, err = y.steps.CloseStage(y.ctx, y.office, y.heron, st.ID)
	if want := "Arrival cannot close yet. Change order 1, Both front floor pans, is out for sign-off."; journal.MessageOf(err) != want {
		t.Errorf("said %q\nwant %q", journal.MessageOf(err), want)
	}
	y.do(y.steps.RecallPaper(y.ctx, y.office, y.heron, p.ID))
	inv, billed, err := y.steps.CloseStage(y.ctx, y.office, y.heron, st.ID)
	if err != nil || !billed || inv.Document.Number != 1 || inv.Document.Payable != 100_000 {
		t.Fatalf("closing issued %v, %v, %v", inv.Document, billed, err)
	}
	if inv.BillTo != "Ada Finch" || inv.Truck != "Heron\n1971 Ostler Fenman\nOF7-10442" {
		t.Errorf("billed to %q for %q", inv.BillTo, inv.Truck)
	}
}

// Fifty closes of one stage yield one invoice.
func TestCloseStage_FiftyAtOnce(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	stage := y.ready(y.heron, 0)
	steps := *y.steps
	steps.NewID = ids("race")
	errs := make([]error, 50)
	var all sync.WaitGroup
	for i := range errs {
		all.Go(func() { _, _, errs[i] = steps.CloseStage(y.ctx, y.office, y.heron, stage) })
	}
	all.Wait()
	won := 0
	for i, err := range errs {
		if err == nil {
			won++
		} else if journal.CodeOf(err) != journal.Conflict {
			t.Errorf("close %d: %v", i, err)
		}
	}
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	if won != 1 || len(m.Invoices) != 1 {
		t.Errorf("%d closes won, %d invoices", won, len(m.Invoices))
	}
}

// A reopened stage keeps its invoice; closing it again bills only what was
// signed since, and nothing when nothing was.
func TestReopenStage_BillsOnlyWhatIsNew(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	stage := y.ready(y.heron, 0)
	closeIt := func() (flow.Invoice, bool) {
		t.Helper()
		inv, billed, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
		y.do(err)
		return inv, billed
	}
	closeIt()
	refused(t, y.steps.ReopenStage(y.ctx, y.office, y.heron, stage, "", false), journal.Invalid, "reason")
	refused(t, y.steps.ReopenStage(y.ctx, y.jory, y.heron, stage, "A weld cracked.", false), journal.Forbidden)
	y.do(y.steps.ReopenStage(y.ctx, y.office, y.heron, stage, "A weld cracked.", false))
	if inv, billed := closeIt(); billed {
		t.Errorf("the second close billed %s", inv.Document.Payable)
	}
	y.do(y.steps.ReopenStage(y.ctx, y.office, y.heron, stage, "The owner wants more.", false))
	p := y.sent(y.heron, y.pans(y.heron, 0))
	got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, y.form(y.ada, p, signoff.OutcomeSigned)))(t)
	inv, billed := closeIt()
	if !billed || inv.Document.Subtotal != 230_200 || inv.Document.Number != 2 {
		t.Errorf("the third close billed %v", inv.Document)
	}
}

// Reopened with a credit, everything is taken back and billed anew.
func TestReopen_WithACredit(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 140_000, Crediting: billing.ProRata, HoldbackRate: 1000, DueDays: 10, Tax: billing.Tax{Labour: 500}}))
	y.agree(y.heron)
	y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, journal.Payment{ID: "form-number-of-deposit", Amount: 140_000, On: "2026-04-14", Means: journal.Wire}))
	stage := y.ready(y.heron, 0)
	first, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	y.do(err)
	y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(1, first.ID, 10_000)))
	y.do(y.steps.ReopenStage(y.ctx, y.office, y.heron, stage, "Everything anew.", true))
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	s := m.Statement
	if err := s.Check(); err != nil || s.Billed != 0 || s.Tax != 0 || s.HeldBack != 0 || s.Covered != 0 || s.Paid != 10_000 || s.Due != -10_000 {
		t.Errorf("after the credit: %+v, %v", s, err)
	}
	memo := m.Invoices[len(m.Invoices)-1]
	if memo.Document.Cancels != first.Document.ID || memo.Document.Reason != "Everything anew." || memo.Document.Kind != billing.CreditMemo {
		t.Errorf("the memo: %+v", memo.Document)
	}
	_, err = y.steps.CancelInvoice(y.ctx, y.office, y.heron, first.ID, "Once more.")
	refused(t, err, journal.Conflict)
	again, billed, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	y.do(err)
	if !billed || again.Document.Subtotal != first.Document.Subtotal || again.Document.Tax != first.Document.Tax {
		t.Errorf("closed again it bills %+v", again.Document)
	}
	// Taken back while the stage is closed, it bills with the next.
	_, err = y.steps.CancelInvoice(y.ctx, y.jory, y.heron, again.ID, "Wrong.")
	refused(t, err, journal.Forbidden)
	_, err = y.steps.CancelInvoice(y.ctx, y.office, y.heron, again.ID, "")
	refused(t, err, journal.Invalid, "reason")
	got(y.steps.CancelInvoice(y.ctx, y.office, y.heron, again.ID, "Wrong."))(t)
	at := got(y.steps.BillChanges(y.ctx, y.office, y.heron))(t)
	if at.Document.Subtotal != first.Document.Subtotal {
		t.Errorf("billed at once: %+v", at.Document)
	}
	if faults := y.checked(); len(faults) != 0 {
		t.Errorf("faults: %+v", faults)
	}
}

// A deposit that bounces after an invoice has used it leaves the invoice alone
// and is owed again.
func TestDeposit_BouncedAfterItWasUsed(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 140_000, Crediting: billing.ProRata, DueDays: 10}))
	y.agree(y.heron)
	y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, journal.Payment{ID: "form-number-of-deposit", Amount: 140_000, On: "2026-04-14", Means: journal.Cheque, Reference: "7"}))
	inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, y.ready(y.heron, 0))
	y.do(err)
	y.do(y.steps.ReversePayment(y.ctx, y.office, y.heron, "form-number-of-deposit", "Cheque returned by the bank."))
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	if s := m.Statement; s.Check() != nil || s.DepositReceived != 0 || s.DepositUnearned != -inv.Document.DepositCredit || s.Covered != inv.Document.DepositCredit {
		t.Errorf("statement: %+v, %v", s, s.Check())
	}
	if w := y.waits(y.heron, "payment deposit", "payment invoice", "us authorization"); w[0].Amount != 140_000 {
		t.Errorf("asked for %s", w[0].Amount)
	}
}

// A change signed on a closed stage bills with the next close, or at once; a
// negative one becomes a credit memo with its own number.
func TestBillChanges_OnAClosedStage(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	stage := y.ready(y.heron, 0)
	_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	y.do(err)
	_, err = y.steps.BillChanges(y.ctx, y.office, y.heron)
	refused(t, err, journal.Conflict)
	sign := func(amount journal.Cents) {
		t.Helper()
		p := y.sent(y.heron, signoff.Draft{Title: "Change", Reason: "Asked for.", StageID: stage, Lines: []signoff.Line{{Kind: journal.Other, Text: "Change", Amount: amount}}})
		got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, y.form(y.ada, p, signoff.OutcomeSigned)))(t)
	}
	sign(-30_000)
	memo := got(y.steps.BillChanges(y.ctx, y.office, y.heron))(t)
	if memo.Document.Kind != billing.CreditMemo || memo.Document.Number != 1 || memo.Document.Payable != -30_000 {
		t.Errorf("got %v", memo.Document)
	}
	sign(5_000)
	second := y.ready(y.heron, 1)
	inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, second)
	y.do(err)
	if inv.Document.Subtotal != 105_000 || inv.Document.Number != 2 {
		t.Errorf("the next close billed %v", inv.Document)
	}
}

func TestRecordPayment_OnceAndNoMoreThanIsOpen(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	stage := y.ready(y.heron, 0)
	inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	y.do(err)
	pay := func(p journal.Payment) error { return y.steps.RecordPayment(y.ctx, y.office, y.heron, p) }
	refused(t, pay(payment(1, inv.ID, 0)), journal.Invalid, "amount")
	refused(t, pay(payment(1, inv.ID, -500)), journal.Invalid, "amount")
	refused(t, pay(payment(1, inv.ID, 100_001)), journal.Invalid, "amount")
	refused(t, pay(payment(1, "", 1)), journal.Invalid, "amount") // no deposit agreed
	later := payment(1, inv.ID, 100)
	later.On = "2026-04-15" // tomorrow
	refused(t, pay(later), journal.Invalid, "on")
	refused(t, y.steps.RecordPayment(y.ctx, y.jory, y.heron, payment(1, inv.ID, 100)), journal.Forbidden)
	refused(t, y.steps.RecordPayment(y.ctx, y.office, y.juniper, payment(1, inv.ID, 100)), journal.NotFound)

	y.do(pay(payment(2, inv.ID, 40_000)))
	y.do(pay(payment(2, inv.ID, 40_000))) // the form sent twice
	refused(t, pay(payment(2, inv.ID, 50_000)), journal.Conflict)
	y.do(pay(payment(3, inv.ID, 60_000)))
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	if m.Statement.Paid != 100_000 || m.Statement.Due != 0 || len(m.Payments) != 2 {
		t.Errorf("paid %s, due %s, %d payments", m.Statement.Paid, m.Statement.Due, len(m.Payments))
	}
	// The cheque bounces.
	y.do(y.steps.ReversePayment(y.ctx, y.office, y.heron, payment(3, "", 0).ID, "Returned by the bank."))
	refused(t, y.steps.ReversePayment(y.ctx, y.office, y.heron, payment(3, "", 0).ID, "Again."), journal.Conflict)
	m = got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	if m.Statement.Due != 60_000 {
		t.Errorf("due %s after the reversal", m.Statement.Due)
	}
}

// A credit memo shows the tax at the rates of the invoice that it takes back, though
// others are in force by then.
func TestCancel_AtTheRatesOfItsInvoice(t *testing.T) {
	y := newYard(t)
	terms := billing.Terms{Crediting: billing.ProRata, Tax: billing.Tax{Labour: 500}}
	y.do(y.saveTerms(y.heron, terms))
	y.agree(y.heron)
	inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, y.ready(y.heron, 0))
	y.do(err)
	terms.Tax.Labour = 900
	y.do(y.saveTerms(y.heron, terms))
	memo := got(y.steps.CancelInvoice(y.ctx, y.office, y.heron, inv.ID, "Wrong."))(t)
	if len(inv.TaxLines) != 1 || len(memo.TaxLines) != 1 || memo.TaxLines[0].Rate != 500 || memo.TaxLines[0].Base != -inv.TaxLines[0].Base || memo.Document.Tax != -inv.Document.Tax {
		t.Errorf("the invoice taxes %+v, its memo %+v with %s", inv.TaxLines, memo.TaxLines, memo.Document.Tax)
	}
}
