package flow

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// account gathers everything about the money of a build. Before the agreement
// is recorded nothing is agreed; afterwards each stage's value is, and each
// signed paper's delta (promise 7).
func (s *Steps) account(r Reads, b journal.Build) (billing.Account, error) {
	return s.accountUntil(r, b, time.Time{})
}

// accountUntil is the account as the record had it at the end of an instant; the
// zero time is now. Only what is never changed goes into it, so it is the same
// whenever it is asked for.
func (s *Steps) accountUntil(r Reads, b journal.Build, until time.Time) (billing.Account, error) {
	known := func(at time.Time) bool { return until.IsZero() || !at.After(until) }
	var a billing.Account
	var err error
	if a.Terms, err = r.Terms(b.ID); err != nil {
		return a, err
	}
	agreed := b.State != journal.Scoping
	if agreed && !until.IsZero() {
		if agreed, err = agreedBy(r, b.ID, known); err != nil {
			return a, err
		}
	}
	if agreed {
		if err := addAgreed(r, b.ID, known, &a); err != nil {
			return a, err
		}
	}
	invoices, err := r.Invoices(b.ID)
	if err != nil {
		return a, err
	}
	for _, inv := range invoices {
		if known(inv.IssuedAt) {
			a.Documents = append(a.Documents, inv.Document)
		}
	}
	payments, err := r.Payments(b.ID)
	if err != nil {
		return a, err
	}
	for _, p := range payments {
		if known(p.RecordedAt) {
			a.Take(p)
		}
	}
	return a, nil
}

// agreedBy reports whether the agreement was recorded at an instant that is known.
func agreedBy(r Reads, build journal.BuildID, known func(time.Time) bool) (bool, error) {
	events, err := r.Events(build)
	if err != nil {
		return false, err
	}
	for _, e := range events {
		if e.Kind == "agreement recorded" {
			return known(e.At), nil
		}
	}
	return false, nil
}

// addAgreed adds what is agreed: the stages' values in the order of work, then
// signed changes and uses of a standing allowance as they came about; and what was
// logged on the metered stages.
func addAgreed(r Reads, build journal.BuildID, known func(time.Time) bool, a *billing.Account) error {
	stages, err := r.Stages(build)
	if err != nil {
		return err
	}
	a.Agreed = stageCharges(stages)
	later, err := agreedSince(r, build)
	if err != nil {
		return err
	}
	for _, l := range later {
		if known(l.at) {
			a.Agreed = append(a.Agreed, l.charges...)
		}
	}
	return addMetered(r, build, stages, known, a)
}

func addMetered(r Reads, build journal.BuildID, stages []journal.Stage, known func(time.Time) bool, a *billing.Account) error {
	if !slices.ContainsFunc(stages, func(st journal.Stage) bool { return st.Metered }) {
		return nil
	}
	turns, err := r.Turns(build)
	if err != nil {
		return err
	}
	metered := map[journal.StageID]bool{}
	for _, st := range stages {
		if !st.Metered {
			continue
		}
		meter := billing.Meter{StageID: string(st.ID)}
		for _, turn := range turns {
			if turn.StageID == st.ID && known(turn.At) {
				meter.Closed = turn.To == journal.Closed
			}
		}
		metered[st.ID] = true
		a.Metered = append(a.Metered, meter)
	}
	works, err := r.Works(build)
	if err != nil {
		return err
	}
	for _, w := range works {
		if metered[w.StageID] && known(w.At) {
			a.Work = append(a.Work, workCharge(w))
		}
	}
	return nil
}

// workCharge is what logged work puts on its metered stage.
func workCharge(w journal.Work) billing.Charge {
	text := w.Text
	if w.TakesBack != "" {
		text = "Taken back: " + text
	}
	return billing.Charge{
		Ref: workRef(w.ID), Source: billing.LoggedWork, StageID: string(w.StageID), Text: text, Split: journal.Split{}.Plus(w.Kind, w.Amount),
	}
}

// workRef names logged work among a build's charges.
func workRef(id journal.WorkID) string { return "work:" + string(id) }

// agreedSince returns what was agreed after the agreement, as it came about:
// signed change orders, a signed early stop and uses of a standing allowance.
func agreedSince(r Reads, build journal.BuildID) ([]agreedLater, error) {
	papers, err := r.Papers(build)
	if err != nil {
		return nil, err
	}
	var later []agreedLater
	for _, p := range papers {
		if p.State != signoff.Signed || p.Kind != signoff.ChangeOrder && p.Kind != signoff.EarlyStop {
			continue
		}
		d, err := r.Decision(p.ID)
		if err != nil {
			return nil, err
		}
		rev, err := r.Revision(p.ID, d.Revision)
		if err != nil {
			return nil, err
		}
		sheet, err := signoff.ParseSheet(rev.Bytes)
		if err != nil {
			return nil, err
		}
		later = append(later, agreedLater{d.At, signedCharges(p.ID, sheet)})
	}
	uses, err := r.Uses(build)
	if err != nil {
		return nil, err
	}
	for _, u := range uses {
		later = append(later, agreedLater{u.At, []billing.Charge{useCharge(u)}})
	}
	slices.SortStableFunc(later, func(x, y agreedLater) int { return x.at.Compare(y.at) })
	return later, nil
}

// agreedLater is what was agreed after the agreement, and when.
type agreedLater struct {
	at      time.Time
	charges []billing.Charge
}

// stageCharges are the stages' values in the order of work.
func stageCharges(stages []journal.Stage) []billing.Charge {
	var charges []billing.Charge
	for _, st := range stages {
		charges = append(charges, billing.Charge{
			Ref: "stage:" + string(st.ID), Source: billing.Agreement, StageID: string(st.ID), Text: st.Name, Split: st.Value,
		})
	}
	return charges
}

// signedCharges are what a signed paper of any kind puts on its stages.
func signedCharges(paper journal.PaperID, sheet signoff.Sheet) []billing.Charge {
	switch sheet.Kind {
	case signoff.ChangeOrder:
		return changeCharges(paper, sheet)
	case signoff.EarlyStop:
		return stopCharges(paper, sheet)
	}
	return nil
}

// changeCharges are what a change order puts on each of its stages once signed.
func changeCharges(paper journal.PaperID, sheet signoff.Sheet) []billing.Charge {
	var charges []billing.Charge
	for _, split := range sheet.Splits() {
		charges = append(charges, billing.Charge{
			Ref: PaperRef(paper, split.Stage.ID), Source: billing.ChangeOrder, StageID: string(split.Stage.ID),
			Text: fmt.Sprintf("%s: %s", sheet.Name(), sheet.Title), Split: split.Split,
		})
	}
	return charges
}

// PaperRef names what a change order puts on one stage, among a build's charges.
func PaperRef(paper journal.PaperID, stage journal.StageID) string {
	return fmt.Sprintf("paper:%s/stage:%s", paper, stage)
}

// SourceOf says what a charge comes from, read from its ref: one of paper, use and
// work is set, or none, and then it is the stage itself. Pure.
func SourceOf(c billing.Charge) (paper journal.PaperID, use journal.UseID, work journal.WorkID) {
	kind, id, _ := strings.Cut(c.Ref, ":")
	id, _, _ = strings.Cut(id, "/")
	switch kind {
	case "paper":
		paper = journal.PaperID(id)
	case "use":
		use = journal.UseID(id)
	case "work":
		work = journal.WorkID(id)
	}
	return paper, use, work
}

// useCharge is what a use of a standing allowance puts on its stage.
func useCharge(u signoff.Use) billing.Charge {
	return billing.Charge{
		Ref: "use:" + string(u.ID), Source: billing.Allowance, StageID: string(u.StageID),
		Text: fmt.Sprintf("Use %d of the standing allowance: %s", u.Number, u.Title), Split: u.Split(),
	}
}

// carried are the charges of signed changes on stages that are closed already, and
// what such changes make of the ceilings of metered ones: they are billed with the
// next close, or at once. What was agreed for a stage that was dropped comes to
// nothing and is never billed.
func carried(a billing.Account, stages []journal.Stage) []billing.Charge {
	var charges []billing.Charge
	for _, st := range stages {
		if st.State == journal.Closed && st.DroppedBy == "" {
			charges = append(charges, a.Billable(string(st.ID))...)
		}
	}
	return charges
}

func refsOf(charges []billing.Charge) []string {
	var refs []string
	for _, c := range charges {
		refs = append(refs, c.Ref)
	}
	return refs
}

// Money is everything the money page shows.
type Money struct {
	Build     journal.Build
	Account   billing.Account
	Statement billing.Statement
	Balances  []billing.Balance
	Stages    []journal.Stage
	Invoices  []Invoice
	Payments  []journal.Payment
	ToBillNow []billing.Charge // signed changes on closed stages
}

// MoneyOf gathers the money page of a build.
func (s *Steps) MoneyOf(ctx context.Context, a Actor, build journal.BuildID) (m Money, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if m.Build, _, err = readable(r, a, build); err != nil {
			return err
		}
		if m.Account, err = s.account(r, m.Build); err != nil {
			return err
		}
		if m.Stages, err = r.Stages(build); err != nil {
			return err
		}
		if m.Invoices, err = r.Invoices(build); err != nil {
			return err
		}
		m.Payments, err = r.Payments(build)
		return err
	})
	if err != nil {
		return Money{}, err
	}
	m.Statement, m.Balances = billing.StatementOf(m.Account), billing.Open(m.Account)
	m.ToBillNow = carried(m.Account, m.Stages)
	return m, nil
}
