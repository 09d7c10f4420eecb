package server

import (
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

// ownerBuild shows a build to its owners: what is going on, what waits on
// them, and the journal. It is GET /builds/:build for them.
func (a *App) ownerBuild(c echo.Context) error {
	ctx, build := c.Request().Context(), of(c).build.ID
	since, err := a.steps.Look(ctx, actor(c), build)
	if err != nil {
		return err
	}
	o, err := a.steps.OwnerOverview(ctx, actor(c), build, since)
	if err != nil {
		return err
	}
	v, err := a.steps.JournalPage(ctx, actor(c), build, flow.EntryQuery{})
	if err != nil {
		return err
	}
	f, err := a.frame(c, o.Build.Nickname)
	if err != nil {
		return err
	}
	page := views.OwnerBuild{
		Frame: f, Plate: views.NewPlate(f.Words, o.Build), State: o.Build.State, Coats: coats(o.Stages),
		Sums: views.SumsOf(o.Statement), Journal: journalPiece(f.Words, v, flow.EntryQuery{}, since, false),
	}
	page.Delegates = parties(o.Delegates)
	if page.Ending, err = a.endingView(c, f.Words, o.Statement.DepositUnearned); err != nil {
		return err
	}
	for _, line := range o.Stages {
		page.StageAt = append(page.StageAt, stagePath(build, line.Stage.ID))
	}
	if o.Newest != nil {
		photo := newestPhoto(f.Words, o)
		page.Photo = &photo
	}
	if page.Waiting, err = waitings(f.Words, o); err != nil {
		return err
	}
	if page.Said, err = said(f.Words, o); err != nil {
		return err
	}
	return a.show(c, http.StatusOK, page)
}

func stagePath(build journal.BuildID, stage journal.StageID) string {
	return "/builds/" + string(build) + "/stages/" + string(stage)
}

// newestPhoto is the photo at the head of a build.
func newestPhoto(w views.Words, o flow.OwnerOverview) views.PhotoView {
	caption := ""
	for _, p := range o.NewestIn.Photos {
		if p.PhotoID == o.Newest.ID {
			caption = p.Caption
		}
	}
	return views.NewPhotoView(w, *o.Newest, caption, "entry="+string(o.NewestIn.ID))
}

// coats puts stages into the strip.
func coats(lines []flow.StageLine) []views.Coat {
	var all []views.Coat
	for _, l := range lines {
		all = append(all, views.Coat{Name: l.Stage.Name, State: l.Stage.State, Dropped: l.Dropped, Days: l.Stage.PlannedDays, Done: l.Done})
	}
	return all
}

// said joins the sentences on where a build stands.
func said(w views.Words, o flow.OwnerOverview) (string, error) {
	sentences, err := o.Say(w)
	text := ""
	for i, s := range sentences {
		if i > 0 {
			text += " "
		}
		text += s
	}
	return text, err
}

// waitings are the zinc tabs of what waits on an owner: papers, then payments.
func waitings(w views.Words, o flow.OwnerOverview) ([]views.Waiting, error) {
	var all []views.Waiting
	at := "/builds/" + string(o.Build.ID)
	for _, p := range o.Papers {
		since, err := w.DayOf(p.SentAt)
		if err != nil {
			return nil, err
		}
		effect, err := w.PaperDoes(p.Sheet)
		if err != nil {
			return nil, err
		}
		all = append(all, views.Waiting{
			Heading: p.Sheet.Title, Sentence: paperTitle(p.Paper) + " waits for your decision since " + since + ".",
			Effect: effect, Href: paperPath(o.Build.ID, p.Paper.ID), Act: "Read it and decide",
		})
	}
	for _, p := range o.ToConfirm {
		effect, err := w.PaperDoes(p.Sheet)
		if err != nil {
			return nil, err
		}
		all = append(all, views.Waiting{
			Heading: p.Sheet.Title, Sentence: paperTitle(p.Paper) + " was agreed by phone. Is that so?",
			Effect: effect, Href: paperPath(o.Build.ID, p.Paper.ID), Act: "See it and confirm",
		})
	}
	for _, b := range o.Belongings {
		all = append(all, views.Waiting{
			Heading: views.UpperFirst(b.What), Sentence: "The shop found it in your truck. What is to become of it?",
			Href: entryPath(o.Build.ID, b.EntryID), Act: "See it first", Belonging: &views.BelongingForm{BuildID: o.Build.ID, EntryID: b.EntryID, What: b.What},
		})
	}
	for _, open := range o.Invoices {
		one, err := invoiceWaiting(w, o.Build.ID, open)
		if err != nil {
			return nil, err
		}
		all = append(all, one)
	}
	if o.DepositDue > 0 {
		amount, err := w.Money(o.DepositDue)
		if err != nil {
			return nil, err
		}
		all = append(all, views.Waiting{
			Heading: "The deposit", Sentence: "It was agreed with the build, and work goes on as soon as it is in.",
			Effect: amount, Href: at + "/money", Act: "See the statement",
		})
	}
	return all, nil
}

func invoiceWaiting(w views.Words, build journal.BuildID, open flow.OpenInvoice) (views.Waiting, error) {
	d := open.Invoice.Document
	amount, err := w.Money(open.Open)
	if err != nil {
		return views.Waiting{}, err
	}
	due, err := w.Day(d.DueOn)
	if err != nil {
		return views.Waiting{}, err
	}
	sentence := "It is to be paid by " + due + "."
	if open.Late > 0 {
		sentence = "It was to be paid by " + due + ", " + views.Plural(open.Late, "day", "days") + " ago."
	}
	return views.Waiting{
		Heading: views.UpperFirst(d.Name()), Sentence: sentence, Effect: amount,
		Href: invoicePath(build, open.Invoice.ID), Act: "See what it is for",
	}, nil
}

// stagePhotos is how many of a stage's photos stand on its page.
const stagePhotos = 48

// ownerStage shows a stage to the owner's side. It is
// GET /builds/:build/stages/:stage for them.
func (a *App) ownerStage(c echo.Context) error {
	ctx, build, id := c.Request().Context(), of(c).build.ID, journal.StageID(c.Param("stage"))
	v, err := a.steps.StageOf(ctx, actor(c), build, id)
	if err != nil {
		return err
	}
	q := flow.EntryQuery{StageID: id}
	entries, err := a.steps.JournalPage(ctx, actor(c), build, q)
	if err != nil {
		return err
	}
	o, err := a.steps.OwnerOverview(ctx, actor(c), build, time.Time{})
	if err != nil {
		return err
	}
	f, err := a.frame(c, v.Stage.Name)
	if err != nil {
		return err
	}
	page := views.Stage{
		Frame: f, ID: id, Position: v.Stage.Position, Of: len(v.Stages), Lead: v.Lead.Name,
		PlannedFrom: v.Stage.PlannedFrom, PlannedTo: v.Stage.PlannedTo, OpenedAt: v.Stage.OpenedAt, ClosedAt: v.Stage.ClosedAt,
		Agreed: v.Build.State != journal.Scoping, Row: v.Row, PhotosThere: v.Gate.Photos, PhotosWanted: v.Gate.PhotosWanted,
		Entries: journalPiece(f.Words, entries, q, time.Time{}, false),
	}
	for i, line := range o.Stages {
		if line.Stage.ID == id {
			page.Coat = coats(o.Stages)[i]
		}
	}
	if v.Stage.Metered && page.Agreed {
		work, err := a.workPiece(c, f, id)
		if err != nil {
			return err
		}
		page.Work = &work
	}
	for _, check := range v.Gate.Checks {
		page.Checks = append(page.Checks, views.GateLine{Text: check.Text, Done: check.Done})
	}
	if err := a.ownerStageRest(c, v, &page); err != nil {
		return err
	}
	if page.Paint, err = a.paintShown(c, page.Words, id); err != nil {
		return err
	}
	return a.show(c, http.StatusOK, page)
}

// ownerStageRest adds a stage's papers, invoices and photos.
func (a *App) ownerStageRest(c echo.Context, v flow.StageView, page *views.Stage) error {
	ctx, build := c.Request().Context(), of(c).build.ID
	_, lines, err := a.steps.PapersOf(ctx, actor(c), build)
	if err != nil {
		return err
	}
	for _, l := range lines {
		if l.Sheet.Stage.ID == v.Stage.ID || l.Sheet.Kind == signoff.ChangeOrder && l.Sheet.Bears(v.Stage.ID) {
			page.Papers = append(page.Papers, paperItem(l))
		}
	}
	m, err := a.steps.MoneyOf(ctx, actor(c), build)
	if err != nil {
		return err
	}
	balances := map[string]billing.Balance{}
	for _, b := range m.Balances {
		balances[b.Document.ID] = b
	}
	for _, inv := range v.Invoices {
		item := invoiceItem(inv, balances[inv.Document.ID], v.Stages, journal.DateOf(a.now(), page.Zone))
		page.Invoices = append(page.Invoices, item)
	}
	photos, err := a.steps.StagePhotosOf(ctx, actor(c), build, v.Stage.ID, stagePhotos)
	if err != nil {
		return err
	}
	if page.Set, err = a.photoSet(c, v.Stage.ID); err != nil {
		return err
	}
	for _, p := range photos {
		page.Photos = append(page.Photos, views.NewPhotoView(page.Words, p, "", "stage="+string(v.Stage.ID)))
	}
	return nil
}
