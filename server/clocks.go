package server

import (
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

func correctionID(c echo.Context) journal.CorrectionID {
	return journal.CorrectionID(c.Param("correction"))
}

// clocks lists cameras and corrections, with the form for a new one, filled from
// the query. GET /clocks
func (a *App) clocks(c echo.Context) error {
	kept, err := a.kept(c, "/clocks")
	if err != nil {
		return err
	}
	if kept == nil {
		kept = c.QueryParams()
	}
	return a.showClocks(c, formOf(kept), refusal{})
}

func clockForm(f *form) views.ClockForm {
	return views.ClockForm{
		ID: f.raw("id"), Camera: f.raw("camera"), Build: f.raw("build"), Photo: f.raw("photo"), Read: f.raw("read"), Days: f.raw("days"),
		Hours: f.raw("hours"), Minutes: f.raw("minutes"), Seconds: f.raw("seconds"), Was: f.raw("was"), From: f.raw("from"), To: f.raw("to"), Why: f.raw("why"),
	}
}

func (a *App) showClocks(c echo.Context, typed *form, r refusal) error {
	v, err := a.steps.Clocks(c.Request().Context(), actor(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Clocks")
	if err != nil {
		return err
	}
	r.on(&f)
	page := views.Clocks{Frame: f, Typed: clockForm(typed), Problems: r.problems}
	if page.Typed.ID == "" {
		page.Typed.ID = a.newID()
	}
	for _, use := range v.Cameras {
		page.Cameras = append(page.Cameras, views.CameraLine(use))
	}
	for _, correction := range v.Corrections {
		page.Corrections = append(page.Corrections, views.ClockLine{Words: f.Words, Correction: correction, By: v.Names[correction.ByID], UndoneBy: v.Names[correction.UndoneBy]})
	}
	shown, err := a.clockPhoto(c, typed)
	if err != nil {
		return err
	}
	if shown != nil {
		page.Shown = &views.ClockPhoto{Photo: views.NewPhotoView(f.Words, *shown, "", ""), Said: shown.ClaimedAt}
		page.Typed.Camera = shown.Camera
	}
	return a.show(c, r.answer(), page)
}

// clockPhoto returns the photo that a form says shows a clock; nil when it says
// none.
func (a *App) clockPhoto(c echo.Context, f *form) (*journal.Photo, error) {
	id := formID[journal.PhotoID](f, "photo")
	if id == "" {
		return nil, nil
	}
	photos, err := a.steps.PhotosOf(c.Request().Context(), actor(c), formID[journal.BuildID](f, "build"), []journal.PhotoID{id})
	if err != nil {
		return nil, err
	}
	p, found := photos[id]
	if !found {
		return nil, journal.Errorf(journal.NotFound, "There is no such photo.")
	}
	return &p, nil
}

// newCorrection reads a form. Problems are left in f, beside the fields.
func (a *App) newCorrection(c echo.Context, f *form) (flow.NewCorrection, error) {
	shop, err := a.shop(c)
	if err != nil {
		return flow.NewCorrection{}, err
	}
	n := flow.NewCorrection{ID: formID[journal.CorrectionID](f, "id"), Camera: f.raw("camera"), Why: f.line("why"), Seen: f.line("seen")}
	n.From, _ = f.moments("from", shop.Location())
	_, n.To = f.moments("to", shop.Location())
	shown, err := a.clockPhoto(c, f)
	if err != nil {
		return n, err
	}
	if shown == nil {
		n.Shift = f.shift()
		return n, nil
	}
	n.Camera, n.BuildID, n.PhotoID = shown.Camera, shown.BuildID, shown.ID
	first, last := f.moments("read", shop.Location())
	switch {
	case first.IsZero() && f.bad["read"] == "":
		f.bad.Add("read", "Please type the date and the time that the clock in the photo shows.")
	case last.Sub(first) >= time.Hour:
		f.bad.Add("read", "Please type the time, too; of this one there are two, or a whole day of them. The difference can be typed instead.")
	}
	n.Shift = first.Sub(shown.ClaimedAt).Round(time.Second)
	return n, nil
}

// shift returns the typed difference: what is to be added to what the camera
// said.
func (f *form) shift() time.Duration {
	shift := time.Duration(f.number("days", 0, 0, 11_000))*24*time.Hour + time.Duration(f.number("hours", 0, 0, 999))*time.Hour +
		time.Duration(f.number("minutes", 0, 0, 999))*time.Minute + time.Duration(f.number("seconds", 0, 0, 9999))*time.Second
	switch f.raw("was") {
	case "behind":
		return shift
	case "ahead":
		return -shift
	}
	f.bad.Add("was", "Please choose whether the camera's clock was behind or ahead.")
	return shift
}

// moments returns the first and the last instant that a typed date, date and
// minute, or date and second can mean in a zone; zero for nothing typed. When
// clocks are set back, an hour means both of its occurrences.
//
// It records a problem for what is no time, and for one that was skipped when
// clocks were set forward.
func (f *form) moments(name string, zone *time.Location) (first, last time.Time) {
	text := strings.Replace(f.line(name), " ", "T", 1)
	if text == "" {
		return first, last
	}
	for layout, span := range map[string]time.Duration{"2006-01-02": 24 * time.Hour, "2006-01-02T15:04": time.Minute, "2006-01-02T15:04:05": time.Second} {
		wall, err := time.Parse(layout, text)
		if err != nil {
			continue
		}
		if wall.Year() < 1980 || wall.Year() > 2200 {
			break
		}
		first, ok := earliestOf(wall, zone)
		if !ok {
			f.bad.Add(name, "This time was skipped that day, when clocks were set forward; please check it.")
			return time.Time{}, time.Time{}
		}
		end := wall.Add(span - time.Millisecond)
		if layout == "2006-01-02" {
			end = wall.AddDate(0, 0, 1).Add(-time.Millisecond)
		}
		return first, latestOf(end, zone)
	}
	f.bad.Add(name, "Please type the date and time, such as 2026-04-14 15:12.")
	return first, last
}

// wallAt is what a zone's clocks show at an instant, as a time in UTC.
func wallAt(at time.Time, zone *time.Location) time.Time {
	_, offset := at.In(zone).Zone()
	return at.UTC().Add(time.Duration(offset) * time.Second)
}

// instantsOf are the instants, in order, at which a zone's clocks show wall.
func instantsOf(wall time.Time, zone *time.Location) (all []time.Time) {
	// Clocks are set by far less than a day, so the offsets around are all there
	// are.
	for _, around := range []time.Duration{-24 * time.Hour, 24 * time.Hour} {
		_, offset := wall.Add(around).In(zone).Zone()
		at := wall.Add(-time.Duration(offset) * time.Second)
		if wallAt(at, zone).Equal(wall) && !slices.ContainsFunc(all, at.Equal) {
			all = append(all, at)
		}
	}
	slices.SortFunc(all, time.Time.Compare)
	return all
}

func earliestOf(wall time.Time, zone *time.Location) (time.Time, bool) {
	all := instantsOf(wall, zone)
	if len(all) == 0 {
		return time.Time{}, false
	}
	return all[0], true
}

// latestOf is the last instant that wall can mean; of a time that was skipped it
// is the one by the offset after.
func latestOf(wall time.Time, zone *time.Location) time.Time {
	if all := instantsOf(wall, zone); len(all) > 0 {
		return all[len(all)-1]
	}
	_, offset := wall.Add(24 * time.Hour).In(zone).Zone()
	return wall.Add(-time.Duration(offset) * time.Second)
}

// clockPreview shows what a correction would do. GET /clocks/preview
func (a *App) clockPreview(c echo.Context) error {
	return a.previewClock(c, formOf(c.QueryParams()), refusal{})
}

// previewClock shows the preview, or the form when something is wrong with it.
func (a *App) previewClock(c echo.Context, f *form, r refusal) error {
	n, err := a.newCorrection(c, f)
	if err != nil {
		return err
	}
	effect, err := a.steps.PreviewCorrection(c.Request().Context(), actor(c), n)
	if err = f.check(err); err != nil {
		if r, ok := refused(err); ok {
			return a.showClocks(c, f, r)
		}
		return err
	}
	frame, err := a.frame(c, "Clocks")
	if err != nil {
		return err
	}
	r.on(&frame)
	page := views.ClockPreview{
		Frame: frame, Line: views.ClockLine{Words: frame.Words, Correction: effect.Correction, By: of(c).person.Name},
		Effect: clockEffect(frame.Words, effect), Typed: clockForm(f),
	}
	query := url.Values{}
	for _, field := range page.Typed.Fields() {
		query.Set(field.Name, field.Value)
	}
	page.Change = "/clocks?" + query.Encode()
	return a.show(c, r.answer(), page)
}

func clockEffect(w views.Words, e flow.CorrectionEffect) views.ClockEffect {
	shown := views.ClockEffect{
		Words: w, Photos: e.Photos, First: views.TimeShift(e.First), Last: views.TimeShift(e.Last), Doubtful: e.Doubtful, Settled: e.Settled, Seen: e.Seen,
	}
	for _, b := range e.Builds {
		shown.Builds = append(shown.Builds, views.BuildShift{
			Build: views.BuildRef{ID: b.Build.ID, Nickname: b.Build.Nickname}, Photos: b.Photos, Entries: b.Entries, Dated: b.Dated,
		})
	}
	return shown
}

// clockCorrect corrects a clock. POST /clocks
func (a *App) clockCorrect(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	n, err := a.newCorrection(c, f)
	if err != nil {
		return err
	}
	if err := f.err(); err != nil {
		return a.previewClock(c, f, refusal{})
	}
	effect, err := a.steps.CorrectClock(c.Request().Context(), actor(c), n)
	if r, ok := refused(err); ok {
		if r.late() {
			return a.previewClock(c, f, r)
		}
		return a.showClocks(c, f, r)
	}
	if err != nil {
		return err
	}
	return a.done(c, clockPath(effect.Correction.ID), "The clock is corrected. Photos of this camera that come later are corrected too.")
}

func clockPath(id journal.CorrectionID) string { return "/clocks/" + string(id) }

// clock shows one correction. GET /clocks/:correction
func (a *App) clock(c echo.Context) error { return a.showClock(c, refusal{}) }

func (a *App) showClock(c echo.Context, r refusal) error {
	v, err := a.steps.CorrectionShow(c.Request().Context(), actor(c), correctionID(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Clocks")
	if err != nil {
		return err
	}
	r.on(&f)
	return a.show(c, r.answer(), views.Clock{
		Frame: f, Line: views.ClockLine{Words: f.Words, Correction: v.Correction, By: v.By, UndoneBy: v.UndoneBy}, Effect: clockEffect(f.Words, v.Undo),
	})
}

// clockUndo undoes a correction. POST /clocks/:correction/undo
func (a *App) clockUndo(c echo.Context) error {
	_, err := a.steps.UndoCorrection(c.Request().Context(), actor(c), correctionID(c))
	if r, ok := refused(err); ok {
		return a.showClock(c, r)
	}
	if err != nil {
		return err
	}
	return a.done(c, clockPath(correctionID(c)), "The correction is undone.")
}

// photoTime says for a photo's page how its time is known and, to the shop, where
// it has been; nil for an owner's photo of which there is nothing more to say.
func (a *App) photoTime(c echo.Context, w views.Words, p journal.Photo) (*views.PhotoTime, error) {
	ctx, person := c.Request().Context(), of(c).person
	correction, by, err := a.steps.CorrectionOfPhoto(ctx, actor(c), p.BuildID, p.ID)
	if err != nil {
		return nil, err
	}
	t := &views.PhotoTime{Words: w}
	if correction != nil {
		t.Off = views.SayShift(correction.Shift())
	}
	if !person.Role.Staff() {
		if t.Off == "" {
			return nil, nil
		}
		return t, nil
	}
	t.ForShop = true
	if t.Claim, err = w.Taken(p.ClaimedAt, p.CapturedOffset, p.CapturedSource); err != nil {
		return nil, err
	}
	if correction != nil {
		t.Doubt = p.ClaimedDoubt
		t.Why, t.By, t.MadeAt = strings.TrimSuffix(correction.Why, "."), by, correction.At
	}
	if person.Role == journal.Office {
		if correction != nil {
			t.ClockPage = clockPath(correction.ID)
		}
		if p.FromClock && p.Camera != "" {
			t.WrongAt = "/clocks?" + url.Values{"build": {string(p.BuildID)}, "photo": {string(p.ID)}}.Encode()
		}
	}
	steps, err := a.steps.PhotoHistory(ctx, actor(c), p.BuildID, p.ID)
	for _, s := range steps {
		t.History = append(t.History, views.PhotoStepLine{
			Words: w, Build: p.BuildID, At: s.At, By: s.By, From: views.PhotoStand(s.From), To: views.PhotoStand(s.To),
		})
	}
	return t, err
}
