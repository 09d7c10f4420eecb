package views

import (
	"farbay/journal"
	"farbay/journal/billing"
)

// PaymentForm is what was typed for a receipt. The field names are "amount", "on",
// "means", "reference", "deposit", "keep_rest" ("yes"), "id", and for the row N of
// [PaymentNew] "for.N.invoice" and "for.N.amount".
type PaymentForm struct {
	ID        string // made with the form, so that sending it twice records one receipt
	Amount    string
	On        string
	Means     string
	Reference string
	Deposit   string
	KeepRest  bool
}

// PaymentRow is an invoice that a receipt can be for, and what of it was typed.
type PaymentRow struct {
	N      int // counted from 0
	Item   InvoiceItem
	Amount string
}

// PaymentNew is the form that records what came in. It posts to
// /builds/ID/payments.
type PaymentNew struct {
	Frame
	Rows         []PaymentRow  // with something still to pay, oldest first
	DepositAsked journal.Cents // still to come of the deposit
	DepositIn    journal.Cents // received so far
	Form         PaymentForm
	Problems     journal.Problems
}

// RefundForm is what was typed for money sent back. The field names are "from"
// ("favour" or "deposit"), "amount", "on", "means", "reference", "reason" and "id".
type RefundForm struct {
	ID        string
	Source    string
	Amount    string
	On        string
	Means     string
	Reference string
	Reason    string
}

// RefundNew is the form that records money sent back to the owner. It posts to
// /builds/ID/refunds.
type RefundNew struct {
	Frame
	Favour   journal.Cents // in the owner's favour; 0 or more
	Unearned journal.Cents // of the deposit; 0 or more
	Form     RefundForm
	Problems journal.Problems
}

// StaffMoney is a build's money as the shop sees it: the statement with the acts
// of the office. Reversing posts to .../payments/ID/reverse ("reason"), billing
// changes to .../invoices, releasing to .../holdback/release.
type StaffMoney struct {
	Frame
	Agreed    bool // the agreement is recorded; before it nothing can be billed
	Stopped   bool // the build ended early
	Statement billing.Statement
	Deposit   journal.Cents // asked for by the terms
	Stages    []MoneyStage
	Invoices  []InvoiceItem // newest first
	Payments  []PaymentItem // newest first
	// Unbilled are signed changes on stages that are closed already; they can be
	// billed at once.
	Unbilled []billing.Charge
	// ReleaseWhy says in a sentence why the holdback cannot be released yet; ""
	// when it can. It counts only while something is held back.
	ReleaseWhy string
	// ReverseID is the payment whose reversal was refused, with what was typed.
	ReverseID journal.PaymentID
	Reason    string
	Problems  journal.Problems // field "reason"
}

// Favour returns what stands in the owner's favour; 0 or more.
func (p StaffMoney) Favour() journal.Cents { return max(-p.Statement.Due, 0) }

// Unearned returns what of the deposit is left; 0 or more.
func (p StaffMoney) Unearned() journal.Cents { return max(p.Statement.DepositUnearned, 0) }

// Due returns the documents with something still to pay, oldest first.
func (p StaffMoney) Due() []InvoiceItem {
	var open []InvoiceItem
	for i := len(p.Invoices) - 1; i >= 0; i-- {
		if p.Invoices[i].Open > 0 {
			open = append(open, p.Invoices[i])
		}
	}
	return open
}

// DepositWanting returns what of the deposit is not in yet; never negative.
func (p StaffMoney) DepositWanting() journal.Cents {
	return max(p.Deposit-p.Statement.DepositReceived, 0)
}

// UnbilledSum returns what the changes to be billed come to, before tax.
func (p StaffMoney) UnbilledSum() journal.Cents {
	var sum journal.Cents
	for _, c := range p.Unbilled {
		sum += c.Split.Total()
	}
	return sum
}

// Say returns what there is to do about the money, in plain sentences.
func (p StaffMoney) Say() (string, error) {
	if !p.Agreed {
		return "The agreement is not recorded yet, so nothing can be billed.", nil
	}
	said := "Nothing is due."
	if p.Favour() > 0 {
		favour, err := p.Money(p.Favour())
		if err != nil {
			return "", err
		}
		said += " " + favour + " stands in the owner’s favour."
	}
	if due := p.Due(); len(due) > 0 {
		open, err := p.Money(p.Statement.Due)
		if err != nil {
			return "", err
		}
		said = open + " is due on " + counted(len(due), "invoice", "invoices") + "."
		late := 0
		for _, i := range due {
			late = max(late, i.Late)
		}
		if late > 0 {
			said += " The oldest is " + Plural(late, "day", "days") + " late."
		}
	}
	if p.DepositWanting() > 0 {
		wanting, err := p.Money(p.DepositWanting())
		if err != nil {
			return "", err
		}
		said += " " + wanting + " of the deposit is not in yet."
	}
	if n := len(p.Unbilled); n > 0 {
		said += " " + Count(n, "signed change lies", "signed changes lie") + " on stages closed already and can be billed now."
	}
	if p.Stopped {
		net, err := p.Net(p.Statement, "the owner")
		if err != nil {
			return "", err
		}
		said += net
	}
	return said, nil
}

// ReverseForm is the form under one payment, piece "reverse-form".
type ReverseForm struct {
	Action   string
	Payment  PaymentItem
	Amount   string // in words
	Reason   string
	Problems journal.Problems
}

// Reverse returns the form that reverses a payment.
func (p StaffMoney) Reverse(item PaymentItem) (ReverseForm, error) {
	amount, err := p.Money(item.Sum())
	if err != nil {
		return ReverseForm{}, err
	}
	f := ReverseForm{Action: p.Build.URL() + "/payments/" + string(item.ID) + "/reverse", Payment: item, Amount: amount}
	if item.ID == p.ReverseID {
		f.Reason, f.Problems = p.Reason, p.Problems
	}
	return f, nil
}
