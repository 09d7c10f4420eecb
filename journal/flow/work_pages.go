package flow

import (
	"cmp"
	"context"
	"slices"

	"farbay/journal"
	"farbay/journal/billing"
)

// WorkLog is what was logged on one stage.
type WorkLog struct {
	Stage journal.Stage
	Lines []WorkLine // newest day first, in the order logged within a day
	// Metering is how far a metered stage has come; the zero one otherwise.
	Metering billing.Metering
	ToBill   journal.Cents // before tax, of the logged work; not for the floor

	// For the shop, while something can be logged.
	Open     bool
	People   []journal.Person // whose hours can be logged, by name
	Rate     journal.Cents    // the shop's an hour
	MarkUp   journal.BasisPoints
	ChangeOn bool // a change order for the stage is being written or is out
}

// WorkLine is one thing logged.
type WorkLine struct {
	Work     journal.Work
	Person   string            // whose hours; "" for parts and outside work
	By       string            // who logged it
	Takes    *journal.Work     // what it takes back; nil for none
	Gone     bool              // taken back by another line
	MayTake  bool              // the reader may take it back now
	Document *billing.Document // that bills it and stands; nil for none
}

// seesWork reports whether a reader may see what is logged on a stage: the shop
// always, the owner's side on metered stages once they are agreed.
func seesWork(a Actor, b journal.Build, st journal.Stage) bool {
	return a.Person.Role.Staff() || st.Metered && b.State != journal.Scoping
}

// WorkOf gathers what was logged on a stage. For the owner's side it is empty on a
// stage at a fixed price: there the log is the shop's own record.
func (s *Steps) WorkOf(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID) (l WorkLog, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		b, _, err := readable(r, a, build)
		if err != nil {
			return err
		}
		if l.Stage, err = r.Stage(build, stage); err != nil {
			return err
		}
		if !seesWork(a, b, l.Stage) {
			return nil
		}
		acc, err := s.account(r, b)
		if err != nil {
			return err
		}
		works, err := r.Works(build)
		if err != nil {
			return err
		}
		works = slices.DeleteFunc(works, func(w journal.Work) bool { return w.StageID != stage })
		if l.Lines, err = workLines(r, acc, works); err != nil {
			return err
		}
		l.Open = a.Person.Role.Staff() && canLog(l.Stage) == nil
		for i := range l.Lines {
			line := &l.Lines[i]
			line.MayTake = l.Open && !line.Gone && line.Takes == nil && mayTakeBack(a, line.Work)
		}
		l.Metering, _ = billing.MeteringOf(acc, string(stage))
		if a.Person.Role != journal.Floor && l.Stage.Metered {
			for _, c := range acc.Billable(string(stage)) {
				l.ToBill += c.Split.Total()
			}
		}
		if !l.Open {
			return nil
		}
		return s.fillLogForm(r, a, b, acc, &l)
	})
	return l, err
}

// fillLogForm adds what the forms of the shop offer.
func (s *Steps) fillLogForm(r Reads, a Actor, b journal.Build, acc billing.Account, l *WorkLog) error {
	shop, err := r.Shop()
	if err != nil {
		return err
	}
	agreed, err := s.workTerms(r, b, l.Stage.ID, shop)
	if err != nil {
		return err
	}
	l.Rate, l.MarkUp = agreed.rate, agreed.markUp
	people, err := r.People()
	if err != nil {
		return err
	}
	for _, p := range people {
		if p.Role.Staff() && p.Active() {
			p.PasswordHash = ""
			l.People = append(l.People, p)
		}
	}
	papers, err := s.paperLines(r, a, b.ID)
	l.ChangeOn = changeBegun(papers, l.Stage.ID)
	return err
}

// workLines puts works into the order shown, with names and the documents that
// bill them.
func workLines(r Reads, acc billing.Account, works []journal.Work) ([]WorkLine, error) {
	names := map[journal.PersonID]string{}
	byID := map[journal.WorkID]journal.Work{}
	gone := map[journal.WorkID]bool{}
	for _, w := range works {
		if err := nameAll(r, names, []journal.PersonID{w.PersonID, w.ByID}); err != nil {
			return nil, err
		}
		byID[w.ID], gone[w.TakesBack] = w, true
	}
	on := documentsOf(acc)
	lines := make([]WorkLine, 0, len(works))
	for _, w := range works {
		line := WorkLine{Work: w, Person: names[w.PersonID], By: names[w.ByID], Gone: gone[w.ID]}
		if w.TakesBack != "" {
			takes := byID[w.TakesBack]
			line.Takes = &takes
		}
		if d, billed := on[workRef(w.ID)]; billed {
			line.Document = &d
		}
		lines = append(lines, line)
	}
	slices.SortStableFunc(lines, func(x, y WorkLine) int { return cmp.Compare(y.Work.Day, x.Work.Day) })
	return lines, nil
}

// documentsOf are the documents that bill charges and stand, by the charge's ref.
func documentsOf(acc billing.Account) map[string]billing.Document {
	cancelled := map[string]bool{}
	for _, d := range acc.Documents {
		cancelled[d.Cancels] = true
	}
	on := map[string]billing.Document{}
	for _, d := range acc.Documents {
		if d.Cancels != "" || cancelled[d.ID] {
			continue
		}
		for _, c := range d.Charges {
			on[c.Ref] = d
		}
	}
	return on
}

// WorkFileOf returns the supplier's invoice of logged work, to whoever may see the
// work; [journal.NotFound] for others and when there is none.
func (s *Steps) WorkFileOf(ctx context.Context, a Actor, build journal.BuildID, id journal.WorkID) (f journal.WorkFile, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		b, _, err := readable(r, a, build)
		if err != nil {
			return err
		}
		works, err := r.Works(build)
		if err != nil {
			return err
		}
		for _, w := range works {
			if w.ID != id {
				continue
			}
			st, err := r.Stage(build, w.StageID)
			if err != nil {
				return err
			}
			if seesWork(a, b, st) {
				f, err = r.WorkFileOf(build, id)
				return err
			}
		}
		return journal.Errorf(journal.NotFound, "There is no such file.")
	})
	return f, err
}
