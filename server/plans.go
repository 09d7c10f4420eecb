package server

import (
	"cmp"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/views"
)

// maxPlanLines bounds the lines read of one plan's form: the most stages a plan
// may have, and some to drop.
const maxPlanLines = 60

func planPath(id journal.PlanID) string { return "/plans/" + string(id) }

// plans lists the stage plans. GET /plans
func (a *App) plans(c echo.Context) error {
	kept, err := a.kept(c, "/plans")
	if err != nil {
		return err
	}
	if kept != nil {
		return a.showPlans(c, formOf(kept), refusal{})
	}
	return a.showPlans(c, formOf(nil), refusal{})
}

// showPlans shows the list with what was typed for a copy.
func (a *App) showPlans(c echo.Context, typed *form, r refusal) error {
	plans, err := a.steps.Plans(c.Request().Context(), actor(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Stage plans")
	if err != nil {
		return err
	}
	r.on(&f)
	return a.show(c, r.answer(), views.Plans{
		Frame: f, Plans: plans, Copy: formID[journal.PlanID](typed, "copy"), Name: typed.raw("name"), Problems: r.problems,
	})
}

// planCopy copies a plan under a new name. POST /plans
func (a *App) planCopy(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	id, err := a.steps.AddPlan(c.Request().Context(), actor(c), formID[journal.PlanID](f, "copy"), f.line("name"))
	if r, ok := refused(err); ok {
		return a.showPlans(c, f, r)
	}
	if err != nil {
		return err
	}
	return a.done(c, planPath(id), "The copy is made. Change it as you need it.")
}

// plan shows the form of a plan. GET /plans/:plan
func (a *App) plan(c echo.Context) error {
	p, err := a.storedPlan(c)
	if err != nil {
		return err
	}
	kept, err := a.kept(c, planPath(p.ID))
	if err != nil {
		return err
	}
	if kept != nil {
		return a.showPlan(c, p, planForm(formOf(kept)), refusal{})
	}
	form := filledPlan(p)
	if c.QueryParam("more") != "" {
		form.Stages = append(form.Stages, views.PlanStageForm{Number: strconv.Itoa(len(p.Stages) + 1)})
	}
	return a.showPlan(c, p, form, refusal{})
}

func (a *App) storedPlan(c echo.Context) (journal.Plan, error) {
	return a.steps.PlanShow(c.Request().Context(), actor(c), journal.PlanID(c.Param("plan")))
}

func (a *App) showPlan(c echo.Context, p journal.Plan, form views.PlanForm, r refusal) error {
	f, err := a.frame(c, p.Name)
	if err != nil {
		return err
	}
	r.on(&f)
	return a.show(c, r.answer(), views.PlanEdit{Frame: f, Plan: p, Form: form, Problems: r.problems})
}

// filledPlan fills the form from what is stored.
func filledPlan(p journal.Plan) views.PlanForm {
	form := views.PlanForm{Name: p.Name, Version: p.Version}
	for i, st := range p.Stages {
		form.Stages = append(form.Stages, views.PlanStageForm{
			Number: strconv.Itoa(i + 1), Name: st.Name, Days: strconv.Itoa(st.PlannedDays), Photos: strconv.Itoa(st.Gate.Photos),
			Checks: strings.Join(st.Gate.Checks, "\n"), Cautions: strings.Join(st.Cautions, "\n"), Teardown: st.Teardown,
		})
	}
	return form
}

// planForm gives back what was typed.
func planForm(f *form) views.PlanForm {
	form := views.PlanForm{Name: f.raw("name"), Version: f.version()}
	for i := range f.indexed("stages", maxPlanLines) {
		raw := func(name string) string { return f.raw(at("stages", i, name)) }
		form.Stages = append(form.Stages, views.PlanStageForm{
			Number: raw("number"), Name: raw("name"), Days: raw("days"), Photos: raw("photos"),
			Checks: raw("checks"), Cautions: raw("cautions"), Teardown: raw("teardown") != "", Drop: raw("drop") != "",
		})
	}
	return form
}

// planRow is a stage of a plan's form.
type planRow struct {
	line  int   // its number in the form
	place int64 // in thousandths
	stage journal.PlanStage
}

// planRows reads the stages in the order of the places typed; those without a
// place come last. Dropped lines, and lines with nothing in them, are left out.
func (f *form) planRows() []planRow {
	var rows []planRow
	for i := range f.indexed("stages", maxPlanLines) {
		field := func(name string) string { return at("stages", i, name) }
		if f.line(field("drop")) != "" || f.empty("stages", i, "name", "days", "photos", "checks", "cautions") {
			continue
		}
		rows = append(rows, planRow{i, f.place(field("number")), journal.PlanStage{
			Name: f.line(field("name")), PlannedDays: f.number(field("days"), 0, 1, 400),
			Gate:     journal.Gate{Photos: f.number(field("photos"), 0, 0, 500), Checks: f.lines(field("checks"))},
			Cautions: f.lines(field("cautions")), Teardown: f.raw(field("teardown")) != "",
		}})
	}
	slices.SortStableFunc(rows, func(a, b planRow) int { return cmp.Compare(a.place, b.place) })
	return rows
}

// lastPlace is behind every place that can be typed.
const lastPlace = 1 << 40

// place reads a place in an order, such as 3 or 3.5, in thousandths.
func (f *form) place(name string) int64 {
	if f.line(name) == "" {
		return lastPlace
	}
	place, ok := decimal(f.line(name), 3)
	if !ok {
		f.bad.Add(name, "Please type the place as a number, such as 3 or 3.5.")
	}
	return place
}

// planSave stores a plan's name and stages, in their new order.
// POST /plans/:plan
func (a *App) planSave(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	stored, err := a.storedPlan(c)
	if err != nil {
		return err
	}
	p := journal.Plan{ID: stored.ID, Name: f.line("name"), Version: f.version()}
	var lines []int
	for _, row := range f.planRows() {
		p.Stages, lines = append(p.Stages, row.stage), append(lines, row.line)
	}
	if err = f.check(renumbered(p.Validate(), "stages", lines)); err == nil {
		err = renumbered(a.steps.SavePlan(c.Request().Context(), actor(c), p), "stages", lines)
	}
	if r, ok := refused(err); ok {
		form := planForm(f)
		if r.late() {
			if stored, err = a.storedPlan(c); err != nil {
				return err
			}
			form.Version = stored.Version
		}
		return a.showPlan(c, stored, form, r)
	}
	if err != nil {
		return err
	}
	if f.raw("do") == "add" {
		return c.Redirect(http.StatusSeeOther, planPath(p.ID)+"?more=1#"+at("f-stages", len(p.Stages), "name"))
	}
	return a.done(c, planPath(p.ID), "The plan is saved.")
}
