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
	// OnAccount is what of it money on account has paid.
	OnAccount journal.Cents
}

// Name returns "Invoice 31".
func (i InvoiceItem) Name() string {
	return UpperFirst(billing.Document{Kind: i.Kind, Number: i.Number}.Name())
}

// PaymentItem is one sum that came in or went back, or a part of one.
type PaymentItem struct {
	ID         journal.PaymentID // what reversing it is told
	On         journal.Date
	Amount     journal.Cents // negative for a reversal or a refund
	Means      journal.Means
	Reference  string
	For        string    // "invoice 31", "the deposit", "on account"; of several parts joined
	Parts      []PaidFor // when it is for several things
	Refund     bool      // money sent back to the owner, or its reversal
	Reversed   bool      // taken back by a later record
	Reversal   bool      // is such a record
	Reason     string    // of a reversal or a refund
	RecordedAt time.Time
}

// Sum returns the amount without its sign.
func (p PaymentItem) Sum() journal.Cents { return max(p.Amount, -p.Amount) }

// ForYou is For as it is said to the owner.
func (p PaymentItem) ForYou() string { return forYou(p.For) }

func forYou(what string) string {
	if what == "the account" {
		return "your account"
	}
	return what
}

// Kept reports whether it is neither taken back nor taking back.
func (p PaymentItem) Kept() bool { return !p.Reversed && !p.Reversal }

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
	Stopped   bool // the build ended early
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
	said, err := m.due()
	if err != nil {
		return "", err
	}
	if m.Stopped {
		net, err := m.Net(m.Statement, "you")
		if err != nil {
			return "", err
		}
		said += net
	}
	toBill, err := m.Money(m.Statement.ToBill)
	if err != nil || m.Statement.ToBill == 0 {
		return said + " All that is agreed is billed.", err
	}
	if m.Stopped {
		return said + " " + toBill + " of what was agreed was not done, before tax, and is not billed.", nil
	}
	return said + " " + toBill + " of what is agreed is still to come, before tax.", nil
}

// Net says, of a build that has ended, who owes whom once what is not used of the
// deposit is set against what is due; "" where only one of them is there. owner
// names the owner's side: "you", "the owner".
func (w Words) Net(s billing.Statement, owner string) (string, error) {
	if s.DepositUnearned <= 0 || s.Due <= 0 {
		return "", nil
	}
	const taken = " With what is not used of the deposit taken off, "
	left := s.Due - s.DepositUnearned
	switch {
	case left > 0:
		amount, err := w.Money(left)
		return taken + amount + " is left to pay.", err
	case left < 0:
		amount, err := w.Money(-left)
		return taken + "the shop owes " + owner + " " + amount + ".", err
	}
	return taken + "nobody owes anything.", nil
}

// due says how much is to pay and by when, or what is in the owner's favour.
func (m Money) due() (string, error) {
	open := m.Open()
	switch {
	case m.Statement.Due < 0:
		credit, err := m.Money(-m.Statement.Due)
		return "Nothing is due now. " + credit + " stands in your favour; it pays the next invoice by itself, or ask the shop to send it back.", err
	case m.Statement.Due == 0 || len(open) == 0:
		return "Nothing is due now.", nil
	}
	due, err := m.Money(m.Statement.Due)
	if err != nil {
		return "", err
	}
	first := open[0]
	for _, i := range open {
		if i.DueOn < first.DueOn {
			first = i
		}
	}
	day, err := m.Day(first.DueOn)
	if err != nil {
		return "", err
	}
	what, when := "", " to pay by "+day
	if len(open) > 1 {
		part, err := m.Money(first.Open)
		if err != nil {
			return "", err
		}
		what, when = " on "+counted(len(open), "invoice", "invoices"), "; the first, "+part+", by "+day
	}
	if first.Late > 0 {
		when = ". It was due on " + day
		if len(open) > 1 {
			when = ". The first was due on " + day
		}
	}
	return due + " is due" + what + when + ".", nil
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
	Stage     string // name of the stage whose close issued it; ""
	WorkOn    string // name of the stage whose logged work so far it bills; ""
	Lines     []InvoiceLine
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

// ByCredit returns what credit has settled, without money on account; negative:
// used up for other documents.
func (i Invoice) ByCredit() journal.Cents { return i.Balance.Credited - i.Balance.OnAccount }

// Late returns the calendar days past due while something is open; 0 otherwise.
func (i Invoice) Late() int {
	if i.Balance.Open <= 0 {
		return 0
	}
	return max(i.Document.DueOn.DaysUntil(i.Today), 0)
}

// InvoiceLine is a charge of a document with what it comes from.
type InvoiceLine struct {
	Charge billing.Charge
	From   Link         // the page, and the place on it, that it comes from
	Work   *WorkLine    // logged work; nil for other charges
	Day    journal.Date // of logged work
}

// Ceiling reports whether the line keeps logged work to its ceiling.
func (l InvoiceLine) Ceiling() bool { return l.Charge.Source == billing.CeilingHeld }

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
