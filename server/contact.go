package server

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/views"
)

// contactSheet shows all photos of a stage small, to be looked through and
// printed. GET /builds/:build/stages/:stage/sheet
func (a *App) contactSheet(c echo.Context) error {
	sheet, err := a.steps.ContactSheet(c.Request().Context(), actor(c), of(c).build.ID, stageID(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, sheet.Build.Nickname+", "+sheet.Stage.Name+", contact sheet")
	if err != nil {
		return err
	}
	page := views.ContactSheet{Frame: f, StageID: sheet.Stage.ID, Stage: sheet.Stage.Name, Photos: make([]views.ContactPhoto, len(sheet.Photos))}
	for i, p := range sheet.Photos {
		within := "entry=" + string(p.EntryID)
		page.Photos[i] = views.ContactPhoto{PhotoView: views.NewPhotoView(f.Words, p.Photo, p.Caption, within), Number: i + 1}
		page.Bytes += p.Photo.Bytes
	}
	return a.show(c, http.StatusOK, page)
}

// photoSet is the ways to all photos of a stage.
func (a *App) photoSet(c echo.Context, stage journal.StageID) (views.PhotoSet, error) {
	n, bytes, err := a.steps.StagePhotosSize(c.Request().Context(), actor(c), of(c).build.ID, stage)
	return views.PhotoSet{At: stagePath(of(c).build.ID, stage), Photos: n, Bytes: bytes}, err
}
