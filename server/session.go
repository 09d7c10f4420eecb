package server

import (
	"crypto/rand"
	"encoding/base64"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
)

// request is what admission has found out about a request. Handlers get it
// with [of].
type request struct {
	id      string           // also in the log and in the X-Request-Id header
	route   Route            // zero when none matched
	known   bool             // somebody is signed in
	person  journal.Person   // zero unless known
	session journal.Session  // zero unless known
	lapsed  journal.PersonID // whose the cookie's session was, when it counts no more
	kept    bool             // the posted form has been kept for them
	// lostFiles is how many files came with a post that was not admitted.
	lostFiles int
	build     journal.Build   // zero unless the route is a build's
	member    *journal.Member // the person's record of that build; nil for staff
}

const requestKey = "farbay.request"

// of returns the request's findings.
func of(c echo.Context) *request {
	if rq, ok := c.Get(requestKey).(*request); ok {
		return rq
	}
	rq := &request{}
	c.Set(requestKey, rq)
	return rq
}

// actor returns who does the request's step.
func actor(c echo.Context) flow.Actor {
	rq := of(c)
	return flow.Actor{Person: rq.person, Session: rq.session, Address: c.RealIP(), UserAgent: userAgent(c)}
}

// userAgent returns the browser's name for itself, at most 300 bytes of it.
func userAgent(c echo.Context) string {
	agent := strings.ToValidUTF8(c.Request().UserAgent(), "?")
	if len(agent) > 300 {
		agent = strings.ToValidUTF8(agent[:300], "")
	}
	return agent
}

// newToken returns 32 random bytes in base64url, fit for cookies and paths.
func newToken() (string, error) {
	b := make([]byte, 32)
	if _, err := rand.Read(b); err != nil {
		return "", err
	}
	return base64.RawURLEncoding.EncodeToString(b), nil
}

// cookieName adds the prefix that makes browsers insist on Secure, on the
// whole host and on the path "/" (RFC 6265bis, section 4.1.3.2).
func (a *App) cookieName(name string) string {
	if a.cfg.secure() {
		return "__Host-" + name
	}
	return name
}

const (
	sessionCookie = "farbay"
	keptCookie    = "farbay-kept"
	flashCookie   = "farbay-said"
)

func (a *App) setCookie(c echo.Context, name, value string, life time.Duration) {
	cookie := &http.Cookie{
		Name: a.cookieName(name), Value: value, Path: "/", HttpOnly: true, Secure: a.cfg.secure(),
		SameSite: http.SameSiteLaxMode, MaxAge: int(life / time.Second),
	}
	if life <= 0 {
		cookie.MaxAge = -1
	}
	c.SetCookie(cookie)
}

func (a *App) dropCookie(c echo.Context, name string) { a.setCookie(c, name, "", 0) }

// cookie returns a cookie's value; "" when it was not sent.
func (a *App) cookie(c echo.Context, name string) string {
	sent, err := c.Cookie(a.cookieName(name))
	if err != nil {
		return ""
	}
	return sent.Value
}

// newSession returns what a session for this browser begins with.
func (a *App) newSession(c echo.Context) (flow.NewSession, error) {
	token, err := newToken()
	return flow.NewSession{
		Token: token, Life: min(a.cfg.SessionIdle, a.cfg.SessionLife), Address: c.RealIP(), UserAgent: userAgent(c),
	}, err
}

// begin hands the browser the session that has been stored. The cookie lives
// as long as a session may; the database decides.
func (a *App) begin(c echo.Context, n flow.NewSession) {
	a.setCookie(c, sessionCookie, n.Token, a.cfg.SessionLife)
}

// identify finds out who is signed in, from the session cookie.
func (a *App) identify(c echo.Context) error {
	rq := of(c)
	token := a.cookie(c, sessionCookie)
	if token == "" {
		return nil
	}
	ctx := c.Request().Context()
	session, person, found, err := a.steps.Known(ctx, token)
	if err != nil || !found {
		return err
	}
	if !session.Live(a.now()) || !person.Active() {
		rq.lapsed = session.PersonID
		return nil
	}
	rq.known, rq.person, rq.session = true, person, session
	seen, err := a.steps.Seen(ctx, session, a.cfg.SessionIdle, a.cfg.SessionLife)
	if err != nil {
		// The page can be shown without the note of when it was.
		a.log.WarnContext(ctx, "a session's last use could not be noted", "error", err, "request", rq.id)
		return nil
	}
	rq.session = seen
	return nil
}

// admit lets a route's handler run only for those it is for.
func (a *App) admit(route Route) echo.HandlerFunc {
	return func(c echo.Context) error {
		rq := of(c)
		rq.route = route
		if route.Who == Public {
			return route.Handler(c)
		}
		if err := a.identify(c); err != nil {
			return err
		}
		if !rq.known {
			return a.signedOut(c)
		}
		if route.Who.ofBuild() {
			if err := a.loadBuild(c); err != nil {
				return err
			}
		}
		if err := allowed(route.Who, rq); err != nil {
			return err
		}
		if err := route.Handler(c); err != nil {
			return err
		}
		return a.dropKept(c)
	}
}

// allowed refuses those a route is not for. Whether the person may read the
// route's build has been decided before.
func allowed(who Who, rq *request) error {
	switch who {
	case SignedIn, BuildReader:
		return nil
	case Staff, BuildStaff:
		if rq.person.Role.Staff() {
			return nil
		}
		return journal.Errorf(journal.Forbidden, "This page is for the shop.")
	case Office, BuildOffice:
		if rq.person.Role == journal.Office {
			return nil
		}
		return journal.Errorf(journal.Forbidden, "Only the office can do this. Please ask them.")
	case BuildDecider:
		if journal.CanDecide(rq.person, rq.member) {
			return nil
		}
		return journal.Errorf(journal.Forbidden, "Only the truck's owner, or a delegate they named, can decide this.")
	}
	return errors.New("server: a route does not say who it is for")
}

// loadBuild finds the build named in the path, if the person may read it.
func (a *App) loadBuild(c echo.Context) error {
	rq := of(c)
	id := journal.BuildID(c.Param("build"))
	missing := journal.Errorf(journal.NotFound, "There is no such build.")
	return a.store.Read(c.Request().Context(), func(r flow.Reads) error {
		if !rq.person.Role.Staff() {
			m, err := r.Member(id, rq.person.ID)
			if journal.CodeOf(err) == journal.NotFound {
				return missing
			}
			if err != nil {
				return err
			}
			rq.member = &m
		}
		if !journal.CanRead(rq.person, rq.member) {
			return missing
		}
		build, err := r.Build(id)
		if journal.CodeOf(err) == journal.NotFound {
			return missing
		}
		rq.build = build
		return err
	})
}

// signedOut sends a reader to the sign-in page, and tells somebody who posted
// that nothing was recorded, after keeping what they had typed.
func (a *App) signedOut(c echo.Context) error {
	r := c.Request()
	reading := r.Method == http.MethodGet || r.Method == http.MethodHead
	if reading && !wantsData(c) {
		return c.Redirect(http.StatusSeeOther, "/sign-in?next="+url.QueryEscape(localPath(r.URL.RequestURI())))
	}
	if reading {
		return journal.Errorf(journal.SignedOut, "You are signed out. Please sign in again.")
	}
	var err error
	if of(c).kept, err = a.keepForm(c); err != nil {
		return err
	}
	return journal.Errorf(journal.SignedOut, "You were signed out in the meantime, so nothing was recorded. Please sign in and do it again.")
}

// backPath returns the page of ours that the request was made from, or "/".
func backPath(c echo.Context) string {
	from, err := url.Parse(c.Request().Referer())
	if err != nil || from.Host != c.Request().Host || from.Path == "" {
		return "/"
	}
	return localPath(from.RequestURI())
}

// localPath returns next if it is a path of this server, else "/". Whatever a
// browser might take for another host is refused.
func localPath(next string) string {
	if !strings.HasPrefix(next, "/") || strings.HasPrefix(next, "//") || strings.ContainsAny(next, "\\") ||
		strings.ContainsFunc(next, func(r rune) bool { return r < 0x20 || r == 0x7f }) || len(next) > 2000 {
		return "/"
	}
	u, err := url.Parse(next)
	if err != nil || u.Scheme != "" || u.Host != "" || u.User != nil || strings.HasPrefix(u.Path, "//") {
		return "/"
	}
	return next
}
