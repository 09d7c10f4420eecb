package views

import (
	"slices"
	"strings"

	"farbay/journal"
)

// Open reports whether the scope can still be changed.
func (p Scope) Open() bool { return p.Stored.State == journal.Scoping }

// Metered reports whether any stage stored goes by time and materials.
func (p Scope) Metered() bool {
	return slices.ContainsFunc(p.Stages, func(s StageLine) bool { return s.Stage.Metered })
}

// Transport says what is settled about bringing the truck; "" for nothing.
func (p Scope) Transport() string { return TransportWords(p.Terms.Transport, p.Terms.DeliverTo) }

// Title names the line in its summary.
func (l ScopeLine) Title() string {
	if l.Name == "" {
		return "A stage more"
	}
	return l.Name
}

// CanDrop reports whether the stage can be left out: it is stored, and no work
// has begun on it.
func (l ScopeLine) CanDrop() bool { return l.ID != "" && l.State == journal.NotStarted }

// stored returns the stage behind the line; nil for one being added.
func (p Scope) stored(i int) *StageLine {
	for k, s := range p.Stages {
		if string(s.Stage.ID) == p.Lines[i].ID {
			return &p.Stages[k]
		}
	}
	return nil
}

// LineSays returns what is stored of line i, for its summary.
func (p Scope) LineSays(i int) (string, error) {
	s := p.stored(i)
	if s == nil {
		return "not saved yet", nil
	}
	value := "no value yet"
	if total := s.Stage.Value.Total(); total != 0 {
		said, err := p.Priced(total, s.Stage.Metered)
		if err != nil {
			return "", err
		}
		value = said
	} else if s.Stage.Metered {
		value += ", by time and materials"
	}
	return value + ", " + WorkingDays(s.Stage.PlannedDays), nil
}

// Unfolded reports whether line i stands open: it has no value yet, or
// something in it wants another look.
func (p Scope) Unfolded(i int) bool {
	if s := p.stored(i); s == nil || s.Stage.Value.Total() == 0 {
		return true
	}
	for field := range p.Problems {
		if strings.HasPrefix(field, p.Field("stages", i, "")) {
			return true
		}
	}
	return false
}

// Recording reports whether the form for an agreement signed elsewhere stands
// open: something is typed in it, or wants another look.
func (p Scope) Recording() bool {
	return p.Agreement.AgreedOn+p.Agreement.AgreedHow+p.Agreement.Total != "" ||
		p.Problems["agreed_on"]+p.Problems["agreed_how"]+p.Problems["ready_on"]+p.Problems["total"] != ""
}

// NotReady says in whole sentences what the agreement still needs.
func (p Scope) NotReady() []string {
	var missing []string
	if p.Total == 0 {
		missing = append(missing, "The stages have no values yet. Save them above first.")
	}
	if p.Owners == 0 {
		missing = append(missing, "The build has no owner yet. Name one under Owners first.")
	}
	return missing
}

// Sum returns the stored values of all stages, by line kind.
func (p Scope) Sum() journal.Split {
	var sum journal.Split
	for _, s := range p.Stages {
		sum = sum.Add(s.Stage.Value)
	}
	return sum
}

// Changed returns the signed changes of all stages, before tax.
func (p Scope) Changed() journal.Cents {
	var sum journal.Cents
	for _, s := range p.Stages {
		sum += s.Changes
	}
	return sum
}

// KindColumn is one line kind that some stage uses.
type KindColumn struct {
	Kind journal.LineKind
	Name string
}

// Kinds returns the line kinds that any stage has an amount of.
func (p Scope) Kinds() []KindColumn {
	var used []KindColumn
	for _, k := range journal.LineKinds {
		for _, s := range p.Stages {
			if s.Stage.Value.Of(k) != 0 {
				used = append(used, KindColumn{k, string(k)})
				break
			}
		}
	}
	return used
}
