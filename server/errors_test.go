package server_test

import (
	"encoding/json"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"farbay/server"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

func TestFailures(t *testing.T) {
	s := servertest.New(t)
	office, owner := s.As(s.Office), s.As(s.Owner)
	form := "application/x-www-form-urlencoded"
	tests := []struct {
		name, reason string
		reply        func(change func(*http.Request)) *servertest.Reply
		status       int
		code, says   string
	}{
		{"no such address", "", func(f func(*http.Request)) *servertest.Reply {
			return office.Send("GET", "/nowhere", "", nil, f)
		}, http.StatusNotFound, "not found", "There is no such page."},
		{"no such act", "what can only be posted is not there for reading", func(f func(*http.Request)) *servertest.Reply {
			return office.Send("GET", "/sign-out", "", nil, f)
		}, http.StatusNotFound, "not found", "nothing to do at this address"},
		{"no such build", "the same for builds that are not and that are not one's own", func(f func(*http.Request)) *servertest.Reply {
			return owner.Send("GET", "/builds/none", "", nil, f)
		}, http.StatusNotFound, "not found", "There is no such build."},
		{"not for owners", "", func(f func(*http.Request)) *servertest.Reply {
			return owner.Send("GET", "/people", "", nil, f)
		}, http.StatusForbidden, "forbidden", "Only the office can do this"},
		{"too much typed, and said so", "Content-Length is believed", func(f func(*http.Request)) *servertest.Reply {
			return office.Send("POST", "/people", form, strings.NewReader("name="+strings.Repeat("x", 1<<20)), f)
		}, http.StatusRequestEntityTooLarge, "too large", "larger than this page takes"},
		{"too much typed, bit by bit", "without Content-Length it is counted", func(f func(*http.Request)) *servertest.Reply {
			return office.Send("POST", "/people", form, struct{ *strings.Reader }{strings.NewReader("name=" + strings.Repeat("x", 1<<20))}, func(r *http.Request) {
				r.ContentLength = -1
				f(r)
			})
		}, http.StatusRequestEntityTooLarge, "too large", "larger than this page takes"},
		{"cannot be read", "a stray % is no form", func(f func(*http.Request)) *servertest.Reply {
			return office.Send("POST", "/people", form, strings.NewReader("name=%zz"), f)
		}, http.StatusUnprocessableEntity, "invalid", "could not be read"},
		{"too late", "", func(f func(*http.Request)) *servertest.Reply {
			return office.Send("POST", "/people/"+string(s.Office.ID)+"/end", form, nil, f)
		}, http.StatusConflict, "conflict", "You cannot end your own account"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			page := test.reply(func(*http.Request) {}).Status(test.status).Says(test.says)
			page.Check(htmlcheck.In("h1"), htmlcheck.In("main a[href]"))
			data := test.reply(func(r *http.Request) { r.Header.Set("Accept", "application/json") }).Status(test.status)
			var got struct{ Code, Error, Request string }
			if err := json.Unmarshal([]byte(data.Body), &got); err != nil || got.Code != test.code || !strings.Contains(got.Error, test.says) {
				t.Errorf("%s: as JSON: %v, %s", test.reason, err, data.Body)
			}
			if got.Request == "" || got.Request != data.Header.Get("X-Request-Id") {
				t.Errorf("request id %q in the body, %q in the header", got.Request, data.Header.Get("X-Request-Id"))
			}
		})
	}
}

// What is nobody's business stays in the log: the reader gets a sentence and
// an id, the log the cause under the same id.
func TestInternalFailuresStayInside(t *testing.T) {
	cfg := server.Default()
	cfg.DataDir = t.TempDir()
	log := &servertest.Log{}
	app, err := server.Open(cfg, server.WithLog(testLog(log)))
	if err != nil {
		t.Fatal(err)
	}
	if err := app.Close(); err != nil { // from here on the database is gone
		t.Fatal(err)
	}
	for _, accept := range []string{"text/html", "application/json"} {
		r := httptest.NewRequest("POST", "/sign-in/link", strings.NewReader("email=a@b.example"))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Accept", accept)
		w := httptest.NewRecorder()
		app.Handler().ServeHTTP(w, r)
		body := w.Body.String()
		if w.Code != http.StatusInternalServerError && w.Code != http.StatusServiceUnavailable {
			t.Errorf("%s: status %d", accept, w.Code)
		}
		for _, inside := range []string{"sql", "store.", "database is closed", "farbay.db", "goroutine"} {
			if strings.Contains(strings.ToLower(body), inside) {
				t.Errorf("%s: the answer tells %q: %s", accept, inside, body)
			}
		}
		id := w.Header().Get("X-Request-Id")
		if id == "" || !strings.Contains(log.All(), id) || !strings.Contains(log.All(), "closed") {
			t.Errorf("%s: the log does not tell the cause of request %s:\n%s", accept, id, log.All())
		}
	}
	w := httptest.NewRecorder()
	app.Handler().ServeHTTP(w, httptest.NewRequest("GET", "/healthz", nil))
	if w.Code != http.StatusServiceUnavailable {
		t.Errorf("healthz without a database: status %d", w.Code)
	}
}

func testLog(to io.Writer) *slog.Logger {
	return slog.New(slog.NewTextHandler(to, &slog.HandlerOptions{Level: slog.LevelDebug}))
}

func TestHealth(t *testing.T) {
	s := servertest.New(t)
	r := s.Client().Get("/healthz").Status(http.StatusOK)
	if strings.TrimSpace(r.Body) != `{"status":"ok"}` {
		t.Errorf("healthz: %s", r.Body)
	}
}

// Tokens of links are secrets; the log does not have them.
func TestLogHasNoSecrets(t *testing.T) {
	s := servertest.New(t)
	link := s.Link(s.Owner, "/")
	c := s.Client()
	c.Get(link).Status(http.StatusOK)
	c.Post(link, nil).Status(http.StatusSeeOther)
	c.Post("/sign-in", map[string][]string{"email": {s.Floor.Email}, "password": {"seven rusty hinges"}}).Status(http.StatusUnauthorized)
	token := strings.TrimPrefix(link, "/enter/")
	for name, secret := range map[string]string{"link": token, "session": cookieOf(t, s, c).Value, "password": "rusty"} {
		if strings.Contains(s.Log.All(), secret) {
			t.Errorf("the log has the %s's secret", name)
		}
	}
	if !strings.Contains(s.Log.All(), "path=/enter/-") {
		t.Errorf("the log lacks the request:\n%s", s.Log.All())
	}
}

func TestPeople(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	office.Post("/people", map[string][]string{"name": {" Ada Fell "}, "email": {"Ada@People.example"}, "phone": {"555 0199"}, "role": {"floor"}}).Redirects("/people")
	office.Get("/people").Status(http.StatusOK).Says("Ada Fell is added; a link to set a password is on its way to ada@people.example").Says("Ada Fell")
	s.Settle()
	if n := len(s.Mail.To("ada@people.example")); n != 1 {
		t.Errorf("%d letters, want the invitation", n)
	}
	refused := office.Post("/people", map[string][]string{"name": {"<i>Bo</i>"}, "email": {"ada@people.example"}, "phone": {"1"}, "role": {"owner"}})
	refused.Status(http.StatusUnprocessableEntity).Says("Ada Fell has an account with this address already").
		Check(htmlcheck.In("input[name=name]", htmlcheck.HasAttr("value", "^<i>Bo</i>$")), htmlcheck.In("input[name=phone]", htmlcheck.HasAttr("value", "^1$")))

	path := "/people/" + string(s.Owner.ID)
	office.Get(path).Status(http.StatusOK).Says(s.Owner.Name)
	office.Post(path, map[string][]string{"name": {"Orla W. Wintle"}, "email": {s.Owner.Email}, "role": {"office"}}).
		Status(http.StatusUnprocessableEntity).Says("cannot become one of the shop").
		Check(htmlcheck.In("input[name=name]", htmlcheck.HasAttr("value", "^Orla W. Wintle$")))
	office.Post(path, map[string][]string{"name": {"Orla W. Wintle"}, "email": {s.Owner.Email}, "role": {"owner"}}).Redirects(path)
	office.Get(path).Says("Orla W. Wintle")
	office.Post("/people/"+string(s.Office.ID), map[string][]string{"name": {"O"}, "email": {s.Office.Email}, "role": {"floor"}}).
		Status(http.StatusUnprocessableEntity).Says("last office account")
	office.Get("/people/none").Status(http.StatusNotFound)

	office.Post(path+"/link", nil).Redirects(path)
	s.Settle()
	letters := s.Mail.To(s.Owner.Email)
	if len(letters) != 1 {
		t.Fatalf("%d letters to the owner", len(letters))
	}
	if _, err := s.LinkIn(letters[0], "/enter/"); err != nil {
		t.Error(err)
	}
	office.Post(path+"/end", nil).Redirects(path)
	office.Post(path+"/link", nil).Status(http.StatusConflict).Says("has been closed")
}
