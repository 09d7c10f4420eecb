package server

import (
	"errors"
	"net/http"
	"net/url"
	"slices"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

// keptDecision returns what an owner had typed on this paper when their session
// ran out, or an empty form.
func (a *App) keptDecision(c echo.Context) (views.DecideForm, error) {
	var form views.DecideForm
	for _, act := range []string{"sign", "decline", "ask", "passkey"} {
		kept, err := a.kept(c, c.Request().URL.Path+"/"+act)
		if err != nil {
			return form, err
		}
		if kept != nil {
			form = decideForm(formOf(kept))
		}
	}
	return form, nil
}

func decideForm(f *form) views.DecideForm {
	return views.DecideForm{Name: f.raw("name"), PartsBack: f.raw("parts_back"), Reason: f.raw("reason"), Text: f.raw("text")}
}

// ownerPaper shows a paper to the owner's side, with what they typed and why it
// was not recorded.
func (a *App) ownerPaper(c echo.Context, status int, form views.DecideForm, notice string, bad ...journal.Problems) error {
	v, err := a.steps.PaperPage(c.Request().Context(), actor(c), of(c).build.ID, paperID(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, v.Sheet.Title)
	if err != nil {
		return err
	}
	page := views.Paper{
		Frame: f, ID: v.Paper.ID, State: v.Paper.State, CanDecide: v.CanDecide,
		Consented: v.Consent != nil && v.Consent.Version == views.ConsentVersion,
		Form:      form, Notice: notice, Questions: questionViews(f.Words, v),
	}
	for _, p := range bad {
		page.Problems = p
	}
	if page.Sheet, err = f.OfSheet(v.Sheet, v.SHA256()); err != nil {
		return err
	}
	if page.Earlier, err = v.Earlier(); err != nil {
		return err
	}
	if v.Decision != nil {
		d, err := decisionView(f.Words, v)
		if err != nil {
			return err
		}
		page.Decision, page.Confirm = &d, confirmPhone(f.Words, v)
		if page.Confirm != nil {
			page.Confirm.Name, page.Confirm.Text, page.Confirm.Problems = form.Name, form.Text, page.Problems
		}
	}
	return a.show(c, status, page)
}

// paperSign records an owner's signature. POST /builds/:build/papers/:paper/sign
func (a *App) paperSign(c echo.Context) error { return a.decide(c, signoff.OutcomeSigned) }

// paperDecline records that an owner declines.
// POST /builds/:build/papers/:paper/decline
func (a *App) paperDecline(c echo.Context) error { return a.decide(c, signoff.OutcomeDeclined) }

// decide takes an owner's act in two steps: the first shows what it means, and
// can be gone back from; the second, with sure=yes, records it.
func (a *App) decide(c echo.Context, outcome signoff.Outcome) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	in := decideInput(f, outcome)
	if f.line("sure") != "yes" {
		return a.confirm(c, f, in)
	}
	build := of(c).build.ID
	var d signoff.Decision
	if in.Passkey, err = a.passkeyAnswer(c, f, in); err == nil {
		d, err = a.steps.Decide(c.Request().Context(), actor(c), build, paperID(c), in)
	}
	switch {
	case journal.CodeOf(err) == journal.Conflict && f.raw("passkey_token") != "":
		return a.passkeyRefused(c, f, in, err)
	case errors.Is(err, flow.ErrConsent):
		return c.Redirect(http.StatusSeeOther, consentPath(paperPath(build, paperID(c))))
	case journal.CodeOf(err) == journal.Conflict:
		return a.ownerPaper(c, http.StatusConflict, decideForm(f), journal.MessageOf(err))
	case journal.CodeOf(err) == journal.Invalid:
		return a.showConfirm(c, http.StatusUnprocessableEntity, f, outcome, fieldsOf(err))
	case err != nil:
		return err
	}
	return a.decided(c, d)
}

func decideInput(f *form, outcome signoff.Outcome) flow.DecideInput {
	in := flow.DecideInput{
		Revision: f.number("revision", 0, 0, 1_000_000), SHA256: f.line("sha256"), Outcome: outcome,
		TypedName: f.line("name"), PartsBack: f.line("parts_back") == "yes",
	}
	if outcome == signoff.OutcomeDeclined {
		in.Reason = f.text("reason")
	}
	return in
}

// confirm checks that the form is about the paper as it stands and asks once
// more.
func (a *App) confirm(c echo.Context, f *form, in flow.DecideInput) error {
	v, err := a.steps.PaperPage(c.Request().Context(), actor(c), of(c).build.ID, paperID(c))
	if err != nil {
		return err
	}
	if v.Decision == nil {
		bad := journal.Problems{}
		journal.CheckLine(bad, "name", in.TypedName, 2, 120, "Please type your name, as your signature.")
		if bad.Err() != nil {
			return a.ownerPaper(c, http.StatusUnprocessableEntity, decideForm(f), "", bad)
		}
	}
	if err := v.Standing(in); err != nil {
		return a.ownerPaper(c, http.StatusConflict, decideForm(f), journal.MessageOf(err))
	}
	return a.showConfirm(c, http.StatusOK, f, in.Outcome, nil)
}

func (a *App) showConfirm(c echo.Context, status int, form *form, outcome signoff.Outcome, bad journal.Problems) error {
	v, err := a.steps.PaperPage(c.Request().Context(), actor(c), of(c).build.ID, paperID(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, v.Sheet.Title)
	if err != nil {
		return err
	}
	page := views.PaperConfirm{Frame: f, ID: v.Paper.ID, Outcome: outcome, Form: decideForm(form), Problems: bad}
	if page.HasPasskey, err = a.hasPasskey(c); err != nil {
		return err
	}
	if page.Sheet, err = f.OfSheet(v.Sheet, v.SHA256()); err != nil {
		return err
	}
	return a.show(c, status, page)
}

// decided says what was recorded.
func (a *App) decided(c echo.Context, d signoff.Decision) error {
	_, rev, sheet, err := a.steps.RevisionOf(c.Request().Context(), actor(c), of(c).build.ID, d.PaperID, d.Revision)
	if err != nil {
		return err
	}
	f, err := a.frame(c, sheet.Title)
	if err != nil {
		return err
	}
	page := views.PaperDecided{Frame: f, ID: d.PaperID}
	if page.Sheet, err = f.OfSheet(sheet, rev.SHA256); err != nil {
		return err
	}
	if page.Decision, err = f.OfDecision(sheet.Kind, d); err != nil {
		return err
	}
	return a.show(c, http.StatusOK, page)
}

// paperAsk records an owner's question. POST /builds/:build/papers/:paper/ask
func (a *App) paperAsk(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build.ID
	err = a.steps.Ask(c.Request().Context(), actor(c), build, paperID(c), f.text("text"))
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		return a.ownerPaper(c, http.StatusUnprocessableEntity, decideForm(f), "", bad)
	}
	if err != nil {
		return err
	}
	return a.done(c, paperPath(build, paperID(c)), "Your question is with the shop. You will get an e-mail when it is answered; nothing is decided by asking.")
}

func consentPath(next string) string { return "/consent?next=" + url.QueryEscape(next) }

// consent shows the disclosures on electronic records. GET /consent
func (a *App) consent(c echo.Context) error {
	next := localPath(c.QueryParam("next"))
	return a.showConsent(c, http.StatusOK, next, "", nil)
}

func (a *App) showConsent(c echo.Context, status int, next, word string, bad journal.Problems) error {
	if of(c).person.Role != journal.Owner {
		return journal.Errorf(journal.Forbidden, "Only owners and their delegates sign papers here.")
	}
	f, err := a.frame(c, "Before you sign here for the first time")
	if err != nil {
		return err
	}
	page := views.NewConsent(f, next)
	page.Word, page.Problems = word, bad
	given, ok, err := a.steps.ConsentOf(c.Request().Context(), of(c).person.ID)
	if err != nil {
		return err
	}
	if ok && given.Version == views.ConsentVersion {
		page.Given, page.GivenAt = true, given.At
	}
	return a.show(c, status, page)
}

// consentGive records the consent, or with withdraw=yes ends it. POST /consent
func (a *App) consentGive(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	ctx, next := c.Request().Context(), localPath(f.line("next"))
	if f.line("withdraw") == "yes" {
		if err := a.steps.WithdrawConsent(ctx, actor(c)); err != nil {
			return err
		}
		return a.done(c, "/account", "Your consent is withdrawn. What you signed before stays valid; from now on the shop sends you papers by post.")
	}
	if f.line("version") != views.ConsentVersion || f.line("sha256") != views.ConsentSHA256() {
		return a.showConsent(c, http.StatusConflict, next, "", journal.Problems{
			"word": "These disclosures were renewed while you were reading. Please read them as they are now.",
		})
	}
	err = a.steps.GiveConsent(ctx, actor(c), views.ConsentVersion, views.ConsentSHA256(), f.raw("word"))
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		return a.showConsent(c, http.StatusUnprocessableEntity, next, f.raw("word"), bad)
	}
	if err != nil {
		return err
	}
	return a.done(c, next, "Thank you. You can sign here now.")
}

// testRecord shows the record that a person opens to show that they can.
// GET /consent/test-record
func (a *App) testRecord(c echo.Context) error {
	f, err := a.frame(c, "Test record")
	if err != nil {
		return err
	}
	return a.show(c, http.StatusOK, views.TestRecord{Frame: f, Word: flow.TestWord(of(c).person.ID, views.ConsentVersion)})
}

// sortByPlace orders photos by the places typed; equal places keep their order.
func sortByPlace(all []picked, places map[journal.PhotoID]int) {
	slices.SortStableFunc(all, func(x, y picked) int { return places[x.id] - places[y.id] })
}
