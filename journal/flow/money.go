package flow

import (
	"context"
	"fmt"
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

// issue numbers, keeps and announces one document.
func (s *Steps) issue(tx Tx, a Actor, b journal.Build, tax billing.Tax, d billing.Document, stageID journal.StageID, stageName string) (Invoice, error) {
	shop, err := tx.Shop()
	if err != nil {
		return Invoice{}, err
	}
	owners, _, err := ownersOf(tx, b.ID)
	if err != nil {
		return Invoice{}, err
	}
	if d.Number, err = tx.NextNumber(d.Kind); err != nil {
		return Invoice{}, err
	}
	inv := Invoice{
		ID: journal.InvoiceID(s.NewID()), BuildID: b.ID, StageID: stageID,
		ShopHead: strings.TrimSpace(shop.Name + "\n" + shop.Address),
		BillTo:   strings.Join(namesOf(owners), "\n"),
		Truck:    strings.TrimSpace(b.Nickname + "\n" + b.Truck.Name() + "\n" + b.Truck.Serial),
		TaxLines: taxLines(d, tax),
		IssuedAt: s.at(), IssuedBy: a.Person.ID,
	}
	d.ID = string(inv.ID)
	inv.Document = d
	if err := tx.AddInvoice(inv); err != nil {
		return Invoice{}, err
	}
	err = s.record(tx, a, b.ID, string(d.Kind)+" issued", d.ID, map[string]any{
		"number": d.Number, "stage": stageID, "subtotal": d.Subtotal, "tax": d.Tax,
		"deposit_credit": d.DepositCredit, "holdback": d.Holdback, "payable": d.Payable, "due_on": d.DueOn,
	})
	if err != nil {
		return Invoice{}, err
	}
	for _, owner := range owners {
		letter := InvoiceLetter{
			ShopName: shop.Name, To: owner, Invoice: inv, Nickname: b.Nickname, Stage: stageName,
			Path: fmt.Sprintf("/builds/%s/invoices/%s", b.ID, inv.ID),
		}
		if _, err := s.post(tx, b.ID, owner, letter); err != nil {
			return Invoice{}, err
		}
	}
	return inv, nil
}

// taxLines lists what a document taxes, kind by kind.
func taxLines(d billing.Document, tax billing.Tax) []TaxLine {
	var sum journal.Split
	for _, c := range d.Charges {
		sum = sum.Add(c.Split)
	}
	var lines []TaxLine
	for _, k := range journal.LineKinds {
		if base := sum.Of(k); base != 0 && tax.Rate(k) != 0 {
			lines = append(lines, TaxLine{Kind: k, Rate: tax.Rate(k), Base: base})
		}
	}
	return lines
}

func namesOf(people []journal.Person) []string {
	var names []string
	for _, p := range people {
		names = append(names, p.Name)
	}
	return names
}

// BillChanges bills at once all signed changes on stages that are closed. It
// returns [journal.Conflict] when there are none.
func (s *Steps) BillChanges(ctx context.Context, a Actor, build journal.BuildID) (inv Invoice, err error) {
	if err := asOffice(a); err != nil {
		return inv, err
	}
	err = s.write(ctx, func(tx Tx) error {
		b, _, err := readable(tx, a, build)
		if err != nil {
			return err
		}
		acc, err := s.account(tx, b)
		if err != nil {
			return err
		}
		stages, err := tx.Stages(build)
		if err != nil {
			return err
		}
		doc, ok, err := billing.Next(acc, carried(acc, stages), s.today(tx), "")
		if err != nil {
			return err
		}
		if !ok {
			return journal.Errorf(journal.Conflict, "No signed change on a closed stage is left to bill.")
		}
		inv, err = s.issue(tx, a, b, acc.Terms.Tax, doc, "", "")
		return err
	})
	return inv, err
}

// ReleaseHoldback issues the document that lets go of what was held back. All
// stages must be closed.
func (s *Steps) ReleaseHoldback(ctx context.Context, a Actor, build journal.BuildID) (inv Invoice, err error) {
	if err := asOffice(a); err != nil {
		return inv, err
	}
	err = s.write(ctx, func(tx Tx) error {
		b, _, err := readable(tx, a, build)
		if err != nil {
			return err
		}
		stages, err := tx.Stages(build)
		if err != nil {
			return err
		}
		for _, st := range stages {
			if st.State != journal.Closed {
				return journal.Errorf(journal.Conflict, "%s is not closed yet; the holdback is released when every stage is.", st.Name)
			}
		}
		acc, err := s.account(tx, b)
		if err != nil {
			return err
		}
		doc, ok, err := billing.Release(acc, s.today(tx))
		if err != nil {
			return err
		}
		if !ok {
			return journal.Errorf(journal.Conflict, "Nothing is held back on this build.")
		}
		inv, err = s.issue(tx, a, b, acc.Terms.Tax, doc, "", "")
		return err
	})
	return inv, err
}

// RecordPayment records money received for an invoice, or as the deposit when
// p.InvoiceID is "". p.ID comes from the form, so that sending the form twice
// records one payment: the second time it returns nil without another record.
//
// It returns [journal.Invalid] with sentences for amount, on, means, reference
// and reason; [journal.Conflict] when p.ID was used for something else.
func (s *Steps) RecordPayment(ctx context.Context, a Actor, build journal.BuildID, p journal.Payment) error {
	if err := asOffice(a); err != nil {
		return err
	}
	if !isFormID(string(p.ID)) {
		return journal.Errorf(journal.Invalid, "This form has lost its number; please open it again and type the payment once more.")
	}
	return s.write(ctx, func(tx Tx) error {
		b, _, err := readable(tx, a, build)
		if err != nil {
			return err
		}
		p.BuildID, p.RecordedBy, p.RecordedAt, p.ReversesID = build, a.Person.ID, s.at(), ""
		again, err := recorded(tx, p)
		if again || err != nil {
			return err
		}
		if err := p.Validate(); err != nil {
			return err
		}
		if p.On > s.today(tx) {
			return journal.Problems{"on": "That day is still to come; please give the day the money came."}.Err()
		}
		acc, err := s.account(tx, b)
		if err != nil {
			return err
		}
		if p.InvoiceID == "" {
			if err := checkDeposit(acc, p.Amount); err != nil {
				return err
			}
		} else if err := billing.CheckPayment(acc, string(p.InvoiceID), p.Amount); err != nil {
			return err
		}
		if err := tx.AddPayment(p); err != nil {
			return err
		}
		if err := s.record(tx, a, build, paymentKind(p)+" received", string(p.ID), paymentDetail(p)); err != nil {
			return err
		}
		return s.thank(tx, b, p)
	})
}

// ReversePayment undoes a payment, for instance a bounced cheque, by a second
// record with the opposite amount. Deposit that invoices have used already
// cannot be taken back this way.
func (s *Steps) ReversePayment(ctx context.Context, a Actor, build journal.BuildID, id journal.PaymentID, reason string) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		b, _, err := readable(tx, a, build)
		if err != nil {
			return err
		}
		payments, err := tx.Payments(build)
		if err != nil {
			return err
		}
		var found *journal.Payment
		for i, p := range payments {
			if p.ReversesID == id {
				return journal.Errorf(journal.Conflict, "This payment was reversed already, on %s.", p.On)
			}
			if p.ID == id {
				found = &payments[i]
			}
		}
		if found == nil {
			return journal.Errorf(journal.NotFound, "There is no such payment.")
		}
		if found.ReversesID != "" {
			return journal.Errorf(journal.Conflict, "This record reverses a payment and cannot be reversed; please record the payment anew.")
		}
		p := *found
		p.ID, p.Amount, p.On = journal.PaymentID(s.NewID()), -found.Amount, s.today(tx)
		p.ReversesID, p.Reason, p.RecordedBy, p.RecordedAt = id, reason, a.Person.ID, s.at()
		if err := p.Validate(); err != nil {
			return err
		}
		if p.InvoiceID == "" {
			acc, err := s.account(tx, b)
			if err != nil {
				return err
			}
			if err := billing.CheckDepositRefund(acc, found.Amount); err != nil {
				return journal.Errorf(journal.Conflict, "Part of this deposit is credited on invoices already, so it cannot be reversed as a whole.")
			}
		}
		if err := tx.AddPayment(p); err != nil {
			return err
		}
		return s.record(tx, a, build, paymentKind(p)+" reversed", string(p.ID), paymentDetail(p))
	})
}

// recorded reports whether the same payment is there already; a different one
// under the same id is a conflict.
func recorded(r Reads, p journal.Payment) (bool, error) {
	payments, err := r.Payments(p.BuildID)
	if err != nil {
		return false, err
	}
	for _, old := range payments {
		if old.ID != p.ID {
			continue
		}
		if old.InvoiceID == p.InvoiceID && old.Amount == p.Amount && old.On == p.On {
			return true, nil
		}
		return false, journal.Errorf(journal.Conflict, "This form was sent before, with %s; that payment is recorded. Please open a new form for another one.", old.Amount)
	}
	return false, nil
}

// checkDeposit refuses more than the agreed deposit.
func checkDeposit(a billing.Account, amount journal.Cents) error {
	left := a.Terms.Deposit - a.DepositReceived
	if amount > left {
		return journal.Problems{"amount": fmt.Sprintf("The agreed deposit is %s, and %s of it is still to come; please enter at most that.", a.Terms.Deposit, max(left, 0))}.Err()
	}
	return nil
}

func paymentKind(p journal.Payment) string {
	if p.InvoiceID == "" {
		return "deposit"
	}
	return "payment"
}

func paymentDetail(p journal.Payment) map[string]any {
	return map[string]any{
		"invoice": p.InvoiceID, "amount": p.Amount, "on": p.On, "means": p.Means,
		"reference": p.Reference, "reverses": p.ReversesID, "reason": p.Reason,
	}
}

// thank tells the owners that a payment came and what is still due.
func (s *Steps) thank(tx Tx, b journal.Build, p journal.Payment) error {
	acc, err := s.account(tx, b)
	if err != nil {
		return err
	}
	shop, err := tx.Shop()
	if err != nil {
		return err
	}
	owners, _, err := ownersOf(tx, b.ID)
	if err != nil {
		return err
	}
	what := "the deposit"
	for _, d := range acc.Documents {
		if d.ID == string(p.InvoiceID) {
			what = d.Name()
		}
	}
	for _, owner := range owners {
		letter := PaymentLetter{
			ShopName: shop.Name, To: owner, Payment: p, Nickname: b.Nickname, For: what,
			StillDue: billing.StatementOf(acc).Due, Path: fmt.Sprintf("/builds/%s/money", b.ID),
		}
		if _, err := s.post(tx, b.ID, owner, letter); err != nil {
			return err
		}
	}
	return nil
}

// today is the present day at the shop; in UTC before its settings are there.
func (s *Steps) today(r Reads) journal.Date {
	shop, err := r.Shop()
	if err != nil {
		return journal.DateOf(s.at(), time.UTC)
	}
	return journal.DateOf(s.at(), shop.Location())
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

// InvoiceView is everything an issued document's page shows.
type InvoiceView struct {
	Invoice Invoice
	Balance billing.Balance
	Money   Money           // of its build
	Photos  []journal.Photo // of the stage whose close issued it, as the actor may see them
}

// invoicePhotos is how many of a stage's photos stand on its invoice.
const invoicePhotos = 24

// InvoiceOf gathers the page of an issued document.
func (s *Steps) InvoiceOf(ctx context.Context, a Actor, build journal.BuildID, id journal.InvoiceID) (v InvoiceView, err error) {
	if v.Money, err = s.MoneyOf(ctx, a, build); err != nil {
		return v, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Invoice, err = r.Invoice(build, id); err != nil || v.Invoice.StageID == "" {
			return err
		}
		v.Photos, err = r.StagePhotos(build, v.Invoice.StageID, a.Person.Role.Staff(), invoicePhotos)
		return err
	})
	for _, b := range v.Money.Balances {
		if b.Document.ID == string(id) {
			v.Balance = b
		}
	}
	return v, err
}
