package server_test

import (
	"fmt"
	"net/http"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"testing"

	"farbay/journal/billing"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

func TestScope(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)
	path := at + "/scope"
	page := office.Get(path).Status(http.StatusOK)
	page.Says("No stage has a value yet").Says("The build has no owner yet").Check(htmlcheck.NotIn(`form[action="` + at + `/agreement"]`))

	scope := with(formIn(t, page, path), "stages.0.labour", "1,200", "stages.0.parts", "$80.5", "stages.0.lead", string(s.Floor.ID),
		"stages.1.outside", "+3.07", "stages.1.days", "9", "stages.1.from", "2026-05-04", "stages.1.to", "2026-05-14")
	office.Post(path, scope).Redirects(path)
	page = office.Get(path).Says("The scope is saved").Says(`14 stages come to \$1,283\.57 before tax`)
	keeps(t, page, path, url.Values{"stages.0.labour": {"1,200.00"}, "stages.0.parts": {"80.50"}, "stages.0.lead": {string(s.Floor.ID)},
		"stages.1.outside": {"3.07"}, "stages.1.days": {"9"}, "stages.1.from": {"2026-05-04"}, "stages.1.to": {"2026-05-14"}},
		"stages.0.labour", "stages.0.parts", "stages.0.lead", "stages.1.outside", "stages.1.days", "stages.1.from", "stages.1.to")

	// A stage more, and one less.
	office.Post(path, with(formIn(t, page, path), "do", "add", "stages.13.drop", "yes")).Redirects(path + "?more=1#f-stages.13.name")
	page = office.Get(path + "?more=1").Status(http.StatusOK).Says("A stage more").Check(htmlcheck.In(`#f-stages\.13\.name[value=""]`))
	office.Post(path, with(formIn(t, page, path), "stages.13.name", "Undercoat <b>", "stages.13.days", "2", "stages.13.other", "10")).Redirects(path)
	office.Get(path).Says("Undercoat <b>").Says(`14 stages come to \$1,293\.57`)
	// A new line that stays empty adds nothing.
	office.Post(path, formIn(t, office.Get(path+"?more=1"), path)).Redirects(path)
	office.Get(path).Says("14 stages come to")
}

func TestScope_refusesAndKeeps(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)
	path := at + "/scope"
	filled := with(formIn(t, office.Get(path), path), "stages.2.labour", "500", "stages.14.name", "")
	tests := []struct{ name, field, text, beside, says string }{
		{"letters behind an amount", "stages.0.labour", "1,234.5x", "", "Please type an amount"},
		{"only a sign", "stages.0.parts", "-", "", "Please type an amount"},
		{"an exponent", "stages.0.outside", "12e3", "", "Please type an amount"},
		{"ten digits", "stages.0.delivery", "1234567890", "", "check the number of digits"},
		{"three decimals", "stages.0.other", "1.005", "", "at most two decimals"},
		{"commas in the wrong place", "stages.0.labour", "12,34", "", "Please type an amount"},
		{"below zero", "stages.0.labour", "-1", "stages.0.value", "below zero"},
		{"no days", "stages.5.days", "", "", "between 1 and 400 working days"},
		{"half a day", "stages.5.days", "2.5", "", "whole number"},
		{"a day that does not exist", "stages.5.from", "2026-02-29", "", "day that exists"},
		{"no name", "stages.5.name", "", "", "name this stage"},
		{"a lead from outside", "stages.5.lead", string(s.Owner.ID), "", "works in the shop"},
		{"a new stage without days", "stages.14.name", "Undercoat", "stages.14.days", "between 1 and 400"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			sent := with(filled, test.field, test.text)
			if test.beside == "" {
				test.beside = test.field
			}
			page := office.Post(path, sent).Status(http.StatusUnprocessableEntity).Check(wrong(test.beside, test.says))
			keeps(t, page, path, sent, "stages.2.labour")
			if test.field != "stages.5.lead" { // whom the list does not offer it cannot show as chosen
				keeps(t, page, path, sent, test.field)
			}
			// The stage stands open, so that the mark is seen.
			page.Check(htmlcheck.In(`details[open]`, htmlcheck.In(`.wrong`, htmlcheck.HasText(test.says))))
		})
	}
	office.Post(path, with(filled, "stages.0.labour", "12e3", "stages.5.name", "", "stages.6.days", "")).Status(http.StatusUnprocessableEntity).
		Check(wrong("stages.0.labour", "Please type an amount"), wrong("stages.5.name", "name this stage"), wrong("stages.6.days", "between 1 and 400"))
	page := office.Post(path, with(filled, "stages.3.from", "2026-05-04", "stages.3.to", "2026-05-01", "stages.1.drop", "yes")).
		Status(http.StatusUnprocessableEntity)
	page.Check(wrong("stages.3.to", "before the planned start"), htmlcheck.In(`input[name="stages.1.drop"][checked]`))
	office.Get(path).Says("No stage has a value yet")
}

// Two people at one scope: what the first saved stands, the second is told
// which stage it is about, and nothing they typed is lost.
func TestScope_twoAtOnce(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)
	path := at + "/scope"
	read := formIn(t, office.Get(path), path)
	office.Post(path, with(read, "stages.4.labour", "700", "stages.13.drop", "yes")).Redirects(path)

	sent := with(read, "stages.4.labour", "900", "stages.6.parts", "55.55", "stages.13.other", "12")
	page := office.Post(path, sent).Status(http.StatusConflict).Says("Somebody else changed this scope")
	page.Check(wrong("stages.4.value", `stands at \$700\.00`), wrong("stages.13.value", "left this stage out"))
	page.Check(htmlcheck.In(".problems", htmlcheck.HasText("Two things want")))
	keeps(t, page, path, sent, "stages.4.labour", "stages.6.parts", "stages.13.other", "stages.13.name")
	office.Get(path).Says(`13 stages come to \$700\.00`)

	office.Post(path, formIn(t, page, path)).Redirects(path)
	office.Get(path).Says(`14 stages come to \$967\.55`) // 900.00 + 55.55 + 12.00
}

func TestAgreement(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)
	path := at + "/scope"
	office.Post(at+"/agreement", url.Values{"version": {"1"}, "agreed_on": {"2026-04-13"}, "agreed_how": {"by letter"}, "ready_on": {"2026-12-18"}, "total": {"1"}}).
		Status(http.StatusUnprocessableEntity).Says("add the truck's owner")
	office.Post(at+"/people", url.Values{"person": {string(s.Owner.ID)}, "as": {"owner"}}).Status(http.StatusSeeOther)
	office.Post(path, with(formIn(t, office.Get(path), path), "stages.0.labour", "1,200")).Redirects(path)

	filled := agreementOf(t, office, at, "1,200")
	tests := []struct{ name, field, text, says string }{
		{"a day to come", "agreed_on", "2026-04-15", "still to come"},
		{"a day that does not exist", "agreed_on", "2026-04-31", "day that exists"},
		{"no word how", "agreed_how", " ", "how it was agreed"},
		{"ready before it was agreed", "ready_on", "2026-04-01", "before the agreement"},
		{"no ready date", "ready_on", "", "agreed to be ready"},
		{"a year with a slip", "agreed_on", "1900-04-13", "check the year"},
		{"a ready year with a slip", "ready_on", "2199-12-18", "check the year"},
		{"a year that no date field reads", "ready_on", "2300-12-18", "day that exists"},
		{"no total", "total", "", "total before tax"},
		{"a total in words", "total", "twelve", "type an amount"},
		{"another total than the stages'", "total", "1,200.10", `paper says 1,200\.10, and the stages here come to 1,200\.00 before tax, 0\.10 less`},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			sent := with(filled, test.field, test.text)
			page := office.Post(at+"/agreement", sent).Status(http.StatusUnprocessableEntity).Check(wrong(test.field, test.says))
			if test.text != " " && test.text != "" {
				keeps(t, page, at+"/agreement", sent, "agreed_on", "agreed_how", "ready_on", "total")
			}
		})
	}

	// A value saved after the form was read: the agreement is not recorded on a
	// total its reader never saw.
	other := with(formIn(t, office.Get(path), path), "stages.1.labour", "300", "stages.2.name", "Re-estimate, in the shop")
	office.Post(path, other).Redirects(path)
	late := office.Post(at+"/agreement", filled).Status(http.StatusConflict).Says(`\$1,500\.00 before tax is agreed`)
	keeps(t, late, at+"/agreement", filled, "agreed_on", "agreed_how", "ready_on", "total")
	read := formIn(t, office.Get(path), path)
	typed := formIn(t, late, at+"/agreement")
	office.Post(at+"/agreement", typed).Status(http.StatusUnprocessableEntity).Check(wrong("total", `stages here come to 1,500\.00`))
	office.Post(at+"/agreement", with(typed, "total", "1,500")).Redirects(at)
	office.Get(at).Says("The agreement of Heron is recorded").Says(`Agreed, with signed changes \$1,500\.00`)

	// From now on values are fixed; what somebody typed at the same time is
	// shown, and refused.
	page := office.Get(path).Status(http.StatusOK).Says(`fixed these values at \$1,500\.00`).Says("signed on paper, in the file")
	page.Check(htmlcheck.NotIn(`form[action="` + path + `"]`))
	page = office.Post(path, with(read, "stages.1.labour", "9,999.99")).Status(http.StatusConflict)
	page.Says("Please send a change order instead").Says("What you had typed").Says(`Teardown, labour 9,999\.99`)
	office.Post(at+"/agreement", with(filled, "version", "99")).Status(http.StatusConflict)
	office.Get(path).Says(`\$1,500\.00`)
}

func TestTerms(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)
	path := at + "/terms"
	read := formIn(t, office.Get(path).Status(http.StatusOK), path)
	filled := with(read, "deposit", "5,000", "holdback_rate", "5", "due_days", "21", "tax_parts", "6.25 %", "tax_basis", "line",
		"holdback_cap", "California, private works", "mark_up", "12.5", "bill_days", "15 1", "late_asks", "yes",
		"transport", "the owner sends a carrier", "deliver_to", " Oregon ")
	tests := []struct{ field, text, says string }{
		{"deposit", "1,234.5x", "Please type an amount"},
		{"deposit", "-5", "negative"},
		{"deposit", "1234567890", "number of digits"},
		{"holdback_rate", "101", "from 0 to 100"},
		{"tax_parts", "6.255", "at most two decimals"},
		{"tax_labour", "-1", "from 0 to 100"},
		{"tax_outside", "12e3", "rate in per cent"},
		{"due_days", "soon", "whole number between 0 and 365"},
		{"crediting", "as we like", "how the deposit is credited"},
		{"mark_up", "101 %", "from 0 to 100"},
		{"mark_up", "a fifth", "rate in per cent"},
		{"bill_days", "1, 31", "from 1 to 28"},
		{"bill_days", "0", "from 1 to 28"},
		{"bill_days", "15, 15", "each once"},
		{"bill_days", "the first", "as numbers"},
		{"holdback_cap", "Atlantis, private works", "limits listed"},
		{"holdback_rate", "5.01", `5\.01 % is more than the 5 % of the limit chosen`},
		{"transport", "it drives itself", "who brings the truck"},
		{"deliver_to", strings.Repeat("x", 61), "to 60 characters"},
	}
	for _, test := range tests {
		t.Run(test.field+" "+test.text, func(t *testing.T) {
			sent := with(filled, test.field, test.text)
			page := office.Post(path, sent).Status(http.StatusUnprocessableEntity).Check(wrong(test.field, test.says))
			fields := []string{"deposit", "holdback_rate", "due_days", "tax_parts", "tax_basis", "version", "mark_up", "bill_days", "late_asks", "deliver_to"}
			if !slices.Contains([]string{"crediting", "holdback_cap", "transport"}, test.field) { // a radio that is not offered cannot be shown as chosen
				fields = append(fields, test.field)
			}
			keeps(t, page, path, sent, fields...)
		})
	}
	office.Post(path, filled).Redirects(path)
	page := office.Get(path).Says("The terms are saved")
	keeps(t, page, path, url.Values{"deposit": {"5,000.00"}, "holdback_rate": {"5"}, "due_days": {"21"}, "tax_parts": {"6.25"}, "tax_basis": {"line"},
		"holdback_cap": {"California, private works"}, "mark_up": {"12.5"}, "bill_days": {"1, 15"}, "late_asks": {"yes"},
		"transport": {"the owner sends a carrier"}, "deliver_to": {"Oregon"}},
		"deposit", "holdback_rate", "due_days", "tax_parts", "tax_basis", "holdback_cap", "mark_up", "bill_days", "late_asks", "transport", "deliver_to")
	// Each limit stands with its source, and that none is about vehicles.
	for _, l := range billing.Limits {
		page.Check(htmlcheck.In(`#f-holdback_cap`, htmlcheck.HasText(regexp.QuoteMeta(l.Source))))
	}
	page.Says("none was found for repairing vehicles")

	late := office.Post(path, with(filled, "tax_parts", "7")).Status(http.StatusConflict)
	keeps(t, late, path, url.Values{"tax_parts": {"7"}, "deposit": {"5,000"}}, "tax_parts", "deposit")
	office.Post(path, formIn(t, late, path)).Redirects(path)
}

func TestTerms_fixedByTheAgreement(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := agreed(t, s, office)
	path := at + "/terms"
	page := office.Get(path).Status(http.StatusOK).Says("these terms are fixed")
	form := formIn(t, page, path)
	for _, fixed := range []string{"deposit", "crediting", "deposit_share", "refill_floor", "holdback_rate", "due_days", "tax_basis",
		"holdback_cap", "mark_up", "bill_days", "late_asks", "transport", "deliver_to"} {
		if form.Has(fixed) {
			t.Errorf("%s can still be typed", fixed)
		}
	}
	office.Post(path, with(form, "tax_labour", "3.5")).Redirects(path)
	keeps(t, office.Get(path), path, url.Values{"tax_labour": {"3.5"}}, "tax_labour")

	form = formIn(t, office.Get(path), path)
	for field, text := range map[string]string{
		"deposit": "1", "holdback_cap": "California, private works", "mark_up": "1", "bill_days": "1", "late_asks": "yes",
		"transport": "the owner sends a carrier", "deliver_to": "Oregon",
	} {
		office.Post(path, with(form, field, text)).Status(http.StatusUnprocessableEntity).Check(htmlcheck.In(".problems", htmlcheck.HasText("cannot change any more")))
	}
}

// How a stage is priced is chosen on the scope and on the stage, said wherever its
// value is, and fixed with the agreement.
func TestPricing(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)
	path := at + "/scope"
	filled := with(formIn(t, office.Get(path), path), "stages.0.labour", "1,000", "stages.0.pricing", "metered", "stages.1.labour", "200")
	bad := with(filled, "stages.0.pricing", "by feel")
	office.Post(path, bad).Status(http.StatusUnprocessableEntity).Check(wrong("stages.0.pricing", "fixed price, or time and materials"))
	office.Post(path, filled).Redirects(path)
	page := office.Get(path).Says(`up to \$1,000\.00, by time and materials`).Says(`come to at most \$1,200\.00`)
	keeps(t, page, path, url.Values{"stages.0.pricing": {"metered"}, "stages.1.pricing": {"fixed"}}, "stages.0.pricing", "stages.1.pricing")

	stages := stagesOf(t, office, at)
	edit := stages[1] + "/edit"
	form := formIn(t, office.Get(edit), edit)
	if form.Get("pricing") != "fixed" {
		t.Errorf("the stage's form says %q", form.Get("pricing"))
	}
	office.Post(edit, with(form, "pricing", "both")).Status(http.StatusUnprocessableEntity).Check(wrong("pricing", "fixed price, or time and materials"))
	office.Post(edit, with(form, "pricing", "metered")).Redirects(stages[1])
	office.Get(stages[1]).Says(`up to \$200\.00, by time and materials`)

	office.Post(at+"/people", url.Values{"person": {string(s.Owner.ID)}, "as": {"owner"}}).Redirects(at + "/people")
	before := formIn(t, office.Get(edit), edit) // read before the agreement, sent after it
	office.Post(at+"/agreement", agreementOf(t, office, at, "1,200")).Redirects(at)
	office.Post(edit, with(before, "pricing", "fixed")).Status(http.StatusUnprocessableEntity).Check(htmlcheck.In("#f-pricing", htmlcheck.HasText("cannot change any more")))
	after := office.Get(edit).Says("By time and materials, as agreed")
	if form := formIn(t, after, edit); form.Has("pricing") {
		t.Error("how the stage is priced can still be chosen")
	} else {
		office.Post(edit, with(form, "days", "9")).Redirects(stages[1])
	}
	office.Get(path).Says(`fixed these values at no more than \$1,200\.00`).Check(htmlcheck.In("td", htmlcheck.HasText(`up to \$1,000\.00`)))

	owner := s.As(s.Owner)
	owner.Get(stages[1]).Says("Agreed for it, by time and materials").Says(`up to \$200\.00`).Says("never more than the agreed value")
	owner.Get(at+"/money").Check(htmlcheck.In("td", htmlcheck.HasText(`up to \$200\.00`)), htmlcheck.In("th", htmlcheck.HasText("by time and materials")))
}

// A scope form may not be as long as somebody likes.
func TestScope_tooManyLines(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	at := beginHeron(t, office)
	form := formIn(t, office.Get(at+"/scope"), at+"/scope")
	for i := 14; i < 45; i++ {
		form.Set(fmt.Sprintf("stages.%d.name", i), fmt.Sprintf("Stage %d", i))
		form.Set(fmt.Sprintf("stages.%d.days", i), "1")
	}
	office.Post(at+"/scope", form).Status(http.StatusUnprocessableEntity).Check(wrong("stages", "between 1 and 40 stages"))
	form.Set("stages.900000.name", "far away")
	office.Post(at+"/scope", form).Status(http.StatusUnprocessableEntity).Check(wrong("stages", "at most 80"))
}
