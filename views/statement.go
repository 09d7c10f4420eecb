package views

import (
	"net/url"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// StatementSheet is a statement of a build as of a day, as page, print and table
// show it.
type StatementSheet struct {
	Words
	Shop   signoff.SheetShop
	Build  signoff.SheetBuild
	At     string // the build's address, "/builds/b1"
	On     journal.Date
	Since  journal.Date // first day of the period; "" from the beginning
	Until  time.Time    // the end of the day On at the shop
	Over   bool         // that day has ended
	Entry  journal.Event
	Period billing.Period
	Rows   []StatementRow
}

// StatementRow is a stage's line of a statement.
type StatementRow struct {
	Name string
	billing.PeriodRow
}

// StatementLine is a figure of the whole build.
type StatementLine struct {
	Figure billing.Figure
	Label  string
	Amount journal.Cents
	Sum    bool // of the lines above it
}

// StatementGroup is a few figures that belong together.
type StatementGroup struct {
	Caption string
	Lines   []StatementLine
}

// figureNames say what a figure is, on the statement and above its records.
var figureNames = map[billing.Figure]string{
	billing.FigureAgreement: "Build agreement", billing.FigureChanges: "Changes", billing.FigureChangeOrders: "Signed change orders",
	billing.FigureAllowances: "Used of the standing allowance", billing.FigureStop: "Early stop", billing.FigureAgreed: "Agreed",
	billing.FigureUnused: "Of ceilings, not needed", billing.FigureWorked: "Work logged", billing.FigureBilledBefore: "Billed before",
	billing.FigureBilledNow: "Billed in the period", billing.FigureBilled: "Billed to date", billing.FigureToBill: "Balance to bill",
	billing.FigureTax: "Tax on it", billing.FigureBilledWithTax: "Billed with tax", billing.FigurePaid: "Paid", billing.FigureCovered: "Covered by the deposit",
	billing.FigureHeldBack: "Held back until delivery", billing.FigureDue: "Due", billing.FigureOnAccount: "On account, taken off what is due",
	billing.FigureDepositReceived: "Deposit received", billing.FigureDepositRefunded: "Deposit sent back", billing.FigureDepositLeft: "Left of the deposit for bills to come",
}

// FigureName says what a figure of a statement is.
func FigureName(f billing.Figure) string { return figureNames[f] }

// statementGroups are the figures of the whole build in their order; those marked
// with a false always stand there, the rest where they are not zero.
var statementGroups = []struct {
	caption string
	lines   []statementRule
}{
	{"What is agreed, before tax", []statementRule{
		{billing.FigureAgreement, false, false}, {billing.FigureChangeOrders, false, false}, {billing.FigureAllowances, true, false},
		{billing.FigureStop, true, false}, {billing.FigureAgreed, false, true}, {billing.FigureUnused, true, false}}},
	{"What of it is billed, before tax", []statementRule{
		{billing.FigureBilledBefore, false, false}, {billing.FigureBilledNow, false, false}, {billing.FigureBilled, false, true}, {billing.FigureToBill, false, false}}},
	{"What became of the bills", []statementRule{
		{billing.FigureBilled, false, false}, {billing.FigureTax, false, false}, {billing.FigureBilledWithTax, false, true}, {billing.FigurePaid, false, false},
		{billing.FigureCovered, true, false}, {billing.FigureHeldBack, true, false}, {billing.FigureOnAccount, true, false}, {billing.FigureDue, false, true}}},
	{"The deposit", []statementRule{
		{billing.FigureDepositReceived, true, false}, {billing.FigureCovered, true, false}, {billing.FigureDepositRefunded, true, false}, {billing.FigureDepositLeft, true, true}}},
}

type statementRule struct {
	figure   billing.Figure
	onlyIf   bool // not zero
	isATotal bool
}

// Groups returns the figures of the whole build.
func (s StatementSheet) Groups() []StatementGroup {
	var groups []StatementGroup
	for _, g := range statementGroups {
		group := StatementGroup{Caption: g.caption}
		for _, rule := range g.lines {
			amount, _ := s.Period.Figure(rule.figure, nil)
			if amount != 0 || !rule.onlyIf {
				group.Lines = append(group.Lines, StatementLine{rule.figure, FigureName(rule.figure), amount, rule.isATotal})
			}
		}
		if len(group.Lines) > 0 {
			groups = append(groups, group)
		}
	}
	return groups
}

// Total is the sum of the stages.
func (s StatementSheet) Total() billing.PeriodRow { return s.Period.Total() }

// Unused reports whether a stage has a ceiling that was not needed.
func (s StatementSheet) Unused() bool { return s.Period.Now.Unused != 0 }

// Span says over which days the statement is.
func (s StatementSheet) Span() (string, error) {
	on, err := s.longDay(s.On)
	if err != nil || s.Since.IsZero() {
		return "from the beginning to " + on, err
	}
	since, err := s.longDay(s.Since)
	return since + " to " + on, err
}

// longDay is a day with its year, which a statement that is kept needs.
func (s StatementSheet) longDay(d journal.Date) (string, error) {
	if d.IsZero() {
		return "no date", nil
	}
	return d.Time().Format("2 January 2006"), nil
}

// AsOf says what is in it, and up to which entry of the proof log it goes.
func (s StatementSheet) AsOf() (string, error) {
	on, err := s.longDay(s.On)
	said := "It counts what was recorded until the end of " + on + " at the shop, and is the same to the cent whenever it is made."
	if !s.Over {
		said = "It counts what is recorded so far. The day is not over: what is recorded later today will be in it."
	}
	if s.Entry.Seq == 0 {
		return said + " Nothing of this build was on record by then.", err
	}
	return said + " It goes up to entry " + grouped(int(s.Entry.Seq)) + " of the proof log.", err
}

func (s StatementSheet) query(more ...string) string {
	q := url.Values{"on": {string(s.On)}}
	if !s.Since.IsZero() {
		q.Set("since", string(s.Since))
	}
	for i := 0; i < len(more); i += 2 {
		q.Set(more[i], more[i+1])
	}
	return q.Encode()
}

// Href returns the address of the same statement in another form: "statement",
// "statement.pdf", "statement.csv", "application" and so on.
func (s StatementSheet) Href(form string) string { return s.At + "/" + form + "?" + s.query() }

// Why returns the address of the records of a figure of the whole build.
func (s StatementSheet) Why(f billing.Figure) string {
	return s.At + "/statement/figure?" + s.query("figure", string(f))
}

// WhyOf returns the address of the records of a stage's figure.
func (s StatementSheet) WhyOf(f billing.Figure, stageID string) string {
	if stageID == "" {
		stageID = NoStage
	}
	return s.At + "/statement/figure?" + s.query("figure", string(f), "stage", stageID)
}

// NoStage stands in addresses for what no stage bears.
const NoStage = "none"
