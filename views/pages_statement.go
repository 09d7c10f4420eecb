package views

import (
	"farbay/journal"
	"farbay/journal/billing"
)

// StatementDays are the days of a statement as they were typed.
type StatementDays struct {
	Form     string // "statement" or "application"
	On       string
	Since    string
	Problems journal.Problems
	Quick    []Link // statements of usual periods
}

// Statement is a build's statement as of any day.
type Statement struct {
	Frame
	Days  StatementDays
	Sheet *StatementSheet // nil when the days cannot be taken
	Open  []InvoiceItem   // with something open on that day, oldest first
}

// Template names the page's template.
func (Statement) Template() string { return "owner/statement" }

// StatementFigure is the page of one figure with the records it is summed from.
type StatementFigure struct {
	Frame
	Sheet  StatementSheet
	Figure billing.Figure
	Stage  string // "" for the whole build
	Amount journal.Cents
	Parts  []FigurePart
}

// Template names the page's template.
func (StatementFigure) Template() string { return "owner/statement_figure" }

// Name says what the figure is.
func (p StatementFigure) Name() string { return FigureName(p.Figure) }

// Sum adds the records up.
func (p StatementFigure) Sum() journal.Cents {
	var sum journal.Cents
	for _, part := range p.Parts {
		sum += part.Amount
	}
	return sum
}

// FigurePart is one record of a figure.
type FigurePart struct {
	Text   string
	Href   string // where the record is; "" for none
	On     journal.Date
	Amount journal.Cents
}

// Application is the sheet of an application for payment.
type Application struct {
	Frame
	Days  StatementDays
	Sheet *ApplicationSheet // nil when the days cannot be taken
}

// Template names the page's template.
func (Application) Template() string { return "owner/application" }

// ApplicationSheet is an application for payment, as page, print and table show it.
type ApplicationSheet struct {
	StatementSheet
	Application billing.Application
	Stages      map[string]string // names, by id
}

// ApplicationSum is a line of the sheet's summary.
type ApplicationSum struct {
	Number string // "4"; "" for what stands below line 9
	Label  string
	Amount journal.Cents
	Strong bool
}

// Summary lists the sheet's lines 1 to 9.
func (s ApplicationSheet) Summary() []ApplicationSum {
	a := s.Application
	return []ApplicationSum{
		{"1", "Build agreement", a.Original, false},
		{"2", "Net change by what was agreed since", a.NetChange(), false},
		{"3", "Agreed to date (1 and 2)", a.Sum, true},
		{"4", "Completed and stored to date", a.Completed, false},
		{"5", "Retainage: held back until delivery", a.Retainage, false},
		{"6", "Earned, less retainage (4 less 5)", a.Earned, true},
		{"7", "Earned by the application before (its line 6)", a.Before, false},
		{"8", "Payment due for the period (6 less 7), before tax", a.Due, true},
		{"9", "Balance to finish, with retainage (3 less 6)", a.Balance, false},
	}
}

// Asked lists how line 8 comes to what the period's documents ask for.
func (s ApplicationSheet) Asked() []ApplicationSum {
	a := s.Application
	return []ApplicationSum{
		{"", "Line 8", a.Due, false}, {"", "Tax on the documents of the period", a.Tax, false},
		{"", "Less what the deposit covers of them", -a.DepositCredit, false}, {"", "What the documents of the period ask for", a.Payable, true},
	}
}

// Describe says what an item is; of a change with the stage that bears it.
func (s ApplicationSheet) Describe(l billing.ApplicationLine) string {
	if name := s.Stages[l.StageID]; l.Change && name != "" {
		return l.Description + " (" + name + ")"
	}
	return l.Description
}

// Totals sums up all items.
func (s ApplicationSheet) Totals() billing.ApplicationLine {
	var sum billing.ApplicationLine
	for _, l := range s.Application.Lines {
		sum.Scheduled += l.Scheduled
		sum.Previous += l.Previous
		sum.ThisPeriod += l.ThisPeriod
		sum.Stored += l.Stored
		sum.Retainage += l.Retainage
	}
	return sum
}

var _ = declare(Statement{}, StatementFigure{}, Application{})
