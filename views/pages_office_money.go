package views

import (
	"farbay/journal"
	"farbay/journal/billing"
)

// OpenInvoice is a document with something still to pay.
type OpenInvoice struct {
	ID      journal.InvoiceID
	Balance billing.Balance
	Stage   string // name of the stage whose close issued it; "" otherwise
	Late    int    // days past its due day; 0 when not late
}

// PaymentForm is what was typed for a payment. The field names are "invoice" (an
// id, or "deposit"), "amount", "on", "means", "reference".
type PaymentForm struct {
	Invoice   string
	Amount    string
	On        string
	Means     string
	Reference string
}

// PaymentNew is the form that records a payment. It posts to
// /builds/ID/payments.
type PaymentNew struct {
	Frame
	Open         []OpenInvoice
	DepositAsked journal.Cents // by the terms
	DepositIn    journal.Cents // received so far
	Form         PaymentForm
	Problems     journal.Problems
}

// PaymentLine is a recorded payment.
type PaymentLine struct {
	Payment  journal.Payment
	For      string // "invoice 31", "deposit"
	By       string // name of who recorded it
	Reversed bool   // undone by a later one
}

// StaffMoney is what the office can do about a build's money: the part of the
// money page that owners and the floor do not get. Reversing posts to
// .../payments/ID/reverse ("reason"), billing changes to .../invoices, releasing
// to .../holdback/release.
type StaffMoney struct {
	Build    journal.Build
	Open     []OpenInvoice
	Payments []PaymentLine // newest first
	// Unbilled are signed changes on stages that are closed already; they can be
	// billed at once.
	Unbilled []billing.Charge
	HeldBack journal.Cents
	// ReleaseWhy says in a sentence why the holdback cannot be released yet; ""
	// when it can.
	ReleaseWhy string
	// ReverseID is the payment whose reversal was refused, with what was typed.
	ReverseID journal.PaymentID
	Reason    string
	Problems  journal.Problems // field "reason"
}
