package views

import (
	"farbay/journal"
)

// BelongingForm answers what is to become of a find, piece "belonging-form". Its
// buttons post to .../entries/ID/belonging with "answer" = "keep", "ship" or
// "discard", and "note".
type BelongingForm struct {
	BuildID  journal.BuildID
	EntryID  journal.EntryID
	What     string
	Note     string // as typed
	Problems journal.Problems
}

// Action returns where the form posts to.
func (f BelongingForm) Action() string {
	return BuildRef{ID: f.BuildID}.URL() + "/entries/" + string(f.EntryID) + "/belonging"
}

// BelongingView is what stands about a find that is somebody's property, piece
// "belonging".
type BelongingView struct {
	Words
	Belonging journal.Belonging
	Names     map[journal.PersonID]string
	Form      *BelongingForm // when the reader may answer; nil otherwise
	DoneAt    string         // where the shop notes that it is done; "" if there is nothing to note
}

// AnswerLine is one answer with who gave it.
type AnswerLine struct {
	journal.Answered
	By string
}

// Answers returns the answers, the one that counts first.
func (v BelongingView) Answers() []AnswerLine {
	var all []AnswerLine
	for i := len(v.Belonging.Answers) - 1; i >= 0; i-- {
		a := v.Belonging.Answers[i]
		all = append(all, AnswerLine{a, v.Names[a.PersonID]})
	}
	return all
}

// Done reports whether the shop has done what was said.
func (v BelongingView) Done() bool { return !v.Belonging.DoneAt.IsZero() }

// DoneBy names who did it.
func (v BelongingView) DoneBy() string { return v.Names[v.Belonging.DoneBy] }

// AskForm is the shop's form that asks the owner about a find, piece "ask-form".
// It posts "what" to .../entries/ID/ask.
type AskForm struct {
	Action   string
	What     string // as typed
	Problems journal.Problems
}

// Wish says what is wanted in a few words.
func (l AnswerLine) Wish() string {
	switch l.Answer {
	case journal.Keep:
		return "Keep it until the delivery"
	case journal.Ship:
		return "Ship it now"
	}
	return "Discard it"
}
