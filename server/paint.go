package server

import (
	"slices"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/coating"
	"farbay/journal/flow"
	"farbay/views"
)

func paintPath(build journal.BuildID, stage journal.StageID) string {
	return stagePath(build, stage) + "/paint"
}

// paintPart is a stage's paint record in a sentence, for the stage's page.
func (a *App) paintPart(c echo.Context, stage journal.StageID) (views.PaintPart, error) {
	v, err := a.steps.PaintOf(c.Request().Context(), actor(c), of(c).build.ID, stage)
	part := views.PaintPart{At: stagePath(of(c).build.ID, stage), Audience: v.Audience}
	gone := func(id journal.PaintID) bool { _, gone := v.Backs[id]; return gone }
	for _, m := range v.Mixes {
		if !gone(m.Mix.ID) {
			part.Mixes++
		}
	}
	for _, x := range v.Readings {
		if !gone(x.ID) {
			part.Readings++
		}
	}
	for _, x := range v.Used {
		if !gone(x.ID) {
			part.Used++
		}
	}
	return part, err
}

// paintShown is what the owner sees of a stage's paint record; nil for nothing.
func (a *App) paintShown(c echo.Context, w views.Words, stage journal.StageID) (*views.PaintShown, error) {
	v, err := a.steps.PaintOf(c.Request().Context(), actor(c), of(c).build.ID, stage)
	if err != nil || v.Empty() {
		return nil, err
	}
	shown := views.PaintShown{Words: w, Readings: v.Readings}
	for _, m := range v.Mixes {
		shown.Coats = append(shown.Coats, m.Mix)
	}
	return &shown, nil
}

// paintPage is what was typed on the page of a paint record, and refused.
type paintPage struct {
	reading *views.ReadingForm
	used    *views.UsedForm
	back    journal.PaintID // what was to be taken back
	reason  string
	refusal refusal
}

// paint shows a stage's paint record to the shop.
// GET /builds/:build/stages/:stage/paint
func (a *App) paint(c echo.Context) error {
	at := paintPath(of(c).build.ID, stageID(c))
	var p paintPage
	if kept, err := a.kept(c, at+"/readings"); err != nil {
		return err
	} else if kept != nil {
		form := readingForm(formOf(kept))
		p.reading = &form
	}
	if kept, err := a.kept(c, at+"/used"); err != nil {
		return err
	} else if kept != nil {
		form := usedForm(formOf(kept))
		p.used = &form
	}
	return a.showPaint(c, p)
}

func readingForm(f *form) views.ReadingForm {
	return views.ReadingForm{ID: f.raw("id"), Place: f.raw("place"), Coat: f.raw("coat"), Substrate: f.raw("substrate"), Film: f.raw("film"), Unit: f.raw("unit")}
}

func usedForm(f *form) views.UsedForm {
	return views.UsedForm{ID: f.raw("id"), Mix: f.raw("mix"), Product: f.raw("product"), Used: f.raw("used"), Unit: f.raw("used_unit"), For: f.raw("for")}
}

func (a *App) showPaint(c echo.Context, p paintPage) error {
	v, err := a.steps.PaintOf(c.Request().Context(), actor(c), of(c).build.ID, stageID(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Paint record")
	if err != nil {
		return err
	}
	p.refusal.on(&f)
	page := views.PaintRecord{Frame: f, Stage: v.Stage, Audience: v.Audience, Problems: p.refusal.problems}
	back := func(id journal.PaintID, by journal.PersonID, what string) views.BackLine {
		line := views.BackLine{Words: f.Words, ID: id, What: what}
		if b, gone := v.Backs[id]; gone {
			line.Gone, line.By, line.At, line.Why = true, v.Names[b.ByID], b.At, b.Reason
		} else if who := of(c).person; who.Role == journal.Office || who.ID == by {
			line.Action = paintPath(v.Build.ID, v.Stage.ID) + "/" + string(id) + "/back"
		}
		if id == p.back {
			line.Reason, line.Problems, page.Problems = p.reason, p.refusal.problems, nil
		}
		return line
	}
	for _, m := range slices.Backward(v.Mixes) {
		page.Mixes = append(page.Mixes, mixItem(m, v, back(m.Mix.ID, m.Mix.ByID, m.Mix.Product)))
	}
	for _, x := range slices.Backward(v.Readings) {
		page.Readings = append(page.Readings, views.ReadingItem{Reading: x, By: v.Names[x.ByID], Back: back(x.ID, x.ByID, "the reading at "+x.Place)})
	}
	for _, x := range slices.Backward(v.Used) {
		page.Used = append(page.Used, views.UsedItem{Used: x, By: v.Names[x.ByID], Back: back(x.ID, x.ByID, x.Product+" for "+x.For)})
	}
	page.Reading, page.UsedUp = a.readingFormOf(v), views.UsedForm{ID: a.newID(), Unit: string(coating.UsedGrams)}
	if p.reading != nil {
		page.Reading = *p.reading
	}
	if p.used != nil {
		page.UsedUp = *p.used
	}
	return a.show(c, p.refusal.answer(), page)
}

// readingFormOf is an empty form for a reading that has what the last one had: gauges
// are walked over one coat of one panel after the other.
func (a *App) readingFormOf(v flow.PaintView) views.ReadingForm {
	form := views.ReadingForm{ID: a.newID(), Unit: string(coating.Mil)}
	if n := len(v.Readings); n > 0 {
		last := v.Readings[n-1]
		form.Coat, form.Substrate, form.Unit = last.Coat, last.Substrate, string(last.Unit)
	}
	return form
}

func mixItem(m flow.MixView, v flow.PaintView, back views.BackLine) views.MixItem {
	item := views.MixItem{Mix: m.Mix, Total: m.Batch.Scale(), Done: m.Batch.Done(), By: v.Names[m.Mix.ByID], Back: back}
	for i, in := range m.Batch.In {
		if in > 0 {
			item.Parts = append(item.Parts, views.InCup{Name: m.Mix.Formula.Components[i].Name, In: in})
		}
	}
	return item
}

// paintReading records a film reading.
// POST /builds/:build/stages/:stage/paint/readings
func (a *App) paintReading(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, stage := of(c).build.ID, stageID(c)
	x := coating.Reading{
		ID: formID[journal.PaintID](f, "id"), BuildID: build, StageID: stage, Place: f.line("place"), Coat: f.line("coat"),
		Substrate: f.line("substrate"), Film: f.milli("film"), Unit: formID[coating.Unit](f, "unit"),
	}
	if err = f.check(x.Validate()); err == nil {
		err = a.steps.AddReading(c.Request().Context(), actor(c), x)
	}
	if r, ok := refused(err); ok {
		form := readingForm(f)
		return a.showPaint(c, paintPage{reading: &form, refusal: r})
	}
	if err != nil {
		return err
	}
	return a.done(c, paintPath(build, stage), "Recorded: "+views.Thickness(x)+" at "+x.Place+".")
}

// paintUsed records an amount used.
// POST /builds/:build/stages/:stage/paint/used
func (a *App) paintUsed(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, stage := of(c).build.ID, stageID(c)
	x := coating.Used{
		ID: formID[journal.PaintID](f, "id"), BuildID: build, StageID: stage, MixID: formID[journal.PaintID](f, "mix"), Product: f.line("product"),
		Amount: f.milli("used"), Unit: formID[coating.Unit](f, "used_unit"), For: f.line("for"),
	}
	if err = f.err(); err == nil {
		err = a.steps.AddUsed(c.Request().Context(), actor(c), x)
	}
	if r, ok := refused(err); ok {
		form := usedForm(f)
		return a.showPaint(c, paintPage{used: &form, refusal: r})
	}
	if err != nil {
		return err
	}
	return a.done(c, paintPath(build, stage), "Recorded.")
}

// paintBack takes a mix, a reading or an amount used back.
// POST /builds/:build/stages/:stage/paint/:paint/back
func (a *App) paintBack(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, stage := of(c).build.ID, stageID(c)
	err = a.steps.TakeBackPaint(c.Request().Context(), actor(c), build, stage, paintID(c), f.line("reason"))
	if r, ok := refused(err); ok {
		return a.showPaint(c, paintPage{back: paintID(c), reason: f.raw("reason"), refusal: r})
	}
	if err != nil {
		return err
	}
	return a.done(c, paintPath(build, stage), "Taken back. It stays in the record with your reason.")
}

// paintShow says whether the owner sees the record.
// POST /builds/:build/stages/:stage/paint/shown
func (a *App) paintShow(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, stage, audience := of(c).build.ID, stageID(c), formID[journal.Audience](f, "audience")
	err = a.steps.ShowPaint(c.Request().Context(), actor(c), build, stage, audience)
	if r, ok := refused(err); ok {
		return a.showPaint(c, paintPage{refusal: r})
	}
	if err != nil {
		return err
	}
	if audience == journal.OwnerToo {
		return a.done(c, paintPath(build, stage), "The owner sees it from now on, on the stage's page.")
	}
	return a.done(c, paintPath(build, stage), "It stays in the shop.")
}
