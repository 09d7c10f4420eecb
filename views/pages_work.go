package views

import (
	"fmt"
	"strconv"

	"farbay/journal"
	"farbay/journal/billing"
)

// WorkLine is one thing logged on a stage.
type WorkLine struct {
	ID       journal.WorkID
	Kind     journal.LineKind
	Text     string
	Person   string // of labour
	Minutes  int    // negative when it takes hours back
	Rate     journal.Cents
	Cost     journal.Cents
	MarkUp   journal.BasisPoints
	Amount   journal.Cents
	By       string // who logged it
	Reason   string // why it takes other work back; "" when it does not
	Gone     bool   // taken back by another line
	File     string // address of the supplier's invoice; "" for none
	FileName string
	Billed   *Link // the document that bills it; nil for none
	MayTake  bool  // the reader may take it back
}

// WorkDay is what was logged of one day.
type WorkDay struct {
	Day   journal.Date
	Lines []WorkLine
}

// WorkTotal is what one person's hours come to.
type WorkTotal struct {
	Person  string
	Minutes int
	Amount  journal.Cents
}

// WorkForm is what was typed to log work: "id", "kind", "day", "text"; for labour
// "person", "hours" and "quarter" (chosen by tapping, the second in minutes) or
// "typed" (hours, instead of both) and, by the office, "rate"; else "cost", "file"
// and, by the office, "mark_up".
type WorkForm struct {
	ID      string
	Kind    string
	Day     string
	Text    string
	Person  string
	Hours   string
	Quarter string
	Typed   string
	Rate    string
	Cost    string
	MarkUp  string
}

// WorkPiece is what was logged on a stage, piece "work-log", and for the shop the
// forms to log more, piece "work-forms". They post to .../work, .../work/ID/take-back
// ("reason") and .../bill.
type WorkPiece struct {
	Words
	At       string // the stage's address
	BuildURL string
	StageID  journal.StageID
	Metered  bool
	Staff    bool
	Office   bool
	Days     []WorkDay // newest first
	People   []WorkTotal
	Parts    journal.Cents
	Outside  journal.Cents
	Metering billing.Metering
	ToBill   journal.Cents // what billing now would charge, before tax
	Near     bool          // the ceiling is near and no change order is begun
	Open     bool          // something can be logged

	Labour   WorkForm
	Bought   WorkForm
	Workers  []Option
	Wrong    string // the form that was refused: "labour", "bought", a [journal.WorkID] or ""
	Reason   string // as typed for taking back
	Problems journal.Problems
}

// Piece names the template.
func (WorkPiece) Piece() string { return "work-log" }

// ShowsMoney reports whether the reader may see amounts: the floor may not.
func (p WorkPiece) ShowsMoney() bool { return !p.Staff || p.Office }

// Now says in words how far the ceiling is used.
func (p WorkPiece) Now() (string, error) {
	percent := strconv.Itoa(p.Metering.Percent()) + nbsp + "%"
	if !p.ShowsMoney() {
		return percent + " of the ceiling is used.", nil
	}
	worked, err := p.Money(p.Metering.Worked)
	if err != nil {
		return "", err
	}
	ceiling, err := p.Money(p.Metering.Ceiling)
	if err != nil {
		return "", err
	}
	said := fmt.Sprintf("Work for %s is logged, before tax: %s of the %s that it may cost at most.", worked, percent, ceiling)
	if p.Metering.Beyond() == 0 {
		return said, nil
	}
	beyond, err := p.Money(p.Metering.Beyond())
	return fmt.Sprintf("%s %s of it is above that.", said, beyond), err
}

// BarMost and BarNow are the ends of the bar that shows it, in cents.
func (p WorkPiece) BarMost() int64 { return max(int64(p.Metering.Ceiling), 1) }

// BarNow is how far the bar is filled.
func (p WorkPiece) BarNow() int64 { return min(int64(p.Metering.Worked), p.BarMost()) }

// LineOf is a line with what its piece needs of the whole.
func (p WorkPiece) LineOf(l WorkLine) WorkLinePiece {
	one := WorkLinePiece{WorkPiece: p, Line: l}
	if p.Wrong != string(l.ID) {
		one.Reason, one.Problems, one.Prefix = "", nil, string(l.ID)+"-"
	}
	return one
}

// WorkLinePiece is one line of the log, piece "work-line".
type WorkLinePiece struct {
	WorkPiece
	Line   WorkLine
	Prefix string // of its field's id
}

// WorkTerms says what the amount of logged work is made of: "2 hours × $95.00",
// "cost $48.00 + 15 %".
func (w Words) WorkTerms(l WorkLine) (string, error) {
	if l.Kind == journal.Labour {
		rate, err := w.Money(l.Rate)
		return Hours(l.Minutes) + " × " + rate, err
	}
	cost, err := w.Money(l.Cost)
	if l.MarkUp == 0 {
		return "cost " + cost + ", no mark-up", err
	}
	return "cost " + cost + " + " + Percent(l.MarkUp), err
}

// For returns the form of one kind with what was wrong with it: "labour" or "bought".
func (p WorkPiece) For(kind string) WorkFormPiece {
	f := WorkFormPiece{WorkPiece: p, Form: p.Labour, Prefix: kind + "-"}
	if kind == "bought" {
		f.Form = p.Bought
	}
	if p.Wrong == kind {
		f.Prefix = "" // the list of problems leads here
	} else {
		f.Problems = nil
	}
	return f
}

// WorkFormPiece is one of the forms.
type WorkFormPiece struct {
	WorkPiece
	Form   WorkForm
	Prefix string // of its fields' ids: two forms of a page have some by the same name
}

// FileID is the id of the file field.
func (p WorkFormPiece) FileID() string { return Input{Name: "file", Prefix: p.Prefix}.ID() }

// HourOptions are the whole hours to tap.
func (WorkFormPiece) HourOptions() []Option {
	var all []Option
	for n := range 13 {
		all = append(all, Option{Value: strconv.Itoa(n), Text: strconv.Itoa(n)})
	}
	return all
}

// QuarterOptions are the quarters of an hour to tap.
func (WorkFormPiece) QuarterOptions() []Option {
	return []Option{{Value: "0", Text: "0"}, {Value: "15", Text: "15"}, {Value: "30", Text: "30"}, {Value: "45", Text: "45"}}
}

// BoughtOptions are the kinds of what is bought.
func (WorkFormPiece) BoughtOptions() []Option {
	return []Option{
		{Value: string(journal.Parts), Text: "Parts", Help: "What is built in or used up"},
		{Value: string(journal.Outside), Text: "Outside work", Help: "Blasting, coating, plating; with the supplier’s invoice"},
	}
}

var _ = declarePieces(WorkPiece{})
