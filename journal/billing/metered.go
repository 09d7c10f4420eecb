package billing

import (
	"fmt"

	"farbay/journal"
)

// metering is what a metered stage comes to (package comment, "Time and
// materials").
type metering struct {
	closed   bool
	ceiling  journal.Cents
	agreed   journal.Split // the ceiling, kind by kind
	worked   journal.Split // logged to date
	billed   journal.Split // credit memos taken off
	items    []Charge      // logged and not billed
	adjusted int           // times that it was brought to its ceiling
}

func metersOf(a Account, times map[string]int, closing []string) map[string]*metering {
	if len(a.Metered) == 0 {
		return nil
	}
	meters := make(map[string]*metering, len(a.Metered))
	for _, m := range a.Metered {
		meters[m.StageID] = &metering{closed: m.Closed}
	}
	for _, id := range closing {
		if m := meters[id]; m != nil {
			m.closed = true
		}
	}
	for _, c := range a.Agreed {
		if m := meters[c.StageID]; m != nil {
			m.agreed = m.agreed.Add(c.Split)
			m.ceiling += c.Split.Total()
		}
	}
	for _, c := range a.Work {
		if m := meters[c.StageID]; m != nil {
			m.worked = m.worked.Add(c.Split)
			if times[c.Ref] <= 0 {
				m.items = append(m.items, c)
			}
		}
	}
	for _, d := range a.Documents {
		for _, c := range d.Charges {
			m := meters[c.StageID]
			if m == nil {
				continue
			}
			m.billed = m.billed.Add(c.Split)
			if c.Source == CeilingHeld && d.Cancels == "" {
				m.adjusted++
			}
		}
	}
	return meters
}

// target is what may be billed to date: the logged work, at most the ceiling. A
// ceiling that signed changes took below zero is owed to the owner.
func (m *metering) target() journal.Cents {
	return min(max(m.worked.Total(), 0), m.ceiling)
}

// unused is what of the ceiling is not needed any more; 0 while the stage is open.
func (m *metering) unused() journal.Cents {
	if !m.closed {
		return 0
	}
	return m.ceiling - m.target()
}

// charges returns what can be billed: the work not billed yet, and what brings
// all to the ceiling, kind by kind. None when it would change nothing.
func (m *metering) charges(stageID string) []Charge {
	goal := m.goal()
	change := goal.Add(negate(m.billed))
	if change == (journal.Split{}) {
		return nil
	}
	for _, c := range m.items {
		change = change.Add(negate(c.Split))
	}
	charges := m.items
	if change != (journal.Split{}) {
		charges = append(charges[:len(charges):len(charges)], Charge{
			Ref: fmt.Sprintf("ceiling:%s/%d", stageID, m.adjusted+1), Source: CeilingHeld, StageID: stageID,
			Text: m.heldText(goal.Total(), change.Total()), Split: change,
		})
	}
	return charges
}

// goal is the target, kind by kind.
func (m *metering) goal() journal.Split {
	target := m.target()
	switch {
	case target == m.worked.Total():
		return m.worked
	case target < 0:
		return m.agreed
	case target == 0:
		return journal.Split{}
	}
	weights := make([]int64, len(journal.LineKinds))
	for i, k := range journal.LineKinds {
		weights[i] = max(int64(m.worked.Of(k)), 0)
	}
	parts, err := Apportion(target, weights)
	if err != nil {
		panic(err) // more was worked than the target, so some weight is above zero
	}
	var goal journal.Split
	for i, k := range journal.LineKinds {
		goal = goal.Plus(k, parts[i])
	}
	return goal
}

// heldText says what the line does that brings the work to its ceiling, by change.
func (m *metering) heldText(goal, change journal.Cents) string {
	switch ceiling := max(m.ceiling, 0); {
	case change > 0:
		return fmt.Sprintf("Work done before, charged now within the ceiling of %s", ceiling)
	case change == 0:
		return fmt.Sprintf("Within the ceiling of %s, divided anew over labour, parts and outside work", ceiling)
	case goal < m.billed.Total():
		return fmt.Sprintf("Above the ceiling of %s and billed before: credited", ceiling)
	default:
		return fmt.Sprintf("Over the ceiling of %s: not charged", ceiling)
	}
}

// billable lists what can be billed: agreed charges not billed yet, then each
// metered stage's.
func billable(a Account, t tally) []Charge {
	var charges []Charge
	for _, c := range a.Agreed {
		if t.meters[c.StageID] == nil && t.times[c.Ref] <= 0 {
			charges = append(charges, c)
		}
	}
	for _, m := range a.Metered {
		charges = append(charges, t.meters[m.StageID].charges(m.StageID)...)
	}
	return charges
}

// Metering says how far a metered stage has come.
type Metering struct {
	Ceiling journal.Cents
	Worked  journal.Cents // logged to date, before tax
	Billed  journal.Cents // of it, before tax
}

// Beyond returns what of the logged work is above the ceiling; 0 or more.
func (m Metering) Beyond() journal.Cents { return max(m.Worked-max(m.Ceiling, 0), 0) }

// Used returns how much of the ceiling the logged work has used, cut off to whole
// basis points: 8,000 is 80 %. Without a ceiling any work counts as 100 %.
func (m Metering) Used() journal.BasisPoints {
	switch {
	case m.Worked <= 0:
		return 0
	case m.Ceiling <= 0:
		return whole
	}
	return journal.BasisPoints(int64(m.Worked) * int64(whole) / int64(m.Ceiling))
}

// Percent returns the same to the nearest per cent, for people to read; it is not
// rounded up to 80 or 100, where something happens.
func (m Metering) Percent() int {
	used := m.Used()
	percent := int((used + 50) / 100)
	if (percent == 80 || percent == 100) && used < journal.BasisPoints(percent*100) {
		return percent - 1
	}
	return percent
}

// MeteringOf returns how far a metered stage has come; ok is false for another.
// Pure.
func MeteringOf(a Account, stageID string) (m Metering, ok bool) {
	t := tallyOf(a).meters[stageID]
	if t == nil {
		return Metering{}, false
	}
	return Metering{Ceiling: t.ceiling, Worked: t.worked.Total(), Billed: t.billed.Total()}, true
}
