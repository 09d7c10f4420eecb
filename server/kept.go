package server

import (
	"mime"
	"mime/multipart"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"farbay/journal"
)

const (
	// maxKeptBytes is the most that is kept of one form, as typed.
	maxKeptBytes = 64 << 10
	// keptLife is how long a form is kept.
	keptLife = 24 * time.Hour
)

// unkept are fields that are never kept: secrets, and what only proved that a
// page was fresh.
func unkept(name string) bool {
	return strings.Contains(name, "password") || name == "sure" || name == "token"
}

// keepForm keeps the text fields of the posted form of somebody whose session
// has run out or was ended, under a random cookie, and reports whether it did.
// It does so only for the person the cookie's session belonged to; of anybody
// else nothing is read. Files are read past, never held, and counted as lost.
func (a *App) keepForm(c echo.Context) (bool, error) {
	rq := of(c)
	if rq.lapsed == "" {
		return false, nil
	}
	typed, files, err := postedText(c.Request())
	rq.lostFiles = files
	if err != nil {
		return false, nil // what cannot be read cannot be kept; the answer says that nothing was recorded
	}
	values, bytes := url.Values{}, 0
	for name, all := range typed {
		if unkept(name) {
			continue
		}
		values[name] = all
		for _, text := range all {
			bytes += len(name) + len(text)
		}
	}
	if len(values) == 0 || bytes > maxKeptBytes {
		return false, nil
	}
	token, err := newToken()
	if err != nil {
		return false, err
	}
	err = a.steps.KeepForm(c.Request().Context(), token, journal.KeptForm{
		PersonID: rq.lapsed, Path: c.Request().URL.Path, Values: values.Encode(), ExpiresAt: a.now().Add(keptLife),
	})
	if err != nil {
		return false, err
	}
	a.setCookie(c, keptCookie, token, keptLife)
	return true, nil
}

// postedText returns the text fields of a posted form, at most 1 MB of them,
// and how many files came with them. What it has read when it returns an error
// stays in the request's PostForm.
func postedText(r *http.Request) (typed url.Values, files int, err error) {
	kind, _, err := mime.ParseMediaType(r.Header.Get(echo.HeaderContentType))
	if err != nil {
		return nil, 0, err
	}
	if kind != echo.MIMEMultipartForm {
		err := r.ParseForm()
		return r.PostForm, 0, err
	}
	typed, err = readParts(r, maxFormBytes, func(*multipart.Part) error { files++; return nil })
	return typed, files, err
}

// kept returns what the person had typed into the form that posts to path when
// their session ran out, or nil. It stays until that form has been taken, so
// that reloading the page loses nothing.
func (a *App) kept(c echo.Context, path string) (url.Values, error) {
	token := a.cookie(c, keptCookie)
	if token == "" {
		return nil, nil
	}
	form, found, err := a.steps.KeptForm(c.Request().Context(), actor(c), token, path)
	if err != nil || !found {
		return nil, err
	}
	return url.ParseQuery(form.Values)
}

// dropKept forgets the kept form once the address it was posted to has taken
// it.
func (a *App) dropKept(c echo.Context) error {
	token := a.cookie(c, keptCookie)
	if token == "" || c.Request().Method != http.MethodPost || c.Response().Status >= http.StatusBadRequest {
		return nil
	}
	ctx := c.Request().Context()
	_, found, err := a.steps.KeptForm(ctx, actor(c), token, c.Request().URL.Path)
	if err == nil && found {
		err = a.steps.DropKeptForm(ctx, token)
	}
	if err != nil {
		// The act itself is done and answered; the form runs out by itself.
		a.log.WarnContext(ctx, "a kept form could not be dropped", "error", err, "request", of(c).id)
	}
	return nil
}
