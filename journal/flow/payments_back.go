package flow

import (
	"context"
	"slices"

	"farbay/journal"
	"farbay/journal/billing"
)

// ReversePayment undoes a receipt, for instance a bounced cheque, or a refund that
// never reached the owner, by records with the opposite amounts, and tells the
// owners. id is that of a payment that came alone, of a refund, or of a receipt, all
// of whose payments are then reversed at once. Where invoices have used a deposit
// that bounces, they stand, and it is asked for again. Office only.
//
// It returns [journal.Invalid] beside reason, [journal.NotFound] when there is no
// such receipt, and [journal.Conflict] when it was reversed before or is only a part
// of one.
func (s *Steps) ReversePayment(ctx context.Context, a Actor, build journal.BuildID, id journal.PaymentID, reason string) error {
	return s.asOfficeOn(ctx, a, build, func(tx Tx, b journal.Build) error {
		payments, err := tx.Payments(build)
		if err != nil {
			return err
		}
		parts, err := toReverse(payments, id)
		if err != nil {
			return err
		}
		receipt := journal.PaymentID("")
		if len(parts) > 1 {
			receipt = journal.PaymentID(s.NewID())
		}
		for i := range parts {
			p := &parts[i]
			p.ReversesID = p.ID
			p.ID, p.ReceiptID, p.Amount, p.On = journal.PaymentID(s.NewID()), receipt, -p.Amount, s.today(tx)
			p.Reason, p.RecordedBy, p.RecordedAt = reason, a.Person.ID, s.at()
			if err := p.Validate(); err != nil {
				return err
			}
			if err := s.addPayment(tx, a, *p, "reversed"); err != nil {
				return err
			}
		}
		return s.writeOfPayments(tx, b, parts)
	})
}

// toReverse returns all payments of one receipt.
func toReverse(payments []journal.Payment, id journal.PaymentID) ([]journal.Payment, error) {
	reversed := map[journal.PaymentID]journal.Date{}
	for _, p := range payments {
		if p.ReversesID != "" {
			reversed[p.ReversesID] = p.On
		}
	}
	var parts []journal.Payment
	for _, p := range payments {
		if id == "" || p.ID != id && p.ReceiptID != id {
			continue
		}
		switch on, gone := reversed[p.ID]; {
		case p.ReversesID != "":
			return nil, journal.Errorf(journal.Conflict, "This record reverses a payment and cannot be reversed; please record the payment anew.")
		case gone:
			return nil, journal.Errorf(journal.Conflict, "This payment was reversed already, on %s.", on)
		case p.ReceiptID != "" && p.ReceiptID != id:
			return nil, journal.Errorf(journal.Conflict, "This payment came in one sum with others; please reverse the whole sum.")
		}
		parts = append(parts, p)
	}
	if len(parts) == 0 {
		return nil, journal.Errorf(journal.NotFound, "There is no such payment.")
	}
	return parts, nil
}

// Refund is money sent back to the owner.
type Refund struct {
	ID        journal.PaymentID // made with the form
	Deposit   bool              // out of the deposit; else of what stands in the owner's favour
	Amount    journal.Cents     // above zero
	On        journal.Date
	Means     journal.Means
	Reference string
	Reason    string // for the owner
}

// payment is the refund as it is recorded.
func (r Refund) payment() journal.Payment {
	return journal.Payment{
		ID: r.ID, OnAccount: !r.Deposit, Refund: true, Amount: -r.Amount, On: r.On, Means: r.Means, Reference: r.Reference, Reason: r.Reason,
	}
}

// RecordRefund records money sent back: never more of the deposit than is not
// earned, nor more than stands in the owner's favour. The second time for the same
// form it does nothing. Office only.
//
// It returns [journal.Invalid] with sentences for amount, on, means, reference and
// reason, and [journal.Conflict] when the form was sent before with other figures.
func (s *Steps) RecordRefund(ctx context.Context, a Actor, build journal.BuildID, r Refund) error {
	if err := asOffice(a); err != nil {
		return err
	}
	if !isFormID(string(r.ID)) {
		return journal.Errorf(journal.Invalid, "This form has lost its number; please open it again and type the refund once more.")
	}
	return s.onBuild(ctx, a, build, func(tx Tx, b journal.Build) error {
		p := r.payment()
		again, err := recordedBefore(tx, build, p)
		if again || err != nil {
			return err
		}
		acc, err := s.account(tx, b)
		if err != nil {
			return err
		}
		bad := journal.Problems{}
		if err := addProblems(bad, s.checkReceived(tx, p)); err != nil {
			return err
		}
		check := billing.CheckRefund
		if r.Deposit {
			check = billing.CheckDepositRefund
		}
		if err := addProblems(bad, check(acc, r.Amount)); err != nil {
			return err
		}
		if err := bad.Err(); err != nil {
			return err
		}
		p.BuildID, p.RecordedBy, p.RecordedAt = build, a.Person.ID, s.at()
		if err := s.addPayment(tx, a, p, "sent"); err != nil {
			return err
		}
		return s.writeOfPayments(tx, b, []journal.Payment{p})
	})
}

// writeOfPayments tells the owners of one receipt, one refund, or its reversal, and
// what is due then.
func (s *Steps) writeOfPayments(tx Tx, b journal.Build, payments []journal.Payment) error {
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
	sum := payments[0]
	sum.Amount = 0
	var parts []PaidFor
	for _, p := range payments {
		sum.Amount += p.Amount
		parts = append(parts, PaidFor{What: paidFor(acc, p), OnAccount: p.OnAccount, Amount: p.Amount})
	}
	for _, owner := range owners {
		letter := PaymentLetter{
			ShopName: shop.Name, To: owner, Payment: sum, Nickname: b.Nickname, For: parts,
			StillDue: billing.Due(acc), Path: "/builds/" + string(b.ID) + "/money",
		}
		if _, err := s.post(tx, b.ID, owner, letter); err != nil {
			return err
		}
	}
	return nil
}

// paidFor names in the middle of a sentence what a payment is for.
func paidFor(a billing.Account, p journal.Payment) string {
	i := slices.IndexFunc(a.Documents, func(d billing.Document) bool { return d.ID == string(p.InvoiceID) && d.ID != "" })
	switch {
	case i >= 0:
		return a.Documents[i].Name()
	case p.OnAccount:
		return "the account"
	}
	return "the deposit"
}
