package flow

import (
	"context"
	"fmt"
	"slices"

	"farbay/journal"
	"farbay/journal/billing"
)

// Receipt is one sum that came in, and what it is for.
type Receipt struct {
	ID        journal.PaymentID // made with the form, so that sending it twice records it once
	Amount    journal.Cents     // the whole sum
	On        journal.Date
	Means     journal.Means
	Reference string
	Deposit   journal.Cents // of it, for the deposit; 0 for none
	// Parts say what of it is for which invoice. With none, what is not for the
	// deposit settles the oldest invoices first.
	Parts []ReceiptPart
	// KeepRest: what is above all that is due is kept on account.
	KeepRest bool
}

// ReceiptPart is what of a receipt is for one invoice.
type ReceiptPart struct {
	Invoice journal.InvoiceID
	Amount  journal.Cents // above zero
}

// maxReceiptParts is far above the invoices that one build has open.
const maxReceiptParts = 100

// RecordReceipt records one sum that came in: a payment for each invoice, the
// deposit and what stays on account, with an event each and one letter to each
// owner, all or nothing. It returns the payments; the second time for the same
// form those recorded the first time.
//
// It returns [journal.Invalid] with sentences for amount, on, means, reference,
// deposit and "for.N.amount" of the N-th part; [journal.NotFound] when an invoice is
// not of this build; [journal.Conflict] when the form was sent before with other
// figures. Office only.
func (s *Steps) RecordReceipt(ctx context.Context, a Actor, build journal.BuildID, r Receipt) (recorded []journal.Payment, err error) {
	if err := asOffice(a); err != nil {
		return nil, err
	}
	if !isFormID(string(r.ID)) {
		return nil, journal.Errorf(journal.Invalid, "This form has lost its number; please open it again and type the payment once more.")
	}
	err = s.onBuild(ctx, a, build, func(tx Tx, b journal.Build) error {
		if recorded, err = receivedBefore(tx, build, r); err != nil || len(recorded) > 0 {
			return err
		}
		if err := s.checkReceived(tx, r.whole()); err != nil {
			return err
		}
		acc, err := s.account(tx, b)
		if err != nil {
			return err
		}
		if recorded, err = r.payments(acc); err != nil {
			return err
		}
		return s.receive(tx, a, b, recorded)
	})
	if err != nil {
		return nil, err
	}
	return recorded, nil
}

// RecordPayment records money received for one invoice, on account with
// p.OnAccount, or else as the deposit when p.InvoiceID is "". It is a receipt of one
// part; see [Steps.RecordReceipt].
func (s *Steps) RecordPayment(ctx context.Context, a Actor, build journal.BuildID, p journal.Payment) error {
	if err := asOffice(a); err != nil {
		return err
	}
	if !isFormID(string(p.ID)) {
		return journal.Errorf(journal.Invalid, "This form has lost its number; please open it again and type the payment once more.")
	}
	return s.onBuild(ctx, a, build, func(tx Tx, b journal.Build) error {
		again, err := recordedBefore(tx, build, p)
		if again || err != nil {
			return err
		}
		p.ReceiptID, p.ReversesID, p.Refund = "", "", false
		if err := s.checkReceived(tx, p); err != nil {
			return err
		}
		acc, err := s.account(tx, b)
		if err != nil {
			return err
		}
		switch {
		case p.OnAccount:
		case p.InvoiceID == "":
			err = checkDeposit(acc, p.Amount)
		default:
			err = billing.CheckPayment(acc, string(p.InvoiceID), p.Amount)
		}
		if err != nil {
			return err
		}
		return s.receive(tx, a, b, []journal.Payment{p})
	})
}

// checkReceived checks what a person can type about money that came or went.
func (s *Steps) checkReceived(r Reads, p journal.Payment) error {
	bad := journal.Problems{}
	if err := addProblems(bad, p.Validate()); err != nil {
		return err
	}
	if p.On > s.today(r) {
		day := "the money came"
		if p.Refund {
			day = "it was sent"
		}
		bad.Add("on", "That day is still to come; please give the day %s.", day)
	}
	return bad.Err()
}

// addProblems takes over the field problems of an Invalid error, and returns any
// other error.
func addProblems(bad journal.Problems, err error) error {
	e, ok := err.(*journal.Error)
	if err == nil || !ok || e.Code != journal.Invalid || len(e.Fields) == 0 {
		return err
	}
	for field, sentence := range e.Fields {
		bad.Add(field, "%s", sentence)
	}
	return nil
}

// whole is the receipt as one payment.
func (r Receipt) whole() journal.Payment {
	return journal.Payment{ID: r.ID, Amount: r.Amount, On: r.On, Means: r.Means, Reference: r.Reference}
}

// payments divides the receipt, or says beside which field it cannot be.
func (r Receipt) payments(acc billing.Account) ([]journal.Payment, error) {
	bad := journal.Problems{}
	if len(r.Parts) > maxReceiptParts {
		bad.Add("amount", "That is for more than %d invoices; please record it as two receipts.", maxReceiptParts)
		return nil, bad.Err()
	}
	left := r.Amount
	var list []journal.Payment
	add := func(p journal.Payment) {
		p.Amount = min(p.Amount, left)
		if left -= p.Amount; p.Amount > 0 {
			list = append(list, p)
		}
	}
	switch {
	case r.Deposit < 0:
		bad.Add("deposit", "Please type what of it is for the deposit, above zero, or leave it empty.")
	case r.Deposit > 0:
		if err := addProblems(bad, renamed(checkDeposit(acc, r.Deposit), "deposit")); err != nil {
			return nil, err
		}
		list, left = append(list, journal.Payment{Amount: r.Deposit}), left-r.Deposit
	}
	seen := map[journal.InvoiceID]bool{}
	for i, part := range r.Parts {
		field := fmt.Sprintf("for.%d.amount", i)
		if seen[part.Invoice] {
			bad.Add(field, "This invoice is named twice; please type one amount for it.")
		}
		seen[part.Invoice] = true
		if err := addProblems(bad, renamed(billing.CheckPayment(acc, string(part.Invoice), part.Amount), field)); err != nil {
			return nil, err
		}
		list, left = append(list, journal.Payment{InvoiceID: part.Invoice, Amount: part.Amount}), left-part.Amount
	}
	if left < 0 {
		bad.Add("amount", "What is typed beside the invoices and the deposit is %s more than the %s received.", -left, r.Amount)
	}
	if len(bad) > 0 {
		return nil, bad.Err()
	}
	if len(r.Parts) == 0 {
		for _, b := range billing.Open(acc) {
			if b.Open > 0 {
				add(journal.Payment{InvoiceID: journal.InvoiceID(b.Document.ID), Amount: b.Open})
			}
		}
	}
	if left > 0 && !r.KeepRest {
		return nil, journal.Problems{"amount": r.tooMuch(acc, left)}.Err()
	}
	add(journal.Payment{OnAccount: true, Amount: left})
	for i := range list {
		list[i].ID, list[i].On, list[i].Means, list[i].Reference = r.ID, r.On, r.Means, r.Reference
		if len(list) > 1 {
			list[i].ID, list[i].ReceiptID = partID(r.ID, i), r.ID
		}
	}
	return list, nil
}

// partID names the i-th payment of a receipt, so that the same form always makes
// the same ones.
func partID(receipt journal.PaymentID, i int) journal.PaymentID {
	return journal.PaymentID(fmt.Sprintf("%s-%d", receipt, i+1))
}

// tooMuch says why what is left of a receipt has no place.
func (r Receipt) tooMuch(acc billing.Account, left journal.Cents) string {
	if len(r.Parts) > 0 {
		return fmt.Sprintf("%s of the %s is for nothing yet. Please type what it is for, or tick that the rest is kept on account.", left, r.Amount)
	}
	said := "Nothing is due"
	if due := billing.Due(acc); due > 0 {
		said = fmt.Sprintf("%s is more than the %s due on all invoices", r.Amount, due)
	}
	if asked := billing.DepositAsked(acc) - r.Deposit; asked > 0 {
		return fmt.Sprintf("%s. Please type what of it is for the deposit, of which %s is still to come, or tick that the rest of %s is kept on account.", said, asked, left)
	}
	return fmt.Sprintf("%s. Please check the amount, or tick that the rest of %s is kept on account.", said, left)
}

// renamed puts the sentence for "amount" beside another field.
func renamed(err error, field string) error {
	if e, ok := err.(*journal.Error); ok && e.Fields["amount"] != "" {
		return journal.Problems{field: e.Fields["amount"]}.Err()
	}
	return err
}

// receive records payments that came in one sum and thanks for them.
func (s *Steps) receive(tx Tx, a Actor, b journal.Build, payments []journal.Payment) error {
	for i := range payments {
		p := &payments[i]
		p.BuildID, p.RecordedBy, p.RecordedAt = b.ID, a.Person.ID, s.at()
		if err := s.addPayment(tx, a, *p, "received"); err != nil {
			return err
		}
	}
	return s.writeOfPayments(tx, b, payments)
}

func (s *Steps) addPayment(tx Tx, a Actor, p journal.Payment, act string) error {
	if err := tx.AddPayment(p); err != nil {
		return err
	}
	return s.record(tx, a, p.BuildID, paymentKind(p)+" "+act, string(p.ID), paymentDetail(p))
}

// receivedBefore returns the payments that the same form has recorded already; one
// with other figures is a conflict.
func receivedBefore(r Reads, build journal.BuildID, receipt Receipt) ([]journal.Payment, error) {
	payments, err := r.Payments(build)
	if err != nil {
		return nil, err
	}
	var old []journal.Payment
	sum := journal.Payment{}
	for _, p := range payments {
		if p.ID == receipt.ID || p.ReceiptID == receipt.ID && receipt.ID != "" {
			old = append(old, p)
			sum.Amount, sum.On, sum.Means, sum.Reference = sum.Amount+p.Amount, p.On, p.Means, p.Reference
		}
	}
	if len(old) == 0 {
		return nil, nil
	}
	same := sum.Amount == receipt.Amount && sum.On == receipt.On && sum.Means == receipt.Means && sum.Reference == receipt.Reference && !old[0].Refund
	for _, part := range receipt.Parts {
		same = same && slices.ContainsFunc(old, func(p journal.Payment) bool { return p.InvoiceID == part.Invoice && p.Amount == part.Amount })
	}
	if !same {
		return nil, usedBefore(sum.Amount)
	}
	return old, nil
}

// recordedBefore reports whether the same payment is there already; a different
// one under the same id is a conflict.
func recordedBefore(r Reads, build journal.BuildID, p journal.Payment) (bool, error) {
	payments, err := r.Payments(build)
	if err != nil {
		return false, err
	}
	for _, old := range payments {
		if old.ID != p.ID && old.ReceiptID != p.ID {
			continue
		}
		if old.ID == p.ID && old.InvoiceID == p.InvoiceID && old.OnAccount == p.OnAccount && old.Refund == p.Refund && old.Amount == p.Amount && old.On == p.On {
			return true, nil
		}
		return false, usedBefore(old.Amount)
	}
	return false, nil
}

func usedBefore(amount journal.Cents) error {
	return journal.Errorf(journal.Conflict, "This form was sent before, with %s, and that is recorded. Please open a new form for another one.", max(amount, -amount))
}

// checkDeposit refuses more than is asked for of the deposit.
func checkDeposit(a billing.Account, amount journal.Cents) error {
	if left := billing.DepositAsked(a); amount > left {
		return journal.Problems{"amount": fmt.Sprintf("The agreed deposit is %s, and %s of it is still to come; please enter at most that.", a.Terms.Deposit, left)}.Err()
	}
	return nil
}

func paymentKind(p journal.Payment) string {
	switch {
	case p.Refund:
		return "refund"
	case p.InvoiceID == "" && !p.OnAccount:
		return "deposit"
	}
	return "payment"
}

// paymentDetail is what the record says of a payment. What was added to payments
// later is named only where it is set, so that it compares with events of before.
func paymentDetail(p journal.Payment) map[string]any {
	detail := map[string]any{
		"invoice": p.InvoiceID, "amount": p.Amount, "on": p.On, "means": p.Means,
		"reference": p.Reference, "reverses": p.ReversesID, "reason": p.Reason,
	}
	if p.ReceiptID != "" {
		detail["receipt"] = p.ReceiptID
	}
	if p.OnAccount {
		detail["on_account"] = true
	}
	if p.Refund {
		detail["refund"] = true
	}
	return detail
}
