package server

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/views"
)

// depositChoice is what the form sends in place of an invoice's id.
const depositChoice = "deposit"

// paymentNew shows the form for a payment, for the invoice named in the query
// or else the oldest open one. GET /builds/:build/payments/new
func (a *App) paymentNew(c echo.Context) error {
	kept, err := a.kept(c, "/builds/"+string(of(c).build.ID)+"/payments")
	if err != nil {
		return err
	}
	if kept != nil {
		return a.showPayment(c, http.StatusOK, paymentForm(formOf(kept)), nil)
	}
	form := views.PaymentForm{ID: a.newID(), Invoice: c.QueryParam("invoice"), Means: string(journal.Cheque)}
	return a.showPayment(c, http.StatusOK, form, nil)
}

func paymentForm(f *form) views.PaymentForm {
	return views.PaymentForm{
		ID: f.raw("id"), Invoice: f.raw("invoice"), Amount: f.raw("amount"), On: f.raw("on"), Means: f.raw("means"), Reference: f.raw("reference"),
	}
}

func (a *App) showPayment(c echo.Context, status int, form views.PaymentForm, bad journal.Problems) error {
	m, err := a.steps.MoneyOf(c.Request().Context(), actor(c), of(c).build.ID)
	if err != nil {
		return err
	}
	f, err := a.frame(c, "Record a payment")
	if err != nil {
		return err
	}
	today := journal.DateOf(a.now(), f.Zone)
	page := views.PaymentNew{
		Frame: f, DepositAsked: m.Account.Terms.Deposit, DepositIn: m.Account.DepositReceived, Form: form, Problems: bad,
	}
	for _, item := range invoiceItems(m, today) {
		if item.Open > 0 {
			page.Open = append(page.Open, item)
		}
	}
	if page.Form.Invoice == "" && len(page.Open) > 0 {
		page.Form.Invoice = string(page.Open[0].ID)
	}
	if status == http.StatusOK && page.Form.On == "" {
		page.Form.On = string(today)
		for _, item := range page.Open {
			if string(item.ID) == page.Form.Invoice {
				page.Form.Amount = item.Open.String()
			}
		}
	}
	return a.show(c, status, page)
}

// paymentAdd records a payment. POST /builds/:build/payments
func (a *App) paymentAdd(c echo.Context) error {
	f, err := readForm(c)
	if err != nil {
		return err
	}
	build := of(c).build.ID
	p := journal.Payment{
		ID: formID[journal.PaymentID](f, "id"), InvoiceID: formID[journal.InvoiceID](f, "invoice"), Amount: f.cents("amount"),
		On: f.date("on"), Means: formID[journal.Means](f, "means"), Reference: f.line("reference"),
	}
	switch p.InvoiceID {
	case depositChoice:
		p.InvoiceID = ""
	case "":
		f.bad.Add("invoice", "Please choose what the payment is for.")
	}
	if err = f.err(); err == nil {
		err = a.steps.RecordPayment(c.Request().Context(), actor(c), build, p)
	}
	if bad, other := problems(err); other == nil && len(bad) > 0 {
		return a.showPayment(c, http.StatusUnprocessableEntity, paymentForm(f), bad)
	}
	if err != nil {
		return err
	}
	return a.done(c, moneyPath(build), "The payment is recorded, and the owner has a note of it by e-mail.")
}

// paymentReverse undoes a payment.
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
	return a.done(c, moneyPath(build), "The payment is reversed; what it had paid is open again.")
}
