package server

import (
	"fmt"
	"mime"
	"net/http"
	"path"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

func photoID(c echo.Context) journal.PhotoID { return journal.PhotoID(c.Param("photo")) }

// photoURL is the address of one of a photo's sizes, under the layer in force.
func photoURL(p journal.Photo, size int) string {
	return views.NewPhotoView(views.Words{}, p, "", "").URL(size)
}

func counted(n int) string { return strconv.Itoa(n) }

// photo shows one photo with the ways to its neighbours.
// GET /builds/:build/photos/:photo
func (a *App) photo(c echo.Context) error {
	v, err := a.steps.PhotoShow(c.Request().Context(), actor(c), of(c).build.ID, photoID(c), journal.EntryID(c.QueryParam("entry")))
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Photo")
	if err != nil {
		return err
	}
	page := views.Photo{
		Frame: f, Photo: views.NewPhotoView(f.Words, v.Photo, v.Caption, ""), Stage: stageName(v.Stages, v.In.StageID),
		MarkAt: markAddress(v), CompareAt: compareAddress(v.Photo, v.In.StageID),
		Previous: photoPlace(v.Build.ID, v.Prev), Next: photoPlace(v.Build.ID, v.Next),
		Back: views.Link{Text: "Back to " + v.Build.Nickname, Href: f.Build.URL()},
	}
	if v.In.ID != "" {
		page.Back = views.Link{Text: "Back to the entry", Href: f.Build.URL() + "/entries/" + string(v.In.ID)}
		for i, p := range v.In.Photos {
			if p.PhotoID == v.Photo.ID {
				page.Position, page.Of = i+1, len(v.In.Photos)
			}
		}
	}
	at := f.Build.URL() + "/photos/" + string(v.Photo.ID)
	page.Save = at + "/full"
	if !v.Photo.HandedOutAt.IsZero() && v.Photo.Layer.Crop == (journal.Crop{}) {
		page.Original = at + "/original"
	}
	if of(c).person.Role == journal.Office {
		page.HandOut = at + "/hand-out"
	}
	if page.Time, err = a.photoTime(c, f.Words, v.Photo); err != nil {
		return err
	}
	if of(c).person.Role.Staff() {
		page.Facts = &views.PhotoFacts{
			HandedOut: v.Photo.HandedOutAt,
			FileName:  v.Photo.FileName, Camera: v.Photo.Camera, Bytes: v.Photo.Bytes, SHA256: v.Photo.SHA256, By: v.By,
			Received: v.Photo.ReceivedAt, Located: v.Photo.Located, Latitude: v.Photo.Latitude, Longitude: v.Photo.Longitude,
			Original: at + "/original",
		}
	}
	return a.show(c, http.StatusOK, page)
}

func photoPlace(build journal.BuildID, p *flow.PhotoPlace) string {
	if p == nil {
		return ""
	}
	return fmt.Sprintf("/builds/%s/photos/%s?entry=%s", build, p.PhotoID, p.EntryID)
}

// photoOriginal gives out an original, as it came, to be saved.
// GET and HEAD /builds/:build/photos/:photo/original
func (a *App) photoOriginal(c echo.Context) error {
	ctx := c.Request().Context()
	p, err := a.steps.PhotoOriginalAllowed(ctx, actor(c), of(c).build.ID, photoID(c))
	if err != nil {
		return err
	}
	file, err := a.storage.Open(ctx, p.SHA256)
	if err != nil {
		return err
	}
	name := downloadName(p)
	if p.FileName == "" { // the sender's name for it is the shop's
		name = a.saveName(c, p, name)
	}
	return sendFile(c, file, fileHead{tag: p.SHA256, kind: p.Kind, name: name, cache: "private, no-store"})
}

// downloadName is the sender's name for a photo, ending as its content demands,
// so that no program takes the saved file for something else, such as a page to
// be run.
func downloadName(p journal.Photo) string {
	endings := map[string][]string{"image/jpeg": {".jpg", ".jpeg"}, "image/png": {".png"}, "image/webp": {".webp"},
		"image/heic": {".heic", ".heif"}, "video/mp4": {".mp4", ".m4v"}, "video/quicktime": {".mov", ".qt"}}[p.Kind]
	if len(endings) == 0 || slices.Contains(endings, strings.ToLower(path.Ext(p.FileName))) {
		return p.FileName
	}
	return p.FileName + endings[0]
}

// contentDisposition tells a browser to save a file under a name (RFC 6266).
func contentDisposition(name string) string {
	if value := mime.FormatMediaType("attachment", map[string]string{"filename": name}); value != "" {
		return value
	}
	return "attachment"
}
