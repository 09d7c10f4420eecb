package server

import (
	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

// buildStop shows the ways to end a build early. GET /builds/:build/stop
func (a *App) buildStop(c echo.Context) error {
	kept, err := a.kept(c, c.Request().URL.Path)
	if err != nil {
		return err
	}
	if kept != nil {
		return a.showBuildStop(c, stopForm(formOf(kept)), refusal{})
	}
	today, err := a.todayAtShop(c)
	if err != nil {
		return err
	}
	return a.showBuildStop(c, views.StopForm{On: string(today), Version: of(c).build.Version}, refusal{})
}

// todayAtShop is the present day in the shop's zone.
func (a *App) todayAtShop(c echo.Context) (journal.Date, error) {
	shop, err := a.shop(c)
	return journal.DateOf(a.now(), shop.Location()), err
}

func stopForm(f *form) views.StopForm {
	return views.StopForm{On: f.raw("stop_on"), Reason: f.raw("reason"), Version: f.version()}
}

func (a *App) showBuildStop(c echo.Context, form views.StopForm, r refusal) error {
	b, papers, err := a.steps.PapersOf(c.Request().Context(), actor(c), of(c).build.ID)
	if err != nil {
		return err
	}
	f, err := a.frame(c, "End the build early")
	if err != nil {
		return err
	}
	r.on(&f)
	page := views.BuildStop{Frame: f, Stored: b, Form: form, Problems: r.problems}
	for _, l := range papers {
		if l.Paper.Kind == signoff.EarlyStop && !l.Paper.Decided() {
			page.PaperID = l.Paper.ID
		}
	}
	if r.late() {
		page.Form.Version = b.Version
	}
	return a.show(c, r.answer(), page)
}

// buildStopUnsigned records that a build has ended without a signed paper.
// POST /builds/:build/stop
func (a *App) buildStopUnsigned(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build
	in := flow.Stopping{Version: f.version(), On: f.date("stop_on"), Reason: f.text("reason")}
	if err = f.err(); err == nil {
		err = a.steps.StopUnsigned(c.Request().Context(), actor(c), build.ID, in)
	}
	if r, ok := refused(err); ok {
		return a.showBuildStop(c, stopForm(f), r)
	}
	if err != nil {
		return err
	}
	return a.done(c, buildPath(build.ID), "The end of "+build.Nickname+" is recorded, and its owner has a letter.")
}

// endingView is how a build ended early, for its pages; nil for one that did not.
func (a *App) endingView(c echo.Context, w views.Words, back journal.Cents) (*views.EndingView, error) {
	build := of(c).build.ID
	e, err := a.steps.EndingOf(c.Request().Context(), actor(c), build)
	if err != nil || e == nil {
		return nil, err
	}
	return &views.EndingView{Words: w, BuildID: build, On: e.On, Reason: e.Reason, Paper: e.Paper, PaperID: e.PaperID, Back: back}, nil
}
