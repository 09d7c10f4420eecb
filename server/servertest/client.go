package servertest

import (
	"context"
	"crypto/rand"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server/htmlcheck"
)

// Client is one browser. It keeps cookies and follows no redirects.
type Client struct {
	tb   testing.TB
	base string
	HTTP *http.Client
}

// Client returns a browser with nobody signed in.
func (s *Server) Client() *Client {
	s.tb.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		s.tb.Fatalf("servertest: %v", err)
	}
	transport := &http.Transport{}
	s.tb.Cleanup(transport.CloseIdleConnections)
	return &Client{tb: s.tb, base: s.URL, HTTP: &http.Client{
		Jar: jar, Transport: transport, Timeout: time.Minute,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
	}}
}

// As returns a browser in which p has signed in, with a single-use link.
func (s *Server) As(p journal.Person) *Client {
	s.tb.Helper()
	c := s.Client()
	c.Post(s.Link(p, "/"), nil).Redirects("/")
	return c
}

// Link makes a sign-in link for p, whatever their role, and returns its path.
func (s *Server) Link(p journal.Person, next string) string {
	s.tb.Helper()
	path, err := s.App.Steps().MakeLink(context.Background(), Setter, p.ID, flow.NewLink{
		Token: rand.Text() + rand.Text(), Purpose: journal.LinkSignIn, Next: next, Life: 30 * time.Minute,
	})
	if err != nil {
		s.tb.Fatalf("servertest: link for %s: %v", p.Name, err)
	}
	return path
}

// Get asks for a path.
func (c *Client) Get(path string) *Reply {
	c.tb.Helper()
	return c.Send(http.MethodGet, path, "", nil)
}

// Post sends a form, as a browser does from a page of the same site.
func (c *Client) Post(path string, form url.Values) *Reply {
	c.tb.Helper()
	return c.Send(http.MethodPost, path, "application/x-www-form-urlencoded", strings.NewReader(form.Encode()))
}

// Send sends any request; change may add headers to it.
func (c *Client) Send(method, path, contentType string, body io.Reader, change ...func(*http.Request)) *Reply {
	c.tb.Helper()
	r, err := http.NewRequestWithContext(context.Background(), method, c.base+path, body)
	if err != nil {
		c.tb.Fatalf("servertest: %s %s: %v", method, path, err)
	}
	if contentType != "" {
		r.Header.Set("Content-Type", contentType)
	}
	if method != http.MethodGet && method != http.MethodHead {
		r.Header.Set("Origin", c.base)
		r.Header.Set("Sec-Fetch-Site", "same-origin")
	}
	for _, f := range change {
		f(r)
	}
	got, err := c.HTTP.Do(r)
	if err != nil {
		c.tb.Fatalf("servertest: %s %s: %v", method, path, err)
	}
	defer got.Body.Close()
	text, err := io.ReadAll(got.Body)
	if err != nil {
		c.tb.Fatalf("servertest: %s %s: body: %v", method, path, err)
	}
	return &Reply{tb: c.tb, Response: got, Body: string(text)}
}

// Reply is an answer, read to its end.
type Reply struct {
	*http.Response
	Body string
	tb   testing.TB
}

// Status fails the test unless the answer has the status.
func (r *Reply) Status(want int) *Reply {
	r.tb.Helper()
	if r.StatusCode != want {
		r.tb.Fatalf("%s %s: status %d, want %d: %s", r.Request.Method, r.Request.URL.Path, r.StatusCode, want, Words(r.Body))
	}
	return r
}

// Redirects fails the test unless the answer is 303 See Other to the path.
func (r *Reply) Redirects(to string) *Reply {
	r.tb.Helper()
	r.Status(http.StatusSeeOther)
	if got := r.Header.Get("Location"); got != to {
		r.tb.Fatalf("%s %s: leads to %q, want %q", r.Request.Method, r.Request.URL.Path, got, to)
	}
	return r
}

// Check fails the test unless the page passes the checks.
func (r *Reply) Check(checks ...htmlcheck.Check) *Reply {
	r.tb.Helper()
	if err := htmlcheck.Run(r.Body, checks...); err != nil {
		r.tb.Fatalf("%s %s: %v", r.Request.Method, r.Request.URL.Path, err)
	}
	return r
}

// Says fails the test unless the page's text matches the pattern.
func (r *Reply) Says(pattern string) *Reply {
	r.tb.Helper()
	return r.Check(htmlcheck.In("body", htmlcheck.HasText(pattern)))
}

// Words returns the beginning of a page's text, for messages.
func Words(page string) string {
	values := strings.Join(strings.Fields(page), " ")
	if i := strings.Index(values, "<main"); i >= 0 {
		values = values[i:]
	}
	if len(values) > 1500 {
		values = values[:1500] + "…"
	}
	return values
}
