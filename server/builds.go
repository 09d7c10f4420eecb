package server

import (
	"net/http"
	"regexp"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

func buildPath(id journal.BuildID) string { return "/builds/" + string(id) }

// builds lists all builds for the shop. GET /builds
func (a *App) builds(c echo.Context) error {
	glances, err := a.steps.FloorOverview(c.Request().Context(), actor(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Builds")
	if err != nil {
		return err
	}
	page := views.Builds{Frame: f}
	for _, g := range glances {
		switch g.Build.State {
		case journal.Delivered:
			page.Delivered = append(page.Delivered, g.Build)
			continue
		case journal.Stopped:
			page.Stopped = append(page.Stopped, g.Build)
			continue
		}
		page.UnderWay = append(page.UnderWay, boardRow(g, of(c).person.Role))
	}
	return a.show(c, http.StatusOK, page)
}

// buildNew shows the form for a new build. GET /builds/new
func (a *App) buildNew(c echo.Context) error {
	kept, err := a.kept(c, "/builds")
	if err != nil {
		return err
	}
	if kept != nil {
		return a.showBuildNew(c, buildForm(formOf(kept)), refusal{})
	}
	return a.showBuildNew(c, views.BuildForm{Unit: "miles"}, refusal{})
}

func (a *App) showBuildNew(c echo.Context, form views.BuildForm, r refusal) error {
	ctx := c.Request().Context()
	page := views.BuildNew{Form: form, Problems: r.problems}
	var err error
	if page.Plans, err = a.steps.Plans(ctx, actor(c)); err != nil {
		return err
	}
	if page.Leads, err = a.steps.Leads(ctx, actor(c)); err != nil {
		return err
	}
	if page.Form.Plan == "" && len(page.Plans) == 1 {
		page.Form.Plan = string(page.Plans[0].ID)
	}
	if page.Frame, err = a.frame(c, "Begin a build"); err != nil {
		return err
	}
	r.on(&page.Frame)
	return a.show(c, r.answer(), page)
}

// buildAdd begins a build from a stage plan. POST /builds
func (a *App) buildAdd(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	n := flow.NewBuild{
		Nickname: f.line("nickname"), Truck: f.truck(), PlanID: formID[journal.PlanID](f, "plan"),
		LeadID: formID[journal.PersonID](f, "lead"), ArrivedOn: f.date("arrived_on"),
	}
	id, err := journal.BuildID(""), f.check(journal.Build{Nickname: n.Nickname, Truck: n.Truck}.Validate())
	if err == nil {
		id, err = a.steps.CreateBuild(c.Request().Context(), actor(c), n)
	}
	if r, ok := refused(err); ok {
		return a.showBuildNew(c, buildForm(f), r)
	}
	if err != nil {
		return err
	}
	return a.done(c, buildPath(id), n.Nickname+" has begun. Its owners come next, then values and dates.")
}

// buildForm gives back what was typed.
func buildForm(f *form) views.BuildForm {
	return views.BuildForm{
		Nickname: f.raw("nickname"), Year: f.raw("year"), Make: f.raw("make"), Model: f.raw("model"), Serial: f.raw("serial"),
		Odometer: f.raw("odometer"), Unit: f.raw("unit"), Colour: f.raw("colour"), Plan: f.raw("plan"), Lead: f.raw("lead"),
		ArrivedOn: f.raw("arrived_on"), ReadyOn: f.raw("ready_on"), DeliveredOn: f.raw("delivered_on"), Version: f.version(),
	}
}

// truck reads the truck's fields.
func (f *form) truck() journal.Truck {
	return journal.Truck{
		Year: f.number("year", 0, 1900, 2100), Make: f.line("make"), Model: f.line("model"), Serial: f.line("serial"),
		Odometer: f.odometer("odometer"), Unit: f.line("unit"), Colour: f.line("colour"),
	}
}

// odometerText is up to seven digits, with or without commas between the
// thousands.
var odometerText = regexp.MustCompile(`^(\d{1,7}|\d{1,3}(,\d{3}){1,2})$`)

// odometer returns a reading such as "84,210"; nothing typed is 0, which stands
// for unknown.
func (f *form) odometer(name string) int {
	text := f.line(name)
	if text == "" {
		return 0
	}
	n, err := strconv.Atoi(strings.ReplaceAll(text, ",", ""))
	if err != nil || !odometerText.MatchString(text) || n > 9_999_999 {
		f.bad.Add(name, "Please type the odometer as a whole number of at most 7 digits, such as 84,210.")
		return 0
	}
	return n
}

// build shows a build: to its owners as theirs, to the shop as work.
// GET /builds/:build
func (a *App) build(c echo.Context) error {
	if of(c).person.Role.Staff() {
		return a.staffBuild(c)
	}
	return a.ownerBuild(c)
}

// staffBuild shows a build to the shop.
func (a *App) staffBuild(c echo.Context) error {
	ctx, build, role := c.Request().Context(), of(c).build.ID, of(c).person.Role
	since, err := a.steps.Look(ctx, actor(c), build)
	if err != nil {
		return err
	}
	g, err := a.steps.BuildGlance(ctx, actor(c), build)
	if err != nil {
		return err
	}
	b, err := a.steps.BuildShow(ctx, actor(c), build)
	if err != nil {
		return err
	}
	entries, err := a.steps.JournalPage(ctx, actor(c), build, flow.EntryQuery{})
	if err != nil {
		return err
	}
	f, err := a.frame(c, g.Build.Nickname)
	if err != nil {
		return err
	}
	page := views.StaffBuild{
		Frame: f, Stored: g.Build, Lead: b.People[g.Build.LeadID].Name, Parties: partiesOf(b), Stages: stageLines(g.Stages),
		Waits: waits(g, role), Loose: g.Loose, Photos: g.Photos, NewsAt: g.LastNews, Quiet: g.QuietFor,
		Journal: journalPiece(f.Words, entries, flow.EntryQuery{}, since, true),
	}
	if role == journal.Office {
		if err := a.addMoneyAndPapers(c, &page); err != nil {
			return err
		}
	}
	if page.Ending, err = a.endingView(c, f.Words, page.Statement.DepositUnearned); err != nil {
		return err
	}
	return a.show(c, http.StatusOK, page)
}

// addMoneyAndPapers adds what of a build only the office is shown.
func (a *App) addMoneyAndPapers(c echo.Context, page *views.StaffBuild) error {
	ctx, build := c.Request().Context(), of(c).build.ID
	m, err := a.steps.MoneyOf(ctx, actor(c), build)
	if err != nil {
		return err
	}
	page.Statement = m.Statement
	_, papers, err := a.steps.PapersOf(ctx, actor(c), build)
	if err != nil {
		return err
	}
	for _, l := range papers {
		switch l.Paper.State {
		case signoff.Sent:
			page.Out = append(page.Out, paperItem(l))
		case signoff.Drafted, signoff.Recalled:
			page.Drafts = append(page.Drafts, paperItem(l))
		}
	}
	return nil
}

// partiesOf are the build's current owners and delegates, owners first.
func partiesOf(v flow.BuildView) []views.Party {
	var all []views.Party
	for _, m := range v.Members {
		all = append(all, views.Party{Member: m, Person: v.People[m.PersonID]})
	}
	return all
}
