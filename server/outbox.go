package server

import (
	"net/http"
	"regexp"

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

// personalLink is the token of a link that signs its reader in.
var personalLink = regexp.MustCompile(`(/(?:enter|set-password)/)[A-Za-z0-9_-]+`)

// withoutLinks takes the tokens of sign-in links out of a letter's text: what
// was mailed to somebody is theirs, and the office must not enter as them.
// Letters that are only kept here, for lack of a mail server, keep theirs.
func withoutLinks(text string) string {
	return personalLink.ReplaceAllString(text, "${1}(sent to its reader only)")
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
	if a.mailer != nil {
		line.Letter.Text = withoutLinks(line.Letter.Text)
	}
	return a.show(c, http.StatusOK, views.LetterPage{Frame: f, Letter: line.Letter, Nickname: line.Build, ByMail: a.mailer != nil})
}
