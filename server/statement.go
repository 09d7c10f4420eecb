package server

import (
	"bytes"
	"context"
	"io"
	"mime"
	"net/http"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

// statementDays reads the days of a statement from the address: today and from the
// beginning when it names none. A day that is none is said beside its field.
func (a *App) statementDays(c echo.Context, form string, zone *time.Location) (views.StatementDays, journal.Date, journal.Date) {
	today := journal.DateOf(a.now(), zone)
	days := views.StatementDays{Form: form, On: c.QueryParam("on"), Since: c.QueryParam("since"), Problems: journal.Problems{}}
	if !c.QueryParams().Has("on") {
		days.On = string(today)
	}
	day := func(field, typed string) (d journal.Date) {
		if typed = strings.TrimSpace(typed); typed == "" {
			return ""
		}
		d, err := journal.ParseDate(typed)
		if err != nil {
			days.Problems.Add(field, "%s", journal.MessageOf(err))
		}
		return d
	}
	on, since := day("on", days.On), day("since", days.Since)
	month := journal.Date(string(today)[:8] + "01")
	end := month.AddDays(-1)
	at := "/builds/" + string(of(c).build.ID) + "/" + form + "?on="
	days.Quick = []views.Link{
		{Text: "This month", Href: at + string(today) + "&since=" + string(month)},
		{Text: "Last month", Href: at + string(end) + "&since=" + string(end)[:8] + "01"},
		{Text: "From the beginning to today", Href: at + string(today)},
	}
	return days, on, since
}

// statementOf makes the statement that the address asks for. ok is false where its
// days cannot be taken; the reasons are then in days.
func (a *App) statementOf(c echo.Context, form string, f views.Frame) (v flow.StatementOn, days views.StatementDays, ok bool, err error) {
	days, on, since := a.statementDays(c, form, f.Zone)
	if len(days.Problems) > 0 {
		return v, days, false, nil
	}
	v, err = a.steps.StatementAt(c.Request().Context(), actor(c), of(c).build.ID, on, since)
	bad, err := problems(err)
	if err != nil || len(bad) == 0 {
		return v, days, err == nil, err
	}
	days.Problems = bad
	return v, days, false, nil
}

// statementSheet is the statement as pages and prints show it.
func statementSheet(f views.Frame, v flow.StatementOn) views.StatementSheet {
	s := views.StatementSheet{
		Words: f.Words, At: "/builds/" + string(v.Build.ID), On: v.On, Since: v.Since, Until: v.Until, Over: v.Over, Entry: v.Entry, Period: v.Period,
		Shop:  signoff.SheetShop{Name: v.Shop.Name, Address: v.Shop.Address, Phone: v.Shop.Phone, Zone: v.Shop.Zone},
		Build: signoff.SheetBuild{Nickname: v.Build.Nickname, Truck: v.Build.Truck.Name(), Serial: v.Build.Truck.Serial, Owners: v.Owners},
	}
	rows := map[string]billing.PeriodRow{}
	for _, r := range v.Period.Stages {
		rows[r.StageID] = r
	}
	for _, st := range v.Stages {
		r, known := rows[string(st.ID)]
		if known && r != (billing.PeriodRow{StageRow: billing.StageRow{StageID: r.StageID}}) {
			s.Rows = append(s.Rows, views.StatementRow{Name: st.Name, PeriodRow: r})
		}
	}
	if rest, known := rows[""]; known {
		s.Rows = append(s.Rows, views.StatementRow{Name: v.StageName(""), PeriodRow: rest})
	}
	return s
}

// statement shows a build's statement as of a day.
// GET /builds/:build/statement
func (a *App) statement(c echo.Context) error {
	f, err := a.frame(c, "Statement")
	if err != nil {
		return err
	}
	v, days, ok, err := a.statementOf(c, "statement", f)
	if err != nil {
		return err
	}
	page := views.Statement{Frame: f, Days: days}
	if !ok {
		return a.show(c, http.StatusUnprocessableEntity, page)
	}
	sheet := statementSheet(f, v)
	page.Sheet = &sheet
	for i, b := range billing.Open(v.Books.Now) {
		if b.Open != 0 {
			page.Open = append(page.Open, invoiceItem(v.Invoices[i], b, v.Stages, v.On))
		}
	}
	return a.show(c, http.StatusOK, page)
}

// statementFigure shows the records that one figure is summed from; what is due
// where the address names none.
// GET /builds/:build/statement/figure
func (a *App) statementFigure(c echo.Context) error {
	f, err := a.frame(c, "Statement")
	if err != nil {
		return err
	}
	v, days, ok, err := a.statementOf(c, "statement", f)
	if err != nil {
		return err
	}
	if !ok {
		return a.show(c, http.StatusUnprocessableEntity, views.Statement{Frame: f, Days: days})
	}
	page := views.StatementFigure{Frame: f, Sheet: statementSheet(f, v), Figure: billing.Figure(c.QueryParam("figure"))}
	if !c.QueryParams().Has("figure") {
		page.Figure = billing.FigureDue
	}
	var stage *string
	if id := c.QueryParam("stage"); id != "" {
		if id == views.NoStage {
			id = ""
		}
		stage, page.Stage = &id, v.StageName(id)
	}
	if page.Amount, ok = v.Period.Figure(page.Figure, stage); !ok {
		return journal.Errorf(journal.NotFound, "There is no such figure on the statement.")
	}
	for _, part := range billing.Explain(v.Books, page.Figure, stage) {
		page.Parts = append(page.Parts, views.FigurePart{Text: part.Text, Href: partPath(v.Build.ID, part), On: part.On, Amount: part.Amount})
	}
	return a.show(c, http.StatusOK, page)
}

// partPath is where the record of a figure is shown: a document or what a payment
// is for, else what makes a charge agreed.
func partPath(build journal.BuildID, p billing.Part) string {
	switch {
	case p.Document != "":
		return invoicePath(build, journal.InvoiceID(p.Document))
	case p.Payment != "":
		return moneyPath(build)
	case p.Charge == "":
		return ""
	}
	return chargeFrom(build, billing.Charge{Ref: p.Charge, StageID: p.Stage}, nil, nil).Href
}

// statementPDF prints a statement. GET /builds/:build/statement.pdf
func (a *App) statementPDF(c echo.Context) error {
	return a.sendStatement(c, "statement", "pdf", func(ctx context.Context, w io.Writer, f views.Frame, v flow.StatementOn) error {
		return views.StatementPDF(ctx, w, statementSheet(f, v))
	})
}

// statementCSV sends a statement as a table. GET /builds/:build/statement.csv
func (a *App) statementCSV(c echo.Context) error {
	return a.sendStatement(c, "statement", "csv", func(_ context.Context, w io.Writer, f views.Frame, v flow.StatementOn) error {
		return views.StatementCSV(w, statementSheet(f, v))
	})
}

func applicationSheet(f views.Frame, v flow.StatementOn) views.ApplicationSheet {
	s := views.ApplicationSheet{StatementSheet: statementSheet(f, v), Application: v.Application(), Stages: map[string]string{}}
	for _, st := range v.Stages {
		s.Stages[string(st.ID)] = st.Name
	}
	return s
}

// application shows the sheet of an application for payment.
// GET /builds/:build/application
func (a *App) application(c echo.Context) error {
	f, err := a.frame(c, "Application for payment")
	if err != nil {
		return err
	}
	v, days, ok, err := a.statementOf(c, "application", f)
	if err != nil {
		return err
	}
	page := views.Application{Frame: f, Days: days}
	if !ok {
		return a.show(c, http.StatusUnprocessableEntity, page)
	}
	sheet := applicationSheet(f, v)
	page.Sheet = &sheet
	return a.show(c, http.StatusOK, page)
}

// applicationPDF prints an application. GET /builds/:build/application.pdf
func (a *App) applicationPDF(c echo.Context) error {
	return a.sendStatement(c, "application", "pdf", func(ctx context.Context, w io.Writer, f views.Frame, v flow.StatementOn) error {
		return views.ApplicationPDF(ctx, w, applicationSheet(f, v))
	})
}

// applicationCSV sends an application as a table.
// GET /builds/:build/application.csv
func (a *App) applicationCSV(c echo.Context) error {
	return a.sendStatement(c, "application", "csv", func(_ context.Context, w io.Writer, f views.Frame, v flow.StatementOn) error {
		return views.ApplicationCSV(w, applicationSheet(f, v))
	})
}

var statementTypes = map[string]string{"pdf": flow.PrintType, "csv": "text/csv; charset=utf-8; header=present"}

// sendStatement answers with a file made of the statement that the address asks for;
// days that cannot be taken are refused with the sentences that a form would show.
func (a *App) sendStatement(c echo.Context, what, kind string, makeIt func(context.Context, io.Writer, views.Frame, flow.StatementOn) error) error {
	f, err := a.frame(c, "Statement")
	if err != nil {
		return err
	}
	v, days, ok, err := a.statementOf(c, what, f)
	if err != nil {
		return err
	}
	if !ok {
		return days.Problems.Err()
	}
	ctx := c.Request().Context()
	if err := a.prints.Acquire(ctx, 1); err != nil {
		return err
	}
	defer a.prints.Release(1)
	var made bytes.Buffer
	if err := makeIt(ctx, &made, f, v); err != nil {
		return err
	}
	name := strings.ToLower(v.Build.Nickname) + " " + what + " " + string(v.On) + "." + kind
	h := c.Response().Header()
	h.Set(echo.HeaderCacheControl, "private, no-cache")
	h.Set(echo.HeaderContentDisposition, mime.FormatMediaType("inline", map[string]string{"filename": name}))
	if err := allowTime(c, int64(made.Len())); err != nil {
		return err
	}
	return c.Blob(http.StatusOK, statementTypes[kind], made.Bytes())
}
