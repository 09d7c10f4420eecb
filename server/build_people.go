package server

import (
	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

func buildPeoplePath(build journal.BuildID) string { return buildPath(build) + "/people" }

// buildPeople shows a build's owners and delegates.
// GET /builds/:build/people
func (a *App) buildPeople(c echo.Context) error {
	kept, err := a.kept(c, c.Request().URL.Path)
	if err != nil {
		return err
	}
	if kept != nil {
		return a.showBuildPeople(c, formOf(kept), refusal{})
	}
	return a.showBuildPeople(c, formOf(nil), refusal{})
}

// showBuildPeople shows the page with what was typed to add one.
func (a *App) showBuildPeople(c echo.Context, typed *form, r refusal) error {
	ctx, build := c.Request().Context(), of(c).build.ID
	v, err := a.steps.BuildShow(ctx, actor(c), build)
	if err != nil {
		return err
	}
	page := views.BuildPeople{
		Parties: partiesOf(v), Chosen: typed.raw("person"), As: typed.raw("as"), NamedBy: typed.raw("named_by"), Problems: r.problems,
	}
	if page.As == "" {
		page.As = string(journal.AsOwner)
	}
	if page.Choices, err = a.steps.OwnersToAdd(ctx, actor(c), build); err != nil {
		return err
	}
	if page.Frame, err = a.frame(c, "Owners"); err != nil {
		return err
	}
	r.on(&page.Frame)
	return a.show(c, r.answer(), page)
}

// buildPeopleAdd makes somebody an owner of the build, or a delegate.
// POST /builds/:build/people
func (a *App) buildPeopleAdd(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build
	err = a.steps.AddOwner(c.Request().Context(), actor(c), build.ID, flow.NewMember{
		PersonID: formID[journal.PersonID](f, "person"), As: formID[journal.MemberAs](f, "as"), NamedBy: f.line("named_by"),
	})
	if r, ok := refused(err); ok {
		return a.showBuildPeople(c, f, r)
	}
	if err != nil {
		return err
	}
	return a.done(c, buildPeoplePath(build.ID), "Added. They see "+build.Nickname+" when they sign in.")
}

// buildPeopleEnd ends somebody's part in the build.
// POST /builds/:build/people/:person/end
func (a *App) buildPeopleEnd(c echo.Context) error {
	build := of(c).build
	err := a.steps.EndOwner(c.Request().Context(), actor(c), build.ID, journal.PersonID(c.Param("person")))
	if err != nil {
		return err
	}
	return a.done(c, buildPeoplePath(build.ID), "Ended. They no longer see "+build.Nickname+"; what they decided stays.")
}
