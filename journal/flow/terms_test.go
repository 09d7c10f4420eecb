package flow_test

import (
	"encoding/json"
	"fmt"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// everyTerm has each term that an agreement can have.
func everyTerm() billing.Terms {
	return billing.Terms{
		Deposit: 100_000, Crediting: billing.ProRata, HoldbackRate: 500, HoldbackCap: "California, private works", DueDays: 14,
		Tax: billing.Tax{Parts: 625}, MarkUp: 1500, BillDays: []int{1, 15}, LateAsks: true, Transport: billing.ShopSends, DeliverTo: "Oregon",
	}
}

// outWithEveryTerm sends heron's agreement, with one stage at a fixed price and
// one by time and materials.
func (y *yard) outWithEveryTerm() signoff.Paper {
	y.t.Helper()
	y.do(y.saveTerms(y.heron, everyTerm()))
	y.priced(y.heron, 0, journal.Split{Labour: 100_000})
	row := rowOf(y.stage(y.heron, 8))
	row.Value, row.Metered = journal.Split{Labour: 300_000, Parts: 100_000}, true
	y.do(y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{row}))
	return y.paper(y.heron, signoff.BuildAgreement, onDay("2026-09-24"))
}

// What is signed is what was shown: whichever term changes while the agreement is
// out, the owner is sent it once more, and what they read before cannot be signed.
func TestAgreement_aChangedTermSendsItOnceMore(t *testing.T) {
	terms := func(change func(*billing.Terms)) func(*yard) error {
		return func(y *yard) error {
			now := everyTerm()
			change(&now)
			return y.saveTerms(y.heron, now)
		}
	}
	for name, change := range map[string]func(*yard) error{
		"another limit on holdback": terms(func(t *billing.Terms) { t.HoldbackCap = "Federal, construction" }),
		"no limit any more":         terms(func(t *billing.Terms) { t.HoldbackCap = "" }),
		"the mark-up":               terms(func(t *billing.Terms) { t.MarkUp = 1501 }),
		"a day of billing less":     terms(func(t *billing.Terms) { t.BillDays = []int{15} }),
		"no day of billing":         terms(func(t *billing.Terms) { t.BillDays = nil }),
		"the late rule":             terms(func(t *billing.Terms) { t.LateAsks = false }),
		"who brings the truck":      terms(func(t *billing.Terms) { t.Transport = billing.OwnerCollects }),
		"transport not settled":     terms(func(t *billing.Terms) { t.Transport = billing.NotSettled }),
		"the state":                 terms(func(t *billing.Terms) { t.DeliverTo = "Idaho" }),
		"a fixed price, on the scope": func(y *yard) error {
			row := rowOf(y.stage(y.heron, 8))
			row.Metered = false
			return y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{row})
		},
		"time and materials, on the stage": func(y *yard) error {
			st := y.stage(y.heron, 0)
			return y.steps.SaveStage(y.ctx, y.office, y.heron, st.ID, flow.StageChange{
				Version: st.Version, Name: st.Name, PlannedDays: st.PlannedDays, Metered: true, Gate: st.Gate, Cautions: st.Cautions, LeadID: st.LeadID,
			})
		},
	} {
		t.Run(name, func(t *testing.T) {
			y := newYard(t)
			y.agrees(y.ada)
			p := y.outWithEveryTerm()
			read := y.form(y.ada, p, signoff.OutcomeSigned)
			y.do(y.saveTerms(y.heron, everyTerm())) // saved once more as they are
			if now := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, p.ID))(t); now.Paper.Revision != 1 {
				t.Fatalf("unchanged terms made revision %d", now.Paper.Revision)
			}
			y.do(change(y))
			now := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, p.ID))(t)
			if now.Paper.Revision != 2 || now.SHA256() == read.SHA256 {
				t.Fatalf("the owner still reads revision %d", now.Paper.Revision)
			}
			_, err := y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, read)
			refused(t, err, journal.Conflict)
			y.do(y.sign(y.ada, p))
			if b := y.view(y.heron).Build; b.State != journal.Agreed {
				t.Errorf("the build is %s", b.State)
			}
		})
	}
}

// What would show nothing else makes no new revision: a term about time and
// materials where no stage goes by it, a limit where nothing is held back.
func TestAgreement_termsThatComeToNothingAreNotShown(t *testing.T) {
	y := newYard(t)
	y.priced(y.heron, 0, journal.Split{Labour: 100_000})
	y.do(y.saveTerms(y.heron, billing.Terms{Crediting: billing.ProRata}))
	p := y.paper(y.heron, signoff.BuildAgreement, onDay("2026-09-24"))
	y.do(y.saveTerms(y.heron, billing.Terms{Crediting: billing.ProRata, MarkUp: 1500, BillDays: []int{1}, HoldbackCap: "Federal, construction"}))
	v := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, p.ID))(t)
	if a := v.Sheet.Agreement; v.Paper.Revision != 1 || a.MarkUp != 0 || a.BillDays != nil || a.HoldbackLimit != nil {
		t.Errorf("revision %d shows %+v", v.Paper.Revision, a)
	}
	y.agrees(y.ada)
	y.do(y.sign(y.ada, p))
}

// The signed agreement shows every term, the record keeps them, and afterwards
// none of them changes but tax rates.
func TestAgreement_everyTermIsShownRecordedAndFixed(t *testing.T) {
	y := newYard(t)
	y.agrees(y.ada)
	p := y.outWithEveryTerm()
	sheet := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, p.ID))(t).Sheet
	a := sheet.Agreement
	if a.HoldbackLimit == nil || *a.HoldbackLimit != (signoff.SheetLimit{Name: "California, private works", OfPayment: 500, OfPrice: 500}) ||
		a.MarkUp != 1500 || fmt.Sprint(a.BillDays) != "[1 15]" || !a.LateAsks || a.Transport != string(billing.ShopSends) || a.DeliverTo != "Oregon" {
		t.Errorf("shown: %+v", a)
	}
	if a.Stages[0].Metered || !a.Stages[8].Metered || !a.Metered() {
		t.Errorf("stages are %+v", a.Stages)
	}
	y.do(y.sign(y.ada, p))

	var detail struct {
		Stages []struct{ Metered bool }
		Terms  struct {
			HoldbackCap string `json:"holdback_cap"`
			MarkUp      int    `json:"mark_up"`
			BillDays    []int  `json:"bill_days"`
			LateAsks    bool   `json:"late_asks"`
			Transport   string
			DeliverTo   string `json:"deliver_to"`
		}
	}
	y.do(json.Unmarshal([]byte(y.events(y.heron, "agreement recorded")[0].Detail), &detail))
	if d := detail.Terms; d.HoldbackCap != "California, private works" || d.MarkUp != 1500 || fmt.Sprint(d.BillDays) != "[1 15]" || !d.LateAsks ||
		d.Transport != string(billing.ShopSends) || d.DeliverTo != "Oregon" || !detail.Stages[8].Metered {
		t.Errorf("the record keeps %+v", detail)
	}

	for field, change := range map[string]func(*billing.Terms){
		"holdback_cap": func(t *billing.Terms) { t.HoldbackCap = "Federal, construction" },
		"mark_up":      func(t *billing.Terms) { t.MarkUp = 0 },
		"bill_days":    func(t *billing.Terms) { t.BillDays = []int{1, 16} },
		"late_asks":    func(t *billing.Terms) { t.LateAsks = false },
		"transport":    func(t *billing.Terms) { t.Transport = billing.OwnerSends },
		"deliver_to":   func(t *billing.Terms) { t.DeliverTo = "" },
	} {
		now := everyTerm()
		change(&now)
		refused(t, y.saveTerms(y.heron, now), journal.Invalid, field)
	}
	now := everyTerm()
	now.Tax.Parts = 700
	y.do(y.saveTerms(y.heron, now))
	if faults := y.checked(); len(faults) != 0 {
		t.Errorf("faults: %+v", faults)
	}
}

// A change order on a stage by time and materials says so, and moves its ceiling;
// so does the teardown's authorization of what it may cost.
func TestPapers_sayThatAStageIsMetered(t *testing.T) {
	y := newYard(t)
	y.agrees(y.ada)
	for _, n := range []int{1, 8} {
		row := rowOf(y.stage(y.heron, n))
		row.Value, row.Metered = journal.Split{Labour: 300_000}, true
		y.do(y.steps.SaveScope(y.ctx, y.office, y.heron, []flow.StageScope{row}))
	}
	y.do(y.sign(y.ada, y.paper(y.heron, signoff.BuildAgreement, onDay("2026-09-24"))))

	leave := y.paper(y.heron, signoff.Teardown, func(d *signoff.Draft) { d.Destroyed = []string{"Gaskets"} })
	sheet := got(y.steps.PaperPage(y.ctx, y.ada, y.heron, leave.ID))(t).Sheet
	if !sheet.Stage.Metered || sheet.Teardown.Cost != 300_000 {
		t.Errorf("the authorization shows %+v, %+v", sheet.Stage, sheet.Teardown)
	}
	change := y.paper(y.heron, signoff.ChangeOrder, func(d *signoff.Draft) {
		*d = y.pans(y.heron, 3) // 2,302.00, of which the line below is the metered stage's
		d.Lines = append(d.Lines, signoff.Line{StageID: y.stage(y.heron, 8).ID, Kind: journal.Parts, Text: "Bearings", Amount: 50_000})
	})
	sheet = got(y.steps.PaperPage(y.ctx, y.ada, y.heron, change.ID))(t).Sheet
	if splits := sheet.Splits(); sheet.Stage.Metered || len(splits) != 2 || splits[0].Stage.Metered || !splits[1].Stage.Metered {
		t.Errorf("the change order shows %+v", splits)
	}
	y.do(y.sign(y.ada, change))
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(t)
	if got, ok := billing.MeteringOf(m.Account, string(y.stage(y.heron, 8).ID)); !ok || got.Ceiling != 350_000 {
		t.Errorf("the ceiling is %+v", got)
	}
}
