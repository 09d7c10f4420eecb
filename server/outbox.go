package server

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/views"
)

// outboxLetters is how many of the newest letters the outbox shows.
const outboxLetters = 200

// outbox lists the letters, newest first. GET /outbox
func (a *App) outbox(c echo.Context) error {
	lines, waiting, err := a.steps.Outbox(c.Request().Context(), actor(c), outboxLetters)
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Letters")
	if err != nil {
		return err
	}
	page := views.Outbox{Frame: f, Waiting: waiting, ByMail: a.mailer != nil}
	for _, l := range lines {
		page.Letters = append(page.Letters, views.LetterLine{Letter: l.Letter, Build: l.Build})
	}
	return a.show(c, http.StatusOK, page)
}

// letter shows one letter as it was sent. GET /outbox/:letter
func (a *App) letter(c echo.Context) error {
	line, err := a.steps.LetterShow(c.Request().Context(), actor(c), journal.LetterID(c.Param("letter")))
	if err != nil {
		return err
	}
	f, err := a.frame(c, line.Letter.Subject)
	if err != nil {
		return err
	}
	return a.show(c, http.StatusOK, views.LetterPage{Frame: f, Letter: line.Letter, Nickname: line.Build, ByMail: a.mailer != nil})
}
