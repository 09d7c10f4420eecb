package server

import (
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

func sizeAsked(c echo.Context) (int, bool) {
	size, err := strconv.Atoi(c.Param("size"))
	return size, err == nil && slices.Contains(journal.PhotoSizes, size)
}

// sendSize sends one of a photo's sizes, and closes it.
func (a *App) sendSize(c echo.Context, p journal.Photo, size int, file media.File) error {
	return sendFile(c, file, fileHead{
		tag:  string(p.ID) + "--" + strconv.Itoa(size),
		kind: "image/jpeg",
	})
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
		if !known || token == "" || c.QueryParam("view") != "" {
			return admitted(c)
		}
		ctx := c.Request().Context()
		asked, err := a.door.AskPhoto(ctx, flow.PhotoAsk{
			TokenHash: flow.TokenHash(token), BuildID: journal.BuildID(c.Param("build")), PhotoID: photoID(c),
		})
		if err != nil || !asked.Admits(a.now()) || !asked.Photo.Layer.Plain() {
			return admitted(c)
		}
		file, err := a.storage.OpenDerivative(ctx, asked.Photo.SHA256, size)
		if err != nil {
			return admitted(c)
		}
		rq := of(c)
		rq.route, rq.known, rq.person = route, true, asked.Person
		return a.sendSize(c, asked.Photo, size, file)
	}
}

// fileHead is what a file is sent with.
type fileHead struct {
	tag  string // for the strong ETag, without quotes
	kind string // content type
	// name is under which a browser saves the file; "" to show it.
	name string
	// changing: the address may give out another file tomorrow, or nothing, so
	// that no browser keeps it without asking.
	changing bool
}

// sendFile answers with a file, or the part of it that was asked for, and
// closes it (RFC 9110, sections 13 and 14).
func sendFile(c echo.Context, file media.File, head fileHead) error {
	h := c.Response().Header()
	h.Set(echo.HeaderCacheControl, "private, max-age=31536000, immutable")
	if head.changing {
		h.Set(echo.HeaderCacheControl, "private, no-cache")
	}
	h.Set(echo.HeaderVary, echo.HeaderCookie)
	h.Set("ETag", `"`+head.tag+`"`)
	h.Set(echo.HeaderContentType, head.kind)
	if head.name != "" {
		h.Set(echo.HeaderContentDisposition, contentDisposition(head.name))
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
