package server

import (
	"bytes"
	"context"
	"errors"
	"io"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/media"
)

// fullEdge is the long edge by which full-size files are stored: the largest
// that a JPEG can have (ITU-T T.81, B.2.2), as they are not made smaller.
const fullEdge = 65_535

// fullVariant names the stored full-size file under a view.
func fullVariant(view string) string {
	if view == "" {
		return "full"
	}
	return "full-" + view
}

// photoFull gives out a photo in full size, under the view in force and with
// nothing in it but the picture, to be saved; of a video, the cleaned video.
// GET and HEAD /builds/:build/photos/:photo/full
func (a *App) photoFull(c echo.Context) error {
	p, err := a.steps.PhotoFileAllowed(c.Request().Context(), actor(c), of(c).build.ID, photoID(c))
	if err != nil {
		return err
	}
	if p.Video() {
		return a.sendVideo(c, p, a.saveName(c, p, downloadName(journal.Photo{Kind: p.Kind})))
	}
	file, err := a.fullSize(c.Request().Context(), p)
	if err != nil {
		return err
	}
	// The view can change, so the address does not stand for one file for ever.
	return sendFile(c, file, fileHead{tag: string(p.ID) + "-" + fullVariant(p.Layer.View()), kind: "image/jpeg", name: a.saveName(c, p, ".jpg"), cache: "private, no-cache"})
}

// fullSize opens a photo's full-size file, and makes it first if need be. Two at
// once may both make it; they make the same.
func (a *App) fullSize(ctx context.Context, p journal.Photo) (media.File, error) {
	variant := fullVariant(p.Layer.View())
	file, err := a.storage.OpenVariant(ctx, p.SHA256, variant, fullEdge)
	if !errors.Is(err, media.ErrNotFound) {
		return file, err
	}
	original, err := a.storage.Open(ctx, p.SHA256)
	if err != nil {
		return nil, err
	}
	defer original.Close()
	info, err := media.Inspect(original, original.Size())
	if err != nil {
		return nil, a.Intake().refusal(err)
	}
	var made bytes.Buffer
	if err := media.FullSizeView(ctx, original, info, viewOf(p.Layer), &made); err != nil {
		return nil, a.Intake().refusal(err)
	}
	if err := a.storage.PutVariant(ctx, p.SHA256, variant, fullEdge, made.Bytes()); err != nil {
		return nil, a.Intake().refusal(err)
	}
	return a.storage.OpenVariant(ctx, p.SHA256, variant, fullEdge)
}

// saveName is the name under which a photo is saved by those who do not know its
// file's: its build and when it was taken, in the shop's zone.
func (a *App) saveName(c echo.Context, p journal.Photo, ending string) string {
	build := strings.ReplaceAll(strings.ToLower(of(c).build.Nickname), " ", "-")
	return build + "-" + p.CapturedAt.In(a.store.last().Location()).Format("2006-01-02-150405") + ending
}

// photoVideo plays a video, without what is private in it.
// GET and HEAD /builds/:build/photos/:photo/video
func (a *App) photoVideo(c echo.Context) error {
	p, err := a.steps.PhotoFileAllowed(c.Request().Context(), actor(c), of(c).build.ID, photoID(c))
	if err != nil {
		return err
	}
	if !p.Video() {
		return journal.Errorf(journal.NotFound, "This photo is not a video.")
	}
	return a.sendVideo(c, p, "")
}

// sendVideo sends a video or the part of it that was asked for.
func (a *App) sendVideo(c echo.Context, p journal.Photo, name string) error {
	original, err := a.storage.Open(c.Request().Context(), p.SHA256)
	if err != nil {
		return err
	}
	info, err := media.Inspect(original, original.Size())
	var clean *io.SectionReader
	if err == nil {
		clean, err = media.CleanVideo(original, info)
	}
	if err != nil {
		return errors.Join(a.Intake().refusal(err), original.Close())
	}
	return sendFile(c, cleanVideo{clean, original}, fileHead{tag: string(p.ID) + "-clean", kind: p.Kind, name: name})
}

// cleanVideo is a cleaned video over its original.
type cleanVideo struct {
	*io.SectionReader
	io.Closer
}

// photoHandOut lets the owner have an original, or takes that back.
// POST /builds/:build/photos/:photo/hand-out
func (a *App) photoHandOut(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	give := f.raw("give") == "yes"
	if !give && f.raw("give") != "no" {
		return journal.Errorf(journal.Invalid, "Please choose whether the owner may have the original, yes or no.")
	}
	build, photo := of(c).build.ID, photoID(c)
	if err := a.steps.HandOut(c.Request().Context(), actor(c), build, photo, give); err != nil {
		return err
	}
	said := "The owner can no longer save this original here."
	if give {
		said = "The owner can save this original from the photo's page."
	}
	return a.done(c, "/builds/"+string(build)+"/photos/"+string(photo), said)
}

var _ media.File = cleanVideo{}
