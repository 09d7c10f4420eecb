package server

import (
	"context"
	"errors"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/views"
)

// failure says how a code is answered.
type failure struct {
	status  int
	heading string
	do      string // what to do now
}

// failures is the one table from codes to answers.
var failures = map[journal.Code]failure{
	journal.Invalid:     {http.StatusUnprocessableEntity, "That could not be taken.", "Please go back and correct it."},
	journal.NotFound:    {http.StatusNotFound, "This page is not here.", "Please check the address, or begin at the first page."},
	journal.Forbidden:   {http.StatusForbidden, "This is not for you to do.", "If it should be, please ask the office."},
	journal.SignedOut:   {http.StatusUnauthorized, "Nothing was recorded.", "Please sign in and do it again."},
	journal.Conflict:    {http.StatusConflict, "Somebody was faster.", "Please look at how it stands now, and do it again if it is still wanted."},
	journal.TooLarge:    {http.StatusRequestEntityTooLarge, "That is too large.", "Please send it in smaller parts."},
	journal.TooMany:     {http.StatusTooManyRequests, "Too many attempts.", "Please wait a while and try again."},
	journal.Unavailable: {http.StatusServiceUnavailable, "That did not work just now.", "Please try again in a moment."},
	journal.Internal:    {http.StatusInternalServerError, "Something went wrong.", "Please try again; if it happens again, tell the office what you did."},
}

// asJournal turns errors of the libraries into ours.
func asJournal(err error) error {
	var ours *journal.Error
	if errors.As(err, &ours) {
		return err
	}
	var tooLarge *http.MaxBytesError
	if errors.As(err, &tooLarge) {
		return &journal.Error{Code: journal.TooLarge, Err: err, Message: "What was sent is larger than this page takes."}
	}
	var theirs *echo.HTTPError
	if !errors.As(err, &theirs) {
		return err
	}
	switch theirs.Code {
	case http.StatusNotFound:
		return &journal.Error{Code: journal.NotFound, Err: err, Message: "There is no such page."}
	case http.StatusMethodNotAllowed:
		return &journal.Error{Code: journal.NotFound, Err: err, Message: "There is nothing to do at this address."}
	case http.StatusRequestEntityTooLarge:
		return &journal.Error{Code: journal.TooLarge, Err: err, Message: "What was sent is larger than this page takes."}
	case http.StatusBadRequest, http.StatusUnsupportedMediaType:
		return &journal.Error{Code: journal.Invalid, Err: err, Message: "What was sent could not be read."}
	}
	return err
}

// fail answers a request whose handler returned err: with a page, or with JSON
// when that was asked for. Only faults of ours are logged with their cause; the
// reader gets a sentence.
func (a *App) fail(err error, c echo.Context) {
	rq := of(c)
	ctx := c.Request().Context()
	err = asJournal(err)
	code := journal.CodeOf(err)
	if errors.Is(err, context.Canceled) && ctx.Err() != nil {
		a.log.InfoContext(ctx, "the browser went away", "request", rq.id, "error", err)
		if !c.Response().Committed {
			// One that still listens must not take silence for success; its
			// connection is of no more use.
			c.Response().Header().Set("Connection", "close")
			c.Response().WriteHeader(http.StatusServiceUnavailable)
		}
		return
	}
	answer := failures[code]
	switch code {
	case journal.Internal:
		a.log.ErrorContext(ctx, "a request failed", "request", rq.id, "route", c.Path(), "error", err)
	case journal.Unavailable:
		a.log.WarnContext(ctx, "a request could not be done", "request", rq.id, "route", c.Path(), "error", err)
	default:
		a.log.DebugContext(ctx, "a request was refused", "request", rq.id, "route", c.Path(), "error", err)
	}
	if c.Response().Committed {
		return
	}
	if code == journal.Unavailable || code == journal.TooMany {
		c.Response().Header().Set("Retry-After", "30")
	}
	var sent error
	if wantsData(c) {
		sent = c.JSON(answer.status, dataFailure{Code: string(code), Error: journal.MessageOf(err), Fields: fieldsOf(err), Request: rq.id})
	} else {
		sent = a.failurePage(c, err, answer)
	}
	if sent != nil {
		a.log.ErrorContext(ctx, "a failure could not be shown", "request", rq.id, "error", sent)
		if !c.Response().Committed {
			http.Error(c.Response(), journal.MessageOf(err), answer.status)
		}
	}
}

// dataFailure is the JSON form of a failure.
type dataFailure struct {
	Code    string            `json:"code"`
	Error   string            `json:"error"` // whole sentences
	Fields  map[string]string `json:"fields,omitempty"`
	Request string            `json:"request"`
}

func fieldsOf(err error) map[string]string {
	var ours *journal.Error
	if errors.As(err, &ours) {
		return ours.Fields
	}
	return nil
}

// failurePage shows the page for an error. When the database cannot be read
// either, the page does without what it knows.
func (a *App) failurePage(c echo.Context, err error, answer failure) error {
	frame, frameErr := a.frame(c, strings.TrimSuffix(answer.heading, "."))
	if frameErr != nil {
		a.log.WarnContext(c.Request().Context(), "a page's frame is plain", "request", of(c).id, "error", frameErr)
	}
	posted := c.Request().Method == http.MethodPost
	code := journal.CodeOf(err)
	if code == journal.SignedOut && posted {
		if of(c).lostFiles > 0 {
			frame.Refused = "The photos sent with it were not taken; please choose them again after signing in."
		}
		return a.show(c, answer.status, views.SignedOutKept{
			Frame: frame, Next: backPath(c), Kept: of(c).kept, Text: typedText(c),
		})
	}
	page := views.Failure{
		Frame: frame, Code: answer.status, Heading: answer.heading, Do: answer.do, Sentence: journal.MessageOf(err),
		Back: views.Link{Text: "To the first page", Href: "/"},
	}
	fields := fieldsOf(err)
	for _, field := range sortedKeys(fields) {
		page.Sentence += " " + fields[field]
	}
	switch {
	case code == journal.SignedOut:
		page.Back = views.Link{Text: "Sign in", Href: "/sign-in?next=" + url.QueryEscape(backPath(c))}
	case posted:
		page.Back = views.Link{Text: "Back to where you were", Href: backPath(c)}
		page.Kept = typedText(c)
	}
	return a.show(c, answer.status, page)
}

// sortedKeys returns a map's keys in ascending order.
func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

// typedText returns the longer texts of a posted form that could not be
// recorded, for copying: those with a blank in them, as people write.
func typedText(c echo.Context) string {
	form := c.Request().PostForm // only what the handler has read
	var texts []string
	for _, name := range sortedKeys(form) {
		for _, text := range form[name] {
			if text = journal.CleanText(text); !unkept(name) && strings.ContainsAny(text, " \n") {
				texts = append(texts, text)
			}
		}
	}
	return strings.Join(texts, "\n\n")
}

// wantsData reports whether the request asks for JSON and not for a page, as
// clients of resumable uploads always do.
func wantsData(c echo.Context) bool {
	if c.Request().Header.Get("Tus-Resumable") != "" {
		return true
	}
	accept := c.Request().Header.Get(echo.HeaderAccept)
	return strings.Contains(accept, echo.MIMEApplicationJSON) && !strings.Contains(accept, echo.MIMETextHTML)
}
