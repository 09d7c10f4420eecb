package server

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

// belongingView puts what stands about a find into the form pages show; nil when
// nobody was asked.
func belongingView(w views.Words, v *flow.BelongingView, staff bool, form *views.BelongingForm) *views.BelongingView {
	if v == nil {
		return nil
	}
	b := v.Belonging
	shown := views.BelongingView{Words: w, Belonging: b, Names: v.Names}
	if v.CanAnswer {
		shown.Form = form
		if form == nil {
			shown.Form = &views.BelongingForm{BuildID: b.BuildID, EntryID: b.EntryID, What: b.What}
			if last, answered := b.Last(); answered {
				shown.Form.Note = last.Note
			}
		}
	}
	if staff && len(b.Answers) > 0 && b.DoneAt.IsZero() {
		shown.DoneAt = entryPath(b.BuildID, b.EntryID) + "/belonging/done"
	}
	return &shown
}

// belongingAsk asks the owner about a find.
// POST /builds/:build/entries/:entry/ask
func (a *App) belongingAsk(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build.ID
	err = a.steps.AskBelonging(c.Request().Context(), actor(c), build, entryID(c), f.line("what"))
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		return a.showEntry(c, http.StatusUnprocessableEntity, entryPage{what: f.raw("what"), bad: bad})
	}
	if err != nil {
		return err
	}
	return a.done(c, entryPath(build, entryID(c)), "The owner is asked, by e-mail and on their page.")
}

// belongingAnswer records what the owner wants.
// POST /builds/:build/entries/:entry/belonging
func (a *App) belongingAnswer(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, answer := of(c).build.ID, formID[journal.BelongingAnswer](f, "answer")
	err = a.steps.AnswerBelonging(c.Request().Context(), actor(c), build, entryID(c), answer, f.text("note"))
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		form := views.BelongingForm{BuildID: build, EntryID: entryID(c), Note: f.raw("note"), Problems: bad}
		return a.showEntry(c, http.StatusUnprocessableEntity, entryPage{answer: &form})
	}
	if err != nil {
		return err
	}
	return a.done(c, entryPath(build, entryID(c)), "Recorded, and the shop knows: "+string(answer)+" it.")
}

// belongingDone notes that the shop has done it.
// POST /builds/:build/entries/:entry/belonging/done
func (a *App) belongingDone(c echo.Context) error {
	build := of(c).build.ID
	if err := a.steps.DoneBelonging(c.Request().Context(), actor(c), build, entryID(c)); err != nil {
		return err
	}
	return a.done(c, entryPath(build, entryID(c)), "Noted as done.")
}
