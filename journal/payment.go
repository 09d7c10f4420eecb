package journal

import "time"

// Means is how money came.
type Means string

const (
	Cheque Means = "cheque"
	Wire   Means = "wire"
	Card   Means = "card"
	Cash   Means = "cash"
)

// MeansOffered lists all means in the order they are offered.
var MeansOffered = []Means{Cheque, Wire, Card, Cash}

// Payment is money received for an invoice, on account or as the build's
// deposit, or sent back to the owner. It is never changed; a bounced one is undone
// by a second payment that names it in ReversesID and has the opposite amount.
type Payment struct {
	ID        PaymentID
	BuildID   BuildID
	ReceiptID PaymentID // shared by the payments that came in one sum; "" for one that came alone
	InvoiceID InvoiceID // "" for the deposit or on account
	// OnAccount: for no invoice in particular; it settles the oldest that is open.
	OnAccount bool
	// Refund: money sent back, out of the deposit or, with OnAccount, of what
	// stands in the owner's favour. Also on what reverses one.
	Refund     bool
	Amount     Cents // negative for a reversal or a refund, positive for the reversal of a refund
	On         Date
	Means      Means
	Reference  string // cheque number, wire or card reference
	ReversesID PaymentID
	Reason     string // of a reversal or a refund
	RecordedBy PersonID
	RecordedAt time.Time
}

// Validate checks what a person can enter, field by field. What is open on the
// invoice is checked elsewhere.
func (p Payment) Validate() error {
	bad := Problems{}
	switch {
	case p.ReversesID != "":
	case p.Refund && p.Amount >= 0:
		bad.Add("amount", "Please type what was sent back, above zero.")
	case !p.Refund && p.Amount <= 0:
		bad.Add("amount", "Please type what was received, above zero.")
	}
	if p.Amount > MaxCents || p.Amount < -MaxCents {
		bad.Add("amount", "That is more than %s; please check the number of digits.", MaxCents)
	}
	if p.On.IsZero() {
		day := "received"
		if p.Refund {
			day = "sent"
		}
		bad.Add("on", "Please say on which day it was %s.", day)
	}
	CheckDay(bad, "on", p.On)
	known := false
	for _, m := range MeansOffered {
		known = known || p.Means == m
	}
	if !known {
		bad.Add("means", "Please choose how it was paid.")
	}
	CheckLine(bad, "reference", p.Reference, 0, 120, "Please keep the reference to 120 characters on one line.")
	switch {
	case p.ReversesID != "":
		CheckLine(bad, "reason", p.Reason, 1, 300, "Please say why it is reversed, such as: cheque returned by the bank.")
	case p.Refund:
		CheckLine(bad, "reason", p.Reason, 1, 300, "Please say for the owner why it is sent back.")
	}
	return bad.Err()
}
