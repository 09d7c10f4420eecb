package server

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

// home shows everybody their first page. GET /
func (a *App) home(c echo.Context) error {
	switch of(c).person.Role {
	case journal.Office:
		return a.whatWaits(c)
	case journal.Floor:
		return a.floorHome(c)
	}
	return a.ownerHome(c)
}

// whatWaits is the office's first page: what each build waits on.
func (a *App) whatWaits(c echo.Context) error {
	ctx := c.Request().Context()
	glances, err := a.steps.OfficeOverview(ctx, actor(c))
	if err != nil {
		return err
	}
	var page views.WhatWaits
	if page.Frame, err = a.frame(c, "What waits"); err != nil {
		return err
	}
	if page.Unsent, err = a.steps.FailedLetters(ctx, actor(c)); err != nil {
		return err
	}
	for _, g := range glances {
		if g.Build.Over() && len(g.Waits) == 0 {
			page.Delivered++
			continue
		}
		page.Rows = append(page.Rows, boardRow(g, journal.Office))
	}
	return a.show(c, http.StatusOK, page)
}

// floorHome is the floor's first page: each build with its big act.
func (a *App) floorHome(c echo.Context) error {
	glances, err := a.steps.FloorOverview(c.Request().Context(), actor(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, "My day")
	if err != nil {
		return err
	}
	page := views.FloorHome{Frame: f}
	for _, g := range glances {
		if g.Build.Over() {
			continue
		}
		page.Builds = append(page.Builds, views.FloorBuild{
			Build: g.Build, Stages: stageLines(g.Stages), Mine: g.Mine, Loose: g.Loose, Wants: wants(g.Stages),
		})
	}
	return a.show(c, http.StatusOK, page)
}

// ownerHome is the owner's first page: their trucks, or the one they have.
func (a *App) ownerHome(c echo.Context) error {
	all, err := a.steps.OwnerHome(c.Request().Context(), actor(c))
	if err != nil {
		return err
	}
	if len(all) == 1 {
		return c.Redirect(http.StatusSeeOther, buildPath(all[0].Build.ID))
	}
	f, err := a.frame(c, "My trucks")
	if err != nil {
		return err
	}
	page := views.OwnerHome{Frame: f}
	for _, o := range all {
		card, err := buildCard(f.Words, o)
		if err != nil {
			return err
		}
		page.Builds = append(page.Builds, card)
	}
	return a.show(c, http.StatusOK, page)
}

func buildCard(w views.Words, o flow.OwnerOverview) (views.BuildCard, error) {
	card := views.BuildCard{
		Words: w, Ref: views.BuildRef{ID: o.Build.ID, Nickname: o.Build.Nickname}, Truck: o.Build.Truck.Name(),
		Coats: coats(o.Stages),
	}
	if o.Newest != nil {
		photo := newestPhoto(w, o)
		card.Photo = &photo
	}
	var err error
	if card.Said, err = said(w, o); err != nil {
		return card, err
	}
	card.Waiting, err = waitings(w, o)
	return card, err
}
