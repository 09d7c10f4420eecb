package flow

import (
	"context"
	"fmt"

	"farbay/journal"
)

// StageScope is one row of a build's scope.
type StageScope struct {
	StageID     journal.StageID // "" adds a stage at the end
	Version     int             // of the stage, as read
	Name        string
	Value       journal.Split // before tax; of a metered stage the ceiling
	Metered     bool          // by time and materials; else at a fixed price
	PlannedDays int
	PlannedFrom journal.Date
	PlannedTo   journal.Date
	LeadID      journal.PersonID
	Drop        bool // takes the stage out of the build
}

// maxStages bounds a build's stages, as [journal.Plan.Validate] does a plan's.
const maxStages = 40

// SaveScope stores names, values and how they are priced, planned days and
// dates, and leads of the given stages, adds and drops stages, all or nothing;
// stages not named stay. After the agreement only days, dates and leads can
// change. What changes counts as a
// change of the build, so that an agreement is recorded on the values its
// reader saw. Office only.
//
// It returns [journal.Invalid] with the fields of row i, counted from 0, named
// "stages.i.name", "stages.i.days", "stages.i.to", "stages.i.value",
// "stages.i.lead" and "stages.i.drop", and "stages" when there would be none
// or more than 40; [journal.Conflict] when a stage was changed meanwhile, or
// when the agreement fixes what would change.
func (s *Steps) SaveScope(ctx context.Context, a Actor, id journal.BuildID, rows []StageScope) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		b, err := tx.Build(id)
		if err != nil {
			return err
		}
		stages, err := tx.Stages(id)
		if err != nil {
			return err
		}
		x := scoping{steps: s, tx: tx, actor: a, build: b, bad: journal.Problems{}}
		for _, st := range stages {
			x.last = max(x.last, st.Position)
		}
		for i, row := range rows {
			if err := x.row(i, row); err != nil {
				return err
			}
		}
		left := len(stages) + len(x.added) - len(x.dropped)
		if (len(x.added) > 0 || len(x.dropped) > 0) && (left < 1 || left > maxStages) {
			x.bad.Add("stages", "A build has between 1 and %d stages.", maxStages)
		}
		if err := x.bad.Err(); err != nil {
			return err
		}
		if err := x.store(); err != nil {
			return err
		}
		return s.renewOut(tx, a, id, scopeChanged)
	})
}

// scopeChanged tells owners why a paper that shows stages comes once more.
const scopeChanged = "The shop changed the stages or the terms, so this paper is made out afresh."

// scoping gathers what a scope form changes before any of it is stored.
type scoping struct {
	steps *Steps
	tx    Tx
	actor Actor
	build journal.Build
	bad   journal.Problems
	last  int // position of the last stage, added ones included

	changed, added, dropped []journal.Stage
}

func (x *scoping) row(i int, row StageScope) error {
	prefix := fmt.Sprintf("stages.%d.", i)
	st := journal.Stage{BuildID: x.build.ID, State: journal.NotStarted, Version: firstVersion}
	if row.StageID != "" {
		var err error
		st, err = x.tx.Stage(x.build.ID, row.StageID)
		if journal.CodeOf(err) == journal.NotFound || err == nil && st.Version != row.Version {
			return changedMeanwhile("scope")
		}
		if err != nil {
			return err
		}
	}
	was := st
	st.Name, st.Value, st.Metered, st.LeadID = journal.CleanLine(row.Name), row.Value, row.Metered, row.LeadID
	st.PlannedDays, st.PlannedFrom, st.PlannedTo = row.PlannedDays, row.PlannedFrom, row.PlannedTo
	fixed := st.ID == "" || row.Drop || st.Name != was.Name || st.Value != was.Value || st.Metered != was.Metered
	if fixed && x.build.State != journal.Scoping {
		return valuesFixed()
	}
	if row.Drop {
		if st.ID == "" {
			return nil
		}
		x.dropped = append(x.dropped, was)
		return droppable(x.tx, x.bad, prefix+"drop", was)
	}
	for field, sentence := range journal.ProblemsOf(st.Validate()) {
		x.bad.Add(prefix+field, "%s", sentence)
	}
	if st.LeadID != was.LeadID {
		if err := checkLead(x.tx, x.bad, prefix+"lead", st.LeadID); err != nil {
			return err
		}
	}
	switch {
	case st.ID == "":
		x.last++
		st.ID, st.Position = journal.StageID(x.steps.NewID()), x.last
		x.added = append(x.added, st)
	case fixed || st.PlannedDays != was.PlannedDays || st.LeadID != was.LeadID ||
		st.PlannedFrom != was.PlannedFrom || st.PlannedTo != was.PlannedTo:
		x.changed = append(x.changed, st)
	}
	return nil
}

// droppable records a problem when a stage must stay: it was opened, or entries
// belong to it.
func droppable(r Reads, bad journal.Problems, field string, st journal.Stage) error {
	if st.State != journal.NotStarted || !st.OpenedAt.IsZero() {
		bad.Add(field, "Work on %s has started, so it stays.", st.Name)
	}
	entries, err := r.Entries(st.BuildID, EntryQuery{StageID: st.ID, Staff: true, Limit: 1})
	if err != nil {
		return err
	}
	if len(entries) > 0 {
		bad.Add(field, "%s has entries in the journal; please move them to another stage first.", st.Name)
	}
	return nil
}

// store writes what was gathered, closes gaps in the positions, and records it.
func (x *scoping) store() error {
	if len(x.changed)+len(x.added)+len(x.dropped) == 0 {
		return nil
	}
	if err := x.tx.SaveBuild(x.build); err != nil {
		return err
	}
	for _, st := range x.changed {
		if err := x.tx.SaveStage(st); err != nil {
			return err
		}
		if err := x.record("scope changed", st); err != nil {
			return err
		}
	}
	for _, st := range x.added {
		if err := x.tx.AddStage(st); err != nil {
			return err
		}
		if err := x.record("stage added", st); err != nil {
			return err
		}
	}
	for _, st := range x.dropped {
		checks, err := x.tx.Checks(st.ID)
		if err != nil {
			return err
		}
		for _, c := range checks {
			if err := x.tx.DropCheck(st.ID, c.Text); err != nil {
				return err
			}
		}
		if err := x.tx.DropStage(x.build.ID, st.ID); err != nil {
			return err
		}
		if err := x.record("stage dropped", st); err != nil {
			return err
		}
	}
	if len(x.dropped) == 0 {
		return nil
	}
	left, err := x.tx.Stages(x.build.ID)
	if err != nil {
		return err
	}
	for i, st := range left { // by position, so that no two ever share one
		if st.Position == i+1 {
			continue
		}
		st.Position = i + 1
		if err := x.tx.SaveStage(st); err != nil {
			return err
		}
	}
	return nil
}

func (x *scoping) record(kind string, st journal.Stage) error {
	return x.steps.record(x.tx, x.actor, x.build.ID, kind, string(st.ID), stageDetail(st))
}

func valuesFixed() error {
	return journal.Errorf(journal.Conflict,
		"The agreement is recorded, so stages, their values and how they are priced are fixed. Please send a change order instead.")
}

// StageChange is an edit of one stage's plan.
type StageChange struct {
	Version     int // as read
	Name        string
	Metered     bool // by time and materials; fixed by the agreement
	PlannedDays int
	PlannedFrom journal.Date
	PlannedTo   journal.Date
	LeadID      journal.PersonID
	Gate        journal.Gate
	Cautions    []string
	Teardown    bool
}

// SaveStage stores an edit of a stage's name, plan, lead, gate and cautions, at
// any time, and until the agreement is recorded whether it is by time and
// materials; value and state stay. A ticked check keeps its tick as long as its
// wording stays the same. Office only.
//
// It returns [journal.Invalid] beside name, days, from, to, photos, checks, cautions,
// lead and pricing, and [journal.Conflict] when the stage was changed meanwhile.
func (s *Steps) SaveStage(ctx context.Context, a Actor, id journal.BuildID, stage journal.StageID, c StageChange) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		st, err := tx.Stage(id, stage)
		if err != nil {
			return err
		}
		if st.Version != c.Version {
			return changedMeanwhile("stage")
		}
		b, err := tx.Build(id)
		if err != nil {
			return err
		}
		lead, priced := st.LeadID, st.Metered
		st.Metered = c.Metered
		st.Name, st.PlannedDays = journal.CleanLine(c.Name), c.PlannedDays
		st.PlannedFrom, st.PlannedTo, st.LeadID = c.PlannedFrom, c.PlannedTo, c.LeadID
		st.Gate = journal.Gate{Photos: c.Gate.Photos, Checks: cleanLines(c.Gate.Checks)}
		st.Cautions, st.Teardown = cleanLines(c.Cautions), c.Teardown
		bad := journal.ProblemsOf(st.Validate())
		if st.Metered != priced && b.State != journal.Scoping {
			bad.Add("pricing", "Whether this stage has a fixed price or goes by time and materials is part of the recorded agreement and cannot change any more.")
		}
		if st.LeadID != lead {
			if err := checkLead(tx, bad, "lead", st.LeadID); err != nil {
				return err
			}
		}
		if err := bad.Err(); err != nil {
			return err
		}
		if st.Metered != priced {
			// An agreement is recorded on what its reader saw, see [Steps.SaveScope].
			if err := tx.SaveBuild(b); err != nil {
				return err
			}
		}
		if err := tx.SaveStage(st); err != nil {
			return err
		}
		if err := s.record(tx, a, id, "stage changed", string(stage), stageDetail(st)); err != nil {
			return err
		}
		return s.renewOut(tx, a, id, scopeChanged)
	})
}

// stageDetail is what an event keeps of a stage: its plan and, in cents, its
// value by line kind.
func stageDetail(st journal.Stage) map[string]any {
	value := map[string]any{}
	for _, k := range journal.LineKinds {
		value[string(k)] = int64(st.Value.Of(k))
	}
	return map[string]any{
		"stage": string(st.ID), "name": st.Name, "position": st.Position, "days": st.PlannedDays,
		"from": string(st.PlannedFrom), "to": string(st.PlannedTo), "lead": string(st.LeadID),
		"value": value, "total": int64(st.Value.Total()), "metered": st.Metered,
		"gate_photos": st.Gate.Photos, "gate_checks": st.Gate.Checks, "teardown": st.Teardown,
	}
}
