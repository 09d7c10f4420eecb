package flow

import (
	"fmt"
	"slices"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// AddedStage stands in a draft, as it comes from a form, for the stage that the
// draft adds.
const AddedStage journal.StageID = "new"

// nameAdded gives the stage that a draft adds its id, the one it had before, and
// puts it where the draft says [AddedStage].
func (s *Steps) nameAdded(d *signoff.Draft, before signoff.Draft) {
	if d.Adds == nil {
		return
	}
	if d.Adds.ID == "" && before.Adds != nil {
		d.Adds.ID = before.Adds.ID
	}
	if d.Adds.ID == "" {
		d.Adds.ID = journal.StageID(s.NewID())
	}
	if d.StageID == AddedStage {
		d.StageID = d.Adds.ID
	}
	for i, l := range d.Lines {
		if l.StageID == AddedStage {
			d.Lines[i].StageID = d.Adds.ID
		}
	}
}

// bearable says, beside a field, why a stage cannot bear a line of the draft.
func bearable(r Reads, build journal.BuildID, d signoff.Draft, stage journal.StageID, field string) error {
	if d.Adds != nil && stage == d.Adds.ID {
		return nil
	}
	st, found, err := absent(r.Stage(build, stage))
	switch {
	case err != nil:
		return err
	case !found:
		return journal.Problems{field: "Please choose one of this build's stages."}.Err()
	case st.DroppedBy != "":
		return journal.Problems{field: fmt.Sprintf("%s was dropped from the build; please choose another stage.", st.Name)}.Err()
	}
	return nil
}

// settleStages checks which stages a draft names beside those of its lines.
func settleStages(r Reads, build journal.BuildID, d *signoff.Draft) error {
	known := func(stage journal.StageID, field string) error {
		if stage == "" {
			return nil
		}
		if _, err := r.Stage(build, stage); err != nil {
			return journal.Problems{field: "Please choose one of this build's stages."}.Err()
		}
		return nil
	}
	if d.Adds != nil {
		if err := known(d.Adds.After, "adds_after"); err != nil {
			return err
		}
	}
	if err := known(d.Drops, "drops"); err != nil || d.Stop == nil {
		return err
	}
	stages, err := r.Stages(build)
	if err != nil {
		return err
	}
	place := func(e signoff.Earned) int {
		return slices.IndexFunc(stages, func(st journal.Stage) bool { return st.ID == e.StageID })
	}
	for _, e := range d.Stop.Earned {
		if place(e) < 0 {
			return journal.Problems{signoff.EarnedField(e.StageID): "Please choose one of this build's stages."}.Err()
		}
	}
	slices.SortStableFunc(d.Stop.Earned, func(x, y signoff.Earned) int { return place(x) - place(y) })
	return nil
}

// sheetStage names a stage on the sheet, the one that it adds too.
func (f *freezer) sheetStage(id journal.StageID) (signoff.SheetStage, error) {
	if a := f.draft.Adds; a != nil && a.ID == id {
		return signoff.SheetStage{ID: a.ID, Name: a.Name, Metered: a.Metered}, nil
	}
	st, err := f.r.Stage(f.build.ID, id)
	return stageOnSheet(st), err
}

// restage fills in the stages that are added and dropped. Dropping takes off what is
// not billed of the stage, a line for each kind.
func (f *freezer) restage() error {
	if a := f.draft.Adds; a != nil {
		f.sheet.Adds = &signoff.SheetAdded{ID: a.ID, Name: a.Name, Days: a.Days, Metered: a.Metered}
		if a.After != "" {
			after, err := f.sheetStage(a.After)
			if err != nil {
				return err
			}
			f.sheet.Adds.After = &after
		}
	}
	if f.draft.Drops == "" {
		return nil
	}
	drops, err := f.sheetStage(f.draft.Drops)
	if err != nil {
		return err
	}
	f.sheet.Drops = &drops
	open := restsOf(f.acc)[drops.ID].Over
	for _, k := range journal.LineKinds {
		if amount := open.Of(k); amount != 0 {
			f.sheet.Lines = append(f.sheet.Lines, signoff.SheetLine{
				Stage: &drops, Kind: k, Text: drops.Name + " is dropped", Amount: -amount, Dropped: true,
			})
		}
	}
	return nil
}

// restageReady says what stands against adding and dropping the draft's stages.
func (s *Steps) restageReady(r Reads, b journal.Build, p signoff.Paper) error {
	d := p.Draft
	if d.Adds != nil {
		stages, err := r.Stages(b.ID)
		if err != nil {
			return err
		}
		if len(stages) >= maxStages {
			return journal.Problems{"adds_name": fmt.Sprintf("A build has at most %d stages.", maxStages)}.Err()
		}
	}
	if d.Drops == "" {
		return nil
	}
	st, err := r.Stage(b.ID, d.Drops)
	if err != nil {
		return err
	}
	why, err := s.keeps(r, b, st)
	if err != nil {
		return err
	}
	if why == "" {
		why, err = heldByPaper(r, b.ID, p.ID, st)
	}
	if err == nil && why != "" {
		err = journal.Problems{"drops": why}.Err()
	}
	return err
}

// keeps says why a stage cannot be dropped; "" when it can.
func (s *Steps) keeps(r Reads, b journal.Build, st journal.Stage) (string, error) {
	switch {
	case st.DroppedBy != "":
		return st.Name + " was dropped before.", nil
	case st.State == journal.Closed:
		return st.Name + " is closed, so it cannot be dropped. If less is to be paid for it, please write a change order with a minus.", nil
	}
	acc, err := s.account(r, b)
	if err != nil {
		return "", err
	}
	if billed := restsOf(acc)[st.ID].Billed; billed != 0 {
		return fmt.Sprintf("%s of %s is billed, so it cannot be dropped. Please write a change order with a minus instead.", billed, st.Name), nil
	}
	if m, metered := billing.MeteringOf(acc, string(st.ID)); metered && m.Worked != 0 {
		return fmt.Sprintf("Work for %s is logged on %s, so it cannot be dropped. Please close it, or write a change order with a minus instead.", m.Worked, st.Name), nil
	}
	return "", nil
}

// heldByPaper says which other paper that is out puts cost on a stage.
func heldByPaper(r Reads, build journal.BuildID, but journal.PaperID, st journal.Stage) (string, error) {
	papers, err := r.Papers(build)
	if err != nil {
		return "", err
	}
	for _, p := range papers {
		if p.ID == but || p.State != signoff.Sent {
			continue
		}
		sheet, err := sheetOf(r, p)
		if err != nil {
			return "", err
		}
		if sheet.Bears(st.ID) {
			return fmt.Sprintf("%s is out for sign-off and is about %s. Please have it decided, or take it back, first.", sheet.Name(), st.Name), nil
		}
	}
	return "", nil
}

// canRestage refuses to sign a change order whose stages are not what they were.
func (s *Steps) canRestage(r Reads, b journal.Build, p signoff.Paper, sheet signoff.Sheet) error {
	for _, split := range sheet.Splits() {
		if sheet.Adds != nil && split.Stage.ID == sheet.Adds.ID {
			continue
		}
		st, err := r.Stage(b.ID, split.Stage.ID)
		if err != nil {
			return err
		}
		if st.DroppedBy != "" {
			return journal.Errorf(journal.Conflict, "%s was dropped from the build since this paper was sent. Nothing was recorded; the shop will change it and send it once more.", st.Name)
		}
	}
	if sheet.Drops == nil && sheet.Adds == nil {
		return nil
	}
	if sheet.Drops != nil {
		st, err := r.Stage(b.ID, sheet.Drops.ID)
		if err != nil {
			return err
		}
		why, err := s.keeps(r, b, st)
		if err != nil {
			return err
		}
		if why != "" {
			return journal.Errorf(journal.Conflict, "%s Nothing was recorded; please ask the shop.", why)
		}
	}
	return s.asShown(r, p, sheet)
}

// restageNow adds and drops the stages of a signed change order.
func (s *Steps) restageNow(tx Tx, a Actor, b journal.Build, p signoff.Paper, sheet signoff.Sheet) error {
	if sheet.Adds != nil {
		if err := s.addStage(tx, a, b, p, *sheet.Adds); err != nil {
			return err
		}
	}
	if sheet.Drops == nil {
		return nil
	}
	st, err := tx.Stage(b.ID, sheet.Drops.ID)
	if err != nil {
		return err
	}
	st.DroppedBy, st.ClosedAt = p.ID, s.at()
	return s.turn(tx, a, st, journal.Closed, fmt.Sprintf("Dropped by %s, %s.", sheet.Name(), sheet.Title), "stage closed")
}

// addStage puts a stage without a value into its place in the order of work.
func (s *Steps) addStage(tx Tx, a Actor, b journal.Build, p signoff.Paper, added signoff.SheetAdded) error {
	stages, err := tx.Stages(b.ID)
	if err != nil {
		return err
	}
	position := 1
	for _, st := range stages {
		if added.After != nil && st.ID == added.After.ID {
			position = st.Position + 1
		}
	}
	for _, st := range slices.Backward(stages) { // so that no two ever share a place
		if st.Position < position {
			break
		}
		st.Position++
		if err := tx.SaveStage(st); err != nil {
			return err
		}
	}
	st := journal.Stage{
		ID: added.ID, BuildID: b.ID, Position: position, Name: added.Name, PlannedDays: added.Days, Metered: added.Metered,
		State: journal.NotStarted, Version: firstVersion,
	}
	if err := tx.AddStage(st); err != nil {
		return err
	}
	detail := stageDetail(st)
	detail["paper"] = p.ID
	return s.record(tx, a, b.ID, "stage added", string(st.ID), detail)
}

// droppedNames names, for each stage that was dropped, the paper that dropped it:
// "change order 4".
func droppedNames(r Reads, stages []journal.Stage) (map[journal.StageID]string, error) {
	names := map[journal.StageID]string{}
	for _, st := range stages {
		if st.DroppedBy == "" {
			continue
		}
		p, err := r.Paper(st.BuildID, st.DroppedBy)
		if err != nil {
			return nil, err
		}
		names[st.ID] = paperName(p)
	}
	return names, nil
}
