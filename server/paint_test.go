package server_test

import (
	"encoding/csv"
	"net/http"
	"net/url"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// mixForm is 600 mL of 4:1:1 by volume with densities 1.00, 1.06 and 0.87: 400, 106
// and 87 g; see package coating's tests.
func mixForm(id string) url.Values {
	return url.Values{
		"id": {id}, "do": {"start"}, "product": {"Two-part clear"}, "colour": {"clear"}, "lot": {"L-2291"}, "for": {"hood"}, "by": {"volume"}, "densities": {"g/mL"},
		"step": {"0.1"}, "amount": {"600"}, "unit": {"mL"}, "components.0.name": {"Clear"}, "components.0.parts": {"4"}, "components.0.density": {"1"},
		"components.2.name": {"Hardener"}, "components.2.parts": {"1"}, "components.2.density": {"1.06"},
		"components.4.name": {"Reducer"}, "components.4.parts": {"1"}, "components.4.density": {".87"},
	}
}

func TestMix_BesideTheScale(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	floor, stage := s.As(s.Floor), "/builds/"+string(b.ID)+"/stages/"+string(b.Open)
	floor.Get(stage).Status(http.StatusOK).Check(htmlcheck.In("#paint", htmlcheck.HasText("One mix")))

	// What is wrong is told at once, and what was typed stays.
	wrong := mixForm("mix-form-0000000000000001")
	wrong.Set("for", "")
	wrong.Set("components.2.density", "8,8")
	reply := floor.Post(stage+"/mix", wrong).Status(http.StatusUnprocessableEntity)
	for _, want := range []string{`value="8,8"`, `value="Two-part clear"`, `id="f-for-problem"`, `id="f-components.1.density-problem"`} {
		if !strings.Contains(reply.Body, want) {
			t.Errorf("the refused form lacks %s", want)
		}
	}
	wrong.Set("do", "more")
	if more := floor.Post(stage+"/mix", wrong).Status(http.StatusOK); !strings.Contains(more.Body, `name="components.5.name"`) {
		t.Error("no more lines")
	}

	mix := floor.Post(stage+"/mix", mixForm("mix-form-0000000000000001")).Status(http.StatusSeeOther).Header.Get("Location")
	if again := floor.Post(stage+"/mix", mixForm("mix-form-0000000000000001")).Header.Get("Location"); again != mix {
		t.Errorf("sent twice it leads to %q", again)
	}
	says := func(want ...string) {
		t.Helper()
		body := floor.Get(mix).Status(http.StatusOK).Body
		for _, w := range want {
			if !strings.Contains(body, w) {
				t.Errorf("the page beside the scale lacks %q", w)
			}
		}
	}
	says("Pour Clear", "400.0<small>", "506.0<small>", "593.0<small>")
	pour := func(number, component, scale string) *servertest.Reply {
		t.Helper()
		return floor.Post(mix, url.Values{"do": {"poured"}, "number": {number}, "component": {component}, "scale": {scale}})
	}
	pour("1", "0", "400.0").Status(http.StatusSeeOther)
	pour("2", "1", "390").Status(http.StatusUnprocessableEntity)
	pour("2", "1", "lots").Status(http.StatusUnprocessableEntity)
	pour("2", "2", "593").Status(http.StatusConflict)
	pour("2", "1", "518").Status(http.StatusSeeOther)
	says("12.0\u00a0g too much Hardener", "Add more Clear", "563.3<small>", "660.1<small>")
	pour("2", "1", "518").Status(http.StatusSeeOther) // the same sent twice
	pour("2", "1", "519").Status(http.StatusConflict)
	floor.Post(mix, url.Values{"do": {"back"}, "number": {"3"}}).Status(http.StatusSeeOther)
	says("Pour Hardener", "506.0<small>")
	floor.Post(mix, url.Values{"do": {"left"}, "number": {"4"}}).Status(http.StatusConflict)
	floor.Post(mix, url.Values{"do": {"dance"}, "number": {"4"}}).Status(http.StatusUnprocessableEntity)
	pour("4", "1", "507").Status(http.StatusSeeOther)
	floor.Post(mix, url.Values{"do": {"left"}, "number": {"5"}}).Status(http.StatusSeeOther)
	pour("6", "2", "594").Status(http.StatusSeeOther)
	says("Complete", "594.0\u00a0g", "0.8\u00a0% more than the formula asks")

	// What was left shows in the table: 507 g poured on 506, so 107 of hardener where
	// 594 g want 594 x 26.5 / 148.25 = 106.2.
	if table := s.As(s.Office).Get(stage + "/paint.csv").Body; !strings.Contains(table, ",Hardener,106.2,107.0,") {
		t.Errorf("the table does not say what was wanted and poured:\n%s", table)
	}

	// The formula comes back for the next mix, when a newer one of its kind is there, too.
	floor.Post(stage+"/mix", mixForm("mix-form-0000000000000002")).Status(http.StatusSeeOther)
	id := mix[strings.LastIndex(mix, "/")+1:]
	next := floor.Get(stage + "/mix?from=" + id).Status(http.StatusOK).Body
	for _, want := range []string{`value="Hardener"`, `value="1.06"`, `value="0.87"`, `value="L-2291"`} {
		if !strings.Contains(next, want) {
			t.Errorf("the formula does not come back with %s", want)
		}
	}
}

func TestPaint_RecordAndOwner(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	floor, office, owner := s.As(s.Floor), s.As(s.Office), s.As(s.Owner)
	stage := "/builds/" + string(b.ID) + "/stages/" + string(b.Open)
	mix := floor.Post(stage+"/mix", mixForm("mix-form-0000000000000001")).Status(http.StatusSeeOther).Header.Get("Location")
	for i, scale := range []string{"400", "506", "593"} {
		n := []string{"0", "1", "2"}[i]
		floor.Post(mix, url.Values{"do": {"poured"}, "number": {[]string{"1", "2", "3"}[i]}, "component": {n}, "scale": {scale}}).Status(http.StatusSeeOther)
	}
	reading := url.Values{"id": {"reading-form-00000000001"}, "place": {"=HYPERLINK(1)"}, "coat": {"all coats"}, "substrate": {"bare steel"}, "film": {"4.2"}, "unit": {"mil"}}
	floor.Post(stage+"/paint/readings", reading).Status(http.StatusSeeOther)
	floor.Post(stage+"/paint/readings", reading).Status(http.StatusSeeOther) // sent twice
	reading.Set("id", "reading-form-00000000002")
	reading.Set("film", "4.2.1")
	if r := floor.Post(stage+"/paint/readings", reading).Status(http.StatusUnprocessableEntity); !strings.Contains(r.Body, `value="4.2.1"`) {
		t.Error("the typed reading is lost")
	}
	id := mix[strings.LastIndex(mix, "/")+1:]
	floor.Post(stage+"/paint/used", url.Values{"id": {"used-form-00000000000001"}, "mix": {id}, "used": {"512.5"}, "used_unit": {"g"}, "for": {"hood"}}).Status(http.StatusSeeOther)
	floor.Post(stage+"/paint/used", url.Values{"id": {"used-form-00000000000002"}, "used": {""}, "for": {"hood, kept"}}).Status(http.StatusUnprocessableEntity)
	floor.Post(stage+"/paint/"+string(b.Mix)+"/back", url.Values{}).Status(http.StatusUnprocessableEntity).Check(htmlcheck.In("#f-"+string(b.Mix)+"-reason-problem", htmlcheck.HasText("why")))
	floor.Post(stage+"/paint/"+string(b.Mix)+"/back", url.Values{"reason": {"Never poured."}}).Status(http.StatusSeeOther)

	table := office.Get(stage + "/paint.csv").Status(http.StatusOK)
	lines, err := csv.NewReader(strings.NewReader(strings.TrimPrefix(table.Body, "\ufeff"))).ReadAll()
	if err != nil || len(lines) != 1+2+3+1+1 {
		t.Fatalf("%d lines, %v:\n%s", len(lines), err, table.Body)
	}
	if got := lines[1][len(lines[1])-1]; got != "Never poured." {
		t.Errorf("the reason in the table is %q", got)
	}
	if got := strings.Join(lines[4], "|"); !strings.Contains(got, "Two-part clear|clear|L-2291|hood|Hardener|106.0|106.0") {
		t.Errorf("a component's line is %s", got)
	}
	if got := strings.Join(lines[6], "|"); !strings.Contains(got, "|'=HYPERLINK(1)|all coats|bare steel|4.2||mil|") {
		t.Errorf("a reading's line is %s", got)
	}

	shows := func(want bool) {
		t.Helper()
		body := owner.Get(stage).Status(http.StatusOK).Body
		for _, text := range []string{"Two-part clear", "L-2291", "4.2\u00a0mil (107\u00a0µm)"} {
			if strings.Contains(body, text) != want {
				t.Errorf("that the owner sees %q is %v", text, !want)
			}
		}
		for _, never := range []string{"Hardener", "106.0", "512.5", "Never poured", "shop only, of Heron"} {
			if strings.Contains(body, never) {
				t.Errorf("the owner sees %q", never)
			}
		}
	}
	shows(false)
	floor.Post(stage+"/paint/shown", url.Values{"audience": {"owner too"}}).Status(http.StatusForbidden)
	office.Post(stage+"/paint/shown", url.Values{"audience": {"everybody"}}).Status(http.StatusUnprocessableEntity)
	office.Post(stage+"/paint/shown", url.Values{"audience": {string(journal.OwnerToo)}}).Status(http.StatusSeeOther)
	shows(true)
	office.Post(stage+"/paint/shown", url.Values{"audience": {string(journal.ShopOnly)}}).Status(http.StatusSeeOther)
	shows(false)
}

// The figures of FilmBuild's page are those of the published examples that package
// coating's tests name.
func TestFilmBuild(t *testing.T) {
	s := servertest.New(t)
	floor := s.As(s.Floor)
	floor.Get("/film-build").Status(http.StatusOK)
	for query, want := range map[string][]string{
		"what=liner&units=us&area=200&dry=100&solids=60":                   {"20.8\u00a0gal"},                                // spray-lining.net
		"what=liner&units=us&area=200&dry=100":                             {"12.5\u00a0gal", "100\u00a0mil (2540\u00a0µm)"}, // spray-lining.net: 12.47
		"what=paint&units=us&area=100&dry=5&solids=65":                     {"209\u00a0ft²/gal"},                             // scribd.com 343849341: 208.52
		"what=paint&units=metric&area=10&dry=125&solids=65":                {"5.2\u00a0m²/L"},                                // the same
		"what=paint&units=us&area=100&dry=2.8&solids=35&thinner=10":        {"8.8\u00a0mil", "of paint"},                     // own derivation
		"what=powder&units=us&area=100&dry=2&density=1.6":                  {"60.1\u00a0ft²/lb", "1.66\u00a0lb"},             // powdercoatingonline.com
		"what=paint&units=us&area=10&dry=9&solids=50&density=10&have=0.11": {"8.82\u00a0mil"},                                // 0.11 gal are 499 g of 10 lb/gal; paintcenter.org, corrected: 500 g make 8.84
	} {
		body := floor.Get("/film-build?" + query).Status(http.StatusOK).Body
		for _, w := range want {
			if !strings.Contains(body, w) {
				t.Errorf("%s does not say %q", query, w)
			}
		}
	}
	for query, field := range map[string]string{
		"what=paint&units=us&area=100&dry=5":                    "solids",
		"what=paint&units=us&area=100&dry=5&solids=101":         "solids",
		"what=paint&units=us&area=0&dry=5&solids=50":            "area",
		"what=paint&units=us&area=1&dry=5,5&solids=50":          "dry",
		"what=powder&units=us&area=1&dry=2":                     "density",
		"what=paint&units=ell&area=1&dry=2&solids=50":           "units",
		"what=soup&units=us&area=1&dry=2&solids=50":             "what",
		"what=paint&units=us&area=1&dry=2&solids=50&transfer=0": "transfer",
	} {
		if r := floor.Get("/film-build?" + query).Status(http.StatusUnprocessableEntity); !strings.Contains(r.Body, `href="#f-`+field+`"`) {
			t.Errorf("%s: nothing is said of %s", query, field)
		}
	}
	floor.Get("/film-build?build=none&stage=none").Status(http.StatusNotFound)
}
