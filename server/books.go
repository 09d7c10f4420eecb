package server

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/views"
)

// viewBooks makes of the records what is shown and written.
func viewBooks(from flow.Books, now time.Time) views.Books {
	books := views.Books{
		ShopName: from.Shop.Name, Currency: from.Shop.Currency, Zone: from.Shop.Location(), From: from.From, To: from.To, MadeAt: now,
	}
	for _, b := range from.Builds {
		build := views.BookBuild{
			ID: b.Build.ID, Nickname: b.Build.Nickname, Documents: map[string]views.BookDocument{}, Stages: map[string]string{}, Names: b.Names,
			Standing: billing.BookedStatement(b.Records, from.To).Standing(),
		}
		for _, e := range billing.Entries(b.Records) {
			if e.On() <= from.To {
				build.Entries = append(build.Entries, e)
			}
		}
		for _, st := range b.Stages {
			build.Stages[string(st.ID)] = st.Name
		}
		for _, inv := range b.Invoices {
			build.Documents[inv.Document.ID] = views.BookDocument{
				Name: inv.Document.Name(), Stage: build.Stages[string(inv.StageID)], BillTo: inv.BillTo,
				Tax: billing.TaxShares(inv.Document, b.RatesOf(inv)),
			}
		}
		books.Builds = append(books.Builds, build)
	}
	return books
}

// WriteBooks writes the books of a period as a ZIP, and returns them.
func (a *App) WriteBooks(ctx context.Context, who flow.Actor, from, to journal.Date, w io.Writer) (views.Books, error) {
	books, err := a.steps.BooksOf(ctx, who, from, to)
	if err != nil {
		return views.Books{}, err
	}
	shown := viewBooks(books, a.now())
	return shown, views.WriteBooks(w, shown)
}

// books shows the books of a period: of month, else from from to to, else of the
// month before this one. GET /books?month=&from=&to=
func (a *App) books(c echo.Context) error {
	f, err := a.frame(c, "Books")
	if err != nil {
		return err
	}
	typed := formOf(c.QueryParams())
	today := journal.DateOf(a.now(), f.Zone)
	page := views.BooksPage{Frame: f, Month: typed.line("month"), From: typed.raw("from"), To: typed.raw("to")}
	from, to := typed.date("from"), typed.date("to")
	if page.Month == "" && !typed.has("from") && !typed.has("to") {
		page.Month = string(today.AddDays(-today.Time().Day()))[:len("2026-03")]
	}
	if page.Month != "" {
		if from, to, err = monthDays(page.Month); err != nil {
			typed.bad.Add("month", "%s", journal.MessageOf(err))
		}
		page.From, page.To = string(from), string(to)
	}
	ctx, status := c.Request().Context(), http.StatusOK
	books, err := a.steps.BooksOf(ctx, actor(c), from, to)
	if len(typed.bad) == 0 {
		err = typed.add(err)
	}
	if len(typed.bad) > 0 {
		status, page.Problems = http.StatusUnprocessableEntity, typed.bad
		books, err = a.steps.BooksOf(ctx, actor(c), today, today) // for the months
	}
	if err != nil {
		return err
	}
	first := books.First
	if first.IsZero() || first > today {
		first = today
	}
	page.Months = append([]views.Option{{Text: "Choose a month"}}, views.MonthOptions(first, today)...)
	if status == http.StatusOK {
		shown := viewBooks(books, a.now())
		page.Books = &shown
	}
	return a.show(c, status, page)
}

// monthDays returns the first and last day of a month such as "2026-03".
func monthDays(month string) (from, to journal.Date, err error) {
	if from, err = journal.ParseDate(month + "-01"); err != nil {
		return "", "", journal.Errorf(journal.Invalid, "Please choose one of the months.")
	}
	return from, journal.Date(from.Time().AddDate(0, 1, -1).Format("2006-01-02")), nil
}

// booksZIP sends the books of a period. GET /books/books.zip?from=&to=
func (a *App) booksZIP(c echo.Context) error {
	typed := formOf(c.QueryParams())
	from, to := typed.date("from"), typed.date("to")
	if err := typed.err(); err != nil {
		return err
	}
	done, err := a.zips.take(actor(c).Person.ID)
	if err != nil {
		return err
	}
	defer done()
	var made bytes.Buffer
	if _, err := a.WriteBooks(c.Request().Context(), actor(c), from, to, &made); err != nil {
		return err
	}
	h := c.Response().Header()
	h.Set(echo.HeaderCacheControl, "private, no-store")
	h.Set(echo.HeaderContentDisposition, contentDisposition(fmt.Sprintf("books-%s-to-%s.zip", from, to)))
	return c.Blob(http.StatusOK, "application/zip", made.Bytes())
}
