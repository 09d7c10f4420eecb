package views

import (
	"fmt"
	"slices"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// Links in letters are absolute addresses.

// SignInLetter brings an owner their single-use link.
type SignInLetter struct {
	MailFrame
	Link  string
	Until time.Time
}

// Mail names the letter's text.
func (SignInLetter) Mail() string { return "sign-in" }

// SetPasswordLetter brings a person of the shop a link to choose a password.
type SetPasswordLetter struct {
	MailFrame
	Link  string
	Until time.Time
}

// Mail names the letter's text.
func (SetPasswordLetter) Mail() string { return "set-password" }

// PaperSentLetter tells an owner that a paper waits for them. With Renewed it
// says instead that a new revision replaces an earlier one, and why.
type PaperSentLetter struct {
	MailFrame
	Sheet   SheetView
	Link    string
	Renewed string // whole sentences; ""
}

// Mail names the letter's text.
func (PaperSentLetter) Mail() string { return "paper-sent" }

// QuestionLetter tells the office of a question about a paper.
type QuestionLetter struct {
	MailFrame
	Sheet   SheetView
	AskedBy string
	Text    string
	Link    string
}

// Mail names the letter's text.
func (QuestionLetter) Mail() string { return "question-asked" }

// AnswerLetter brings an owner the answer to their question.
type AnswerLetter struct {
	MailFrame
	Sheet  SheetView
	Text   string
	Answer string
	Link   string
}

// Mail names the letter's text.
func (AnswerLetter) Mail() string { return "question-answered" }

// DecisionLetter is an owner's copy of a decision; the paper's record is
// attached to the e-mail.
type DecisionLetter struct {
	MailFrame
	Sheet    SheetView
	Decision DecisionView
	Link     string // of the frozen revision
}

// Mail names the letter's text.
func (DecisionLetter) Mail() string { return "decision-copy" }

// DecidedLetter tells the office what an owner decided.
type DecidedLetter struct {
	MailFrame
	Sheet    SheetView
	Decision DecisionView
	Link     string
}

// Mail names the letter's text.
func (DecidedLetter) Mail() string { return "decided" }

// InvoiceLetter tells an owner of an issued document.
type InvoiceLetter struct {
	MailFrame
	Document billing.Document
	Nickname string
	Stage    string // whose close it comes from; ""
	Link     string
}

// Mail names the letter's text.
func (InvoiceLetter) Mail() string { return "invoice-issued" }

// Name returns "Invoice 31".
func (l InvoiceLetter) Name() string { return UpperFirst(l.Document.Name()) }

// Credit returns what is in the owner's favour; 0 for an invoice.
func (l InvoiceLetter) Credit() journal.Cents { return max(-l.Document.Payable, 0) }

// PaymentLetter tells an owner of a receipt or a refund, or that one was taken
// back.
type PaymentLetter struct {
	MailFrame
	Payment  journal.Payment // with the whole sum
	Nickname string
	For      []PaidFor
	StillDue journal.Cents // negative: in the owner's favour
	Link     string
}

// PaidFor is what of a sum is for one thing.
type PaidFor struct {
	What      string // "invoice 31", "the deposit", "the account"
	OnAccount bool
	Amount    journal.Cents
}

// Sum returns the amount without its sign.
func (p PaidFor) Sum() journal.Cents { return max(p.Amount, -p.Amount) }

// ForYou is What as it is said to the owner.
func (p PaidFor) ForYou() string { return forYou(p.What) }

// Mail names the letter's text.
func (PaymentLetter) Mail() string { return "payment-received" }

// Reversal reports whether the payment or refund was taken back.
func (l PaymentLetter) Reversal() bool { return l.Payment.ReversesID != "" }

// Received returns the amount without its sign.
func (l PaymentLetter) Received() journal.Cents { return max(l.Payment.Amount, -l.Payment.Amount) }

// Favour returns what is in the owner's favour; 0 for nothing.
func (l PaymentLetter) Favour() journal.Cents { return max(-l.StillDue, 0) }

// Several reports whether it is for several things.
func (l PaymentLetter) Several() bool { return len(l.For) > 1 }

// First returns what it is for when that is one thing.
func (l PaymentLetter) First() PaidFor { return l.For[0] }

// OnAccount reports whether some of it is on account.
func (l PaymentLetter) OnAccount() bool {
	return slices.ContainsFunc(l.For, func(p PaidFor) bool { return p.OnAccount })
}

// ReminderLetter reminds an owner of an open invoice.
type ReminderLetter struct {
	MailFrame
	Document billing.Document
	Nickname string
	Open     journal.Cents
	Late     bool // its due day has gone by
	Link     string
}

// Mail names the letter's text.
func (ReminderLetter) Mail() string { return "invoice-reminder" }

// Name returns "Invoice 31".
func (l ReminderLetter) Name() string { return UpperFirst(l.Document.Name()) }

// UseLetter tells an owner that the standing allowance was used.
type UseLetter struct {
	MailFrame
	Nickname string
	Use      signoff.Use
	Left     journal.Cents
	Link     string
}

// Mail names the letter's text.
func (UseLetter) Mail() string { return "allowance-used" }

// BelongingLetter asks an owner what is to become of a find.
type BelongingLetter struct {
	MailFrame
	Nickname string
	What     string
	Link     string
}

// Mail names the letter's text.
func (BelongingLetter) Mail() string { return "belonging-asked" }

// BelongingAnsweredLetter tells the shop what the owner wants.
type BelongingAnsweredLetter struct {
	MailFrame
	Nickname string
	What     string
	Answer   string // "keep", "ship" or "discard"
	Note     string
	By       string
	Link     string
}

// Mail names the letter's text.
func (BelongingAnsweredLetter) Mail() string { return "belonging-answered" }

// PhoneConfirmationLetter tells the office what an owner says to an agreement by
// phone.
type PhoneConfirmationLetter struct {
	MailFrame
	Sheet     SheetView
	Confirmed bool
	Name      string
	Sentence  string
	Text      string // of a dispute
	Link      string
}

// Mail names the letter's text.
func (PhoneConfirmationLetter) Mail() string { return "phone-confirmation" }

// DelegateNamedLetter tells somebody that an owner lets them decide.
type DelegateNamedLetter struct {
	MailFrame
	Nickname string
	By       string // the owners
	Paper    string // "Change order 3"
	Link     string
}

// Mail names the letter's text.
func (DelegateNamedLetter) Mail() string { return "delegate-named" }

// DelegateEndedLetter tells delegate and owners that it is over.
type DelegateEndedLetter struct {
	MailFrame
	Nickname string
	Delegate string
}

// Mail names the letter's text.
func (DelegateEndedLetter) Mail() string { return "delegate-ended" }

// CeilingLetter tells the office that logged work nears or has come to its ceiling.
type CeilingLetter struct {
	MailFrame
	Nickname string
	Stage    string
	Percent  int // 80 or 100
	Metering billing.Metering
	Link     string
}

// Mail names the letter's text.
func (CeilingLetter) Mail() string { return "ceiling" }

// Outcome returns "signed" or "declined".
func (v DecisionView) Outcome() string { return string(v.Decision.Outcome) }

// Reference returns how the paper is named in letters: "Change order 4 for
// Heron: Both front floor pans".
func (v SheetView) Reference() string {
	return fmt.Sprintf("%s for %s: %s", v.Name(), v.Sheet.Build.Nickname, v.Sheet.Title)
}

var _ = declareLetters(SignInLetter{}, SetPasswordLetter{}, PaperSentLetter{}, QuestionLetter{}, AnswerLetter{},
	DecisionLetter{}, DecidedLetter{}, UseLetter{}, BelongingLetter{}, BelongingAnsweredLetter{}, PhoneConfirmationLetter{}, DelegateNamedLetter{}, DelegateEndedLetter{}, InvoiceLetter{}, StoppedLetter{}, PaymentLetter{}, ReminderLetter{}, CeilingLetter{})
