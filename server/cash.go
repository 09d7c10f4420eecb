package server

import (
	"bytes"
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/views"
)

// cash shows what is expected to come in. GET /cash
func (a *App) cash(c echo.Context) error {
	page, err := a.cashPage(c)
	if err != nil {
		return err
	}
	return a.show(c, http.StatusOK, page)
}

func (a *App) cashPage(c echo.Context) (views.CashPage, error) {
	f, err := a.frame(c, "What will come in")
	if err != nil {
		return views.CashPage{}, err
	}
	expected, err := a.steps.CashExpected(c.Request().Context(), actor(c))
	if err != nil {
		return views.CashPage{}, err
	}
	page := views.CashPage{Frame: f, Today: journal.DateOf(a.now(), f.Zone)}
	for _, b := range expected {
		for _, coming := range b.Coming {
			page.Items = append(page.Items, views.CashItem{
				Build: views.BuildRef{ID: b.Build.ID, Nickname: b.Build.Nickname}, Stage: stageName(b.Stages, journal.StageID(coming.StageID)), Coming: coming,
			})
		}
	}
	return page, nil
}

// cashTable sends the same as a table. GET /cash/forecast.csv
func (a *App) cashTable(c echo.Context) error {
	page, err := a.cashPage(c)
	if err != nil {
		return err
	}
	var made bytes.Buffer
	if err := views.WriteCash(&made, page); err != nil {
		return err
	}
	h := c.Response().Header()
	h.Set(echo.HeaderCacheControl, "private, no-store")
	h.Set(echo.HeaderContentDisposition, contentDisposition("forecast-"+string(page.Today)+".csv"))
	return c.Blob(http.StatusOK, "text/csv; charset=utf-8", made.Bytes())
}
