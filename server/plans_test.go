package server_test

import (
	"net/http"
	"net/url"
	"strings"
	"testing"

	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// shippedPlan returns the address of the plan that a new shop has.
func shippedPlan(t *testing.T, office *servertest.Client) string {
	t.Helper()
	plans, err := htmlcheck.Values(office.Get("/plans").Status(http.StatusOK).Body, "main li > span > a", "href")
	if err != nil || len(plans) != 1 {
		t.Fatalf("plans: %q, %v", plans, err)
	}
	return plans[0]
}

func TestCopyPlan(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	plan := shippedPlan(t, office)
	id := strings.TrimPrefix(plan, "/plans/")
	for _, name := range []string{"", "body-off RESTORATION", strings.Repeat("x", 81)} {
		page := office.Post("/plans", url.Values{"copy": {id}, "name": {name}}).Status(http.StatusUnprocessableEntity)
		page.Check(htmlcheck.In("details[open]", htmlcheck.In(".wrong"), htmlcheck.In(`input[name=name][value="`+name+`"]`)))
	}
	office.Post("/plans", url.Values{"copy": {"none"}, "name": {"Another"}}).Status(http.StatusNotFound)
	made := office.Post("/plans", url.Values{"copy": {id}, "name": {"Paint & trim only"}}).Status(http.StatusSeeOther).Header.Get("Location")
	office.Get(made).Status(http.StatusOK).Says("The copy is made").Says("Paint & trim only")
	office.Get("/plans").Says("Paint & trim only")

	// With two to choose from, none is chosen for the person.
	if plan := formIn(t, office.Get("/builds/new"), "/builds").Get("plan"); plan != "" {
		t.Errorf("plan %q is chosen", plan)
	}
	office.Get("/plans/none").Status(http.StatusNotFound)
}

func TestEditPlan(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	path := shippedPlan(t, office)
	read := formIn(t, office.Get(path).Status(http.StatusOK), path)

	// Moved, dropped, renamed, in one go.
	changed := with(read, "stages.5.number", "1.5", "stages.2.drop", "yes", "stages.0.name", "Came in", "stages.0.checks", "One\r\n\r\n Two ")
	office.Post(path, changed).Redirects(path)
	page := office.Get(path).Says("The plan is saved").Says("13 stages")
	shown := formIn(t, page, path)
	if shown.Get("stages.0.name") != "Came in" || shown.Get("stages.1.name") != read.Get("stages.5.name") ||
		shown.Get("stages.2.name") != read.Get("stages.1.name") || shown.Get("stages.3.name") != read.Get("stages.3.name") {
		t.Errorf("order: %q, %q, %q, %q", shown.Get("stages.0.name"), shown.Get("stages.1.name"), shown.Get("stages.2.name"), shown.Get("stages.3.name"))
	}
	if got := shown.Get("stages.0.checks"); got != "One\nTwo" {
		t.Errorf("checks are %q", got)
	}

	late := office.Post(path, with(read, "stages.1.days", "11", "name", "Ours")).Status(http.StatusConflict).Says("Somebody else changed this plan")
	keeps(t, late, path, with(read, "stages.1.days", "11", "name", "Ours"), "stages.1.days", "name", "stages.13.name")
	office.Post(path, formIn(t, late, path)).Redirects(path)
	office.Get(path).Says("14 stages")

	// One more, at the end.
	more := office.Post(path, with(formIn(t, office.Get(path), path), "do", "add"))
	more.Redirects(path + "?more=1#f-stages.14.name")
	form := formIn(t, office.Get(path+"?more=1"), path)
	office.Post(path, with(form, "stages.14.name", "Undercoat", "stages.14.days", "2")).Redirects(path)
	office.Get(path).Says("15 stages").Says("15. Undercoat")
}

// What is wrong stands beside the line it was typed in, wherever that line is
// to move.
func TestEditPlan_refusesAndKeeps(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	path := shippedPlan(t, office)
	read := with(formIn(t, office.Get(path), path), "stages.13.number", "0.5", "stages.1.drop", "yes", "stages.3.name", "Body 🛻 <off>")
	tests := []struct{ field, text, says string }{
		{"name", " ", "name"},
		{"stages.0.number", "first", "such as 3 or 3.5"},
		{"stages.12.days", "0", "between 1 and 400"},
		{"stages.12.days", "", "between 1 and 400 working days"},
		{"stages.12.name", "", "name this stage"},
		{"stages.13.name", strings.Repeat("x", 61), "at most 60"},
		{"stages.13.photos", "many", "whole number"},
		{"stages.12.checks", "Twice\nTwice", "listed twice"},
		{"stages.12.cautions", strings.Repeat("c", 401), "at most 400"},
	}
	for _, test := range tests {
		t.Run(test.field+" "+test.text[:min(len(test.text), 12)], func(t *testing.T) {
			sent := with(read, test.field, test.text)
			page := office.Post(path, sent).Status(http.StatusUnprocessableEntity).Check(wrong(test.field, test.says))
			keeps(t, page, path, sent, test.field, "stages.13.number", "stages.3.name", "version")
			page.Check(htmlcheck.In(`input[name="stages.1.drop"][checked]`))
		})
	}
	both := with(read, "stages.0.number", "first", "stages.4.days", "")
	office.Post(path, both).Status(http.StatusUnprocessableEntity).
		Check(wrong("stages.0.number", "such as 3"), wrong("stages.4.days", "between 1 and 400 working days"))

	all := with(read)
	for i := range 14 {
		all.Set("stages."+string(rune('0'+i%10))+".drop", "yes")
		all.Set("stages.1"+string(rune('0'+i%4))+".drop", "yes")
	}
	office.Post(path, all).Status(http.StatusUnprocessableEntity).Check(wrong("stages", "between 1 and 40 stages"))
	office.Get(path).Says("14 stages")
}
