package flow_test

import (
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// changed writes a change order and tries to send it.
func (y *yard) changed(build journal.BuildID, fill func(*signoff.Draft)) (signoff.Paper, error) {
	y.t.Helper()
	p := got(y.steps.NewPaper(y.ctx, y.office, build, flow.PaperStart{Kind: signoff.ChangeOrder}))(y.t)
	d := p.Draft
	d.Title, d.Reason = "Another way", "As we spoke of."
	fill(&d)
	p, err := y.steps.SavePaper(y.ctx, y.office, build, p.ID, p.Version, d)
	if err != nil {
		return p, err
	}
	return y.steps.SendPaper(y.ctx, y.office, build, p.ID, p.Version)
}

func TestChange_AddsAStage(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	after := y.stage(y.heron, 7)
	fill := func(d *signoff.Draft) {
		d.Adds = &signoff.NewStage{Name: "Winch", Days: 4, After: after.ID}
		d.StageID = flow.AddedStage
		d.Lines = []signoff.Line{
			{Kind: journal.Labour, Text: "Fit the winch", Minutes: 600, Rate: 9500},
			{Kind: journal.Parts, Text: "Winch", Amount: 120_000},
			{StageID: y.stage(y.heron, 10).ID, Kind: journal.Parts, Text: "Second battery", Amount: 30_000},
		}
	}
	p := got(y.changed(y.heron, fill))(t)
	v := got(y.steps.PaperPage(y.ctx, y.office, y.heron, p.ID))(t)
	// 10 h x 95.00 + 1,200.00 on the new stage, 300.00 on another.
	if a := v.Sheet.Adds; a == nil || a.Name != "Winch" || a.After.Name != after.Name || v.Sheet.Stage.ID != a.ID || v.Sheet.Delta != 245_000 || v.Changed() {
		t.Fatalf("shown: %+v", v.Sheet)
	}
	if n := len(y.view(y.heron).Stages); n != 14 {
		t.Errorf("%d stages before it is signed", n)
	}
	y.do(y.sign(y.ada, p))
	stages := y.view(y.heron).Stages
	added := stages[8]
	if len(stages) != 15 || added.ID != v.Sheet.Adds.ID || added.Name != "Winch" || added.PlannedDays != 4 || added.Value != (journal.Split{}) || added.State != journal.NotStarted {
		t.Fatalf("added: %+v", added)
	}
	for i, st := range stages {
		if st.Position != i+1 {
			t.Errorf("%s is at %d, not %d", st.Name, st.Position, i+1)
		}
	}
	y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, added.ID))
	inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, added.ID)
	y.do(err)
	if inv.Document.Subtotal != 215_000 {
		t.Errorf("the added stage bills %s", inv.Document.Subtotal)
	}
	y.holds()

	// One more, as the first, by time and materials, for no money yet.
	p = got(y.changed(y.heron, func(d *signoff.Draft) {
		d.Adds = &signoff.NewStage{Name: "Search for the leak", Days: 1, Metered: true}
	}))(t)
	y.do(y.sign(y.ada, p))
	if first := y.stage(y.heron, 0); first.Name != "Search for the leak" || !first.Metered || first.Position != 1 {
		t.Errorf("first: %+v", first)
	}
	y.holds()
	_, err = y.changed(y.heron, func(d *signoff.Draft) { d.Adds = &signoff.NewStage{} })
	refused(t, err, journal.Invalid, "adds_name", "adds_days")
	_, err = y.changed(y.heron, func(d *signoff.Draft) {
		d.Adds = &signoff.NewStage{Name: "X", Days: 1, After: y.stage(y.juniper, 0).ID}
	})
	refused(t, err, journal.Invalid, "adds_after")
}

func TestChange_DropsAStage(t *testing.T) {
	y := newYard(t)
	y.do(y.saveTerms(y.heron, billing.Terms{Crediting: billing.ProRata, DueDays: 10, Tax: billing.Tax{Parts: 625}}))
	y.priced(y.heron, 9, journal.Split{Labour: 60_000, Parts: 40_000})
	y.agree(y.heron) // every stage 1,000.00 of labour
	y.agrees(y.ada)
	drop, other := y.stage(y.heron, 9), y.stage(y.heron, 10)
	y.do(y.sign(y.ada, got(y.changed(y.heron, func(d *signoff.Draft) {
		d.StageID, d.Lines = drop.ID, []signoff.Line{{Kind: journal.Parts, Text: "More liner", Amount: 20_000}}
	}))(t)))
	dropping := func(d *signoff.Draft) { d.Drops = drop.ID }

	// Not while another paper is about it, and with no line on it.
	out := y.sent(y.heron, y.pans(y.heron, 9))
	_, err := y.changed(y.heron, dropping)
	refused(t, err, journal.Invalid, "drops")
	y.do(y.steps.RecallPaper(y.ctx, y.office, y.heron, out.ID))
	_, err = y.changed(y.heron, func(d *signoff.Draft) {
		d.StageID, d.Drops = drop.ID, drop.ID
		d.Lines = []signoff.Line{{Kind: journal.Parts, Text: "Paint", Amount: 100}}
	})
	refused(t, err, journal.Invalid, "stage")

	p := got(y.changed(y.heron, func(d *signoff.Draft) {
		dropping(d)
		d.StageID = other.ID
		d.Lines = []signoff.Line{{Kind: journal.Parts, Text: "Primer instead", Amount: 5_000}}
	}))(t)
	v := got(y.steps.PaperPage(y.ctx, y.office, y.heron, p.ID))(t)
	if s := v.Sheet; s.Drops == nil || len(s.Lines) != 3 || !s.Lines[0].Dropped || s.Lines[0].Amount != -100_000 || s.Lines[1].Amount != -20_000 || s.Lines[1].Kind != journal.Parts || s.Delta != -115_000 || v.Changed() {
		t.Fatalf("shown: %+v", s)
	}
	y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, drop.ID))
	before := y.agreedTotal(y.heron)
	y.do(y.sign(y.ada, p))
	st := y.stage(y.heron, 9)
	if st.State != journal.Closed || st.DroppedBy != p.ID || y.agreedTotal(y.heron) != before-115_000 {
		t.Errorf("dropped: %+v", st)
	}
	sv := got(y.steps.StageOf(y.ctx, y.ada, y.heron, drop.ID))(t)
	if turn := sv.Turns[len(sv.Turns)-1]; sv.Dropped != "change order 3" || turn.To != journal.Closed || turn.Reason != "Dropped by Change order 3, Another way." || sv.Row.ToBill != 0 {
		t.Errorf("its page: %q, %+v, %+v", sv.Dropped, turn, sv.Row)
	}
	if m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t); len(m.ToBillNow) != 0 {
		t.Errorf("to bill at once: %v", m.ToBillNow)
	}
	refused(t, y.steps.OpenStage(y.ctx, y.jory, y.heron, drop.ID), journal.Conflict)
	refused(t, y.steps.ReopenStage(y.ctx, y.office, y.heron, drop.ID, "After all.", false), journal.Conflict)
	_, err = y.changed(y.heron, dropping)
	refused(t, err, journal.Invalid, "drops")
	_, err = y.changed(y.heron, func(d *signoff.Draft) {
		d.StageID, d.Lines = drop.ID, []signoff.Line{{Kind: journal.Parts, Text: "Paint", Amount: 100}}
	})
	refused(t, err, journal.Invalid, "stage")
	y.holds()

	// It counts as closed for the release of what is held, and never bills.
	for n, st := range y.view(y.heron).Stages {
		if st.DroppedBy != "" {
			continue
		}
		if n == 1 {
			y.do(y.sign(y.ada, y.paper(y.heron, signoff.Teardown, asItIs)))
		}
		y.ready(y.heron, n)
		inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, st.ID)
		y.do(err)
		for _, c := range inv.Document.Charges {
			if c.StageID == string(drop.ID) {
				t.Errorf("%s bills %s", inv.Document.Name(), c.Text)
			}
		}
	}
	if waits := y.glance(y.heron).Waits; waits[len(waits)-1].For != flow.ForDelivery {
		t.Errorf("waits: %q", kinds(waits))
	}
	if s := y.statement(y.heron); s.ToBill != 0 || s.Billed != 1_305_000 { // 13 x 1,000.00 and 50.00
		t.Errorf("in the end: %+v", s)
	}
	y.holds()
}

// A stage with something billed, or that is closed, stays.
func TestChange_KeepsWhatIsBilled(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	stage := y.ready(y.heron, 7)
	p := got(y.changed(y.heron, func(d *signoff.Draft) { d.Drops = stage }))(t)
	_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	if !strings.Contains(journal.MessageOf(err), "Change order 1") {
		t.Errorf("closed while its dropping is out: %v", err)
	}
	y.do(y.steps.RecallPaper(y.ctx, y.office, y.heron, p.ID))
	_, _, err = y.steps.CloseStage(y.ctx, y.office, y.heron, stage)
	y.do(err)
	_, err = y.changed(y.heron, func(d *signoff.Draft) { d.Drops = stage })
	refused(t, err, journal.Invalid, "drops")
	y.do(y.steps.ReopenStage(y.ctx, y.office, y.heron, stage, "A crack.", false))
	_, err = y.changed(y.heron, func(d *signoff.Draft) { d.Drops = stage })
	refused(t, err, journal.Invalid, "drops")
	// Taken back by a credit memo, nothing of it is billed any more.
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	got(y.steps.CancelInvoice(y.ctx, y.office, y.heron, m.Invoices[0].ID, "The owner wants none of it."))(t)
	p = got(y.changed(y.heron, func(d *signoff.Draft) { d.Drops = stage }))(t)
	y.do(y.sign(y.ada, p))
	if s := y.statement(y.heron); s.Billed != 0 || s.ToBill != 1_300_000 {
		t.Errorf("%+v", s)
	}
	y.holds()
}

// Signed changes, wherever they fall: before, while and after the stage they
// touch, below its value, over several stages, and with a deposit larger than
// what is left. In every case no cent appears or vanishes (promise 5).
func TestChange_Matrix(t *testing.T) {
	alone(t)
	const n = 7 // the stage it is about, of 1,000.00
	line := func(stage journal.StageID, amount journal.Cents) signoff.Line {
		return signoff.Line{StageID: stage, Kind: journal.Parts, Text: "A change", Amount: amount}
	}
	for _, c := range []struct {
		name    string
		when    string          // "before", "under way", "closed", "billed at once"
		amounts []journal.Cents // on the stage, and on the next one if there are two
		deposit journal.Cents
		billed  journal.Cents // for the stage in the end
		kinds   string        // of the documents, in order
	}{
		{"more, before it begins", "before", []journal.Cents{20_000}, 0, 120_000, "invoice"},
		{"less, before it begins", "before", []journal.Cents{-20_000}, 0, 80_000, "invoice"},
		{"all of it off, as parts: the close credits their tax", "before", []journal.Cents{-100_000}, 0, 0, "credit memo"},
		{"below its value: the close credits", "before", []journal.Cents{-130_000}, 0, -30_000, "credit memo"},
		{"more, while it is under way", "under way", []journal.Cents{20_000}, 0, 120_000, "invoice"},
		{"below its value, while it is under way", "under way", []journal.Cents{-130_000}, 0, -30_000, "credit memo"},
		{"more, once it is billed: at once", "billed at once", []journal.Cents{20_000}, 0, 120_000, "invoice, invoice"},
		{"less, once it is billed: a credit memo", "billed at once", []journal.Cents{-20_000}, 0, 80_000, "invoice, credit memo"},
		{"below its value, once it is billed", "billed at once", []journal.Cents{-130_000}, 0, -30_000, "invoice, credit memo"},
		{"more, once it is billed: with the next close", "closed", []journal.Cents{20_000}, 0, 120_000, "invoice, invoice"},
		{"less, once it is billed: with the next close", "closed", []journal.Cents{-20_000}, 0, 80_000, "invoice, invoice"},
		{"far below, once it is billed: the next close credits", "closed", []journal.Cents{-230_000}, 0, -130_000, "invoice, credit memo"},
		{"over two stages", "before", []journal.Cents{20_000, -5_000}, 0, 120_000, "invoice"},
		{"over two stages that cancel out", "under way", []journal.Cents{20_000, -20_000}, 0, 120_000, "invoice"},
		{"a deposit larger than what is left", "billed at once", []journal.Cents{-60_000}, 1_000_000, 40_000, "invoice, credit memo"},
		{"a deposit, and below the value", "closed", []journal.Cents{-130_000}, 1_000_000, -30_000, "invoice, credit memo"},
	} {
		t.Run(c.name, func(t *testing.T) {
			y := newYard(t)
			y.do(y.saveTerms(y.heron, billing.Terms{Deposit: c.deposit, Crediting: billing.FirstFirst, HoldbackRate: 1000, DueDays: 10, Tax: billing.Tax{Parts: 625}}))
			y.agree(y.heron)
			y.agrees(y.ada)
			if c.deposit > 0 {
				y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(1, "", c.deposit)))
			}
			stage, next := y.stage(y.heron, n).ID, y.stage(y.heron, n+1).ID
			change := func() {
				t.Helper()
				p := got(y.changed(y.heron, func(d *signoff.Draft) {
					d.StageID = stage
					for i, amount := range c.amounts {
						d.Lines = append(d.Lines, line([]journal.StageID{"", next}[i], amount))
					}
				}))(t)
				y.do(y.sign(y.ada, p))
				y.holds()
			}
			closes := func(id journal.StageID) {
				t.Helper()
				_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, id)
				y.do(err)
			}
			switch c.when {
			case "before":
				change()
				y.ready(y.heron, n)
				closes(stage)
			case "under way":
				y.ready(y.heron, n)
				change()
				closes(stage)
			case "closed", "billed at once":
				y.ready(y.heron, n)
				closes(stage)
				change()
				if c.when == "closed" {
					closes(y.ready(y.heron, n+1))
				} else {
					got(y.steps.BillChanges(y.ctx, y.office, y.heron))(t)
				}
			}
			m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
			var kinds []string
			for _, inv := range m.Invoices {
				kinds = append(kinds, string(inv.Document.Kind))
			}
			if said := strings.Join(kinds, ", "); said != c.kinds {
				t.Errorf("issued %s, want %s", said, c.kinds)
			}
			for _, row := range y.statement(y.heron).Stages {
				if row.StageID == string(stage) && (row.Billed != c.billed || row.ToBill != 0) {
					t.Errorf("the stage: %+v, want billed %s", row, c.billed)
				}
			}
			y.holds()

			// Ended early now, with nothing more earned, it settles to the cent as well.
			p := got(y.steps.NewPaper(y.ctx, y.office, y.heron, flow.PaperStart{Kind: signoff.EarlyStop}))(t)
			d := p.Draft
			d.Reason = "Enough."
			y.ends(y.heron)(&d)
			p = got(y.steps.SavePaper(y.ctx, y.office, y.heron, p.ID, p.Version, d))(t)
			p = got(y.steps.SendPaper(y.ctx, y.office, y.heron, p.ID, p.Version))(t)
			y.do(y.sign(y.ada, p))
			s := y.statement(y.heron)
			if s.ToBill != 0 || s.HeldBack != 0 || s.Agreed != s.Billed {
				t.Errorf("ended early: %+v", s)
			}
			y.holds()
		})
	}
}
