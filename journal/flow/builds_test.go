package flow_test

import (
	"encoding/json"
	"reflect"
	"slices"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

func TestCreateBuild_copiesThePlan(t *testing.T) {
	y := newYard(t)
	v := y.view(y.heron)
	plan := got(y.steps.Plans(y.ctx, y.office))(t)[0]
	if v.Build.State != journal.Scoping || v.Build.PlanName != plan.Name || len(v.Stages) != len(plan.Stages) {
		t.Fatalf("build is %+v with %d stages", v.Build, len(v.Stages))
	}
	for i, st := range v.Stages {
		p := plan.Stages[i]
		if st.Position != i+1 || st.Name != p.Name || st.PlannedDays != p.PlannedDays || st.State != journal.NotStarted ||
			st.Gate.Photos != p.Gate.Photos || !slices.Equal(st.Gate.Checks, p.Gate.Checks) || !slices.Equal(st.Cautions, p.Cautions) {
			t.Errorf("stage %d is %+v, want the plan's %+v", i, st, p)
		}
	}
	if v.Terms.Tax != (billing.Tax{}) || v.Terms.Deposit != 0 || v.Terms.HoldbackRate != 0 {
		t.Errorf("terms of a new build guess something: %+v", v.Terms)
	}
	plan.Stages = plan.Stages[:1]
	y.do(y.steps.SavePlan(y.ctx, y.office, plan))
	if n := len(y.view(y.heron).Stages); n != 14 {
		t.Errorf("an edit of the plan left the build with %d stages", n)
	}
}

func TestCreateBuild_refusesWithSentences(t *testing.T) {
	y := newYard(t)
	plan := got(y.steps.Plans(y.ctx, y.office))(t)[0].ID
	truck := journal.Truck{Make: "Calder", Unit: "miles"}
	for _, c := range []struct {
		reason string
		n      flow.NewBuild
		fields []string
	}{
		{"nothing typed", flow.NewBuild{}, []string{"nickname", "make", "unit", "plan"}},
		{"nickname of another, in other letters", flow.NewBuild{Nickname: "heRON", Truck: truck, PlanID: plan}, []string{"nickname"}},
		{"an owner cannot lead", flow.NewBuild{Nickname: "Bramble", Truck: truck, PlanID: plan, LeadID: y.ada.Person.ID}, []string{"lead"}},
		{"nobody of that id", flow.NewBuild{Nickname: "Bramble", Truck: truck, PlanID: plan, LeadID: "x"}, []string{"lead"}},
		{"two lines", flow.NewBuild{Nickname: "Bram\nble", Truck: truck, PlanID: plan}, []string{"nickname"}},
	} {
		t.Run(c.reason, func(t *testing.T) {
			_, err := y.steps.CreateBuild(y.ctx, y.office, c.n)
			refused(t, err, journal.Invalid, c.fields...)
		})
	}
	if n := len(got(y.steps.OfficeOverview(y.ctx, y.office))(t)); n != 2 {
		t.Errorf("%d builds after refusals, want 2", n)
	}
}

func change(b journal.Build) flow.BuildChange {
	return flow.BuildChange{
		Version: b.Version, Nickname: b.Nickname, Truck: b.Truck, LeadID: b.LeadID, ArrivedOn: b.ArrivedOn, ReadyOn: b.ReadyOn,
	}
}

func TestSaveBuild_twoPeopleAtOnce(t *testing.T) {
	y := newYard(t)
	first, second := change(y.view(y.heron).Build), change(y.view(y.heron).Build)
	first.Nickname, second.Truck.Colour = "Grey Heron", "Slate"
	y.do(y.steps.SaveBuild(y.ctx, y.office, y.heron, first))
	refused(t, y.steps.SaveBuild(y.ctx, y.office, y.heron, second), journal.Conflict)
	b := y.view(y.heron).Build
	if b.Nickname != "Grey Heron" || b.Truck.Colour != "" {
		t.Errorf("stored %+v", b)
	}
	second = change(b)
	second.Nickname = "juniper"
	refused(t, y.steps.SaveBuild(y.ctx, y.office, y.heron, second), journal.Invalid, "nickname")
}

func TestSaveBuild_readyDateMovesOnlyWhileScoping(t *testing.T) {
	y := newYard(t)
	c := change(y.view(y.heron).Build)
	c.ReadyOn = "2026-10-02"
	y.do(y.steps.SaveBuild(y.ctx, y.office, y.heron, c))
	y.agree(y.heron) // for 24 September
	c = change(y.view(y.heron).Build)
	c.ReadyOn = "2026-10-02"
	refused(t, y.steps.SaveBuild(y.ctx, y.office, y.heron, c), journal.Invalid, "ready_on")
	c.ReadyOn = "" // a form without the field
	y.do(y.steps.SaveBuild(y.ctx, y.office, y.heron, c))
	if b := y.view(y.heron).Build; b.ReadyOn != "2026-09-24" {
		t.Errorf("ready on %s", b.ReadyOn)
	}
}

func TestAddOwner_refuses(t *testing.T) {
	y := newYard(t)
	y.do(y.steps.EndPerson(y.ctx, y.office, y.ben.Person.ID))
	for _, c := range []struct {
		reason string
		n      flow.NewMember
		fields []string
	}{
		{"nobody", flow.NewMember{As: journal.AsOwner}, []string{"person"}},
		{"staff", flow.NewMember{PersonID: y.jory.Person.ID, As: journal.AsOwner}, []string{"person"}},
		{"ended account", flow.NewMember{PersonID: y.ben.Person.ID, As: journal.AsOwner}, []string{"person"}},
		{"member already", flow.NewMember{PersonID: y.ada.Person.ID, As: journal.AsOwner}, []string{"person"}},
		{"delegate named nowhere", flow.NewMember{PersonID: y.person("Noor Reed", journal.Owner).Person.ID, As: journal.AsDelegate}, []string{"named_by"}},
		{"neither", flow.NewMember{PersonID: y.person("Ivo Reed", journal.Owner).Person.ID}, []string{"as"}},
	} {
		t.Run(c.reason, func(t *testing.T) {
			refused(t, y.steps.AddOwner(y.ctx, y.office, y.heron, c.n), journal.Invalid, c.fields...)
		})
	}
}

func TestEndOwner_canComeBack(t *testing.T) {
	y := newYard(t)
	y.do(y.steps.EndOwner(y.ctx, y.office, y.heron, y.dell.Person.ID))
	_, err := y.steps.BuildShow(y.ctx, y.dell, y.heron)
	refused(t, err, journal.NotFound)
	refused(t, y.steps.EndOwner(y.ctx, y.office, y.heron, y.dell.Person.ID), journal.NotFound)
	y.do(y.steps.AddOwner(y.ctx, y.office, y.heron, flow.NewMember{PersonID: y.dell.Person.ID, As: journal.AsOwner}))
	if m := got(y.steps.BuildShow(y.ctx, y.dell, y.heron))(t).Mine; m == nil || m.As != journal.AsOwner {
		t.Errorf("membership is %+v", m)
	}
}

func TestBuildShow_ownersSeeNoAddresses(t *testing.T) {
	y := newYard(t)
	people := got(y.steps.BuildShow(y.ctx, y.ada, y.heron))(t).People
	for _, a := range []flow.Actor{y.jory, y.dell, y.ada} {
		p := people[a.Person.ID]
		if p.Name != a.Person.Name || p.PasswordHash != "" {
			t.Errorf("shown %+v", p)
		}
		if own := a.Person.ID == y.ada.Person.ID; own != (p.Email != "") || own != (p.Phone != "") {
			t.Errorf("shown address of %s: %q, %q", p.Name, p.Email, p.Phone)
		}
	}
	if p := y.view(y.heron).People[y.ada.Person.ID]; p.Email == "" || p.PasswordHash != "" {
		t.Errorf("the office is shown %+v", p)
	}
}

func TestSaveScope_allOrNothing(t *testing.T) {
	y := newYard(t)
	v := y.view(y.heron)
	first, second := rowOf(v.Stages[0]), rowOf(v.Stages[1])
	first.Value = journal.Split{Labour: 123_45, Parts: 600_00}
	second.PlannedDays, second.LeadID, second.PlannedFrom, second.PlannedTo = 0, y.ada.Person.ID, "2026-05-02", "2026-05-01"
	refused(t, y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{first, second}),
		journal.Invalid, "stages.1.days", "stages.1.to", "stages.1.lead")
	if st := y.stage(y.heron, 0); st.Value != (journal.Split{}) {
		t.Errorf("half a form was saved: %+v", st)
	}
	y.do(y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{first}))
	if st := y.stage(y.heron, 0); st.Value != first.Value {
		t.Errorf("value is %+v", st.Value)
	}
	refused(t, y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{first}), journal.Conflict)

	// Another build's stage looks like one that was dropped meanwhile.
	other := rowOf(y.stage(y.juniper, 0))
	refused(t, y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{other}), journal.Conflict)
}

func TestSaveScope_addsAndDropsStages(t *testing.T) {
	y := newYard(t)
	y.entry(y.jory, y.heron, journal.ShopOnly, "Came on a trailer.") // in Arrival
	v := y.view(y.heron)
	arrival, teardown := rowOf(v.Stages[0]), rowOf(v.Stages[1])
	arrival.Drop, teardown.Drop = true, true
	refused(t, y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{arrival, teardown}), journal.Invalid, "stages.0.drop")

	y.do(y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{
		teardown, {Name: "Winch and bumpers", PlannedDays: 4, Value: journal.Split{Parts: 90_000}},
		{Name: "Never mind", PlannedDays: 1, Drop: true},
	}))
	now := y.view(y.heron).Stages
	if len(now) != 14 || now[1].Name != "Re-estimate" || now[13].Name != "Winch and bumpers" || now[13].Value.Parts != 90_000 {
		t.Fatalf("stages are %+v", now)
	}
	for i, st := range now {
		if st.Position != i+1 {
			t.Errorf("%s stands at %d, want %d", st.Name, st.Position, i+1)
		}
	}

	y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, now[2].ID))
	opened := rowOf(y.stage(y.heron, 2))
	opened.Drop = true
	refused(t, y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{opened}), journal.Invalid, "stages.0.drop")

	var many []flow.StageScope
	for range 27 { // 14 + 27 = 41
		many = append(many, flow.StageScope{Name: "One more", PlannedDays: 1})
	}
	refused(t, y.steps.SaveScope(y.ctx, y.office, y.heron, many), journal.Invalid, "stages")

	var all []flow.StageScope
	for _, st := range y.view(y.juniper).Stages {
		row := rowOf(st)
		row.Drop = true
		all = append(all, row)
	}
	refused(t, y.steps.SaveScope(y.ctx, y.office, y.juniper, all), journal.Invalid, "stages")
}

func TestAgreement_fixesValuesAndTerms(t *testing.T) {
	y := newYard(t)
	terms := billing.Terms{Deposit: 500_000, Crediting: billing.ProRata, HoldbackRate: 500, Tax: billing.Tax{Parts: 625}, DueDays: 10}
	y.do(y.saveTerms(y.heron, terms))
	y.agree(y.heron)

	v := y.view(y.heron)
	row := rowOf(v.Stages[3])
	row.PlannedFrom, row.PlannedTo, row.LeadID = "2026-05-04", "2026-05-06", y.sam.Person.ID
	y.do(y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{row}))
	row = rowOf(y.stage(y.heron, 3))
	row.Value.Labour++
	refused(t, y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{row}), journal.Conflict)
	row.Value.Labour--
	row.Metered = true
	refused(t, y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{row}), journal.Conflict)
	edit := flow.StageChange{Version: row.Version, Name: row.Name, PlannedDays: row.PlannedDays, Metered: true}
	refused(t, y.steps.SaveStage(y.ctx, y.office, y.heron, row.StageID, edit), journal.Invalid, "pricing")
	row.Metered, row.Drop = false, true
	refused(t, y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{row}), journal.Conflict)
	refused(t, y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{{Name: "One more", PlannedDays: 1}}), journal.Conflict)

	changed := billing.Terms{Deposit: 1, Crediting: billing.ProRata, HoldbackRate: 501, Tax: billing.Tax{PerLine: true}, DueDays: 11}
	refused(t, y.saveTerms(y.heron, changed), journal.Invalid, "deposit", "holdback_rate", "due_days", "tax_basis")
	terms.Tax.Parts, terms.Tax.Labour = 650, 100
	y.do(y.saveTerms(y.heron, terms))
	if now := y.view(y.heron).Terms; !reflect.DeepEqual(now, terms) {
		t.Errorf("terms are %+v", now)
	}

	again := flow.Agreement{Version: y.view(y.heron).Build.Version, On: "2026-02-03", How: "by letter", ReadyOn: "2026-09-25"}
	refused(t, y.steps.RecordAgreement(y.ctx, y.office, y.heron, again), journal.Conflict)
}

// A paper that is out shows totals with tax; when the rates change, the owner
// can only sign the totals that will be billed.
func TestSaveTerms_renewsPapersThatAreOut(t *testing.T) {
	y := newYard(t)
	terms := billing.Terms{Crediting: billing.ProRata, Tax: billing.Tax{Parts: 625}, DueDays: 10}
	y.do(y.saveTerms(y.heron, terms))
	y.agree(y.heron)
	sent := y.sendPaper(y.heron, "")
	page := func() flow.PaperView { return got(y.steps.PaperPage(y.ctx, y.ada, y.heron, sent.ID))(t) }
	first := page()
	if first.Sheet.DeltaTax != 37_00 { // 6.25 % of 592.00 of parts
		t.Errorf("tax is %s", first.Sheet.DeltaTax)
	}
	y.do(y.saveTerms(y.heron, terms)) // the same rates
	if n := page().Paper.Revision; n != 1 {
		t.Errorf("the same rates made revision %d", n)
	}
	terms.Tax.Parts = 700
	y.do(y.saveTerms(y.heron, terms))
	second := page()
	if second.Paper.Revision != 2 || second.Sheet.DeltaTax != 41_44 || second.Sheet.Delta != first.Sheet.Delta {
		t.Errorf("renewed as revision %d with tax %s", second.Paper.Revision, second.Sheet.DeltaTax)
	}
	y.do(y.consent(y.ada))
	_, err := y.steps.Decide(y.ctx, y.ada, y.heron, sent.ID, flow.DecideInput{
		Outcome: signoff.OutcomeSigned, Revision: 1, SHA256: first.Revisions[0].SHA256, TypedName: "Ada Finch",
	})
	refused(t, err, journal.Conflict)
}

func TestRecordAgreement_keepsWhatWasAgreed(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 500_000, Crediting: billing.ProRata, DueDays: 10}))
	y.agree(y.heron)
	b := y.view(y.heron).Build
	if b.State != journal.Agreed || b.AgreedOn != "2026-02-02" || b.ReadyOn != "2026-09-24" || b.AgreedHow != "signed on paper, in the file" {
		t.Errorf("build is %+v", b)
	}
	events := y.events(y.heron, "agreement recorded")
	if len(events) != 1 || events[0].PersonID != y.office.Person.ID {
		t.Fatalf("events: %+v", events)
	}
	var detail struct {
		Total  int64
		Owners []string
		Stages []struct {
			Name  string
			Value map[string]int64
		}
		Terms struct{ Deposit int64 }
	}
	if err := json.Unmarshal([]byte(events[0].Detail), &detail); err != nil {
		t.Fatal(err)
	}
	// 14 stages of 1,000.00.
	if detail.Total != 1_400_000 || len(detail.Stages) != 14 || detail.Stages[13].Value["labour"] != 100_000 ||
		detail.Terms.Deposit != 500_000 || !slices.Equal(detail.Owners, []string{"Ada Finch"}) {
		t.Errorf("detail is %s", events[0].Detail)
	}
}

func TestRecordAgreement_refuses(t *testing.T) {
	y := newYard(t)
	g := flow.Agreement{Version: y.view(y.heron).Build.Version, On: "2026-02-02", How: "by letter", ReadyOn: "2026-09-24", Total: 1}
	refused(t, y.steps.RecordAgreement(y.ctx, y.office, y.heron, g), journal.Invalid) // no value yet
	row := rowOf(y.stage(y.heron, 0))
	row.Value.Parts = 1
	y.do(y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{row}))
	refused(t, y.steps.RecordAgreement(y.ctx, y.office, y.heron, g), journal.Conflict) // typed before that value
	g.Version++

	empty := flow.Agreement{Version: g.Version}
	refused(t, y.steps.RecordAgreement(y.ctx, y.office, y.heron, empty), journal.Invalid, "agreed_on", "agreed_how", "ready_on", "total")
	late := g
	late.On, late.ReadyOn = "2026-04-15", "2026-04-14" // it is 14 April at the shop
	refused(t, y.steps.RecordAgreement(y.ctx, y.office, y.heron, late), journal.Invalid, "agreed_on", "ready_on")
	for _, c := range []struct {
		name    string
		on      journal.Date
		ready   journal.Date
		beside  []string
		mention string
	}{
		{"signed in 1900, a slip", "1900-02-02", "2026-09-24", []string{"agreed_on"}, "1900-02-02"},
		{"ready in 2199, a slip", "2026-02-02", "2199-09-24", []string{"ready_on"}, "2199-09-24"},
		{"both before 2000", "1999-12-31", "1999-12-31", []string{"agreed_on", "ready_on"}, "1999-12-31"},
	} {
		far := g
		far.On, far.ReadyOn = c.on, c.ready
		err := y.steps.RecordAgreement(y.ctx, y.office, y.heron, far)
		refused(t, err, journal.Invalid, c.beside...)
		if said := journal.ProblemsOf(err)[c.beside[0]]; !strings.Contains(said, c.mention) || !strings.Contains(said, "check the year") {
			t.Errorf("%s: %q", c.name, said)
		}
	}
	for signed, says := range map[journal.Cents][]string{
		120_000: {"1,200.00", "0.01", "1,199.99 less"}, // a paper over 1,200.00, stages of one cent
		-1:      {"type the total before tax"},
	} {
		other := g
		other.Total = signed
		err := y.steps.RecordAgreement(y.ctx, y.office, y.heron, other)
		refused(t, err, journal.Invalid, "total")
		for _, part := range says {
			if said := journal.ProblemsOf(err)["total"]; !strings.Contains(said, part) {
				t.Errorf("signed %s: %q lacks %q", signed, said, part)
			}
		}
	}
	stale := g
	stale.Version--
	refused(t, y.steps.RecordAgreement(y.ctx, y.office, y.heron, stale), journal.Conflict)

	y.do(y.steps.EndOwner(y.ctx, y.office, y.heron, y.ada.Person.ID)) // the delegate alone cannot agree
	refused(t, y.steps.RecordAgreement(y.ctx, y.office, y.heron, g), journal.Invalid)
	if b := y.view(y.heron).Build; b.State != journal.Scoping {
		t.Errorf("build is %s", b.State)
	}
}

func TestSaveDelivered(t *testing.T) {
	y := newYard(t)
	deliver := func(on journal.Date) error {
		return y.steps.SaveDelivered(y.ctx, y.office, y.heron, y.view(y.heron).Build.Version, on)
	}
	refused(t, deliver("2026-04-14"), journal.Conflict)
	y.agree(y.heron)
	for _, on := range []journal.Date{"", "2026-04-15", "2026-01-08"} {
		refused(t, deliver(on), journal.Invalid, "delivered_on")
	}
	y.do(deliver("2026-04-14"))
	y.do(deliver("2026-04-13"))
	b := y.view(y.heron).Build
	if b.State != journal.Delivered || b.DeliveredOn != "2026-04-13" {
		t.Errorf("build is %+v", b)
	}
	c := change(b)
	c.ArrivedOn = "2026-04-14"
	refused(t, y.steps.SaveBuild(y.ctx, y.office, y.heron, c), journal.Invalid, "arrived_on")
}

func TestSaveStage(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	st := y.stage(y.heron, 1)
	y.do(y.steps.TickCheck(y.ctx, y.jory, y.heron, st.ID, st.Gate.Checks[0], true))
	c := flow.StageChange{
		Version: st.Version, Name: " Strip down ", PlannedDays: 9, PlannedFrom: "2026-05-04", LeadID: y.sam.Person.ID,
		Gate: journal.Gate{Photos: 3, Checks: []string{st.Gate.Checks[0], "", " Tags written "}}, Cautions: []string{"Ask the product's data sheet."},
	}
	y.do(y.steps.SaveStage(y.ctx, y.office, y.heron, st.ID, c))
	now := y.stage(y.heron, 1)
	if now.Name != "Strip down" || now.PlannedDays != 9 || now.Gate.Photos != 3 || now.Gate.Checks[1] != "Tags written" ||
		now.Value != st.Value || now.State != st.State || now.LeadID != y.sam.Person.ID {
		t.Errorf("stage is %+v", now)
	}
	v := got(y.steps.StageOf(y.ctx, y.office, y.heron, st.ID))(t)
	if !v.Gate.Checks[0].Done || v.Gate.Checks[1].Done {
		t.Errorf("ticks are %+v", v.Gate.Checks)
	}
	refused(t, y.steps.SaveStage(y.ctx, y.office, y.heron, st.ID, c), journal.Conflict)
	c.Version, c.Name, c.Gate.Checks, c.Gate.Photos = now.Version, "", []string{"a", "a"}, -1
	c.Cautions = []string{"one\ttab"}
	refused(t, y.steps.SaveStage(y.ctx, y.office, y.heron, st.ID, c), journal.Invalid, "name", "checks", "photos", "cautions")
	refused(t, y.steps.SaveStage(y.ctx, y.office, y.juniper, st.ID, c), journal.NotFound)
}

// How a stage is priced is chosen while scoping, on the scope or on the stage,
// and what it was is part of what is agreed.
func TestPricing_isChosenWhileScoping(t *testing.T) {
	y := newYard(t)
	row := rowOf(y.stage(y.heron, 3))
	row.Metered = true
	y.do(y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{row}))
	if st := y.stage(y.heron, 3); !st.Metered {
		t.Fatalf("stage is %+v", st)
	}
	// The value is missing on this stage alone: it would be a ceiling of nothing.
	other := rowOf(y.stage(y.heron, 4))
	other.Value.Labour = 50_000
	y.do(y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{other}))
	g := flow.Agreement{Version: y.view(y.heron).Build.Version, On: "2026-02-02", How: "by letter", ReadyOn: "2026-09-24", Total: 50_000}
	err := y.steps.RecordAgreement(y.ctx, y.office, y.heron, g)
	refused(t, err, journal.Invalid)
	if said := journal.MessageOf(err); !strings.Contains(said, y.stage(y.heron, 3).Name) {
		t.Errorf("the stage without a ceiling is not named: %s", said)
	}

	// Another stage turns to time and materials on its own page. Whoever read the
	// scope before has not agreed to that.
	st := y.stage(y.heron, 4)
	y.do(y.steps.SaveStage(y.ctx, y.office, y.heron, st.ID, flow.StageChange{Version: st.Version, Name: st.Name, PlannedDays: st.PlannedDays, Metered: true}))
	refused(t, y.steps.RecordAgreement(y.ctx, y.office, y.heron, g), journal.Conflict)
	row = rowOf(y.stage(y.heron, 3))
	row.Metered = false
	y.do(y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{row}))
	g.Version = y.view(y.heron).Build.Version
	y.do(y.steps.RecordAgreement(y.ctx, y.office, y.heron, g))

	var detail struct {
		Stages []struct{ Metered bool }
	}
	if err := json.Unmarshal([]byte(y.events(y.heron, "agreement recorded")[0].Detail), &detail); err != nil {
		t.Fatal(err)
	}
	if detail.Stages[3].Metered || !detail.Stages[4].Metered {
		t.Errorf("the record says %+v", detail.Stages)
	}
	// Days and dates of a metered stage can still change after the agreement.
	st = y.stage(y.heron, 4)
	y.do(y.steps.SaveStage(y.ctx, y.office, y.heron, st.ID, flow.StageChange{Version: st.Version, Name: st.Name, PlannedDays: 9, Metered: true}))
	st = y.stage(y.heron, 4)
	err = y.steps.SaveStage(y.ctx, y.office, y.heron, st.ID, flow.StageChange{Version: st.Version, Name: st.Name, PlannedDays: 9})
	refused(t, err, journal.Invalid, "pricing")
}
