package views

import (
	"io"
	"strconv"

	"farbay/journal"
	"farbay/journal/billing"
)

// statementCell is one line of a statement's table.
type statementCell struct {
	sheet  *StatementSheet
	row    string // "stage", "total" or "figure"
	name   string
	stage  *billing.PeriodRow // of stage and total
	amount *journal.Cents     // of figure
}

func ofStage(of func(billing.PeriodRow) journal.Cents) func(statementCell) string {
	return func(c statementCell) string {
		if c.stage == nil {
			return ""
		}
		return cellMoney(of(*c.stage))
	}
}

// cellShare is a share in per cent with two decimals.
func cellShare(share journal.BasisPoints) string { return cellMoney(journal.Cents(share)) }

// statementColumns documents a statement's table, column by column.
var statementColumns = []bookColumn[statementCell]{
	{"as_of", "The day at whose end the statement stands; year-month-day.", func(c statementCell) string { return string(c.sheet.On) }},
	{"since", "The first day of the period; empty from the beginning.", func(c statementCell) string { return string(c.sheet.Since) }},
	{"log_entry", "The entry of the proof log that it goes up to; 0 before the build's first.", func(c statementCell) string { return strconv.FormatInt(c.sheet.Entry.Seq, 10) }},
	{"row", "stage, total (of the stages), or figure (of the whole build, in the column amount).", func(c statementCell) string { return c.row }},
	{"name", "The stage, or what the figure is.", func(c statementCell) string { return cellText(c.name) }},
	{"agreed", "The stage's value in the agreement, before tax, as all columns up to to_bill.", ofStage(func(r billing.PeriodRow) journal.Cents { return r.Agreed })},
	{"changes", "Signed change orders, uses of the allowance, an early stop.", ofStage(func(r billing.PeriodRow) journal.Cents { return r.Changes })},
	{"not_needed", "Of the ceiling of a closed stage by time and materials.", ofStage(func(r billing.PeriodRow) journal.Cents { return r.Unused })},
	{"billed_before", "Before the period.", ofStage(func(r billing.PeriodRow) journal.Cents { return r.Before })},
	{"billed_now", "In the period, credit memos taken off.", ofStage(billing.PeriodRow.InPeriod)},
	{"share_billed", "Billed to date of what is agreed and needed, in per cent, cut off.", func(c statementCell) string {
		if c.stage == nil {
			return ""
		}
		return cellShare(c.stage.Share())
	}},
	{"to_bill", "Agreed, needed and not billed yet.", ofStage(func(r billing.PeriodRow) journal.Cents { return r.ToBill })},
	{"amount", "A figure of the whole build.", func(c statementCell) string {
		if c.amount == nil {
			return ""
		}
		return cellMoney(*c.amount)
	}},
}

// StatementCSV writes a statement as a table (RFC 4180): its stages, their total,
// and the figures of the whole build, all of them. Amounts have two decimals, a dot
// and no commas. Its only errors are those of w.
func StatementCSV(w io.Writer, s StatementSheet) error {
	var cells []statementCell
	for _, r := range s.Rows {
		cells = append(cells, statementCell{sheet: &s, row: "stage", name: r.Name, stage: &r.PeriodRow})
	}
	total := s.Total()
	cells = append(cells, statementCell{sheet: &s, row: "total", name: "All stages", stage: &total})
	for _, f := range billing.Figures() {
		amount, _ := s.Period.Figure(f, nil)
		cells = append(cells, statementCell{sheet: &s, row: "figure", name: FigureName(f), amount: &amount})
	}
	return writeTable(w, statementColumns, cells)
}

// applicationCell is one line of an application's table.
type applicationCell struct {
	sheet *ApplicationSheet
	row   string // "item", "total" or "summary"
	item  string // number
	text  string
	line  *billing.ApplicationLine
	sum   *journal.Cents
}

func ofLine(of func(billing.ApplicationLine) journal.Cents) func(applicationCell) string {
	return func(c applicationCell) string {
		if c.line == nil {
			return ""
		}
		return cellMoney(of(*c.line))
	}
}

var applicationColumns = []bookColumn[applicationCell]{
	{"as_of", "The day at whose end the sheet stands; year-month-day.", func(c applicationCell) string { return string(c.sheet.On) }},
	{"since", "The first day of the period; empty from the beginning.", func(c applicationCell) string { return string(c.sheet.Since) }},
	{"row", "item, total (of the items), or summary (a line of the sheet, in the column amount).", func(c applicationCell) string { return c.row }},
	{"item", "The item's number, or that of the summary's line.", func(c applicationCell) string { return c.item }},
	{"description", "What it is.", func(c applicationCell) string { return cellText(c.text) }},
	{"scheduled_value", "What it is agreed at, before tax; below zero for a deduction.", ofLine(func(l billing.ApplicationLine) journal.Cents { return l.Scheduled })},
	{"from_previous", "Completed by the application before.", ofLine(func(l billing.ApplicationLine) journal.Cents { return l.Previous })},
	{"this_period", "Completed since.", ofLine(func(l billing.ApplicationLine) journal.Cents { return l.ThisPeriod })},
	{"stored_materials", "Materials presently stored; the shop bills none apart, so 0.", ofLine(func(l billing.ApplicationLine) journal.Cents { return l.Stored })},
	{"completed_and_stored", "To date: the three before it together.", ofLine(billing.ApplicationLine.Completed)},
	{"per_cent", "Completed and stored of the scheduled value, cut off.", func(c applicationCell) string {
		if c.line == nil {
			return ""
		}
		return cellShare(c.line.Share())
	}},
	{"balance_to_finish", "Scheduled value less completed and stored.", ofLine(billing.ApplicationLine.Balance)},
	{"retainage", "Held back until delivery.", ofLine(func(l billing.ApplicationLine) journal.Cents { return l.Retainage })},
	{"amount", "A line of the summary.", func(c applicationCell) string {
		if c.sum == nil {
			return ""
		}
		return cellMoney(*c.sum)
	}},
}

// ApplicationCSV writes an application for payment as a table (RFC 4180). Amounts
// have two decimals, a dot and no commas. Its only errors are those of w.
func ApplicationCSV(w io.Writer, s ApplicationSheet) error {
	var cells []applicationCell
	for i, l := range s.Application.Lines {
		cells = append(cells, applicationCell{sheet: &s, row: "item", item: strconv.Itoa(i + 1), text: s.Describe(l), line: &l})
	}
	total := s.Totals()
	cells = append(cells, applicationCell{sheet: &s, row: "total", text: "All items", line: &total})
	for _, sums := range [][]ApplicationSum{s.Summary(), s.Asked()} {
		for _, sum := range sums {
			cells = append(cells, applicationCell{sheet: &s, row: "summary", item: sum.Number, text: sum.Label, sum: &sum.Amount})
		}
	}
	return writeTable(w, applicationColumns, cells)
}

// CSVColumn is a column of a table with what it holds.
type CSVColumn struct{ Name, Holds string }

// Columns documents the statement's table, for the page that offers it.
func (Statement) Columns() []CSVColumn { return documented(statementColumns) }

// Columns documents the application's table.
func (Application) Columns() []CSVColumn { return documented(applicationColumns) }

func documented[R any](columns []bookColumn[R]) (all []CSVColumn) {
	for _, c := range columns {
		all = append(all, CSVColumn{c.name, c.holds})
	}
	return all
}
