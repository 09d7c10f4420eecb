package server

import (
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/coating"
	"farbay/views"
)

func paintID(c echo.Context) journal.PaintID { return journal.PaintID(c.Param("paint")) }

func mixPath(build journal.BuildID, stage journal.StageID, mix journal.PaintID) string {
	return stagePath(build, stage) + "/mix/" + string(mix)
}

// mixNew shows the form for a mix, with the formula of an earlier one when the query
// names it; those used last on the build are offered.
// GET /builds/:build/stages/:stage/mix
func (a *App) mixNew(c echo.Context) error {
	kept, err := a.kept(c, c.Request().URL.Path)
	if err != nil {
		return err
	}
	if kept != nil {
		return a.showMixNew(c, mixForm(formOf(kept)), refusal{})
	}
	form := views.MixForm{ID: a.newID(), By: "weight", Densities: "g/mL", Step: "0.1", AskedIn: "g"}
	v, err := a.steps.PaintOf(c.Request().Context(), actor(c), of(c).build.ID, stageID(c))
	if err != nil {
		return err
	}
	from := v.Formulas
	for _, m := range v.Mixes {
		from = append(from, m.Mix) // older ones, too
	}
	for _, m := range from {
		if string(m.ID) == c.QueryParam("from") {
			form = filledMix(m)
			form.ID = a.newID()
		}
	}
	return a.showMixNew(c, form, refusal{})
}

// moreLines is how many empty lines for components a form has below the typed ones.
const moreLines = 3

func (a *App) showMixNew(c echo.Context, form views.MixForm, r refusal) error {
	v, err := a.steps.PaintOf(c.Request().Context(), actor(c), of(c).build.ID, stageID(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Mix paint")
	if err != nil {
		return err
	}
	r.on(&f)
	for range moreLines {
		if len(form.Components) < coating.MaxComponents {
			form.Components = append(form.Components, views.ComponentForm{})
		}
	}
	return a.show(c, r.answer(), views.MixNew{
		Frame: f, Stage: v.Stage, Form: form, Earlier: v.Formulas, Chosen: journal.PaintID(c.QueryParam("from")), Problems: r.problems,
	})
}

// filledMix fills the form from a mix whose formula is used again.
func filledMix(m coating.Mix) views.MixForm {
	form := views.MixForm{
		Product: m.Product, Colour: m.Colour, Lot: m.Lot, By: string(m.Formula.By), Densities: string(m.Formula.Densities), Step: "0.1", AskedIn: "g",
	}
	if m.Formula.Step == coating.Gram {
		form.Step = "1"
	}
	if form.Densities == "" {
		form.Densities = string(coating.GramsPerMillilitre)
	}
	for _, component := range m.Formula.Components {
		line := views.ComponentForm{Name: component.Name, Parts: component.Parts.String()}
		if component.Density > 0 {
			line.Density = component.Density.String()
		}
		form.Components = append(form.Components, line)
	}
	return form
}

// mixForm gives back what was typed, without lines that are empty.
func mixForm(f *form) views.MixForm {
	typed := views.MixForm{
		ID: f.raw("id"), Product: f.raw("product"), Colour: f.raw("colour"), Lot: f.raw("lot"), For: f.raw("for"), By: f.raw("by"),
		Densities: f.raw("densities"), Step: f.raw("step"), Amount: f.raw("amount"), AskedIn: f.raw("unit"),
	}
	for i := range f.indexed("components", coating.MaxComponents) {
		line := views.ComponentForm{Name: f.raw(at("components", i, "name")), Parts: f.raw(at("components", i, "parts")), Density: f.raw(at("components", i, "density"))}
		if line != (views.ComponentForm{}) {
			typed.Components = append(typed.Components, line)
		}
	}
	return typed
}

// milli returns a decimal number; nothing typed is 0.
func (f *form) milli(name string) coating.Milli { return f.milliOf(name, f.raw(name)) }

// milliOf reads what was typed into the named field.
func (f *form) milliOf(name, text string) coating.Milli {
	if journal.CleanLine(text) == "" {
		return 0
	}
	n, err := coating.ParseMilli(text)
	if err != nil {
		f.bad.Add(name, "%s", journal.MessageOf(err))
	}
	return n
}

// formula reads the formula of a mix. Its lines are numbered as they are shown
// again: without those that are empty.
func (f *form) formula(typed views.MixForm) coating.Formula {
	formula := coating.Formula{By: coating.By(typed.By)}
	switch typed.Step {
	case "0.1":
		formula.Step = coating.Tenth
	case "1":
		formula.Step = coating.Gram
	}
	volume := formula.By == coating.ByVolume
	if volume {
		formula.Densities = coating.DensityUnit(typed.Densities)
	}
	for i, line := range typed.Components {
		component := coating.Component{Name: journal.CleanLine(line.Name), Parts: f.milliOf(at("components", i, "parts"), line.Parts)}
		if volume {
			component.Density = f.milliOf(at("components", i, "density"), line.Density)
		}
		formula.Components = append(formula.Components, component)
	}
	return formula
}

// mixStart records a mix and leads to the page beside the scale; with the button for
// more lines it shows the form again. POST /builds/:build/stages/:stage/mix
func (a *App) mixStart(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, stage, typed := of(c).build.ID, stageID(c), mixForm(f)
	if f.line("do") == "more" {
		return a.showMixNew(c, typed, refusal{})
	}
	m := coating.Mix{
		ID: formID[journal.PaintID](f, "id"), BuildID: build, StageID: stage, Product: f.line("product"), Colour: f.line("colour"),
		Lot: f.line("lot"), For: f.line("for"), Formula: f.formula(typed),
	}
	amount, unit := f.milli("amount"), coating.AmountUnit(typed.AskedIn)
	if m.Formula.Validate() == nil { // else what it weighs cannot be said
		m.Amount, err = m.Formula.Weigh(amount, unit)
		if err = f.add(err); err != nil {
			return err
		}
	}
	if err = f.check(m.Validate()); err == nil {
		err = a.steps.StartMix(c.Request().Context(), actor(c), m)
	}
	if r, ok := refused(err); ok {
		return a.showMixNew(c, typed, r)
	}
	if err != nil {
		return err
	}
	return a.done(c, mixPath(build, stage, m.ID), "")
}

// mix shows the page beside the scale. GET /builds/:build/stages/:stage/mix/:paint
func (a *App) mix(c echo.Context) error { return a.showMix(c, "", refusal{}) }

func (a *App) showMix(c echo.Context, scale string, r refusal) error {
	m, v, err := a.steps.MixOf(c.Request().Context(), actor(c), of(c).build.ID, stageID(c), paintID(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, m.Mix.Product)
	if err != nil {
		return err
	}
	r.on(&f)
	page := views.Mixing{
		Frame: f, Stage: v.Stage, Mix: m.Mix, Batch: m.Batch, Number: len(m.Pours) + 1, By: v.Names[m.Mix.ByID], Scale: scale, Problems: r.problems,
	}
	if back, gone := v.Backs[m.Mix.ID]; gone {
		page.Back, page.BackBy = &back, v.Names[back.ByID]
	}
	return a.show(c, r.answer(), page)
}

// mixPour records an act beside the scale.
// POST /builds/:build/stages/:stage/mix/:paint
func (a *App) mixPour(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	ctx, build, stage, id := c.Request().Context(), of(c).build.ID, stageID(c), paintID(c)
	m, _, err := a.steps.MixOf(ctx, actor(c), build, stage, id)
	if err != nil {
		return err
	}
	number, _ := strconv.Atoi(f.line("number")) // one that cannot be read is refused as an old one
	pour, said := coating.Pour{}, ""
	switch f.line("do") {
	case "poured":
		pour = coating.Pour{Act: coating.Poured, Component: f.number("component", -1, 0, coating.MaxComponents)}
		if pour.Scale, err = coating.ParseWeight(f.raw("scale"), m.Mix.Formula.Step); err != nil {
			f.bad.Add("scale", "%s", journal.MessageOf(err))
		}
	case "back":
		pour, said = coating.Pour{Act: coating.TakenBack}, "The last one does not count any more."
	case "left":
		pour, said = coating.Pour{Act: coating.Left}, "Left as it is; go on with the next."
	}
	if err = f.err(); err == nil {
		err = a.steps.Pour(ctx, actor(c), build, stage, id, number, pour)
	}
	if r, ok := refused(err); ok {
		scale := f.raw("scale")
		if r.status == http.StatusConflict {
			scale = ""
		}
		return a.showMix(c, scale, r)
	}
	if err != nil {
		return err
	}
	return a.done(c, mixPath(build, stage, id), said)
}
