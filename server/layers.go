package server

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/media"
	"farbay/views"
)

// viewOf is what a layer shows of a photo, as package media says it.
func viewOf(l journal.Layer) media.View {
	return media.View{Turn: l.Turn, X: l.Crop.X, Y: l.Crop.Y, W: l.Crop.W, H: l.Crop.H}
}

// putSize keeps one of the sizes made of a photo under its layer.
func putSize(ctx context.Context, storage media.Storage, p journal.Photo, d media.Derivative) error {
	if view := p.Layer.View(); view != "" {
		return storage.PutVariant(ctx, p.SHA256, view, d.LongEdge, d.JPEG)
	}
	return storage.PutDerivative(ctx, p.SHA256, d.LongEdge, d.JPEG)
}

// openSize opens one of the sizes of an original in one view; "" is the plain
// one. What the owner's side gets is always p.Layer.View() of the photo, or what
// [flow.Steps.PhotoViewAllowed] allows.
func openSize(ctx context.Context, storage media.Storage, sha256, view string, size int) (media.File, error) {
	if view == "" {
		return storage.OpenDerivative(ctx, sha256, size)
	}
	return storage.OpenVariant(ctx, sha256, view, size)
}

// markAddress is where a photo is marked; "" for those who may not, and for
// videos.
func markAddress(v flow.PhotoView) string {
	if !v.MayMark || v.Photo.Video() {
		return ""
	}
	return photoAddress(v.Photo) + "/marks"
}

func photoAddress(p journal.Photo) string {
	return fmt.Sprintf("/builds/%s/photos/%s", p.BuildID, p.ID)
}

// maxLayerBytes bounds a layer as it is posted; forty marks with eighty
// characters each come to a quarter of it.
const maxLayerBytes = 32 << 10

// layerData is a layer as the page's script sends it, in the field "layer".
type layerData struct {
	Turn  int        `json:"turn"`
	Crop  cropData   `json:"crop"`
	Marks []markData `json:"marks"`
}

type cropData struct {
	X int `json:"x"`
	Y int `json:"y"`
	W int `json:"w"`
	H int `json:"h"`
}

type markData struct {
	Shape string `json:"shape"`
	X     int    `json:"x"`
	Y     int    `json:"y"`
	X2    int    `json:"x2"`
	Y2    int    `json:"y2"`
	Text  string `json:"text"`
}

func (d layerData) layer() journal.Layer {
	l := journal.Layer{Turn: d.Turn, Crop: journal.Crop(d.Crop)}
	for _, m := range d.Marks {
		l.Marks = append(l.Marks, journal.Mark{Shape: journal.MarkShape(m.Shape), X: m.X, Y: m.Y, X2: m.X2, Y2: m.Y2, Text: m.Text})
	}
	return l
}

func dataOf(l journal.Layer) layerData {
	d := layerData{Turn: l.Turn, Crop: cropData(l.Crop), Marks: []markData{}}
	for _, m := range l.Marks {
		d.Marks = append(d.Marks, markData{string(m.Shape), m.X, m.Y, m.X2, m.Y2, m.Text})
	}
	return d
}

// readLayer reads a posted layer: one JSON object with no members but those of
// layerData, and nothing behind it.
func readLayer(text string) (journal.Layer, error) {
	unreadable := func(err error) error {
		return &journal.Error{Code: journal.Invalid, Err: err, Message: "What was drawn could not be read, so nothing was saved. Please open the photo's marks again and draw it once more."}
	}
	if len(text) > maxLayerBytes {
		return journal.Layer{}, unreadable(fmt.Errorf("%d bytes", len(text)))
	}
	d := json.NewDecoder(bytes.NewReader([]byte(text)))
	d.DisallowUnknownFields()
	var data layerData
	if err := d.Decode(&data); err != nil {
		return journal.Layer{}, unreadable(err)
	}
	if _, err := d.Token(); err != io.EOF {
		return journal.Layer{}, unreadable(fmt.Errorf("something follows the layer: %v", err))
	}
	return data.layer(), nil
}

// marks shows the page on which a photo is marked, cropped and turned.
// GET /builds/:build/photos/:photo/marks
func (a *App) marks(c echo.Context) error {
	kept, err := a.kept(c, c.Request().URL.Path)
	if err != nil {
		return err
	}
	if kept.Has("layer") {
		l, err := readLayer(kept.Get("layer"))
		if err != nil {
			return err
		}
		return a.showMarks(c, http.StatusOK, &l, formOf(kept), nil)
	}
	return a.showMarks(c, http.StatusOK, nil, nil, nil)
}

// showMarks shows the page with what was drawn and not saved, or, when drawn is
// nil, with the layer in force. refused says why it was not saved.
func (a *App) showMarks(c echo.Context, status int, drawn *journal.Layer, sent *form, refused error) error {
	v, err := a.steps.LayerShow(c.Request().Context(), actor(c), of(c).build.ID, photoID(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Mark this photo")
	if err != nil {
		return err
	}
	page := views.PhotoMarks{Frame: f, Photo: views.NewPhotoView(f.Words, v.Photo, "", ""), Number: v.Photo.Layer.Number, Width: v.Photo.Width, Height: v.Photo.Height}
	shown := v.Photo.Layer
	if drawn != nil {
		shown = *drawn
		page.Unsaved = "What you drew is below and not saved yet."
	}
	switch {
	case journal.CodeOf(refused) == journal.Conflict && len(v.History) > 0:
		last := v.History[len(v.History)-1]
		moment, err := f.Moment(last.Set.At)
		if err != nil {
			return err
		}
		page.Unsaved = fmt.Sprintf("%s changed this photo’s marks meanwhile, %s. What you drew is below and not saved: saving it now replaces theirs, which stay in the list of earlier ones.", last.By, moment)
	case refused != nil:
		page.Problems, err = problems(refused)
		if err != nil {
			return err
		}
	case sent != nil && sent.number("number", -1, 0, 1<<30) != v.Photo.Layer.Number:
		page.Unsaved += " This photo’s marks were changed meanwhile; saving replaces them, and they stay in the list of earlier ones."
	}
	text, err := json.Marshal(dataOf(shown))
	if err != nil {
		return err
	}
	page.Layer = string(text)
	for _, p := range v.Papers {
		page.Papers = append(page.Papers, views.Link{Text: fmt.Sprintf("%s %d", p.Kind.Title(), p.Number), Href: f.Build.URL() + "/papers/" + string(p.ID)})
	}
	for i := len(v.History) - 1; i >= 0; i-- {
		line := v.History[i]
		page.History = append(page.History, views.LayerLine{Words: f.Words, Layer: line.Set.Layer, At: line.Set.At, By: line.By, Now: i == len(v.History)-1})
	}
	return a.show(c, status, page)
}

// marksSave puts what was drawn in force.
// POST /builds/:build/photos/:photo/marks
func (a *App) marksSave(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	l, err := readLayer(f.raw("layer"))
	if err != nil {
		return err
	}
	err = a.steps.SetLayer(c.Request().Context(), actor(c), of(c).build.ID, photoID(c), f.number("number", -1, 0, 1<<30), l)
	switch code := journal.CodeOf(err); {
	case err == nil:
		return a.done(c, photoAddress(journal.Photo{BuildID: of(c).build.ID, ID: photoID(c)}), "Saved; the photo itself is unchanged.")
	case code == journal.Invalid:
		return a.showMarks(c, http.StatusUnprocessableEntity, &l, f, err)
	case code == journal.Conflict:
		return a.showMarks(c, http.StatusConflict, &l, f, err)
	}
	return err
}

// marksBack puts an earlier layer in force again.
// POST /builds/:build/photos/:photo/marks/back
func (a *App) marksBack(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	read, number := f.number("number", -1, 0, 1<<30), f.number("to", -1, 0, 1<<30)
	if err := a.steps.RestoreLayer(c.Request().Context(), actor(c), of(c).build.ID, photoID(c), read, number); err != nil {
		return err
	}
	return a.done(c, photoAddress(journal.Photo{BuildID: of(c).build.ID, ID: photoID(c)}), "The photo is shown as it was then.")
}
