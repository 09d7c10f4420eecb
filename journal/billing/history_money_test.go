package billing

import (
	"slices"

	"farbay/journal"
	"pgregory.net/rapid"
)

// Money in and out, in a [history].

func (h *history) pay(t *rapid.T) {
	var open []Balance
	for _, b := range Open(h.a) {
		if b.Open > 0 {
			open = append(open, b)
		}
	}
	if len(open) == 0 {
		t.Skip("nothing open")
	}
	b := rapid.SampledFrom(open).Draw(t, "document")
	if err := CheckPayment(h.a, b.Document.ID, b.Open+1); journal.CodeOf(err) != journal.Invalid {
		t.Fatalf("a cent more than open was taken: %v", err)
	}
	amount := b.Open
	if rapid.Bool().Draw(t, "in part") {
		amount = journal.Cents(rapid.Int64Range(1, int64(b.Open)).Draw(t, "amount"))
	}
	if err := CheckPayment(h.a, b.Document.ID, amount); err != nil {
		t.Fatal(err)
	}
	h.record(Payment{DocumentID: b.Document.ID, Amount: amount, On: today})
}

// payOnAccount brings money for nothing in particular, more than is open too.
func (h *history) payOnAccount(t *rapid.T) {
	h.record(Payment{Amount: journal.Cents(rapid.Int64Range(1, 20_000_00).Draw(t, "amount")), On: today})
	h.seen.onAccount++
}

func (h *history) record(p Payment) {
	p.ID = numbered("payment-", len(h.a.Payments)+1)
	h.a.Payments = append(h.a.Payments, p)
	h.paid += int64(p.Amount)
	h.paidFor[p.DocumentID] += int64(p.Amount)
	if p.Reverses == "" {
		h.unreversed = append(h.unreversed, p.ID)
	}
}

// reverse takes a payment back, or a refund that came back.
func (h *history) reverse(t *rapid.T) {
	if len(h.unreversed) == 0 {
		t.Skip("no payment")
	}
	i := rapid.IntRange(0, len(h.unreversed)-1).Draw(t, "payment")
	r, err := Reversal(h.a, h.unreversed[i], today)
	if err != nil {
		t.Fatal(err)
	}
	h.unreversed = slices.Delete(h.unreversed, i, i+1)
	h.record(r)
	for _, id := range []string{r.Reverses, h.a.Payments[len(h.a.Payments)-1].ID} {
		if _, err := Reversal(h.a, id, today); journal.CodeOf(err) != journal.Conflict {
			t.Fatalf("reversed twice: %v", err)
		}
	}
	if OnAccount(h.a) < 0 {
		h.seen.owed++
	}
}

func (h *history) refund(t *rapid.T) {
	favour := h.paid - h.payable
	if favour <= 0 {
		if err := CheckRefund(h.a, 1); journal.CodeOf(err) != journal.Invalid {
			t.Fatalf("a cent was sent back that is not the owner's: %v", err)
		}
		t.Skip("nothing in the owner's favour")
	}
	amount := journal.Cents(rapid.Int64Range(1, favour).Draw(t, "amount"))
	if err := CheckRefund(h.a, amount); err != nil {
		t.Fatal(err)
	}
	if err := CheckRefund(h.a, journal.Cents(favour+1)); journal.CodeOf(err) != journal.Invalid {
		t.Fatalf("a cent too much sent back: %v", err)
	}
	h.record(Payment{Amount: -amount, On: today})
	h.seen.refunds++
}

func (h *history) receiveDeposit(t *rapid.T) {
	amount := rapid.Int64Range(1, 30_000_00).Draw(t, "amount")
	if asked := int64(DepositAsked(h.a)); asked > 0 && rapid.Bool().Draw(t, "as asked") {
		amount = asked
	}
	h.a.DepositReceived += journal.Cents(amount)
	h.received += amount
	h.receipts = append(h.receipts, amount)
}

// bounceDeposit takes a receipt of deposit back, used by invoices or not.
func (h *history) bounceDeposit(t *rapid.T) {
	if len(h.receipts) == 0 {
		t.Skip("no deposit")
	}
	i := rapid.IntRange(0, len(h.receipts)-1).Draw(t, "receipt")
	h.a.DepositReceived -= journal.Cents(h.receipts[i])
	h.received -= h.receipts[i]
	h.receipts = slices.Delete(h.receipts, i, i+1)
	h.bounced = true
}

func (h *history) refundDeposit(t *rapid.T) {
	unearned := h.received - h.refunded - h.covered
	if err := CheckDepositRefund(h.a, journal.Cents(max(unearned, 0)+1)); journal.CodeOf(err) != journal.Invalid {
		t.Fatalf("a cent too much of the deposit sent back: %v", err)
	}
	if unearned <= 0 {
		t.Skip("nothing unearned")
	}
	amount := rapid.Int64Range(1, unearned).Draw(t, "amount")
	if err := CheckDepositRefund(h.a, journal.Cents(amount)); err != nil {
		t.Fatal(err)
	}
	h.a.DepositRefunded += journal.Cents(amount)
	h.refunded += amount
}
