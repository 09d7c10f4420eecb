package flow_test

import (
	"regexp"
	"slices"
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
)

func TestShippedPlan_isValidAndInTheTradesOrder(t *testing.T) {
	p := flow.ShippedPlan()
	if err := p.Validate(); err != nil {
		t.Fatal(err)
	}
	at := func(name string) int {
		i := slices.IndexFunc(p.Stages, func(s journal.PlanStage) bool { return s.Name == name })
		if i < 0 {
			t.Fatalf("there is no stage %q", name)
		}
		return i
	}
	// Common practice, no source; each with its reason.
	for _, c := range []struct{ first, then, reason string }{
		{"Arrival", "Teardown", "how it came is photographed before anything is touched"},
		{"Teardown", "Re-estimate", "what is hidden is priced once it can be seen"},
		{"Re-estimate", "Body off", "the owner decides before the big work begins"},
		{"Body off", "Strip and blast", "frame and tub are blasted apart"},
		{"Fabrication", "Frame and coat", "nothing is welded to a finished frame"},
		{"Strip and blast", "Frame and coat", "the coat goes on bare metal"},
		{"Plating", "Assembly", "plated parts are away longest and wanted at assembly"},
		{"Body metal", "Paint and liner", "metal is done before paint"},
		{"Paint and liner", "Assembly", "trim goes on paint"},
		{"Mechanical", "Assembly", "the rolling chassis takes the body"},
		{"Assembly", "Road test", "a whole truck is driven"},
		{"Road test", "Delivery", "faults are sorted before the owner finds them"},
	} {
		if at(c.first) >= at(c.then) {
			t.Errorf("%s must come before %s: %s", c.first, c.then, c.reason)
		}
	}
}

func TestShippedPlan_daysAndGates(t *testing.T) {
	total, road := 0, 0
	for _, s := range flow.ShippedPlan().Stages {
		total += s.PlannedDays
		if s.Name == "Road test" {
			road = s.PlannedDays
		}
		if s.Gate.Photos < 1 || len(s.Gate.Checks) < 2 {
			t.Errorf("%s: a stage asks for photos and more than one check, has %+v", s.Name, s.Gate)
		}
	}
	// A published account of one off-road truck: 1,500 hours in nine months,
	// which is about 190 working days.
	if total < 160 || total > 220 {
		t.Errorf("planned days add up to %d, want about nine months", total)
	}
	// mossmotoring.com, restoration break-in: about a tenth of the time is kept
	// for sorting.
	if road*100 < total*8 || road*100 > total*12 {
		t.Errorf("the road test takes %d of %d days, want about a tenth", road, total)
	}
}

// Cautions are no advice: each sends its reader to somebody who knows. The
// hazards are those that the model's rules name.
func TestShippedPlan_cautionsDefer(t *testing.T) {
	knows := regexp.MustCompile(`data sheet|\bcode\b|\brules\b|licensed|qualified|specification|\bmanual\b|\blaw\b`)
	all := ""
	for _, s := range flow.ShippedPlan().Stages {
		if len(s.Cautions) == 0 {
			t.Errorf("%s has no caution", s.Name)
		}
		for _, c := range s.Cautions {
			all += c
			if !knows.MatchString(c) {
				t.Errorf("%s: caution points to nobody who knows: %q", s.Name, c)
			}
		}
	}
	for _, hazard := range []string{"Blasting dust", "lead", "isocyanates", "liner", "Springs", "body or engine can swing", "Fuel vapour", "battery", "Old brake and clutch", "Plating baths", "untried truck"} {
		if !regexp.MustCompile(hazard).MatchString(all) {
			t.Errorf("no caution about %q", hazard)
		}
	}
}

func TestSeedPlans_onceOnly(t *testing.T) {
	y := newYard(t)
	y.do(y.steps.SeedPlans(y.ctx))
	if plans := got(y.steps.Plans(y.ctx, y.office))(t); len(plans) != 1 || len(plans[0].Stages) != 14 {
		t.Errorf("plans after a second start: %d", len(plans))
	}
}

func TestPlans_copyAndEdit(t *testing.T) {
	y := newYard(t)
	shipped := got(y.steps.Plans(y.ctx, y.office))(t)[0]
	id := got(y.steps.AddPlan(y.ctx, y.office, shipped.ID, " Frame only "))(t)
	p := got(y.steps.PlanShow(y.ctx, y.office, id))(t)
	if p.Name != "Frame only" || len(p.Stages) != len(shipped.Stages) {
		t.Fatalf("copy is %q with %d stages", p.Name, len(p.Stages))
	}
	_, err := y.steps.AddPlan(y.ctx, y.office, shipped.ID, "frame ONLY")
	refused(t, err, journal.Invalid, "name")

	p.Stages = p.Stages[:3]
	p.Stages[1].Gate.Checks = []string{" Bagged ", "", "Labelled"}
	y.do(y.steps.SavePlan(y.ctx, y.office, p))
	now := got(y.steps.PlanShow(y.ctx, y.office, id))(t)
	if len(now.Stages) != 3 || !slices.Equal(now.Stages[1].Gate.Checks, []string{"Bagged", "Labelled"}) {
		t.Errorf("saved as %+v", now.Stages)
	}
	if again := got(y.steps.PlanShow(y.ctx, y.office, shipped.ID))(t); len(again.Stages) != 14 {
		t.Error("the plan it was copied from changed too")
	}
	// Somebody saves who had opened the plan before.
	refused(t, y.steps.SavePlan(y.ctx, y.office, p), journal.Conflict)

	now.Name, now.Stages[2].PlannedDays, now.Stages[0].Name = shipped.Name, 0, ""
	refused(t, y.steps.SavePlan(y.ctx, y.office, now), journal.Invalid, "stages.0.name", "stages.2.days")
	now.Stages[2].PlannedDays, now.Stages[0].Name = 1, "Arrival"
	refused(t, y.steps.SavePlan(y.ctx, y.office, now), journal.Invalid, "name")
}
