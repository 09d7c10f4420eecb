package views

import (
	"fmt"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// PaperItem is one paper in a list.
type PaperItem struct {
	ID        journal.PaperID
	Kind      signoff.Kind
	Number    int    // 0 for a draft
	Title     string // of the last revision; of the draft before the first
	State     signoff.State
	Revision  int
	Sheet     signoff.Sheet // the last revision; zero for a draft
	Delta     journal.Cents // of a draft, before tax
	Days      int           // of a draft, working days
	SentAt    time.Time     // of the last revision
	DecidedAt time.Time     // zero until decided
	DecidedBy string        // the name they typed
	Outcome   signoff.Outcome
	Manner    signoff.Manner
	Open      int // unanswered questions
}

// Name returns "Change order 4", or "Draft".
func (p PaperItem) Name() string {
	if p.Number == 0 {
		return "Draft"
	}
	return fmt.Sprintf("%s %d", p.Kind.Title(), p.Number)
}

// PaperSays says in half a sentence what a paper would do; "" for a draft of
// which that is not known yet.
func (w Words) PaperSays(p PaperItem) (string, error) {
	if p.Sheet.Revision == 0 {
		if p.Kind != signoff.ChangeOrder && p.Kind != signoff.DateChange {
			return "", nil
		}
		return w.Effect(p.Delta, p.Days)
	}
	return w.PaperDoes(p.Sheet)
}

// PaperDoes says in half a sentence what signing a paper does; see
// [SheetView.Change].
func (w Words) PaperDoes(sheet signoff.Sheet) (string, error) {
	v, err := w.OfSheet(sheet, "")
	if err != nil {
		return "", err
	}
	return v.Change()
}

// Decided says what was decided, how and by whom; see [DecisionView.Heading].
func (p PaperItem) Decided() string { return decisionHeading(p.Outcome, p.Manner, p.DecidedBy) }

// Papers lists a build's papers, for owners and staff.
type Papers struct {
	Frame
	Items  []PaperItem // in any order of state, newest first; drafts for staff only
	Agreed bool        // the build's agreement is recorded, so papers can be sent
	State  journal.BuildState
	// Settled: the build was stopped by a signed paper, so that nothing more can be
	// written.
	Settled bool
}

// Template names the page's template.
func (Papers) Template() string { return "owner/papers" }

// Beginning is a paper that the office can begin where the build stands.
type Beginning struct {
	Kind       signoff.Kind
	ReEstimate bool
	Text       string // of its button
}

// Beginnings are the papers that the office can begin now.
func (p Papers) Beginnings() []Beginning {
	teardown := Beginning{Kind: signoff.Teardown, Text: "Teardown authorization"}
	switch {
	case p.Settled:
		return nil
	case p.State == journal.Stopped:
		return []Beginning{{Kind: signoff.EarlyStop, Text: "Early stop"}}
	case !p.Agreed:
		return []Beginning{{Kind: signoff.BuildAgreement, Text: "Build agreement"}, teardown}
	}
	return []Beginning{
		{Kind: signoff.ChangeOrder, Text: "Change order"},
		{Kind: signoff.ChangeOrder, ReEstimate: true, Text: "Re-estimate after the teardown"},
		{Kind: signoff.DateChange, Text: "Date change"},
		teardown,
		{Kind: signoff.DeliveryAcceptance, Text: "Delivery acceptance"},
	}
}

// CanEnd reports whether the build can still end early.
func (p Papers) CanEnd() bool { return p.State == journal.Agreed }

// In returns the papers in one state.
func (p Papers) In(state signoff.State) []PaperItem {
	var in []PaperItem
	for _, item := range p.Items {
		if item.State == state {
			in = append(in, item)
		}
	}
	return in
}

// Waiting, Drafts and Past divide the papers: those out for sign-off, those the
// shop works on, and those decided.
func (p Papers) Waiting() []PaperItem { return p.In(signoff.Sent) }

// Drafts are the drafts and the recalled papers.
func (p Papers) Drafts() []PaperItem {
	return append(p.In(signoff.Drafted), p.In(signoff.Recalled)...)
}

// Past are the decided papers.
func (p Papers) Past() []PaperItem {
	var past []PaperItem
	for _, item := range p.Items {
		if item.State == signoff.Signed || item.State == signoff.Declined {
			past = append(past, item)
		}
	}
	return past
}

// DecideForm is what an owner typed on a paper. The field names are "name",
// "parts_back" ("yes" or "no"), "reason" and "text".
type DecideForm struct {
	Name      string
	PartsBack string // "yes", "no", "" when not chosen
	Reason    string // of declining
	Text      string // of a question
}

// Paper is a paper's last revision, for the owner's side. It has two forms: one
// posts to .../sign or .../decline with revision, sha256, name and parts_back,
// the other to .../ask with text.
type Paper struct {
	Frame
	ID        journal.PaperID
	State     signoff.State
	Sheet     SheetView        // the last revision; see [Words.OfSheet]
	Earlier   []signoff.Sheet  // earlier revisions, newest first
	Decision  *DecisionView    // nil until decided
	Questions []QuestionView   // oldest first
	CanDecide bool             // the reader is an owner or delegate of the build
	Consented bool             // the reader's consent to electronic records is in force
	Form      DecideForm       // kept
	Problems  journal.Problems // of Form
	Confirm   *ConfirmPhone    // of an agreement by phone; nil otherwise
	Notice    string           // why what they sent was not recorded, in whole sentences; "" if nothing was refused
}

// Template names the page's template.
func (Paper) Template() string { return "owner/paper" }

// URL returns the paper's address.
func (p Paper) URL() string { return p.Sheet.URL(p.ID) }

// Deciding reports whether the decision form is shown.
func (p Paper) Deciding() bool { return p.State == signoff.Sent && p.CanDecide && p.Consented }

// WantsConsent reports whether the way to consent is shown instead of the form.
func (p Paper) WantsConsent() bool { return p.State == signoff.Sent && p.CanDecide && !p.Consented }

// Asking reports whether the question form is shown.
func (p Paper) Asking() bool {
	return p.CanDecide && (p.State == signoff.Sent || p.State == signoff.Recalled)
}

// PaperConfirm asks once more before a decision is recorded; one can go back
// from it. It is shown for a POST to .../sign or .../decline without sure=yes,
// and posts the same fields with it. Declining asks for the reason here.
type PaperConfirm struct {
	Frame
	ID         journal.PaperID
	Outcome    signoff.Outcome
	Sheet      SheetView
	Form       DecideForm
	Problems   journal.Problems
	HasPasskey bool // the reader can confirm with a passkey, piece "passkey-confirm"
}

// Template names the page's template.
func (PaperConfirm) Template() string { return "owner/paper_confirm" }

// URL returns the paper's address.
func (p PaperConfirm) URL() string { return p.Sheet.URL(p.ID) }

// Signing reports whether it is about signing, not declining.
func (p PaperConfirm) Signing() bool { return p.Outcome == signoff.OutcomeSigned }

// PaperDecided says what was recorded, right after a decision.
type PaperDecided struct {
	Frame
	ID       journal.PaperID
	Sheet    SheetView
	Decision DecisionView
}

// Template names the page's template.
func (PaperDecided) Template() string { return "owner/paper_decided" }

// URL returns the paper's address.
func (p PaperDecided) URL() string { return p.Sheet.URL(p.ID) }

// PaperRevision is one frozen revision, to be read, printed and saved.
type PaperRevision struct {
	Frame
	ID       journal.PaperID
	Sheet    SheetView
	Last     int           // number of the last revision
	Decision *DecisionView // when the decision was on this revision
}

// Template names the page's template.
func (PaperRevision) Template() string { return "owner/paper_revision" }

// URL returns the paper's address.
func (p PaperRevision) URL() string { return p.Sheet.URL(p.ID) }

// Superseded reports whether a later revision replaced this one.
func (p PaperRevision) Superseded() bool { return p.Sheet.Sheet.Revision < p.Last }

var _ = declare(Papers{}, Paper{}, PaperConfirm{}, PaperDecided{}, PaperRevision{})
