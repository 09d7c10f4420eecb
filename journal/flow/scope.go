package flow

import (
	"context"
	"fmt"

	"farbay/journal"
)

// StageScope is one row of a build's scope.
type StageScope struct {
	StageID     journal.StageID
	Version     int           // of the stage, as read
	Value       journal.Split // before tax; counts only while scoping
	PlannedDays int
	PlannedFrom journal.Date
	PlannedTo   journal.Date
	LeadID      journal.PersonID
}

// SaveScope stores value, planned days and dates, and lead of the given stages,
// all or none. Office only.
//
// It returns [journal.Invalid] with the fields of row i, counted from 0, named
// "stages.i.days", "stages.i.to", "stages.i.value" and "stages.i.lead";
// [journal.Conflict] when a stage was changed meanwhile, or when a value would
// change after the agreement is recorded.
func (s *Steps) SaveScope(ctx context.Context, a Actor, id journal.BuildID, rows []StageScope) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		b, err := tx.Build(id)
		if err != nil {
			return err
		}
		bad := journal.Problems{}
		var changed []journal.Stage
		for i, row := range rows {
			was, err := tx.Stage(id, row.StageID)
			if err != nil {
				return err
			}
			if was.Version != row.Version {
				return changedMeanwhile("scope")
			}
			if b.State != journal.Scoping && row.Value != was.Value {
				return valuesFixed()
			}
			st := was
			st.Value, st.PlannedDays, st.LeadID = row.Value, row.PlannedDays, row.LeadID
			st.PlannedFrom, st.PlannedTo = row.PlannedFrom, row.PlannedTo
			prefix := fmt.Sprintf("stages.%d.", i)
			for field, sentence := range problemsOf(st.Validate()) {
				bad.Add(prefix+field, "%s", sentence)
			}
			if st.LeadID != was.LeadID {
				if err := checkLead(tx, bad, prefix+"lead", st.LeadID); err != nil {
					return err
				}
			}
			if !sameScope(st, was) {
				changed = append(changed, st)
			}
		}
		if err := bad.Err(); err != nil {
			return err
		}
		for _, st := range changed {
			if err := tx.SaveStage(st); err != nil {
				return err
			}
			if err := s.record(tx, a, id, "scope changed", string(st.ID), stageDetail(st)); err != nil {
				return err
			}
		}
		return nil
	})
}

func sameScope(a, b journal.Stage) bool {
	return a.Value == b.Value && a.PlannedDays == b.PlannedDays && a.LeadID == b.LeadID &&
		a.PlannedFrom == b.PlannedFrom && a.PlannedTo == b.PlannedTo
}

// AddStage puts a stage into the order of work, at the given position (1 is
// first), or last when the position is 0 or beyond the end. Only while scoping;
// office only. It returns [journal.Invalid] beside name, days and stages.
func (s *Steps) AddStage(ctx context.Context, a Actor, id journal.BuildID, name string, plannedDays, position int) (journal.StageID, error) {
	st := journal.Stage{
		ID: journal.StageID(s.NewID()), BuildID: id, Name: journal.CleanLine(name), PlannedDays: plannedDays,
		State: journal.NotStarted, Version: firstVersion,
	}
	err := s.changeStages(ctx, a, id, func(tx Tx, stages []journal.Stage) error {
		bad := problemsOf(st.Validate())
		if len(stages) >= maxStages {
			bad.Add("stages", "A build has at most %d stages.", maxStages)
		}
		if err := bad.Err(); err != nil {
			return err
		}
		st.Position = len(stages) + 1
		if position >= 1 && position < st.Position {
			st.Position = position
		}
		// From the end, so that no two stages ever share a position.
		for i := len(stages) - 1; i >= st.Position-1; i-- {
			stages[i].Position++
			if err := tx.SaveStage(stages[i]); err != nil {
				return err
			}
		}
		if err := tx.AddStage(st); err != nil {
			return err
		}
		return s.record(tx, a, id, "stage added", string(st.ID), stageDetail(st))
	})
	if err != nil {
		return "", err
	}
	return st.ID, nil
}

// maxStages bounds a build's stages, as [journal.Plan.Validate] does a plan's.
const maxStages = 40

// DropStage takes a stage out of a build. Only while scoping; office only. It
// returns [journal.Conflict] when the stage was opened, when entries belong to
// it, and when it is the last one.
func (s *Steps) DropStage(ctx context.Context, a Actor, id journal.BuildID, stage journal.StageID) error {
	return s.changeStages(ctx, a, id, func(tx Tx, stages []journal.Stage) error {
		st, err := tx.Stage(id, stage)
		if err != nil {
			return err
		}
		if err := droppable(tx, st, len(stages)); err != nil {
			return err
		}
		checks, err := tx.Checks(stage)
		if err != nil {
			return err
		}
		for _, c := range checks {
			if err := tx.DropCheck(stage, c.Text); err != nil {
				return err
			}
		}
		if err := tx.DropStage(id, stage); err != nil {
			return err
		}
		for _, later := range stages {
			if later.Position <= st.Position {
				continue
			}
			later.Position--
			if err := tx.SaveStage(later); err != nil {
				return err
			}
		}
		return s.record(tx, a, id, "stage dropped", string(stage), stageDetail(st))
	})
}

func droppable(r Reads, st journal.Stage, stages int) error {
	if stages <= 1 {
		return journal.Errorf(journal.Conflict, "A build keeps at least one stage. Please add another before you drop this one.")
	}
	if st.State != journal.NotStarted || !st.OpenedAt.IsZero() {
		return journal.Errorf(journal.Conflict, "Work on %s has started, so it stays.", st.Name)
	}
	entries, err := r.Entries(st.BuildID, EntryQuery{StageID: st.ID, Staff: true, Limit: 1})
	if err != nil {
		return err
	}
	if len(entries) > 0 {
		return journal.Errorf(journal.Conflict, "%s has entries in the journal. Please move them to another stage first.", st.Name)
	}
	return nil
}

// changeStages lets f change the list of a build's stages while it is scoping.
func (s *Steps) changeStages(ctx context.Context, a Actor, id journal.BuildID, f func(Tx, []journal.Stage) error) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		b, err := tx.Build(id)
		if err != nil {
			return err
		}
		if b.State != journal.Scoping {
			return valuesFixed()
		}
		stages, err := tx.Stages(id)
		if err != nil {
			return err
		}
		return f(tx, stages)
	})
}

func valuesFixed() error {
	return journal.Errorf(journal.Conflict,
		"The agreement is recorded, so stages and their values are fixed. Please send a change order instead.")
}

// StageChange is an edit of one stage's plan.
type StageChange struct {
	Version     int // as read
	Name        string
	PlannedDays int
	PlannedFrom journal.Date
	PlannedTo   journal.Date
	LeadID      journal.PersonID
	Gate        journal.Gate
	Cautions    []string
}

// SaveStage stores an edit of a stage's name, plan, lead, gate and cautions, at
// any time; value and state stay. A ticked check keeps its tick as long as its
// wording stays the same. Office only.
//
// It returns [journal.Invalid] beside name, days, to, photos, checks, cautions
// and lead, and [journal.Conflict] when the stage was changed meanwhile.
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
		lead := st.LeadID
		st.Name, st.PlannedDays = journal.CleanLine(c.Name), c.PlannedDays
		st.PlannedFrom, st.PlannedTo, st.LeadID = c.PlannedFrom, c.PlannedTo, c.LeadID
		st.Gate = journal.Gate{Photos: c.Gate.Photos, Checks: cleanLines(c.Gate.Checks)}
		st.Cautions = cleanLines(c.Cautions)
		bad := problemsOf(st.Validate())
		if st.LeadID != lead {
			if err := checkLead(tx, bad, "lead", st.LeadID); err != nil {
				return err
			}
		}
		if err := bad.Err(); err != nil {
			return err
		}
		if err := tx.SaveStage(st); err != nil {
			return err
		}
		return s.record(tx, a, id, "stage changed", string(stage), stageDetail(st))
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
		"value": value, "total": int64(st.Value.Total()),
		"gate_photos": st.Gate.Photos, "gate_checks": st.Gate.Checks,
	}
}
