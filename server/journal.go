package server

import (
	"bytes"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

// journal shows a build's journal, or with the header X-Piece only its next
// entries. GET /builds/:build/journal
func (a *App) journal(c echo.Context) error {
	after, err := readCursor(c.QueryParam("after"))
	if err != nil {
		return err
	}
	q := flow.EntryQuery{
		StageID: journal.StageID(c.QueryParam("stage")), Kind: journal.EntryKind(c.QueryParam("kind")), Before: after,
	}
	v, err := a.steps.JournalPage(c.Request().Context(), actor(c), of(c).build.ID, q)
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Journal")
	if err != nil {
		return err
	}
	piece := journalPiece(f.Words, v, q, time.Time{}, of(c).person.Role.Staff())
	if c.Request().Header.Get("X-Piece") != "" {
		var made bytes.Buffer
		if err := a.views.RenderPiece(&made, piece); err != nil {
			return err
		}
		return c.HTMLBlob(http.StatusOK, made.Bytes())
	}
	page := views.Journal{Frame: f, Entries: piece, StageID: string(q.StageID), Kind: string(q.Kind), Later: after != flow.EntryCursor{}}
	for _, st := range v.Stages {
		page.Stages = append(page.Stages, views.Option{Value: string(st.ID), Text: st.Name})
	}
	return a.show(c, http.StatusOK, page)
}

// journalPiece puts a page of entries into the form pages show; those that came
// after since are marked as new.
func journalPiece(w views.Words, v flow.JournalView, q flow.EntryQuery, since time.Time, staff bool) views.JournalPiece {
	piece := views.JournalPiece{Words: w, NewSince: since}
	for _, e := range v.Entries {
		one := entryView(w, e, v.Stages, v.Photos, v.Authors, staff)
		one.New = flow.IsNew(e, since, staff)
		piece.Entries = append(piece.Entries, one)
	}
	if v.Next != (flow.EntryCursor{}) {
		values := url.Values{"after": {writeCursor(v.Next)}}
		if q.StageID != "" {
			values.Set("stage", string(q.StageID))
		}
		if q.Kind != "" {
			values.Set("kind", string(q.Kind))
		}
		piece.Older = "/builds/" + string(v.Build.ID) + "/journal?" + values.Encode()
	}
	return piece
}

// writeCursor writes a place in a journal into an address.
func writeCursor(at flow.EntryCursor) string {
	return at.At.UTC().Format(time.RFC3339Nano) + "," + string(at.ID)
}

// readCursor reads what writeCursor wrote; "" is the beginning.
func readCursor(s string) (flow.EntryCursor, error) {
	if s == "" {
		return flow.EntryCursor{}, nil
	}
	at, id, found := strings.Cut(s, ",")
	when, err := time.Parse(time.RFC3339Nano, at)
	if err != nil || !found || id == "" {
		return flow.EntryCursor{}, journal.Errorf(journal.NotFound, "This address does not name a place in the journal; please begin at its newest entries.")
	}
	return flow.EntryCursor{At: when, ID: journal.EntryID(id)}, nil
}
