package views

import (
	"context"
	"fmt"
	"io"
	"strings"

	"farbay/journal/signoff"
)

// StatementPDF writes a statement as a PDF, as [PaperPDF] writes a paper: tagged, US
// Letter, the same bytes for the same statement. The time in it is the end of the day
// that it is of. Errors are those of w and ctx; one before the first byte leaves w
// untouched.
func StatementPDF(ctx context.Context, w io.Writer, s StatementSheet) error {
	d, title, err := s.print("Statement")
	if err != nil {
		return err
	}
	for _, g := range s.Groups() {
		var rows []pdfRow
		for _, l := range g.Lines {
			rows = append(rows, pdfRow{what: l.Label, figure: d.said(s.Money(l.Amount)), strong: l.Sum})
		}
		d.table([2]string{g.Caption, "Amount"}, rows)
	}
	d.section("Stage by stage")
	heads := []string{"Agreed", "Changes", "Billed before", "Billed now", "Share billed", "To bill"}
	if s.Unused() {
		heads = append(heads[:2:2], append([]string{"Not needed"}, heads[2:]...)...)
	}
	row := func(r StatementRow, strong bool) pdfGridRow {
		figures := []string{r.Agreed.String(), r.Changes.String(), r.Before.String(), r.InPeriod().String(), Percent(r.Share()), r.ToBill.String()}
		if s.Unused() {
			figures = append(figures[:2:2], append([]string{r.Unused.String()}, figures[2:]...)...)
		}
		return pdfGridRow{r.Name, figures, strong}
	}
	var rows []pdfGridRow
	for _, r := range s.Rows {
		rows = append(rows, row(r, false))
	}
	rows = append(rows, row(StatementRow{"All stages", s.Total()}, true))
	d.grid("Stage, before tax", 110, heads, rows)
	return d.printed(ctx, w, s, title)
}

// ApplicationPDF writes an application for payment as a PDF; see [StatementPDF].
func ApplicationPDF(ctx context.Context, w io.Writer, s ApplicationSheet) error {
	d, title, err := s.print("Application for payment")
	if err != nil {
		return err
	}
	sums := func(caption string, all []ApplicationSum) {
		var rows []pdfRow
		for _, l := range all {
			what := l.Label
			if l.Number != "" {
				what = l.Number + ". " + what
			}
			rows = append(rows, pdfRow{what: what, figure: d.said(s.Money(l.Amount)), strong: l.Strong})
		}
		d.table([2]string{caption, "Amount"}, rows)
	}
	a := s.Application
	sums("Summary, before tax", s.Summary())
	sums("Agreed since the build agreement", []ApplicationSum{{"", "Additions", a.Additions, false}, {"", "Deductions", a.Deductions, false}, {"", "Net change", a.NetChange(), true}})
	sums("From line 8 to the invoices", s.Asked())
	d.section("Item by item")
	d.say("Before tax. Completed is what is billed. The shop bills no stored materials apart, so there are none.")
	var rows []pdfGridRow
	for i, l := range a.Lines {
		rows = append(rows, pdfGridRow{fmt.Sprintf("%d. %s", i+1, s.Describe(l)), []string{
			l.Scheduled.String(), l.Previous.String(), l.ThisPeriod.String(), l.Stored.String(), l.Completed().String(), Percent(l.Share()), l.Balance().String(), l.Retainage.String(),
		}, false})
	}
	l := s.Totals()
	rows = append(rows, pdfGridRow{"All items", []string{
		l.Scheduled.String(), l.Previous.String(), l.ThisPeriod.String(), l.Stored.String(), l.Completed().String(), Percent(l.Share()), l.Balance().String(), l.Retainage.String(),
	}, true})
	d.grid("Item", 0, []string{"Scheduled value", "From previous", "This period", "Stored materials", "Completed and stored", "%", "Balance to finish", "Retainage"}, rows)
	return d.printed(ctx, w, s.StatementSheet, title)
}

// print begins a print of figures: the shop's head, what it is of, and up to where
// the record goes into it.
func (s StatementSheet) print(kind string) (d *pdfDoc, title string, err error) {
	span, err := s.Span()
	if err != nil {
		return nil, "", err
	}
	asOf, err := s.AsOf()
	if err != nil {
		return nil, "", err
	}
	d, err = newPDFDoc(SheetView{Words: s.Words, Sheet: signoff.Sheet{Shop: s.Shop, Build: s.Build}})
	if err != nil {
		return nil, "", err
	}
	d.letterhead()
	d.heading(kind, "H1", 22, toneInk)
	lines := []string{s.Build.Nickname, s.Build.Truck, s.Build.Serial, List(s.Build.Owners)}
	small := d.small()
	small.size, small.after = 9, 6
	d.text(strings.Join(notEmpty(lines), ", ")+".", small)
	d.say(UpperFirst(span) + ".")
	d.say(asOf)
	d.space(4)
	d.about = fmt.Sprintf("up to entry %d of the proof log", s.Entry.Seq)
	return d, fmt.Sprintf("%s of %s, %s", kind, s.Build.Nickname, span), nil
}

func notEmpty(all []string) (some []string) {
	for _, s := range all {
		if s != "" {
			some = append(some, s)
		}
	}
	return some
}

// printed lays the print out and writes it.
func (d *pdfDoc) printed(ctx context.Context, w io.Writer, s StatementSheet, title string) error {
	if d.fault != nil {
		return d.fault
	}
	d.layOut()
	for i := range d.pages {
		d.headAndFoot(i, title, func(pdfEdge) {})
	}
	return d.write(ctx, w, title, s.Until)
}
