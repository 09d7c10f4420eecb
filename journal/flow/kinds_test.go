package flow_test

import (
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// paper writes a paper of a kind and sends it; fill completes what it begins
// with.
func (y *yard) paper(build journal.BuildID, kind signoff.Kind, fill func(*signoff.Draft)) signoff.Paper {
	y.t.Helper()
	p := got(y.steps.NewPaper(y.ctx, y.office, build, flow.PaperStart{Kind: kind}))(y.t)
	d := p.Draft
	d.Reason = "As we spoke of."
	if d.Title == "" {
		d.Title = "A change"
	}
	fill(&d)
	p = got(y.steps.SavePaper(y.ctx, y.office, build, p.ID, p.Version, d))(y.t)
	return got(y.steps.SendPaper(y.ctx, y.office, build, p.ID, p.Version))(y.t)
}

func (y *yard) sign(a flow.Actor, p signoff.Paper) error {
	y.t.Helper()
	_, err := y.steps.Decide(y.ctx, a, p.BuildID, p.ID, y.form(a, p, signoff.OutcomeSigned))
	return err
}

func asItIs(*signoff.Draft) {}

func onDay(day journal.Date) func(*signoff.Draft) {
	return func(d *signoff.Draft) { d.ReadyOn = day }
}

// priced gives the n-th stage a value.
func (y *yard) priced(build journal.BuildID, n int, value journal.Split) {
	y.t.Helper()
	row := rowOf(y.stage(build, n))
	row.Value = value
	y.do(y.steps.SaveScope(y.ctx, y.office, build, []flow.StageScope{row}))
}

func TestAgreement_SigningItFixesTheBuild(t *testing.T) {
	y := newYard(t)
	y.agrees(y.ada)
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 100_000, Crediting: billing.ProRata, HoldbackRate: 500, DueDays: 14, Tax: billing.Tax{Parts: 625}}))
	p := got(y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.BuildAgreement}))(t)
	d := p.Draft
	d.Reason, d.ReadyOn = "Down to the frame and back.", "2026-09-24"
	p = got(y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version, d))(t)
	if _, err := y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version); journal.CodeOf(err) != journal.Invalid {
		t.Errorf("an agreement worth nothing was sent: %v", err)
	}
	if _, err := y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.BuildAgreement}); journal.CodeOf(err) != journal.Conflict {
		t.Errorf("a second agreement was begun: %v", err)
	}
	y.priced(y.heron, 0, journal.Split{Labour: 100_000, Parts: 40_000})
	y.priced(y.heron, 8, journal.Split{Labour: 900_000})
	p = got(y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version))(t)
	v := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, p.ID))(t)
	// 1,000.00 + 400.00 + 9,000.00; tax 6.25 % of 400.00 is 25.00.
	if s := v.Sheet; s.AgreedAfter != 1_040_000 || s.TotalAfter != 1_042_500 || s.AgreedBefore != 0 || s.DateAfter != "2026-09-24" ||
		s.Agreement.Deposit != 100_000 || s.Agreement.HoldbackRate != 500 || len(s.Agreement.Stages) != 14 {
		t.Errorf("shown: %+v", s)
	}
	stale := y.form(y.ada, p, signoff.OutcomeSigned)

	// A change of the scope makes the paper afresh; the one that was read cannot
	// be signed any more.
	y.priced(y.heron, 8, journal.Split{Labour: 950_000})
	if _, err := y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, stale); journal.CodeOf(err) != journal.Conflict {
		t.Errorf("the agreement as it was before the change: %v", err)
	}
	if err := y.sign(y.dell, p); journal.CodeOf(err) != journal.Forbidden {
		t.Errorf("a delegate signs the agreement: %v", err)
	}
	y.do(y.sign(y.ada, p))
	b := y.view(y.heron).Build
	if b.State != journal.Agreed || b.ReadyOn != "2026-09-24" || b.AgreedOn != "2026-04-14" || b.AgreedHow != "Build agreement 1, revision 2, signed on its page by Ada Finch" {
		t.Errorf("the build: %+v", b)
	}
	if total := y.agreedTotal(y.heron); total != 1_090_000 {
		t.Errorf("agreed %s", total)
	}
	row := rowOf(y.stage(y.heron, 8))
	row.Value = journal.Split{}
	err := y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{row})
	if journal.CodeOf(err) != journal.Conflict {
		t.Errorf("an agreed value was changed: %v", err)
	}
	if _, err := y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.BuildAgreement}); journal.CodeOf(err) != journal.Conflict {
		t.Errorf("a second agreement: %v", err)
	}
	if faults := y.checked(); len(faults) != 0 {
		t.Errorf("faults: %+v", faults)
	}
}

func TestBeforeTheAgreement_NothingElseIsWritten(t *testing.T) {
	y := newYard(t)
	for _, kind := range []signoff.Kind{signoff.ChangeOrder, signoff.DateChange, signoff.DeliveryAcceptance} {
		if _, err := y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: kind}); journal.CodeOf(err) != journal.Conflict {
			t.Errorf("a %s before the agreement: %v", kind, err)
		}
	}
	if _, err := y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: "letter"}); journal.CodeOf(err) != journal.Invalid {
		t.Errorf("an unknown kind: %v", err)
	}
}

// What 16 CCR 3353 (California) asks for before a teardown: its cost, that of
// reassembly, and the parts normally destroyed, authorized by the owner.
func TestTeardown_OpensOnlyWhenAuthorized(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	st := y.stage(y.heron, 1)
	if err := y.steps.OpenStage(y.ctx, y.jory, y.heron, st.ID); journal.CodeOf(err) != journal.Conflict {
		t.Fatalf("opened without leave: %v", err)
	}
	p := y.paper(y.heron, signoff.Teardown, func(d *signoff.Draft) { d.Reassembly, d.ReassemblyDays = 310_000, 7 })
	if err := y.steps.OpenStage(y.ctx, y.jory, y.heron, st.ID); journal.CodeOf(err) != journal.Conflict {
		t.Fatalf("opened while it is out: %v", err)
	}
	v := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, p.ID))(t)
	if td := v.Sheet.Teardown; v.Sheet.Stage.ID != st.ID || td.Cost != st.Value.Total() || td.Reassembly != 310_000 || len(td.Destroyed) != 3 {
		t.Errorf("shown: %+v", v.Sheet)
	}
	before := y.agreedTotal(y.heron)
	y.do(y.sign(y.ada, p))
	if after := y.agreedTotal(y.heron); after != before {
		t.Errorf("leave to take it apart moved the total from %s to %s", before, after)
	}
	y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, st.ID))
}

func TestTeardown_DeclinedKeepsItShut(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	p := y.paper(y.heron, signoff.Teardown, asItIs)
	got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, y.form(y.ada, p, signoff.OutcomeDeclined)))(t)
	if err := y.steps.OpenStage(y.ctx, y.jory, y.heron, y.stage(y.heron, 1).ID); journal.CodeOf(err) != journal.Conflict {
		t.Fatalf("opened after it was declined: %v", err)
	}
	y.paper(y.heron, signoff.Teardown, asItIs) // asked again
}

// A change order over several stages bills with each of them.
func TestChange_OverSeveralStages(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	one, two := y.ready(y.heron, 7), y.ready(y.heron, 8)
	p := y.paper(y.heron, signoff.ChangeOrder, func(d *signoff.Draft) {
		d.StageID = one
		d.Lines = []signoff.Line{
			{Kind: journal.Labour, Text: "Sill", Minutes: 600, Rate: 9500},
			{StageID: two, Kind: journal.Parts, Text: "Crossmember", Amount: 61_000},
			{StageID: one, Kind: journal.Parts, Text: "Sill panel", Amount: 8_000},
		}
	})
	before := y.agreedTotal(y.heron)
	for _, stage := range []journal.StageID{one, two} {
		if g := got(y.steps.StageOf(y.ctx, y.office, y.heron, stage))(t).Gate; len(g.PapersOut) != 1 {
			t.Errorf("%d papers hold stage %s", len(g.PapersOut), stage)
		}
	}
	y.do(y.sign(y.ada, p))
	// 10 h x 95.00 + 80.00 on the first, 610.00 on the second.
	if after := y.agreedTotal(y.heron); after != before+103_000+61_000 {
		t.Errorf("agreed %s after %s", after, before)
	}
	value := y.stage(y.heron, 8).Value.Total()
	inv, billed, err := y.steps.CloseStage(y.ctx, y.office, y.heron, two)
	y.do(err)
	if !billed || inv.Document.Subtotal != value+61_000 {
		t.Errorf("the second stage bills %+v", inv.Document)
	}
	value = y.stage(y.heron, 7).Value.Total()
	inv, _, err = y.steps.CloseStage(y.ctx, y.office, y.heron, one)
	y.do(err)
	if inv.Document.Subtotal != value+103_000 {
		t.Errorf("the first stage bills %+v", inv.Document)
	}
}

func TestDateChange_MovesTheDateAlone(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	before := y.agreedTotal(y.heron)
	change := y.sent(y.heron, y.pans(y.heron, 8)) // out at the same time
	p := y.paper(y.heron, signoff.DateChange, func(d *signoff.Draft) { d.Days = 6 })
	y.do(y.sign(y.ada, p))
	// See TestDecide_SigningMovesTotalAndDate for the day.
	if b := y.view(y.heron).Build; b.ReadyOn != "2026-10-02" || y.agreedTotal(y.heron) != before {
		t.Errorf("ready on %s, agreed %s", b.ReadyOn, y.agreedTotal(y.heron))
	}
	// The other paper's date was worked out before, so it came once more: six
	// working days on from Friday 2 October, with Columbus Day on Monday 12
	// (5 U.S.C. 6103), is Tuesday 13.
	v := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, change.ID))(t)
	if v.Sheet.Revision != 2 || v.Sheet.DateBefore != "2026-10-02" || v.Sheet.DateAfter != "2026-10-13" {
		t.Errorf("the other paper: revision %d, %s to %s", v.Sheet.Revision, v.Sheet.DateBefore, v.Sheet.DateAfter)
	}
}

func TestAcceptance_DeliversAndReleases(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Crediting: billing.ProRata, HoldbackRate: 1000, DueDays: 10}))
	y.agree(y.heron)
	y.agrees(y.ada)
	y.do(y.sign(y.ada, y.paper(y.heron, signoff.Teardown, asItIs)))
	for n, st := range y.view(y.heron).Stages {
		y.ready(y.heron, n)
		_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, st.ID)
		y.do(err)
	}
	held := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t).Statement.HeldBack
	if held == 0 {
		t.Fatal("nothing is held back")
	}
	out := y.sent(y.heron, y.pans(y.heron, 8))
	p := got(y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.DeliveryAcceptance}))(t)
	d := p.Draft
	d.HandedOver, d.DeliveredOn, d.Odometer = []string{"Two keys"}, "2026-04-16", 88_230
	p = got(y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version, d))(t)
	if _, err := y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version); journal.CodeOf(err) != journal.Conflict {
		t.Errorf("sent while a change order is out: %v", err)
	}
	y.do(y.steps.RecallPaper(y.ctx, y.office, y.heron, out.ID))
	p = got(y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version))(t)
	if err := y.sign(y.ada, p); journal.CodeOf(err) != journal.Conflict {
		t.Errorf("accepted before the handover: %v", err)
	}
	y.now = y.now.AddDate(0, 0, 2)
	y.do(y.sign(y.ada, p))
	b, m := y.view(y.heron).Build, got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	if b.State != journal.Delivered || b.DeliveredOn != "2026-04-16" {
		t.Errorf("the build: %+v", b)
	}
	if m.Statement.HeldBack != 0 || m.Invoices[len(m.Invoices)-1].Document.Payable != held {
		t.Errorf("%s of %s is still held back", m.Statement.HeldBack, held)
	}
	if err := m.Statement.Check(); err != nil {
		t.Error(err)
	}
}

func TestPowers_OnlyAnOwnerGivesThem(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	y.agrees(y.dell)
	give := func(d *signoff.Draft) {
		d.StageID = y.stage(y.heron, 8).ID
		d.Delegate = &signoff.Delegate{Name: "Cleo Marsh", Email: "cleo@example.org"}
		d.Allowance = &signoff.Limits{PerFind: 25_000, PerMonth: 75_000}
	}
	p := y.paper(y.heron, signoff.ChangeOrder, give)
	if err := y.sign(y.dell, p); journal.CodeOf(err) != journal.Forbidden {
		t.Fatalf("a delegate gives powers: %v", err)
	}
	before := y.agreedTotal(y.heron)
	y.do(y.sign(y.ada, p))
	if y.agreedTotal(y.heron) != before {
		t.Error("powers moved the total")
	}
	var cleo *journal.Member
	for _, m := range y.view(y.heron).Members {
		if m.PaperID == p.ID {
			cleo = &m
		}
	}
	if cleo == nil || cleo.As != journal.AsDelegate || cleo.NamedBy != "Change order 1, revision 1" {
		t.Fatalf("the delegate: %+v", cleo)
	}
	// A later paper tells what the allowance has left.
	change := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, y.sent(y.heron, y.pans(y.heron, 8)).ID))(t)
	if s := change.Sheet.Standing; s == nil || s.PerFind != 25_000 || s.Left != 75_000 || s.Month != "2026-04" {
		t.Errorf("the standing allowance on a later paper: %+v", s)
	}
	// Somebody of the shop is nobody's delegate.
	p = got(y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.ChangeOrder}))(t)
	d := p.Draft
	give(&d)
	d.Title, d.Reason, d.Delegate.Email = "Delegate", "Asked for.", y.jory.Person.Email
	p = got(y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version, d))(t)
	if _, err := y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version); journal.CodeOf(err) != journal.Invalid {
		t.Errorf("a technician as delegate: %v", err)
	}
}

// After the teardown the office is led to renew the estimate.
func TestWaits_reEstimate(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	y.ready(y.heron, 0)
	_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, y.stage(y.heron, 0).ID)
	y.do(err)
	y.waits(y.heron, "payment invoice", "us authorization")
	p := y.paper(y.heron, signoff.Teardown, asItIs)
	y.waits(y.heron, "owner decision", "payment invoice")
	y.do(y.sign(y.ada, p))
	y.waits(y.heron, "payment invoice", "us start")
	st := y.stage(y.heron, 1)
	y.do(y.steps.SaveStage(y.ctx, y.office, y.heron, st.ID, flow.StageChange{Version: st.Version, Name: st.Name, PlannedDays: st.PlannedDays, Teardown: true}))
	y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, st.ID))
	_, _, err = y.steps.CloseStage(y.ctx, y.office, y.heron, st.ID)
	y.do(err)
	y.waits(y.heron, "payment invoice", "payment invoice", "us re-estimate", "us start")
	estimate := got(y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.ChangeOrder, ReEstimate: true}))(t)
	y.waits(y.heron, "payment invoice", "payment invoice", "us draft", "us start")
	// That the estimate stands is worth a paper too.
	d := estimate.Draft
	d.Reason, d.StageID = "All is as we expected.", y.stage(y.heron, 2).ID
	estimate = got(y.steps.SavePaper(y.ctx, y.office, y.heron, estimate.ID, estimate.Version, d))(t)
	estimate = got(y.steps.SendPaper(y.ctx, y.office, y.heron, estimate.ID, estimate.Version))(t)
	before := y.agreedTotal(y.heron)
	y.do(y.sign(y.ada, estimate))
	if y.agreedTotal(y.heron) != before {
		t.Error("an estimate that stands moved the total")
	}
}
