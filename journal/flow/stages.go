package flow

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// GateReport says what a stage's gate asks for and what of it is there.
type GateReport struct {
	Photos       int // photos the owner can see
	PhotosWanted int
	Checks       []GateCheck
	PapersOut    []signoff.Paper // out for sign-off, with cost on this stage
	Agreed       bool            // whether the build's agreement is recorded
}

// GateCheck is one check of a gate, ticked or not.
type GateCheck struct {
	Text   string
	Done   bool
	ByID   journal.PersonID
	At     time.Time
	ByName string
}

// Missing says in whole sentences what is missing; none when the gate is open.
func (g GateReport) Missing() []string {
	var out []string
	if !g.Agreed {
		out = append(out, "The owner's agreement is not recorded yet.")
	}
	if n := g.PhotosWanted - g.Photos; n == 1 {
		out = append(out, "One more photo that the owner can see is wanted.")
	} else if n > 1 {
		out = append(out, fmt.Sprintf("%d more photos that the owner can see are wanted.", n))
	}
	for _, c := range g.Checks {
		if !c.Done {
			out = append(out, fmt.Sprintf("Not ticked yet: %s.", strings.TrimSuffix(c.Text, ".")))
		}
	}
	for _, p := range g.PapersOut {
		out = append(out, fmt.Sprintf("%s %d, %s, is out for sign-off.", p.Kind.Title(), p.Number, p.Draft.Title))
	}
	return out
}

// gateOf gathers a stage's gate report.
func gateOf(r Reads, b journal.Build, st journal.Stage) (GateReport, error) {
	g := GateReport{PhotosWanted: st.Gate.Photos, Agreed: b.State != journal.Scoping}
	var err error
	if g.Photos, err = r.CountStagePhotos(b.ID, st.ID, false); err != nil {
		return g, err
	}
	ticked, err := r.Checks(st.ID)
	if err != nil {
		return g, err
	}
	for _, text := range st.Gate.Checks {
		c := GateCheck{Text: text}
		for _, t := range ticked {
			if t.Text != text {
				continue
			}
			p, err := r.Person(t.PersonID)
			if err != nil {
				return g, err
			}
			c.Done, c.ByID, c.At, c.ByName = true, t.PersonID, t.At, p.Name
		}
		g.Checks = append(g.Checks, c)
	}
	papers, err := r.Papers(b.ID)
	if err != nil {
		return g, err
	}
	for _, p := range papers {
		if p.State != signoff.Sent {
			continue
		}
		sheet, err := sheetOf(r, p)
		if err != nil {
			return g, err
		}
		if sheet.Bears(st.ID) {
			p.Draft = draftOf(sheet) // what is out, not what the shop is editing
			g.PapersOut = append(g.PapersOut, p)
		}
	}
	return g, nil
}

// StageView is everything a stage's page shows, apart from its entries.
type StageView struct {
	Build    journal.Build
	Stages   []journal.Stage
	Stage    journal.Stage
	Dropped  string // the paper that dropped it, "change order 4"; "" otherwise
	Gate     GateReport
	Turns    []journal.Turn              // of this stage
	Names    map[journal.PersonID]string // of those who did the turns
	Row      billing.StageRow
	Lead     journal.Person // zero when none is chosen
	Invoices []Invoice      // issued by this stage's closes
	// NeedsLeave: it takes the truck apart, has not begun, and has no signed
	// teardown authorization; LeaveOut says that one is out for sign-off.
	NeedsLeave bool
	// AskOffice: it has not begun, and by the terms the office has to agree before it
	// opens, because Late, which is for the office only, are late.
	AskOffice bool
	Late      []OpenInvoice
	LeaveOut  bool
	// Next is the document that closing now would issue, with no number yet;
	// WouldBill is false when there is nothing to bill. For the office only.
	Next      billing.Document
	WouldBill bool
}

// StageOf gathers the page of a stage.
func (s *Steps) StageOf(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID) (v StageView, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Build, _, err = readable(r, a, build); err != nil {
			return err
		}
		if v.Stage, err = r.Stage(build, stage); err != nil {
			return err
		}
		if v.Stages, err = r.Stages(build); err != nil {
			return err
		}
		if v.Gate, err = gateOf(r, v.Build, v.Stage); err != nil {
			return err
		}
		dropped, err := droppedNames(r, []journal.Stage{v.Stage})
		if err != nil {
			return err
		}
		v.Dropped = dropped[stage]
		if v.Stage.Teardown && v.Stage.State == journal.NotStarted {
			allowed, err := teardownAllowed(r, build, stage)
			if err != nil {
				return err
			}
			v.NeedsLeave = !allowed
			for _, p := range v.Gate.PapersOut {
				v.LeaveOut = v.LeaveOut || p.Kind == signoff.Teardown
			}
		}
		if v.Stage.State == journal.NotStarted {
			late, err := s.lateAsked(r, build)
			if err != nil {
				return err
			}
			if v.AskOffice = len(late) > 0; a.Person.Role == journal.Office {
				v.Late = late
			}
		}
		turns, err := r.Turns(build)
		if err != nil {
			return err
		}
		v.Turns = slices.DeleteFunc(turns, func(t journal.Turn) bool { return t.StageID != stage })
		v.Names = map[journal.PersonID]string{}
		for _, t := range v.Turns {
			if err := nameAll(r, v.Names, []journal.PersonID{t.ByID}); err != nil {
				return err
			}
		}
		if v.Stage.LeadID != "" {
			people, err := peopleSeen(r, a, []journal.PersonID{v.Stage.LeadID})
			if err != nil {
				return err
			}
			v.Lead = people[v.Stage.LeadID]
		}
		acc, err := s.account(r, v.Build)
		if err != nil {
			return err
		}
		for _, row := range billing.StatementOf(acc).Stages {
			if row.StageID == string(stage) {
				v.Row = row
			}
		}
		invoices, err := r.Invoices(build)
		if err != nil {
			return err
		}
		v.Invoices = slices.DeleteFunc(invoices, func(i Invoice) bool { return i.StageID != stage })
		if a.Person.Role == journal.Office && v.Build.State != journal.Scoping && v.Stage.State == journal.UnderWay {
			v.Next, v.WouldBill, err = billing.Next(acc, toBill(acc, v.Stages, stage), s.today(r), string(stage))
		}
		return err
	})
	return v, err
}

// toBill are the refs that closing a stage bills: its own, and signed changes
// on stages closed before.
func toBill(acc billing.Account, stages []journal.Stage, stage journal.StageID) []string {
	refs := acc.Unbilled(string(stage))
	for _, ref := range refsOf(carried(acc, stages)) {
		if !slices.Contains(refs, ref) {
			refs = append(refs, ref)
		}
	}
	return refs
}

// OpenStage puts a stage under way. One that is under way already is left as
// it is; a closed one needs [Steps.ReopenStage]. While an invoice is late and the
// terms say so, it returns [journal.Conflict], and the office can open it with
// [Steps.OpenStageThough].
func (s *Steps) OpenStage(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID) error {
	return s.openStage(ctx, a, build, stage, nil)
}

// OpenStageThough is OpenStage although invoices are late, with the office's reason
// for it, which is recorded with the invoices. Office only; [journal.Invalid] beside
// reason.
func (s *Steps) OpenStageThough(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID, reason string) error {
	if err := asOffice(a); err != nil {
		return err
	}
	bad := journal.Problems{}
	journal.CheckLine(bad, "reason", reason, 1, 300, "Please say why it is opened all the same, in one line of at most 300 characters.")
	if err := bad.Err(); err != nil {
		return err
	}
	return s.openStage(ctx, a, build, stage, &reason)
}

// openStage opens a stage; though is the office's reason to do it in spite of late
// invoices, nil for none.
func (s *Steps) openStage(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID, though *string) error {
	if err := asStaff(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		st, err := s.stageOf(tx, a, build, stage)
		if err != nil {
			return err
		}
		switch st.State {
		case journal.UnderWay:
			return nil
		case journal.Closed:
			if st.DroppedBy != "" {
				return droppedFor(st)
			}
			return journal.Errorf(journal.Conflict, "%s is closed. The office can reopen it with a reason.", st.Name)
		}
		if st.Teardown {
			allowed, err := teardownAllowed(tx, build, stage)
			if err != nil {
				return err
			}
			if !allowed {
				return journal.Errorf(journal.Conflict, "%s takes the truck apart, so it opens only with the owner's signed teardown authorization. The office sends it from the build's papers.", st.Name)
			}
		}
		late, err := s.lateAsked(tx, build)
		if err != nil {
			return err
		}
		st.OpenedAt = s.at()
		switch {
		case len(late) == 0:
			return s.turn(tx, a, st, journal.UnderWay, "", "stage opened")
		case though != nil:
			return s.turnThough(tx, a, st, late, *though)
		case a.Person.Role == journal.Office:
			return journal.Errorf(journal.Conflict, "%s. Please say on the stage's page why %s is opened all the same.", lateSentence(late), st.Name)
		}
		return journal.Errorf(journal.Conflict, "The office has to agree before %s is opened. Please ask them.", st.Name)
	})
}

// teardownAllowed reports whether the owner has signed a teardown authorization
// for the stage.
func teardownAllowed(r Reads, build journal.BuildID, stage journal.StageID) (bool, error) {
	papers, err := r.Papers(build)
	if err != nil {
		return false, err
	}
	for _, p := range papers {
		if p.Kind != signoff.Teardown || p.State != signoff.Signed {
			continue
		}
		sheet, err := sheetOf(r, p)
		if err != nil {
			return false, err
		}
		if sheet.Stage.ID == stage {
			return true, nil
		}
	}
	return false, nil
}

// CloseStage checks the gate, closes the stage and bills it, all or nothing.
// billed is false when there was nothing to bill.
//
// It returns [journal.Conflict] when the stage is not under way (somebody may
// have closed it a moment ago: it is billed once), and [journal.Invalid] with
// sentences under the field "gate" when something is missing.
func (s *Steps) CloseStage(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID) (inv Invoice, billed bool, err error) {
	if err := asOffice(a); err != nil {
		return inv, false, err
	}
	err = s.write(ctx, func(tx Tx) error {
		st, err := s.stageOf(tx, a, build, stage)
		if err != nil {
			return err
		}
		switch st.State {
		case journal.Closed:
			return journal.Errorf(journal.Conflict, "%s is closed already; nothing was billed twice.", st.Name)
		case journal.NotStarted:
			return journal.Errorf(journal.Conflict, "%s has not been started; please open it first.", st.Name)
		}
		b, err := tx.Build(build)
		if err != nil {
			return err
		}
		g, err := gateOf(tx, b, st)
		if err != nil {
			return err
		}
		if missing := g.Missing(); len(missing) > 0 {
			return &journal.Error{Code: journal.Invalid, Message: st.Name + " cannot close yet. " + strings.Join(missing, " "),
				Fields: map[string]string{"gate": strings.Join(missing, " ")}}
		}
		acc, err := s.account(tx, b)
		if err != nil {
			return err
		}
		stages, err := tx.Stages(build)
		if err != nil {
			return err
		}
		doc, ok, err := billing.Next(acc, toBill(acc, stages, stage), s.today(tx), string(stage))
		if err != nil {
			return err
		}
		st.ClosedAt = s.at()
		if err := s.turn(tx, a, st, journal.Closed, "", "stage closed"); err != nil {
			return err
		}
		if billed = ok; !ok {
			return nil
		}
		inv, err = s.issue(tx, a, b, acc.Terms.Tax, doc, stage, st.Name)
		return err
	})
	if err != nil {
		return Invoice{}, false, err
	}
	return inv, billed, nil
}

// ReopenStage puts a closed stage under way again, with a reason. What its closes
// billed stands, and closing again bills only what was signed since; or, with
// credit, each of those invoices is taken back by a credit memo, and closing again
// bills everything anew.
func (s *Steps) ReopenStage(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID, reason string, credit bool) error {
	if err := asOffice(a); err != nil {
		return err
	}
	bad := journal.Problems{}
	journal.CheckLine(bad, "reason", reason, 1, 300, "Please say why it is reopened, in one line of at most 300 characters.")
	if err := bad.Err(); err != nil {
		return err
	}
	return s.onBuild(ctx, a, build, func(tx Tx, b journal.Build) error {
		if err := goingOn(b); err != nil {
			return err
		}
		st, err := tx.Stage(build, stage)
		if err != nil {
			return err
		}
		if st.State != journal.Closed {
			return journal.Errorf(journal.Conflict, "%s is not closed, so there is nothing to reopen.", st.Name)
		}
		if st.DroppedBy != "" {
			return droppedFor(st)
		}
		if credit {
			if err := s.creditStage(tx, a, b, st, reason); err != nil {
				return err
			}
		}
		st.ClosedAt = time.Time{}
		return s.turn(tx, a, st, journal.UnderWay, reason, "stage reopened")
	})
}

// creditStage takes back every invoice that a stage's closes have issued and that
// stands.
func (s *Steps) creditStage(tx Tx, a Actor, b journal.Build, st journal.Stage, reason string) error {
	invoices, err := tx.Invoices(b.ID)
	if err != nil {
		return err
	}
	gone := map[string]bool{}
	for _, inv := range invoices {
		gone[inv.Document.Cancels] = true
	}
	for _, inv := range invoices {
		if inv.StageID != st.ID || inv.Document.Kind != billing.Invoice || gone[inv.Document.ID] {
			continue
		}
		if _, err := s.cancelInvoice(tx, a, b, inv.ID, reason); err != nil {
			return err
		}
	}
	return nil
}

// TickCheck ticks a gate check, or takes the tick away. Doing it twice changes
// nothing. A closed stage's checks stay as they are.
func (s *Steps) TickCheck(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID, text string, done bool) error {
	if err := asStaff(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		st, err := s.stageOf(tx, a, build, stage)
		if err != nil {
			return err
		}
		if !slices.Contains(st.Gate.Checks, text) {
			return journal.Errorf(journal.Conflict, "This check is no longer part of the gate of %s; please look at the page again.", st.Name)
		}
		if st.State == journal.Closed {
			return journal.Errorf(journal.Conflict, "%s is closed; its checks stay as they are.", st.Name)
		}
		if !done {
			if err := tx.DropCheck(stage, text); err != nil {
				return err
			}
			return s.record(tx, a, build, "check cleared", string(stage), map[string]any{"text": text})
		}
		if err := tx.AddCheck(journal.Check{StageID: stage, Text: text, PersonID: a.Person.ID, At: s.at()}); err != nil {
			return err
		}
		return s.record(tx, a, build, "check ticked", string(stage), map[string]any{"text": text})
	})
}

// stageOf returns a stage on which work can go on.
func (s *Steps) stageOf(r Reads, a Actor, build journal.BuildID, stage journal.StageID) (journal.Stage, error) {
	b, _, err := readable(r, a, build)
	if err == nil {
		err = goingOn(b)
	}
	if err != nil {
		return journal.Stage{}, err
	}
	return r.Stage(build, stage)
}

func droppedFor(st journal.Stage) error {
	return journal.Errorf(journal.Conflict, "%s was dropped from the build by a signed change order, so it stays closed. To take it up again, please write a change order that adds a stage.", st.Name)
}

// turn changes a stage's state and records it.
func (s *Steps) turn(tx Tx, a Actor, st journal.Stage, to journal.StageState, reason, event string) error {
	st.State = to
	if err := tx.SaveStage(st); err != nil {
		return err
	}
	if err := tx.AddTurn(journal.Turn{StageID: st.ID, To: to, Reason: reason, ByID: a.Person.ID, At: s.at()}); err != nil {
		return err
	}
	return s.record(tx, a, st.BuildID, event, string(st.ID), map[string]any{"stage": st.Name, "reason": reason})
}
