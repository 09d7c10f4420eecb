package views

import (
	"time"

	"farbay/journal"
	"farbay/journal/billing"
)

// InvoiceItem is one issued document in a list.
type InvoiceItem struct {
	ID      journal.InvoiceID
	Kind    billing.DocumentKind
	Number  int
	Stage   string // name of the stage whose close issued it; ""
	On      journal.Date
	DueOn   journal.Date  // zero for credit memos
	Total   journal.Cents // with tax
	Payable journal.Cents // after deposit credit and holdback
	Open    journal.Cents // negative: in the owner's favour
	Late    int           // calendar days past due while open; 0 otherwise
}

// Name returns "Invoice 31".
func (i InvoiceItem) Name() string {
	return UpperFirst(billing.Document{Kind: i.Kind, Number: i.Number}.Name())
}

// PaymentItem is one recorded payment.
type PaymentItem struct {
	ID         journal.PaymentID
	On         journal.Date
	Amount     journal.Cents // negative for a reversal
	Means      journal.Means
	Reference  string
	For        string // "invoice 31", "the deposit"
	Reversed   bool   // taken back by a later record
	Reversal   bool   // is such a record
	Reason     string // of a reversal
	RecordedAt time.Time
}

// MoneyStage is a stage's line of a statement.
type MoneyStage struct {
	Name  string // "Not borne by a stage" for the rest
	Href  string // the stage's page; "" for none
	State journal.StageState
	Row   billing.StageRow
}

// Money is the statement of a build for its owners: it always adds up.
type Money struct {
	Frame
	Agreed    bool // the agreement is recorded; before it nothing is agreed
	Statement billing.Statement
	Deposit   journal.Cents       // asked for by the terms
	Holdback  journal.BasisPoints // of the terms
	Stages    []MoneyStage
	Invoices  []InvoiceItem // newest first
	Payments  []PaymentItem // newest first
	Today     journal.Date
}

// Template names the page's template.
func (Money) Template() string { return "owner/money" }

// Open returns the invoices with something to pay, oldest first.
func (m Money) Open() []InvoiceItem {
	var open []InvoiceItem
	for i := len(m.Invoices) - 1; i >= 0; i-- {
		if m.Invoices[i].Open > 0 {
			open = append(open, m.Invoices[i])
		}
	}
	return open
}

// DepositWanting returns what of the deposit is not in yet; never negative.
func (m Money) DepositWanting() journal.Cents {
	return max(m.Deposit-m.Statement.DepositReceived, 0)
}

// Now says in plain sentences what is to pay.
func (m Money) Now() (string, error) {
	if !m.Agreed {
		return "Nothing is agreed yet, so nothing is billed.", nil
	}
	said := "Nothing is due now."
	switch {
	case m.Statement.Due > 0:
		due, err := m.Money(m.Statement.Due)
		if err != nil {
			return "", err
		}
		said = due + " is due now."
	case m.Statement.Due < 0:
		credit, err := m.Money(-m.Statement.Due)
		if err != nil {
			return "", err
		}
		said = credit + " stands in your favour."
	}
	toBill, err := m.Money(m.Statement.ToBill)
	if err != nil || m.Statement.ToBill == 0 {
		return said + " All that is agreed is billed.", err
	}
	return said + " " + toBill + " of what is agreed is still to come, before tax.", nil
}

// TaxLine is the tax base of one line kind with the rate it was taxed at.
type TaxLine struct {
	Kind journal.LineKind
	Rate journal.BasisPoints
	Base journal.Cents
}

// Invoice is an issued document, to be read, printed and paid.
type Invoice struct {
	Frame
	Document  billing.Document
	ShopHead  string // as issued; several lines
	BillTo    string // as issued
	Truck     string // as issued
	StageID   journal.StageID
	Stage     string    // name of the stage whose close issued it; ""
	Tax       []TaxLine // kinds taxed above zero, when the rates it was issued at are known
	Balance   billing.Balance
	Payments  []PaymentItem // to this document, oldest first
	Photos    []PhotoView   // of the stage: the reason for the invoice
	Today     journal.Date
	Cancels   *Link // the invoice that this credit memo takes back; nil otherwise
	TakenBack *Link // the credit memo that takes this invoice back; nil while it stands
	// CanCancel: the reader may take it back; the form posts to .../cancel with
	// "reason".
	CanCancel bool
	Reason    string // as typed
	Problems  journal.Problems
}

// Template names the page's template.
func (Invoice) Template() string { return "owner/invoice" }

// Name returns "Invoice 31".
func (i Invoice) Name() string { return UpperFirst(i.Document.Name()) }

// Late returns the calendar days past due while something is open; 0 otherwise.
func (i Invoice) Late() int {
	if i.Balance.Open <= 0 {
		return 0
	}
	return max(i.Document.DueOn.DaysUntil(i.Today), 0)
}

// ChargePart is the part of a charge that is of one line kind.
type ChargePart struct {
	Kind   journal.LineKind
	Amount journal.Cents
}

// Parts divides a charge by line kind, leaving out kinds with nothing; none
// when it is all of one kind.
func (Invoice) Parts(c billing.Charge) []ChargePart {
	var parts []ChargePart
	for _, k := range journal.LineKinds {
		if amount := c.Split.Of(k); amount != 0 {
			parts = append(parts, ChargePart{Kind: k, Amount: amount})
		}
	}
	if len(parts) < 2 {
		return nil
	}
	return parts
}

// Now says in plain sentences what is to do about the document.
func (i Invoice) Now() (string, error) {
	open, err := i.Money(max(i.Balance.Open, -i.Balance.Open))
	if err != nil {
		return "", err
	}
	switch {
	case i.Balance.Open < 0:
		return open + " of it stands in your favour.", nil
	case i.Balance.Open == 0:
		return "Settled; nothing is left to pay.", nil
	}
	if i.Document.DueOn.IsZero() {
		return open + " is to pay.", nil
	}
	day, err := i.Day(i.Document.DueOn)
	if late := i.Late(); late > 0 {
		return open + " is to pay. It was due on " + day + ", " + Plural(late, "day", "days") + " ago.", err
	}
	return open + " is to pay by " + day + ".", err
}

var _ = declare(Money{}, Invoice{})
