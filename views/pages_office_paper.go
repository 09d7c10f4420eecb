package views

import (
	"strings"

	"farbay/journal"
	"farbay/journal/signoff"
)

// ChangeForm is what was typed for a change order. The field names are "title",
// "reason", "stage", "days", "version", those of [PickPhoto], and with N counted
// from 0 "lines.N.kind", "lines.N.text", "lines.N.hours", "lines.N.rate" and
// "lines.N.amount". A line with nothing in text, hours and amount is left out.
// Hours and rate count on labour lines, the amount on all others; what was
// typed in the other fields is kept and left out of the paper.
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
	Kind   string // a [journal.LineKind]; "" counts as labour
	Text   string
	Hours  string // labour only: 18, 7.5 or -2
	Rate   string // labour only
	Amount string // all but labour
}

// PaperEdit is the form for a change order. It posts to
// /builds/ID/papers/ID/edit with button "do" = "save", "add" (save and give a
// line more) or "preview" (save and show the preview).
type PaperEdit struct {
	Frame
	Paper    signoff.Paper
	Form     ChangeForm // with at least one line, so that there is one to fill
	Stages   []journal.Stage
	Photos   []PickPhoto // chosen ones first, then the find's, then the build's recent ones
	Totals   ChangeTotals
	Problems journal.Problems
}

// ChangeTotals is what a change order as stored comes to.
type ChangeTotals struct {
	Known       bool          // false while nothing that adds up is stored
	Delta       journal.Split // before tax
	Tax         journal.Cents
	Days        int
	AgreedAfter journal.Cents // before tax
	TotalAfter  journal.Cents // with tax
	DateAfter   journal.Date  // "" when none is agreed
}

// WithTax returns what the change costs.
func (t ChangeTotals) WithTax() journal.Cents { return t.Delta.Total() + t.Tax }

// URL returns the paper's address.
func (p PaperEdit) URL() string { return p.Build.URL() + "/papers/" + string(p.Paper.ID) }

// Name returns "Change order 4", or "New change order" before the first
// sending.
func (p PaperEdit) Name() string { return paperName(p.Paper) }

func paperName(p signoff.Paper) string {
	if p.Number == 0 {
		return "New " + string(p.Kind)
	}
	return PaperItem{Kind: p.Kind, Number: p.Number}.Name()
}

// Say returns what saving and sending will do, in plain sentences.
func (p PaperEdit) Say() string {
	switch p.Paper.State {
	case signoff.Sent:
		return "The owner has it before them now. What you save here stays with the shop until you send it again; then the earlier revision can no longer be signed."
	case signoff.Recalled:
		return "You took it back. Change it and send it again, or leave it."
	}
	return "Only the shop sees this until you send it. Say why, show it, and price it; the owner then signs or declines."
}

// PaperPreview is a change order as the owner will see it, before it is sent.
// Its form posts to /builds/ID/papers/ID/send with "version".
type PaperPreview struct {
	Frame
	Paper   signoff.Paper
	Sheet   SheetView // as it would be frozen; number, revision and time are those expected
	To      []Party   // who will be asked
	Missing []string  // what must be put right before it can be sent, in whole sentences
}

// URL returns the paper's address.
func (p PaperPreview) URL() string { return p.Build.URL() + "/papers/" + string(p.Paper.ID) }

// Replaces reports whether sending would replace a revision that is out for
// sign-off.
func (p PaperPreview) Replaces() bool { return p.Paper.State == signoff.Sent }

// ToNames returns who will be asked, in words.
func (p PaperPreview) ToNames() string { return partyNames(p.To) }

func partyNames(parties []Party) string {
	var names []string
	for _, p := range parties {
		name := p.Person.Name
		if p.Member.As == journal.AsDelegate {
			name += " (delegate)"
		}
		names = append(names, name)
	}
	return List(names)
}

// StaffPaper is a paper as the shop sees it: state, questions, revisions, the
// decision in full. Its forms post to .../recall and
// .../questions/ID/answer ("text").
type StaffPaper struct {
	Frame
	Paper     signoff.Paper
	Sheet     SheetView      // of the last revision; zero before the first
	Changed   bool           // whether the draft differs from the last revision
	Find      *journal.Entry // the find it comes from; nil if none
	To        []Party
	Revisions []RevisionLine // newest first
	Questions []QuestionView // oldest first
	Decision  *DecisionView  // nil until decided
	Decider   string         // name of the account that decided; "" without a decision
	Answer    string         // as typed, for the question AnswerTo
	AnswerTo  journal.QuestionID
	Problems  journal.Problems // field "text": of the answer
}

// RevisionLine is one frozen revision in a list.
type RevisionLine struct {
	Revision signoff.Revision
	By       string // name; "" when the program renewed it
}

// URL returns the paper's address.
func (p StaffPaper) URL() string { return p.Build.URL() + "/papers/" + string(p.Paper.ID) }

// Name returns "Change order 4", or "New change order" before the first
// sending.
func (p StaffPaper) Name() string { return paperName(p.Paper) }

// ToNames returns who is asked, in words.
func (p StaffPaper) ToNames() string { return partyNames(p.To) }

// Editable reports whether the shop can still work on it.
func (p StaffPaper) Editable() bool {
	return p.Paper.State != signoff.Signed && p.Paper.State != signoff.Declined
}

// AnswerForm is the form under one question, piece "answer-form".
type AnswerForm struct {
	Action   string
	Question QuestionView
	Text     string
	Problems journal.Problems
}

// Unanswered returns the forms for the questions that wait for an answer.
func (p StaffPaper) Unanswered() []AnswerForm {
	var forms []AnswerForm
	for _, q := range p.Questions {
		if q.Answered() {
			continue
		}
		form := AnswerForm{Action: p.URL() + "/questions/" + string(q.Question.ID) + "/answer", Question: q}
		if q.Question.ID == p.AnswerTo {
			form.Text, form.Problems = p.Answer, p.Problems
		}
		forms = append(forms, form)
	}
	return forms
}

// Answered returns the questions that have an answer.
func (p StaffPaper) Answered() []QuestionView {
	var done []QuestionView
	for _, q := range p.Questions {
		if q.Answered() {
			done = append(done, q)
		}
	}
	return done
}

// PhotosUnfolded reports whether the photo picker stands open: something is
// chosen, or something in it wants another look.
func (p PaperEdit) PhotosUnfolded() bool {
	for _, photo := range p.Photos {
		if photo.Chosen {
			return true
		}
	}
	for field := range p.Problems {
		if field == "photos" || strings.HasPrefix(field, "caption_") {
			return true
		}
	}
	return false
}
