package flow

import (
	"fmt"
	"slices"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// ceilingWarnings are the shares of a ceiling, in per cent, at which the office is
// told.
var ceilingWarnings = []int{80, 100}

// NearCeiling is the share of a ceiling, in basis points, from which on the stage
// waits on the office.
const NearCeiling journal.BasisPoints = 8_000

// meteringOf is how far a stage has come; the zero one unless it is metered and
// agreed.
func (s *Steps) meteringOf(r Reads, b journal.Build, st journal.Stage) (billing.Metering, error) {
	if !st.Metered || b.State == journal.Scoping {
		return billing.Metering{}, nil
	}
	acc, err := s.account(r, b)
	m, _ := billing.MeteringOf(acc, string(st.ID))
	return m, err
}

// warnOfCeiling tells the office by letter when the stage has come from before to
// a share of its ceiling at which it is to be told; once for each ceiling.
func (s *Steps) warnOfCeiling(tx Tx, a Actor, b journal.Build, st journal.Stage, before billing.Metering) error {
	now, err := s.meteringOf(tx, b, st)
	if err != nil {
		return err
	}
	crossed := 0
	for _, percent := range ceilingWarnings {
		if share := journal.BasisPoints(percent * 100); before.Used() < share && now.Used() >= share {
			crossed = percent
		}
	}
	if crossed == 0 {
		return nil
	}
	subject := fmt.Sprintf("%s/%d/%d", st.ID, crossed, now.Ceiling)
	events, err := tx.Events(b.ID)
	if err != nil {
		return err
	}
	if slices.ContainsFunc(events, func(e journal.Event) bool { return e.Kind == "ceiling neared" && e.Subject == subject }) {
		return nil
	}
	err = s.record(tx, a, b.ID, "ceiling neared", subject, map[string]any{
		"stage": st.ID, "percent": crossed, "worked": now.Worked, "ceiling": now.Ceiling,
	})
	if err != nil {
		return err
	}
	people, err := tx.People()
	if err != nil {
		return err
	}
	for _, p := range people {
		if p.Role != journal.Office || !p.Active() {
			continue
		}
		letter := CeilingLetter{To: p, Nickname: b.Nickname, Stage: st.Name, Percent: crossed, Metering: now, Path: stageWorkPath(st)}
		if _, err := s.post(tx, b.ID, p, letter); err != nil {
			return err
		}
	}
	return nil
}

func stageWorkPath(st journal.Stage) string {
	return fmt.Sprintf("/builds/%s/stages/%s#work", st.BuildID, st.ID)
}

// metered are the stages by time and materials that wait on the office: those
// that near their ceiling, until a change order for them is begun, and those whose
// logged work was to be billed on a day of the terms.
func (w waiting) metered(papers []PaperLine) ([]Wait, error) {
	if w.build.State != journal.Agreed || len(w.account.Metered) == 0 {
		return nil, nil
	}
	works, err := w.r.Works(w.build.ID)
	if err != nil {
		return nil, err
	}
	var all []Wait
	for _, st := range w.stages {
		if !st.Metered || st.State != journal.UnderWay {
			continue
		}
		if m, _ := billing.MeteringOf(w.account, string(st.ID)); m.Used() >= NearCeiling && !changeBegun(papers, st.ID) {
			near := w.wait(OnUs, ForCeiling, w.nearSince(works, st.ID, m.Ceiling))
			near.Stage, near.Percent = st, m.Percent()
			all = append(all, near)
		}
		if due := lastBillDay(w.account.Terms.BillDays, w.today); !due.IsZero() && w.unbilledBy(works, st.ID, due) {
			var left journal.Cents
			for _, c := range w.account.Billable(string(st.ID)) {
				left += c.Split.Total()
			}
			if left > 0 {
				bill := w.wait(OnUs, ForWork, due)
				bill.Stage, bill.Amount, bill.Late = st, left, due.DaysUntil(w.today)
				all = append(all, bill)
			}
		}
	}
	return all, nil
}

// changeBegun reports whether a change order for the stage is being written or is
// out; it waits by itself then.
func changeBegun(papers []PaperLine, stage journal.StageID) bool {
	for _, p := range papers {
		if p.Paper.Kind != signoff.ChangeOrder || p.Paper.Decided() {
			continue
		}
		if p.Paper.Draft.StageID == stage || p.Sheet.Bears(stage) {
			return true
		}
	}
	return false
}

// nearSince is the day on which the logged work came near the ceiling for the last
// time.
func (w waiting) nearSince(works []journal.Work, stage journal.StageID, ceiling journal.Cents) journal.Date {
	m, since := billing.Metering{Ceiling: ceiling}, w.today
	near := false
	for _, x := range works {
		if x.StageID != stage {
			continue
		}
		m.Worked += x.Amount
		was := near
		if near = m.Used() >= NearCeiling; near && !was {
			since = w.day(x.At)
		}
	}
	return since
}

// unbilledBy reports whether work that was logged by that day is not billed.
func (w waiting) unbilledBy(works []journal.Work, stage journal.StageID, due journal.Date) bool {
	logged := map[string]time.Time{}
	for _, x := range works {
		logged[workRef(x.ID)] = x.At
	}
	return slices.ContainsFunc(w.account.Billable(string(stage)), func(c billing.Charge) bool {
		at, known := logged[c.Ref]
		return known && w.day(at) <= due
	})
}

// lastBillDay is the last day, today included, on which logged work was to be
// billed; none without days.
func lastBillDay(days []int, today journal.Date) (last journal.Date) {
	for _, n := range days {
		day := today.AddDays(n - today.Time().Day())
		if day > today {
			month := today.Time().AddDate(0, 0, -today.Time().Day()) // the last of the month before
			day = journal.DateOf(month, time.UTC).AddDays(n - month.Day())
		}
		last = max(last, day)
	}
	return last
}
