package views

import (
	"farbay/journal"
	"farbay/journal/signoff"
)

// ChangeForm is what was typed for a change order. The field names are "title",
// "reason", "stage", "days", "version", those of [PickPhoto], and with N counted
// from 0 "lines.N.kind", "lines.N.text", "lines.N.hours", "lines.N.rate" and
// "lines.N.amount". A line with nothing in text, hours and amount is left out.
type ChangeForm struct {
	Title   string
	Reason  string
	Stage   string // stage id
	Days    string // working days; may be negative
	Lines   []LineForm
	Version int // of the paper as read
}

// LineForm is one line of a [ChangeForm].
type LineForm struct {
	Kind   string // a [journal.LineKind]
	Text   string
	Hours  string // labour only
	Rate   string // labour only
	Amount string // all but labour
}

// PaperEdit is the form for a change order. It posts to
// /builds/ID/papers/ID/edit with button "do" = "save", "add" (a line more) or
// "preview".
type PaperEdit struct {
	Frame
	Paper    signoff.Paper
	Name     string // "Change order 4", "New change order"
	Form     ChangeForm
	Stages   []journal.Stage
	Photos   []PickPhoto // chosen ones first, then the find's, then the build's recent ones
	Totals   ChangeTotals
	Problems journal.Problems
}

// ChangeTotals is what a change order as stored would come to.
type ChangeTotals struct {
	Known       bool // false while the form has problems or nothing is stored
	Delta       journal.Split
	Tax         journal.Cents
	Days        int
	AgreedAfter journal.Cents // before tax
	TotalAfter  journal.Cents // with tax
	DateAfter   journal.Date  // "" when none is agreed
}

// PaperPreview is a change order as the owner will see it, before it is sent.
// Its form posts to /builds/ID/papers/ID/send with "version".
type PaperPreview struct {
	Frame
	Paper   signoff.Paper
	Sheet   signoff.Sheet // as it would be frozen; number, revision and time are those expected
	To      []Party       // who will be asked
	Missing []string      // sentences; what must be put right before it can be sent
	// Replaces is the revision out for sign-off that sending would replace; 0
	// when there is none.
	Replaces int
}

// StaffPaper is a paper as the shop sees it: state, questions, revisions, the
// decision in full. Its forms post to .../recall and
// .../questions/ID/answer ("text").
type StaffPaper struct {
	Frame
	Paper     signoff.Paper
	Name      string        // "Change order 4"; "Draft change order" before the first sending
	Sheet     signoff.Sheet // of the last revision
	SHA256    string        // of the last revision
	Changed   bool          // whether the draft differs from the last revision
	Find      *journal.Entry
	To        []Party
	Revisions []RevisionLine // newest first
	Questions []QuestionLine // oldest first
	Decision  *signoff.Decision
	Decider   string // name of the account that decided; "" without a decision
	Answer    string // as typed, for the question AnswerTo
	AnswerTo  journal.QuestionID
	Problems  journal.Problems // field "text": of the answer
}

// RevisionLine is one frozen revision in a list.
type RevisionLine struct {
	Revision signoff.Revision
	By       string // name; "" when the program renewed it
}

// QuestionLine is a question with its people's names.
type QuestionLine struct {
	Question   signoff.Question
	AskedBy    string
	AnsweredBy string
}
