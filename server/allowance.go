package server

import (
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

// useLines is how many lines the form of a use offers.
const useLines = 4

func allowancePath(build journal.BuildID) string { return buildPath(build) + "/allowance" }

// allowance shows a build's standing allowance and what it was used for.
// GET /builds/:build/allowance
func (a *App) allowance(c echo.Context) error {
	v, err := a.steps.AllowanceOf(c.Request().Context(), actor(c), of(c).build.ID)
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Standing allowance")
	if err != nil {
		return err
	}
	page := views.Allowance{Frame: f, InForce: v.InForce, SetBy: v.SetBy, Month: v.Month, Left: v.Left, CanEnd: v.CanEnd}
	for _, u := range v.Uses {
		use := views.UseView{Use: u, Stage: stageName(v.Stages, u.StageID), By: v.Names[u.ByID]}
		for _, p := range u.Photos {
			use.Shots = append(use.Shots, views.NewPhotoView(f.Words, v.Photos[p.PhotoID], p.Caption, ""))
		}
		page.Uses = append(page.Uses, use)
	}
	return a.show(c, http.StatusOK, page)
}

// allowanceEnd ends it. POST /builds/:build/allowance/end
func (a *App) allowanceEnd(c echo.Context) error {
	build := of(c).build.ID
	if err := a.steps.EndAllowance(c.Request().Context(), actor(c), build); err != nil {
		return err
	}
	return a.done(c, allowancePath(build), "The standing allowance is ended. From now on every extra needs a signed paper.")
}

// useNew shows the form that books a find; without an allowance in force it leads
// to the page that says so. GET /builds/:build/entries/:entry/allowance
func (a *App) useNew(c echo.Context) error {
	kept, err := a.kept(c, c.Request().URL.Path)
	if err != nil {
		return err
	}
	if kept != nil {
		f := formOf(kept)
		return a.showUse(c, http.StatusOK, useForm(f, entryID(c)), pickedOf(f), nil)
	}
	return a.showUse(c, http.StatusOK, views.UseForm{ID: a.newID(), Entry: string(entryID(c))}, nil, nil)
}

// useForm gives back what was typed about a find.
func useForm(f *form, entry journal.EntryID) views.UseForm {
	lines := paperForm(f, 0).Lines
	return views.UseForm{ID: f.raw("id"), Entry: string(entry), Title: f.raw("title"), Reason: f.raw("reason"), Stage: f.raw("stage"), Lines: lines}
}

func (a *App) showUse(c echo.Context, status int, form views.UseForm, chosen []picked, bad journal.Problems) error {
	ctx, build := c.Request().Context(), of(c).build.ID
	e, err := a.steps.EntryShow(ctx, actor(c), build, journal.EntryID(form.Entry))
	if err != nil {
		return err
	}
	v, err := a.steps.AllowanceOf(ctx, actor(c), build)
	if err != nil {
		return err
	}
	if v.InForce == nil {
		return c.Redirect(http.StatusSeeOther, allowancePath(build))
	}
	shop, err := a.shop(c)
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Book it on the allowance")
	if err != nil {
		return err
	}
	page := views.UseNew{
		Frame: f, Form: form, Stages: v.Stages, Problems: bad,
		Left: v.Left, LeftFind: v.InForce.Left(v.Uses, e.Entry.ID, v.Month),
	}
	if status == http.StatusOK && page.Form.Title == "" {
		page.Form.Reason, page.Form.Stage = e.Entry.Text, string(e.Entry.StageID)
	}
	for len(page.Form.Lines) < useLines {
		page.Form.Lines = append(page.Form.Lines, views.LineForm{Kind: string(journal.Labour), Rate: shop.LabourRate.String()})
	}
	ticked := map[journal.PhotoID]string{}
	for _, p := range chosen {
		ticked[p.id] = p.caption
	}
	for _, p := range e.Entry.Photos {
		photo, known := e.Photos[p.PhotoID]
		if !known || photo.Video() {
			continue
		}
		caption, again := ticked[p.PhotoID]
		if !again {
			caption = p.Caption
		}
		page.Photos = append(page.Photos, views.PickPhoto{
			View: views.NewPhotoView(f.Words, photo, caption, ""), FileName: photo.FileName, Caption: caption, Chosen: again || chosen == nil && status == http.StatusOK,
		})
	}
	return a.show(c, status, page)
}

// useBook books a find on the standing allowance.
// POST /builds/:build/entries/:entry/allowance
func (a *App) useBook(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, chosen := of(c).build.ID, pickedOf(f)
	n := flow.NewUse{
		ID: formID[journal.UseID](f, "id"), EntryID: entryID(c), StageID: formID[journal.StageID](f, "stage"),
		Title: f.line("title"), Reason: f.text("reason"), Lines: f.changeLines(), Photos: evidenceOf(chosen),
	}
	u, err := signoff.Use{}, f.err()
	if err == nil {
		u, err = a.steps.BookUse(c.Request().Context(), actor(c), build, n)
		err = f.add(err)
	}
	if bad := f.err(); bad != nil {
		return a.showUse(c, http.StatusUnprocessableEntity, useForm(f, entryID(c)), chosen, f.bad)
	}
	if err != nil {
		return err
	}
	return a.done(c, allowancePath(build), "Booked as use "+strconv.Itoa(u.Number)+". The owner has it by e-mail.")
}
