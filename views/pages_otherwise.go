package views

import (
	"strings"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// OtherwiseForm is what the office typed about a decision that did not come
// through the paper's page. The field names are "outcome" ("signed" or
// "declined"), "person" (an id), "parts_back" ("yes"), "reason", and by form
//
//   - .../by-phone: "called_on", "called_time" (09:30), "phone" and "spoke_with"
//   - .../on-paper: "name", "signed_on" and the file "scan"
//
// with hidden "revision", "sha256", "delta" and "total" in cents, as shown.
type OtherwiseForm struct {
	Outcome    string
	Person     string
	PartsBack  string
	Reason     string
	CalledOn   string
	CalledTime string
	Phone      string
	SpokeWith  string
	Name       string
	SignedOn   string
}

// Otherwise is the office's part of a paper that is out: to whom it goes by post,
// and the forms for what was agreed by phone or signed by hand. Piece "otherwise".
type Otherwise struct {
	Words
	Action   string // the paper's address
	Sheet    SheetView
	Parties  []Party
	Postings []PostingLine
	ByPhone  bool // it can be agreed by phone
	Phone    OtherwiseForm
	Paper    OtherwiseForm
	PhoneBad journal.Problems
	PaperBad journal.Problems
	PostBad  journal.Problems
}

// PostingLine is one revision that goes to somebody by post.
type PostingLine struct {
	signoff.Posting
	Name    string
	Address string // postal; "" if not known
}

// PersonOptions offers who decided.
func (o Otherwise) PersonOptions() []Option {
	var options []Option
	for _, p := range o.Parties {
		if o.Sheet.Sheet.OwnerOnly() && p.Member.As != journal.AsOwner {
			continue
		}
		options = append(options, Option{Value: string(p.Person.ID), Text: p.Person.Name, Help: string(p.Member.As) + phoneOf(p.Person)})
	}
	return options
}

func phoneOf(p journal.Person) string {
	if p.Phone == "" {
		return ""
	}
	return ", " + p.Phone
}

// ConfirmPhone is what the owner's side sees of an agreement by phone, piece
// "confirm-phone". Its forms post to .../confirm with "name" and "answer" =
// "yes", or "no" with "text".
type ConfirmPhone struct {
	Words
	Action     string
	Answer     *signoff.Confirmation // nil until somebody answered
	CanConfirm bool
	Name       string // as typed
	Text       string
	Problems   journal.Problems
}

// Heading says what was decided, how and by whom: "Signed by Ada Lindqvist".
func (v DecisionView) Heading() string {
	return decisionHeading(v.Decision.Outcome, v.Decision.Manner, v.Decision.TypedName)
}

func decisionHeading(o signoff.Outcome, how signoff.Manner, name string) string {
	switch {
	case how == signoff.ByPhone && o == signoff.OutcomeSigned:
		return "Agreed by phone: " + name
	case how == signoff.ByPhone:
		return "Declined by phone: " + name
	case how == signoff.OnPaper && o == signoff.OutcomeSigned:
		return "Signed on paper by " + name
	case how == signoff.OnPaper:
		return "Declined on paper by " + name
	case o == signoff.OutcomeSigned:
		return "Signed by " + name
	}
	return "Declined by " + name
}

// Did is [DecisionView.Heading] inside a sentence: "signed by Ada Lindqvist",
// "agreed by phone: Ada Lindqvist".
func (v DecisionView) Did() string {
	h := v.Heading()
	return strings.ToLower(h[:1]) + h[1:]
}

// DecidedAt is when the person decided.
func (v DecisionView) DecidedAt() time.Time { return v.Decision.DecidedAt() }

// Spoken and ByHand report how it was decided, where not on its page.
func (v DecisionView) Spoken() bool { return v.Decision.Manner == signoff.ByPhone }

// ByHand reports whether it was signed on the printed paper.
func (v DecisionView) ByHand() bool { return v.Decision.Manner == signoff.OnPaper }
