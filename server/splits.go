package server

import (
	"fmt"
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/views"
)

// postEntries posts a form's entry as its field "split" says. "yes": one entry
// for each stage during which its photos were taken. "ask": the same question to
// the person first, when there is more than one, as shares, and nothing is
// posted. Anything else: all in the stage chosen.
func (a *App) postEntries(c echo.Context, p posted) (entries []journal.Entry, shares []journal.StageShare, err error) {
	ctx, build := c.Request().Context(), of(c).build.ID
	switch p.raw("split") {
	case "yes":
		entries, err = a.steps.PostSpread(ctx, actor(c), build, p.entry())
		return entries, nil, err
	case "ask":
		shares, err = a.steps.SpreadOf(ctx, actor(c), build, p.entry())
		if err != nil || len(shares) > 1 {
			return nil, shares, err
		}
	}
	e, err := a.steps.PostEntry(ctx, actor(c), build, p.entry())
	return []journal.Entry{e}, nil, err
}

// splitAnswer tells a script that a batch spans several stages and that nothing
// was posted; sending the form again with split=yes or split=no decides.
type splitAnswer struct {
	Code   string            `json:"code"` // "split"
	Error  string            `json:"error"`
	Shares []splitShareReply `json:"shares"`
}

type splitShareReply struct {
	Stage  journal.StageID   `json:"stage"`
	Name   string            `json:"name"`
	Photos []journal.PhotoID `json:"photos"`
}

// askSplit asks whether a batch is posted as one entry a stage. Nothing of the
// form is lost: it goes with either answer.
func (a *App) askSplit(c echo.Context, p posted, shares []journal.StageShare) error {
	ctx, build := c.Request().Context(), of(c).build.ID
	view, err := a.steps.BuildShow(ctx, actor(c), build)
	if err != nil {
		return err
	}
	f, err := a.frame(c, "One entry, or one a stage?")
	if err != nil {
		return err
	}
	var ids []journal.PhotoID
	for _, photo := range p.photos {
		ids = append(ids, photo.id)
	}
	photos, err := a.steps.PhotosOf(ctx, actor(c), build, ids)
	if err != nil {
		return err
	}
	chosen := formID[journal.StageID](p.form, "stage")
	page := views.EntrySplit{Frame: f, Chosen: stageName(view.Stages, chosen)}
	answer := splitAnswer{Code: "split"}
	for _, share := range shares {
		shown := views.SplitShare{Stage: stageName(view.Stages, share.StageID), Chosen: share.StageID == chosen}
		told := splitShareReply{Stage: share.StageID, Name: shown.Stage}
		for _, photo := range share.Photos {
			shown.Photos = append(shown.Photos, views.NewPhotoView(f.Words, photos[photo.PhotoID], photo.Caption, ""))
			told.Photos = append(told.Photos, photo.PhotoID)
		}
		page.Shares, answer.Shares = append(page.Shares, shown), append(answer.Shares, told)
	}
	if wantsData(c) {
		answer.Error = page.Say()
		return c.JSON(http.StatusConflict, answer)
	}
	if len(p.refused) > 0 {
		page.Refused = "Not taken: " + strings.Join(p.refused, " ")
	}
	p.nameFiles()
	for _, name := range sortedKeys(p.values) {
		for _, value := range p.values[name] {
			if name != "split" {
				page.Typed = append(page.Typed, views.Hidden{Name: name, Value: value})
			}
		}
	}
	return a.show(c, http.StatusOK, page)
}

// entriesAnswer tells a script what was posted.
type entriesAnswer struct {
	Entries []entryReply `json:"entries"`
}

type entryReply struct {
	ID     journal.EntryID `json:"id"`
	Stage  journal.StageID `json:"stage"`
	Photos int             `json:"photos"`
	URL    string          `json:"url"`
}

// doneEntries says what was posted: on the entry's own page, or, of several, on
// that of the one in the chosen stage.
func (a *App) doneEntries(c echo.Context, p posted, entries []journal.Entry) error {
	build := of(c).build.ID
	if wantsData(c) {
		answer := entriesAnswer{Entries: []entryReply{}}
		for _, e := range entries {
			answer.Entries = append(answer.Entries, entryReply{ID: e.ID, Stage: e.StageID, Photos: len(e.Photos), URL: entryPath(build, e.ID)})
		}
		return c.JSON(http.StatusOK, answer)
	}
	if len(entries) == 1 {
		return a.doneEntry(c, entries[0].ID, saidPosted(entries[0]), p.refused)
	}
	view, err := a.steps.BuildShow(c.Request().Context(), actor(c), build)
	if err != nil {
		return err
	}
	main := entries[0]
	var parts []string
	for _, e := range entries {
		if e.ID == formID[journal.EntryID](p.form, "id") {
			main = e
		}
		parts = append(parts, fmt.Sprintf("%s in %s", views.Plural(len(e.Photos), "photo", "photos"), stageName(view.Stages, e.StageID)))
	}
	readers := "for the shop only"
	if main.Audience == journal.OwnerToo {
		readers = "which the owner can see"
	}
	said := fmt.Sprintf("Posted as %s, %s: %s.", views.Plural(len(entries), "entry", "entries"), readers, views.List(parts))
	return a.doneEntry(c, main.ID, said, p.refused)
}
