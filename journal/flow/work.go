package flow

import (
	"context"
	"slices"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// NewWork is work to be logged on a stage.
type NewWork struct {
	ID      journal.WorkID // made with the form, so that sending it twice logs once
	StageID journal.StageID
	Kind    journal.LineKind
	Day     journal.Date
	Text    string
	// Labour.
	PersonID journal.PersonID
	Minutes  int
	Rate     *journal.Cents // an hour; nil for the shop's. Office only
	// Parts and outside work.
	Cost     journal.Cents        // what the shop paid, before tax
	MarkUp   *journal.BasisPoints // nil for that of the build's terms. Office only
	FileName string
	File     []byte // the supplier's invoice: PDF, JPEG or PNG; outside work must have it
}

// LogWork logs hours, a part or outside work on a stage that is under way; on a
// metered one it will be billed. Staff; the floor logs its own hours or those of
// colleagues. Logging the same form again changes nothing. The office gets a
// letter when it brings the stage to 80 or 100 % of its ceiling.
//
// It returns [journal.Invalid] beside the fields of [journal.Work.Validate], and
// [journal.Conflict] when the stage is not under way or the form's id was used for
// something else.
func (s *Steps) LogWork(ctx context.Context, a Actor, build journal.BuildID, in NewWork) error {
	if err := asStaff(a); err != nil {
		return err
	}
	if !isFormID(string(in.ID)) {
		return journal.Errorf(journal.Invalid, "This form has lost its number; please open the stage again and type the work once more.")
	}
	return s.onBuild(ctx, a, build, func(tx Tx, b journal.Build) error {
		st, err := tx.Stage(build, in.StageID)
		if err != nil {
			return err
		}
		works, err := tx.Works(build)
		if err != nil {
			return err
		}
		w := journal.Work{
			ID: in.ID, BuildID: build, StageID: st.ID, Kind: in.Kind, Day: in.Day, Text: in.Text, ByID: a.Person.ID, At: s.at(),
		}
		if in.Kind == journal.Labour {
			w.PersonID, w.Minutes = in.PersonID, in.Minutes
		} else {
			w.Cost = in.Cost
		}
		if again, err := loggedBefore(works, w); again || err != nil {
			return err
		}
		if err := goingOn(b); err != nil {
			return err
		}
		if err := canLog(st); err != nil {
			return err
		}
		file, err := s.fillWork(tx, a, b, works, in, &w)
		if err != nil {
			return err
		}
		before, err := s.meteringOf(tx, b, st)
		if err != nil {
			return err
		}
		if err := tx.AddWork(w); err != nil {
			return err
		}
		if file != nil {
			if err := tx.AddWorkFile(*file); err != nil {
				return err
			}
		}
		if err := s.record(tx, a, build, "work logged", string(w.ID), workDetail(w)); err != nil {
			return err
		}
		return s.warnOfCeiling(tx, a, b, st, before)
	})
}

// loggedBefore reports whether the same work is logged already; something else
// under the same id is a conflict.
func loggedBefore(works []journal.Work, w journal.Work) (bool, error) {
	for _, old := range works {
		if old.ID != w.ID {
			continue
		}
		if old.StageID == w.StageID && old.Kind == w.Kind && old.Day == w.Day && old.Text == w.Text &&
			old.PersonID == w.PersonID && old.Minutes == w.Minutes && old.Cost == w.Cost {
			return true, nil
		}
		return false, journal.Errorf(journal.Conflict, "This form was sent before, with other work, and that is logged. Please open the stage again and use a new form.")
	}
	return false, nil
}

func canLog(st journal.Stage) error {
	switch st.State {
	case journal.NotStarted:
		return journal.Errorf(journal.Conflict, "%s has not been started; please open it before work is logged on it.", st.Name)
	case journal.Closed:
		return journal.Errorf(journal.Conflict, "%s is closed, so its log is too. The office can reopen it with a reason.", st.Name)
	}
	return nil
}

// fillWork fills in rate, mark-up, amount and file, and checks everything.
func (s *Steps) fillWork(r Reads, a Actor, b journal.Build, works []journal.Work, in NewWork, w *journal.Work) (*journal.WorkFile, error) {
	bad := journal.Problems{}
	shop, err := r.Shop()
	if err != nil {
		return nil, err
	}
	if (in.Rate != nil || in.MarkUp != nil) && a.Person.Role != journal.Office {
		return nil, journal.Errorf(journal.Forbidden, "Only the office sets rate and mark-up. Please ask them.")
	}
	var file *journal.WorkFile
	agreed, err := s.workTerms(r, b, w.StageID, shop)
	if err != nil {
		return nil, err
	}
	if w.Kind == journal.Labour {
		w.Rate = agreed.rate
		if in.Rate != nil {
			w.Rate = *in.Rate
		} else if agreed.rate == 0 {
			bad.Add("rate", "The shop has no rate an hour yet. The office sets it under Shop.")
		}
		if agreed.bound && agreed.rate != 0 && w.Rate > agreed.rate {
			bad.Add("rate", "The owner has agreed to %s an hour on this stage; please type at most that.", agreed.rate)
		}
		if err := checkWorker(r, works, *w, bad); err != nil {
			return nil, err
		}
	} else {
		w.MarkUp = agreed.markUp
		if in.MarkUp != nil {
			w.MarkUp = *in.MarkUp
		}
		if agreed.bound && w.MarkUp > agreed.markUp {
			bad.Add("mark_up", "The owner has agreed to a mark-up of %s %% on this stage; please type at most that.", billing.FormatRate(agreed.markUp))
		}
		file = supplierInvoice(in, w, bad)
	}
	for field, sentence := range journal.ProblemsOf(w.Validate(begunOn(b, shop), journal.DateOf(w.At, shop.Location()))) {
		bad.Add(field, "%s", sentence)
	}
	if err := bad.Err(); err != nil {
		return nil, err
	}
	w.Amount = w.Reckon()
	return file, nil
}

// workTerms are the rate of an hour and the mark-up for work on a stage.
type workTerms struct {
	rate   journal.Cents
	markUp journal.BasisPoints
	bound  bool // they are the most that the owner has agreed to
}

// workTerms returns those of a stage: on a metered one what the owner has agreed
// to; elsewhere, where nothing of it is billed, what the shop takes.
func (s *Steps) workTerms(r Reads, b journal.Build, stage journal.StageID, shop journal.Shop) (workTerms, error) {
	terms, err := r.Terms(b.ID)
	if err != nil {
		return workTerms{}, err
	}
	st, err := r.Stage(b.ID, stage)
	w := workTerms{shop.LabourRate, terms.MarkUp, st.Metered}
	if st.Metered && terms.HourRate != 0 {
		w.rate = terms.HourRate
	}
	return w, err
}

// begunOn is the first day of a build that anything is known of.
func begunOn(b journal.Build, shop journal.Shop) journal.Date {
	begun := journal.DateOf(b.CreatedAt, shop.Location())
	for _, day := range []journal.Date{b.ArrivedOn, b.AgreedOn} {
		if !day.IsZero() {
			begun = min(begun, day)
		}
	}
	return begun
}

// checkWorker checks that hours are of a person of the shop, whose day they fit in
// with the others logged on the build.
func checkWorker(r Reads, works []journal.Work, w journal.Work, bad journal.Problems) error {
	if w.PersonID == "" {
		return nil
	}
	p, known, err := absent(r.Person(w.PersonID))
	if err != nil {
		return err
	}
	if !known || !p.Role.Staff() || !p.Active() {
		bad.Add("person", "Please choose somebody who works here.")
		return nil
	}
	minutes := w.Minutes
	for _, old := range works {
		if old.PersonID == w.PersonID && old.Day == w.Day {
			minutes += old.Minutes
		}
	}
	if w.Minutes <= journal.MaxWorkMinutes && minutes > journal.MaxWorkMinutes {
		bad.Add("hours", "With what is logged already, %s would have worked more than 24 hours that day; please look at the list.", p.Name)
	}
	return nil
}

// supplierInvoice is the file that was attached; nil for none.
func supplierInvoice(in NewWork, w *journal.Work, bad journal.Problems) *journal.WorkFile {
	if len(in.File) == 0 {
		return nil
	}
	kind := signoff.ScanType(in.File)
	switch {
	case len(in.File) > signoff.MaxScanBytes:
		bad.Add("file", "The file is above 10 MB; please scan it in grey or in fewer dots.")
	case kind == "":
		bad.Add("file", "The file is no PDF, JPEG or PNG; please choose another.")
	}
	w.FileName, w.FileSHA256 = scanName(in.FileName), signoff.Hash(in.File)
	return &journal.WorkFile{WorkID: w.ID, Name: w.FileName, ContentType: kind, SHA256: w.FileSHA256, Data: in.File}
}

// TakeBackWork takes logged work back by a second record with opposite figures and
// a reason. Whoever logged it, whose hours they are, and the office; while the
// stage is under way.
//
// It returns [journal.Invalid] beside "reason", [journal.NotFound], and
// [journal.Conflict] when it was taken back before or the stage is not under way.
func (s *Steps) TakeBackWork(ctx context.Context, a Actor, build journal.BuildID, id journal.WorkID, reason string) error {
	if err := asStaff(a); err != nil {
		return err
	}
	return s.onBuild(ctx, a, build, func(tx Tx, b journal.Build) error {
		works, err := tx.Works(build)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(works, func(w journal.Work) bool { return w.ID == id })
		switch {
		case i < 0:
			return journal.Errorf(journal.NotFound, "There is no such work.")
		case works[i].TakesBack != "":
			return journal.Errorf(journal.Conflict, "This record takes work back; please log the work anew instead.")
		case slices.ContainsFunc(works, func(w journal.Work) bool { return w.TakesBack == id }):
			return journal.Errorf(journal.Conflict, "This was taken back already.")
		case !mayTakeBack(a, works[i]):
			return journal.Errorf(journal.Forbidden, "Only who logged it, whose hours they are, or the office can take it back.")
		}
		st, err := tx.Stage(build, works[i].StageID)
		if err != nil {
			return err
		}
		if err := canLog(st); err != nil {
			return err
		}
		back := works[i].TakenBack()
		back.ID, back.Reason, back.ByID, back.At = journal.WorkID(s.NewID()), reason, a.Person.ID, s.at()
		if err := back.Validate("", ""); err != nil {
			return err
		}
		if err := tx.AddWork(back); err != nil {
			return err
		}
		return s.record(tx, a, build, "work taken back", string(back.ID), workDetail(back))
	})
}

func mayTakeBack(a Actor, w journal.Work) bool {
	return a.Person.Role == journal.Office || w.ByID == a.Person.ID || w.PersonID != "" && w.PersonID == a.Person.ID
}

// workDetail is what the record says of logged work: all of it, so that a change
// is found out.
func workDetail(w journal.Work) map[string]any {
	return map[string]any{
		"stage": w.StageID, "kind": w.Kind, "day": w.Day, "text": w.Text, "person": w.PersonID, "minutes": w.Minutes, "rate": w.Rate,
		"cost": w.Cost, "mark_up": w.MarkUp, "amount": w.Amount, "file": w.FileName, "sha256": w.FileSHA256,
		"takes_back": w.TakesBack, "reason": w.Reason,
	}
}

// BillWork bills the logged work of a metered stage so far, before its close.
// Office only.
//
// It returns [journal.Conflict] when the stage is at a fixed price, not under way,
// or has nothing to bill: somebody else may have billed it a moment ago.
func (s *Steps) BillWork(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID) (inv Invoice, err error) {
	err = s.asOfficeOn(ctx, a, build, func(tx Tx, b journal.Build) error {
		st, err := tx.Stage(build, stage)
		switch {
		case err != nil:
			return err
		case !st.Metered:
			return journal.Errorf(journal.Conflict, "%s has a fixed price; it is billed when it closes.", st.Name)
		case b.State == journal.Scoping:
			return journal.Errorf(journal.Conflict, "The owner's agreement is not recorded yet; nothing is billed before it.")
		case st.State == journal.Closed:
			return journal.Errorf(journal.Conflict, "%s is closed, and was billed then.", st.Name)
		}
		acc, err := s.account(tx, b)
		if err != nil {
			return err
		}
		doc, ok, err := billing.Next(acc, acc.Unbilled(string(stage)), s.today(tx), "")
		if err != nil {
			return err
		}
		if !ok {
			return journal.Errorf(journal.Conflict, "Nothing logged on %s is left to bill.", st.Name)
		}
		inv, err = s.issue(tx, a, b, acc.Terms.Tax, doc, "", "")
		return err
	})
	return inv, err
}
