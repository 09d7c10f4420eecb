package flow

import (
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// The letters that steps send. Each holds all that its text may say; paths are
// below the shop's base URL, which the Composer puts before them.

// SignInLetter carries a sign-in or set-password link.
type SignInLetter struct {
	ShopName string
	To       journal.Person
	Purpose  journal.LinkPurpose
	Path     string
	Until    time.Time
	Zone     *time.Location
}

// PaperSentLetter tells an owner that a paper waits for them. Renewed names why
// an earlier revision was replaced without anybody editing it; "" otherwise.
type PaperSentLetter struct {
	ShopName string
	To       journal.Person
	Sheet    signoff.Sheet
	Path     string
	Renewed  string
}

// DecisionLetter is the owner's copy of a decision, with the paper's bytes
// attached.
type DecisionLetter struct {
	ShopName string
	To       journal.Person
	Sheet    signoff.Sheet
	Decision signoff.Decision
	Zone     *time.Location
	Path     string
}

// DecidedLetter tells the office what an owner decided.
type DecidedLetter struct {
	To       journal.Person
	Sheet    signoff.Sheet
	Decision signoff.Decision
	Path     string
}

// QuestionLetter tells the office of a question, or the owner of its answer.
type QuestionLetter struct {
	ShopName string
	To       journal.Person
	Sheet    signoff.Sheet
	Question signoff.Question
	AskedBy  string
	Path     string
}

// InvoiceLetter tells an owner of an issued invoice, credit memo or release.
type InvoiceLetter struct {
	ShopName string
	To       journal.Person
	Invoice  Invoice
	Nickname string
	Stage    string // whose close it comes from; ""
	Path     string
}

// StoppedLetter tells an owner that the office has recorded the end of the build,
// without a signed paper.
type StoppedLetter struct {
	ShopName string
	To       journal.Person
	Nickname string
	On       journal.Date
	Reason   string
	Path     string
}

// PaymentLetter tells an owner of a receipt or a refund, or that one was taken
// back.
type PaymentLetter struct {
	ShopName string
	To       journal.Person
	Payment  journal.Payment // with the whole sum
	Nickname string
	For      []PaidFor
	StillDue journal.Cents // negative: in the owner's favour
	Path     string
}

// PaidFor is what of a sum is for one thing.
type PaidFor struct {
	What      string // "invoice 31", "the deposit", "the account"
	OnAccount bool
	Amount    journal.Cents
}

// ReminderLetter reminds an owner of an open invoice.
type ReminderLetter struct {
	ShopName string
	To       journal.Person
	Document billing.Document
	Nickname string
	Open     journal.Cents
	Late     bool // its due day has gone by
	Path     string
}

// UseLetter tells an owner that the standing allowance was used.
type UseLetter struct {
	ShopName string
	To       journal.Person
	Nickname string
	Use      signoff.Use
	Left     journal.Cents // of this month
	Path     string
}

// BelongingLetter asks an owner what is to become of a find.
type BelongingLetter struct {
	ShopName string
	To       journal.Person
	Nickname string
	What     string
	Path     string
}

// BelongingAnsweredLetter tells whoever asked what the owner wants.
type BelongingAnsweredLetter struct {
	To       journal.Person
	Nickname string
	What     string
	Answer   journal.Answered
	By       string
	Path     string
}

// ConfirmationLetter tells the office what an owner says to a paper that was
// agreed by phone.
type ConfirmationLetter struct {
	To           journal.Person
	Sheet        signoff.Sheet
	Confirmation signoff.Confirmation
	Path         string
}

// DelegateNamedLetter tells somebody that an owner lets them decide.
type DelegateNamedLetter struct {
	ShopName string
	To       journal.Person
	Nickname string
	By       []string // the owners' names
	Paper    string   // "Change order 3"
	Path     string
}

// DelegateEndedLetter tells delegate and owners that this is over.
type DelegateEndedLetter struct {
	ShopName string
	To       journal.Person
	Nickname string
	Delegate string
}

// CeilingLetter tells the office that the logged work of a stage by time and
// materials has come to a share of its ceiling.
type CeilingLetter struct {
	To       journal.Person
	Nickname string
	Stage    string
	Percent  int // 80 or 100
	Metering billing.Metering
	Path     string
}
