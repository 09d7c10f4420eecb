package server_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

const goodPassword = "seven rusty hinges"

// withPassword gives a person of the shop a password, by the link they are
// sent, and returns the link.
func withPassword(t *testing.T, s *servertest.Server, p journal.Person) string {
	t.Helper()
	s.As(s.Office).Post("/people/"+string(p.ID)+"/link", nil).Status(http.StatusSeeOther)
	s.Settle()
	letters := s.Mail.To(p.Email)
	if len(letters) == 0 {
		t.Fatalf("no letter to %s", p.Email)
	}
	link, err := s.LinkIn(letters[len(letters)-1], "/set-password/")
	if err != nil {
		t.Fatal(err)
	}
	s.Client().Post(link, url.Values{"password": {goodPassword}}).Redirects("/")
	return link
}

func TestStaffSignInWithPassword(t *testing.T) {
	s := servertest.New(t)
	link := withPassword(t, s, s.Floor)

	c := s.Client()
	c.Get("/account").Redirects("/sign-in?next=%2Faccount")
	c.Get("/sign-in?next=%2Faccount").Status(http.StatusOK).
		Check(htmlcheck.In(`form[action="/sign-in"]`, htmlcheck.In(`input[name=next]`, htmlcheck.HasAttr("value", "^/account$"))))
	c.Post("/sign-in", url.Values{"email": {" " + strings.ToUpper(s.Floor.Email) + " "}, "password": {goodPassword}, "next": {"/account"}}).
		Redirects("/account")
	c.Get("/account").Status(http.StatusOK).Says(s.Floor.Name).Says("e-mail and password")
	c.Get("/sign-in").Redirects("/")

	c.Post("/sign-out", nil).Redirects("/sign-in")
	c.Get("/account").Status(http.StatusSeeOther)

	// The link that set the password is used up.
	s.Client().Get(link).Status(http.StatusConflict).Says("used already")
	s.Client().Post(link, url.Values{"password": {goodPassword}}).Status(http.StatusConflict)
}

func TestWrongSignInsLookAlike(t *testing.T) {
	s := servertest.New(t)
	withPassword(t, s, s.Floor)
	closed := s.Add(journal.Floor, "Wes Tarn")
	withPassword(t, s, closed)
	s.As(s.Office).Post("/people/"+string(closed.ID)+"/end", nil).Status(http.StatusSeeOther)

	tests := []struct{ name, email, password string }{
		{"wrong password", s.Floor.Email, "seven rusty hinge"},
		{"unknown address", "nobody@people.example", goodPassword},
		{"no password set", s.Office.Email, goodPassword},
		{"an owner has none", s.Owner.Email, ""},
		{"closed account", closed.Email, goodPassword},
		{"nothing typed", "", ""},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			c := s.Client()
			r := c.Post("/sign-in", url.Values{"email": {test.email}, "password": {test.password}}).Status(http.StatusUnauthorized)
			r.Says("do not belong together")
			r.Check(htmlcheck.In(`input[name=email][value="` + test.email + `"]`))
			if strings.Contains(r.Body, goodPassword) {
				t.Error("the password comes back in the page")
			}
			if len(r.Cookies()) != 0 {
				t.Errorf("cookies are set: %v", r.Cookies())
			}
		})
	}
}

func TestSignInAttemptsAreLimited(t *testing.T) {
	s := servertest.New(t)
	withPassword(t, s, s.Floor)
	from := func(address string) func(*http.Request) {
		return func(r *http.Request) { r.Header.Set("X-Forwarded-For", address) }
	}
	try := func(email, password, address string) int {
		form := url.Values{"email": {email}, "password": {password}}
		return s.Client().Send(http.MethodPost, "/sign-in", "application/x-www-form-urlencoded",
			strings.NewReader(form.Encode()), from(address)).StatusCode
	}

	// One account, guessed at from everywhere: 8 guesses, then none.
	for i := range 8 {
		if got := try(s.Floor.Email, "a guess at it all", fmt.Sprintf("198.51.100.%d", i)); got != http.StatusUnauthorized {
			t.Fatalf("guess %d: status %d", i+1, got)
		}
	}
	if got := try(s.Floor.Email, goodPassword, "198.51.100.200"); got != http.StatusTooManyRequests {
		t.Fatalf("guess 9, even the right one: status %d, want 429", got)
	}
	s.Clock.Pass(2 * time.Minute)
	if got := try(s.Floor.Email, goodPassword, "198.51.100.200"); got != http.StatusSeeOther {
		t.Fatalf("after two minutes: status %d, want in", got)
	}

	// Many accounts, guessed at from one network: 30 guesses, then none. IPv6
	// addresses of one /64 are one network.
	for i := range 30 {
		if got := try(fmt.Sprintf("p%d@people.example", i), "x", fmt.Sprintf("2001:db8:1:2::%x", i+1)); got != http.StatusUnauthorized {
			t.Fatalf("network guess %d: status %d", i+1, got)
		}
	}
	r := s.Client().Send(http.MethodPost, "/sign-in", "application/x-www-form-urlencoded",
		strings.NewReader("email=q@people.example&password=x"), from("2001:db8:1:2:ffff::1"))
	r.Status(http.StatusTooManyRequests).Says("too many attempts. Please try again")
	if got := try("q@people.example", "x", "2001:db8:1:3::1"); got != http.StatusUnauthorized {
		t.Fatalf("another network: status %d", got)
	}
}

func TestOwnerSignsInWithLink(t *testing.T) {
	s := servertest.New(t)
	c := s.Client()
	r := c.Post("/sign-in/link", url.Values{"email": {s.Owner.Email}, "next": {"/account"}}).Status(http.StatusOK)
	unknown := s.Client().Post("/sign-in/link", url.Values{"email": {"nobody@people.example"}, "next": {"/account"}}).Status(http.StatusOK)
	if a, b := r.Body, strings.ReplaceAll(unknown.Body, "nobody@people.example", s.Owner.Email); a != b {
		t.Error("the answer tells a known address from an unknown one")
	}
	s.Settle()
	if n := len(s.Mail.To("nobody@people.example")); n != 0 {
		t.Errorf("%d letters to an unknown address", n)
	}
	letters := s.Mail.To(s.Owner.Email)
	if len(letters) != 1 {
		t.Fatalf("%d letters to the owner, want 1", len(letters))
	}
	link, err := s.LinkIn(letters[0], "/enter/")
	if err != nil {
		t.Fatal(err)
	}
	for range 3 { // mail scanners look; looking uses nothing up
		s.Client().Get(link).Status(http.StatusOK).Check(htmlcheck.In(`form[method=post][action="` + link + `"]`))
	}
	c.Post(link, nil).Redirects("/account")
	c.Get("/account").Status(http.StatusOK).Says("single-use link for " + s.Owner.Email)
	s.Client().Post(link, nil).Status(http.StatusConflict).Says("used already; each works once")

	late := s.Link(s.Owner, "/")
	s.Clock.Pass(30 * time.Minute)
	s.Client().Post(late, nil).Status(http.StatusConflict).Says("run out")
	s.Client().Post("/enter/"+strings.Repeat("x", 43), nil).Status(http.StatusNotFound)

	// A sign-in link does not set a password.
	fresh := s.Link(s.Floor, "/")
	s.Client().Get(strings.Replace(fresh, "/enter/", "/set-password/", 1)).Status(http.StatusNotFound)

	// Three letters to one mailbox, then a pause.
	for range 3 {
		c.Post("/sign-in/link", url.Values{"email": {s.Owner.Email}}).Status(http.StatusOK)
	}
	c.Post("/sign-in/link", url.Values{"email": {s.Owner.Email}}).Status(http.StatusTooManyRequests).Says("too many attempts")
}

func TestLinkRace(t *testing.T) {
	s := servertest.New(t)
	link := s.Link(s.Owner, "/")
	const racers = 20
	codes := make([]int, racers)
	var all sync.WaitGroup
	for i := range racers {
		c := s.Client()
		all.Go(func() { codes[i] = c.Post(link, nil).StatusCode })
	}
	all.Wait()
	in := 0
	for _, code := range codes {
		switch code {
		case http.StatusSeeOther:
			in++
		case http.StatusConflict:
		default:
			t.Errorf("status %d", code)
		}
	}
	if in != 1 {
		t.Errorf("%d of %d got in with one link, want 1", in, racers)
	}
}

func TestNextLeadsNowhereElse(t *testing.T) {
	s := servertest.New(t)
	// Forms of open redirect: OWASP Unvalidated Redirects and Forwards Cheat
	// Sheet; "\" counts as "/" in URLs of special schemes (WHATWG URL, section
	// 4.4, relative state), and tabs and newlines are dropped (section 4.4).
	for _, next := range []string{
		"https://evil.example/", "//evil.example/", "/\\evil.example", "\\\\evil.example", "/\t/evil.example",
		"/%2f/evil.example\n", "javascript:alert(1)", "evil.example", "///evil.example", "/\r\nSet-Cookie: a=b",
	} {
		t.Run(next, func(t *testing.T) {
			s.Client().Post(s.Link(s.Owner, next), nil).Redirects("/")
			page := s.Client().Get("/sign-in?next=" + url.QueryEscape(next)).Status(http.StatusOK)
			values, err := htmlcheck.Values(page.Body, "input[name=next]", "value")
			if err != nil {
				t.Fatal(err)
			}
			for _, value := range values {
				if value != "" {
					t.Errorf("the form carries next=%q", value)
				}
			}
		})
	}
	s.Client().Post(s.Link(s.Owner, "/builds/b1/papers?x=1#y"), nil).Redirects("/builds/b1/papers?x=1#y")
}
