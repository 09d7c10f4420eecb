package server

import (
	"fmt"
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/views"
)

// depositChoice is what an address names in place of an invoice's id.
const depositChoice = "deposit"

// maxPaymentRows is far above the invoices that one build has open.
const maxPaymentRows = 100

// paymentNew shows the form for what came in, filled for the invoice named in the
// query, or else for the oldest open one. GET /builds/:build/payments/new
func (a *App) paymentNew(c echo.Context) error {
	kept, err := a.kept(c, "/builds/"+string(of(c).build.ID)+"/payments")
	if err != nil {
		return err
	}
	page, m, err := a.paymentPage(c)
	if err != nil {
		return err
	}
	if kept != nil {
		fillPayment(&page, formOf(kept), m)
		return a.show(c, http.StatusOK, page)
	}
	page.Form = views.PaymentForm{ID: a.newID(), Means: string(journal.Cheque), On: string(journal.DateOf(a.now(), page.Zone))}
	wanted := c.QueryParam("invoice")
	switch {
	case page.DepositAsked > 0 && (wanted == depositChoice || wanted == "" && len(page.Rows) == 0):
		page.Form.Deposit = page.DepositAsked.String()
		page.Form.Amount = page.Form.Deposit
	case wanted == "" && len(page.Rows) > 0:
		page.Form.Amount = page.Rows[0].Item.Open.String()
	}
	for i, row := range page.Rows {
		if string(row.Item.ID) == wanted {
			page.Form.Amount = row.Item.Open.String()
			page.Rows[i].Amount = page.Form.Amount
		}
	}
	return a.show(c, http.StatusOK, page)
}

// paymentPage is the form's page with nothing typed.
func (a *App) paymentPage(c echo.Context) (page views.PaymentNew, m flow.Money, err error) {
	if m, err = a.steps.MoneyOf(c.Request().Context(), actor(c), of(c).build.ID); err != nil {
		return page, m, err
	}
	if page.Frame, err = a.frame(c, "Record a payment"); err != nil {
		return page, m, err
	}
	page.DepositAsked, page.DepositIn = billing.DepositAsked(m.Account), m.Account.DepositReceived
	for _, item := range invoiceItems(m, journal.DateOf(a.now(), page.Zone)) {
		if item.Open > 0 {
			page.Rows = append(page.Rows, views.PaymentRow{N: len(page.Rows), Item: item})
		}
	}
	return page, m, nil
}

// fillPayment puts what was typed into the page, and shows the invoices of the form
// in the form's order, those settled meanwhile too.
func fillPayment(page *views.PaymentNew, f *form, m flow.Money) {
	page.Form = views.PaymentForm{
		ID: f.raw("id"), Amount: f.raw("amount"), On: f.raw("on"), Means: f.raw("means"), Reference: f.raw("reference"),
		Deposit: f.raw("deposit"), KeepRest: f.has("keep_rest"),
	}
	open := page.Rows
	page.Rows = nil
	typed := map[journal.InvoiceID]bool{}
	for i := range f.indexed("for", maxPaymentRows) {
		id := formID[journal.InvoiceID](f, at("for", i, "invoice"))
		row := views.PaymentRow{N: i, Amount: f.raw(at("for", i, "amount"))}
		for n, inv := range m.Invoices {
			if inv.ID == id {
				row.Item = invoiceItem(inv, m.Balances[n], m.Stages, "")
			}
		}
		if row.Item.ID == "" {
			continue // of no invoice of this build
		}
		for _, item := range open {
			if item.Item.ID == id {
				row.Item = item.Item
			}
		}
		typed[id] = true
		page.Rows = append(page.Rows, row)
	}
	for _, row := range open {
		if !typed[row.Item.ID] {
			row.N = max(len(page.Rows), row.N)
			page.Rows = append(page.Rows, row)
		}
	}
}

// receiptOf reads the form; rows says for each part in which row it stands.
func receiptOf(f *form) (r flow.Receipt, rows []int) {
	r = flow.Receipt{
		ID: formID[journal.PaymentID](f, "id"), Amount: f.cents("amount"), On: f.date("on"), Means: formID[journal.Means](f, "means"),
		Reference: f.line("reference"), Deposit: f.cents("deposit"), KeepRest: f.has("keep_rest"),
	}
	for i := range f.indexed("for", maxPaymentRows) {
		field := at("for", i, "amount")
		if f.line(field) == "" {
			continue
		}
		r.Parts = append(r.Parts, flow.ReceiptPart{Invoice: formID[journal.InvoiceID](f, at("for", i, "invoice")), Amount: f.cents(field)})
		rows = append(rows, i)
	}
	return r, rows
}

// paymentAdd records what came in. POST /builds/:build/payments
func (a *App) paymentAdd(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	ctx, build := c.Request().Context(), of(c).build.ID
	r, rows := receiptOf(f)
	var recorded []journal.Payment
	if err = f.err(); err == nil {
		recorded, err = a.steps.RecordReceipt(ctx, actor(c), build, r)
		if bad, other := problems(err); other == nil {
			err = inRows(bad, rows).Err()
		}
	}
	if refusal, ok := refused(err); ok {
		page, m, err := a.paymentPage(c)
		if err != nil {
			return err
		}
		fillPayment(&page, f, m)
		page.Problems = refusal.problems
		refusal.on(&page.Frame)
		return a.show(c, refusal.answer(), page)
	}
	if err != nil {
		return err
	}
	said, err := a.recordedSays(c, recorded)
	if err != nil {
		return err
	}
	return a.done(c, moneyPath(build), said)
}

// inRows moves the problems of a receipt's parts to the form's rows.
func inRows(bad journal.Problems, rows []int) journal.Problems {
	moved := journal.Problems{}
	for field, sentence := range bad {
		for i, row := range rows {
			if field == at("for", i, "amount") {
				field = at("for", row, "amount")
				break
			}
		}
		moved.Add(field, "%s", sentence)
	}
	return moved
}

// recordedSays says how a receipt was divided.
func (a *App) recordedSays(c echo.Context, recorded []journal.Payment) (string, error) {
	m, err := a.steps.MoneyOf(c.Request().Context(), actor(c), of(c).build.ID)
	if err != nil {
		return "", err
	}
	f, err := a.frame(c, "")
	if err != nil {
		return "", err
	}
	names := map[journal.PaymentID]string{}
	for i, item := range singlePayments(m) {
		names[m.Payments[i].ID] = item.For
	}
	var parts []string
	for _, p := range recorded {
		amount, err := f.Money(p.Amount)
		if err != nil {
			return "", err
		}
		parts = append(parts, amount+" for "+names[p.ID])
	}
	return fmt.Sprintf("The payment is recorded: %s. The owner has a note of it by e-mail.", views.List(parts)), nil
}

// paymentReverse undoes a receipt or a refund.
// POST /builds/:build/payments/:payment/reverse
func (a *App) paymentReverse(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build, id := of(c).build.ID, journal.PaymentID(c.Param("payment"))
	err = a.steps.ReversePayment(c.Request().Context(), actor(c), build, id, f.line("reason"))
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		return a.showMoney(c, http.StatusUnprocessableEntity, reversing{id: id, reason: f.raw("reason"), problems: bad})
	}
	if err != nil {
		return err
	}
	return a.done(c, moneyPath(build), "It is reversed, and the owner is told. What it had paid is open again.")
}

// refundNew shows the form for money sent back. GET /builds/:build/refunds/new
func (a *App) refundNew(c echo.Context) error {
	kept, err := a.kept(c, "/builds/"+string(of(c).build.ID)+"/refunds")
	if err != nil {
		return err
	}
	page, err := a.refundPage(c)
	if err != nil {
		return err
	}
	if kept != nil {
		page.Form = refundForm(formOf(kept))
		return a.show(c, http.StatusOK, page)
	}
	page.Form = views.RefundForm{ID: a.newID(), Source: c.QueryParam("from"), Means: string(journal.Cheque), On: string(journal.DateOf(a.now(), page.Zone))}
	switch {
	case page.Form.Source == depositChoice || page.Favour == 0 && page.Unearned > 0:
		page.Form.Source, page.Form.Amount = depositChoice, page.Unearned.String()
	case page.Favour > 0:
		page.Form.Source, page.Form.Amount = "favour", page.Favour.String()
	}
	return a.show(c, http.StatusOK, page)
}

func (a *App) refundPage(c echo.Context) (page views.RefundNew, err error) {
	m, err := a.steps.MoneyOf(c.Request().Context(), actor(c), of(c).build.ID)
	if err != nil {
		return page, err
	}
	page.Frame, err = a.frame(c, "Send money back")
	page.Favour, page.Unearned = max(-m.Statement.Due, 0), max(m.Statement.DepositUnearned, 0)
	return page, err
}

func refundForm(f *form) views.RefundForm {
	return views.RefundForm{
		ID: f.raw("id"), Source: f.raw("from"), Amount: f.raw("amount"), On: f.raw("on"), Means: f.raw("means"), Reference: f.raw("reference"), Reason: f.raw("reason"),
	}
}

// refundAdd records money sent back. POST /builds/:build/refunds
func (a *App) refundAdd(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build.ID
	r := flow.Refund{
		ID: formID[journal.PaymentID](f, "id"), Amount: f.cents("amount"), On: f.date("on"), Means: formID[journal.Means](f, "means"),
		Reference: f.line("reference"), Reason: f.line("reason"),
	}
	switch f.line("from") {
	case depositChoice:
		r.Deposit = true
	case "favour":
	default:
		f.bad.Add("from", "Please choose out of what it is sent back.")
	}
	if err = f.err(); err == nil {
		err = a.steps.RecordRefund(c.Request().Context(), actor(c), build, r)
	}
	if refusal, ok := refused(err); ok {
		page, err := a.refundPage(c)
		if err != nil {
			return err
		}
		page.Form, page.Problems = refundForm(f), refusal.problems
		refusal.on(&page.Frame)
		return a.show(c, refusal.answer(), page)
	}
	if err != nil {
		return err
	}
	return a.done(c, moneyPath(build), "The refund is recorded, and the owner has a note of it by e-mail.")
}
