package server

import (
	"fmt"
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/views"
)

func invoicePath(build journal.BuildID, invoice journal.InvoiceID) string {
	return fmt.Sprintf("/builds/%s/invoices/%s", build, invoice)
}

func moneyPath(build journal.BuildID) string { return fmt.Sprintf("/builds/%s/money", build) }

// money shows a build's statement. GET /builds/:build/money
func (a *App) money(c echo.Context) error { return a.showMoney(c, http.StatusOK, reversing{}) }

// reversing is a reversal that was refused, with what was typed.
type reversing struct {
	id       journal.PaymentID
	reason   string
	problems journal.Problems
}

func (a *App) showMoney(c echo.Context, status int, r reversing) error {
	m, err := a.steps.MoneyOf(c.Request().Context(), actor(c), of(c).build.ID)
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Money")
	if err != nil {
		return err
	}
	today := journal.DateOf(a.now(), f.Zone)
	invoices, payments := invoiceItems(m, today), paymentItems(m)
	slices.Reverse(invoices)
	slices.Reverse(payments)
	agreed := m.Build.State != journal.Scoping
	if of(c).person.Role != journal.Office {
		return a.show(c, status, views.Money{
			Frame: f, Agreed: agreed, Stopped: m.Build.State == journal.Stopped, Statement: m.Statement, Deposit: m.Account.Terms.Deposit, Holdback: m.Account.Terms.HoldbackRate,
			Stages: moneyStages(m), Invoices: invoices, Payments: payments, Today: today,
		})
	}
	page := views.StaffMoney{
		Frame: f, Agreed: agreed, Stopped: m.Build.State == journal.Stopped, Statement: m.Statement, Deposit: m.Account.Terms.Deposit,
		Stages: moneyStages(m), Invoices: invoices, Payments: payments,
		ReverseID: r.id, Reason: r.reason, Problems: r.problems, Unbilled: m.ToBillNow,
	}
	for _, st := range m.Stages {
		if st.State != journal.Closed && !page.Stopped {
			page.ReleaseWhy = "The holdback is released when every stage is closed; " + st.Name + " is not yet."
			break
		}
	}
	return a.show(c, status, page)
}

// moneyStages are the statement's lines in the order of work.
func moneyStages(m flow.Money) []views.MoneyStage {
	rows := map[string]billing.StageRow{}
	for _, row := range m.Statement.Stages {
		rows[row.StageID] = row
	}
	var lines []views.MoneyStage
	for _, st := range m.Stages {
		lines = append(lines, views.MoneyStage{
			Name: st.Name, Href: fmt.Sprintf("/builds/%s/stages/%s", st.BuildID, st.ID), State: st.State, Row: rows[string(st.ID)],
		})
	}
	if rest := rows[""]; rest != (billing.StageRow{}) {
		lines = append(lines, views.MoneyStage{Name: "Not borne by a stage", Row: rest})
	}
	return lines
}

// invoiceItems lists the issued documents in the order of their issue.
func invoiceItems(m flow.Money, today journal.Date) []views.InvoiceItem {
	var items []views.InvoiceItem
	for i, inv := range m.Invoices {
		items = append(items, invoiceItem(inv, m.Balances[i], m.Stages, today))
	}
	return items
}

func invoiceItem(inv flow.Invoice, b billing.Balance, stages []journal.Stage, today journal.Date) views.InvoiceItem {
	d := inv.Document
	item := views.InvoiceItem{
		ID: inv.ID, Kind: d.Kind, Number: d.Number, Stage: stageName(stages, inv.StageID), On: d.IssuedOn, DueOn: d.DueOn,
		Total: d.Total(), Payable: d.Payable, Open: b.Open, OnAccount: b.OnAccount,
	}
	if b.Open > 0 {
		item.Late = max(d.DueOn.DaysUntil(today), 0)
	}
	return item
}

// paymentItems lists what came in and went back in the order it was recorded,
// each receipt once.
func paymentItems(m flow.Money) []views.PaymentItem {
	var items []views.PaymentItem
	of := map[journal.PaymentID]int{} // receipt -> its item
	single := singlePayments(m)
	for i, p := range m.Payments {
		part := single[i]
		paid := views.PaidFor{What: part.For, OnAccount: p.OnAccount, Amount: part.Amount}
		n, begun := of[p.ReceiptID]
		if p.ReceiptID == "" || !begun {
			if p.ReceiptID != "" {
				of[p.ReceiptID] = len(items)
				part.ID, part.Parts = p.ReceiptID, []views.PaidFor{paid}
			}
			items = append(items, part)
			continue
		}
		item := &items[n]
		item.Amount += part.Amount
		item.Parts = append(item.Parts, paid)
		item.For += " and " + part.For
		item.Reversed = item.Reversed || part.Reversed
	}
	return items
}

// singlePayments lists the payments one by one, as they are recorded.
func singlePayments(m flow.Money) []views.PaymentItem {
	names := map[journal.InvoiceID]string{"": "the deposit"}
	for _, inv := range m.Invoices {
		names[inv.ID] = inv.Document.Name()
	}
	reversed := map[journal.PaymentID]bool{}
	for _, p := range m.Payments {
		reversed[p.ReversesID] = true
	}
	items := make([]views.PaymentItem, 0, len(m.Payments))
	for _, p := range m.Payments {
		item := views.PaymentItem{
			ID: p.ID, On: p.On, Amount: p.Amount, Means: p.Means, Reference: p.Reference, For: names[p.InvoiceID], Refund: p.Refund,
			Reversed: reversed[p.ID], Reversal: p.ReversesID != "", Reason: p.Reason, RecordedAt: p.RecordedAt,
		}
		if p.OnAccount {
			item.For = "the account"
		}
		items = append(items, item)
	}
	return items
}

// invoice shows one issued document, with the stage's photos as its reason.
// GET /builds/:build/invoices/:invoice
func (a *App) invoice(c echo.Context) error { return a.showInvoice(c, http.StatusOK, "", nil) }

func (a *App) showInvoice(c echo.Context, status int, reason string, bad journal.Problems) error {
	v, err := a.steps.InvoiceOf(c.Request().Context(), actor(c), of(c).build.ID, journal.InvoiceID(c.Param("invoice")))
	if err != nil {
		return err
	}
	f, err := a.frame(c, views.UpperFirst(v.Invoice.Document.Name()))
	if err != nil {
		return err
	}
	page := views.Invoice{
		Frame: f, Document: v.Invoice.Document, ShopHead: v.Invoice.ShopHead, BillTo: v.Invoice.BillTo, Truck: v.Invoice.Truck,
		StageID: v.Invoice.StageID, Stage: stageName(v.Money.Stages, v.Invoice.StageID), Balance: v.Balance,
		Today: journal.DateOf(a.now(), f.Zone),
	}
	if v.WorkOn != "" {
		page.StageID, page.WorkOn = v.WorkOn, stageName(v.Money.Stages, v.WorkOn)
	}
	page.Lines = invoiceLines(v)
	page.Reason, page.Problems = reason, bad
	page.CanCancel = v.Invoice.Document.Kind == billing.Invoice && of(c).person.Role == journal.Office
	for _, inv := range v.Money.Invoices {
		link := &views.Link{Text: inv.Document.Name(), Href: invoicePath(inv.BuildID, inv.ID)}
		switch {
		case inv.Document.ID == v.Invoice.Document.Cancels:
			page.Cancels = link
		case inv.Document.Cancels == v.Invoice.Document.ID:
			page.TakenBack, page.CanCancel = link, false
		}
	}
	for _, line := range v.Invoice.TaxLines {
		page.Tax = append(page.Tax, views.TaxLine(line))
	}
	for i, item := range singlePayments(v.Money) {
		if v.Money.Payments[i].InvoiceID == v.Invoice.ID {
			page.Payments = append(page.Payments, item)
		}
	}
	for _, p := range v.Photos {
		page.Photos = append(page.Photos, views.NewPhotoView(f.Words, p, "", "stage="+string(page.StageID)))
	}
	return a.show(c, status, page)
}

// invoiceCancel takes an invoice back by a credit memo.
// POST /builds/:build/invoices/:invoice/cancel
func (a *App) invoiceCancel(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build.ID
	memo, err := a.steps.CancelInvoice(c.Request().Context(), actor(c), build, journal.InvoiceID(c.Param("invoice")), f.line("reason"))
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		return a.showInvoice(c, http.StatusUnprocessableEntity, f.raw("reason"), bad)
	}
	if err != nil {
		return err
	}
	return a.done(c, invoicePath(build, memo.ID), views.UpperFirst(memo.Document.Name())+" is issued, and the owner has it by e-mail.")
}

// billChanges bills signed changes on closed stages at once.
// POST /builds/:build/invoices
func (a *App) billChanges(c echo.Context) error {
	build := of(c).build.ID
	inv, err := a.steps.BillChanges(c.Request().Context(), actor(c), build)
	if err != nil {
		return err
	}
	return a.done(c, invoicePath(build, inv.ID), views.UpperFirst(inv.Document.Name())+" is issued, and the owner has it by e-mail.")
}

// holdbackRelease lets go of what was held back.
// POST /builds/:build/holdback/release
func (a *App) holdbackRelease(c echo.Context) error {
	build := of(c).build.ID
	inv, err := a.steps.ReleaseHoldback(c.Request().Context(), actor(c), build)
	if err != nil {
		return err
	}
	return a.done(c, invoicePath(build, inv.ID), "The holdback is released, and the owner has the document by e-mail.")
}
