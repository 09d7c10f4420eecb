package server

import (
	"bytes"
	"encoding/base64"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

// unnamedShop stands in until the office has filled in the shop's settings.
var unnamedShop = journal.Shop{Name: "Farbay", Zone: "UTC", Currency: "USD", QuietDays: 14}

// frame returns what every page has around its content. When the shop cannot be
// read it returns a plain frame with the error.
func (a *App) frame(c echo.Context, title string) (views.Frame, error) {
	rq := of(c)
	shop, err := a.shop(c)
	f := views.Frame{
		Words: views.Words{Now: a.now(), Zone: shop.Location(), Currency: shop.Currency}, ShopName: shop.Name,
		Title: title, Demo: a.cfg.Demo, Path: c.Request().URL.Path,
	}
	if rq.known {
		f.Person = &views.Who{Name: rq.person.Name, Role: rq.person.Role}
	}
	if rq.build.ID != "" {
		f.Build = &views.BuildRef{ID: rq.build.ID, Nickname: rq.build.Nickname}
	}
	if err == nil && c.Request().Method == http.MethodGet {
		f.Flash = a.said(c)
	}
	return f, err
}

// shop returns the shop's settings, or unnamedShop while there are none, and
// also when they cannot be read.
func (a *App) shop(c echo.Context) (journal.Shop, error) {
	shop := unnamedShop
	err := a.store.Read(c.Request().Context(), func(r flow.Reads) error {
		stored, err := r.Shop()
		if journal.CodeOf(err) == journal.NotFound {
			return nil
		}
		if err == nil {
			shop = stored
		}
		return err
	})
	return shop, err
}

// show answers with a page. The page is made whole before anything is sent.
func (a *App) show(c echo.Context, status int, page views.Page) error {
	var made bytes.Buffer
	if err := a.views.Render(&made, page); err != nil {
		return err
	}
	return c.HTMLBlob(status, made.Bytes())
}

// maxSaid is the most bytes that say keeps; a cookie has room for about as much
// again.
const maxSaid = 600

// say keeps sentences on what was just done, at most maxSaid bytes of them, for
// the next page.
func (a *App) say(c echo.Context, sentence string) {
	a.setCookie(c, flashCookie, base64.RawURLEncoding.EncodeToString([]byte(sentence)), time.Minute)
}

// said returns the sentence kept by say, once.
func (a *App) said(c echo.Context) string {
	value := a.cookie(c, flashCookie)
	if value == "" {
		return ""
	}
	a.dropCookie(c, flashCookie)
	sentence, err := base64.RawURLEncoding.DecodeString(value)
	if err != nil || len(sentence) > maxSaid {
		return "" // not one of ours
	}
	return string(sentence)
}

// done answers a step that succeeded: the sentence is said on the page at path.
func (a *App) done(c echo.Context, path, sentence string) error {
	if sentence != "" {
		a.say(c, sentence)
	}
	return c.Redirect(http.StatusSeeOther, path)
}

// problems splits an error of a step: what can be said beside the fields of
// the form, or else the error.
func problems(err error) (journal.Problems, error) {
	f := formOf(nil)
	if err = f.add(err); err != nil {
		return nil, err
	}
	return f.bad, nil
}
