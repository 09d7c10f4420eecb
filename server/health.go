package server

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal/flow"
)

// health answers GET /healthz: 200 and {"status":"ok"} when the database can be
// read, 503 when not.
func (a *App) health(c echo.Context) error {
	err := a.store.Read(c.Request().Context(), func(r flow.Reads) error {
		_, err := r.Meta("health")
		return err
	})
	if err != nil {
		a.log.ErrorContext(c.Request().Context(), "not healthy", "error", err)
		return c.JSON(http.StatusServiceUnavailable, map[string]string{"status": "the database cannot be read"})
	}
	return c.JSON(http.StatusOK, map[string]string{"status": "ok"})
}

// static answers GET /static/:hash/*.
func (a *App) static(c echo.Context) error {
	a.views.Assets().ServeHTTP(c.Response(), c.Request())
	return nil
}
