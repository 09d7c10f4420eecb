package flow

import (
	"context"
	"fmt"
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

// agreedCharges returns the stages' values in the order of work, then the
// signed papers in the order of their signing.
func agreedCharges(r Reads, build journal.BuildID) ([]billing.Charge, error) {
	stages, err := r.Stages(build)
	if err != nil {
		return nil, err
	}
	var charges []billing.Charge
	for _, st := range stages {
		charges = append(charges, billing.Charge{
			Ref: "stage:" + string(st.ID), Source: billing.Agreement, StageID: string(st.ID), Text: st.Name, Split: st.Value,
		})
	}
	papers, err := r.Papers(build)
	if err != nil {
		return nil, err
	}
	type signed struct {
		at     time.Time
		charge billing.Charge
	}
	var changes []signed
	for _, p := range papers {
		if p.State != signoff.Signed {
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
		at := len(changes)
		for at > 0 && changes[at-1].at.After(d.At) {
			at--
		}
		changes = append(changes[:at], append([]signed{{d.At, changeCharge(p.ID, sheet)}}, changes[at:]...)...)
	}
	for _, c := range changes {
		charges = append(charges, c.charge)
	}
	return charges, nil
}

// changeCharge is what a change order puts on its stage once signed.
func changeCharge(paper journal.PaperID, sheet signoff.Sheet) billing.Charge {
	return billing.Charge{
		Ref: "paper:" + string(paper), Source: billing.ChangeOrder, StageID: string(sheet.Stage.ID),
		Text: fmt.Sprintf("Change order %d: %s", sheet.Number, sheet.Title), Split: sheet.Split(),
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
