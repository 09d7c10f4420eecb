package flow_test

import (
	"slices"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

func (y *yard) glance(build journal.BuildID) flow.Glance {
	y.t.Helper()
	return got(y.steps.BuildGlance(y.ctx, y.office, build))(y.t)
}

// kinds lists what a build waits for, each with whom it waits on.
func kinds(waits []flow.Wait) []string {
	var list []string
	for _, w := range waits {
		list = append(list, string(w.On)+" "+string(w.For))
	}
	return list
}

func (y *yard) waits(build journal.BuildID, want ...string) []flow.Wait {
	y.t.Helper()
	waits := y.glance(build).Waits
	if !slices.Equal(kinds(waits), want) {
		y.t.Fatalf("waits are %q, want %q", kinds(waits), want)
	}
	return waits
}

// The life of a build, and what it waits on at each turn.
func TestWaits_throughABuild(t *testing.T) {
	y := newYard(t)
	y.waits(y.heron, "us agreement")
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 200_000, Crediting: billing.ProRata, HoldbackRate: 1000, DueDays: 10}))
	y.agree(y.heron) // signed on 2 February

	w := y.waits(y.heron, "payment deposit", "us start")
	// 2 February to 14 April is 26 + 31 + 14 = 71 days.
	if w[0].Amount != 200_000 || w[0].Days != 71 || w[1].Stage.Name != "Arrival" || w[1].Days != 71 {
		t.Errorf("waits %+v", w)
	}
	y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, journal.Payment{ID: "form-number-of-the-deposit", Amount: 150_000, On: "2026-04-14", Means: journal.Wire}))
	if w := y.waits(y.heron, "payment deposit", "us start"); w[0].Amount != 50_000 {
		t.Errorf("deposit still to come: %s", w[0].Amount)
	}
	y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, journal.Payment{ID: "form-number-of-its-rest", Amount: 50_000, On: "2026-04-14", Means: journal.Wire}))

	// The first stage, planned for two days, with a gate of one photo and one check.
	st := y.stage(y.heron, 0)
	y.do(y.steps.SaveStage(y.ctx, y.office, y.heron, st.ID, flow.StageChange{
		Version: st.Version, Name: st.Name, PlannedDays: 2, PlannedTo: "2026-04-16", Gate: journal.Gate{Photos: 1, Checks: []string{"Typed in"}},
	}))
	y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, st.ID))
	y.waits(y.heron) // work goes on
	y.now = y.now.AddDate(0, 0, 2)
	if w := y.waits(y.heron, "us gate"); len(w[0].Missing) != 2 || w[0].Late != 0 { // both days are gone
		t.Errorf("gate %+v", w[0])
	}
	y.now = y.now.AddDate(0, 0, 1) // 17 April, one day late
	if w := y.waits(y.heron, "us gate"); w[0].Late != 1 || w[0].Days != 1 {
		t.Errorf("late gate %+v", w[0])
	}
	y.entry(y.jory, y.heron, journal.OwnerToo, "Here it is", y.photo(y.jory, y.heron, 1, time.Time{}))
	y.do(y.steps.TickCheck(y.ctx, y.jory, y.heron, st.ID, "Typed in", true))
	if w := y.waits(y.heron, "us close"); w[0].Stage.ID != st.ID || w[0].Days != 0 {
		t.Errorf("close %+v", w[0])
	}

	inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, st.ID)
	y.do(err)
	y.now = y.now.AddDate(0, 0, 12) // due after 10
	w = y.waits(y.heron, "payment invoice", "us authorization")
	if w[0].Invoice.ID != inv.ID || w[0].Amount != inv.Document.Payable || w[0].Days != 12 || w[0].Late != 2 || w[1].Stage.Name != "Teardown" || w[1].Days != 12 {
		t.Errorf("waits %+v", w)
	}
	if due := y.glance(y.heron).MoneyDue; due != inv.Document.Payable {
		t.Errorf("due %s, want %s", due, inv.Document.Payable)
	}
	y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, journal.Payment{ID: "form-number-of-invoice-1", InvoiceID: inv.ID, Amount: inv.Document.Payable, On: "2026-04-29", Means: journal.Cheque}))
	y.waits(y.heron, "us authorization")

	y.do(y.steps.SaveDelivered(y.ctx, y.office, y.heron, y.view(y.heron).Build.Version, "2026-04-29"))
	// 10 % of 1,000.00 was held back.
	if w := y.waits(y.heron, "us release"); w[0].Amount != 10_000 {
		t.Errorf("to release: %s", w[0].Amount)
	}
}

func TestWaits_papers(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, y.stage(y.heron, 4).ID))
	draft := got(y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.ChangeOrder}))(t)
	if w := y.waits(y.heron, "us draft"); w[0].Paper.Paper.ID != draft.ID {
		t.Errorf("draft is %+v", w[0].Paper)
	}
	sent := y.sendPaper(y.heron, "")
	y.now = y.now.AddDate(0, 0, 2)
	if w := y.waits(y.heron, "owner decision", "us draft"); w[0].Paper.Paper.ID != sent.ID || w[0].Days != 2 || w[0].Paper.Sheet.Delta != 230_200 {
		t.Errorf("decision is %+v", w[0])
	}
	y.do(y.steps.Ask(y.ctx, y.ada, y.heron, sent.ID, "Could the old pans be patched?"))
	y.now = y.now.AddDate(0, 0, 3)
	w := y.waits(y.heron, "us draft", "us answer")
	if w[1].Days != 3 || w[1].Question.Text != "Could the old pans be patched?" || w[1].Paper.Paper.ID != sent.ID {
		t.Errorf("answer is %+v", w[1])
	}
	y.do(y.steps.Answer(y.ctx, y.office, y.heron, sent.ID, w[1].Question.ID, "No, too thin."))
	y.waits(y.heron, "owner decision", "us draft")
	y.do(y.steps.RecallPaper(y.ctx, y.office, y.heron, sent.ID))
	y.waits(y.heron, "us draft", "us draft")
}

func TestWaits_signedChangeOnAClosedStage(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	last := y.stage(y.heron, 13) // bears the change
	y.do(y.steps.SaveStage(y.ctx, y.office, y.heron, last.ID, flow.StageChange{Version: last.Version, Name: last.Name, PlannedDays: 3}))
	y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, last.ID))
	_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, last.ID)
	y.do(err)
	p := y.sendPaper(y.heron, "")
	y.do(y.consent(y.ada))
	rev := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, p.ID))(t).Revisions[0]
	got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, flow.DecideInput{
		Outcome: signoff.OutcomeSigned, Revision: rev.Number, SHA256: rev.SHA256, TypedName: "Ada Finch",
	}))(t)
	y.now = y.now.AddDate(0, 0, 4)
	w := y.waits(y.heron, "payment invoice", "us start", "us billing")
	if w[2].Amount != 230_200 || w[2].Days != 4 {
		t.Errorf("to bill: %+v", w[2])
	}
	if line := y.glance(y.heron).Stages[13]; line.Changes != 230_200 {
		t.Errorf("changes of the stage: %s", line.Changes)
	}
}

func TestWaits_truckNotHere(t *testing.T) {
	y := newYard(t)
	id := y.build("Bramble", "", y.ada)
	y.agree(id)
	y.waits(id, "owner truck")
}

// The floor is told what there is to do and nothing about money.
func TestFloorOverview_noMoney(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 200_000, Crediting: billing.ProRata}))
	y.agree(y.heron)
	y.photo(y.sam, y.heron, 1, time.Time{})
	all := got(y.steps.FloorOverview(y.ctx, y.sam))(t)
	if len(all) != 2 || all[0].Build.Nickname != "Heron" || all[1].Build.Nickname != "Juniper" {
		t.Fatalf("builds are %+v", all)
	}
	g := all[0]
	if !slices.Equal(kinds(g.Waits), []string{"us start"}) || g.MoneyDue != 0 || g.Loose != 1 || g.Mine || g.Photos != 1 {
		t.Errorf("the floor sees %+v", g)
	}
	if g := got(y.steps.FloorOverview(y.ctx, y.jory))(t)[0]; !g.Mine || g.Loose != 0 {
		t.Errorf("who leads sees %+v", g)
	}
}

func TestQuietDays(t *testing.T) {
	y := newYard(t)                                                                   // a build is quiet after 7 days; it is 14 April
	if g := y.glance(y.heron); g.QuietFor != 95 || !g.Quiet || !g.LastNews.IsZero() { // since 9 January: 22 + 28 + 31 + 14
		t.Errorf("no news ever: %d, %v", g.QuietFor, g.Quiet)
	}
	y.now = time.Date(2026, 4, 15, 5, 30, 0, 0, time.UTC) // still the 14th in Denver
	y.entry(y.jory, y.heron, journal.ShopOnly, "Not for the owner")
	if g := y.glance(y.heron); g.QuietFor != 95 {
		t.Errorf("shop-only entries are no news: %d", g.QuietFor)
	}
	y.entry(y.jory, y.heron, journal.OwnerToo, "Primer is on")
	for _, c := range []struct {
		at    time.Time
		days  int
		quiet bool
	}{
		{y.now, 0, false},
		{time.Date(2026, 4, 15, 18, 0, 0, 0, time.UTC), 1, false},
		{time.Date(2026, 4, 21, 5, 59, 0, 0, time.UTC), 6, false}, // 11:59 pm on the 20th in Denver
		{time.Date(2026, 4, 21, 6, 0, 0, 0, time.UTC), 7, true},
	} {
		y.now = c.at
		if g := y.glance(y.heron); g.QuietFor != c.days || g.Quiet != c.quiet {
			t.Errorf("at %s: %d days, quiet %v, want %d, %v", c.at, g.QuietFor, g.Quiet, c.days, c.quiet)
		}
	}
	y.agree(y.heron)
	y.do(y.steps.SaveDelivered(y.ctx, y.office, y.heron, y.view(y.heron).Build.Version, "2026-04-20"))
	if g := y.glance(y.heron); g.Quiet || g.QuietFor != 0 {
		t.Error("a delivered build is quiet")
	}
}

func TestOfficeOverview_worstFirst(t *testing.T) {
	y := newYard(t)
	names := func() (list []string) {
		for _, g := range got(y.steps.OfficeOverview(y.ctx, y.office))(t) {
			list = append(list, g.Build.Nickname)
		}
		return list
	}
	y.entry(y.jory, y.heron, journal.OwnerToo, "News")
	// Heron has news, Juniper is quiet since it arrived.
	if got, want := names(), []string{"Juniper", "Heron"}; !slices.Equal(got, want) {
		t.Errorf("order is %q, want %q", got, want)
	}
	// Something late comes before something quiet.
	y.agree(y.heron)
	st := y.stage(y.heron, 0)
	y.do(y.steps.SaveStage(y.ctx, y.office, y.heron, st.ID, flow.StageChange{
		Version: st.Version, Name: st.Name, PlannedDays: 2, PlannedTo: "2026-04-10", Gate: journal.Gate{Photos: 5},
	}))
	y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, st.ID))
	if got, want := names(), []string{"Heron", "Juniper"}; !slices.Equal(got, want) {
		t.Errorf("order is %q, want %q", got, want)
	}
	// Delivered and settled comes last.
	y.do(y.steps.SaveDelivered(y.ctx, y.office, y.heron, y.view(y.heron).Build.Version, "2026-04-14"))
	if got, want := names(), []string{"Juniper", "Heron"}; !slices.Equal(got, want) {
		t.Errorf("order is %q, want %q", got, want)
	}
	g := y.glance(y.juniper)
	if !slices.Equal(g.Owners, []string{"Ben Marsh"}) || !g.SeenAt.IsZero() {
		t.Errorf("owners %q, seen %s", g.Owners, g.SeenAt)
	}
	got(y.steps.Look(y.ctx, y.ben, y.juniper))(t)
	if g := y.glance(y.juniper); !g.SeenAt.Equal(y.now) {
		t.Errorf("seen %s", g.SeenAt)
	}
}

func TestGlance_shareOfPlannedDays(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	st := y.stage(y.heron, 4) // Fabrication, 12 days planned
	y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, st.ID))
	for _, c := range []struct {
		day        int // of April and on
		gone, done int
	}{
		{14, 0, 0}, {15, 1, 8}, {17, 3, 25}, {18, 3, 25}, {20, 4, 33}, // the 18th is a Saturday
		{30, 12, 100}, {40, 18, 100},
	} {
		y.now = time.Date(2026, 4, c.day, 18, 0, 0, 0, time.UTC)
		if line := y.glance(y.heron).Stages[4]; line.Gone != c.gone || line.Done != c.done {
			t.Errorf("on day %d: %d days, %d per cent, want %d, %d", c.day, line.Gone, line.Done, c.gone, c.done)
		}
	}
}

func TestLook_newSince(t *testing.T) {
	y := newYard(t)
	look := func() time.Time { return got(y.steps.Look(y.ctx, y.ada, y.heron))(t) }
	if since := look(); !since.IsZero() {
		t.Errorf("a first visit has %s", since)
	}
	first := y.now
	y.now = first.Add(20 * time.Second) // within the same visit, not written down
	if since := look(); !since.IsZero() {
		t.Errorf("20 s later: %s", since)
	}
	if seen := y.glance(y.heron).SeenAt; !seen.Equal(first) {
		t.Errorf("a look within a minute was written down: %s", seen)
	}
	y.now = first.Add(10 * time.Minute)
	lastLook := y.now
	y.entry(y.jory, y.heron, journal.OwnerToo, "Seen already")
	if o := got(y.steps.OwnerOverview(y.ctx, y.ada, y.heron, look()))(t); o.New != 0 || !o.Since.IsZero() {
		t.Errorf("on a first visit %d are new", o.New)
	}
	y.now = first.Add(2 * time.Hour)
	y.entry(y.jory, y.heron, journal.OwnerToo, "News")
	y.entry(y.jory, y.heron, journal.ShopOnly, "Not for them")
	y.now = first.Add(48 * time.Hour)
	if home := got(y.steps.OwnerHome(y.ctx, y.ada))(t); len(home) != 1 || home[0].New != 1 || !home[0].Since.Equal(lastLook) {
		t.Errorf("at home: %+v", home[0].Since)
	}
	for range 3 { // looking again within the visit does not use it up
		if since := look(); !since.Equal(lastLook) {
			t.Errorf("two days later: %s, want %s", since, lastLook)
		}
		y.now = y.now.Add(5 * time.Minute)
	}
	if o := got(y.steps.OwnerOverview(y.ctx, y.ada, y.heron, lastLook))(t); o.New != 1 {
		t.Errorf("%d new, want 1", o.New)
	}
}

func TestOwnerOverview(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 200_000, Crediting: billing.ProRata, Tax: billing.Tax{Parts: 625}, DueDays: 10}))
	y.agree(y.heron)
	p := y.photo(y.jory, y.heron, 1, time.Time{})
	e := y.entry(y.jory, y.heron, journal.OwnerToo, "Rust", p)
	y.photo(y.jory, y.heron, 2, time.Time{})
	got(y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.ChangeOrder}))(t) // a draft
	sent := y.sendPaper(y.heron, e.ID)
	y.do(y.steps.Ask(y.ctx, y.ada, y.heron, sent.ID, "Why?"))
	for _, who := range []flow.Actor{y.ada, y.dell, y.office, y.sam} {
		o := got(y.steps.OwnerOverview(y.ctx, who, y.heron, time.Time{}))(t)
		if len(o.Papers) != 1 || o.Papers[0].Paper.ID != sent.ID || o.Papers[0].Sheet.DeltaWithTax != 233_900 ||
			len(o.Papers[0].Paper.Draft.Lines) != 0 || len(o.Asked) != 1 || !o.Waits() || o.DepositDue != 200_000 ||
			o.Photos != 1 || o.Newest == nil || o.Newest.ID != p.ID || o.Newest.FileName != "" || o.NewestIn.ID != e.ID ||
			o.Statement.Agreed != 1_400_000 || o.Stages[0].Gate.PhotosWanted != 0 {
			t.Errorf("%s is shown %+v", who.Person.Name, o)
		}
		if isMember := !who.Person.Role.Staff(); (o.Mine != nil) != isMember {
			t.Errorf("%s: membership %v", who.Person.Name, o.Mine)
		}
	}
	before := y.now
	y.now = y.now.Add(time.Hour)
	y.do(y.steps.Answer(y.ctx, y.office, y.heron, sent.ID, got(y.steps.PaperPage(y.ctx, y.ada, y.heron, sent.ID))(t).Questions[0].ID, "Because."))
	o := got(y.steps.OwnerOverview(y.ctx, y.ada, y.heron, before))(t)
	if len(o.Asked) != 0 || len(o.Answered) != 1 || o.Answered[0].Question.Answer != "Because." || o.Answered[0].Paper.Sheet.Title != "Both front floor pans" {
		t.Errorf("asked %+v, answered %+v", o.Asked, o.Answered)
	}
}

// consent gives a person's agreement to electronic records.
func (y *yard) consent(a flow.Actor) error {
	return y.steps.GiveConsent(y.ctx, a, "1", signoff.Hash([]byte("disclosures")), flow.TestWord(a.Person.ID, "1"))
}
