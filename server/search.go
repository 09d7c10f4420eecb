package server

import (
	"net/http"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/views"
)

// search finds entries of a build's journal by words.
// GET /builds/:build/search
func (a *App) search(c echo.Context) error {
	words := strings.TrimSpace(strings.ToValidUTF8(c.QueryParam("q"), ""))
	v, err := a.steps.Search(c.Request().Context(), actor(c), of(c).build.ID, words)
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Search")
	if err != nil {
		return err
	}
	page := views.Search{Frame: f, Query: words, More: v.More}
	for _, found := range v.Found {
		page.Found = append(page.Found, views.FoundEntry{
			EntryView: entryView(f.Words, found.Entry, v.Stages, v.Photos, v.Authors, of(c).person.Role.Staff()),
			Snippet:   views.NewSnippet(found.Snippet),
		})
	}
	return a.show(c, http.StatusOK, page)
}
