package flow_test

import (
	"sync"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
)

// Two offices at once, on real goroutines and the real database: of acts that
// exclude each other exactly one is done, no cent is doubled, and numbers have no
// gap.

// offices is how many do the same at the same moment.
const offices = 16

// together lets all offices act at once and returns how many succeeded. The others
// must be refused with one of the codes, never with anything else.
func (y *yard) together(act func(office int) error, codes ...journal.Code) (won int) {
	y.t.Helper()
	steps := *y.steps
	steps.NewID = ids("together" + y.steps.NewID())
	was := y.steps
	y.steps = &steps
	errs := make([]error, offices)
	var begin, all sync.WaitGroup
	begin.Add(1)
	for i := range errs {
		all.Go(func() {
			begin.Wait()
			errs[i] = act(i)
		})
	}
	begin.Done()
	all.Wait()
	y.steps = was
	for i, err := range errs {
		code := journal.CodeOf(err)
		known := err == nil
		for _, c := range codes {
			known = known || code == c
		}
		if !known {
			y.t.Errorf("office %d: %v", i, err)
		}
		if err == nil {
			won++
		}
	}
	return won
}

// whole fails the test unless nothing is wrong with the database, numbers among it.
func (y *yard) whole() flow.Money {
	y.t.Helper()
	for _, f := range y.checked() {
		y.t.Errorf("%s (%s)", f.Text, f.Subject)
	}
	m := y.money()
	numbers := map[billing.DocumentKind]int{}
	for _, inv := range m.Invoices {
		numbers[inv.Document.Kind]++
		if inv.Document.Number != numbers[inv.Document.Kind] {
			y.t.Errorf("%s is the %d. of its kind", inv.Document.Name(), numbers[inv.Document.Kind])
		}
	}
	return m
}

// The whole life of one stage's money, each act by many offices at once.
func TestTogether_OneOfEach(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Crediting: billing.ProRata, HoldbackRate: 1000, DueDays: 10}))
	var rows []flow.StageScope
	for n, st := range y.view(y.heron).Stages {
		row := rowOf(st)
		row.Drop = n > 1
		rows = append(rows, row)
	}
	y.do(y.steps.SaveScope(y.ctx, y.office, y.heron, rows))
	y.agree(y.heron)
	first, second := y.ready(y.heron, 0), y.ready(y.heron, 1)
	one := func(what string, won int) {
		t.Helper()
		if won != 1 {
			t.Errorf("%s: %d offices did it, want one", what, won)
		}
	}

	one("closing", y.together(func(int) error {
		_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, first)
		return err
	}, journal.Conflict))
	m := y.whole()
	if len(m.Invoices) != 1 || m.Statement.Billed != 100_000 {
		t.Fatalf("%d documents, %s billed", len(m.Invoices), m.Statement.Billed)
	}
	invoice := m.Invoices[0].ID

	// Each with a form of its own: all that is open, once.
	one("paying in full", y.together(func(office int) error {
		return y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(100+office, invoice, 90_000))
	}, journal.Invalid))
	if m = y.whole(); m.Statement.Paid != 90_000 || m.Statement.Due != 0 {
		t.Fatalf("paid %s, due %s", m.Statement.Paid, m.Statement.Due)
	}

	one("taking the invoice back", y.together(func(int) error {
		_, err := y.steps.CancelInvoice(y.ctx, y.office, y.heron, invoice, "Wrong.")
		return err
	}, journal.Conflict))
	if m = y.whole(); m.Statement.Billed != 0 || m.Statement.Due != -90_000 || m.Statement.HeldBack != 0 {
		t.Fatalf("%+v", m.Statement)
	}

	one("sending the money back", y.together(func(office int) error {
		return y.steps.RecordRefund(y.ctx, y.office, y.heron, refund(200+office, 90_000))
	}, journal.Invalid))
	if m = y.whole(); m.Statement.Paid != 0 || m.Statement.Due != 0 {
		t.Fatalf("%+v", m.Statement)
	}

	one("billing it again", y.together(func(int) error {
		_, err := y.steps.BillChanges(y.ctx, y.office, y.heron)
		return err
	}, journal.Conflict))
	_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, second)
	y.do(err)
	one("releasing the holdback", y.together(func(int) error {
		_, err := y.steps.ReleaseHoldback(y.ctx, y.office, y.heron)
		return err
	}, journal.Conflict))
	if m = y.whole(); m.Statement.HeldBack != 0 || m.Statement.Due != 200_000 {
		t.Fatalf("%+v", m.Statement)
	}

	one("reopening with a credit", y.together(func(int) error {
		return y.steps.ReopenStage(y.ctx, y.office, y.heron, second, "Once more.", true)
	}, journal.Conflict))
	if m = y.whole(); m.Statement.Billed != 100_000 {
		t.Fatalf("%+v", m.Statement)
	}
}

// Different acts on the same money: whatever comes first, nothing is doubled.
func TestTogether_DifferentActs(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 50_000, Crediting: billing.LastFirst, HoldbackRate: 500, DueDays: 10, Tax: billing.Tax{Labour: 500}}))
	y.agree(y.heron)
	stages := []journal.StageID{y.ready(y.heron, 0), y.ready(y.heron, 7), y.ready(y.heron, 8)}
	inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stages[0])
	y.do(err)
	won := y.together(func(office int) error {
		switch office % 8 {
		case 0: // pays what was open before
			return y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(300+office, inv.ID, inv.Document.Payable))
		case 1: // takes it back
			_, err := y.steps.CancelInvoice(y.ctx, y.office, y.heron, inv.ID, "Wrong.")
			return err
		case 2: // reopens its stage with a credit
			return y.steps.ReopenStage(y.ctx, y.office, y.heron, stages[0], "Once more.", true)
		case 3, 4: // closes others
			_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stages[office%8-2])
			return err
		case 5: // the deposit comes
			return y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(300+office, "", 50_000))
		case 6: // more than is open
			r := receipt(300+office, 150_000)
			r.KeepRest = true
			_, err := y.steps.RecordReceipt(y.ctx, y.office, y.heron, r)
			return err
		}
		_, err := y.steps.BillChanges(y.ctx, y.office, y.heron)
		return err
	}, journal.Conflict, journal.Invalid)
	m := y.whole()
	times := map[string]int{}
	for _, d := range m.Account.Documents {
		for _, c := range d.Charges {
			if d.Cancels == "" {
				times[c.Ref]++
			} else {
				times[c.Ref]--
			}
			if times[c.Ref] > 1 {
				t.Errorf("%s is billed twice", c.Ref)
			}
		}
	}
	if m.Statement.DepositReceived != 50_000 {
		t.Errorf("%s of a deposit of 500.00 came in", m.Statement.DepositReceived)
	}
	t.Logf("%d of %d acts were done: %d documents, %d payments", won, offices, len(m.Invoices), len(m.Payments))
}
