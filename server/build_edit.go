package server

import (
	"strconv"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

// buildEdit shows the form of the truck and the build.
// GET /builds/:build/edit
func (a *App) buildEdit(c echo.Context) error {
	b := of(c).build
	kept, err := a.kept(c, c.Request().URL.Path)
	if err != nil {
		return err
	}
	if kept != nil {
		return a.showBuildEdit(c, b, buildForm(formOf(kept)), refusal{})
	}
	return a.showBuildEdit(c, b, filledBuild(b), refusal{})
}

// filledBuild fills the form from what is stored.
func filledBuild(b journal.Build) views.BuildForm {
	return views.BuildForm{
		Nickname: b.Nickname, Year: known(b.Truck.Year), Make: b.Truck.Make, Model: b.Truck.Model, Serial: b.Truck.Serial,
		Odometer: known(b.Truck.Odometer), Unit: b.Truck.Unit, Colour: b.Truck.Colour, Lead: string(b.LeadID),
		ArrivedOn: string(b.ArrivedOn), ReadyOn: string(b.ReadyOn), DeliveredOn: string(b.DeliveredOn), Version: b.Version,
	}
}

// known writes a number of which 0 says that it is not known.
func known(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

func (a *App) showBuildEdit(c echo.Context, stored journal.Build, form views.BuildForm, r refusal) error {
	leads, err := a.steps.Leads(c.Request().Context(), actor(c), stored.LeadID)
	if err != nil {
		return err
	}
	f, err := a.frame(c, "The truck and the build")
	if err != nil {
		return err
	}
	r.on(&f)
	return a.show(c, r.answer(), views.BuildEdit{Frame: f, Stored: stored, Form: form, Leads: leads, Problems: r.problems})
}

// buildSave stores what was typed about the truck and the build, the delivery
// included. POST /builds/:build/edit
func (a *App) buildSave(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	ctx, stored := c.Request().Context(), of(c).build
	change := flow.BuildChange{
		Version: f.version(), Nickname: f.line("nickname"), Truck: f.truck(), LeadID: formID[journal.PersonID](f, "lead"),
		ArrivedOn: f.date("arrived_on"), ReadyOn: f.date("ready_on"), DeliveredOn: f.date("delivered_on"),
	}
	if stored.State == journal.Delivered && change.Version == stored.Version && f.line("delivered_on") == "" {
		f.bad.Add("delivered_on", "The delivery is recorded; please give the day on which the truck left.")
	}
	if err = f.check(journal.Build{Nickname: change.Nickname, Truck: change.Truck}.Validate()); err == nil {
		err = a.steps.SaveBuild(ctx, actor(c), stored.ID, change)
	}
	if r, ok := refused(err); ok {
		form := buildForm(f)
		if r.late() {
			v, err := a.steps.BuildShow(ctx, actor(c), stored.ID)
			if err != nil {
				return err
			}
			stored, form.Version = v.Build, v.Build.Version
		}
		return a.showBuildEdit(c, stored, form, r)
	}
	if err != nil {
		return err
	}
	if change.DeliveredOn != stored.DeliveredOn && !change.DeliveredOn.IsZero() {
		return a.done(c, buildPath(stored.ID), "The delivery of "+change.Nickname+" is recorded.")
	}
	return a.done(c, buildPath(stored.ID), "Saved.")
}
