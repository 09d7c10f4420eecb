package server

import (
	"cmp"
	"io"
	"mime/multipart"
	"net/http"
	"strconv"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

func workID(c echo.Context) journal.WorkID { return journal.WorkID(c.Param("work")) }

// workPath is where the log of a stage stands.
func workPath(build journal.BuildID, stage journal.StageID) string {
	return stagePath(build, stage) + "#work"
}

// typedWork is what somebody typed to log work or to take it back, and what was
// wrong with it. The zero value is nothing.
type typedWork struct {
	form     views.WorkForm
	which    string // "labour", "bought" or the id of the work to take back; "" for nothing
	reason   string
	problems journal.Problems
}

// workForm gives back what was typed.
func workForm(f *form) typedWork {
	t := typedWork{which: "bought", form: views.WorkForm{
		ID: f.raw("id"), Kind: f.raw("kind"), Day: f.raw("day"), Text: f.raw("text"), Person: f.raw("person"), Hours: f.raw("hours"),
		Quarter: f.raw("quarter"), Typed: f.raw("typed"), Rate: f.raw("rate"), Cost: f.raw("cost"), MarkUp: f.raw("mark_up"),
	}}
	if t.form.Kind == string(journal.Labour) {
		t.which = "labour"
	}
	return t
}

// keptWork is what somebody had typed when their session ran out.
func (a *App) keptWork(c echo.Context) (typedWork, error) {
	kept, err := a.kept(c, stagePath(of(c).build.ID, stageID(c))+"/work")
	if kept == nil || err != nil {
		return typedWork{}, err
	}
	return workForm(formOf(kept)), nil
}

// workPiece puts what is logged on a stage into the form pages show, as far as the
// reader may see it.
func (a *App) workPiece(c echo.Context, f views.Frame, stage journal.StageID, typed ...typedWork) (views.WorkPiece, error) {
	l, err := a.steps.WorkOf(c.Request().Context(), actor(c), of(c).build.ID, stage)
	if err != nil {
		return views.WorkPiece{}, err
	}
	build, me := of(c).build.ID, of(c).person
	p := views.WorkPiece{
		Words: f.Words, At: stagePath(build, stage), BuildURL: buildPath(build), StageID: stage, Metered: l.Stage.Metered,
		Staff: me.Role.Staff(), Office: me.Role == journal.Office, Metering: l.Metering, ToBill: l.ToBill, Open: l.Open,
		Near: l.Open && !l.ChangeOn && l.Metering.Used() >= flow.NearCeiling,
	}
	addWorkLines(&p, build, l.Lines)
	if !l.Open {
		return p, nil
	}
	today := string(journal.DateOf(a.now(), f.Zone))
	p.Labour = views.WorkForm{ID: a.newID(), Person: string(me.ID), Day: today, Hours: "0", Quarter: "0", Rate: l.Rate.String()}
	p.Bought = views.WorkForm{ID: a.newID(), Kind: string(journal.Parts), Day: today, MarkUp: billing.FormatRate(l.MarkUp)}
	for _, who := range l.People {
		p.Workers = append(p.Workers, views.Option{Value: string(who.ID), Text: who.Name})
	}
	for _, t := range typed {
		p.Wrong, p.Reason, p.Problems = t.which, t.reason, t.problems
		switch t.which {
		case "labour":
			p.Labour = t.form
		case "bought":
			p.Bought = t.form
		}
	}
	return p, nil
}

// addWorkLines adds the lines by day, and what they come to.
func addWorkLines(p *views.WorkPiece, build journal.BuildID, lines []flow.WorkLine) {
	people := map[string]int{}
	for _, l := range lines {
		if n := len(p.Days); n == 0 || p.Days[n-1].Day != l.Work.Day {
			p.Days = append(p.Days, views.WorkDay{Day: l.Work.Day})
		}
		day := &p.Days[len(p.Days)-1]
		day.Lines = append(day.Lines, workLine(build, l))
		switch l.Work.Kind {
		case journal.Parts:
			p.Parts += l.Work.Amount
		case journal.Outside:
			p.Outside += l.Work.Amount
		default:
			i, known := people[string(l.Work.PersonID)]
			if !known {
				i = len(p.People)
				people[string(l.Work.PersonID)] = i
				p.People = append(p.People, views.WorkTotal{Person: l.Person})
			}
			p.People[i].Minutes += l.Work.Minutes
			p.People[i].Amount += l.Work.Amount
		}
	}
}

func workLine(build journal.BuildID, l flow.WorkLine) views.WorkLine {
	w := l.Work
	line := views.WorkLine{
		ID: w.ID, Kind: w.Kind, Text: w.Text, Person: l.Person, Minutes: w.Minutes, Rate: w.Rate, Cost: w.Cost, MarkUp: w.MarkUp, Amount: w.Amount,
		By: l.By, Reason: w.Reason, Gone: l.Gone, FileName: w.FileName, MayTake: l.MayTake,
	}
	if w.FileSHA256 != "" {
		line.File = buildPath(build) + "/work/" + string(w.ID) + "/file"
	}
	if d := l.Document; d != nil {
		line.Billed = &views.Link{Text: d.Name(), Href: invoicePath(build, journal.InvoiceID(d.ID))}
	}
	return line
}

// workLog logs hours, parts or outside work.
// POST /builds/:build/stages/:stage/work
func (a *App) workLog(c echo.Context) error {
	build, stage := of(c).build.ID, stageID(c)
	in := flow.NewWork{StageID: stage}
	values, err := readParts(c.Request(), maxFormBytes, func(part *multipart.Part) (err error) {
		if part.FormName() != "file" || in.File != nil {
			return nil
		}
		in.FileName = part.FileName()
		in.File, err = io.ReadAll(io.LimitReader(part, signoff.MaxScanBytes+1))
		return err
	})
	if err != nil {
		return err
	}
	f := formOf(values)
	f.readWork(&in, of(c).person.Role == journal.Office)
	if err = f.err(); err == nil {
		err = a.steps.LogWork(c.Request().Context(), actor(c), build, in)
	}
	if r, ok := refused(err); ok {
		typed := workForm(f)
		typed.problems, r.problems = r.problems, nil
		return a.staffStage(c, "", r, typed)
	}
	if err != nil {
		return err
	}
	return a.done(c, workPath(build, stage), "Logged.")
}

// readWork reads the form of one kind.
func (f *form) readWork(in *flow.NewWork, office bool) {
	in.ID, in.Kind, in.Day, in.Text = formID[journal.WorkID](f, "id"), formID[journal.LineKind](f, "kind"), f.date("day"), f.text("text")
	if in.Kind == journal.Labour {
		in.PersonID, in.Minutes = formID[journal.PersonID](f, "person"), f.hoursOfDay()
		if office {
			rate := f.cents("rate")
			in.Rate = &rate
		}
		return
	}
	in.Cost = f.cents("cost")
	if office {
		markUp, err := billing.ParseRate(cmp.Or(f.line("mark_up"), "0"))
		if err != nil {
			f.bad.Add("mark_up", "%s", journal.MessageOf(err))
		}
		in.MarkUp = &markUp
	}
}

// hoursOfDay returns the hours that were typed or, when none were, tapped, in
// minutes.
func (f *form) hoursOfDay() int {
	if f.line("typed") != "" {
		return f.minutes("typed")
	}
	return f.number("hours", 0, 0, 24)*60 + f.number("quarter", 0, 0, 59)
}

// workTakeBack takes logged work back.
// POST /builds/:build/stages/:stage/work/:work/take-back
func (a *App) workTakeBack(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, stage := of(c).build.ID, stageID(c)
	err = a.steps.TakeBackWork(c.Request().Context(), actor(c), build, workID(c), f.line("reason"))
	if r, ok := refused(err); ok {
		typed := typedWork{which: string(workID(c)), reason: f.raw("reason"), problems: r.problems}
		r.problems = nil
		return a.staffStage(c, "", r, typed)
	}
	if err != nil {
		return err
	}
	return a.done(c, workPath(build, stage), "Taken back. Both records stay to be seen.")
}

// workBill bills the logged work of a stage so far.
// POST /builds/:build/stages/:stage/bill
func (a *App) workBill(c echo.Context) error {
	build, stage := of(c).build.ID, stageID(c)
	inv, err := a.steps.BillWork(c.Request().Context(), actor(c), build, stage)
	if r, ok := refused(err); ok {
		return a.staffStage(c, "", r)
	}
	if err != nil {
		return err
	}
	return a.done(c, invoicePath(build, inv.ID), views.UpperFirst(inv.Document.Name())+" is issued, and the owner has it by e-mail.")
}

// workFile gives out the supplier's invoice of logged work.
// GET /builds/:build/work/:work/file
func (a *App) workFile(c echo.Context) error {
	file, err := a.steps.WorkFileOf(c.Request().Context(), actor(c), of(c).build.ID, workID(c))
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, contentDisposition(file.Name))
	return c.Blob(http.StatusOK, file.ContentType, file.Data)
}

// chargeFrom is the one way from a charge to the page, and the place on it, that it
// comes from. uses are the build's.
func chargeFrom(build journal.BuildID, c billing.Charge, stages []journal.Stage, uses []signoff.Use) views.Link {
	paper, use, work := flow.SourceOf(c)
	stage := stageName(stages, journal.StageID(c.StageID))
	at := stagePath(build, journal.StageID(c.StageID))
	switch {
	case paper != "":
		return views.Link{Text: "the signed paper", Href: paperPath(build, paper)}
	case use != "":
		href := buildPath(build) + "/allowance"
		for _, u := range uses {
			if u.ID == use {
				href += "#use-" + strconv.Itoa(u.Number)
			}
		}
		return views.Link{Text: "the standing allowance", Href: href}
	case work != "":
		return views.Link{Text: "the work logged on " + stage, Href: at + "#work-" + string(work)}
	case c.Source == billing.CeilingHeld:
		return views.Link{Text: "the ceiling of " + stage, Href: at + "#work"}
	}
	return views.Link{Text: "the agreed value of " + stage, Href: at}
}

// invoiceLines are a document's charges with what they come from.
func invoiceLines(v flow.InvoiceView) []views.InvoiceLine {
	var lines []views.InvoiceLine
	for _, c := range v.Invoice.Document.Charges {
		line := views.InvoiceLine{Charge: c, From: chargeFrom(v.Invoice.BuildID, c, v.Money.Stages, v.Uses)}
		if w, logged := v.Works[c.Ref]; logged {
			shown := workLine(v.Invoice.BuildID, w)
			line.Work, line.Day = &shown, w.Work.Day
		}
		lines = append(lines, line)
	}
	return lines
}
