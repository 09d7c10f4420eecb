package server

import (
	"cmp"
	"errors"
	"io"
	"net/http"
	"slices"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/media"
)

// sizePath is the address of the sizes made of a photo. They are most of what a
// browser asks for, see [App.quick].
const sizePath = "/builds/:build/photos/:photo/:size"

// photoFile gives out one of the sizes made of a photo, under the view named in
// the query; see [flow.Steps.PhotoViewAllowed]. What it sends never changes, so
// that a browser may keep it, but for this person alone: whether they may see it
// is asked each time it is fetched.
// GET and HEAD /builds/:build/photos/:photo/:size?view=
func (a *App) photoFile(c echo.Context) error {
	ctx := c.Request().Context()
	size, known := sizeAsked(c)
	if !known {
		return journal.Errorf(journal.NotFound, "There is no such size.")
	}
	view := c.QueryParam("view")
	p, err := a.steps.PhotoViewAllowed(ctx, actor(c), of(c).build.ID, photoID(c), view)
	if err != nil {
		return err
	}
	file, err := openSize(ctx, a.storage, p.SHA256, view, size)
	if errors.Is(err, media.ErrNotFound) {
		if p.State == journal.PhotoFailed {
			return journal.Errorf(journal.NotFound, "This photo cannot be shown. Its original is safe with the shop.")
		}
		if p.State == journal.PhotoReady && !p.Pictured() {
			return journal.Errorf(journal.NotFound, "This video has no preview. Please open its page to play it.")
		}
		c.Response().Header().Set(echo.HeaderRetryAfter, "2")
		return journal.Errorf(journal.NotFound, "This photo is being made ready; look again in a minute.")
	}
	if err != nil {
		return err
	}
	return sendSize(c, p, view, size, file)
}

func sizeAsked(c echo.Context) (int, bool) {
	size, err := strconv.Atoi(c.Param("size"))
	return size, err == nil && slices.Contains(journal.PhotoSizes, size)
}

// sendSize sends one of a photo's sizes, and closes it.
func sendSize(c echo.Context, p journal.Photo, view string, size int, file media.File) error {
	return sendFile(c, file, fileHead{tag: string(p.ID) + "-" + view + "-" + strconv.Itoa(size), kind: "image/jpeg"})
}

// quick puts a short way in front of the requests that come by the hundred, for
// the sizes of photos: one question to the database decides on session, build
// and photo together, and nothing is written. It only ever says yes. Whoever it
// does not let pass goes the way of every request, and gets its answer.
func (a *App) quick(route Route, admitted echo.HandlerFunc) echo.HandlerFunc {
	if route.Path != sizePath {
		return admitted
	}
	return func(c echo.Context) error {
		size, known := sizeAsked(c)
		token := a.cookie(c, sessionCookie)
		if !known || token == "" {
			return admitted(c)
		}
		ctx := c.Request().Context()
		asked, err := a.door.AskPhoto(ctx, flow.PhotoAsk{
			TokenHash: flow.TokenHash(token), BuildID: journal.BuildID(c.Param("build")), PhotoID: photoID(c),
		})
		view := asked.Photo.Layer.View()
		if err != nil || !asked.Admits(a.now()) || c.QueryParam("view") != view {
			return admitted(c)
		}
		file, err := openSize(ctx, a.storage, asked.Photo.SHA256, view, size)
		if err != nil {
			return admitted(c)
		}
		rq := of(c)
		rq.route, rq.known, rq.person = route, true, asked.Person
		return sendSize(c, asked.Photo, view, size, file)
	}
}

// fileHead is what a file is sent with.
type fileHead struct {
	tag  string // for the strong ETag, without quotes
	kind string // content type
	// name is under which a browser saves the file; "" to show it.
	name string
	// cache is the Cache-Control; "" for what never changes at its address.
	cache string
}

// sendFile answers with a file, or the part of it that was asked for, and
// closes it (RFC 9110, sections 13 and 14).
func sendFile(c echo.Context, file media.File, head fileHead) error {
	h := c.Response().Header()
	h.Set(echo.HeaderCacheControl, cmp.Or(head.cache, "private, max-age=31536000, immutable"))
	h.Set(echo.HeaderVary, echo.HeaderCookie)
	h.Set("ETag", `"`+head.tag+`"`)
	h.Set(echo.HeaderContentType, head.kind)
	if head.name != "" {
		h.Set(echo.HeaderContentDisposition, contentDisposition(head.name))
	}
	if err := allowTime(c, file.Size()); err != nil {
		return errors.Join(err, file.Close())
	}
	http.ServeContent(direct{c.Response()}, c.Request(), "", time.Time{}, file)
	return file.Close()
}

// direct lets the operating system move a file to the connection by itself:
// echo's own writer hides that the standard one can.
type direct struct{ *echo.Response }

// ReadFrom implements [io.ReaderFrom].
func (d direct) ReadFrom(r io.Reader) (int64, error) {
	if !d.Committed {
		d.WriteHeader(http.StatusOK)
	}
	n, err := io.Copy(d.Writer, r)
	d.Size += n
	return n, err
}

// slowest is the rate, in bytes a second, below which the sending of a file is
// given up.
const slowest = 32 << 10

// allowTime lets an answer of so many bytes take as long as it does on a bad
// link: a video or an original takes longer than a page.
func allowTime(c echo.Context, bytes int64) error {
	until := time.Now().Add(replyTime + time.Duration(bytes/slowest)*time.Second)
	err := http.NewResponseController(c.Response()).SetWriteDeadline(until)
	if errors.Is(err, http.ErrNotSupported) { // a recorder in a test has no wire
		return nil
	}
	return err
}
