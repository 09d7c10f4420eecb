package views

import (
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// Allowance is the page of a build's standing allowance, for owners and staff.
// Ending it posts to .../allowance/end.
type Allowance struct {
	Frame
	InForce *signoff.Allowance // nil for none
	SetBy   string             // "Change order 3"
	Month   string             // "2026-04"
	Left    journal.Cents      // in it, tax included
	Uses    []UseView          // newest first
	CanEnd  bool
}

// Template names the page's template.
func (Allowance) Template() string { return "owner/allowance" }

// MonthName returns "April 2026".
func (p Allowance) MonthName() (string, error) {
	month, err := time.Parse("2006-01", p.Month)
	return month.Format("January 2006"), err
}

// PaperHref returns the address of the paper that set it.
func (p Allowance) PaperHref() string {
	return p.Build.URL() + "/papers/" + string(p.InForce.PaperID)
}

// UseView is one booked use.
type UseView struct {
	signoff.Use
	Stage string // name
	By    string // name
	Shots []PhotoView
}

// UseNew is the form that books a find on the standing allowance. It posts to
// /builds/ID/entries/ID/allowance with the fields of [UseForm] and those of [PickPhoto].
type UseNew struct {
	Frame
	Form     UseForm
	Stages   []journal.Stage
	Photos   []PickPhoto // of the find
	LeftFind journal.Cents
	Left     journal.Cents // in this month
	Problems journal.Problems
}

// UseForm is what was typed. The field names are "id", "title",
// "reason", "stage", and those of the lines as in [PaperForm].
type UseForm struct {
	ID     string // random, so that sending it twice books once
	Entry  string // entry id
	Title  string
	Reason string
	Stage  string // stage id
	Lines  []LineForm
}

// Template names the page's template.
func (UseNew) Template() string { return "office/use_new" }

// StageOptions offers the build's stages.
func (p UseNew) StageOptions() []Option {
	var options []Option
	for _, st := range p.Stages {
		options = append(options, Option{Value: string(st.ID), Text: st.Name})
	}
	return options
}

// LineCells returns the lines ready to be shown.
func (p UseNew) LineCells() []LineCells { return lineCells(p.Form.Lines, nil, p.Problems) }

var _ = declare(Allowance{}, UseNew{})
