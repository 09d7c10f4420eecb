package flow_test

import (
	"strings"
	"sync"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// ends fills an early stop: today, at the owner's wish, with what the stages named
// have earned.
func (y *yard) ends(build journal.BuildID, earned ...signoff.Earned) func(*signoff.Draft) {
	return func(d *signoff.Draft) {
		d.Stop = &signoff.Stop{By: signoff.OwnersWish, On: "2026-04-14", Truck: "Fetched by the owner's carrier.", Parts: []string{"Two doors, with the truck"}, Earned: earned}
	}
}

func (y *yard) statement(build journal.BuildID) billing.Statement {
	y.t.Helper()
	s := got(y.steps.MoneyOf(y.ctx, y.office, build))(y.t).Statement
	if err := s.Check(); err != nil {
		y.t.Error(err)
	}
	return s
}

// holds fails the test if anything of the yard breaks a promise.
func (y *yard) holds() {
	y.t.Helper()
	if faults := y.checked(); len(faults) != 0 {
		y.t.Errorf("faults: %+v", faults)
	}
}

// A build of fourteen stages at 1,000.00: one billed, one under way with 400.00
// earned, a part of 250.00 bought for one not begun, twelve and a half given up.
func TestEarlyStop_SigningItSettlesTheBuild(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 280_000, Crediting: billing.ProRata, HoldbackRate: 1000, DueDays: 10, Tax: billing.Tax{Parts: 500}}))
	y.agree(y.heron)
	y.agrees(y.ada)
	y.agrees(y.dell)
	y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(1, "", 280_000)))
	y.allowed(25_000, 75_000)
	one, two := y.ready(y.heron, 0), y.ready(y.heron, 7)
	// 1,000.00, 100.00 held back, 200.00 of the deposit (2,800 x 1/14).
	first, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, one)
	y.do(err)
	if d := first.Document; d.DepositCredit != 20_000 || d.Holdback != 10_000 {
		t.Fatalf("the first invoice: %+v", d)
	}
	out := y.sent(y.heron, y.pans(y.heron, 9))

	// Of a stage under way the office must say what is earned.
	p := got(y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.EarlyStop}))(t)
	d := p.Draft
	d.Reason = "The owner moves abroad."
	y.ends(y.heron)(&d)
	p = got(y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version, d))(t)
	_, err = y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version)
	refused(t, err, journal.Invalid, signoff.EarnedField(two))
	y.ends(y.heron, signoff.Earned{StageID: two, Amount: 100_001})(&d)
	p = got(y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version, d))(t)
	_, err = y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version)
	refused(t, err, journal.Invalid, signoff.EarnedField(two)) // more than is left
	y.ends(y.heron, signoff.Earned{StageID: two, Amount: 40_000})(&d)
	d.Lines = []signoff.Line{{StageID: y.stage(y.heron, 10).ID, Kind: journal.Parts, Text: "Axle seals, handed over", Amount: 25_000}}
	p = got(y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version, d))(t)
	p = got(y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version))(t)

	v := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, p.ID))(t)
	x := v.Sheet.Stop
	// Agreed then: 1,000.00 + 400.00 + 250.00.
	if v.Sheet.AgreedBefore != 1_400_000 || v.Sheet.AgreedAfter != 165_000 || len(x.Stages) != 14 {
		t.Fatalf("shown: %+v", v.Sheet)
	}
	if st := x.Stages[7]; st.Agreed != 100_000 || st.Billed != 0 || st.Earned != 40_000 || st.NotDone != 60_000 || !st.Typed || !st.Open {
		t.Errorf("the stage under way: %+v", st)
	}
	if st := x.Stages[0]; st.Billed != 100_000 || st.Earned != 0 || st.NotDone != 0 || st.Open {
		t.Errorf("the stage that is billed: %+v", st)
	}
	// The release: 100.00, of which the deposit pays all: to date 2,800 x 1,000/1,650 =
	// 1,696.97 is to be credited, 200.00 is. The invoice: 650.00 + 12.50 tax, all paid by
	// the deposit, of which 2,800 - 200 - 100 - 662.50 = 1,837.50 is left. 700.00 of the
	// first invoice are open.
	want := []signoff.SheetDocument{
		{Kind: "holdback release", Holdback: -10_000, DepositCredit: 10_000},
		{Kind: "invoice", Subtotal: 65_000, Tax: 1_250, DepositCredit: 66_250},
	}
	if len(x.Documents) != 2 || x.Documents[0] != want[0] || x.Documents[1] != want[1] || x.DueBefore != 70_000 || x.DueAfter != 70_000 || x.DepositReturned != 183_750 || x.Owed != -113_750 {
		t.Errorf("shown of the money: %+v", x)
	}
	stale := y.form(y.ada, p, signoff.OutcomeSigned)

	// A delegate cannot end the build, nobody can by phone, and no open stage closes meanwhile.
	if err := y.sign(y.dell, p); journal.CodeOf(err) != journal.Forbidden {
		t.Errorf("a delegate ends the build: %v", err)
	}
	_, err = y.steps.RecordByPhone(y.ctx, y.office, y.heron, p.ID, y.called(p))
	refused(t, err, journal.Conflict)
	_, _, err = y.steps.CloseStage(y.ctx, y.office, y.heron, two)
	if journal.CodeOf(err) != journal.Invalid || !strings.Contains(journal.MessageOf(err), "Early stop 1") {
		t.Errorf("a stage was closed while the stop is out: %v", err)
	}

	// A payment changes what is due: the paper comes once more.
	y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(2, first.ID, 70_000)))
	_, err = y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, stale)
	refused(t, err, journal.Conflict)
	v = got(y.steps.PaperPage(y.ctx, y.office, y.heron, p.ID))(t)
	if v.Sheet.Revision != 2 || v.Sheet.Stop.DueBefore != 0 || v.Sheet.Stop.Owed != -183_750 || v.Changed() {
		t.Errorf("after the payment: revision %d, %+v", v.Sheet.Revision, v.Sheet.Stop)
	}

	y.do(y.sign(y.ada, p))
	b, s := y.view(y.heron).Build, y.statement(y.heron)
	if b.State != journal.Stopped || b.StoppedOn != "2026-04-14" {
		t.Errorf("the build: %+v", b)
	}
	if s.Agreed != 165_000 || s.Billed != 165_000 || s.ToBill != 0 || s.HeldBack != 0 || s.Stop != -1_235_000 || s.DepositUnearned != 183_750 || s.Due != 0 {
		t.Errorf("the statement: %+v", s)
	}
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	for i, inv := range m.Invoices[1:] {
		d := inv.Document
		if got := (signoff.SheetDocument{Kind: string(d.Kind), Subtotal: d.Subtotal, Tax: d.Tax, DepositCredit: d.DepositCredit, Holdback: d.Holdback, Payable: d.Payable}); got != want[i] {
			t.Errorf("issued %+v, shown %+v", got, want[i])
		}
	}
	for _, st := range y.view(y.heron).Stages {
		if st.State != journal.Closed {
			t.Errorf("%s is %s", st.Name, st.State)
		}
	}
	if v := got(y.steps.PaperPage(y.ctx, y.office, y.heron, out.ID))(t); v.Paper.State != signoff.Recalled {
		t.Errorf("the change order is %s", v.Paper.State)
	}
	if v := got(y.steps.AllowanceOf(y.ctx, y.office, y.heron))(t); v.InForce != nil {
		t.Error("the allowance goes on")
	}
	if e := got(y.steps.EndingOf(y.ctx, y.ada, y.heron))(t); e == nil || e.Paper != "Early stop 1" || e.Reason != "The owner moves abroad." {
		t.Errorf("the ending: %+v", e)
	}
	y.waits(y.heron, "us refund")
	y.holds()
	y.staysStopped(y.heron, one)

	// It can still be paid, and have entries.
	y.entry(y.jory, y.heron, journal.OwnerToo, "Loaded on the carrier", y.photo(y.jory, y.heron, 40, y.now))
	memo := got(y.steps.CancelInvoice(y.ctx, y.office, y.heron, m.Invoices[2].ID, "Wrong address."))(t)
	again := got(y.steps.BillChanges(y.ctx, y.office, y.heron))(t)
	if memo.Document.Subtotal != -65_000 || again.Document.Subtotal != 65_000 {
		t.Errorf("taken back %+v, billed anew %+v", memo.Document, again.Document)
	}
	y.holds()
}

// staysStopped tries all that a stopped build does not take any more.
func (y *yard) staysStopped(build journal.BuildID, closed journal.StageID) {
	y.t.Helper()
	refused(y.t, y.steps.OpenStage(y.ctx, y.jory, build, y.stage(build, 2).ID), journal.Conflict)
	refused(y.t, y.steps.ReopenStage(y.ctx, y.office, build, closed, "More work.", false), journal.Conflict)
	_, _, err := y.steps.CloseStage(y.ctx, y.office, build, y.stage(build, 2).ID)
	refused(y.t, err, journal.Conflict)
	refused(y.t, y.steps.TickCheck(y.ctx, y.jory, build, y.stage(build, 2).ID, "Odometer read", true), journal.Conflict)
	refused(y.t, y.steps.SaveDelivered(y.ctx, y.office, build, y.view(build).Build.Version, "2026-04-14"), journal.Conflict)
	refused(y.t, y.steps.StopUnsigned(y.ctx, y.office, build, flow.Stopping{Version: y.view(build).Build.Version, On: "2026-04-14", Reason: "Once more."}), journal.Conflict)
	for _, kind := range signoff.Kinds {
		if kind == signoff.EarlyStop {
			continue
		}
		_, err := y.steps.NewPaper(y.ctx, y.office, build, flow.PaperStart{Kind: kind})
		refused(y.t, err, journal.Conflict)
	}
}

func TestEarlyStop_DecliningLeavesAllAsItIs(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	before := y.statement(y.heron)
	p := y.paper(y.heron, signoff.EarlyStop, y.ends(y.heron))
	got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, y.form(y.ada, p, signoff.OutcomeDeclined)))(t)
	if after := y.statement(y.heron); after.Agreed != before.Agreed || after.Billed != 0 || y.view(y.heron).Build.State != journal.Agreed {
		t.Errorf("after declining: %+v", after)
	}
	y.ready(y.heron, 0)
	y.holds()
}

// Ended on a day to come, it is signed on that day at the earliest; signed by
// hand and sent by post, it counts as well.
func TestEarlyStop_OnItsDayAndOnPaper(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	p := y.paper(y.heron, signoff.EarlyStop, func(d *signoff.Draft) {
		y.ends(y.heron)(d)
		d.Stop.By, d.Stop.On = signoff.ShopsWish, "2026-04-15"
	})
	refused(t, y.sign(y.ada, p), journal.Conflict)
	y.now = y.now.AddDate(0, 0, 1)
	in := y.posted(p)
	in.On = "2026-04-15"
	got(y.steps.RecordOnPaper(y.ctx, y.office, y.heron, p.ID, in))(t)
	if b := y.view(y.heron).Build; b.State != journal.Stopped || b.StoppedOn != "2026-04-15" {
		t.Errorf("the build: %+v", b)
	}
	if s := y.statement(y.heron); s.Agreed != 0 || s.Billed != 0 || s.ToBill != 0 {
		t.Errorf("the statement: %+v", s)
	}
	y.holds()
}

// Before the agreement and after the delivery there is nothing to end.
func TestEarlyStop_HasItsPlace(t *testing.T) {
	y := newYard(t)
	_, err := y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.EarlyStop})
	refused(t, err, journal.Conflict)
	refused(t, y.steps.StopUnsigned(y.ctx, y.office, y.heron, flow.Stopping{Version: y.view(y.heron).Build.Version, On: "2026-04-14", Reason: "Enough."}), journal.Conflict)
	y.agree(y.heron)
	y.do(y.steps.SaveDelivered(y.ctx, y.office, y.heron, y.view(y.heron).Build.Version, "2026-04-14"))
	_, err = y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.EarlyStop})
	refused(t, err, journal.Conflict)
	refused(t, y.steps.StopUnsigned(y.ctx, y.office, y.heron, flow.Stopping{Version: y.view(y.heron).Build.Version, On: "2026-04-14", Reason: "Enough."}), journal.Conflict)
}

// Without a signature nothing is billed that was not (promise 7), and what was
// agreed stays (promise 5). A paper signed later settles it.
func TestStopUnsigned(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Crediting: billing.ProRata, HoldbackRate: 1000, DueDays: 10}))
	y.agree(y.heron)
	y.agrees(y.ada)
	one := y.ready(y.heron, 0)
	two := y.ready(y.heron, 7)
	_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, one)
	y.do(err)
	out := y.paper(y.heron, signoff.EarlyStop, y.ends(y.heron, signoff.Earned{StageID: two, Amount: 30_000}))
	before := y.statement(y.heron)
	stop := func(in flow.Stopping) error {
		in.Version = y.view(y.heron).Build.Version
		return y.steps.StopUnsigned(y.ctx, y.office, y.heron, in)
	}
	refused(t, stop(flow.Stopping{}), journal.Invalid, "stop_on", "reason")
	refused(t, stop(flow.Stopping{On: "2026-04-15", Reason: "No answer."}), journal.Invalid, "stop_on")
	refused(t, stop(flow.Stopping{On: "2026-02-01", Reason: "No answer."}), journal.Invalid, "stop_on")
	for _, a := range []flow.Actor{y.jory, y.ada, y.dell, y.ben} {
		refused(t, y.steps.StopUnsigned(y.ctx, a, y.heron, flow.Stopping{On: "2026-04-14", Reason: "No answer."}), journal.Forbidden)
	}
	y.do(stop(flow.Stopping{On: "2026-04-14", Reason: "No answer since March."}))
	after := y.statement(y.heron)
	if after.Agreed != before.Agreed || after.Billed != before.Billed || after.ToBill != before.ToBill || after.HeldBack != before.HeldBack || len(y.events(y.heron, "invoice issued")) != 1 {
		t.Errorf("before %+v\nafter %+v", before, after)
	}
	if v := got(y.steps.PaperPage(y.ctx, y.office, y.heron, out.ID))(t); v.Paper.State != signoff.Recalled {
		t.Errorf("the early stop that was out is %s", v.Paper.State)
	}
	if e := got(y.steps.EndingOf(y.ctx, y.ada, y.heron))(t); e.PaperID != "" || e.Reason != "No answer since March." {
		t.Errorf("the ending: %+v", e)
	}
	if _, err := y.steps.BillChanges(y.ctx, y.office, y.heron); journal.CodeOf(err) != journal.Conflict {
		t.Errorf("what was not done was billed: %v", err)
	}
	y.staysStopped(y.heron, one)
	y.waits(y.heron, "payment invoice", "us release")
	y.holds()

	// The owner comes back, and signs.
	p := y.paper(y.heron, signoff.EarlyStop, y.ends(y.heron, signoff.Earned{StageID: two, Amount: 30_000}))
	y.do(y.sign(y.ada, p))
	if s := y.statement(y.heron); s.Agreed != 130_000 || s.Billed != 130_000 || s.ToBill != 0 || s.HeldBack != 0 {
		t.Errorf("settled: %+v", s)
	}
	_, err = y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.EarlyStop})
	refused(t, err, journal.Conflict)
	y.holds()
}

// The owner signs the stop while the office closes a stage, thirty times at once:
// the stop counts once, and the stage is billed once, by the one or the other.
func TestEarlyStop_SignedWhileAStageCloses(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	stage := y.ready(y.heron, 0)
	p := y.paper(y.heron, signoff.EarlyStop, y.ends(y.heron, signoff.Earned{StageID: stage, Amount: 70_000}))
	form := y.form(y.ada, p, signoff.OutcomeSigned)
	steps := *y.steps
	steps.NewID = ids("race")
	var all sync.WaitGroup
	signs, closes := make([]error, 15), make([]error, 15)
	for i := range signs {
		all.Go(func() { _, signs[i] = steps.Decide(y.ctx, y.ada, y.heron, p.ID, form) })
		all.Go(func() { _, _, closes[i] = steps.CloseStage(y.ctx, y.office, y.heron, stage) })
	}
	all.Wait()
	for i := range signs {
		if signs[i] != nil {
			t.Errorf("signing the same again: %v", signs[i])
		}
		if code := journal.CodeOf(closes[i]); code != journal.Invalid && code != journal.Conflict {
			t.Errorf("closing: %v", closes[i])
		}
	}
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	if s := y.statement(y.heron); len(m.Invoices) != 1 || s.Billed != 70_000 || s.Agreed != 70_000 {
		t.Errorf("%d documents, %+v", len(m.Invoices), s)
	}
	y.holds()
}
