package server

import (
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

// entryMove shows the form that moves photos of an entry elsewhere.
// GET /builds/:build/entries/:entry/move
func (a *App) entryMove(c echo.Context) error {
	kept, err := a.kept(c, c.Request().URL.Path)
	if err != nil {
		return err
	}
	return a.showEntryMove(c, formOf(kept), refusal{})
}

// showEntryMove shows the form with what was chosen; with nothing chosen, and for
// an entry with one photo, that one is ticked.
func (a *App) showEntryMove(c echo.Context, typed *form, r refusal) error {
	v, err := a.steps.MoveShow(c.Request().Context(), actor(c), of(c).build.ID, entryID(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Move photos")
	if err != nil {
		return err
	}
	r.on(&f)
	page := views.EntryMove{
		Frame: f, Entry: v.Entry, Stage: stageName(v.Stages, v.Entry.StageID), To: typed.raw("to"), Show: typed.raw("show"), Hidden: v.Hidden, Problems: r.problems,
	}
	chosen := formIDs[journal.PhotoID](typed, "photo")
	for _, p := range v.Entry.Photos {
		photo := v.Photos[p.PhotoID]
		page.Photos = append(page.Photos, views.PickPhoto{
			View: views.NewPhotoView(f.Words, photo, p.Caption, ""), FileName: photo.FileName, Chosen: slices.Contains(chosen, p.PhotoID) || len(v.Entry.Photos) == 1,
		})
	}
	for _, st := range v.Stages {
		page.Stages = append(page.Stages, views.Option{Value: views.NewStageValue(st.ID), Text: st.Name})
	}
	for _, e := range v.Targets {
		option, err := f.EntryOption(e, stageName(v.Stages, e.StageID))
		if err != nil {
			return err
		}
		page.Entries = append(page.Entries, option)
	}
	return a.show(c, r.answer(), page)
}

// entryMoveSave moves photos. POST /builds/:build/entries/:entry/move
func (a *App) entryMoveSave(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build.ID
	move := flow.PhotoMove{From: entryID(c), Version: f.version(), Photos: formIDs[journal.PhotoID](f, "photo"), Show: f.raw("show") == "yes"}
	stage, fresh := strings.CutPrefix(f.line("to"), views.NewStageValue(""))
	if fresh {
		move.StageID = journal.StageID(stage)
	} else {
		move.To = journal.EntryID(stage)
	}
	var to journal.Entry
	if f.line("to") == "" {
		f.bad.Add("to", "Please choose where the photos go.")
		err = f.err()
	} else {
		to, err = a.steps.MovePhotos(c.Request().Context(), actor(c), build, move)
	}
	if r, ok := refused(err); ok {
		if shown := a.showEntryMove(c, f, r); journal.CodeOf(shown) != journal.Conflict {
			return shown
		}
		return err // it was withdrawn: there is nothing left to move
	}
	if err != nil {
		return err
	}
	said := views.Plural(len(move.Photos), "photo is", "photos are") + " in this entry now. The history of both entries tells of it."
	return a.done(c, entryPath(build, to.ID), said)
}

// entryKeep keeps one of several shots that look alike in an entry.
// POST /builds/:build/entries/:entry/keep
func (a *App) entryKeep(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build.ID
	out, err := a.steps.KeepOfBurst(c.Request().Context(), actor(c), build, entryID(c), f.version(), formID[journal.PhotoID](f, "keep"))
	if err != nil {
		return err
	}
	return a.done(c, entryPath(build, entryID(c)), "Kept the one; "+views.Plural(out, "other was", "others were")+" taken out and stored in no entry.")
}

// burstViews are the bursts among an entry's photos, the best guess first.
func burstViews(w views.Words, v flow.EntryView) [][]views.PhotoView {
	var photos []journal.Photo
	captions := map[journal.PhotoID]string{}
	for _, p := range v.Entry.Photos {
		photos = append(photos, v.Photos[p.PhotoID])
		captions[p.PhotoID] = p.Caption
	}
	var bursts [][]views.PhotoView
	for _, burst := range journal.Bursts(photos) {
		var shots []views.PhotoView
		for _, p := range burst {
			shots = append(shots, views.NewPhotoView(w, p, captions[p.ID], "entry="+string(v.Entry.ID)))
		}
		bursts = append(bursts, shots)
	}
	return bursts
}
