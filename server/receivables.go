package server

import (
	"encoding/csv"
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/views"
)

// receivables shows what is open on all builds, by age. GET /receivables
func (a *App) receivables(c echo.Context) error {
	all, err := a.steps.Receivables(c.Request().Context(), actor(c))
	if err != nil {
		return err
	}
	page := views.Receivables{On: all.On, Total: all.Total, Columns: receivableColumns}
	if page.Frame, err = a.frame(c, "Receivables"); err != nil {
		return err
	}
	for _, r := range all.Builds {
		page.Rows = append(page.Rows, views.ReceivableRow{
			Ref: views.BuildRef{ID: r.Build.ID, Nickname: r.Build.Nickname}, Owners: r.Owners, Aging: r.Aging,
		})
	}
	return a.show(c, http.StatusOK, page)
}

// receivableColumns are the columns of the table that can be downloaded, with what
// stands in them.
var receivableColumns = []views.Column{
	{Name: "as_of", What: "the day on which it is open, as year-month-day"},
	{Name: "build", What: "the build's nickname"},
	{Name: "owners", What: "the owners' names, with a semicolon between"},
	{Name: "document", What: "invoice, holdback release or credit memo; on account for money that has paid nothing yet; owed again for money sent back that was not there any more"},
	{Name: "number", What: "its number; empty for money on account"},
	{Name: "issued", What: "the day of issue"},
	{Name: "due", What: "the due day"},
	{Name: "days_late", What: "calendar days past due, 0 when not late"},
	{Name: "not_late", What: "open and not late, with tax, two decimals"},
	{Name: "late_1_30", What: "open and 1 to 30 days late"},
	{Name: "late_31_60", What: "open and 31 to 60 days late"},
	{Name: "late_61_90", What: "open and 61 to 90 days late"},
	{Name: "late_over_90", What: "open and more than 90 days late"},
	{Name: "in_favour", What: "in the owner's favour; due is the five columns before less this one"},
	{Name: "currency", What: "three letters, ISO 4217"},
}

// receivablesTable sends the same as a table, one line for each document.
// GET /receivables.csv
func (a *App) receivablesTable(c echo.Context) error {
	ctx := c.Request().Context()
	all, err := a.steps.Receivables(ctx, actor(c))
	if err != nil {
		return err
	}
	shop, err := a.steps.ShopOf(ctx)
	if err != nil {
		return err
	}
	h := c.Response().Header()
	h.Set(echo.HeaderContentType, "text/csv; charset=utf-8; header=present")
	h.Set(echo.HeaderContentDisposition, fmt.Sprintf(`attachment; filename="receivables-%s.csv"`, all.On))
	h.Set(echo.HeaderCacheControl, "no-store")
	w := csv.NewWriter(c.Response())
	w.UseCRLF = true // RFC 4180
	head := make([]string, len(receivableColumns))
	for i, column := range receivableColumns {
		head[i] = column.Name
	}
	if err := w.Write(head); err != nil {
		return err
	}
	for _, r := range all.Builds {
		for _, line := range receivableLines(r, all.On, shop.Currency) {
			if err := w.Write(line); err != nil {
				return err
			}
		}
	}
	w.Flush()
	return w.Error()
}

// receivableLines are the lines of one build: its open documents, then what stands
// in the owner's favour.
func receivableLines(r flow.Receivable, on journal.Date, currency string) [][]string {
	var lines [][]string
	line := func(kind, number, issued, due, late string, open [billing.AgeBuckets]journal.Cents, favour journal.Cents) {
		cells := []string{string(on), views.CellText(r.Build.Nickname), views.CellText(strings.Join(r.Owners, "; ")), kind, number, issued, due, late}
		for _, amount := range open {
			cells = append(cells, plainAmount(amount))
		}
		lines = append(lines, append(cells, plainAmount(favour), currency))
	}
	for _, d := range r.Aging.Documents {
		var open [billing.AgeBuckets]journal.Cents
		open[d.Bucket()] = d.Open
		line(string(d.Document.Kind), strconv.Itoa(d.Document.Number), string(d.Document.IssuedOn), string(d.Document.DueOn), strconv.Itoa(d.Late), open, 0)
	}
	for _, b := range r.Aging.Credits {
		line(string(b.Document.Kind), strconv.Itoa(b.Document.Number), string(b.Document.IssuedOn), "", "0", [billing.AgeBuckets]journal.Cents{}, -b.Open)
	}
	if r.Aging.OnAccount > 0 {
		line("on account", "", "", "", "0", [billing.AgeBuckets]journal.Cents{}, r.Aging.OnAccount)
	}
	if r.Aging.OwedAgain > 0 {
		line("owed again", "", "", "", "0", [billing.AgeBuckets]journal.Cents{billing.NotLate: r.Aging.OwedAgain}, 0)
	}
	return lines
}

// plainAmount writes an amount without commas: "1234.50".
func plainAmount(c journal.Cents) string { return strings.ReplaceAll(c.String(), ",", "") }
