package billing

import "farbay/journal"

// Balance is what is open on one document. Payable - Paid - Credited = Open.
type Balance struct {
	Document Document
	Paid     journal.Cents // payments to it, reversals and refunds taken off
	Credited journal.Cents // settled by credit or money on account; negative: used up for others
	Open     journal.Cents // still to pay; negative: still in the owner's favour
	// OnAccount is the part of Credited that money on account has paid; 0 or more.
	OnAccount journal.Cents
}

// Open returns the balance of every document, in order of issue.
//
// Payments count for the document they name. Then a cancelling credit memo
// settles the invoice it cancels, and whatever is left in the owner's favour on
// any document, and then the money on account, settles the oldest open ones. What
// cannot be used stays, as a negative Open or as [OnAccount]. What is due is the
// sum of all Open less what is left on account.
func Open(a Account) []Balance {
	balances, _ := settled(a)
	return balances
}

// OnAccount returns what was paid on account and has settled no document;
// negative: more was sent back than there was, so that it is owed again.
func OnAccount(a Account) journal.Cents {
	_, left := settled(a)
	return left
}

// Due returns what is due on the whole build; negative: in the owner's favour.
func Due(a Account) journal.Cents {
	balances, left := settled(a)
	due := -left
	for _, b := range balances {
		due += b.Open
	}
	return due
}

func settled(a Account) ([]Balance, journal.Cents) {
	balances := make([]Balance, len(a.Documents))
	index := make(map[string]int, len(a.Documents))
	for i, d := range a.Documents {
		balances[i] = Balance{Document: d, Open: d.Payable}
		index[d.ID] = i
	}
	var account Balance // the money on account, as if it were a credit memo
	for _, p := range a.Payments {
		b := &account
		if p.DocumentID != "" {
			i, known := index[p.DocumentID]
			if !known {
				continue // settles nothing; the statement does not add up then
			}
			b = &balances[i]
		}
		b.Paid += p.Amount
		b.Open -= p.Amount
	}
	for i, b := range balances {
		if b.Document.Cancels == "" {
			continue
		}
		if cancelled, ok := index[b.Document.Cancels]; ok {
			settle(&balances[i], &balances[cancelled])
		}
	}
	// What was sent back came out of the credit there was then, so it uses credit
	// up before any document does.
	for i := range balances {
		settle(&balances[i], &account)
	}
	oldest := 0
	use := func(credit *Balance) {
		for credit.Open < 0 && oldest < len(balances) {
			settle(credit, &balances[oldest])
			if balances[oldest].Open <= 0 {
				oldest++
			}
		}
	}
	for i := range balances {
		use(&balances[i])
	}
	byCredit := make([]journal.Cents, len(balances))
	for i, b := range balances {
		byCredit[i] = b.Credited
	}
	use(&account)
	for i := range balances {
		balances[i].OnAccount = balances[i].Credited - byCredit[i]
	}
	return balances, -account.Open
}

// settle uses what is in the owner's favour on credit for what is open on debt.
func settle(credit, debt *Balance) {
	amount := min(-credit.Open, debt.Open)
	if amount <= 0 {
		return
	}
	credit.Credited -= amount
	credit.Open += amount
	debt.Credited += amount
	debt.Open -= amount
}

// balance returns the balance of one document.
func (a Account) balance(documentID string) (Balance, bool) {
	for _, b := range Open(a) {
		if b.Document.ID == documentID && documentID != "" {
			return b, true
		}
	}
	return Balance{}, false
}

// CheckPayment says whether a payment of amount can be recorded for a document:
// above zero and at most what is open on it. It returns [journal.NotFound] when
// there is no such document, and [journal.Invalid] with a sentence for the field
// "amount".
func CheckPayment(a Account, documentID string, amount journal.Cents) error {
	b, ok := a.balance(documentID)
	if !ok {
		return journal.Errorf(journal.NotFound, "There is no such invoice.")
	}
	p := journal.Problems{}
	switch name := b.Document.Name(); {
	case amount <= 0:
		p.Add("amount", "Please enter an amount above zero; a payment that bounced is reversed instead.")
	case b.Document.Kind == CreditMemo:
		p.Add("amount", "The owner has credit on %s, so no payment can be recorded for it.", name)
	case b.Open <= 0:
		p.Add("amount", "Nothing is open any more on %s.", name)
	case amount > b.Open:
		p.Add("amount", "%s is more than the %s open on %s; please enter at most that.", amount, b.Open, name)
	}
	return p.Err()
}

// CheckRefund says whether amount, above zero, can be sent back to the owner: at
// most what stands in their favour on the whole build. The refund is recorded as a
// [Payment] of -amount on account. It returns [journal.Invalid] with a sentence
// for the field "amount".
func CheckRefund(a Account, amount journal.Cents) error {
	favour := -Due(a)
	p := journal.Problems{}
	switch {
	case amount <= 0:
		p.Add("amount", "Please enter the amount sent back, above zero.")
	case favour <= 0:
		p.Add("amount", "Nothing stands in the owner's favour.")
	case amount > favour:
		p.Add("amount", "%s is more than the %s in the owner's favour; please enter at most that.", amount, favour)
	}
	return p.Err()
}

// CheckDepositRefund says whether amount, above zero, can be sent back out of
// the deposit: at most what is unearned. It returns [journal.Invalid] with a
// sentence for the field "amount".
func CheckDepositRefund(a Account, amount journal.Cents) error {
	unearned := a.DepositReceived - a.DepositRefunded - tallyOf(a).covered
	p := journal.Problems{}
	switch {
	case amount <= 0:
		p.Add("amount", "Please enter the amount sent back, above zero.")
	case amount > unearned:
		p.Add("amount", "%s is more than the %s of the deposit not earned yet; please enter at most that.", amount, unearned)
	}
	return p.Err()
}

// Reversal returns the record that takes a payment back on the given day, for
// instance because it bounced; its ID is left for the caller. It returns
// [journal.NotFound] when there is no such payment and [journal.Conflict] when
// it is a reversal itself or reversed already.
func Reversal(a Account, paymentID string, on journal.Date) (Payment, error) {
	var found *Payment
	for i, p := range a.Payments {
		if p.Reverses == paymentID && paymentID != "" {
			return Payment{}, journal.Errorf(journal.Conflict, "This payment was reversed already, on %s.", p.On)
		}
		if p.ID == paymentID && paymentID != "" {
			found = &a.Payments[i]
		}
	}
	if found == nil {
		return Payment{}, journal.Errorf(journal.NotFound, "There is no such payment.")
	}
	if found.Reverses != "" {
		return Payment{}, journal.Errorf(journal.Conflict, "This record reverses a payment and cannot be reversed; please record the payment anew.")
	}
	return Payment{DocumentID: found.DocumentID, Amount: -found.Amount, On: on, Reverses: found.ID}, nil
}
