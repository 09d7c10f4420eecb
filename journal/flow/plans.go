package flow

import (
	"context"
	"slices"
	"strings"

	"farbay/journal"
)

// firstVersion is the Version of what is stored for the first time.
const firstVersion = 1

// SeedPlans stores [ShippedPlan] if the shop has no stage plan yet. Calling it
// at every start does no harm.
func (s *Steps) SeedPlans(ctx context.Context) error {
	return s.write(ctx, func(tx Tx) error {
		plans, err := tx.Plans()
		if err != nil || len(plans) > 0 {
			return err
		}
		p := ShippedPlan()
		p.ID, p.Version = journal.PlanID(s.NewID()), firstVersion
		return tx.AddPlan(p)
	})
}

// Plans returns the shop's stage plans by name. Office only.
func (s *Steps) Plans(ctx context.Context, a Actor) (plans []journal.Plan, err error) {
	if err := asOffice(a); err != nil {
		return nil, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		plans, err = r.Plans()
		return err
	})
	return plans, err
}

// PlanShow returns one stage plan, and [journal.NotFound] when there is none of
// that id. Office only.
func (s *Steps) PlanShow(ctx context.Context, a Actor, id journal.PlanID) (p journal.Plan, err error) {
	if err := asOffice(a); err != nil {
		return journal.Plan{}, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		p, err = r.Plan(id)
		return err
	})
	return p, err
}

// AddPlan stores a copy of another plan under a new name and returns its id.
// Office only. It returns [journal.Invalid] beside "name" when the name is not
// fit or taken.
func (s *Steps) AddPlan(ctx context.Context, a Actor, from journal.PlanID, name string) (journal.PlanID, error) {
	if err := asOffice(a); err != nil {
		return "", err
	}
	id := journal.PlanID(s.NewID())
	err := s.write(ctx, func(tx Tx) error {
		p, err := tx.Plan(from)
		if err != nil {
			return err
		}
		p.ID, p.Name, p.Version = id, journal.CleanLine(name), firstVersion
		if err := planFits(tx, p); err != nil {
			return err
		}
		if err := tx.AddPlan(p); err != nil {
			return err
		}
		return s.record(tx, a, "", "plan added", string(id), map[string]any{"name": p.Name, "copy_of": string(from)})
	})
	if err != nil {
		return "", err
	}
	return id, nil
}

// SavePlan stores a changed plan: name and stages, in their new order. Builds
// begun with it keep the stages they have. Office only.
//
// It returns [journal.Invalid] field by field (see [journal.Plan.Validate]) and
// [journal.Conflict] when p.Version is not the one stored.
func (s *Steps) SavePlan(ctx context.Context, a Actor, p journal.Plan) error {
	if err := asOffice(a); err != nil {
		return err
	}
	p.Name, p.Stages = journal.CleanLine(p.Name), slices.Clone(p.Stages)
	for i, st := range p.Stages {
		p.Stages[i].Name = journal.CleanLine(st.Name)
		p.Stages[i].Gate.Checks = cleanLines(st.Gate.Checks)
		p.Stages[i].Cautions = cleanLines(st.Cautions)
	}
	return s.write(ctx, func(tx Tx) error {
		was, err := tx.Plan(p.ID)
		if err != nil {
			return err
		}
		if was.Version != p.Version {
			return changedMeanwhile("plan")
		}
		if err := planFits(tx, p); err != nil {
			return err
		}
		if err := tx.SavePlan(p); err != nil {
			return err
		}
		return s.record(tx, a, "", "plan changed", string(p.ID), map[string]any{"name": p.Name, "stages": len(p.Stages)})
	})
}

// planFits checks a plan's fields, and that no other plan has its name.
func planFits(r Reads, p journal.Plan) error {
	if err := p.Validate(); err != nil {
		return err
	}
	plans, err := r.Plans()
	if err != nil {
		return err
	}
	bad := journal.Problems{}
	for _, other := range plans {
		if other.ID != p.ID && strings.EqualFold(other.Name, p.Name) {
			bad.Add("name", "There is a plan of this name already; please choose another name.")
		}
	}
	return bad.Err()
}

// cleanLines cleans a list typed one item a line, leaving out empty lines.
func cleanLines(lines []string) []string {
	var kept []string
	for _, l := range lines {
		if l = journal.CleanLine(l); l != "" {
			kept = append(kept, l)
		}
	}
	return kept
}

// changedMeanwhile is the refusal of a save that was typed against an older
// version than the one stored.
func changedMeanwhile(what string) error {
	return journal.Errorf(journal.Conflict,
		"Somebody else changed this %s while you were at it, so yours was not saved. Please compare it with what is there now and save again.", what)
}
