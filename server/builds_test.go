package server_test

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// heronForm is the form of a new build, filled in.
func heronForm(t *testing.T, office *servertest.Client) url.Values {
	t.Helper()
	return with(formIn(t, office.Get("/builds/new").Status(http.StatusOK), "/builds"),
		"nickname", "Heron", "year", "1971", "make", "Ostler", "model", "Fenman, short bed", "serial", "OF7-10442",
		"colour", "Marsh green", "odometer", "88,210", "arrived_on", "2026-04-09")
}

// beginHeron begins a build from the shipped plan and returns its address.
func beginHeron(t *testing.T, office *servertest.Client) string {
	t.Helper()
	at := office.Post("/builds", heronForm(t, office)).Status(http.StatusSeeOther).Header.Get("Location")
	if !strings.HasPrefix(at, "/builds/") || strings.Count(at, "/") != 2 {
		t.Fatalf("a new build leads to %q", at)
	}
	return at
}

// stagesOf returns the addresses of a build's stages, in order.
func stagesOf(t *testing.T, office *servertest.Client, at string) []string {
	t.Helper()
	stages, err := htmlcheck.Values(office.Get(at).Status(http.StatusOK).Body, ".coat-list a", "href")
	if err != nil || len(stages) == 0 {
		t.Fatalf("stages of %s: %q, %v", at, stages, err)
	}
	return stages
}

// agreed begins a build owned by s.Owner, with 1,000.00 of labour and 250.50 of
// parts on each stage and no deposit, and records its agreement.
func agreed(t *testing.T, s *servertest.Server, office *servertest.Client) string {
	t.Helper()
	at := beginHeron(t, office)
	office.Post(at+"/people", url.Values{"person": {string(s.Owner.ID)}, "as": {"owner"}}).Redirects(at + "/people")
	scope := formIn(t, office.Get(at+"/scope"), at+"/scope")
	stages := stagesOf(t, office, at)
	for i := range stages {
		scope.Set(fmt.Sprintf("stages.%d.labour", i), "1,000")
		scope.Set(fmt.Sprintf("stages.%d.parts", i), "250.5")
	}
	office.Post(at+"/scope", scope).Redirects(at + "/scope")
	office.Post(at+"/agreement", agreementOf(t, office, at, journal.Cents(len(stages)*125_050).String())).Redirects(at)
	return at
}

func agreementOf(t *testing.T, office *servertest.Client, at, total string) url.Values {
	t.Helper()
	return with(formIn(t, office.Get(at+"/scope"), at+"/agreement"),
		"agreed_on", "2026-04-13", "agreed_how", "signed on paper, in the file", "ready_on", "2026-12-18", "total", total)
}

func TestBeginBuild(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)

	page := office.Get(at).Status(http.StatusOK)
	page.Says("Heron has begun").Says("1971 Ostler Fenman, short bed").Says("OF7-10442").Says("being scoped").Says("Marsh green")
	// The shipped plan has 14 stages, see journal/flow's ShippedPlan.
	page.Check(htmlcheck.Count(".coat-list li", 14), htmlcheck.Count(".coats li", 14))
	page.Check(htmlcheck.In(".wait-list", htmlcheck.In(`a[href="`+at+`/scope"]`, htmlcheck.HasText("settle values and agreement"))))

	office.Get("/builds").Status(http.StatusOK).Says("Heron").Says("Being scoped")
	office.Get("/").Status(http.StatusOK).Says("One build is under way").Says("settle values and agreement")

	// The floor sees the same build, without money and without ways it may not go.
	floor := s.As(s.Floor)
	floor.Get("/").Status(http.StatusOK).Check(htmlcheck.In(`a.act[href="`+at+`/entries/new"]`, htmlcheck.HasText("Post photos")))
	floor.Get(at).Status(http.StatusOK).Says("settle values and agreement").
		Check(htmlcheck.NotIn(`a[href="`+at+`/scope"]`), htmlcheck.In("main", htmlcheck.HasNoText(`\$|Agreed, with signed changes`)))
	floor.Get(at + "/scope").Status(http.StatusForbidden)
	floor.Get("/builds/new").Status(http.StatusForbidden)
	floor.Post("/builds", heronForm(t, office)).Status(http.StatusForbidden)

	// Nobody outside the shop sees it before they are named.
	owner := s.As(s.Owner)
	owner.Get(at).Status(http.StatusNotFound)
	owner.Get("/").Status(http.StatusOK).Says("No truck is listed for you yet")
	office.Post(at+"/people", url.Values{"person": {string(s.Owner.ID)}, "as": {"owner"}}).Redirects(at + "/people")
	owner.Get("/").Redirects(at)
	owner.Get(at).Status(http.StatusOK).Says("Heron")
}

func TestBeginBuild_refusesAndKeeps(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	beginHeron(t, office)
	filled := with(heronForm(t, office), "nickname", "Juniper")
	// Text that is not only letters comes back as it was typed: markup, emoji,
	// right-to-left.
	odd := with(filled, "model", `<b>Fenman</b> & "long"`, "colour", "🛻 أخضر", "serial", "שלד 12")
	tests := []struct {
		name  string
		form  url.Values
		field string
		says  string
	}{
		{"no nickname", with(odd, "nickname", " "), "nickname", "nickname"},
		{"nickname taken, whatever the case", with(odd, "nickname", "heron"), "nickname", "Another build"},
		{"no make", with(odd, "make", ""), "make", "make"},
		{"year in words", with(odd, "year", "'71"), "year", "between 1900 and 2100"},
		{"odometer with a unit", with(odd, "odometer", "88k"), "odometer", "at most 7 digits"},
		{"odometer grouped wrongly", with(odd, "odometer", "8,82,10"), "odometer", "at most 7 digits"},
		{"a day that does not exist", with(odd, "arrived_on", "2026-02-30"), "arrived_on", "day that exists"},
		{"no plan", with(odd, "plan", "none"), "plan", "stage plan"},
		{"a lead of another house", with(odd, "lead", string(s.Owner.ID)), "lead", "works in the shop"},
		{"a unit of nothing", with(odd, "unit", "leagues"), "unit", "miles or km"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			page := office.Post("/builds", test.form).Status(http.StatusUnprocessableEntity)
			page.Check(wrong(test.field, test.says))
			fields := []string{"nickname", "year", "make", "model", "serial", "odometer", "colour", "arrived_on"}
			keeps(t, page, "/builds", test.form, fields...)
		})
	}
	office.Get("/builds").Says("One build is under way")

	// The odd texts themselves are taken, and shown faithfully.
	at := office.Post("/builds", odd).Status(http.StatusSeeOther).Header.Get("Location")
	page := office.Get(at)
	page.Says(`<b>Fenman</b> & "long"`).Says("🛻 أخضر").Says("שלד 12").Check(htmlcheck.NotIn(".plate b"))
}

func TestEditBuild(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)
	first := formIn(t, office.Get(at+"/edit").Status(http.StatusOK), at+"/edit")
	second := with(first, "colour", "Reed yellow", "lead", string(s.Floor.ID))

	office.Post(at+"/edit", with(first, "colour", "River blue", "arrived_on", "")).Redirects(at)
	office.Get(at).Says("River blue")

	// Two at once: the later is told, and what they typed is still there.
	late := office.Post(at+"/edit", second).Status(http.StatusConflict).Says("Somebody else changed this build")
	keeps(t, late, at+"/edit", second, "colour", "lead", "arrived_on", "nickname")
	office.Get(at).Says("River blue")
	office.Post(at+"/edit", formIn(t, late, at+"/edit")).Redirects(at)
	office.Get(at).Says("Reed yellow").Says("Lead Fenn Askew")

	page := office.Post(at+"/edit", with(formIn(t, office.Get(at+"/edit"), at+"/edit"), "ready_on", "31.12.2026", "year", "71")).
		Status(http.StatusUnprocessableEntity)
	page.Check(wrong("ready_on", "day that exists"), wrong("year", "between 1900 and 2100"))
	keeps(t, page, at+"/edit", url.Values{"ready_on": {"31.12.2026"}, "year": {"71"}}, "ready_on", "year")
}

func TestEditBuild_leadWhoLeft(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)
	wes := s.Add(journal.Floor, "Wes Tarn")
	office.Post(at+"/edit", with(formIn(t, office.Get(at+"/edit"), at+"/edit"), "lead", string(wes.ID))).Redirects(at)
	office.Post("/people/"+string(wes.ID)+"/end", nil).Status(http.StatusSeeOther)

	// An edit of something else does not take the lead away.
	form := formIn(t, office.Get(at+"/edit"), at+"/edit")
	if form.Get("lead") != string(wes.ID) {
		t.Errorf("the form's lead is %q", form.Get("lead"))
	}
	office.Post(at+"/edit", with(form, "colour", "River blue")).Redirects(at)
	office.Get(at).Says("Lead Wes Tarn")
}

func TestDelivery(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := agreed(t, s, office)
	form := formIn(t, office.Get(at+"/edit"), at+"/edit")
	if form.Has("ready_on") {
		t.Error("the agreed date can be typed over")
	}
	tests := []struct{ name, day, says string }{
		{"a day to come", "2026-04-15", "still to come"}, // it is 14 April at the shop
		{"before the arrival", "2026-04-08", "arrived on 2026-04-09"},
		{"no day", "April", "day that exists"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			sent := with(form, "delivered_on", test.day)
			page := office.Post(at+"/edit", sent).Status(http.StatusUnprocessableEntity)
			page.Check(wrong("delivered_on", test.says))
			keeps(t, page, at+"/edit", sent, "delivered_on")
		})
	}
	office.Post(at+"/edit", with(form, "delivered_on", "2026-04-14")).Redirects(at)
	office.Get(at).Says("The delivery of Heron is recorded").Says("Heron is delivered")
	office.Get("/builds").Check(htmlcheck.In("section", htmlcheck.HasText("Delivered Heron 1971 Ostler Fenman, short bed, delivered 14 April")))

	form = formIn(t, office.Get(at+"/edit"), at+"/edit")
	page := office.Post(at+"/edit", with(form, "delivered_on", "")).Status(http.StatusUnprocessableEntity)
	page.Check(wrong("delivered_on", "day on which the truck left"))
}

func TestBuildPeople(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)
	people := at + "/people"
	office.Get(people).Status(http.StatusOK).Says("Nobody outside the shop sees this build")

	typed := url.Values{"person": {string(s.Owner.ID)}, "as": {"delegate"}, "named_by": {""}}
	page := office.Post(people, typed).Status(http.StatusUnprocessableEntity)
	page.Check(wrong("named_by", "named this delegate in writing"))
	keeps(t, page, people, typed, "person", "as")
	office.Post(people, url.Values{"person": {string(s.Floor.ID)}, "as": {"owner"}}).Status(http.StatusUnprocessableEntity).
		Check(wrong("person", "works for the shop"))

	office.Post(people, with(typed, "named_by", "letter of 3 March")).Redirects(people)
	page = office.Get(people).Says("Orla Wintle delegate").Says("Named by letter of 3 March")
	page.Says("Everybody with the role owner is on this build already")
	office.Post(people, with(typed, "as", "owner")).Status(http.StatusUnprocessableEntity)

	owner := s.As(s.Owner)
	owner.Get(at).Status(http.StatusOK)
	owner.Get(people).Status(http.StatusForbidden)
	office.Post(people+"/"+string(s.Owner.ID)+"/end", nil).Redirects(people)
	owner.Get(at).Status(http.StatusNotFound)
	office.Post(people+"/"+string(s.Owner.ID)+"/end", nil).Status(http.StatusNotFound)
}

// An owner of two trucks gets the list, with what waits of each.
func TestOwnerHome_severalTrucks(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	heron := agreed(t, s, office)
	form := with(heronForm(t, office), "nickname", "Bramble", "make", "Tolland")
	bramble := office.Post("/builds", form).Status(http.StatusSeeOther).Header.Get("Location")
	office.Post(bramble+"/people", url.Values{"person": {string(s.Owner.ID)}, "as": {"owner"}}).Status(http.StatusSeeOther)

	page := s.As(s.Owner).Get("/").Status(http.StatusOK).Says("My trucks")
	page.Check(htmlcheck.In(`a[href="`+heron+`"]`, htmlcheck.HasText("Heron")), htmlcheck.In(`a[href="`+bramble+`"]`, htmlcheck.HasText("Bramble")))
}

// What was typed outlives the session, on every form of a build.
func TestExpiredSessionKeepsOfficeForms(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)
	stage := stagesOf(t, office, at)[0]
	plans, err := htmlcheck.Values(office.Get("/plans").Body, "main li > span > a", "href")
	if err != nil || len(plans) != 1 {
		t.Fatalf("plans: %q, %v", plans, err)
	}
	forms := []struct{ page, action, field, text string }{
		{"/builds/new", "/builds", "make", "Calder"},
		{at + "/edit", at + "/edit", "colour", "River blue"},
		{at + "/scope", at + "/scope", "stages.3.labour", "4,200.00"},
		{at + "/terms", at + "/terms", "tax_parts", "6.25"},
		{stage + "/edit", stage + "/edit", "checks", "One check\r\nanother"},
		{plans[0], plans[0], "stages.2.days", "9"},
		{"/shop", "/shop", "closures", "2026-12-24 Winter break"},
	}
	for _, f := range forms {
		t.Run(f.field, func(t *testing.T) {
			c := s.As(s.Office)
			sent := with(formIn(t, c.Get(f.page).Status(http.StatusOK), f.action), f.field, f.text)
			if f.action == "/builds" {
				sent.Set("nickname", "Old Salt")
			}
			s.Clock.Pass(31 * 24 * time.Hour) // sessions end after 30 days without use
			c.Post(f.action, sent).Status(http.StatusUnauthorized).Says("kept")
			c.Post(s.Link(s.Office, f.page), nil).Redirects(f.page)
			keeps(t, c.Get(f.page).Status(http.StatusOK), f.action, with(sent, f.field, strings.ReplaceAll(f.text, "\r", "")), f.field)
			c.Post(f.action, sent).Status(http.StatusSeeOther)
			if again := formIn(t, c.Get(f.page), f.action); f.page == "/builds/new" && again.Get(f.field) == f.text {
				t.Error("the form is still kept after it was taken")
			}
		})
	}
}
