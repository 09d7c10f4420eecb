package flow

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

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
	billTo, err := ownerNames(tx, b.ID)
	if err != nil {
		return Invoice{}, err
	}
	if d.Number, err = tx.NextNumber(d.Kind); err != nil {
		return Invoice{}, err
	}
	inv := Invoice{
		ID: journal.InvoiceID(s.NewID()), BuildID: b.ID, StageID: stageID,
		ShopHead: strings.TrimSpace(shop.Name + "\n" + shop.Address),
		BillTo:   strings.Join(billTo, "\n"),
		Truck:    strings.TrimSpace(b.Nickname + "\n" + b.Truck.Name() + "\n" + b.Truck.Serial),
		TaxLines: taxLines(d, tax),
		IssuedAt: s.at(), IssuedBy: a.Person.ID,
	}
	d.ID = string(inv.ID)
	inv.Document = d
	if err := tx.AddInvoice(inv); err != nil {
		return Invoice{}, err
	}
	err = s.record(tx, a, b.ID, string(d.Kind)+" issued", d.ID, invoiceDetail(inv))
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

// invoiceDetail is what the record says of a document: all its figures, so that
// a change of one is found out.
func invoiceDetail(inv Invoice) map[string]any {
	d := inv.Document
	charges := make([]map[string]any, 0, len(d.Charges))
	for _, c := range d.Charges {
		charge := map[string]any{"ref": c.Ref, "text": c.Text}
		for _, k := range journal.LineKinds {
			if amount := c.Split.Of(k); amount != 0 {
				charge[string(k)] = amount
			}
		}
		charges = append(charges, charge)
	}
	return map[string]any{
		"number": d.Number, "stage": inv.StageID, "issued_on": d.IssuedOn, "bill_to": inv.BillTo, "charges": charges, "subtotal": d.Subtotal,
		"tax": d.Tax, "deposit_credit": d.DepositCredit, "holdback": d.Holdback, "payable": d.Payable, "due_on": d.DueOn,
		"cancels": d.Cancels, "reason": d.Reason,
	}
}

// ratesOf are the rates that a document was issued at, of the kinds that it taxes.
func ratesOf(inv Invoice) billing.Tax {
	var tax billing.Tax
	for _, l := range inv.TaxLines {
		tax = tax.With(l.Kind, l.Rate)
	}
	return tax
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

// BillChanges bills at once all signed changes on stages that are closed. It
// returns [journal.Conflict] when there are none.
func (s *Steps) BillChanges(ctx context.Context, a Actor, build journal.BuildID) (inv Invoice, err error) {
	err = s.asOfficeOn(ctx, a, build, func(tx Tx, b journal.Build) error {
		acc, err := s.account(tx, b)
		if err != nil {
			return err
		}
		stages, err := tx.Stages(build)
		if err != nil {
			return err
		}
		doc, ok, err := billing.Next(acc, refsOf(carried(acc, stages)), s.today(tx), "")
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

// CancelInvoice takes a whole invoice back by a credit memo, with a reason; what
// it billed can be billed again. Office only.
//
// It returns [journal.Invalid] beside "reason", [journal.NotFound] when there is
// no such invoice, and [journal.Conflict] when it is none that can be taken back or
// was taken back before.
func (s *Steps) CancelInvoice(ctx context.Context, a Actor, build journal.BuildID, id journal.InvoiceID, reason string) (memo Invoice, err error) {
	err = s.asOfficeOn(ctx, a, build, func(tx Tx, b journal.Build) error {
		memo, err = s.cancelInvoice(tx, a, b, id, reason)
		return err
	})
	return memo, err
}

func (s *Steps) cancelInvoice(tx Tx, a Actor, b journal.Build, id journal.InvoiceID, reason string) (Invoice, error) {
	bad := journal.Problems{}
	journal.CheckLine(bad, "reason", reason, 1, 300, "Please say why it is taken back, in one line of at most 300 characters.")
	if err := bad.Err(); err != nil {
		return Invoice{}, err
	}
	acc, err := s.account(tx, b)
	if err != nil {
		return Invoice{}, err
	}
	doc, err := billing.Cancel(acc, string(id), s.today(tx))
	if err != nil {
		return Invoice{}, err
	}
	doc.Reason = reason
	cancelled, err := tx.Invoice(b.ID, id)
	if err != nil {
		return Invoice{}, err
	}
	// At the rates it was issued at, which may have changed since.
	return s.issue(tx, a, b, ratesOf(cancelled), doc, cancelled.StageID, "")
}

// ReleaseHoldback issues the document that lets go of what was held back. All
// stages must be closed, or the build stopped.
func (s *Steps) ReleaseHoldback(ctx context.Context, a Actor, build journal.BuildID) (inv Invoice, err error) {
	err = s.asOfficeOn(ctx, a, build, func(tx Tx, b journal.Build) error {
		stages, err := tx.Stages(build)
		if err != nil {
			return err
		}
		for _, st := range stages {
			if st.State != journal.Closed && b.State != journal.Stopped {
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

// InvoiceView is everything an issued document's page shows.
type InvoiceView struct {
	Invoice Invoice
	Balance billing.Balance
	Money   Money               // of its build
	WorkOn  journal.StageID     // the metered stage whose work so far it bills; "" otherwise
	Photos  []journal.Photo     // of the stage it is for, as the actor may see them
	Works   map[string]WorkLine // logged work that it bills, by the charge's ref
	Uses    []signoff.Use       // of standing allowances on the build
}

// invoicePhotos is how many of a stage's photos stand on its invoice.
const invoicePhotos = 24

// InvoiceOf gathers the page of an issued document.
func (s *Steps) InvoiceOf(ctx context.Context, a Actor, build journal.BuildID, id journal.InvoiceID) (v InvoiceView, err error) {
	if v.Money, err = s.MoneyOf(ctx, a, build); err != nil {
		return v, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Invoice, err = r.Invoice(build, id); err != nil {
			return err
		}
		if v.Uses, err = r.Uses(build); err != nil {
			return err
		}
		if err := v.addWork(r); err != nil {
			return err
		}
		stage := v.Invoice.StageID
		if stage == "" {
			stage = v.WorkOn
		}
		if stage == "" {
			return nil
		}
		v.Photos, err = r.StagePhotos(build, stage, a.Person.Role.Staff(), invoicePhotos)
		return err
	})
	for _, b := range v.Money.Balances {
		if b.Document.ID == string(id) {
			v.Balance = b
		}
	}
	return v, err
}

// addWork adds the logged work that the document bills.
func (v *InvoiceView) addWork(r Reads) error {
	billed, on := map[string]bool{}, map[string]bool{}
	for _, c := range v.Invoice.Document.Charges {
		billed[c.Ref] = c.Source == billing.LoggedWork
		on[c.StageID] = true
		if billed[c.Ref] && v.Invoice.StageID == "" {
			v.WorkOn = journal.StageID(c.StageID)
		}
	}
	if len(on) > 1 {
		v.WorkOn = ""
	}
	works, err := r.Works(v.Invoice.BuildID)
	if err != nil {
		return err
	}
	works = slices.DeleteFunc(works, func(w journal.Work) bool { return !billed[workRef(w.ID)] })
	lines, err := workLines(r, v.Money.Account, works)
	v.Works = map[string]WorkLine{}
	for _, l := range lines {
		v.Works[workRef(l.Work.ID)] = l
	}
	return err
}
