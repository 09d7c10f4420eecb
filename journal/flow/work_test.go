package flow_test

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// metered agrees on Heron, makes its n-th stage one by time and materials with that
// ceiling, and opens it.
func (y *yard) metered(n int, ceiling journal.Cents) journal.StageID {
	y.t.Helper()
	y.agreeOn(y.heron, func(rows []flow.StageScope) { rows[n].Value, rows[n].Metered = journal.Split{Labour: ceiling}, true })
	return y.ready(y.heron, n)
}

func (y *yard) saveMetered(n int, ceiling journal.Cents) {
	y.t.Helper()
	st := y.stage(y.heron, n)
	st.Metered, st.Value = true, journal.Split{Labour: ceiling}
	y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error { return tx.SaveStage(st) }))
}

// putTerms stores the terms as if they had been agreed so.
func (y *yard) putTerms(t billing.Terms) {
	y.t.Helper()
	y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error { return tx.SaveTerms(y.heron, t) }))
}

func workForm(n int) journal.WorkID { return journal.WorkID(fmt.Sprintf("work-form-%014d", n)) }

// hours are two hours of Jory's on the day before the yard's.
func (y *yard) hours(n int, stage journal.StageID) flow.NewWork {
	return flow.NewWork{ID: workForm(n), StageID: stage, Kind: journal.Labour, Day: "2026-04-13", Text: "Welded the left pan.", PersonID: y.jory.Person.ID, Minutes: 120}
}

// chrome is outside work with its supplier's invoice.
func (y *yard) chrome(n int, stage journal.StageID) flow.NewWork {
	return flow.NewWork{ID: workForm(n), StageID: stage, Kind: journal.Outside, Day: "2026-04-13", Text: "Chrome on 14 pieces", Cost: 40_000,
		FileName: "plater 118.pdf", File: []byte("%PDF-1.7 of the plater")}
}

func (y *yard) log(a flow.Actor, in flow.NewWork) {
	y.t.Helper()
	y.do(y.steps.LogWork(y.ctx, a, y.heron, in))
}

func (y *yard) works(stage journal.StageID) flow.WorkLog {
	y.t.Helper()
	return got(y.steps.WorkOf(y.ctx, y.office, y.heron, stage))(y.t)
}

func TestLogWork(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 500_000)
	y.putTerms(billing.Terms{Crediting: billing.ProRata, MarkUp: 1500})
	y.log(y.jory, y.hours(1, stage))
	colleague := y.hours(2, stage)
	colleague.PersonID, colleague.Day = y.sam.Person.ID, "2026-04-14"
	y.log(y.jory, colleague)
	y.log(y.sam, y.chrome(3, stage))
	rate, markUp := journal.Cents(6_500), journal.BasisPoints(0)
	dear := y.hours(4, stage)
	dear.Rate = &rate
	y.log(y.office, dear)
	sealer := flow.NewWork{ID: workForm(5), StageID: stage, Kind: journal.Parts, Day: "2026-04-14", Text: "Seam sealer", Cost: 4_800, MarkUp: &markUp}
	y.log(y.office, sealer)

	l := y.works(stage)
	var amounts []string
	for _, line := range l.Lines {
		amounts = append(amounts, fmt.Sprintf("%s %s %s", line.Work.Day, line.Person, line.Work.Amount))
	}
	want := []string{"2026-04-14 Sam Teal 190.00", "2026-04-14  48.00", "2026-04-13 Jory Pike 190.00", "2026-04-13  460.00", "2026-04-13 Jory Pike 130.00"}
	if !slices.Equal(amounts, want) {
		t.Errorf("logged %q, want %q", amounts, want)
	}
	if l.Metering.Worked != 101_800 || l.ToBill != 101_800 || l.Metering.Ceiling != 500_000 {
		t.Errorf("metering %+v, to bill %s", l.Metering, l.ToBill)
	}
	if f := got(y.steps.WorkFileOf(y.ctx, y.ada, y.heron, workForm(3)))(t); f.Name != "plater 118.pdf" || f.ContentType != "application/pdf" || string(f.Data) != "%PDF-1.7 of the plater" {
		t.Errorf("the supplier's invoice came back as %s, %s", f.Name, f.ContentType)
	}
	if faults := y.checkedOf(); len(faults) > 0 {
		t.Errorf("the check says %v", faults)
	}
}

func TestLogWork_Refused(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 500_000)
	rate, markUp := journal.Cents(1), journal.BasisPoints(1)
	for _, tc := range []struct {
		name   string
		by     flow.Actor
		change func(*flow.NewWork)
		code   journal.Code
		fields []string
	}{
		{"an owner", y.ada, func(*flow.NewWork) {}, journal.Forbidden, nil},
		{"the floor sets a rate", y.jory, func(w *flow.NewWork) { w.Rate = &rate }, journal.Forbidden, nil},
		{"the floor sets a mark-up", y.jory, func(w *flow.NewWork) { w.Kind, w.Cost, w.MarkUp = journal.Parts, 100, &markUp }, journal.Forbidden, nil},
		{"an owner's hours", y.jory, func(w *flow.NewWork) { w.PersonID = y.ada.Person.ID }, journal.Invalid, []string{"person"}},
		{"nobody's hours", y.jory, func(w *flow.NewWork) { w.PersonID = "nobody" }, journal.Invalid, []string{"person"}},
		{"tomorrow", y.jory, func(w *flow.NewWork) { w.Day = "2026-04-15" }, journal.Invalid, []string{"day"}},
		{"before the truck came", y.jory, func(w *flow.NewWork) { w.Day = "2026-01-08" }, journal.Invalid, []string{"day"}},
		{"no form", y.jory, func(w *flow.NewWork) { w.ID = "" }, journal.Invalid, nil},
		{"a hostile form", y.jory, func(w *flow.NewWork) { w.ID = "'; DROP TABLE work; --" }, journal.Invalid, nil},
		{"another build's stage", y.jory, func(w *flow.NewWork) { w.StageID = y.stage(y.juniper, 0).ID }, journal.NotFound, nil},
		{"a stage not begun", y.jory, func(w *flow.NewWork) { w.StageID = y.stage(y.heron, 3).ID }, journal.Conflict, nil},
		{"outside work without its invoice", y.jory, func(w *flow.NewWork) { *w = y.chrome(9, stage); w.File = nil }, journal.Invalid, []string{"file"}},
		{"a file by its name alone", y.jory, func(w *flow.NewWork) { *w = y.chrome(9, stage); w.File = []byte("MZ, not a PDF") }, journal.Invalid, []string{"file"}},
		{"a file too large", y.jory, func(w *flow.NewWork) {
			*w = y.chrome(9, stage)
			w.File = append([]byte("%PDF-"), make([]byte, signoff.MaxScanBytes)...)
		}, journal.Invalid, []string{"file"}},
		{"everything wrong at once", y.jory, func(w *flow.NewWork) { w.Text, w.Minutes, w.Day, w.PersonID = "", 0, "", "" }, journal.Invalid, []string{"text", "hours", "day", "person"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			in := y.hours(9, stage)
			tc.change(&in)
			refused(t, y.steps.LogWork(y.ctx, tc.by, y.heron, in), tc.code, tc.fields...)
			if n := len(y.works(stage).Lines); n != 0 {
				t.Fatalf("%d lines are logged", n)
			}
		})
	}
}

// A day has 24 hours, over all that is logged.
func TestLogWork_NoLongerThanADay(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 5_000_000)
	long := y.hours(1, stage)
	long.Minutes = 23 * 60
	y.log(y.jory, long)
	refused(t, y.steps.LogWork(y.ctx, y.jory, y.heron, y.hours(2, stage)), journal.Invalid, "hours")
	y.do(y.steps.TakeBackWork(y.ctx, y.jory, y.heron, long.ID, "It was three hours."))
	y.log(y.jory, y.hours(2, stage))
}

func TestLogWork_WithoutARate(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 500_000)
	y.log(y.jory, y.hours(1, stage)) // at the rate agreed
	y.putTerms(billing.Terms{Crediting: billing.ProRata})
	y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error {
		shop, err := tx.Shop()
		if err != nil {
			return err
		}
		shop.LabourRate = 0
		return tx.SaveShop(shop)
	}))
	refused(t, y.steps.LogWork(y.ctx, y.jory, y.heron, y.hours(2, stage)), journal.Invalid, "rate")
}

// The same form sent by many at once logs once; with something else it is refused.
func TestLogWork_OnceAForm(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 500_000)
	steps := *y.steps
	steps.NewID = ids("race")
	errs := make([]error, 20)
	var all sync.WaitGroup
	for i := range errs {
		all.Go(func() { errs[i] = steps.LogWork(y.ctx, y.jory, y.heron, y.chrome(1, stage)) })
	}
	all.Wait()
	for i, err := range errs {
		if err != nil {
			t.Errorf("log %d: %v", i, err)
		}
	}
	if n := len(y.works(stage).Lines); n != 1 {
		t.Errorf("%d lines are logged", n)
	}
	other := y.chrome(1, stage)
	other.Cost++
	refused(t, y.steps.LogWork(y.ctx, y.jory, y.heron, other), journal.Conflict)
	// Sent once more after the stage was closed, it still says that it is there.
	_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	y.do(err)
	y.log(y.jory, y.chrome(1, stage))
	refused(t, y.steps.LogWork(y.ctx, y.office, y.heron, y.hours(2, stage)), journal.Conflict)
}

func TestTakeBackWork(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 500_000)
	y.log(y.jory, y.hours(1, stage))
	back := func(a flow.Actor, id journal.WorkID, reason string) error {
		return y.steps.TakeBackWork(y.ctx, a, y.heron, id, reason)
	}
	refused(t, back(y.ada, workForm(1), "No."), journal.Forbidden)
	refused(t, back(y.sam, workForm(1), "Not mine."), journal.Forbidden)
	refused(t, back(y.jory, workForm(1), ""), journal.Invalid, "reason")
	refused(t, back(y.jory, "nothing", "Why not."), journal.NotFound)
	steps := *y.steps
	steps.NewID = ids("race")
	errs := make([]error, 10)
	var all sync.WaitGroup
	for i := range errs {
		all.Go(func() { errs[i] = steps.TakeBackWork(y.ctx, y.jory, y.heron, workForm(1), "Wrong stage.") })
	}
	all.Wait()
	won := 0
	for _, err := range errs {
		if err == nil {
			won++
		} else {
			refused(t, err, journal.Conflict)
		}
	}
	l := y.works(stage)
	if won != 1 || len(l.Lines) != 2 || l.Metering.Worked != 0 || !l.Lines[0].Gone || l.Lines[1].Takes == nil || l.Lines[1].Work.Reason != "Wrong stage." {
		t.Errorf("%d took it back; the log is %+v", won, l)
	}
	refused(t, back(y.office, l.Lines[1].Work.ID, "And again."), journal.Conflict)
	// A colleague's hours: who logged them and whose they are.
	for n, by := range []flow.Actor{y.jory, y.sam, y.office} {
		in := y.hours(10+n, stage)
		in.PersonID = y.sam.Person.ID
		y.log(y.jory, in)
		y.do(back(by, in.ID, "Wrong day."))
	}
	y.log(y.jory, y.hours(20, stage))
	_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	y.do(err)
	refused(t, back(y.office, workForm(20), "Too late."), journal.Conflict)
	y.do(y.steps.ReopenStage(y.ctx, y.office, y.heron, stage, "Hours were wrong.", false))
	y.do(back(y.office, workForm(20), "Not too late now."))
	memo, billed, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	y.do(err)
	if !billed || memo.Document.Kind != billing.CreditMemo || memo.Document.Payable != -19_000 {
		t.Errorf("closing again issued %+v", memo.Document)
	}
	if faults := y.checkedOf(); len(faults) > 0 {
		t.Errorf("the check says %v", faults)
	}
}

func TestBillWork(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 50_000)
	bill := func(a flow.Actor) (flow.Invoice, error) { return y.steps.BillWork(y.ctx, a, y.heron, stage) }
	_, err := bill(y.office)
	refused(t, err, journal.Conflict) // nothing logged
	y.log(y.jory, y.hours(1, stage))
	_, err = bill(y.jory)
	refused(t, err, journal.Forbidden)
	_, err = y.steps.BillWork(y.ctx, y.office, y.heron, y.ready(y.heron, 1))
	refused(t, err, journal.Conflict) // a fixed price

	steps := *y.steps
	steps.NewID = ids("race")
	invoices, errs := make([]flow.Invoice, 10), make([]error, 10)
	var all sync.WaitGroup
	for i := range errs {
		all.Go(func() { invoices[i], errs[i] = steps.BillWork(y.ctx, y.office, y.heron, stage) })
	}
	all.Wait()
	won := 0
	for i, err := range errs {
		if err != nil {
			refused(t, err, journal.Conflict)
			continue
		}
		won++
		if d := invoices[i].Document; d.Subtotal != 19_000 || d.ClosesStageID != "" || d.Charges[0].Ref != "work:"+string(workForm(1)) {
			t.Errorf("billed %+v", d)
		}
	}
	if won != 1 {
		t.Fatalf("%d billed it", won)
	}
	if line := y.works(stage).Lines[0]; line.Document == nil || line.Document.Number != 1 {
		t.Errorf("the line does not say what bills it: %+v", line)
	}
	for n := range 2 {
		in := y.hours(2+n, stage)
		in.Day = "2026-04-14"
		y.log(y.jory, in)
	}
	// 570.00 are worked, and 500.00 is the ceiling.
	inv, billed, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	y.do(err)
	if d := inv.Document; !billed || d.Subtotal != 31_000 || d.ClosesStageID != string(stage) || d.Charges[2].Source != billing.CeilingHeld {
		t.Errorf("the close billed %+v", d)
	}
	_, err = bill(y.office)
	refused(t, err, journal.Conflict)
	if faults := y.checkedOf(); len(faults) > 0 {
		t.Errorf("the check says %v", faults)
	}
}

// A metered stage closes with nothing logged, bills nothing, and nothing is amiss.
func TestCloseStage_MeteredWithNothingLogged(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 400_000)
	_, billed, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	y.do(err)
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	if billed || len(m.Invoices) != 0 || m.Statement.Unused != 400_000 {
		t.Errorf("billed %v, %d invoices, %s not needed", billed, len(m.Invoices), m.Statement.Unused)
	}
	if faults := y.checkedOf(); len(faults) > 0 {
		t.Errorf("the check says %v", faults)
	}
}

// One whose work was not billed though it is closed is found out.
func TestCheck_MeteredNotBilled(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 400_000)
	y.log(y.jory, y.hours(1, stage))
	st := y.stage(y.heron, 0)
	st.State, st.ClosedAt = journal.Closed, y.now
	y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error {
		if err := tx.SaveStage(st); err != nil {
			return err
		}
		return tx.AddTurn(journal.Turn{StageID: stage, To: journal.Closed, ByID: y.office.Person.ID, At: y.now})
	}))
	if faults := slices.Collect(texts(y.checkedOf())); !slices.Contains(faults, st.Name+" is closed and was not billed.") {
		t.Errorf("the check says %q", faults)
	}
}

// On a stage at a fixed price the log is the shop's own record: it changes no
// figure, and the owner's side sees none of it.
func TestLogWork_OnAFixedPrice(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	stage := y.ready(y.heron, 0)
	before := got(y.steps.MoneyOf(y.ctx, y.ada, y.heron))(t).Statement
	y.log(y.jory, y.hours(1, stage))
	y.log(y.office, y.chrome(2, stage))
	if now := got(y.steps.MoneyOf(y.ctx, y.ada, y.heron))(t).Statement; fmt.Sprint(now) != fmt.Sprint(before) {
		t.Errorf("the statement went from %+v to %+v", before, now)
	}
	for name, a := range map[string]flow.Actor{"the owner": y.ada, "her delegate": y.dell} {
		if l := got(y.steps.WorkOf(y.ctx, a, y.heron, stage))(t); len(l.Lines) > 0 || l.Open || len(l.People) > 0 {
			t.Errorf("%s sees %+v", name, l)
		}
		_, err := y.steps.WorkFileOf(y.ctx, a, y.heron, workForm(2))
		refused(t, err, journal.NotFound)
	}
	_, err := y.steps.WorkOf(y.ctx, y.ben, y.heron, stage)
	refused(t, err, journal.NotFound) // another's build
	_, err = y.steps.WorkFileOf(y.ctx, y.jory, y.juniper, workForm(2))
	refused(t, err, journal.NotFound) // under another's address
	got(y.steps.WorkFileOf(y.ctx, y.jory, y.heron, workForm(2)))(t)
	inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	y.do(err)
	if len(inv.Document.Charges) != 1 || inv.Document.Subtotal != 100_000 {
		t.Errorf("the close billed %+v", inv.Document)
	}
	if faults := y.checkedOf(); len(faults) > 0 {
		t.Errorf("the check says %v", faults)
	}
}

func TestLogWork_OwnerBeforeTheAgreement(t *testing.T) {
	y := newYard(t)
	y.saveMetered(0, 400_000)
	stage := y.ready(y.heron, 0)
	y.log(y.jory, y.chrome(1, stage))
	if l := got(y.steps.WorkOf(y.ctx, y.ada, y.heron, stage))(t); len(l.Lines) > 0 {
		t.Errorf("the owner sees %+v", l)
	}
	_, err := y.steps.WorkFileOf(y.ctx, y.ada, y.heron, workForm(1))
	refused(t, err, journal.NotFound)
}

// ceilingLetters are the letters about a ceiling, by whom they go to.
func (y *yard) ceilingLetters() (to []string) {
	y.t.Helper()
	letters, _, err := y.steps.Outbox(y.ctx, y.office, 50)
	y.do(err)
	for _, l := range letters {
		if strings.Contains(l.Letter.Subject, "CeilingLetter") {
			to = append(to, l.Letter.To)
		}
	}
	return to
}

// Each threshold is told once for each ceiling, to everybody in the office.
func TestCeiling_LettersOnce(t *testing.T) {
	y := newYard(t)
	second := y.person("Noor Vale", journal.Office)
	stage := y.metered(0, 100_000) // at 95.00 an hour
	log := func(n, minutes int) journal.WorkID {
		t.Helper()
		in := y.hours(n, stage)
		in.Minutes, in.Day = minutes, journal.Date("2026-03-01").AddDays(n)
		y.log(y.jory, in)
		return in.ID
	}
	letters := func(want int) {
		t.Helper()
		if to := y.ceilingLetters(); len(to) != want*2 || want > 0 && (!slices.Contains(to, second.Person.Email) || !slices.Contains(to, y.office.Person.Email)) {
			t.Fatalf("letters to %q, want %d to each of the office", to, want)
		}
	}
	log(1, 480) // 760.00
	letters(0)
	last := log(2, 30) // 807.50
	letters(1)
	y.do(y.steps.TakeBackWork(y.ctx, y.jory, y.heron, last, "Wrong stage."))
	log(3, 30) // over it once more: told already
	letters(1)
	log(4, 240) // 1,187.50
	letters(2)
	y.saveMetered(0, 200_000)
	log(5, 480) // 1,947.50 of 2,000.00: 97 %
	letters(3)
	log(6, 1440) // far over
	letters(4)
}

// Both thresholds at once are one letter.
func TestCeiling_OneLetterForBoth(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 10_000)
	y.log(y.jory, y.hours(1, stage))
	if to := y.ceilingLetters(); len(to) != 1 {
		t.Errorf("letters to %q", to)
	}
}

func TestWaits_Ceiling(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 25_000)
	forCeiling := func() *flow.Wait {
		t.Helper()
		for _, w := range y.glance(y.heron).Waits {
			if w.For == flow.ForCeiling {
				return &w
			}
		}
		return nil
	}
	y.log(y.jory, y.hours(1, stage)) // 190.00, 76 %
	if w := forCeiling(); w != nil {
		t.Fatalf("waits at 76 %%: %+v", w)
	}
	in := y.hours(2, stage)
	in.Minutes = 30 // 237.50, 95 %
	y.log(y.jory, in)
	y.now = y.now.Add(72 * time.Hour)
	if w := forCeiling(); w == nil || w.Percent != 95 || w.Stage.ID != stage || w.Days != 3 || w.On != flow.OnUs {
		t.Fatalf("waits %+v", w)
	}
	if waits := got(y.steps.BuildGlance(y.ctx, y.jory, y.heron))(t).Waits; slices.ContainsFunc(waits, func(w flow.Wait) bool { return w.For == flow.ForCeiling }) {
		t.Error("the floor is told of the ceiling")
	}
	// The act that ends it: a change order, begun for the stage.
	p := got(y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.ChangeOrder, StageID: stage}))(t)
	if p.Draft.StageID != stage || p.Draft.Title != "Another ceiling for Arrival" {
		t.Errorf("begun as %+v", p.Draft)
	}
	if w := forCeiling(); w != nil {
		t.Errorf("waits beside its draft: %+v", w)
	}
	if l := y.works(stage); !l.ChangeOn {
		t.Error("the stage does not say that one is begun")
	}
	y.agrees(y.ada)
	change := y.pans(y.heron, 0)
	p = got(y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version, change))(t)
	p = got(y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version))(t)
	if w := forCeiling(); w != nil {
		t.Errorf("waits while it is out: %+v", w)
	}
	got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, y.form(y.ada, p, signoff.OutcomeDeclined)))(t)
	if w := forCeiling(); w == nil {
		t.Error("declined, nothing waits any more")
	}
	_, err := y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.ChangeOrder, StageID: "nowhere"})
	refused(t, err, journal.NotFound)
}

// On the days of the terms, and from then on until it is done, logged work is to
// be billed.
func TestWaits_BillDays(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 500_000)
	forWork := func(want journal.Cents, days int) {
		t.Helper()
		var found *flow.Wait
		for _, w := range y.glance(y.heron).Waits {
			if w.For == flow.ForWork {
				found = &w
			}
		}
		switch {
		case want == 0 && found != nil:
			t.Fatalf("%s: waits %+v", y.now, found)
		case want != 0 && (found == nil || found.Amount != want || found.Days != days || found.Late != days || found.Stage.ID != stage):
			t.Fatalf("%s: waits %+v, want %s for %d days", y.now, found, want, days)
		}
	}
	y.log(y.jory, y.hours(1, stage))
	y.now = y.now.Add(24 * time.Hour) // 15 April
	forWork(0, 0)                     // no days agreed: it is billed at the close
	y.putTerms(billing.Terms{Crediting: billing.ProRata, BillDays: []int{5, 20}})
	forWork(0, 0)                         // the 5th was before it was logged
	y.now = y.now.Add(5 * 24 * time.Hour) // 20 April
	forWork(19_000, 0)
	y.now = y.now.Add(24 * time.Hour)
	y.log(y.jory, y.hours(2, stage))
	forWork(38_000, 1)
	got(y.steps.BillWork(y.ctx, y.office, y.heron, stage))(t)
	forWork(0, 0)
	y.log(y.jory, y.hours(3, stage))
	forWork(0, 0)                          // logged after the 20th: the 5th of May
	y.now = y.now.Add(14 * 24 * time.Hour) // 5 May
	forWork(19_000, 0)
}

// What is logged is held by the record: a change past the program is found out.
func TestCheck_WorkTampered(t *testing.T) {
	for _, c := range []struct{ name, change, says string }{
		{"hours", "UPDATE work SET minutes = 600 WHERE minutes = 120", "its minutes is 600, and event"},
		{"amount", "UPDATE work SET amount = 1 WHERE amount = 19000", "its amount is 1, and event"},
		{"cost", "UPDATE work SET cost = 50000 WHERE cost = 40000", "its cost is 50000, and event"},
		{"day", "UPDATE work SET day = '2026-04-10' WHERE kind = 'labour'", "its day is"},
		{"stage", "UPDATE work SET stage_id = (SELECT id FROM stages WHERE position = 4 AND build_id = work.build_id)", "its stage is"},
		{"who logged it", "UPDATE work SET by_id = (SELECT id FROM people WHERE name = 'Sam Teal') WHERE kind = 'outside work'", "was changed: event"},
		{"reason", "UPDATE work SET reason = 'None.' WHERE takes_back IS NOT NULL", `its reason is "None."`},
		{"deleted", "DELETE FROM work WHERE takes_back IS NOT NULL", "is missing from its table"},
		{"put in", "INSERT INTO work SELECT added + 90, 'another', build_id, stage_id, kind, day, text, person_id, minutes, rate, cost, mark_up, amount, '', '', NULL, '', by_id, at FROM work WHERE kind = 'outside work'", "no event of the record says so"},
		{"the file", "UPDATE work_files SET data = CAST('%PDF-1.7 of another' AS BLOB)", "is not the one that was logged"},
		{"the file's hash too", "UPDATE work_files SET data = CAST('%PDF-1.7' AS BLOB), sha256 = '" + strings.Repeat("0", 64) + "'", "is not the one that was logged"},
		{"no file", "DELETE FROM work_files", "is missing"},
	} {
		t.Run(c.name, func(t *testing.T) {
			y := newYard(t)
			stage := y.metered(0, 500_000)
			y.log(y.jory, y.chrome(1, stage))
			y.log(y.jory, y.hours(2, stage))
			y.do(y.steps.TakeBackWork(y.ctx, y.jory, y.heron, workForm(2), "Wrong stage."))
			if faults := slices.Collect(texts(y.checkedOf())); len(faults) > 0 {
				t.Fatalf("before: %q", faults)
			}
			db := y.tampered()
			y.exec(db, "PRAGMA foreign_keys = OFF")
			y.exec(db, c.change)
			if faults := slices.Collect(texts(y.checkedOf())); len(faults) == 0 || !strings.Contains(faults[0], c.says) {
				t.Errorf("found %q, want %q", faults, c.says)
			}
		})
	}
}

// checkedOf is what the check finds.
func (y *yard) checkedOf() []flow.Fault {
	y.t.Helper()
	faults, _, err := y.steps.Check(y.ctx, func(string) error { return nil })
	y.do(err)
	return faults
}

// On a metered stage nothing is logged above what the owner has agreed to; elsewhere
// the log is the shop's own and not billed.
func TestLogWork_AtMostWhatWasAgreed(t *testing.T) {
	y := newYard(t)
	stage := y.metered(0, 500_000)
	y.putTerms(billing.Terms{Crediting: billing.ProRata, HourRate: 88_00, MarkUp: 1500})
	over, markUp, less := journal.Cents(88_01), journal.BasisPoints(1501), journal.Cents(50_00)
	dear := y.hours(1, stage)
	dear.Rate = &over
	refused(t, y.steps.LogWork(y.ctx, y.office, y.heron, dear), journal.Invalid, "rate")
	parts := flow.NewWork{ID: workForm(2), StageID: stage, Kind: journal.Parts, Day: "2026-04-14", Text: "Sealer", Cost: 10_000, MarkUp: &markUp}
	refused(t, y.steps.LogWork(y.ctx, y.office, y.heron, parts), journal.Invalid, "mark_up")
	y.log(y.jory, y.hours(3, stage)) // 2 hours at 88.00
	cheap := y.hours(4, stage)
	cheap.Rate = &less
	y.log(y.office, cheap)
	if l := y.works(stage); l.Metering.Worked != 276_00 || l.Rate != 88_00 || l.MarkUp != 1500 {
		t.Errorf("logged %s; offered %s an hour and %d", l.Metering.Worked, l.Rate, l.MarkUp)
	}
	fixed := y.ready(y.heron, 1)
	dear.ID, dear.StageID = workForm(5), fixed
	y.log(y.office, dear)
}
