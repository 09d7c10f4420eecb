package server

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/views"
)

// account answers GET /account: one's own sessions and consent.
func (a *App) account(c echo.Context) error { return a.showAccount(c, http.StatusOK, "", nil) }

// showAccount shows the page with what was typed for a new passkey's name and
// why none was added.
func (a *App) showAccount(c echo.Context, status int, passkey string, bad journal.Problems) error {
	rq := of(c)
	v, err := a.steps.PersonShow(c.Request().Context(), actor(c), rq.person.ID)
	if err != nil {
		return err
	}
	page := views.Account{
		Email: v.Person.Email, Phone: v.Person.Phone, ConsentVersion: v.Consent.Version, ConsentAt: v.Consent.At,
		Sessions: []views.SessionLine{sessionLine(rq.session, true)},
	}
	for _, one := range v.Sessions {
		if one.TokenHash != rq.session.TokenHash {
			page.Sessions = append(page.Sessions, sessionLine(one, false))
		}
	}
	if page.Passkeys, err = a.passkeySection(c, passkey, bad); err != nil {
		return err
	}
	if page.Frame, err = a.frame(c, "Your account"); err != nil {
		return err
	}
	return a.show(c, status, page)
}

func sessionLine(s journal.Session, this bool) views.SessionLine {
	return views.SessionLine{
		How: s.How, Address: s.Address, UserAgent: s.UserAgent, CreatedAt: s.CreatedAt, LastSeenAt: s.LastSeenAt, This: this,
	}
}

// accountEndSessions answers POST /account/sessions/end.
func (a *App) accountEndSessions(c echo.Context) error {
	n, err := a.newSession(c)
	if err != nil {
		return err
	}
	if err := a.steps.EndOtherSessions(c.Request().Context(), actor(c), n); err != nil {
		return err
	}
	a.begin(c, n)
	return a.done(c, "/account", "All your other browsers are signed out.")
}
