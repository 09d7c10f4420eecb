package server

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/views"
)

// perLine is what the form sends when tax is rounded line by line.
const perLine = "line"

// terms shows how a build is paid. GET /builds/:build/terms
func (a *App) terms(c echo.Context) error {
	v, err := a.steps.BuildShow(c.Request().Context(), actor(c), of(c).build.ID)
	if err != nil {
		return err
	}
	kept, err := a.kept(c, c.Request().URL.Path)
	if err != nil {
		return err
	}
	if kept != nil {
		return a.showTerms(c, v, termsForm(formOf(kept)), refusal{})
	}
	return a.showTerms(c, v, filledTerms(v), refusal{})
}

func (a *App) showTerms(c echo.Context, v flow.BuildView, form views.TermsForm, r refusal) error {
	f, err := a.frame(c, "Terms")
	if err != nil {
		return err
	}
	r.on(&f)
	return a.show(c, r.answer(), views.Terms{
		Frame: f, Fixed: v.Build.State != journal.Scoping, Stored: v.Terms, Form: form, Problems: r.problems,
	})
}

// filledTerms fills the form from what is stored.
func filledTerms(v flow.BuildView) views.TermsForm {
	t := v.Terms
	form := views.TermsForm{
		Deposit: t.Deposit.String(), Crediting: string(t.Crediting), HoldbackRate: billing.FormatRate(t.HoldbackRate),
		DepositShare: billing.FormatRate(t.DepositShare), RefillFloor: t.RefillFloor.String(),
		TaxLabour: billing.FormatRate(t.Tax.Labour), TaxParts: billing.FormatRate(t.Tax.Parts), TaxOutside: billing.FormatRate(t.Tax.Outside),
		TaxDelivery: billing.FormatRate(t.Tax.Delivery), TaxOther: billing.FormatRate(t.Tax.Other),
		TaxBasis: "invoice", DueDays: strconv.Itoa(t.DueDays), HoldbackCap: t.HoldbackCap, HourRate: t.HourRate.String(), MarkUp: billing.FormatRate(t.MarkUp),
		BillDays: strings.Join(strings.Fields(strings.Trim(fmt.Sprint(t.BillDays), "[]")), ", "),
		LateAsks: "no", Transport: string(t.Transport), DeliverTo: t.DeliverTo, Version: v.Build.Version,
	}
	if t.LateAsks {
		form.LateAsks = "yes"
	}
	if t.Tax.PerLine {
		form.TaxBasis = perLine
	}
	return form
}

// termsForm gives back what was typed.
func termsForm(f *form) views.TermsForm {
	return views.TermsForm{
		Deposit: f.raw("deposit"), Crediting: f.raw("crediting"), HoldbackRate: f.raw("holdback_rate"),
		DepositShare: f.raw("deposit_share"), RefillFloor: f.raw("refill_floor"),
		TaxLabour: f.raw("tax_labour"), TaxParts: f.raw("tax_parts"), TaxOutside: f.raw("tax_outside"),
		TaxDelivery: f.raw("tax_delivery"), TaxOther: f.raw("tax_other"),
		TaxBasis: f.raw("tax_basis"), DueDays: f.raw("due_days"), HoldbackCap: f.raw("holdback_cap"), HourRate: f.raw("hour_rate"), MarkUp: f.raw("mark_up"),
		BillDays: f.raw("bill_days"), LateAsks: f.raw("late_asks"), Transport: f.raw("transport"), DeliverTo: f.raw("deliver_to"), Version: f.version(),
	}
}

// percent returns a rate typed in per cent; nothing typed is 0.
func (f *form) percent(name string) journal.BasisPoints {
	if f.line(name) == "" {
		return 0
	}
	rate, err := billing.ParseRate(f.raw(name))
	if err != nil {
		f.bad.Add(name, "%s", journal.MessageOf(err))
	}
	return rate
}

// terms reads the form. What it does not have, because the agreement fixed it,
// stays as in was.
func (f *form) terms(was billing.Terms) billing.Terms {
	t := was
	t.Tax.Labour, t.Tax.Parts, t.Tax.Outside = f.percent("tax_labour"), f.percent("tax_parts"), f.percent("tax_outside")
	t.Tax.Delivery, t.Tax.Other = f.percent("tax_delivery"), f.percent("tax_other")
	if f.has("deposit") {
		t.Deposit = f.cents("deposit")
	}
	if f.has("crediting") {
		t.Crediting = billing.Crediting(f.line("crediting"))
		// What another way needs is typed in vain, and kept in the form only.
		t.DepositShare, t.RefillFloor = 0, 0
		switch t.Crediting {
		case billing.ShareOfEach:
			t.DepositShare = f.percent("deposit_share")
		case billing.FirstFirst:
			t.RefillFloor = f.cents("refill_floor")
		}
	}
	if f.has("holdback_rate") {
		t.HoldbackRate = f.percent("holdback_rate")
	}
	if f.has("due_days") {
		t.DueDays = f.number("due_days", 0, 0, billing.MaxDueDays)
	}
	if f.has("tax_basis") {
		t.Tax.PerLine = f.line("tax_basis") == perLine
	}
	if f.has("holdback_cap") {
		t.HoldbackCap = f.line("holdback_cap")
	}
	if f.has("mark_up") {
		t.MarkUp = f.percent("mark_up")
	}
	if f.has("hour_rate") {
		t.HourRate = f.cents("hour_rate")
	}
	if f.has("bill_days") {
		t.BillDays = f.monthDays("bill_days")
	}
	if f.has("late_asks") {
		t.LateAsks = f.line("late_asks") == "yes"
	}
	if f.has("transport") {
		t.Transport = billing.Transport(f.line("transport"))
	}
	if f.has("deliver_to") {
		t.DeliverTo = f.line("deliver_to")
	}
	return t
}

// monthDays reads days of the month, such as "1, 15", in any order; nothing typed
// is none.
func (f *form) monthDays(name string) []int {
	var days []int
	for _, word := range strings.FieldsFunc(f.line(name), func(r rune) bool { return r == ',' || r == ';' || unicode.IsSpace(r) }) {
		day, err := strconv.Atoi(word)
		if err != nil {
			f.bad.Add(name, "Please type days of the month as numbers from 1 to 28, such as: 1, 15.")
			return nil
		}
		days = append(days, day)
	}
	slices.Sort(days)
	return days
}

// termsSave stores how a build is paid. POST /builds/:build/terms
func (a *App) termsSave(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	ctx, build := c.Request().Context(), of(c).build.ID
	v, err := a.steps.BuildShow(ctx, actor(c), build)
	if err != nil {
		return err
	}
	t := f.terms(v.Terms)
	if err = f.check(t.Validate()); err == nil {
		err = a.steps.SaveTerms(ctx, actor(c), build, f.version(), t)
	}
	if r, ok := refused(err); ok {
		form := termsForm(f)
		if r.late() {
			if v, err = a.steps.BuildShow(ctx, actor(c), build); err != nil {
				return err
			}
			form.Version = v.Build.Version
		}
		return a.showTerms(c, v, form, r)
	}
	if err != nil {
		return err
	}
	return a.done(c, buildPath(build)+"/terms", "The terms are saved.")
}
