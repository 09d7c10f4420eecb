package server

import (
	"fmt"
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

// capture shows the page for taking photos on the floor. GET /capture
func (a *App) capture(c echo.Context) error {
	f, err := a.frame(c, "Post photos")
	if err != nil {
		return err
	}
	glances, err := a.steps.FloorOverview(c.Request().Context(), actor(c))
	if err != nil {
		return err
	}
	page := views.Capture{Frame: f}
	for _, g := range glances {
		if !g.Build.Over() {
			page.Builds = append(page.Builds, views.BuildRef{ID: g.Build.ID, Nickname: g.Build.Nickname})
		}
	}
	return a.show(c, http.StatusOK, page)
}

// captureShell shows the same page with nothing in it of any person or build:
// what a phone keeps to open it without a link. GET /capture/shell
func (a *App) captureShell(c echo.Context) error {
	f, err := a.frame(c, "Post photos")
	if err != nil {
		return err
	}
	f.Person, f.Flash, f.Path = nil, "", "/capture"
	return a.show(c, http.StatusOK, views.Capture{Frame: f})
}

// captureData is what the capture page asks for whenever there is a link, and
// keeps on the phone for when there is none.
type captureData struct {
	Person    journal.PersonID `json:"person"`
	Name      string           `json:"name"`
	Builds    []captureBuild   `json:"builds"`
	MostBytes captureMost      `json:"most_bytes"`
	Most      int              `json:"most_photos"` // of one entry
}

type captureMost struct {
	Photo int64 `json:"photo"`
	Video int64 `json:"video"`
}

// captureBuild is a build to post to, with its stages in order.
type captureBuild struct {
	ID       journal.BuildID `json:"id"`
	Nickname string          `json:"nickname"`
	Truck    string          `json:"truck"`
	Mine     bool            `json:"mine,omitempty"` // the person leads it or one of its stages
	Stages   []captureStage  `json:"stages"`
}

type captureStage struct {
	ID       journal.StageID `json:"id"`
	Name     string          `json:"name"`
	UnderWay bool            `json:"under_way,omitempty"`
}

// captureData answers who is signed in and what they may post to.
// GET /capture/data
func (a *App) captureData(c echo.Context) error {
	glances, err := a.steps.FloorOverview(c.Request().Context(), actor(c))
	if err != nil {
		return err
	}
	person := of(c).person
	data := captureData{Person: person.ID, Name: person.Name, Builds: []captureBuild{}, Most: journal.MaxEntryPhotos,
		MostBytes: captureMost{a.cfg.MaxPhotoBytes, a.cfg.MaxVideoBytes}}
	for _, g := range glances {
		if g.Build.Over() {
			continue
		}
		build := captureBuild{ID: g.Build.ID, Nickname: g.Build.Nickname, Truck: g.Build.Truck.Name(), Mine: g.Mine, Stages: []captureStage{}}
		for _, st := range g.Stages {
			build.Stages = append(build.Stages, captureStage{ID: st.Stage.ID, Name: st.Stage.Name, UnderWay: st.Stage.State == journal.UnderWay})
		}
		data.Builds = append(data.Builds, build)
	}
	return c.JSON(http.StatusOK, data)
}

// capturedEntry is the answer to an entry from a phone's queue.
type capturedEntry struct {
	ID  journal.EntryID `json:"id"`
	URL string          `json:"url"`
	// Said tells of photos that went to another stage than the one chosen, in a
	// sentence; "" if none did.
	Said string `json:"said,omitempty"`
}

// captureEntry posts an entry from a phone's queue: with split=yes one for each
// stage during which its photos were taken. It may come any number of times:
// each is posted once, by the identifier made on the phone, and photos that are
// in none of them yet are added at the end of the one where they belong.
// POST /builds/:build/capture
func (a *App) captureEntry(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	if f.raw("person") != string(of(c).person.ID) {
		return errOtherPerson()
	}
	ctx, build := c.Request().Context(), of(c).build.ID
	p := posted{form: f, photos: pickedOf(f)}
	if f.raw("split") == "yes" {
		return a.captureSpread(c, p)
	}
	e, err := a.steps.PostEntry(ctx, actor(c), build, p.entry())
	if err != nil {
		return err
	}
	if err := a.steps.AppendPhotos(ctx, actor(c), build, e.ID, p.entryPhotos()); err != nil {
		return err
	}
	return c.JSON(http.StatusOK, capturedEntry{ID: e.ID, URL: entryPath(build, e.ID)})
}

// captureSpread posts an entry from a phone's queue as one a stage. Photos that
// come after it was posted go where they would have gone with the others.
func (a *App) captureSpread(c echo.Context, p posted) error {
	ctx, build := c.Request().Context(), of(c).build.ID
	entries, err := a.steps.PostSpread(ctx, actor(c), build, p.entry())
	if err != nil {
		return err
	}
	main, part := entries[0], map[journal.StageID]int{}
	there := map[journal.PhotoID]bool{}
	for i, e := range entries {
		if string(e.ID) == p.raw("id") {
			main = e
		}
		part[e.StageID] = i
		for _, photo := range e.Photos {
			there[photo.PhotoID] = true
		}
	}
	late := p.entry()
	late.ID = journal.EntryID(a.newID()) // as if it were another entry: SpreadOf says nothing of a posted one
	late.Photos = slices.DeleteFunc(late.Photos, func(photo journal.EntryPhoto) bool { return there[photo.PhotoID] })
	var shares []journal.StageShare
	if len(late.Photos) > 0 {
		if shares, err = a.steps.SpreadOf(ctx, actor(c), build, late); err != nil {
			return err
		}
	}
	for _, share := range shares {
		i, found := part[share.StageID]
		if !found {
			more := p.entry()
			more.ID, more.StageID, more.Photos = flow.SpreadID(main.ID, share.StageID), share.StageID, share.Photos
			e, err := a.steps.PostEntry(ctx, actor(c), build, more)
			if err != nil {
				return err
			}
			entries = append(entries, e)
			continue
		}
		if err := a.steps.AppendPhotos(ctx, actor(c), build, entries[i].ID, share.Photos); err != nil {
			return err
		}
		entries[i].Photos = append(entries[i].Photos, share.Photos...)
	}
	said, err := a.saidSpread(c, formID[journal.StageID](p.form, "stage"), entries)
	if err != nil {
		return err
	}
	return c.JSON(http.StatusOK, capturedEntry{ID: main.ID, URL: entryPath(build, main.ID), Said: said})
}

// saidSpread says where photos went, if any went elsewhere than to the stage
// chosen.
func (a *App) saidSpread(c echo.Context, chosen journal.StageID, entries []journal.Entry) (string, error) {
	if !slices.ContainsFunc(entries, func(e journal.Entry) bool { return e.StageID != chosen }) {
		return "", nil
	}
	view, err := a.steps.BuildShow(c.Request().Context(), actor(c), of(c).build.ID)
	if err != nil {
		return "", err
	}
	var parts []string
	for _, e := range entries {
		parts = append(parts, fmt.Sprintf("%s in %s", views.Plural(len(e.Photos), "photo", "photos"), stageName(view.Stages, e.StageID)))
	}
	return "By the time they were taken: " + views.List(parts) + ".", nil
}
