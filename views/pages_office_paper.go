package views

import (
	"farbay/journal"
	"farbay/journal/signoff"
)

// PaperPreview is a paper as the owner will see it, before it is sent.
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
	Confirm   *ConfirmPhone  // of an agreement by phone; nil otherwise
	Otherwise *Otherwise     // the office's ways beside the owner's page; nil unless it is out
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
