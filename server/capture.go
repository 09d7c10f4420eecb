package server

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
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
		if g.Build.State != journal.Delivered {
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
		if g.Build.State == journal.Delivered {
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
}

// captureEntry posts an entry from a phone's queue. It may come any number of
// times: the entry is posted once, by the identifier made on the phone, and
// photos it does not have yet are added at its end.
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
	e, err := a.steps.PostEntry(ctx, actor(c), build, p.entry())
	if err != nil {
		return err
	}
	if err := a.steps.AppendPhotos(ctx, actor(c), build, e.ID, p.entryPhotos()); err != nil {
		return err
	}
	return c.JSON(http.StatusOK, capturedEntry{ID: e.ID, URL: entryPath(build, e.ID)})
}
