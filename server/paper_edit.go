package server

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

// recentEntries is how many of a build's newest entries offer their photos as
// evidence, besides the find's.
const recentEntries = 20

// paperEdit shows the form of a paper.
// GET /builds/:build/papers/:paper/edit
func (a *App) paperEdit(c echo.Context) error {
	v, err := a.steps.PaperPage(c.Request().Context(), actor(c), of(c).build.ID, paperID(c))
	if err != nil {
		return err
	}
	if v.Decision != nil {
		return c.Redirect(http.StatusSeeOther, paperPath(v.Build.ID, v.Paper.ID))
	}
	shop, err := a.shop(c)
	if err != nil {
		return err
	}
	kept, err := a.kept(c, c.Request().URL.Path)
	if err != nil {
		return err
	}
	if kept != nil {
		f := formOf(kept)
		return a.showPaperEdit(c, http.StatusOK, v, paperForm(f, f.version()), pickedOf(f), nil, "")
	}
	form := filledPaper(v.Paper, shop.LabourRate)
	return a.showPaperEdit(c, http.StatusOK, v, form, chosenOf(v.Paper.Draft), nil, "")
}

// paperSave keeps what was typed and goes on: back to the form, or to the
// preview. POST /builds/:build/papers/:paper/edit
func (a *App) paperSave(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	ctx, build := c.Request().Context(), of(c).build.ID
	v, err := a.steps.PaperPage(ctx, actor(c), build, paperID(c))
	if err != nil {
		return err
	}
	draft, picked := f.draft(v.Paper.Kind), pickedOf(f)
	draft.Photos = evidenceOf(picked)
	p, err := signoff.Paper{}, f.err()
	if err == nil {
		p, err = a.steps.SavePaper(ctx, actor(c), build, paperID(c), f.version(), draft)
		err = f.add(err)
	}
	if journal.CodeOf(err) == journal.Conflict {
		return a.refusePaper(c, f, picked, err)
	}
	if f.err() != nil {
		return a.refusePaper(c, f, picked, nil)
	}
	if err != nil {
		return err
	}
	switch f.raw("do") {
	case "preview":
		return c.Redirect(http.StatusSeeOther, paperPath(build, p.ID)+"/preview")
	case "add":
		return c.Redirect(http.StatusSeeOther, paperPath(build, p.ID)+"/edit?more=1#lines")
	}
	return a.done(c, paperPath(build, p.ID)+"/edit", "Saved. Only the shop sees it until you send it.")
}

// refusePaper shows the form again with everything typed: beside the fields
// what is wrong, or, after a conflict, what happened meanwhile.
func (a *App) refusePaper(c echo.Context, f *form, picked []picked, conflict error) error {
	v, err := a.steps.PaperPage(c.Request().Context(), actor(c), of(c).build.ID, paperID(c))
	if err != nil {
		return err
	}
	if conflict != nil {
		// Saving again after comparing must work: the form takes the present
		// version, and the sentence says what is at stake.
		form := paperForm(f, v.Paper.Version)
		return a.showPaperEdit(c, http.StatusConflict, v, form, picked, nil, journal.MessageOf(conflict))
	}
	return a.showPaperEdit(c, http.StatusUnprocessableEntity, v, paperForm(f, f.version()), picked, f.bad, "")
}

func (a *App) showPaperEdit(c echo.Context, status int, v flow.PaperView, form views.PaperForm, chosen []picked, bad journal.Problems, notice string) error {
	fr, err := a.frame(c, paperTitle(v.Paper))
	if err != nil {
		return err
	}
	if notice != "" {
		fr.Flash = notice
	}
	if v.Paper.Kind == signoff.ChangeOrder && len(form.Lines) == 0 || c.QueryParam("more") != "" {
		shop, err := a.shop(c)
		if err != nil {
			return err
		}
		form.Lines = append(form.Lines, views.LineForm{Kind: string(journal.Labour), Rate: shop.LabourRate.String()})
	}
	page := views.PaperEdit{Frame: fr, Paper: v.Paper, Form: form, Stages: v.Stages, Problems: bad}
	if page.Photos, err = a.evidenceChoices(c, fr.Words, v, chosen); err != nil {
		return err
	}
	if page.Totals, err = a.changeTotals(c, v.Paper); err != nil {
		return err
	}
	if v.Paper.Kind == signoff.EarlyStop {
		if err := a.addStop(c, &page); err != nil {
			return err
		}
	}
	return a.show(c, status, page)
}

// addStop adds to the form of an early stop the stages that are open, and what the
// draft as stored comes to.
func (a *App) addStop(c echo.Context, page *views.PaperEdit) error {
	ctx, p := c.Request().Context(), page.Paper
	rests, err := a.steps.OpenRests(ctx, actor(c), p.BuildID)
	if err != nil {
		return err
	}
	for _, r := range rests {
		page.Rests = append(page.Rests, views.StopRest{Stage: r.Stage, Left: r.Left})
	}
	_, sheet, missing, err := a.steps.PreviewPaper(ctx, actor(c), p.BuildID, p.ID)
	if err != nil || missing != nil {
		return err
	}
	view, err := page.OfSheet(sheet, "")
	page.Ends = &view
	return err
}

// changeTotals works out what the draft as stored comes to.
func (a *App) changeTotals(c echo.Context, p signoff.Paper) (views.ChangeTotals, error) {
	if p.Kind != signoff.ChangeOrder && p.Kind != signoff.DateChange || len(p.Draft.Lines) == 0 && p.Draft.Days == 0 {
		return views.ChangeTotals{}, nil
	}
	_, sheet, _, err := a.steps.PreviewPaper(c.Request().Context(), actor(c), p.BuildID, p.ID)
	if err != nil {
		return views.ChangeTotals{}, err
	}
	return views.ChangeTotals{
		Known: true, Delta: p.Draft.Delta(), Tax: sheet.DeltaTax, Days: sheet.Days,
		AgreedAfter: sheet.AgreedAfter, TotalAfter: sheet.TotalAfter, DateAfter: sheet.DateAfter,
	}, nil
}

// picked is a photo of a form, in the form's order.
type picked struct {
	id      journal.PhotoID
	caption string
}

// pickedOf reads the ticked photos with their captions, in the order of the
// places typed, ties and empty places as they came.
func pickedOf(f *form) []picked {
	var all []picked
	places := map[journal.PhotoID]int{}
	for i, id := range formIDs[journal.PhotoID](f, "photo") {
		places[id] = i + 1
		if n, err := strconv.Atoi(f.line("place_" + string(id))); err == nil {
			places[id] = n
		}
		all = append(all, picked{id, f.line("caption_" + string(id))})
	}
	sortByPlace(all, places)
	return all
}

func evidenceOf(all []picked) []signoff.Evidence {
	var out []signoff.Evidence
	for _, p := range all {
		out = append(out, signoff.Evidence{PhotoID: p.id, Caption: p.caption})
	}
	return out
}

func chosenOf(change signoff.Draft) []picked {
	var out []picked
	for _, e := range change.Photos {
		out = append(out, picked{e.PhotoID, e.Caption})
	}
	return out
}

// evidenceChoices offers photos, not videos: the chosen ones, the find's, then
// those of the build's newest entries.
func (a *App) evidenceChoices(c echo.Context, w views.Words, v flow.PaperView, chosen []picked) ([]views.PickPhoto, error) {
	ctx := c.Request().Context()
	j, err := a.steps.JournalPage(ctx, actor(c), v.Build.ID, flow.EntryQuery{Staff: true, Limit: recentEntries})
	if err != nil {
		return nil, err
	}
	photos := j.Photos
	var ids []journal.PhotoID
	for _, p := range chosen {
		ids = append(ids, p.id)
	}
	if v.Find != nil {
		for _, p := range v.Find.Photos {
			ids = append(ids, p.PhotoID)
		}
	}
	more, err := a.steps.PhotosOf(ctx, actor(c), v.Build.ID, ids)
	if err != nil {
		return nil, err
	}
	for id, p := range more {
		photos[id] = p
	}
	var offers []views.PickPhoto
	offered := map[journal.PhotoID]bool{}
	offer := func(id journal.PhotoID, caption, note string, ticked bool) {
		photo, known := photos[id]
		if !known || offered[id] || photo.Video() {
			return
		}
		offered[id] = true
		offers = append(offers, views.PickPhoto{
			View: views.NewPhotoView(w, photo, caption, ""), FileName: photo.FileName, Caption: caption, Chosen: ticked, Note: note,
		})
	}
	for _, p := range chosen {
		offer(p.id, p.caption, "", true)
	}
	if v.Find != nil {
		for _, p := range v.Find.Photos {
			offer(p.PhotoID, p.Caption, "in the find", false)
		}
	}
	for _, e := range j.Entries {
		for _, p := range e.Photos {
			offer(p.PhotoID, p.Caption, stageName(v.Stages, e.StageID), false)
		}
	}
	return offers, nil
}

func stageName(stages []journal.Stage, id journal.StageID) string {
	for _, st := range stages {
		if st.ID == id {
			return st.Name
		}
	}
	return ""
}

// paperPreview shows a paper as the owner will see it.
// GET /builds/:build/papers/:paper/preview
func (a *App) paperPreview(c echo.Context) error { return a.showPreview(c, http.StatusOK, nil) }

func (a *App) showPreview(c echo.Context, status int, refused error) error {
	ctx, build := c.Request().Context(), of(c).build.ID
	p, sheet, missing, err := a.steps.PreviewPaper(ctx, actor(c), build, paperID(c))
	if err != nil {
		return err
	}
	v, err := a.steps.PaperPage(ctx, actor(c), build, paperID(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Preview of "+strings.ToLower(paperTitle(p)))
	if err != nil {
		return err
	}
	page := views.PaperPreview{Frame: f, Paper: p, To: parties(v.Parties), Missing: sentencesOf(missing)}
	if refused != nil {
		page.Flash = journal.MessageOf(refused)
	}
	if page.Sheet, err = f.OfSheet(sheet, ""); err != nil {
		return err
	}
	return a.show(c, status, page)
}

// sentencesOf returns what an error says, field by field or as a whole.
func sentencesOf(err error) []string {
	if err == nil {
		return nil
	}
	var all []string
	fields := fieldsOf(err)
	for _, name := range sortedKeys(fields) {
		all = append(all, fields[name])
	}
	if len(all) == 0 {
		all = append(all, journal.MessageOf(err))
	}
	return all
}

// paperSend freezes and sends a paper.
// POST /builds/:build/papers/:paper/send
func (a *App) paperSend(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build.ID
	p, err := a.steps.SendPaper(c.Request().Context(), actor(c), build, paperID(c), f.version())
	if code := journal.CodeOf(err); code == journal.Conflict || code == journal.Invalid {
		return a.showPreview(c, failures[code].status, err)
	}
	if err != nil {
		return err
	}
	return a.done(c, paperPath(build, p.ID), fmt.Sprintf("Revision %d is sent. The owner has an e-mail with the way to it.", p.Revision))
}
