package flow_test

import (
	"fmt"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/coating"
	"farbay/journal/flow"
)

// aMix is 600 mL of 4:1:1 clear, see package coating's tests: 400, 106 and 87 g.
func (y *yard) aMix(n int, stage journal.StageID) coating.Mix {
	return coating.Mix{
		ID: journal.PaintID(fmt.Sprintf("mix-form-%015d", n)), BuildID: y.heron, StageID: stage, Product: "Two-part clear", Colour: "clear", Lot: "L-2291", For: "hood",
		Amount: 5930, Formula: coating.Formula{By: coating.ByVolume, Densities: coating.GramsPerMillilitre, Step: coating.Tenth, Components: []coating.Component{
			{Name: "Clear", Parts: 4000, Density: 1000}, {Name: "Hardener", Parts: 1000, Density: 1060}, {Name: "Reducer", Parts: 1000, Density: 870},
		}},
	}
}

func poured(component int, scale coating.Weight) coating.Pour {
	return coating.Pour{Act: coating.Poured, Component: component, Scale: scale}
}

// paint has a mix poured with too much hardener and topped up, a reading, and an
// amount used on Heron's stage.
func (y *yard) paint(stage journal.StageID) coating.Mix {
	y.t.Helper()
	m := y.aMix(1, stage)
	y.do(y.steps.StartMix(y.ctx, y.jory, m))
	for i, p := range []coating.Pour{poured(0, 4000), poured(1, 5180), poured(0, 5633), poured(2, 6601)} {
		y.do(y.steps.Pour(y.ctx, y.jory, y.heron, stage, m.ID, i+1, p))
	}
	y.do(y.steps.AddReading(y.ctx, y.sam, coating.Reading{
		ID: "reading-form-0000000001", BuildID: y.heron, StageID: stage, Place: "hood, centre", Coat: "all coats", Substrate: "bare steel", Film: 4200, Unit: coating.Mil,
	}))
	y.do(y.steps.AddUsed(y.ctx, y.jory, coating.Used{
		ID: "used-form-000000000001", BuildID: y.heron, StageID: stage, MixID: m.ID, Amount: 640_000, Unit: coating.UsedGrams, For: "hood",
	}))
	return m
}

func TestPaint_Record(t *testing.T) {
	y := newYard(t)
	stage := y.stage(y.heron, 0).ID
	m := y.paint(stage)
	v := got(y.steps.PaintOf(y.ctx, y.office, y.heron, stage))(t)
	if len(v.Mixes) != 1 || !v.Mixes[0].Batch.Done() || v.Mixes[0].Batch.Total() != 6601 || v.Names[v.Mixes[0].Mix.ByID] != "Jory Pike" {
		t.Errorf("mixes %+v", v.Mixes)
	}
	if len(v.Readings) != 1 || len(v.Used) != 1 || v.Used[0].Product != "Two-part clear" || v.Audience != journal.ShopOnly {
		t.Errorf("readings %v, used %v, %s", v.Readings, v.Used, v.Audience)
	}
	if len(v.Formulas) != 1 || v.Formulas[0].ID != m.ID {
		t.Errorf("formulas %v", v.Formulas)
	}
	other := got(y.steps.PaintOf(y.ctx, y.office, y.heron, y.stage(y.heron, 1).ID))(t)
	if !other.Empty() || len(other.Formulas) != 1 {
		t.Errorf("another stage has %d mixes, and %d formulas of the build", len(other.Mixes), len(other.Formulas))
	}
	for kind, n := range map[string]int{"paint mix started": 1, "paint poured": 4, "film read": 1, "paint used": 1} {
		if events := y.events(y.heron, kind); len(events) != n {
			t.Errorf("%d events of kind %s, want %d", len(events), kind, n)
		}
	}
}

// What is sent twice is recorded once; what somebody else did first is told.
func TestPaint_Twice(t *testing.T) {
	y := newYard(t)
	stage := y.stage(y.heron, 0).ID
	m := y.paint(stage)
	y.do(y.steps.StartMix(y.ctx, y.jory, m))
	y.do(y.steps.Pour(y.ctx, y.jory, y.heron, stage, m.ID, 2, poured(1, 5180)))
	refused(t, y.steps.Pour(y.ctx, y.jory, y.heron, stage, m.ID, 2, poured(1, 5060)), journal.Conflict)
	refused(t, y.steps.Pour(y.ctx, y.sam, y.heron, stage, m.ID, 2, poured(1, 5180)), journal.Conflict)
	refused(t, y.steps.Pour(y.ctx, y.jory, y.heron, stage, m.ID, 6, poured(1, 5180)), journal.Conflict)
	refused(t, y.steps.Pour(y.ctx, y.jory, y.heron, stage, m.ID, 5, poured(1, 9000)), journal.Conflict) // complete
	refused(t, y.steps.StartMix(y.ctx, y.sam, m), journal.Conflict)
	m.Amount = 6000
	refused(t, y.steps.StartMix(y.ctx, y.jory, m), journal.Conflict)
	if n := len(y.events(y.heron, "paint mix started")) + len(y.events(y.heron, "paint poured")); n != 5 {
		t.Errorf("%d events", n)
	}
}

func TestPaint_Refusals(t *testing.T) {
	y := newYard(t)
	stage := y.stage(y.heron, 0).ID
	m := y.paint(stage)
	bad := y.aMix(2, stage)
	bad.Product, bad.For, bad.Formula.Components[1].Density = "", "", 0
	refused(t, y.steps.StartMix(y.ctx, y.jory, bad), journal.Invalid, "product", "for", "components.1.density")
	bad = y.aMix(2, stage)
	bad.Amount = 1
	refused(t, y.steps.StartMix(y.ctx, y.jory, bad), journal.Invalid, "amount")
	bad.ID = "short"
	refused(t, y.steps.StartMix(y.ctx, y.jory, bad), journal.Invalid)
	refused(t, y.steps.AddReading(y.ctx, y.jory, coating.Reading{ID: "reading-form-0000000002", BuildID: y.heron, StageID: stage}), journal.Invalid, "place", "substrate", "unit")
	refused(t, y.steps.AddReading(y.ctx, y.jory, coating.Reading{
		ID: "reading-form-0000000002", BuildID: y.heron, StageID: stage, Place: "hood", Substrate: "bare steel", Film: 500_000, Unit: coating.Mil,
	}), journal.Invalid, "film")
	refused(t, y.steps.AddUsed(y.ctx, y.jory, coating.Used{ID: "used-form-000000000002", BuildID: y.heron, StageID: stage}), journal.Invalid, "product", "used", "used_unit", "for")
	refused(t, y.steps.AddUsed(y.ctx, y.jory, coating.Used{ID: "used-form-000000000002", BuildID: y.heron, StageID: y.stage(y.heron, 1).ID, MixID: m.ID}), journal.Invalid, "mix")

	// The wrong people, and another build's stage.
	for _, a := range []flow.Actor{y.ada, y.dell, y.ben} {
		refused(t, y.steps.StartMix(y.ctx, a, y.aMix(3, stage)), journal.Forbidden)
		refused(t, y.steps.Pour(y.ctx, a, y.heron, stage, m.ID, 5, poured(0, 9000)), journal.Forbidden)
		refused(t, y.steps.TakeBackPaint(y.ctx, a, y.heron, stage, m.ID, "r"), journal.Forbidden)
		refused(t, y.steps.ShowPaint(y.ctx, a, y.heron, stage, journal.OwnerToo), journal.Forbidden)
		_, _, err := y.steps.MixOf(y.ctx, a, y.heron, stage, m.ID)
		refused(t, err, journal.Forbidden)
	}
	refused(t, y.steps.ShowPaint(y.ctx, y.jory, y.heron, stage, journal.OwnerToo), journal.Forbidden)
	refused(t, y.steps.ShowPaint(y.ctx, y.office, y.heron, stage, "everybody"), journal.Invalid)
	refused(t, y.steps.Pour(y.ctx, y.jory, y.juniper, stage, m.ID, 5, poured(0, 9000)), journal.NotFound)
	refused(t, y.steps.Pour(y.ctx, y.jory, y.heron, y.stage(y.heron, 1).ID, m.ID, 5, poured(0, 9000)), journal.NotFound)
	_, err := y.steps.PaintOf(y.ctx, y.ben, y.heron, stage)
	refused(t, err, journal.NotFound)
}

// A wrong record is taken back once, by who made it or the office, and stays in the
// record with the reason.
func TestPaint_TakenBack(t *testing.T) {
	y := newYard(t)
	stage := y.stage(y.heron, 0).ID
	m := y.paint(stage)
	refused(t, y.steps.TakeBackPaint(y.ctx, y.sam, y.heron, stage, m.ID, "not mine"), journal.Forbidden)
	refused(t, y.steps.TakeBackPaint(y.ctx, y.jory, y.heron, stage, m.ID, ""), journal.Invalid, "reason")
	refused(t, y.steps.TakeBackPaint(y.ctx, y.jory, y.heron, stage, "nothing", "r"), journal.NotFound)
	refused(t, y.steps.TakeBackPaint(y.ctx, y.jory, y.heron, y.stage(y.heron, 1).ID, m.ID, "r"), journal.NotFound)
	y.do(y.steps.TakeBackPaint(y.ctx, y.jory, y.heron, stage, m.ID, "the cup tipped over"))
	refused(t, y.steps.TakeBackPaint(y.ctx, y.jory, y.heron, stage, m.ID, "again"), journal.Conflict)
	y.do(y.steps.TakeBackPaint(y.ctx, y.office, y.heron, stage, "reading-form-0000000001", "the gauge was not set"))
	refused(t, y.steps.Pour(y.ctx, y.jory, y.heron, stage, m.ID, 5, coating.Pour{Act: coating.TakenBack}), journal.Conflict)
	v := got(y.steps.PaintOf(y.ctx, y.sam, y.heron, stage))(t)
	if len(v.Mixes) != 1 || v.Backs[m.ID].Reason != "the cup tipped over" || len(v.Formulas) != 0 {
		t.Errorf("%+v", v)
	}
}

// The owner sees nothing until the office shares the record, then product, colour,
// batch and readings, and nothing again when it is taken out of sight.
func TestPaint_Owner(t *testing.T) {
	y := newYard(t)
	stage := y.stage(y.heron, 0).ID
	y.paint(stage)
	y.do(y.steps.StartMix(y.ctx, y.jory, y.aMix(2, stage))) // nothing poured yet
	if v := got(y.steps.PaintOf(y.ctx, y.ada, y.heron, stage))(t); !v.Empty() {
		t.Errorf("an owner sees %+v", v)
	}
	y.do(y.steps.ShowPaint(y.ctx, y.office, y.heron, stage, journal.OwnerToo))
	y.do(y.steps.ShowPaint(y.ctx, y.office, y.heron, stage, journal.OwnerToo))
	if n := len(y.events(y.heron, "paint record shown")); n != 1 {
		t.Errorf("%d events of sharing", n)
	}
	v := got(y.steps.PaintOf(y.ctx, y.dell, y.heron, stage))(t)
	if len(v.Mixes) != 1 || len(v.Readings) != 1 || v.Mixes[0].Mix.Lot != "L-2291" || v.Mixes[0].Mix.Product == "" || v.Mixes[0].Mix.Colour != "clear" {
		t.Errorf("a delegate sees %+v", v)
	}
	if said := fmt.Sprintf("%+v %+v", v.Mixes, v.Readings); len(v.Used)+len(v.Names)+len(v.Formulas)+len(v.Backs) != 0 || strings.Contains(said, "Hardener") || strings.Contains(said, string(y.jory.Person.ID)) {
		t.Errorf("a delegate sees what is the shop's: %s", said)
	}
	y.do(y.steps.TakeBackPaint(y.ctx, y.office, y.heron, stage, "reading-form-0000000001", "the gauge was not set"))
	if v := got(y.steps.PaintOf(y.ctx, y.ada, y.heron, stage))(t); len(v.Readings) != 0 {
		t.Error("an owner sees a reading that was taken back")
	}
	y.do(y.steps.ShowPaint(y.ctx, y.office, y.heron, stage, journal.ShopOnly))
	if v := got(y.steps.PaintOf(y.ctx, y.ada, y.heron, stage))(t); !v.Empty() {
		t.Errorf("an owner still sees %+v", v)
	}
}

// farbay check holds every row against its event.
func TestPaint_CheckTellsTampering(t *testing.T) {
	for name, change := range map[string]struct{ do, says string }{
		"nothing":               {"", ""},
		"another batch number":  {"UPDATE mixes SET lot = 'L-2292'", "The mix of Two-part clear was changed: its lot is"},
		"another formula":       {`UPDATE mixes SET formula = replace(formula, '"parts":4000', '"parts":5000')`, "The mix of Two-part clear was changed: its components is"},
		"another weight poured": {"UPDATE pours SET scale = 5060 WHERE number = 2", "Pour 2 of a mix was changed: its scale is 5060"},
		"a pour removed":        {"DELETE FROM pours WHERE number = 4", "is missing from its table"},
		"a thicker film":        {"UPDATE film_readings SET film = 6000", "The film reading at hood, centre was changed: its film is 6000"},
		"less used":             {"UPDATE paint_used SET amount = 1", "The amount of Two-part clear used was changed: its amount is 1"},
		"by somebody else":      {"UPDATE film_readings SET by_id = (SELECT by_id FROM mixes)", "The film reading at hood, centre was changed: "},
		"a reading put in":      {"INSERT INTO film_readings SELECT 99, 'put in', build_id, stage_id, place, coat, substrate, film, unit, by_id, at FROM film_readings LIMIT 1", "no event of the record says so"},
		"another reason":        {"UPDATE paint_backs SET reason = 'other'", "The taking back of a paint record was changed: its reason is"},
		"hidden again":          {"DELETE FROM paint_shown", "is missing from its table"},
	} {
		t.Run(name, func(t *testing.T) {
			y := newYard(t)
			stage := y.stage(y.heron, 0).ID
			y.paint(stage)
			y.do(y.steps.AddReading(y.ctx, y.sam, coating.Reading{
				ID: "reading-form-0000000002", BuildID: y.heron, StageID: stage, Place: "door", Substrate: "bare steel", Film: 4000, Unit: coating.Mil,
			}))
			y.do(y.steps.TakeBackPaint(y.ctx, y.sam, y.heron, stage, "reading-form-0000000002", "the wrong door"))
			y.do(y.steps.ShowPaint(y.ctx, y.office, y.heron, stage, journal.OwnerToo))
			if change.do != "" {
				y.exec(y.tampered(), change.do)
			}
			faults, _, err := y.steps.Check(y.ctx, func(string) error { return nil })
			if err != nil {
				t.Fatal(err)
			}
			said := fmt.Sprint(faults)
			if change.says == "" && len(faults) > 0 || !strings.Contains(said, change.says) {
				t.Errorf("check says %s", said)
			}
		})
	}
}
