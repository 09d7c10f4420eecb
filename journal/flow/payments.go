package flow

import (
	"context"
	"fmt"

	"farbay/journal"
	"farbay/journal/billing"
)

// RecordPayment records money received for an invoice, or as the deposit when
// p.InvoiceID is "". p.ID comes from the form, so that sending the form twice
// records one payment: the second time it returns nil without another record.
//
// It returns [journal.Invalid] with sentences for amount, on, means, reference
// and reason; [journal.Conflict] when p.ID was used for something else.
func (s *Steps) RecordPayment(ctx context.Context, a Actor, build journal.BuildID, p journal.Payment) error {
	if err := asOffice(a); err != nil {
		return err
	}
	if !isFormID(string(p.ID)) {
		return journal.Errorf(journal.Invalid, "This form has lost its number; please open it again and type the payment once more.")
	}
	return s.onBuild(ctx, a, build, func(tx Tx, b journal.Build) error {
		p.BuildID, p.RecordedBy, p.RecordedAt, p.ReversesID = build, a.Person.ID, s.at(), ""
		again, err := recorded(tx, p)
		if again || err != nil {
			return err
		}
		if err := p.Validate(); err != nil {
			return err
		}
		if p.On > s.today(tx) {
			return journal.Problems{"on": "That day is still to come; please give the day the money came."}.Err()
		}
		acc, err := s.account(tx, b)
		if err != nil {
			return err
		}
		if p.InvoiceID == "" {
			if err := checkDeposit(acc, p.Amount); err != nil {
				return err
			}
		} else if err := billing.CheckPayment(acc, string(p.InvoiceID), p.Amount); err != nil {
			return err
		}
		if err := tx.AddPayment(p); err != nil {
			return err
		}
		if err := s.record(tx, a, build, paymentKind(p)+" received", string(p.ID), paymentDetail(p)); err != nil {
			return err
		}
		return s.thank(tx, b, p)
	})
}

// ReversePayment undoes a payment, for instance a bounced cheque, by a second
// record with the opposite amount. Where invoices have used a deposit that bounces,
// they stand, and it is asked for again.
func (s *Steps) ReversePayment(ctx context.Context, a Actor, build journal.BuildID, id journal.PaymentID, reason string) error {
	return s.asOfficeOn(ctx, a, build, func(tx Tx, b journal.Build) error {
		payments, err := tx.Payments(build)
		if err != nil {
			return err
		}
		var found *journal.Payment
		for i, p := range payments {
			if p.ReversesID == id {
				return journal.Errorf(journal.Conflict, "This payment was reversed already, on %s.", p.On)
			}
			if p.ID == id {
				found = &payments[i]
			}
		}
		if found == nil {
			return journal.Errorf(journal.NotFound, "There is no such payment.")
		}
		if found.ReversesID != "" {
			return journal.Errorf(journal.Conflict, "This record reverses a payment and cannot be reversed; please record the payment anew.")
		}
		p := *found
		p.ID, p.Amount, p.On = journal.PaymentID(s.NewID()), -found.Amount, s.today(tx)
		p.ReversesID, p.Reason, p.RecordedBy, p.RecordedAt = id, reason, a.Person.ID, s.at()
		if err := p.Validate(); err != nil {
			return err
		}
		if err := tx.AddPayment(p); err != nil {
			return err
		}
		return s.record(tx, a, build, paymentKind(p)+" reversed", string(p.ID), paymentDetail(p))
	})
}

// recorded reports whether the same payment is there already; a different one
// under the same id is a conflict.
func recorded(r Reads, p journal.Payment) (bool, error) {
	payments, err := r.Payments(p.BuildID)
	if err != nil {
		return false, err
	}
	for _, old := range payments {
		if old.ID != p.ID {
			continue
		}
		if old.InvoiceID == p.InvoiceID && old.Amount == p.Amount && old.On == p.On {
			return true, nil
		}
		return false, journal.Errorf(journal.Conflict, "This form was sent before, with %s; that payment is recorded. Please open a new form for another one.", old.Amount)
	}
	return false, nil
}

// checkDeposit refuses more than is asked for of the deposit.
func checkDeposit(a billing.Account, amount journal.Cents) error {
	if left := billing.DepositAsked(a); amount > left {
		return journal.Problems{"amount": fmt.Sprintf("The agreed deposit is %s, and %s of it is still to come; please enter at most that.", a.Terms.Deposit, left)}.Err()
	}
	return nil
}

func paymentKind(p journal.Payment) string {
	if p.InvoiceID == "" {
		return "deposit"
	}
	return "payment"
}

func paymentDetail(p journal.Payment) map[string]any {
	return map[string]any{
		"invoice": p.InvoiceID, "amount": p.Amount, "on": p.On, "means": p.Means,
		"reference": p.Reference, "reverses": p.ReversesID, "reason": p.Reason,
	}
}

// thank tells the owners that a payment came and what is still due.
func (s *Steps) thank(tx Tx, b journal.Build, p journal.Payment) error {
	acc, err := s.account(tx, b)
	if err != nil {
		return err
	}
	shop, err := tx.Shop()
	if err != nil {
		return err
	}
	owners, _, err := ownersOf(tx, b.ID)
	if err != nil {
		return err
	}
	what := "the deposit"
	for _, d := range acc.Documents {
		if d.ID == string(p.InvoiceID) {
			what = d.Name()
		}
	}
	for _, owner := range owners {
		letter := PaymentLetter{
			ShopName: shop.Name, To: owner, Payment: p, Nickname: b.Nickname, For: what,
			StillDue: billing.StatementOf(acc).Due, Path: fmt.Sprintf("/builds/%s/money", b.ID),
		}
		if _, err := s.post(tx, b.ID, owner, letter); err != nil {
			return err
		}
	}
	return nil
}
