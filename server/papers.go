package server

import (
	"cmp"
	"fmt"
	"net/http"
	"slices"
	"strconv"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

func paperID(c echo.Context) journal.PaperID { return journal.PaperID(c.Param("paper")) }

func paperPath(build journal.BuildID, paper journal.PaperID) string {
	return fmt.Sprintf("/builds/%s/papers/%s", build, paper)
}

// papers lists a build's papers. GET /builds/:build/papers
func (a *App) papers(c echo.Context) error {
	b, lines, err := a.steps.PapersOf(c.Request().Context(), actor(c), of(c).build.ID)
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Papers")
	if err != nil {
		return err
	}
	page := views.Papers{Frame: f, Agreed: b.State != journal.Scoping, State: b.State}
	for _, l := range lines {
		page.Settled = page.Settled || l.Paper.Kind == signoff.EarlyStop && l.Paper.State == signoff.Signed
		page.Items = append(page.Items, paperItem(l))
	}
	return a.show(c, http.StatusOK, page)
}

// paperItem puts a paper into a list's line.
func paperItem(l flow.PaperLine) views.PaperItem {
	item := views.PaperItem{
		ID: l.Paper.ID, Kind: l.Paper.Kind, Number: l.Paper.Number, Title: l.Paper.Draft.Title, State: l.Paper.State, Revision: l.Paper.Revision,
		Delta: l.Paper.Draft.Delta().Total(), Days: l.Paper.Draft.Days, Open: l.Open,
	}
	if l.Paper.Revision > 0 {
		item.Title, item.Sheet, item.SentAt = l.Sheet.Title, l.Sheet, l.SentAt
	}
	if item.Title == "" {
		item.Title = "Not named yet"
	}
	if l.Decision != nil {
		item.DecidedAt, item.DecidedBy, item.Outcome, item.Manner = l.Decision.DecidedAt(), l.Decision.TypedName, l.Decision.Outcome, l.Decision.Manner
	}
	return item
}

// paperNew begins a paper of a kind ("kind"; a change order when none is named),
// of a find when one is named ("entry"), or as the re-estimate ("re_estimate").
// POST /builds/:build/papers
func (a *App) paperNew(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build.ID
	p, err := a.steps.NewPaper(c.Request().Context(), actor(c), build, flow.PaperStart{
		Kind: signoff.Kind(cmp.Or(f.line("kind"), string(signoff.ChangeOrder))), EntryID: formID[journal.EntryID](f, "entry"), ReEstimate: f.line("re_estimate") == "yes",
		StageID: formID[journal.StageID](f, "stage"),
	})
	if err != nil {
		return err
	}
	return c.Redirect(http.StatusSeeOther, paperPath(build, p.ID)+"/edit")
}

// paper shows a paper's last revision: to the owner's side to decide on, to the
// shop with all that belongs to it. GET /builds/:build/papers/:paper
func (a *App) paper(c echo.Context) error {
	if of(c).person.Role.Staff() {
		return a.staffPaper(c, http.StatusOK, answering{})
	}
	kept, err := a.keptDecision(c)
	if err != nil {
		return err
	}
	return a.ownerPaper(c, http.StatusOK, kept, "")
}

// answering is what the office typed as an answer that was refused.
type answering struct {
	to       journal.QuestionID
	text     string
	problems journal.Problems
}

func (a *App) staffPaper(c echo.Context, status int, answer answering, other ...otherwise) error {
	ctx, build := c.Request().Context(), of(c).build.ID
	v, err := a.steps.PaperPage(ctx, actor(c), build, paperID(c))
	if err != nil {
		return err
	}
	f, err := a.frame(c, paperTitle(v.Paper))
	if err != nil {
		return err
	}
	page := views.StaffPaper{
		Frame: f, Paper: v.Paper, Changed: v.Changed(), Find: v.Find, To: parties(v.Parties),
		AnswerTo: answer.to, Answer: answer.text, Problems: answer.problems,
	}
	if v.Paper.Revision > 0 {
		if page.Sheet, err = f.OfSheet(v.Sheet, v.SHA256()); err != nil {
			return err
		}
	}
	for _, rev := range v.Revisions {
		by := v.Names[rev.SentBy]
		page.Revisions = append(page.Revisions, views.RevisionLine{Revision: rev, By: by})
	}
	slices.Reverse(page.Revisions)
	page.Questions = questionViews(f.Words, v)
	if v.Decision != nil {
		d, err := decisionView(f.Words, v)
		if err != nil {
			return err
		}
		page.Decision, page.Decider = &d, v.Names[v.Decision.PersonID]
		page.Confirm = confirmPhone(f.Words, v)
	}
	if of(c).person.Role == journal.Office && v.Paper.State == signoff.Sent {
		page.Otherwise = a.otherwiseView(c, page.Sheet, v, other)
	}
	return a.show(c, status, page)
}

func paperTitle(p signoff.Paper) string {
	if p.Number == 0 {
		return "New " + string(p.Kind)
	}
	return fmt.Sprintf("%s %d", p.Kind.Title(), p.Number)
}

func questionViews(w views.Words, v flow.PaperView) []views.QuestionView {
	var all []views.QuestionView
	for _, q := range v.Questions {
		all = append(all, views.QuestionView{Words: w, Question: q, AskedBy: v.Names[q.AskedBy], AnsweredBy: v.Names[q.AnsweredBy]})
	}
	return all
}

// paperAnswer records the office's answer to a question.
// POST /builds/:build/papers/:paper/questions/:question/answer
func (a *App) paperAnswer(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, question := of(c).build.ID, journal.QuestionID(c.Param("question"))
	err = a.steps.Answer(c.Request().Context(), actor(c), build, paperID(c), question, f.text("text"))
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		return a.staffPaper(c, http.StatusUnprocessableEntity, answering{to: question, text: f.raw("text"), problems: bad})
	}
	if err != nil {
		return err
	}
	return a.done(c, paperPath(build, paperID(c)), "Your answer is on its way to the owner, and stands under the paper.")
}

// paperRecall takes a paper back. POST /builds/:build/papers/:paper/recall
func (a *App) paperRecall(c echo.Context) error {
	build := of(c).build.ID
	if err := a.steps.RecallPaper(c.Request().Context(), actor(c), build, paperID(c)); err != nil {
		return err
	}
	return a.done(c, paperPath(build, paperID(c)), "The paper is taken back; it can no longer be signed as it was.")
}

// paperRevision shows one frozen revision.
// GET /builds/:build/papers/:paper/revisions/:revision
func (a *App) paperRevision(c echo.Context) error {
	p, rev, sheet, err := a.revision(c)
	if err != nil {
		return err
	}
	f, err := a.frame(c, fmt.Sprintf("%s, revision %d", paperTitle(p), rev.Number))
	if err != nil {
		return err
	}
	page := views.PaperRevision{Frame: f, ID: p.ID, Last: p.Revision}
	if page.Sheet, err = f.OfSheet(sheet, rev.SHA256); err != nil {
		return err
	}
	v, err := a.steps.PaperPage(c.Request().Context(), actor(c), of(c).build.ID, p.ID)
	if err != nil {
		return err
	}
	if v.Decision != nil && v.Decision.Revision == rev.Number {
		d, err := decisionView(f.Words, v)
		if err != nil {
			return err
		}
		page.Decision = &d
	}
	return a.show(c, http.StatusOK, page)
}

// paperRecord gives out the frozen bytes, to be saved and hashed.
// GET /builds/:build/papers/:paper/revisions/:revision/record
func (a *App) paperRecord(c echo.Context) error {
	p, rev, _, err := a.revision(c)
	if err != nil {
		return err
	}
	name := flow.RecordName(p, rev.Number)
	c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="`+name+`"`)
	return c.Blob(http.StatusOK, echo.MIMEApplicationJSON, rev.Bytes)
}

func (a *App) revision(c echo.Context) (p signoff.Paper, rev signoff.Revision, sheet signoff.Sheet, err error) {
	number, err := strconv.Atoi(c.Param("revision"))
	if err != nil {
		return p, rev, sheet, journal.Errorf(journal.NotFound, "There is no such revision.")
	}
	return a.steps.RevisionOf(c.Request().Context(), actor(c), of(c).build.ID, paperID(c), number)
}

// parties puts a build's people into the form pages show.
func parties(all []flow.Party) []views.Party {
	var out []views.Party
	for _, p := range all {
		out = append(out, views.Party{Member: p.Member, Person: p.Person})
	}
	return out
}
