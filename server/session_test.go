package server_test

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

func TestSessionEnds(t *testing.T) {
	s := servertest.New(t, func(c *server.Config) { c.SessionIdle, c.SessionLife = 10*24*time.Hour, 25*24*time.Hour })

	t.Run("unused too long", func(t *testing.T) {
		c := s.As(s.Owner)
		s.Clock.Pass(10*24*time.Hour - time.Second)
		c.Get("/account").Status(http.StatusOK)
		s.Clock.Pass(10*24*time.Hour - time.Second)
		c.Get("/account").Status(http.StatusOK) // used in time, so it went on
		s.Clock.Pass(10 * 24 * time.Hour)
		c.Get("/account").Status(http.StatusSeeOther)
	})
	t.Run("at most so long", func(t *testing.T) {
		c := s.As(s.Owner)
		for range 4 {
			s.Clock.Pass(6 * 24 * time.Hour)
			c.Get("/account").Status(http.StatusOK)
		}
		s.Clock.Pass(24 * time.Hour)
		c.Get("/account").Status(http.StatusSeeOther)
	})
	t.Run("ended by the office", func(t *testing.T) {
		c, other := s.As(s.Owner), s.As(s.Floor)
		s.As(s.Office).Post("/people/"+string(s.Owner.ID)+"/sessions/end", nil).Status(http.StatusSeeOther)
		c.Get("/account").Status(http.StatusSeeOther)
		other.Get("/account").Status(http.StatusOK)
	})
	t.Run("account closed", func(t *testing.T) {
		p := s.Add(journal.Floor, "Ivo Larch")
		c := s.As(p)
		s.As(s.Office).Post("/people/"+string(p.ID)+"/end", nil).Status(http.StatusSeeOther)
		c.Get("/account").Status(http.StatusSeeOther)
	})
	t.Run("signed out", func(t *testing.T) {
		c := s.As(s.Owner)
		before := cookieOf(t, s, c)
		c.Post("/sign-out", nil).Redirects("/sign-in")
		c.Get("/sign-in").Says("You are signed out")
		// A copy of the cookie is worth nothing either.
		r := c.Send(http.MethodGet, "/account", "", nil, func(r *http.Request) { r.AddCookie(before) })
		r.Status(http.StatusSeeOther)
	})
	t.Run("others ended by the person", func(t *testing.T) {
		here, there := s.As(s.Owner), s.As(s.Owner)
		old := cookieOf(t, s, here)
		here.Post("/account/sessions/end", nil).Redirects("/account")
		here.Get("/account").Status(http.StatusOK).Says("single-use link for")
		there.Get("/account").Status(http.StatusSeeOther)
		s.Client().Send(http.MethodGet, "/account", "", nil, func(r *http.Request) { r.AddCookie(old) }).Status(http.StatusSeeOther)
	})
}

func cookieOf(t *testing.T, s *servertest.Server, c *servertest.Client) *http.Cookie {
	t.Helper()
	u, err := url.Parse(s.URL)
	if err != nil {
		t.Fatal(err)
	}
	for _, cookie := range c.HTTP.Jar.Cookies(u) {
		if cookie.Name == "farbay" {
			return cookie
		}
	}
	t.Fatal("there is no session cookie")
	return nil
}

// Only the SHA-256 of a token is stored, as sha256sum prints it.
func TestSessionTokenIsHashed(t *testing.T) {
	s := servertest.New(t)
	token := cookieOf(t, s, s.As(s.Owner)).Value
	if len(token) != 43 { // 32 bytes in base64url without padding (RFC 4648, section 5)
		t.Errorf("token has %d characters, want 43", len(token))
	}
	err := s.App.Steps().Store.Read(context.Background(), func(r flow.Reads) error {
		if _, err := r.Session(token); journal.CodeOf(err) != journal.NotFound {
			t.Errorf("the token itself finds a session: %v", err)
		}
		_, err := r.Session(flow.TokenHash(token))
		return err
	})
	if err != nil {
		t.Error(err)
	}
	// printf %s abc | sha256sum; also FIPS 180-2, appendix B.1.
	if got, want := flow.TokenHash("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"; got != want {
		t.Errorf("TokenHash(abc) = %s, want %s", got, want)
	}
}

func TestLastSeenIsNotedOnceAMinute(t *testing.T) {
	s := servertest.New(t)
	c := s.As(s.Owner)
	hash := flow.TokenHash(cookieOf(t, s, c).Value)
	seen := func() (at time.Time) {
		err := s.App.Steps().Store.Read(context.Background(), func(r flow.Reads) error {
			session, err := r.Session(hash)
			at = session.LastSeenAt
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		return at
	}
	begin := s.Clock.Now()
	s.Clock.Pass(59 * time.Second)
	c.Get("/account").Status(http.StatusOK)
	if got := seen(); !got.Equal(begin) {
		t.Errorf("within a minute it is noted anew: %s", got)
	}
	s.Clock.Pass(time.Second)
	c.Get("/account").Status(http.StatusOK)
	if got := seen(); !got.Equal(begin.Add(time.Minute)) {
		t.Errorf("after a minute: %s, want %s", got, begin.Add(time.Minute))
	}
}

func TestCookieFlags(t *testing.T) {
	for _, test := range []struct {
		name, base, cookie string
		secure             bool
	}{
		{"https", "https://portal.example.org", "__Host-farbay", true},
		{"http", "", "farbay", false},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := servertest.New(t, func(c *server.Config) { c.BaseURL = test.base })
			r := s.Client().Post(s.Link(s.Owner, "/"), nil).Redirects("/")
			var found *http.Cookie
			for _, c := range r.Cookies() {
				if c.Name == test.cookie {
					found = c
				}
			}
			if found == nil {
				t.Fatalf("no cookie %s in %v", test.cookie, r.Cookies())
			}
			// RFC 6265bis, section 4.1.3.2: a __Host- cookie is Secure, has the
			// path "/" and no Domain.
			if found.Secure != test.secure || !found.HttpOnly || found.SameSite != http.SameSiteLaxMode || found.Path != "/" || found.Domain != "" {
				t.Errorf("cookie is %s", found)
			}
			hsts := r.Header.Get("Strict-Transport-Security")
			if (hsts != "") != test.secure {
				t.Errorf("Strict-Transport-Security is %q", hsts)
			}
		})
	}
}

func TestHeaders(t *testing.T) {
	s := servertest.New(t)
	want := map[string]string{
		"Content-Security-Policy": "default-src 'none'; img-src 'self' data: blob:; media-src 'self'; style-src 'self'; script-src 'self'; " +
			"font-src 'self'; connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; frame-ancestors 'none'; base-uri 'none'",
		"X-Content-Type-Options":       "nosniff",
		"Referrer-Policy":              "same-origin",
		"Cross-Origin-Opener-Policy":   "same-origin",
		"Cross-Origin-Resource-Policy": "same-origin",
		"Cache-Control":                "private, no-store",
	}
	c := s.As(s.Office)
	for _, r := range []*servertest.Reply{
		c.Get("/people").Status(http.StatusOK), s.Client().Get("/sign-in").Status(http.StatusOK),
		c.Get("/no-such-page").Status(http.StatusNotFound), s.Client().Get("/people").Status(http.StatusSeeOther),
	} {
		for name, value := range want {
			if got := r.Header.Get(name); got != value {
				t.Errorf("%s: %s is %q, want %q", r.Request.URL.Path, name, got, value)
			}
		}
		if r.Header.Get("X-Request-Id") == "" || r.Header.Get("Permissions-Policy") == "" {
			t.Errorf("%s: headers %v", r.Request.URL.Path, r.Header)
		}
	}

	page := c.Get("/people")
	styles, err := htmlcheck.Values(page.Body, `link[rel=stylesheet]`, "href")
	if err != nil || len(styles) == 0 {
		t.Fatalf("style sheets: %v, %v", styles, err)
	}
	sheet := s.Client().Get(styles[0]).Status(http.StatusOK)
	if got := sheet.Header.Get("Cache-Control"); got != "public, max-age=31536000, immutable" {
		t.Errorf("a style sheet's Cache-Control is %q", got)
	}
	s.Client().Get("/static/0000000000000000/" + strings.SplitN(styles[0], "/", 4)[3]).Status(http.StatusNotFound)

	zipped := s.Client().Send(http.MethodGet, styles[0], "", nil, func(r *http.Request) { r.Header.Set("Accept-Encoding", "gzip") })
	if zipped.Status(http.StatusOK).Header.Get("Content-Encoding") != "gzip" || len(zipped.Body) >= len(sheet.Body) {
		t.Errorf("a style sheet of %d bytes is sent in %d, encoding %q", len(sheet.Body), len(zipped.Body), zipped.Header.Get("Content-Encoding"))
	}
}

func TestOtherSitesAreRefused(t *testing.T) {
	s := servertest.New(t)
	c := s.As(s.Office)
	form := "name=Ada+Fell&email=ada@people.example&role=floor"
	tests := []struct {
		name   string
		change func(*http.Request)
		want   int
	}{
		{"another site, by Sec-Fetch-Site", func(r *http.Request) {
			r.Header.Set("Sec-Fetch-Site", "cross-site")
			r.Header.Set("Origin", "https://evil.example")
		}, http.StatusForbidden},
		{"a sister site", func(r *http.Request) { r.Header.Set("Sec-Fetch-Site", "same-site") }, http.StatusForbidden},
		{"an old browser, by Origin", func(r *http.Request) {
			r.Header.Del("Sec-Fetch-Site")
			r.Header.Set("Origin", "https://evil.example")
		}, http.StatusForbidden},
		{"a hidden origin", func(r *http.Request) { r.Header.Del("Sec-Fetch-Site"); r.Header.Set("Origin", "null") }, http.StatusForbidden},
		{"our own page", func(*http.Request) {}, http.StatusSeeOther},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			r := c.Send(http.MethodPost, "/people", "application/x-www-form-urlencoded", strings.NewReader(form), test.change)
			r.Status(test.want)
			there := strings.Contains(c.Get("/people").Status(http.StatusOK).Body, "ada@people.example")
			if there != (test.want == http.StatusSeeOther) {
				t.Errorf("the person is there: %v", there)
			}
		})
	}
}

func TestExpiredSessionKeepsTheForm(t *testing.T) {
	s := servertest.New(t)
	path := "/people/" + string(s.Floor.ID)
	typed := url.Values{"name": {"Fenn Askew the Elder <b>&"}, "email": {s.Floor.Email}, "role": {"floor"}, "password": {"not for keeping"}}

	c := s.As(s.Office)
	s.Clock.Pass(60 * 24 * time.Hour)
	r := c.Send(http.MethodPost, path, "application/x-www-form-urlencoded", strings.NewReader(typed.Encode()), func(r *http.Request) {
		r.Header.Set("Referer", s.URL+path)
	})
	r.Status(http.StatusUnauthorized).Says("nothing was recorded").Says("What you typed is kept")
	r.Check(htmlcheck.In(`a[href^="/sign-in?next="]`, htmlcheck.HasAttr("href", "(?i)"+url.QueryEscape(path)+"$")))
	if strings.Contains(r.Body, "not for keeping") {
		t.Error("a password is shown")
	}

	// Signed in again in the same browser, it is back; once taken, it is gone.
	c.Post(s.Link(s.Office, path), nil).Redirects(path)
	for range 2 { // reloading loses nothing
		c.Get(path).Status(http.StatusOK).Check(htmlcheck.In(`input[name=name]`, htmlcheck.HasAttr("value", "^Fenn Askew the Elder <b>&$")))
	}
	s.As(s.Office).Get(path).Check(htmlcheck.In(`input[name=name]`, htmlcheck.HasAttr("value", "^Fenn Askew$")))
	c.Post(path, url.Values{"name": {"Fenn Askew II"}, "email": {s.Floor.Email}, "role": {"floor"}}).Redirects(path)
	c.Get(path).Check(htmlcheck.In(`input[name=name]`, htmlcheck.HasAttr("value", "^Fenn Askew II$")))

	t.Run("kept for nobody else", func(t *testing.T) {
		c := s.As(s.Office)
		s.Clock.Pass(60 * 24 * time.Hour)
		c.Post(path, typed).Status(http.StatusUnauthorized)
		other := s.Add(journal.Office, "Maud Tyne")
		c.Post(s.Link(other, "/"), nil).Redirects("/")
		c.Get(path).Check(htmlcheck.In(`input[name=name]`, htmlcheck.HasAttr("value", "^Fenn Askew II$")))
	})
	t.Run("not without a session", func(t *testing.T) {
		r := s.Client().Post(path, typed).Status(http.StatusUnauthorized)
		if len(r.Cookies()) != 0 {
			t.Errorf("cookies for a stranger: %v", r.Cookies())
		}
	})
	t.Run("not above 64 KB", func(t *testing.T) {
		c := s.As(s.Office)
		s.Clock.Pass(60 * 24 * time.Hour)
		r := c.Post(path, url.Values{"name": {strings.Repeat("long text ", 7000)}}).Status(http.StatusUnauthorized)
		if len(r.Cookies()) != 0 {
			t.Errorf("cookies for a form too large to keep: %v", r.Cookies())
		}
	})
	t.Run("run out", func(t *testing.T) {
		c := s.As(s.Office)
		s.Clock.Pass(60 * 24 * time.Hour)
		c.Post(path, typed).Status(http.StatusUnauthorized)
		s.Clock.Pass(25 * time.Hour)
		c.Post(s.Link(s.Office, "/"), nil).Redirects("/")
		c.Get(path).Check(htmlcheck.In(`input[name=name]`, htmlcheck.HasAttr("value", "^Fenn Askew II$")))
	})
}

func TestSignedOutData(t *testing.T) {
	s := servertest.New(t)
	asData := func(r *http.Request) { r.Header.Set("Accept", "application/json") }
	r := s.Client().Send(http.MethodGet, "/account", "", nil, asData).Status(http.StatusUnauthorized)
	if !strings.HasPrefix(r.Header.Get("Content-Type"), "application/json") || !strings.Contains(r.Body, `"code":"signed out"`) {
		t.Errorf("answer is %s: %s", r.Header.Get("Content-Type"), r.Body)
	}
}
