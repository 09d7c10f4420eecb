package flow

import (
	"context"
	"encoding/json"
	"fmt"
	"reflect"
	"slices"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// stop fills in what ending the build early comes to, and returns what would be
// agreed then. Whatever of it is out of bounds is cut to them; see
// [Steps.stopReady].
func (f *freezer) stop(paper journal.PaperID) (after []billing.Charge, err error) {
	draft := f.draft.Stop
	if draft == nil {
		draft = &signoff.Stop{}
	}
	stages, err := f.r.Stages(f.build.ID)
	if err != nil {
		return nil, err
	}
	x := &signoff.SheetStop{
		By: draft.By, On: draft.On, Truck: draft.Truck, Parts: append([]string{}, draft.Parts...),
		Stages: []signoff.SheetStopped{}, Documents: []signoff.SheetDocument{},
	}
	rests := restsOf(f.acc)
	for _, st := range stages {
		if st.DroppedBy == "" {
			x.Stages = append(x.Stages, stopped(st, rests[st.ID], draft.Earned))
		}
	}
	f.sheet.Stop = x
	if err := f.stage(); err != nil {
		return nil, err
	}
	if err := f.lines(); err != nil {
		return nil, err
	}
	after = append(slices.Clone(f.acc.Agreed), stopCharges(paper, f.sheet)...)
	ended := f.acc
	ended.Agreed, ended.Metered = after, slices.Clone(f.acc.Metered)
	for i := range ended.Metered {
		ended.Metered[i].Closed = true
	}
	docs, err := billing.Final(ended, journal.Date(f.sheet.SentOn))
	if err != nil {
		return nil, err
	}
	ended.Documents = slices.Clone(ended.Documents)
	for i, d := range docs {
		x.Documents = append(x.Documents, signoff.SheetDocument{
			Kind: string(d.Kind), Subtotal: d.Subtotal, Tax: d.Tax, DepositCredit: d.DepositCredit, Holdback: d.Holdback, Payable: d.Payable,
		})
		d.ID = fmt.Sprintf("to be issued %d", i+1)
		ended.Documents = append(ended.Documents, d)
	}
	then := billing.StatementOf(ended)
	x.DueBefore, x.DueAfter, x.DepositReturned = billing.Due(f.acc), then.Due, then.DepositUnearned
	x.Owed = x.DueAfter - x.DepositReturned
	return after, nil
}

func restsOf(acc billing.Account) map[journal.StageID]billing.Rest {
	rests := map[journal.StageID]billing.Rest{}
	for _, r := range billing.Rests(acc) {
		rests[journal.StageID(r.StageID)] = r
	}
	return rests
}

// stopped is a stage of a build that ends early. What is earned is for the shop to
// say only of an open stage with something to bill; a closed one's signed changes
// are done, and what is in the owner's favour is credited.
func stopped(st journal.Stage, r billing.Rest, said []signoff.Earned) signoff.SheetStopped {
	row := signoff.SheetStopped{ID: st.ID, Name: st.Name, Open: st.State != journal.Closed, Metered: st.Metered, Billed: r.Billed, Earned: r.Earned}
	if row.Open && r.Earned > 0 {
		at := slices.IndexFunc(said, func(e signoff.Earned) bool { return e.StageID == st.ID })
		switch {
		case at >= 0:
			row.Earned, row.Typed = min(max(said[at].Amount, 0), r.Earned), true
		case !r.Metered:
			row.Earned = 0
		}
	}
	if row.Open {
		off := r.NotDone(row.Earned)
		row.NotDone, row.Off = off.Total(), signoff.SheetSplit(off)
	}
	row.Agreed = row.Billed + row.Earned + row.NotDone
	return row
}

// stopCharges are what a signed early stop puts on the stages: what is not done,
// negative, and its own lines.
func stopCharges(paper journal.PaperID, sheet signoff.Sheet) []billing.Charge {
	var charges []billing.Charge
	for _, st := range sheet.Stop.Stages {
		if st.NotDone == 0 {
			continue
		}
		var off journal.Split
		for _, k := range journal.LineKinds {
			off = off.Plus(k, -journal.Split(st.Off).Of(k))
		}
		charges = append(charges, billing.Charge{
			Ref: PaperRef(paper, st.ID), Source: billing.EarlyStop, StageID: string(st.ID),
			Text: fmt.Sprintf("%s: not done of %s", sheet.Name(), st.Name), Split: off,
		})
	}
	for i, l := range sheet.Lines {
		charges = append(charges, billing.Charge{
			Ref: fmt.Sprintf("paper:%s/line:%d", paper, i+1), Source: billing.EarlyStop, StageID: string(sheet.Bearing(l).ID),
			Text: fmt.Sprintf("%s: %s", sheet.Name(), l.Text), Split: journal.Split{}.Plus(l.Kind, l.Amount),
		})
	}
	return charges
}

// stopReady says what an early stop lacks: of each stage under way what is
// earned, and nothing above what closing it would bill.
func (s *Steps) stopReady(r Reads, b journal.Build, d signoff.Draft) error {
	stages, err := r.Stages(b.ID)
	if err != nil {
		return err
	}
	acc, err := s.account(r, b)
	if err != nil {
		return err
	}
	rests, bad := restsOf(acc), journal.Problems{}
	said := map[journal.StageID]journal.Cents{}
	for _, e := range d.Stop.Earned {
		said[e.StageID] = e.Amount
	}
	for i, l := range d.Lines {
		at := slices.IndexFunc(stages, func(st journal.Stage) bool { return st.ID == d.Bearing(l) })
		if at >= 0 && stages[at].Metered {
			bad.Add(fmt.Sprintf("lines.%d.stage", i), "%s goes by time and materials. Please log this on the stage itself, or choose another stage.", stages[at].Name)
		}
	}
	for _, st := range stages {
		amount, named := said[st.ID]
		most := rests[st.ID].Earned
		switch {
		case st.State == journal.Closed || most <= 0:
		case named && amount > most:
			bad.Add(signoff.EarnedField(st.ID), "At most %s of %s is left to bill; for more, please add a line below.", most, st.Name)
		case !named && st.State == journal.UnderWay && !st.Metered:
			bad.Add(signoff.EarnedField(st.ID), "%s is under way. Please type what of the %s not billed yet is earned, or 0.", st.Name, most)
		}
	}
	return bad.Err()
}

// asShown refuses a paper that would show other figures, or other stages, now than
// when it was sent.
func (s *Steps) asShown(r Reads, p signoff.Paper, sheet signoff.Sheet) error {
	now, err := s.freeze(r, sheet.SentBy, p, draftOf(sheet))
	if err != nil {
		return err
	}
	if reflect.DeepEqual(now.Stop, sheet.Stop) && reflect.DeepEqual(now.Lines, sheet.Lines) && reflect.DeepEqual(now.Drops, sheet.Drops) && reflect.DeepEqual(now.Adds, sheet.Adds) &&
		now.TotalBefore == sheet.TotalBefore && now.TotalAfter == sheet.TotalAfter {
		return nil
	}
	return journal.Errorf(journal.Conflict, "Something has changed at the shop since this paper was sent, so its figures no longer hold. Nothing was recorded; the shop will send it once more.")
}

// stopBuild carries out a signed early stop: it closes what is open, takes back the
// other papers that are out, ends the allowance, and issues what the paper shows.
func (s *Steps) stopBuild(tx Tx, a Actor, b journal.Build, p signoff.Paper, sheet signoff.Sheet) error {
	stages, err := tx.Stages(b.ID)
	if err != nil {
		return err
	}
	for _, st := range stages {
		if st.State == journal.Closed {
			continue
		}
		st.ClosedAt = s.at()
		if err := s.turn(tx, a, st, journal.Closed, fmt.Sprintf("%s, %s, was signed.", sheet.Name(), sheet.Title), "stage closed"); err != nil {
			return err
		}
	}
	err = s.ended(tx, a, &b, sheet.Stop.On, map[string]any{"stopped_on": sheet.Stop.On, "paper": p.ID, "reason": sheet.Reason})
	if err != nil {
		return err
	}
	acc, err := s.account(tx, b)
	if err != nil {
		return err
	}
	docs, err := billing.Final(acc, s.today(tx))
	if err != nil {
		return err
	}
	for _, d := range docs {
		if _, err := s.issue(tx, a, b, acc.Terms.Tax, d, "", ""); err != nil {
			return err
		}
	}
	return nil
}

// ended puts a build into the state [journal.Stopped], takes back all papers that
// are out and ends the allowance.
func (s *Steps) ended(tx Tx, a Actor, b *journal.Build, on journal.Date, detail map[string]any) error {
	b.State, b.StoppedOn = journal.Stopped, on
	if err := tx.SaveBuild(*b); err != nil {
		return err
	}
	b.Version++
	if err := s.record(tx, a, b.ID, "build stopped", string(b.ID), detail); err != nil {
		return err
	}
	papers, err := tx.Papers(b.ID)
	if err != nil {
		return err
	}
	for _, p := range papers {
		if p.State == signoff.Sent {
			if err := s.recall(tx, a, p); err != nil {
				return err
			}
		}
	}
	allowance, inForce, err := absent(tx.Allowance(b.ID))
	if err != nil || !inForce {
		return err
	}
	if err := tx.EndAllowance(b.ID, a.Person.ID, s.at()); err != nil {
		return err
	}
	return s.record(tx, a, b.ID, "allowance ended", string(allowance.ID), map[string]any{})
}

// Stopping is a build's end without a signed paper, as the office records it.
type Stopping struct {
	Version int // of the build, as read
	On      journal.Date
	Reason  string // why it ends, and why no paper is signed
}

// StopUnsigned records that a build has ended although nobody signed an early
// stop. Nothing is billed that was not: what was agreed and not done stays agreed and
// not billed, open stages stay as they are, and what is held back stays held. An
// early stop can still be signed later, and settles it. Papers that are out are taken
// back, and the owners are told. Office only.
//
// It returns [journal.Invalid] beside stop_on and reason, and [journal.Conflict]
// before the agreement, after the delivery, for a build stopped before, and when it was
// changed meanwhile.
func (s *Steps) StopUnsigned(ctx context.Context, a Actor, build journal.BuildID, in Stopping) error {
	return s.asOfficeOn(ctx, a, build, func(tx Tx, b journal.Build) error {
		switch {
		case b.State == journal.Scoping:
			return journal.Errorf(journal.Conflict, "Nothing is agreed on %s yet, so there is nothing to end.", b.Nickname)
		case b.State == journal.Delivered:
			return journal.Errorf(journal.Conflict, "%s was delivered on %s, so it cannot end early any more.", b.Nickname, b.DeliveredOn)
		case b.State == journal.Stopped:
			return stoppedAlready(b)
		case b.Version != in.Version:
			return changedMeanwhile("build")
		}
		bad := journal.Problems{}
		checkStopDay(bad, b, in.On, s.today(tx))
		journal.CheckText(bad, "reason", in.Reason, 1, 2000, "Please say why it ends, and why no paper was signed; the owner reads it.")
		if err := bad.Err(); err != nil {
			return err
		}
		err := s.ended(tx, a, &b, in.On, map[string]any{"stopped_on": in.On, "paper": "", "reason": in.Reason})
		if err != nil {
			return err
		}
		return s.tellStop(tx, b, in)
	})
}

func checkStopDay(bad journal.Problems, b journal.Build, on, today journal.Date) {
	switch {
	case on.IsZero():
		bad.Add("stop_on", "Please give the day on which the build ended.")
	case on > today:
		bad.Add("stop_on", "That day is still to come; please record the end once it is there.")
	case on < b.AgreedOn:
		bad.Add("stop_on", "The build was agreed on %s; please give a later day.", b.AgreedOn)
	}
}

func (s *Steps) tellStop(tx Tx, b journal.Build, in Stopping) error {
	shop, err := tx.Shop()
	if err != nil {
		return err
	}
	owners, _, err := ownersOf(tx, b.ID)
	if err != nil {
		return err
	}
	for _, owner := range owners {
		letter := StoppedLetter{ShopName: shop.Name, To: owner, Nickname: b.Nickname, On: in.On, Reason: in.Reason, Path: fmt.Sprintf("/builds/%s", b.ID)}
		if _, err := s.post(tx, b.ID, owner, letter); err != nil {
			return err
		}
	}
	return nil
}

// goingOn refuses work on a build that has ended early.
func goingOn(b journal.Build) error {
	if b.State == journal.Stopped {
		return stoppedAlready(b)
	}
	return nil
}

func stoppedAlready(b journal.Build) error {
	return journal.Errorf(journal.Conflict, "%s was stopped on %s. Its stages and what is agreed stay as they are; money can still be recorded, and entries written.", b.Nickname, b.StoppedOn)
}

// Ending is how a build ended early.
type Ending struct {
	On     journal.Date
	Reason string
	// PaperID is the early stop that was signed; "" when the office recorded the end
	// without one. Paper is its name, "Early stop 1".
	PaperID journal.PaperID
	Paper   string
}

// endingOf returns how a build ended early; nil for one that did not.
func endingOf(r Reads, b journal.Build) (*Ending, error) {
	if b.State != journal.Stopped {
		return nil, nil
	}
	events, err := r.Events(b.ID)
	if err != nil {
		return nil, err
	}
	e := &Ending{On: b.StoppedOn}
	for _, event := range events {
		if event.Kind != "build stopped" {
			continue
		}
		var detail struct {
			Paper  journal.PaperID `json:"paper"`
			Reason string          `json:"reason"`
		}
		if err := json.Unmarshal([]byte(event.Detail), &detail); err != nil {
			return nil, fmt.Errorf("flow: event %d of the end of %s: %w", event.Seq, b.ID, err)
		}
		e.PaperID, e.Reason = detail.Paper, detail.Reason
	}
	if e.PaperID == "" {
		return e, nil
	}
	p, err := r.Paper(b.ID, e.PaperID)
	e.Paper = fmt.Sprintf("%s %d", p.Kind.Title(), p.Number)
	return e, err
}

// EndingOf returns how a build ended early, to whoever may read it; nil for one
// that did not.
func (s *Steps) EndingOf(ctx context.Context, a Actor, build journal.BuildID) (e *Ending, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		b, _, err := readable(r, a, build)
		if err != nil {
			return err
		}
		e, err = endingOf(r, b)
		return err
	})
	return e, err
}

// OpenRest is an open stage with what is agreed and not billed of it; of a metered
// one what is logged within its ceiling.
type OpenRest struct {
	Stage journal.Stage
	Left  journal.Cents
}

// OpenRests lists the open stages of a build with something left to bill, in the
// order of work: those of which an early stop says what is earned. Office only.
func (s *Steps) OpenRests(ctx context.Context, a Actor, build journal.BuildID) (open []OpenRest, err error) {
	if err := asOffice(a); err != nil {
		return nil, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		b, err := r.Build(build)
		if err != nil {
			return err
		}
		stages, err := r.Stages(build)
		if err != nil {
			return err
		}
		acc, err := s.account(r, b)
		if err != nil {
			return err
		}
		rests := restsOf(acc)
		for _, st := range stages {
			if left := rests[st.ID].Earned; st.State != journal.Closed && left > 0 {
				open = append(open, OpenRest{st, left})
			}
		}
		return nil
	})
	return open, err
}

// stopDraft is what an early stop begins with.
func (s *Steps) stopDraft(r Reads, b journal.Build) *signoff.Stop {
	x := &signoff.Stop{By: signoff.OwnersWish, On: s.today(r)}
	if b.State == journal.Stopped {
		x.On = b.StoppedOn
	}
	return x
}

// noting passes a transaction on, and notes about which builds something was
// recorded in it, and by whom.
type noting struct {
	Tx
	builds []journal.BuildID
	by     journal.PersonID
}

// AddEvent notes the event's build.
func (n *noting) AddEvent(e journal.Event) (journal.Event, error) {
	if e.BuildID != "" && !slices.Contains(n.builds, e.BuildID) {
		n.builds = append(n.builds, e.BuildID)
	}
	n.by = e.PersonID
	return n.Tx.AddEvent(e)
}

// renewStops sends early stops that are out once more where an act has changed a
// figure that they show: a payment, a document, logged work. Any act may, so this
// runs at the end of each; see [Steps.write].
func (s *Steps) renewStops(n *noting) error {
	for _, build := range n.builds {
		papers, err := n.Tx.Papers(build)
		if err != nil {
			return err
		}
		for _, p := range papers {
			if p.Kind != signoff.EarlyStop || p.State != signoff.Sent {
				continue
			}
			sheet, err := sheetOf(n.Tx, p)
			if err != nil {
				return err
			}
			if s.asShown(n.Tx, p, sheet) == nil {
				continue
			}
			by := Actor{Person: journal.Person{ID: n.by}}
			if _, err := s.sendRevision(n.Tx, by, p, draftOf(sheet), "Something has changed at the shop since, so the figures of this paper are worked out afresh."); err != nil {
				return err
			}
		}
	}
	return nil
}
