package flow_test

import (
	"fmt"
	"strings"
	"sync"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
)

// billed closes the first n stages of heron, of 1,000.00 each.
func (y *yard) billed(n int) []flow.Invoice {
	y.t.Helper()
	y.agree(y.heron)
	var all []flow.Invoice
	for i := range n {
		inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, y.ready(y.heron, i))
		y.do(err)
		all = append(all, inv)
	}
	return all
}

func (y *yard) money() flow.Money {
	y.t.Helper()
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(y.t)
	y.do(m.Statement.Check())
	return m
}

func receipt(n int, amount journal.Cents) flow.Receipt {
	return flow.Receipt{ID: journal.PaymentID(fmt.Sprintf("form-of-receipt-%05d", n)), Amount: amount, On: "2026-04-13", Means: journal.Wire, Reference: "W-12"}
}

func (y *yard) receive(r flow.Receipt) []journal.Payment {
	y.t.Helper()
	return got(y.steps.RecordReceipt(y.ctx, y.office, y.heron, r))(y.t)
}

// letters returns the texts of the letters of a type to a person, oldest first.
func (y *yard) letters(to flow.Actor, kind string) []string {
	y.t.Helper()
	var texts []string
	y.do(y.steps.Store.Read(y.ctx, func(r flow.Reads) error {
		all, err := r.Letters(0)
		for i := len(all) - 1; i >= 0; i-- {
			if all[i].PersonID == to.Person.ID && all[i].Subject == "flow."+kind {
				texts = append(texts, all[i].Text)
			}
		}
		return err
	}))
	return texts
}

func TestRecordReceipt_Divides(t *testing.T) {
	for _, tc := range []struct {
		name    string
		receipt func(inv []flow.Invoice) flow.Receipt
		open    []journal.Cents // left on the invoices
		account journal.Cents   // left on account
		records int
	}{
		{"for one invoice, whole", func([]flow.Invoice) flow.Receipt { return receipt(1, 100_000) }, []journal.Cents{0, 100_000, 100_000}, 0, 1},
		{"a part of it", func([]flow.Invoice) flow.Receipt { return receipt(1, 1) }, []journal.Cents{99_999, 100_000, 100_000}, 0, 1},
		{"for several, the oldest first", func([]flow.Invoice) flow.Receipt { return receipt(1, 230_000) }, []journal.Cents{0, 0, 70_000}, 0, 3},
		{"divided by hand", func(inv []flow.Invoice) flow.Receipt {
			r := receipt(1, 50_000)
			r.Parts = []flow.ReceiptPart{{inv[2].ID, 30_000}, {inv[0].ID, 20_000}}
			return r
		}, []journal.Cents{80_000, 100_000, 70_000}, 0, 2},
		{"over, kept on account", func([]flow.Invoice) flow.Receipt {
			r := receipt(1, 320_000)
			r.KeepRest = true
			return r
		}, []journal.Cents{0, 0, 0}, 20_000, 4},
		{"divided by hand, the rest on account settles the oldest", func(inv []flow.Invoice) flow.Receipt {
			r := receipt(1, 50_000)
			r.Parts, r.KeepRest = []flow.ReceiptPart{{inv[2].ID, 30_000}}, true
			return r
		}, []journal.Cents{80_000, 100_000, 70_000}, 0, 2},
		{"deposit and invoices in one sum", func([]flow.Invoice) flow.Receipt {
			r := receipt(1, 150_000)
			r.Deposit = 40_000
			return r
		}, []journal.Cents{0, 90_000, 100_000}, 0, 3},
		{"a deposit alone", func([]flow.Invoice) flow.Receipt {
			r := receipt(1, 40_000)
			r.Deposit = 40_000
			return r
		}, []journal.Cents{100_000, 100_000, 100_000}, 0, 1},
	} {
		t.Run(tc.name, func(t *testing.T) {
			y := newYard(t)
			y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 40_000, Crediting: billing.LastFirst, DueDays: 10}))
			invoices := y.billed(3)
			r := tc.receipt(invoices)
			recorded := y.receive(r)
			again := y.receive(r) // the form sent twice
			m := y.money()
			var sum journal.Cents
			for i, p := range m.Payments {
				sum += p.Amount
				if p.On != "2026-04-13" || p.Means != journal.Wire || p.Reference != "W-12" || (p.ReceiptID == r.ID) != (tc.records > 1) {
					t.Errorf("payment %d is %+v", i, p)
				}
			}
			if len(m.Payments) != tc.records || len(recorded) != tc.records || len(again) != tc.records || sum != r.Amount {
				t.Errorf("%d payments of %s; %d and %d returned", len(m.Payments), sum, len(recorded), len(again))
			}
			for i, want := range tc.open {
				if got := m.Balances[i].Open; got != want {
					t.Errorf("invoice %d: %s open, want %s", i+1, got, want)
				}
			}
			if m.Statement.OnAccount != tc.account {
				t.Errorf("%s on account, want %s", m.Statement.OnAccount, tc.account)
			}
			if n := len(y.events(y.heron, "payment received")) + len(y.events(y.heron, "deposit received")); n != tc.records {
				t.Errorf("%d events", n)
			}
			if n := len(y.letters(y.ada, "PaymentLetter")); n != 1 {
				t.Errorf("%d letters to the owner", n)
			}
			for _, part := range r.Parts { // the same form with another division
				other := r
				other.Parts = []flow.ReceiptPart{{part.Invoice, part.Amount - 1}}
				_, err := y.steps.RecordReceipt(y.ctx, y.office, y.heron, other)
				refused(t, err, journal.Conflict)
			}
			other := r
			other.Amount++
			_, err := y.steps.RecordReceipt(y.ctx, y.office, y.heron, other)
			refused(t, err, journal.Conflict)
		})
	}
}

func TestRecordReceipt_Refuses(t *testing.T) {
	y := newYard(t)
	inv := y.billed(2)
	for _, tc := range []struct {
		name   string
		change func(*flow.Receipt)
		field  string
		says   string
	}{
		{"nothing", func(r *flow.Receipt) { r.Amount = 0 }, "amount", "above zero"},
		{"negative", func(r *flow.Receipt) { r.Amount = -5 }, "amount", "above zero"},
		{"twelve digits", func(r *flow.Receipt) { r.Amount = 123_456_789_012 }, "amount", "99,999,999.99"},
		{"tomorrow", func(r *flow.Receipt) { r.On = "2026-04-15" }, "on", "still to come"},
		{"two hundred years on", func(r *flow.Receipt) { r.On = "2226-04-13" }, "on", "check the year"},
		{"in 1900", func(r *flow.Receipt) { r.On = "1900-04-13" }, "on", "check the year"},
		{"no day", func(r *flow.Receipt) { r.On = "" }, "on", "which day"},
		{"by pigeon", func(r *flow.Receipt) { r.Means = "pigeon" }, "means", "how"},
		{"reference of two lines", func(r *flow.Receipt) { r.Reference = "a\nb" }, "reference", "one line"},
		{"a cent more than is due", func(r *flow.Receipt) { r.Amount = 200_001 }, "amount", "2,000.01 is more than the 2,000.00 due on all invoices. Please check the amount, or tick that the rest of 0.01 is kept on account."},
		{"divided, with a rest", func(r *flow.Receipt) { r.Parts = []flow.ReceiptPart{{inv[0].ID, 400}} }, "amount", "6.00 of the 10.00 is for nothing yet"},
		{"divided to more than came", func(r *flow.Receipt) { r.Parts = []flow.ReceiptPart{{inv[0].ID, 600}, {inv[1].ID, 500}} }, "amount", "1.00 more than the 10.00"},
		{"a part above what is open", func(r *flow.Receipt) {
			r.Amount, r.Parts = 150_000, []flow.ReceiptPart{{inv[0].ID, 49_999}, {inv[1].ID, 100_001}}
		}, "for.1.amount", "more than the 1,000.00 open on invoice 2"},
		{"a negative part", func(r *flow.Receipt) { r.Parts = []flow.ReceiptPart{{inv[0].ID, -1}} }, "for.0.amount", "above zero"},
		{"one invoice twice", func(r *flow.Receipt) { r.Parts = []flow.ReceiptPart{{inv[0].ID, 500}, {inv[0].ID, 500}} }, "for.1.amount", "twice"},
		{"a deposit that nobody asked for", func(r *flow.Receipt) { r.Deposit = 1_000 }, "deposit", "at most that"},
		{"a negative deposit", func(r *flow.Receipt) { r.Deposit = -1_000 }, "deposit", "above zero"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := receipt(1, 1_000)
			tc.change(&r)
			_, err := y.steps.RecordReceipt(y.ctx, y.office, y.heron, r)
			refused(t, err, journal.Invalid, tc.field)
			if said := err.(*journal.Error).Fields[tc.field]; !strings.Contains(said, tc.says) {
				t.Errorf("said %q, want %q", said, tc.says)
			}
		})
	}
	_, err := y.steps.RecordReceipt(y.ctx, y.office, y.heron, flow.Receipt{ID: "short"})
	refused(t, err, journal.Invalid)
	r := receipt(1, 1_000)
	_, err = y.steps.RecordReceipt(y.ctx, y.jory, y.heron, r)
	refused(t, err, journal.Forbidden)
	_, err = y.steps.RecordReceipt(y.ctx, y.ada, y.heron, r)
	refused(t, err, journal.Forbidden)
	r.Parts = []flow.ReceiptPart{{inv[0].ID, 1_000}}
	_, err = y.steps.RecordReceipt(y.ctx, y.office, y.juniper, r) // another build's invoice
	refused(t, err, journal.NotFound)
	if m := y.money(); len(m.Payments) != 0 {
		t.Errorf("%d payments are recorded", len(m.Payments))
	}
}

// A receipt that bounces is taken back whole, its invoices are open again, and its
// parts cannot be taken back alone.
func TestReversePayment_WholeReceipt(t *testing.T) {
	y := newYard(t)
	y.billed(2)
	r := receipt(1, 250_000)
	r.KeepRest = true
	parts := y.receive(r)
	if len(parts) != 3 {
		t.Fatalf("%d parts", len(parts))
	}
	for _, p := range parts {
		refused(t, y.steps.ReversePayment(y.ctx, y.office, y.heron, p.ID, "Returned."), journal.Conflict)
	}
	refused(t, y.steps.ReversePayment(y.ctx, y.office, y.heron, r.ID, ""), journal.Invalid, "reason")
	refused(t, y.steps.ReversePayment(y.ctx, y.jory, y.heron, r.ID, "Returned."), journal.Forbidden)
	if m := y.money(); m.Statement.Due != -50_000 || len(m.Payments) != 3 {
		t.Fatalf("after refusals %s is due, %d payments", m.Statement.Due, len(m.Payments))
	}
	y.do(y.steps.ReversePayment(y.ctx, y.office, y.heron, r.ID, "Returned by the bank."))
	m := y.money()
	if m.Statement.Due != 200_000 || m.Statement.Paid != 0 || len(m.Payments) != 6 || m.Balances[0].Open != 100_000 || m.Balances[1].Open != 100_000 {
		t.Errorf("due %s, paid %s, %d payments", m.Statement.Due, m.Statement.Paid, len(m.Payments))
	}
	refused(t, y.steps.ReversePayment(y.ctx, y.office, y.heron, r.ID, "Again."), journal.Conflict)
	refused(t, y.steps.ReversePayment(y.ctx, y.office, y.heron, m.Payments[3].ReceiptID, "The reversal."), journal.Conflict)
	refused(t, y.steps.ReversePayment(y.ctx, y.office, y.heron, "nobody's", "No."), journal.NotFound)
	refused(t, y.steps.ReversePayment(y.ctx, y.office, y.heron, "", "No."), journal.NotFound)
	letters := y.letters(y.ada, "PaymentLetter")
	if len(letters) != 2 || !strings.Contains(letters[1], "Returned by the bank.") {
		t.Errorf("letters to the owner: %q", letters)
	}
	if n := len(y.events(y.heron, "payment reversed")); n != 3 {
		t.Errorf("%d events of the reversal", n)
	}
}

func refund(n int, amount journal.Cents) flow.Refund {
	return flow.Refund{
		ID: journal.PaymentID(fmt.Sprintf("form-of-refund-%05d", n)), Amount: amount, On: "2026-04-14", Means: journal.Cheque, Reference: "501", Reason: "Not needed any more.",
	}
}

func TestRecordRefund(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 40_000, Crediting: billing.LastFirst, DueDays: 10}))
	y.billed(1)
	r := receipt(1, 190_000)
	r.Deposit, r.KeepRest = 40_000, true
	y.receive(r) // 1,000.00 for the invoice, 400.00 deposit, 500.00 on account
	send := func(r flow.Refund) error { return y.steps.RecordRefund(y.ctx, y.office, y.heron, r) }
	refused(t, send(refund(1, 50_001)), journal.Invalid, "amount")
	refused(t, send(refund(1, 0)), journal.Invalid, "amount")
	refused(t, send(refund(1, -1)), journal.Invalid, "amount")
	unsaid := refund(1, 100)
	unsaid.Reason, unsaid.On = "", "2026-04-15"
	refused(t, send(unsaid), journal.Invalid, "on", "reason")
	refused(t, y.steps.RecordRefund(y.ctx, y.jory, y.heron, refund(1, 100)), journal.Forbidden)
	refused(t, y.steps.RecordRefund(y.ctx, y.office, y.juniper, refund(1, 100)), journal.Invalid, "amount")

	y.do(send(refund(1, 20_000)))
	y.do(send(refund(1, 20_000))) // the form sent twice
	refused(t, send(refund(1, 10_000)), journal.Conflict)
	refused(t, send(refund(2, 30_001)), journal.Invalid, "amount")
	deposit := refund(3, 40_001)
	deposit.Deposit = true
	refused(t, send(deposit), journal.Invalid, "amount")
	deposit.Amount = 40_000
	y.do(send(deposit))
	m := y.money()
	if m.Statement.OnAccount != 30_000 || m.Statement.DepositUnearned != 0 || m.Statement.DepositRefunded != 40_000 || m.Balances[0].Open != 0 {
		t.Errorf("statement %+v", m.Statement)
	}
	if n := len(y.letters(y.ada, "PaymentLetter")); n != 3 {
		t.Errorf("%d letters: the receipt and two refunds", n)
	}
	// The cheque was never cashed.
	y.do(y.steps.ReversePayment(y.ctx, y.office, y.heron, refund(1, 0).ID, "Never cashed."))
	y.do(y.steps.ReversePayment(y.ctx, y.office, y.heron, deposit.ID, "Never cashed."))
	m = y.money()
	if m.Statement.OnAccount != 50_000 || m.Statement.DepositUnearned != 40_000 || m.Statement.DepositRefunded != 0 {
		t.Errorf("after the reversals %+v", m.Statement)
	}
	if sent, back := y.events(y.heron, "refund sent"), y.events(y.heron, "refund reversed"); len(sent) != 2 || len(back) != 2 {
		t.Errorf("%d refunds sent and %d reversed in the record", len(sent), len(back))
	}
	faults, _, err := y.steps.Check(y.ctx, func(string) error { return nil })
	y.do(err)
	if len(faults) > 0 {
		t.Errorf("the check finds %+v", faults)
	}
}

// Many offices at once send the same money back: it leaves once.
func TestRecordRefund_AtOnce(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 70_000, Crediting: billing.LastFirst}))
	y.agree(y.heron)
	r := receipt(1, 120_000)
	r.Deposit, r.KeepRest = 70_000, true
	y.receive(r)
	steps := *y.steps
	steps.NewID = ids("race")
	const offices = 20
	errs := make([]error, 2*offices)
	var all sync.WaitGroup
	for i := range errs {
		all.Go(func() {
			send := refund(i, 50_000)
			if i >= offices {
				send.Deposit, send.Amount = true, 70_000
			}
			errs[i] = steps.RecordRefund(y.ctx, y.office, y.heron, send)
		})
	}
	all.Wait()
	won := 0
	for i, err := range errs {
		if err == nil {
			won++
		} else if journal.CodeOf(err) != journal.Invalid {
			t.Errorf("refund %d: %v", i, err)
		}
	}
	m := y.money()
	if won != 2 || m.Statement.OnAccount != 0 || m.Statement.DepositUnearned != 0 {
		t.Errorf("%d refunds went out; %s on account, %s of the deposit left", won, m.Statement.OnAccount, m.Statement.DepositUnearned)
	}
}

// One form sent by many at once is one receipt.
func TestRecordReceipt_AtOnce(t *testing.T) {
	y := newYard(t)
	y.billed(2)
	steps := *y.steps
	steps.NewID = ids("race")
	errs := make([]error, 20)
	var all sync.WaitGroup
	for i := range errs {
		all.Go(func() { _, errs[i] = steps.RecordReceipt(y.ctx, y.office, y.heron, receipt(7, 150_000)) })
	}
	all.Wait()
	for _, err := range errs {
		y.do(err)
	}
	if m := y.money(); len(m.Payments) != 2 || m.Statement.Due != 50_000 {
		t.Errorf("%d payments, %s due", len(m.Payments), m.Statement.Due)
	}
}
