package server

import (
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/views"
)

func stageID(c echo.Context) journal.StageID { return journal.StageID(c.Param("stage")) }

// stage shows a stage: to the owner's side what happens in it, to the shop its
// gate and acts. GET /builds/:build/stages/:stage
func (a *App) stage(c echo.Context) error {
	if !of(c).person.Role.Staff() {
		return a.ownerStage(c)
	}
	kept, err := a.kept(c, stagePath(of(c).build.ID, stageID(c))+"/reopen")
	if err != nil {
		return err
	}
	typed, err := a.keptWork(c)
	if err != nil {
		return err
	}
	return a.staffStage(c, formOf(kept).raw("reason"), refusal{}, typed)
}

// staffStage shows a stage to the shop, with what was typed to reopen it or to log
// work on it.
func (a *App) staffStage(c echo.Context, reason string, r refusal, typed ...typedWork) error {
	ctx, build := c.Request().Context(), of(c).build.ID
	v, err := a.steps.StageOf(ctx, actor(c), build, stageID(c))
	if err != nil {
		return err
	}
	photos, err := a.steps.StagePhotosOf(ctx, actor(c), build, v.Stage.ID, stagePhotos)
	if err != nil {
		return err
	}
	f, err := a.frame(c, v.Stage.Name)
	if err != nil {
		return err
	}
	r.on(&f)
	page := views.StaffStage{
		Frame: f, Stage: v.Stage, Dropped: v.Dropped, Stopped: v.Build.State == journal.Stopped, Lead: v.Lead.Name, PhotosHave: v.Gate.Photos, Missing: v.Gate.Missing(),
		Reason: reason, Problems: r.problems,
	}
	if page.Work, err = a.workPiece(c, f, v.Stage.ID, typed...); err != nil {
		return err
	}
	if page.Set, err = a.photoSet(c, v.Stage.ID); err != nil {
		return err
	}
	for _, p := range photos {
		page.Photos = append(page.Photos, views.NewPhotoView(f.Words, p, "", "stage="+string(v.Stage.ID)))
	}
	if page.Paint, err = a.paintPart(c, v.Stage.ID); err != nil {
		return err
	}
	addGate(&page, v)
	for _, o := range v.Late {
		page.Late = append(page.Late, invoiceItem(o.Invoice, billing.Balance{Open: o.Open}, v.Stages, journal.DateOf(a.now(), f.Zone)))
	}
	if of(c).person.Role == journal.Office {
		page.Changes = v.Row.Changes
		if v.WouldBill {
			page.Follows = &v.Next
		}
	}
	return a.show(c, r.answer(), page)
}

// addGate adds a stage's gate, its turns, and the stages before and after it.
func addGate(page *views.StaffStage, v flow.StageView) {
	for i, st := range v.Stages {
		if i+1 < len(v.Stages) && v.Stages[i+1].ID == v.Stage.ID {
			page.Previous = &v.Stages[i]
		}
		if i > 0 && v.Stages[i-1].ID == v.Stage.ID {
			page.Next = &st
		}
	}
	for _, check := range v.Gate.Checks {
		page.Checks = append(page.Checks, views.CheckLine{Text: check.Text, Done: check.Done, By: check.ByName, At: check.At})
	}
	for _, p := range v.Gate.PapersOut {
		page.PapersOut = append(page.PapersOut, views.PaperItem{
			ID: p.ID, Kind: p.Kind, Number: p.Number, Title: p.Draft.Title, State: p.State, Revision: p.Revision,
		})
	}
	page.NeedsLeave, page.LeaveOut, page.AskOffice = v.NeedsLeave, v.LeaveOut, v.AskOffice
	for i, turn := range v.Turns {
		page.Turns = append(page.Turns, views.TurnLine{Turn: turn, By: v.Names[turn.ByID], First: i == 0})
	}
}

// stageOpen puts a stage under way; with "though", in spite of late invoices.
// POST /builds/:build/stages/:stage/open
func (a *App) stageOpen(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	ctx, build, id := c.Request().Context(), of(c).build.ID, stageID(c)
	if f.has("though") {
		err = a.steps.OpenStageThough(ctx, actor(c), build, id, f.line("reason"))
	} else {
		err = a.steps.OpenStage(ctx, actor(c), build, id)
	}
	if r, ok := refused(err); ok {
		return a.staffStage(c, f.raw("reason"), r)
	}
	if err != nil {
		return err
	}
	return a.done(c, stagePath(build, id), "The stage is under way.")
}

// stageClose checks the gate, closes the stage and bills it; what is missing is
// said on the stage's page. POST /builds/:build/stages/:stage/close
func (a *App) stageClose(c echo.Context) error {
	ctx, build, id := c.Request().Context(), of(c).build.ID, stageID(c)
	inv, billed, err := a.steps.CloseStage(ctx, actor(c), build, id)
	if r, ok := refused(err); ok {
		// What the gate misses is listed beside it; no field is to blame.
		r.problems, r.sentence = nil, journal.MessageOf(err)
		return a.staffStage(c, "", r)
	}
	if err != nil {
		return err
	}
	if !billed {
		return a.done(c, stagePath(build, id), "The stage is closed. There was nothing left to bill.")
	}
	return a.done(c, invoicePath(build, inv.ID),
		"The stage is closed. "+views.UpperFirst(inv.Document.Name())+" is issued, and the owner has it by e-mail.")
}

// stageReopen puts a closed stage under way again.
// POST /builds/:build/stages/:stage/reopen
func (a *App) stageReopen(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, id := of(c).build.ID, stageID(c)
	err = a.steps.ReopenStage(c.Request().Context(), actor(c), build, id, f.line("reason"), f.line("invoices") == "credit")
	if r, ok := refused(err); ok {
		return a.staffStage(c, f.raw("reason"), r)
	}
	if err != nil {
		return err
	}
	return a.done(c, stagePath(build, id), reopenedSays(f.line("invoices") == "credit"))
}

// stageCheck ticks a check of the gate, or takes the tick away.
// POST /builds/:build/stages/:stage/check
func (a *App) stageCheck(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, id, text, done := of(c).build.ID, stageID(c), f.raw("text"), f.line("done")
	if done != "yes" && done != "no" {
		return journal.Errorf(journal.Invalid, "It was not said whether the check is done; please tick it on the stage's page.")
	}
	err = a.steps.TickCheck(c.Request().Context(), actor(c), build, id, text, done == "yes")
	if r, ok := refused(err); ok {
		return a.staffStage(c, "", r)
	}
	if err != nil {
		return err
	}
	said := "Ticked: " + strings.TrimSuffix(text, ".") + "."
	if done == "no" {
		said = "No longer ticked: " + strings.TrimSuffix(text, ".") + "."
	}
	return a.done(c, stagePath(build, id)+"#f-gate", said)
}

// stageEdit shows the form of a stage.
// GET /builds/:build/stages/:stage/edit
func (a *App) stageEdit(c echo.Context) error {
	v, err := a.steps.StageOf(c.Request().Context(), actor(c), of(c).build.ID, stageID(c))
	if err != nil {
		return err
	}
	kept, err := a.kept(c, c.Request().URL.Path)
	if err != nil {
		return err
	}
	if kept != nil {
		return a.showStageEdit(c, v.Stage, stageForm(formOf(kept)), refusal{})
	}
	return a.showStageEdit(c, v.Stage, filledStage(v.Stage), refusal{})
}

func (a *App) showStageEdit(c echo.Context, stored journal.Stage, form views.StageForm, r refusal) error {
	leads, err := a.steps.Leads(c.Request().Context(), actor(c), stored.LeadID)
	if err != nil {
		return err
	}
	f, err := a.frame(c, stored.Name)
	if err != nil {
		return err
	}
	r.on(&f)
	return a.show(c, r.answer(), views.StageEdit{
		Frame: f, Stage: stored, Fixed: of(c).build.State != journal.Scoping, Form: form, Leads: leads, Problems: r.problems,
	})
}

// filledStage fills the form from what is stored.
func filledStage(st journal.Stage) views.StageForm {
	return views.StageForm{
		Name: st.Name, Days: strconv.Itoa(st.PlannedDays), From: string(st.PlannedFrom), To: string(st.PlannedTo), Lead: string(st.LeadID),
		Photos: strconv.Itoa(st.Gate.Photos), Checks: strings.Join(st.Gate.Checks, "\n"), Cautions: strings.Join(st.Cautions, "\n"),
		Pricing: views.PricingOf(st.Metered), Teardown: st.Teardown, Version: st.Version,
	}
}

// stageForm gives back what was typed.
func stageForm(f *form) views.StageForm {
	return views.StageForm{
		Name: f.raw("name"), Days: f.raw("days"), From: f.raw("from"), To: f.raw("to"), Lead: f.raw("lead"),
		Photos: f.raw("photos"), Checks: f.raw("checks"), Cautions: f.raw("cautions"), Pricing: f.raw("pricing"),
		Teardown: f.raw("teardown") != "", Version: f.version(),
	}
}

// metered reads how a stage is priced; was stands where the form does not ask.
func (f *form) metered(name string, was bool) bool {
	if !f.has(name) {
		return was
	}
	said := f.line(name)
	if said != views.PricedFixed && said != views.PricedMetered {
		f.bad.Add(name, "Please choose a fixed price, or time and materials.")
	}
	return said == views.PricedMetered
}

// stageSave stores a stage's name, plan, lead, gate and cautions.
// POST /builds/:build/stages/:stage/edit
func (a *App) stageSave(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	ctx, build, id := c.Request().Context(), of(c).build.ID, stageID(c)
	stored, err := a.steps.StageOf(ctx, actor(c), build, id)
	if err != nil {
		return err
	}
	change := flow.StageChange{
		Version: f.version(), Name: f.line("name"), PlannedDays: f.number("days", 0, 1, 400), PlannedFrom: f.date("from"), PlannedTo: f.date("to"),
		LeadID: formID[journal.PersonID](f, "lead"), Gate: journal.Gate{Photos: f.number("photos", 0, 0, 500), Checks: f.lines("checks")},
		Cautions: f.lines("cautions"), Teardown: f.raw("teardown") != "", Metered: f.metered("pricing", stored.Stage.Metered),
	}
	if err = f.check(journal.Stage{
		Name: change.Name, PlannedDays: change.PlannedDays, PlannedFrom: change.PlannedFrom, PlannedTo: change.PlannedTo,
		Gate: change.Gate, Cautions: change.Cautions,
	}.Validate()); err == nil {
		err = a.steps.SaveStage(ctx, actor(c), build, id, change)
	}
	if r, ok := refused(err); ok {
		v, err := a.steps.StageOf(ctx, actor(c), build, id)
		if err != nil {
			return err
		}
		form := stageForm(f)
		if r.late() {
			form.Version = v.Stage.Version
		}
		return a.showStageEdit(c, v.Stage, form, r)
	}
	if err != nil {
		return err
	}
	return a.done(c, stagePath(build, id), "Saved.")
}

func reopenedSays(credited bool) string {
	if credited {
		return "The stage is under way again. Its invoices are taken back by credit memos, and closing it bills everything anew."
	}
	return "The stage is under way again. What was billed stays billed."
}
