package flow

import (
	"context"
	"fmt"
	"slices"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// account gathers everything about the money of a build. Before the agreement
// is recorded nothing is agreed; afterwards each stage's value is, and each
// signed paper's delta (promise 7).
func (s *Steps) account(r Reads, b journal.Build) (billing.Account, error) {
	var a billing.Account
	var err error
	if a.Terms, err = r.Terms(b.ID); err != nil {
		return a, err
	}
	if b.State != journal.Scoping {
		if a.Agreed, err = agreedCharges(r, b.ID); err != nil {
			return a, err
		}
	}
	invoices, err := r.Invoices(b.ID)
	if err != nil {
		return a, err
	}
	for _, inv := range invoices {
		a.Documents = append(a.Documents, inv.Document)
	}
	payments, err := r.Payments(b.ID)
	if err != nil {
		return a, err
	}
	for _, p := range payments {
		if p.InvoiceID == "" {
			a.DepositReceived += p.Amount
			continue
		}
		a.Payments = append(a.Payments, billing.Payment{
			ID: string(p.ID), DocumentID: string(p.InvoiceID), Amount: p.Amount, On: p.On, Reverses: string(p.ReversesID),
		})
	}
	return a, nil
}

// agreedCharges returns the stages' values in the order of work, then signed
// change orders and uses of a standing allowance as they came about.
func agreedCharges(r Reads, build journal.BuildID) ([]billing.Charge, error) {
	stages, err := r.Stages(build)
	if err != nil {
		return nil, err
	}
	charges := stageCharges(stages)
	papers, err := r.Papers(build)
	if err != nil {
		return nil, err
	}
	var later []agreedLater
	for _, p := range papers {
		if p.State != signoff.Signed || p.Kind != signoff.ChangeOrder {
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
		later = append(later, agreedLater{d.At, changeCharges(p.ID, sheet)})
	}
	uses, err := r.Uses(build)
	if err != nil {
		return nil, err
	}
	for _, u := range uses {
		later = append(later, agreedLater{u.At, []billing.Charge{useCharge(u)}})
	}
	slices.SortStableFunc(later, func(x, y agreedLater) int { return x.at.Compare(y.at) })
	for _, l := range later {
		charges = append(charges, l.charges...)
	}
	return charges, nil
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

// useCharge is what a use of a standing allowance puts on its stage.
func useCharge(u signoff.Use) billing.Charge {
	return billing.Charge{
		Ref: "use:" + string(u.ID), Source: billing.Allowance, StageID: string(u.StageID),
		Text: fmt.Sprintf("Use %d of the standing allowance: %s", u.Number, u.Title), Split: u.Split(),
	}
}

// carried are the refs of signed changes on stages that are closed already:
// they are billed with the next close, or at once.
func carried(a billing.Account, stages []journal.Stage) []string {
	var refs []string
	for _, st := range stages {
		if st.State == journal.Closed {
			refs = append(refs, a.Unbilled(string(st.ID))...)
		}
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
	ToBillNow []string // refs of signed changes on closed stages
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
