package billing

import "farbay/journal"

// Next returns the document that bills the agreed charges named by refs, issued
// on the given day: an invoice, or a credit memo when they come to less than
// nothing. closesStageID is the stage whose close it is, or "". Its ID and
// Number are left for the caller.
//
// ok is false, without an error, when there is nothing to bill: no refs, or
// only charges of zero. Charges that merely cancel each other out are billed,
// with a document of zero.
//
// Amounts follow the package comment: the charges' sum, tax on it, holdback,
// deposit credit. Issued documents are taken as they are, never re-decided.
//
// It returns [journal.Conflict] when a charge is billed already, named twice,
// or not agreed; [journal.Invalid] when the terms are not valid or there is no
// day. Pure.
func Next(a Account, refs []string, on journal.Date, closesStageID string) (d Document, ok bool, err error) {
	if err := ready(a, on); err != nil {
		return Document{}, false, err
	}
	t := tallyOf(a, closesStageID)
	charges, err := pick(a, t, refs)
	if err != nil {
		return Document{}, false, err
	}
	if !anyAmount(charges) {
		return Document{}, false, nil
	}

	d = Document{Kind: Invoice, Charges: charges, IssuedOn: on, ClosesStageID: closesStageID}
	var total journal.Cents
	d.Subtotal, d.Tax, total = Totals(charges, a.Terms.Tax)
	if total < 0 {
		d.Kind = CreditMemo
	} else {
		d.DueOn = on.AddDays(a.Terms.DueDays)
	}
	d.Holdback = holdback(a, t, d.Subtotal, total)
	d.DepositCredit = depositCredit(a, t, d.Subtotal, total-d.Holdback)
	d.Payable = total - d.Holdback - d.DepositCredit
	return d, true, nil
}

// Release returns the document that lets go of all that is held back, for the
// delivery acceptance. What is left of the deposit is credited to it by the
// same rule as to an invoice. ok is false when nothing is held.
//
// Documents issued after a release hold nothing back, so bill what is to bear
// holdback first. It returns [journal.Invalid] when the terms are not valid or
// there is no day. Pure.
func Release(a Account, on journal.Date) (d Document, ok bool, err error) {
	if err := ready(a, on); err != nil {
		return Document{}, false, err
	}
	t := tallyOf(a)
	if t.held == 0 {
		return Document{}, false, nil
	}
	d = Document{Kind: HoldbackRelease, Holdback: -t.held, IssuedOn: on, DueOn: on.AddDays(a.Terms.DueDays)}
	d.DepositCredit = depositCredit(a, t, 0, t.held)
	d.Payable = t.held - d.DepositCredit
	return d, true, nil
}

// Cancel returns the credit memo that takes a whole invoice back, figure by
// figure; the charges on it can then be billed again. Deposit that the invoice
// used becomes unearned again. Holdback is given back as far as it is still
// held. The memo settles the invoice first; see [Open].
//
// It returns [journal.NotFound] when there is no such document,
// [journal.Conflict] when it is no invoice or is cancelled already, and
// [journal.Invalid] when there is no day. Pure.
func Cancel(a Account, documentID string, on journal.Date) (Document, error) {
	if err := ready(a, on); err != nil {
		return Document{}, err
	}
	invoice, ok := a.document(documentID)
	if !ok {
		return Document{}, journal.Errorf(journal.NotFound, "There is no such invoice.")
	}
	if invoice.Kind != Invoice {
		return Document{}, journal.Errorf(journal.Conflict, "Only an invoice can be cancelled; this is a %s.", invoice.Kind)
	}
	for _, d := range a.Documents {
		if d.Cancels == documentID {
			return Document{}, journal.Errorf(journal.Conflict, "Invoice %d was cancelled by credit memo %d already.", invoice.Number, d.Number)
		}
	}
	d := Document{
		Kind: CreditMemo, IssuedOn: on, Cancels: documentID,
		Subtotal: -invoice.Subtotal, Tax: -invoice.Tax, DepositCredit: -invoice.DepositCredit,
		Holdback: max(-invoice.Holdback, -tallyOf(a).held),
	}
	for _, c := range invoice.Charges {
		c.Split = negate(c.Split)
		d.Charges = append(d.Charges, c)
	}
	d.Payable = d.Total() - d.Holdback - d.DepositCredit
	return d, nil
}

func ready(a Account, on journal.Date) error {
	if on.IsZero() {
		return journal.Errorf(journal.Invalid, "Please give the day of issue.")
	}
	return a.Terms.Validate()
}

// pick returns the charges named by refs, in the order of [billable].
func pick(a Account, t tally, refs []string) ([]Charge, error) {
	wanted := make(map[string]bool, len(refs))
	for _, ref := range refs {
		if wanted[ref] {
			return nil, journal.Errorf(journal.Conflict, "The same item was named twice; nothing was billed.")
		}
		if t.times[ref] > 0 {
			return nil, journal.Errorf(journal.Conflict, "\"%s\" is billed already; nothing was billed twice.", a.textOf(ref))
		}
		wanted[ref] = true
	}
	var charges []Charge
	named := map[string]int{} // of a metered stage's charges: 1 some are named, 2 some are not
	for _, c := range billable(a, t) {
		if wanted[c.Ref] {
			delete(wanted, c.Ref)
			charges = append(charges, c)
			named[c.StageID] |= 1
		} else if t.meters[c.StageID] != nil {
			named[c.StageID] |= 2
		}
	}
	if len(wanted) > 0 {
		return nil, journal.Errorf(journal.Conflict, "Only what was agreed can be billed, and %d of these items are not; nothing was billed.", len(wanted))
	}
	for _, m := range a.Metered {
		if named[m.StageID] == 3 {
			return nil, journal.Errorf(journal.Conflict, "The logged work of a stage is billed together; nothing was billed.")
		}
	}
	return charges, nil
}

// textOf returns the text of an agreed or logged charge.
func (a Account) textOf(ref string) string {
	for _, charges := range [][]Charge{a.Agreed, a.Work} {
		for _, c := range charges {
			if c.Ref == ref {
				return c.Text
			}
		}
	}
	return ref
}

func anyAmount(charges []Charge) bool {
	for _, c := range charges {
		if c.Split != (journal.Split{}) {
			return true
		}
	}
	return false
}

// holdback returns what a document of that subtotal and total (with tax) keeps
// back (package comment, "Holdback").
func holdback(a Account, t tally, subtotal, total journal.Cents) journal.Cents {
	if t.released {
		return 0
	}
	limit := a.Terms.Limit()
	toDate := max(t.billed+subtotal, 0).MulDiv(int64(a.Terms.HoldbackRate), int64(whole))
	if limit.OfPrice > 0 {
		toDate = min(toDate, cutOff(max(t.agreed, 0), limit.OfPrice))
	}
	held := toDate - t.held
	if total < 0 {
		return min(max(held, total), 0)
	}
	if limit.OfPayment > 0 {
		held = min(held, cutOff(max(subtotal, 0), limit.OfPayment))
	}
	return max(min(held, total), 0)
}

// depositCredit returns what the deposit covers of a document of that subtotal
// that leaves payable to pay before it (package comment, "Deposit").
func depositCredit(a Account, t tally, subtotal, payable journal.Cents) journal.Cents {
	deposit := a.DepositReceived - a.DepositRefunded
	billed := t.billed + subtotal
	var toDate journal.Cents
	switch {
	case billed <= 0:
		toDate = 0
	case billed >= t.agreed:
		toDate = deposit
	case a.Terms.Crediting == LastFirst:
		toDate = max(deposit-(t.agreed-billed), 0)
	case a.Terms.Crediting == FirstFirst:
		toDate = deposit
	case a.Terms.Crediting == ShareOfEach:
		toDate = min(billed.MulDiv(int64(a.Terms.DepositShare), int64(whole)), deposit)
	default:
		toDate = deposit.MulDiv(int64(billed), int64(t.agreed))
	}
	return max(min(toDate-t.covered, payable), 0)
}

// DepositAsked returns what of the deposit is still to come: until it has come in
// whole the rest of it; what invoices have used and a receipt that bounced does not
// cover any more; and where it is filled up again at a floor, once no more than that
// is left and something is still to bill, what was used. Pure.
func DepositAsked(a Account) journal.Cents {
	t := tallyOf(a)
	left := a.DepositReceived - a.DepositRefunded - t.covered
	if missing := max(a.Terms.Deposit-a.DepositReceived, -left); missing > 0 {
		return missing
	}
	if a.Terms.Crediting != FirstFirst || a.Terms.Deposit == 0 || left > a.Terms.RefillFloor || t.billed >= t.agreed {
		return 0
	}
	return a.Terms.Deposit - left
}

func negate(s journal.Split) journal.Split {
	return journal.Split{Labour: -s.Labour, Parts: -s.Parts, Outside: -s.Outside, Delivery: -s.Delivery, Other: -s.Other}
}
