package flow_test

import (
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
)

// A deposit that is filled up again at a floor is asked for once no more than the
// floor is left, and no more is taken than was used.
func TestDeposit_FilledUpAgain(t *testing.T) {
	y := newYard(t)
	refused(t, y.saveTerms(y.heron, billing.Terms{Deposit: 150_000, Crediting: billing.FirstFirst, RefillFloor: 150_000}), journal.Invalid, "refill_floor")
	refused(t, y.saveTerms(y.heron, billing.Terms{Deposit: 150_000, Crediting: billing.ProRata, RefillFloor: 100}), journal.Invalid, "refill_floor")
	refused(t, y.saveTerms(y.heron, billing.Terms{Deposit: 150_000, Crediting: billing.ShareOfEach}), journal.Invalid, "deposit_share")
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 150_000, Crediting: billing.FirstFirst, RefillFloor: 50_000}))
	y.agree(y.heron) // 1,000.00 on every stage
	deposit := func(n string, amount journal.Cents) error {
		return y.steps.RecordPayment(y.ctx, y.office, y.heron, journal.Payment{ID: journal.PaymentID("form-number-of-deposit-" + n), Amount: amount, On: "2026-04-14", Means: journal.Wire})
	}
	refused(t, deposit("0", 150_001), journal.Invalid, "amount")
	y.do(deposit("1", 150_000))
	y.waits(y.heron, "us start")
	y.ready(y.heron, 0)
	inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, y.stage(y.heron, 0).ID)
	y.do(err)
	if inv.Document.DepositCredit != 100_000 || inv.Document.Payable != 0 {
		t.Errorf("the first invoice: %+v", inv.Document)
	}
	// 500.00 is left, which is the floor: 1,000.00 fills it up again.
	if w := y.waits(y.heron, "payment deposit", "us authorization"); w[0].Amount != 100_000 {
		t.Errorf("asked for %s", w[0].Amount)
	}
	refused(t, deposit("2", 100_001), journal.Invalid, "amount")
	y.do(deposit("2", 100_000))
	y.waits(y.heron, "us authorization")
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	if err := m.Statement.Check(); err != nil || m.Statement.DepositReceived != 250_000 || m.Statement.DepositUnearned != 150_000 {
		t.Errorf("statement: %+v, %v", m.Statement, err)
	}
}
