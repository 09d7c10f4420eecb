package server

import (
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

// maxScopeLines bounds the lines read of one scope form: the most stages a
// build may have, and some to drop and to add.
const maxScopeLines = 80

func scopePath(build journal.BuildID) string { return buildPath(build) + "/scope" }

// scope shows a build's stages with values and dates, as a form until the
// agreement is recorded. GET /builds/:build/scope
func (a *App) scope(c echo.Context) error {
	build := of(c).build.ID
	values, err := a.kept(c, scopePath(build))
	if err != nil {
		return err
	}
	if values != nil {
		return a.showScope(c, scopeLines(formOf(values)), views.AgreementForm{}, refusal{})
	}
	if values, err = a.kept(c, buildPath(build)+"/agreement"); err != nil {
		return err
	}
	if values != nil {
		return a.showScope(c, nil, agreementForm(formOf(values)), refusal{})
	}
	return a.showScope(c, nil, views.AgreementForm{}, refusal{})
}

// showScope shows the page with the lines that were typed, or with the stored
// ones when lines is nil. The agreement's form always belongs to the values the
// page shows as saved, so it takes the present version.
func (a *App) showScope(c echo.Context, lines []views.ScopeLine, agreement views.AgreementForm, r refusal) error {
	ctx, id := c.Request().Context(), of(c).build.ID
	v, err := a.steps.BuildShow(ctx, actor(c), id)
	if err != nil {
		return err
	}
	g, err := a.steps.BuildGlance(ctx, actor(c), id)
	if err != nil {
		return err
	}
	page := views.Scope{Stored: v.Build, Stages: stageLines(g.Stages), Terms: v.Terms, Problems: r.problems, Agreement: agreement}
	page.Agreement.Version = v.Build.Version
	if page.Agreement.ReadyOn == "" {
		page.Agreement.ReadyOn = string(v.Build.ReadyOn)
	}
	if page.Leads, err = a.steps.Leads(ctx, actor(c), leadsOf(v.Stages)...); err != nil {
		return err
	}
	if page.Frame, err = a.frame(c, "Scope"); err != nil {
		return err
	}
	r.on(&page.Frame)
	for _, st := range v.Stages {
		page.Total += st.Value.Total()
	}
	_, papers, err := a.steps.PapersOf(ctx, actor(c), id)
	if err != nil {
		return err
	}
	for _, p := range papers {
		if p.Paper.Kind == signoff.BuildAgreement && !p.Paper.Decided() {
			page.PaperID = p.Paper.ID
		}
	}
	for _, m := range v.Members {
		if m.As == journal.AsOwner && v.People[m.PersonID].Active() {
			page.Owners++
		}
	}
	if err := fillScope(&page, v.Stages, lines, r.late(), c.QueryParam("more") != ""); err != nil {
		return err
	}
	return a.show(c, r.answer(), page)
}

// fillScope fills the form's lines: as stored, as typed, or as typed and
// compared with what somebody else stored meanwhile.
func fillScope(page *views.Scope, stored []journal.Stage, typed []views.ScopeLine, late, more bool) error {
	switch {
	case typed == nil:
		for _, st := range stored {
			page.Lines = append(page.Lines, filledLine(st))
		}
		if more {
			page.Lines = append(page.Lines, views.ScopeLine{Pricing: views.PricedFixed})
		}
		return nil
	case !page.Open():
		page.Unsaved = unsaved(stored, typed)
		return nil
	}
	page.Lines = typed
	states := map[string]journal.StageState{}
	for _, st := range stored {
		states[string(st.ID)] = st.State
	}
	for i, l := range page.Lines {
		page.Lines[i].State = states[l.ID]
	}
	if late {
		return compareScope(page, stored)
	}
	return nil
}

// compareScope makes the typed lines ready to be saved over what is stored now,
// and says beside each line that somebody else changed what it stands at.
func compareScope(page *views.Scope, stored []journal.Stage) error {
	page.Problems = journal.Problems{}
	now, typed := map[string]journal.Stage{}, map[string]bool{}
	for _, st := range stored {
		now[string(st.ID)] = st
	}
	for i := range page.Lines {
		l := &page.Lines[i]
		st, there := now[l.ID]
		field := at("stages", i, "value")
		switch {
		case l.ID == "":
		case !there:
			l.ID, l.Version, l.Drop = "", 0, false
			page.Problems.Add(field, "Somebody else left this stage out meanwhile. Saving adds it again; empty all its fields to leave it out.")
		case l.Version != st.Version:
			value, err := page.Priced(st.Value.Total(), st.Metered)
			if err != nil {
				return err
			}
			l.Version = st.Version
			page.Problems.Add(field, "Somebody else saved this stage meanwhile; it stands at %s and %s now. Saving puts yours in its place.",
				value, views.WorkingDays(st.PlannedDays))
		}
		typed[l.ID] = true
	}
	for _, st := range stored {
		if !typed[string(st.ID)] {
			page.Lines = append(page.Lines, filledLine(st))
		}
	}
	return nil
}

// unsaved says in a line a stage what was typed and differs from what is
// stored.
func unsaved(stored []journal.Stage, typed []views.ScopeLine) []string {
	was := map[string]views.ScopeLine{}
	for _, st := range stored {
		was[string(st.ID)] = filledLine(st)
	}
	var all []string
	for _, l := range typed {
		old := was[l.ID]
		var changed []string
		for _, part := range []struct{ name, now, before string }{
			{"labour", l.Labour, old.Labour}, {"parts", l.Parts, old.Parts}, {"outside work", l.Outside, old.Outside},
			{"delivery", l.Delivery, old.Delivery}, {"other", l.Other, old.Other}, {"pricing", l.Pricing, old.Pricing}, {"working days", l.Days, old.Days},
			{"from", l.From, old.From}, {"to", l.To, old.To},
		} {
			if part.now != part.before {
				changed = append(changed, part.name+" "+part.now)
			}
		}
		if l.Name != old.Name || len(changed) > 0 {
			all = append(all, strings.Join(append([]string{l.Name}, changed...), ", "))
		}
	}
	return all
}

func filledLine(st journal.Stage) views.ScopeLine {
	return views.ScopeLine{
		ID: string(st.ID), Version: st.Version, Name: st.Name, State: st.State, Lead: string(st.LeadID),
		Labour: filledCents(st.Value.Labour), Parts: filledCents(st.Value.Parts), Outside: filledCents(st.Value.Outside),
		Delivery: filledCents(st.Value.Delivery), Other: filledCents(st.Value.Other),
		Pricing: views.PricingOf(st.Metered), Days: strconv.Itoa(st.PlannedDays), From: string(st.PlannedFrom), To: string(st.PlannedTo),
	}
}

// filledCents writes an amount into a field that stays empty for nothing.
func filledCents(c journal.Cents) string {
	if c == 0 {
		return ""
	}
	return c.String()
}

func leadsOf(stages []journal.Stage) []journal.PersonID {
	var ids []journal.PersonID
	for _, st := range stages {
		ids = append(ids, st.LeadID)
	}
	return ids
}

// scopeLines gives back the lines that were typed.
func scopeLines(f *form) []views.ScopeLine {
	lines := []views.ScopeLine{}
	for i := range f.indexed("stages", maxScopeLines) {
		raw := func(name string) string { return f.raw(at("stages", i, name)) }
		lines = append(lines, views.ScopeLine{
			ID: raw("id"), Version: f.rowVersion("stages", i), Name: raw("name"), Labour: raw("labour"), Parts: raw("parts"),
			Outside: raw("outside"), Delivery: raw("delivery"), Other: raw("other"), Pricing: raw("pricing"), Days: raw("days"), From: raw("from"),
			To: raw("to"), Lead: raw("lead"), Drop: raw("drop") != "",
		})
	}
	return lines
}

// rowVersion is [form.version] for one line of a form.
func (f *form) rowVersion(list string, i int) int {
	n, err := strconv.Atoi(f.line(at(list, i, "version")))
	if err != nil {
		return 0
	}
	return n
}

// empty reports whether nothing was typed into the named fields of a line.
func (f *form) empty(list string, i int, names ...string) bool {
	for _, name := range names {
		if f.line(at(list, i, name)) != "" {
			return false
		}
	}
	return true
}

// scopeRows reads the lines as a step takes them, with the number each has in
// the form. Added lines with nothing in them are left out, and of dropped ones
// nothing else is read.
func (f *form) scopeRows() (rows []flow.StageScope, numbers []int) {
	for i := range f.indexed("stages", maxScopeLines) {
		field := func(name string) string { return at("stages", i, name) }
		row := flow.StageScope{
			StageID: formID[journal.StageID](f, field("id")), Version: f.rowVersion("stages", i), Drop: f.line(field("drop")) != "",
		}
		if row.StageID == "" && f.empty("stages", i, "name", "labour", "parts", "outside", "delivery", "other", "days", "from", "to") {
			continue
		}
		if !row.Drop {
			row.Name, row.LeadID = f.line(field("name")), formID[journal.PersonID](f, field("lead"))
			row.Value = journal.Split{
				Labour: f.cents(field("labour")), Parts: f.cents(field("parts")), Outside: f.cents(field("outside")),
				Delivery: f.cents(field("delivery")), Other: f.cents(field("other")),
			}
			row.Metered = f.metered(field("pricing"), false)
			row.PlannedDays = f.number(field("days"), 0, 1, 400)
			row.PlannedFrom, row.PlannedTo = f.date(field("from")), f.date(field("to"))
		}
		rows, numbers = append(rows, row), append(numbers, i)
	}
	return rows, numbers
}

// checkRows says what is wrong with the rows by themselves, as
// [flow.Steps.SaveScope] names it.
func checkRows(rows []flow.StageScope) error {
	bad := journal.Problems{}
	for i, row := range rows {
		if row.Drop {
			continue
		}
		wrong, other := problems(journal.Stage{
			Name: row.Name, Value: row.Value, PlannedDays: row.PlannedDays, PlannedFrom: row.PlannedFrom, PlannedTo: row.PlannedTo,
		}.Validate())
		if other != nil {
			return other
		}
		for field, sentence := range wrong {
			bad.Add(at("stages", i, field), "%s", sentence)
		}
	}
	return bad.Err()
}

// renumbered gives the problems of row n of a refusal, as the step counts the
// rows it got, to line numbers[n] of the form.
func renumbered(err error, list string, numbers []int) error {
	bad, other := problems(err)
	if other != nil {
		return other
	}
	moved := journal.Problems{}
	for field, sentence := range bad {
		rest, found := strings.CutPrefix(field, list+".")
		number, name, _ := strings.Cut(rest, ".")
		if n, err := strconv.Atoi(number); found && err == nil && n >= 0 && n < len(numbers) {
			field = at(list, numbers[n], name)
		}
		moved[field] = sentence
	}
	return moved.Err()
}

// scopeSave stores stages, values and dates. POST /builds/:build/scope
func (a *App) scopeSave(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build.ID
	rows, numbers := f.scopeRows()
	if err = f.check(renumbered(checkRows(rows), "stages", numbers)); err == nil {
		err = renumbered(a.steps.SaveScope(c.Request().Context(), actor(c), build, rows), "stages", numbers)
	}
	if r, ok := refused(err); ok {
		return a.showScope(c, scopeLines(f), views.AgreementForm{}, r)
	}
	if err != nil {
		return err
	}
	if f.raw("do") == "add" {
		kept := slices.DeleteFunc(rows, func(row flow.StageScope) bool { return row.Drop })
		return c.Redirect(http.StatusSeeOther, scopePath(build)+"?more=1#"+at("f-stages", len(kept), "name"))
	}
	return a.done(c, scopePath(build), "The scope is saved.")
}

func agreementForm(f *form) views.AgreementForm {
	return views.AgreementForm{
		AgreedOn: f.raw("agreed_on"), AgreedHow: f.raw("agreed_how"), ReadyOn: f.raw("ready_on"), Total: f.raw("total"), Version: f.version(),
	}
}

// agreement records the signed agreement: values become fixed.
// POST /builds/:build/agreement
func (a *App) agreement(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build
	g := flow.Agreement{Version: f.version(), On: f.date("agreed_on"), How: f.line("agreed_how"), ReadyOn: f.date("ready_on"), Total: f.cents("total")}
	if err = f.err(); err == nil {
		err = a.steps.RecordAgreement(c.Request().Context(), actor(c), build.ID, g)
	}
	if r, ok := refused(err); ok {
		return a.showScope(c, nil, agreementForm(f), r)
	}
	if err != nil {
		return err
	}
	return a.done(c, buildPath(build.ID), fmt.Sprintf("The agreement of %s is recorded. Stages can be billed now; values change only by signed change orders.", build.Nickname))
}
