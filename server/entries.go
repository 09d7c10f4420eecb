package server

import (
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/views"
)

func entryID(c echo.Context) journal.EntryID { return journal.EntryID(c.Param("entry")) }

// entryNew shows the form for a new entry. GET /builds/:build/entries/new
func (a *App) entryNew(c echo.Context) error {
	kept, err := a.kept(c, "/builds/"+string(of(c).build.ID)+"/entries")
	if err != nil {
		return err
	}
	if kept != nil {
		f := formOf(kept)
		return a.showEntryNew(c, http.StatusOK, entryForm(f), pickedOf(f), nil, nil)
	}
	return a.showLoose(c, http.StatusOK, nil)
}

// showLoose shows the form for a new entry with the person's loose photos
// ticked, and says of files that have just been sent which were not taken. Of a
// burst only the best guess is ticked, and nothing that looks like a posted one.
// The stage is that during which they all were taken, if there is one.
func (a *App) showLoose(c echo.Context, status int, refused []string) error {
	form := views.EntryForm{ID: a.newID(), Stage: c.QueryParam("stage")}
	offers, err := a.steps.EntryOffers(c.Request().Context(), actor(c), of(c).build.ID, nil)
	if err != nil {
		return err
	}
	spare := offers.Posted
	for _, burst := range journal.Bursts(offers.Loose) {
		for _, p := range burst[1:] {
			spare = with(spare, p.ID)
		}
	}
	var chosen []picked
	stages := map[journal.StageID]bool{}
	for _, p := range offers.Loose {
		if len(chosen) < journal.MaxEntryPhotos && !spare[p.ID] {
			chosen = append(chosen, picked{id: p.ID})
			stages[offers.Stages[p.ID]] = true
		}
	}
	if len(stages) == 1 && form.Stage == "" {
		for stage := range stages {
			form.Stage = string(stage)
		}
	}
	return a.showEntryNew(c, status, form, chosen, nil, refused)
}

// with returns a set with one more in it; set may be nil.
func with[K comparable](set map[K]bool, more K) map[K]bool {
	if set == nil {
		set = map[K]bool{}
	}
	set[more] = true
	return set
}

func entryForm(f *form) views.EntryForm {
	return views.EntryForm{
		ID: f.raw("id"), Stage: f.raw("stage"), Kind: f.raw("kind"), Audience: f.raw("audience"), Text: f.raw("text"), Version: f.version(),
		Known: f.list("known"),
	}
}

// showEntryNew shows the form with what was typed; the chosen photos are
// ticked, in their order, and the person's other loose ones follow.
func (a *App) showEntryNew(c echo.Context, status int, form views.EntryForm, chosen []picked, bad journal.Problems, refused []string) error {
	ctx, build := c.Request().Context(), of(c).build.ID
	view, err := a.steps.BuildShow(ctx, actor(c), build)
	if err != nil {
		return err
	}
	f, err := a.frame(c, "New entry")
	if err != nil {
		return err
	}
	page := views.EntryNew{Frame: f, Stages: view.Stages, Form: form, Problems: bad, NotTaken: refused}
	if page.Form.Stage == "" {
		page.Form.Stage = onlyOpen(view.Stages)
	}
	var offered []journal.Photo
	if page.Loose, offered, err = a.pickPhotos(c, f.Words, view.Stages, chosen); err != nil {
		return err
	}
	for _, burst := range journal.Bursts(offered) {
		var ids []journal.PhotoID
		for _, p := range burst {
			ids = append(ids, p.ID)
		}
		page.Bursts = append(page.Bursts, ids)
	}
	return a.show(c, status, page)
}

// onlyOpen is the stage under way when there is just one.
func onlyOpen(stages []journal.Stage) string {
	open := ""
	for _, st := range stages {
		if st.State != journal.UnderWay {
			continue
		}
		if open != "" {
			return ""
		}
		open = string(st.ID)
	}
	return open
}

// pickPhotos offers the chosen photos, ticked, then the person's loose ones, and
// says of each during which stage it was taken.
func (a *App) pickPhotos(c echo.Context, w views.Words, stages []journal.Stage, chosen []picked) (offers []views.PickPhoto, photos []journal.Photo, err error) {
	var ids []journal.PhotoID
	for _, p := range chosen {
		ids = append(ids, p.id)
	}
	known, err := a.steps.EntryOffers(c.Request().Context(), actor(c), of(c).build.ID, ids)
	if err != nil {
		return nil, nil, err
	}
	offered := map[journal.PhotoID]bool{}
	offer := func(p journal.Photo, caption string, ticked bool) {
		if p.ID == "" || offered[p.ID] {
			return
		}
		offered[p.ID] = true
		var notes []string
		if stage := known.Stages[p.ID]; stage != "" {
			notes = append(notes, "during "+stageName(stages, stage))
		}
		if known.Posted[p.ID] {
			notes = append(notes, "like one that is posted")
		}
		photos = append(photos, p)
		offers = append(offers, views.PickPhoto{
			View: views.NewPhotoView(w, p, "", ""), FileName: p.FileName, Caption: caption, Chosen: ticked, Note: strings.Join(notes, ", "),
		})
	}
	for _, p := range chosen {
		offer(known.Photos[p.id], p.caption, true)
	}
	for _, p := range known.Loose {
		offer(p, "", false)
	}
	return offers, photos, nil
}

// posted is a posted entry form, with its photos in order: those named first,
// then the files that came with it.
type posted struct {
	*form
	photos  []picked
	refused []string // files that were not taken
}

// readEntry reads an entry's form, with or without files in it.
func (a *App) readEntry(c echo.Context) (posted, error) {
	if !strings.HasPrefix(c.Request().Header.Get(echo.HeaderContentType), echo.MIMEMultipartForm) {
		f, err := readForm(c)
		if err != nil {
			return posted{}, err
		}
		return posted{form: f, photos: pickedOf(f)}, nil
	}
	got, err := a.receive(c)
	if err != nil {
		return posted{}, err
	}
	f := formOf(got.values)
	p := posted{form: f, photos: pickedOf(f), refused: got.refusals()}
	for _, file := range got.files {
		if file.refused == nil {
			p.photos = append(p.photos, picked{id: file.taken.Photo.ID})
		}
	}
	return p, nil
}

// nameFiles names the files that were taken from now on, so that showing the form
// again offers them.
func (p posted) nameFiles() {
	p.values.Del("photo")
	for _, photo := range p.photos {
		p.values.Add("photo", string(photo.id))
	}
}

func (p posted) entryPhotos() []journal.EntryPhoto {
	var all []journal.EntryPhoto
	seen := map[journal.PhotoID]bool{}
	for _, photo := range p.photos {
		if !seen[photo.id] { // the same file chosen twice is one photo
			seen[photo.id] = true
			all = append(all, journal.EntryPhoto{PhotoID: photo.id, Caption: photo.caption})
		}
	}
	return all
}

func (p posted) kind() journal.EntryKind {
	if kind := formID[journal.EntryKind](p.form, "kind"); kind != "" {
		return kind
	}
	return journal.KindProgress
}

// audience is the shop only until somebody says otherwise.
func (p posted) audience() journal.Audience {
	if audience := formID[journal.Audience](p.form, "audience"); audience != "" {
		return audience
	}
	return journal.ShopOnly
}

// entry returns the form's entry.
func (p posted) entry() flow.NewEntry {
	return flow.NewEntry{
		ID: formID[journal.EntryID](p.form, "id"), StageID: formID[journal.StageID](p.form, "stage"),
		Kind: p.kind(), Audience: p.audience(), Text: p.text("text"), Photos: p.entryPhotos(),
	}
}

// entryAdd posts an entry, or one a stage; see [App.postEntries].
// POST /builds/:build/entries
func (a *App) entryAdd(c echo.Context) error {
	p, err := a.readEntry(c)
	if err != nil {
		return err
	}
	if p.raw("split") == "back" {
		return a.showEntryNew(c, http.StatusOK, entryForm(p.form), p.photos, nil, p.refused)
	}
	entries, shares, err := a.postEntries(c, p)
	if bad, other := problems(err); other == nil && len(bad) > 0 && !wantsData(c) {
		return a.showEntryNew(c, http.StatusUnprocessableEntity, entryForm(p.form), p.photos, bad, p.refused)
	}
	if err != nil {
		return err
	}
	if len(shares) > 0 {
		return a.askSplit(c, p, shares)
	}
	return a.doneEntries(c, p, entries)
}

// doneEntry says on an entry's page what was done to it and which files were
// not taken. Where those are too many to be said there, they are listed on the
// form that changes the entry, at once.
func (a *App) doneEntry(c echo.Context, id journal.EntryID, done string, refused []string) error {
	if text := strings.Join(append([]string{done}, refused...), " "); len(text) <= maxSaid {
		return a.done(c, entryPath(of(c).build.ID, id), text)
	}
	return a.showEntryEdit(c, id, http.StatusOK, entryEditPage{refused: refused, notice: done})
}

func entryPath(build journal.BuildID, entry journal.EntryID) string {
	return "/builds/" + string(build) + "/entries/" + string(entry)
}

func saidPosted(e journal.Entry) string {
	if e.Audience == journal.OwnerToo {
		return "Posted; the owner can see it."
	}
	return "Posted, for the shop only."
}

// entry shows one entry. GET /builds/:build/entries/:entry
func (a *App) entry(c echo.Context) error { return a.showEntry(c, http.StatusOK, entryPage{}) }

// entryPage is what was typed on an entry's page and refused. The zero value shows
// the entry as it is.
type entryPage struct {
	reason string // of withdrawing
	what   string // of asking about a belonging
	answer *views.BelongingForm
	bad    journal.Problems
}

func (a *App) showEntry(c echo.Context, status int, p entryPage) error {
	ctx, build := c.Request().Context(), of(c).build.ID
	v, err := a.steps.EntryShow(ctx, actor(c), build, entryID(c))
	if err != nil {
		return err
	}
	staff := of(c).person.Role.Staff()
	f, err := a.frame(c, entryTitle(v.Entry))
	if err != nil {
		return err
	}
	shown := entryView(f.Words, v.Entry, v.Stages, v.Photos, v.Names, staff)
	if !staff {
		return a.show(c, status, views.Entry{Frame: f, Entry: shown, Belonging: belongingView(f.Words, v.Belonging, false, p.answer), Uses: v.Uses})
	}
	page := views.StaffEntry{
		Frame: f, Entry: v.Entry, Shown: shown, Problems: p.bad, Reason: p.reason, CanEdit: v.MayEdit,
		Belonging: belongingView(f.Words, v.Belonging, true, nil), Uses: v.Uses, CanBook: v.CanBook,
	}
	if v.Belonging == nil && v.Entry.Kind == journal.KindFind && v.Entry.WithdrawnAt.IsZero() && v.Entry.Audience == journal.OwnerToo {
		page.Ask = &views.AskForm{Action: entryPath(build, v.Entry.ID) + "/ask", What: p.what, Problems: p.bad}
	}
	for i := len(v.History) - 1; i >= 0; i-- {
		edit := v.History[i]
		page.History = append(page.History, views.EntryWas{Edit: edit, By: v.Names[edit.ByID], Stage: stageName(v.Stages, edit.StageID)})
	}
	if !v.Entry.WithdrawnAt.IsZero() && len(v.History) > 0 {
		page.WithdrawnBy = v.Names[v.History[len(v.History)-1].ByID]
	}
	_, lines, err := a.steps.PapersOf(ctx, actor(c), build)
	if err != nil {
		return err
	}
	if v.MayEdit {
		page.Bursts = burstViews(f.Words, v)
	}
	page.Papers = views.PaperList{Words: f.Words, BuildID: build}
	for _, l := range lines {
		if l.Paper.EntryID == v.Entry.ID {
			page.Papers.Papers = append(page.Papers.Papers, paperItem(l))
		}
	}
	return a.show(c, status, page)
}

func entryTitle(e journal.Entry) string {
	if e.Kind == journal.KindProgress {
		return "Entry"
	}
	return views.UpperFirst(string(e.Kind))
}

// entryView puts an entry into the form pages show.
func entryView(w views.Words, e journal.Entry, stages []journal.Stage, photos map[journal.PhotoID]journal.Photo, names map[journal.PersonID]string, staff bool) views.EntryView {
	v := views.EntryView{
		Words: w, BuildID: e.BuildID, ID: e.ID, StageID: e.StageID, Stage: stageName(stages, e.StageID), Author: names[e.AuthorID],
		Kind: e.Kind, Text: e.Text, HappenedAt: e.HappenedAt, PostedAt: e.PostedAt, EditedAt: e.EditedAt,
	}
	if staff {
		v.ForShop, v.Audience, v.WithdrawnAt = true, e.Audience, e.WithdrawnAt
	}
	for _, p := range e.Photos {
		if photo, known := photos[p.PhotoID]; known {
			v.Photos = append(v.Photos, views.NewPhotoView(w, photo, p.Caption, "entry="+string(e.ID)))
		}
	}
	return v
}

// entryEdit shows the form that changes an entry.
// GET /builds/:build/entries/:entry/edit
func (a *App) entryEdit(c echo.Context) error {
	kept, err := a.kept(c, c.Request().URL.Path)
	if err != nil {
		return err
	}
	return a.showEntryEdit(c, entryID(c), http.StatusOK, entryEditPage{typed: kept})
}

// entryEditPage is how the form that changes an entry is shown. The zero value
// shows the entry as it is stored.
type entryEditPage struct {
	typed   url.Values // nil when nothing was
	bad     journal.Problems
	refused []string // files that were not taken
	notice  string   // at the head of the page; the form is then for the entry as it is now
}

// showEntryEdit shows the form as typed, or, when nothing was, as stored.
func (a *App) showEntryEdit(c echo.Context, id journal.EntryID, status int, p entryEditPage) error {
	v, err := a.steps.EntryShow(c.Request().Context(), actor(c), of(c).build.ID, id)
	if err != nil {
		return err
	}
	if !v.MayEdit {
		return journal.Errorf(journal.Forbidden, "Only whoever posted this entry, or the office, can change it while it stands.")
	}
	f, err := a.frame(c, "Change an entry")
	if err != nil {
		return err
	}
	e := v.Entry
	page := views.EntryEdit{Frame: f, Entry: e, Stages: v.Stages, Problems: p.bad, NotTaken: p.refused}
	page.Form = views.EntryForm{Stage: string(e.StageID), Kind: string(e.Kind), Audience: string(e.Audience), Text: e.Text, Version: e.Version}
	var chosen []picked
	for _, photo := range e.Photos {
		chosen = append(chosen, picked{photo.PhotoID, photo.Caption})
		page.Form.Known = append(page.Form.Known, string(photo.PhotoID))
	}
	if p.typed != nil {
		page.Form, chosen = entryForm(formOf(p.typed)), pickedOf(formOf(p.typed))
	}
	if p.notice != "" {
		page.Flash, page.Form.Version = p.notice, e.Version
	}
	if page.Photos, _, err = a.pickPhotos(c, f.Words, v.Stages, chosen); err != nil {
		return err
	}
	return a.show(c, status, page)
}

// entrySave changes an entry. POST /builds/:build/entries/:entry/edit
func (a *App) entrySave(c echo.Context) error {
	p, err := a.readEntry(c)
	if err != nil {
		return err
	}
	build := of(c).build.ID
	change := flow.EntryChange{Version: p.version(), NewEntry: p.entry()}
	if p.has("known") {
		change.Known = append([]journal.PhotoID{}, formIDs[journal.PhotoID](p.form, "known")...)
	}
	_, err = a.steps.EditEntry(c.Request().Context(), actor(c), build, entryID(c), change)
	p.nameFiles()
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		return a.showEntryEdit(c, entryID(c), http.StatusUnprocessableEntity, entryEditPage{typed: p.values, bad: bad, refused: p.refused})
	}
	if journal.CodeOf(err) == journal.Conflict {
		shown := a.showEntryEdit(c, entryID(c), http.StatusConflict, entryEditPage{typed: p.values, refused: p.refused, notice: journal.MessageOf(err)})
		if journal.CodeOf(shown) == journal.Forbidden {
			return err // it was withdrawn: there is nothing left to change
		}
		return shown
	}
	if err != nil {
		return err
	}
	return a.doneEntry(c, entryID(c), "Changed. What it said before is kept in its history.", p.refused)
}

// entryWithdraw takes an entry out of the journal, with a reason.
// POST /builds/:build/entries/:entry/withdraw
func (a *App) entryWithdraw(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build.ID
	err = a.steps.WithdrawEntry(c.Request().Context(), actor(c), build, entryID(c), f.version(), f.line("reason"))
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		return a.showEntry(c, http.StatusUnprocessableEntity, entryPage{reason: f.raw("reason"), bad: bad})
	}
	if err != nil {
		return err
	}
	return a.done(c, entryPath(build, entryID(c)), "Withdrawn. The owner no longer sees it; the shop keeps it with its reason.")
}
