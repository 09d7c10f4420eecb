package views

import (
	"fmt"
	"strings"

	"farbay/journal"
	"farbay/journal/signoff"
)

// PaperForm is what was typed for a paper, whatever its kind. The field names
// are "title", "reason", "version", those of [PickPhoto], and by kind:
//
//   - build agreement: "ready_on" and the powers
//   - teardown authorization: "stage", "destroyed" (one a line), "reassembly",
//     "reassembly_days"
//   - change order: "stage", "days", "re_estimate", the lines, the powers, and
//     "adds_name", "adds_days", "adds_after", "adds_metered" ("yes") and "drops"
//   - date change: "days"
//   - delivery acceptance: "handed_over" and "open_points" (one a line),
//     "delivered_on", "odometer"
//   - early stop: "stop_by", "stop_on", "stop_truck", "stop_parts" (one a line),
//     "earned.ID" for each open stage, "stage" and the lines
//
// The powers are "delegate_name", "delegate_email", "delegate_phone", "per_find"
// and "per_month"; with nothing typed there are none. With N counted from 0, a
// line is "lines.N.kind", "lines.N.text", "lines.N.hours", "lines.N.rate",
// "lines.N.amount" and "lines.N.stage" ("" for the paper's). A line with nothing
// in text, hours and amount is left out. Hours and rate count on labour lines,
// the amount on all others; what was typed in the other fields is kept and left
// out of the paper.
type PaperForm struct {
	Title          string
	Reason         string
	Stage          string // stage id
	Days           string // working days; may be negative
	ReEstimate     string // "yes"
	Lines          []LineForm
	ReadyOn        string
	Destroyed      string
	Reassembly     string
	ReassemblyDays string
	HandedOver     string
	OpenPoints     string
	DeliveredOn    string
	Odometer       string
	DelegateName   string
	DelegateEmail  string
	DelegatePhone  string
	PerFind        string
	PerMonth       string
	AddsName       string
	AddsDays       string
	AddsAfter      string // stage id; "" for the first
	AddsMetered    string // "yes"
	Drops          string // stage id
	StopBy         string
	StopOn         string
	StopTruck      string
	StopParts      string
	Earned         []EarnedForm
	Version        int // of the paper as read
}

// LineForm is one line of a [PaperForm].
type LineForm struct {
	Kind   string // a [journal.LineKind]; "" counts as labour
	Text   string
	Hours  string // labour only: 18, 7.5 or -2
	Rate   string // labour only
	Amount string // all but labour
	Stage  string // stage id; "" for the paper's
}

// LineCells is one line of a form as it is shown, piece "line-cells".
type LineCells struct {
	N        int // counted from 0
	Line     LineForm
	Stages   []Option // to choose from; none when all lines are the same stage's
	Problems journal.Problems
}

// Field returns the name of one of the line's fields.
func (l LineCells) Field(name string) string { return fmt.Sprintf("lines.%d.%s", l.N, name) }

func lineCells(lines []LineForm, stages []Option, problems journal.Problems) []LineCells {
	var cells []LineCells
	for i, l := range lines {
		cells = append(cells, LineCells{N: i, Line: l, Stages: stages, Problems: problems})
	}
	return cells
}

// PaperEdit is the form for a paper. It posts to
// /builds/ID/papers/ID/edit with button "do" = "save", "add" (save and give a
// line more) or "preview" (save and show the preview).
type PaperEdit struct {
	Frame
	Paper  signoff.Paper
	Form   PaperForm // with at least one line, so that there is one to fill
	Stages []journal.Stage
	Photos []PickPhoto // chosen ones first, then the find's, then the build's recent ones
	Totals ChangeTotals
	Rests  []StopRest // of an early stop
	// Ends is the early stop as saved; nil for other kinds and while it cannot be
	// worked out.
	Ends     *SheetView
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

// Kind returns the paper's kind.
func (p PaperEdit) Kind() signoff.Kind { return p.Paper.Kind }

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
	switch p.Paper.Kind {
	case signoff.BuildAgreement:
		return "Only the shop sees this until you send it. Stages, values, terms and tax come from Scope and Terms as they stand; here you say what is to be done and by when."
	case signoff.Teardown:
		return "The teardown cannot begin before the owner has signed this. Say why the truck has to come apart, what is normally destroyed, and what putting it back together would cost."
	case signoff.DateChange:
		return "Only the shop sees this until you send it. Say why the date moves, and by how many working days."
	case signoff.DeliveryAcceptance:
		return "List what goes with the truck. Signing it records the delivery, and releases what was held back once every stage is closed."
	case signoff.EarlyStop:
		return "Say what of each open stage is done. Signing it ends the build: what is done is billed, the rest comes off, and what is held back is released. Nothing happens before the owner signs."
	}
	return "Only the shop sees this until you send it. Say why, show it, and price it; the owner then signs or declines."
}

// LineCells returns the lines ready to be shown.
func (p PaperEdit) LineCells() []LineCells {
	return lineCells(p.Form.Lines, p.LineStageOptions(), p.Problems)
}

// PowersUnfolded reports whether the part about delegate and allowance stands
// open: something is typed, or wants another look.
func (p PaperEdit) PowersUnfolded() bool {
	f := p.Form
	if f.DelegateName+f.DelegateEmail+f.DelegatePhone+f.PerFind+f.PerMonth != "" {
		return true
	}
	for field := range p.Problems {
		if strings.HasPrefix(field, "delegate_") || field == "per_find" || field == "per_month" {
			return true
		}
	}
	return false
}

// ReasonLabel asks for the paper's prose.
func (p PaperEdit) ReasonLabel() string {
	switch p.Paper.Kind {
	case signoff.BuildAgreement:
		return "What is to be done"
	case signoff.Teardown:
		return "Why it has to come apart"
	case signoff.DateChange:
		return "Why the date moves"
	case signoff.DeliveryAcceptance:
		return "A word to the owner, if you like"
	case signoff.EarlyStop:
		return "Why the build ends"
	}
	return "Why, so that the owner can decide"
}

// ReasonHelp says what belongs in it.
func (p PaperEdit) ReasonHelp() string {
	switch p.Paper.Kind {
	case signoff.BuildAgreement:
		return "The scope in plain words, as you settled it: what is rebuilt, what is replaced, what stays as it is, and what is not part of it."
	case signoff.Teardown:
		return "What cannot be seen until it is apart."
	case signoff.DateChange:
		return "What happened, and what you do about it."
	case signoff.DeliveryAcceptance:
		return "Such as: how to run it in, when to come back for the first check."
	case signoff.EarlyStop:
		return "In words that both sides can stand by later."
	}
	return "What you found, what you would do, what happens if it is left."
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
