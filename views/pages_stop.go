package views

import (
	"farbay/journal"
	"farbay/journal/signoff"
)

// EndingView is how a build ended early, piece "ending".
type EndingView struct {
	Words
	BuildID journal.BuildID
	On      journal.Date
	Reason  string
	Paper   string          // the signed early stop, "Early stop 1"; "" without a signature
	PaperID journal.PaperID // its id
	Back    journal.Cents   // of the deposit, to be returned; 0 for those who are not told of money
}

// StopForm is what was typed to end a build without a signed paper. The field
// names are "stop_on", "reason" and "version".
type StopForm struct {
	On      string
	Reason  string
	Version int // of the build as read
}

// BuildStop is where the office ends a build early: by a paper that the owner
// signs, or without one. It posts to /builds/ID/stop; the paper is begun at
// /builds/ID/papers.
type BuildStop struct {
	Frame
	Stored   journal.Build
	PaperID  journal.PaperID // an early stop that is worked on or out; "" for none
	Form     StopForm
	Problems journal.Problems
}

// Unfolded reports whether the form without a signature stands open.
func (p BuildStop) Unfolded() bool { return len(p.Problems) > 0 || p.Form.Reason != "" }

// EarnedForm is what was typed as earned by a stage, field "earned.ID".
type EarnedForm struct {
	Stage  string // id
	Amount string
}

// StopRest is an open stage of a build that is to end early, with what is agreed
// and not billed of it; of a metered one what was logged within its ceiling.
type StopRest struct {
	Stage journal.Stage
	Left  journal.Cents
}

// EarnedCell is the field for what a stage has earned.
type EarnedCell struct {
	Name, Label, Value, Help string
	Required                 bool
}

// EarnedCells returns the fields of the open stages with something to bill.
func (p PaperEdit) EarnedCells() ([]EarnedCell, error) {
	var cells []EarnedCell
	for _, r := range p.Rests {
		left, err := p.Money(r.Left)
		if err != nil {
			return nil, err
		}
		cell := EarnedCell{Name: signoff.EarnedField(r.Stage.ID), Label: r.Stage.Name}
		switch {
		case r.Stage.Metered:
			cell.Help = left + " is logged within its ceiling and not billed. Leave this empty to bill it as logged."
		case r.Stage.State == journal.UnderWay:
			cell.Help, cell.Required = "Under way; "+left+" is agreed and not billed. Type what of it is done.", true
		default:
			cell.Help = "Not begun; " + left + " is agreed. Empty counts as nothing done."
		}
		for _, e := range p.Form.Earned {
			if e.Stage == string(r.Stage.ID) {
				cell.Value = e.Amount
			}
		}
		cells = append(cells, cell)
	}
	return cells, nil
}

// WishOptions offers whose wish it is.
func (PaperEdit) WishOptions() []Option {
	var options []Option
	for _, w := range signoff.Wishes {
		options = append(options, Option{Value: string(w), Text: UpperFirst(string(w))})
	}
	return options
}

// AfterOptions offers after which stage an added one comes.
func (p PaperEdit) AfterOptions() []Option {
	options := []Option{{Text: "None: it is the first"}}
	for _, st := range p.Stages {
		options = append(options, Option{Value: string(st.ID), Text: st.Name})
	}
	return options
}

// DropOptions offers the stages that can be dropped.
func (p PaperEdit) DropOptions() []Option {
	options := []Option{{Text: "None"}}
	for _, st := range p.Stages {
		if st.State != journal.Closed {
			options = append(options, Option{Value: string(st.ID), Text: st.Name + " (" + string(st.State) + ")"})
		}
	}
	return options
}

// MeteredOptions offers how an added stage is priced.
func (PaperEdit) MeteredOptions() []Option {
	return []Option{
		{Value: "", Text: "For what its lines come to"},
		{Value: "yes", Text: "By time and materials, up to what its lines come to"},
	}
}

// RestagingUnfolded reports whether the part about added and dropped stages
// stands open.
func (p PaperEdit) RestagingUnfolded() bool {
	f := p.Form
	if f.AddsName+f.AddsDays+f.AddsMetered+f.Drops != "" {
		return true
	}
	for _, field := range []string{"adds_name", "adds_days", "adds_after", "drops"} {
		if p.Problems[field] != "" {
			return true
		}
	}
	return false
}

// Template names the page's template.
func (BuildStop) Template() string { return "office/build_stop" }

var _ = declare(BuildStop{})
