package server

import (
	"fmt"
	"io"
	"mime/multipart"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

// decisionView puts a paper's decision into the form pages show.
func decisionView(w views.Words, v flow.PaperView) (views.DecisionView, error) {
	d, err := w.OfDecision(v.Paper.Kind, *v.Decision)
	d.RecordedBy = v.Names[v.Decision.RecordedBy]
	if v.Decision.ScanID != "" {
		d.Scan = paperPath(v.Build.ID, v.Paper.ID) + "/scan"
	}
	return d, err
}

// confirmPhone is what stands about an agreement by phone; nil for other
// decisions.
func confirmPhone(w views.Words, v flow.PaperView) *views.ConfirmPhone {
	if v.Decision == nil || v.Decision.Manner != signoff.ByPhone {
		return nil
	}
	return &views.ConfirmPhone{Words: w, Action: paperPath(v.Build.ID, v.Paper.ID), Answer: v.Confirmation, CanConfirm: v.CanConfirm}
}

// otherwise is what the office typed about a decision made another way, and was
// refused.
type otherwise struct {
	phone, paper                views.OtherwiseForm
	phoneBad, paperBad, postBad journal.Problems
}

// otherwiseView offers the office the ways beside the owner's page.
func (a *App) otherwiseView(c echo.Context, sheet views.SheetView, v flow.PaperView, typed []otherwise) *views.Otherwise {
	o := views.Otherwise{
		Words: sheet.Words, Action: paperPath(v.Build.ID, v.Paper.ID), Sheet: sheet, Parties: parties(v.Parties), ByPhone: v.Sheet.ByPhone(),
	}
	for _, t := range typed {
		o.Phone, o.Paper, o.PhoneBad, o.PaperBad, o.PostBad = t.phone, t.paper, t.phoneBad, t.paperBad, t.postBad
	}
	if o.Phone.SpokeWith == "" {
		o.Phone.SpokeWith = of(c).person.Name
	}
	for _, x := range v.Postings {
		line := views.PostingLine{Posting: x}
		for _, p := range v.Parties {
			if p.Person.ID == x.PersonID {
				line.Name, line.Address = p.Person.Name, p.Person.Postal
			}
		}
		if line.Name != "" { // they belong to the build still
			o.Postings = append(o.Postings, line)
		}
	}
	return &o
}

func otherwiseForm(f *form) views.OtherwiseForm {
	return views.OtherwiseForm{
		Outcome: f.raw("outcome"), Person: f.raw("person"), PartsBack: f.raw("parts_back"), Reason: f.raw("reason"),
		CalledOn: f.raw("called_on"), CalledTime: f.raw("called_time"), Phone: f.raw("phone"), SpokeWith: f.raw("spoke_with"),
		Name: f.raw("name"), SignedOn: f.raw("signed_on"),
	}
}

// other reads what both ways have in common.
func (f *form) other() flow.Otherwise {
	o := flow.Otherwise{
		Revision: f.number("revision", 0, 0, 1_000_000), SHA256: f.line("sha256"), Outcome: formID[signoff.Outcome](f, "outcome"),
		PersonID: formID[journal.PersonID](f, "person"), PartsBack: f.line("parts_back") == "yes",
	}
	if o.Outcome == signoff.OutcomeDeclined {
		o.Reason = f.text("reason")
	}
	return o
}

// timeOfCall reads day and time at the shop; problems are recorded beside
// called_at's two fields.
func (f *form) timeOfCall(zone *time.Location) time.Time {
	day, clock := f.date("called_on"), f.line("called_time")
	at, err := time.ParseInLocation("2006-01-02 15:04", string(day)+" "+clock, zone)
	switch {
	case day.IsZero():
		f.bad.Add("called_on", "Please give the day of the call.")
	case err != nil:
		f.bad.Add("called_time", "Please type the time of the call, such as 14:30.")
	}
	return at.UTC()
}

// paperByPhone records what an owner said by phone.
// POST /builds/:build/papers/:paper/by-phone
func (a *App) paperByPhone(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	shop, err := a.shop(c)
	if err != nil {
		return err
	}
	in := flow.ByPhone{Otherwise: f.other(), At: f.timeOfCall(shop.Location()), Phone: f.line("phone"), SpokeWith: f.line("spoke_with")}
	in.Delta, in.Total = f.hiddenCents("delta"), f.hiddenCents("total")
	if err = f.err(); err == nil {
		_, err = a.steps.RecordByPhone(c.Request().Context(), actor(c), of(c).build.ID, paperID(c), in)
		err = f.add(err)
	}
	if bad := f.bad["called_at"]; bad != "" { // the form has two fields for it
		f.bad.Add("called_time", "%s", bad)
	}
	return a.recorded(c, err, f, otherwise{phone: otherwiseForm(f), phoneBad: f.bad}, "The call is recorded, and the owner is asked by e-mail to confirm it.")
}

// hiddenCents reads an amount that the page put into the form in whole cents.
func (f *form) hiddenCents(name string) journal.Cents {
	var cents journal.Cents
	if _, err := fmt.Sscanf(f.line(name), "%d", &cents); err != nil {
		f.bad.Add("total", "The figures on this page could not be read; please open the paper again.")
	}
	return cents
}

// paperOnPaper records a paper signed by hand, with its scan.
// POST /builds/:build/papers/:paper/on-paper
func (a *App) paperOnPaper(c echo.Context) error {
	var in flow.OnPaper
	values, err := readParts(c.Request(), maxFormBytes, func(part *multipart.Part) (err error) {
		if part.FormName() != "scan" || in.Scan != nil {
			return nil
		}
		in.ScanName = part.FileName()
		in.Scan, err = io.ReadAll(io.LimitReader(part, signoff.MaxScanBytes+1))
		return err
	})
	if err != nil {
		return err
	}
	f := formOf(values)
	in.Otherwise, in.Name, in.On = f.other(), f.line("name"), f.date("signed_on")
	if err = f.err(); err == nil {
		_, err = a.steps.RecordOnPaper(c.Request().Context(), actor(c), of(c).build.ID, paperID(c), in)
		err = f.add(err)
	}
	return a.recorded(c, err, f, otherwise{paper: otherwiseForm(f), paperBad: f.bad}, "The signed paper is recorded, with its scan.")
}

// recorded answers for both: back to the paper, or with what was typed and why it
// was not recorded.
func (a *App) recorded(c echo.Context, err error, f *form, typed otherwise, done string) error {
	if len(f.bad) > 0 {
		return a.staffPaper(c, http.StatusUnprocessableEntity, answering{}, typed)
	}
	if err != nil {
		return err
	}
	return a.done(c, paperPath(of(c).build.ID, paperID(c)), done)
}

// paperPosted notes the day on which a printed paper was posted.
// POST /builds/:build/papers/:paper/posted
func (a *App) paperPosted(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, on := of(c).build.ID, f.date("posted_on")
	if err = f.err(); err == nil {
		err = a.steps.MarkPosted(c.Request().Context(), actor(c), build, paperID(c), f.number("revision", 0, 0, 1_000_000), formID[journal.PersonID](f, "person"), on)
		err = f.add(err)
	}
	if len(f.bad) > 0 {
		return a.staffPaper(c, http.StatusUnprocessableEntity, answering{}, otherwise{postBad: f.bad})
	}
	if err != nil {
		return err
	}
	return a.done(c, paperPath(build, paperID(c)), "Noted as posted.")
}

// paperConfirm records what the owner's side says to an agreement by phone.
// POST /builds/:build/papers/:paper/confirm
func (a *App) paperConfirm(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, yes := of(c).build.ID, f.line("answer") == "yes"
	err = a.steps.Confirm(c.Request().Context(), actor(c), build, paperID(c), yes, f.line("name"), f.text("text"))
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		form := decideForm(f)
		return a.ownerPaper(c, http.StatusUnprocessableEntity, form, "", bad)
	}
	if err != nil {
		return err
	}
	if yes {
		return a.done(c, paperPath(build, paperID(c)), "Confirmed. Thank you.")
	}
	return a.done(c, paperPath(build, paperID(c)), "Recorded. The shop has your words by e-mail and will get in touch.")
}

// paperScan gives out the scan of a sheet signed by hand.
// GET /builds/:build/papers/:paper/scan
func (a *App) paperScan(c echo.Context) error {
	scan, err := a.steps.ScanOf(c.Request().Context(), actor(c), of(c).build.ID, paperID(c))
	if err != nil {
		return err
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, contentDisposition(scan.Name))
	return c.Blob(http.StatusOK, scan.ContentType, scan.Data)
}

// delegateEnd ends what a delegate may do. POST /builds/:build/delegates/:person/end
func (a *App) delegateEnd(c echo.Context) error {
	build := of(c).build.ID
	if err := a.steps.EndDelegate(c.Request().Context(), actor(c), build, journal.PersonID(c.Param("person"))); err != nil {
		return err
	}
	return a.done(c, buildPath(build), "Ended. From now on they see nothing of this build and decide nothing; what they decided stays.")
}
