package flow_test

import (
	"flag"
	"fmt"
	"slices"
	"strconv"

	"pgregory.net/rapid"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// The acts of a [history]. Each does nothing where it cannot be done, and counts in
// done where it was.

var actNames = []string{
	"change", "close", "close another", "reopen", "log work", "take work back", "bill work", "pay", "pay on account", "bounce", "refund",
	"deposit", "refund deposit", "cancel", "bill changes", "release", "use the allowance",
}

func (h *history) acts() map[string]func() {
	return map[string]func(){
		"change": h.change, "close": h.close, "close another": h.close, "reopen": h.reopen, "log work": h.logWork, "take work back": h.takeBack,
		"bill work": h.billWork, "pay": h.pay, "pay on account": h.payOnAccount, "bounce": h.bounce, "refund": h.refund, "deposit": h.deposit,
		"refund deposit": h.refundDeposit, "cancel": h.cancel, "bill changes": h.billChanges, "release": h.release, "use the allowance": h.use,
	}
}

// rapidChecks is how many histories are tried.
func rapidChecks() int {
	n, err := strconv.Atoi(flag.Lookup("rapid.checks").Value.String())
	if err != nil {
		panic(err)
	}
	return n
}

func (h *history) did(what string) { h.done[what]++ }

// may passes on success, and takes a conflict as "not now".
func (h *history) may(err error) bool {
	if err != nil && journal.CodeOf(err) != journal.Conflict {
		h.y.do(err)
	}
	return err == nil
}

func (h *history) money() flow.Money {
	return got(h.y.steps.MoneyOf(h.y.ctx, h.y.office, h.y.heron))(h.y.t)
}

func (h *history) form() int {
	h.forms++
	return h.forms
}

func (h *history) anyStage() journal.Stage {
	return h.y.stage(h.y.heron, rapid.IntRange(0, historyStages-1).Draw(h.r, "stage"))
}

// change sends a change order up or down, on a stage in any state, and has it signed
// or declined.
func (h *history) change() {
	y := h.y
	amount := journal.Cents(rapid.Int64Range(-150_000, 300_000).Filter(func(n int64) bool { return n != 0 }).Draw(h.r, "amount"))
	p := y.sent(y.heron, signoff.Draft{Title: "Change", Reason: "Found.", StageID: h.anyStage().ID, Lines: []signoff.Line{{Kind: journal.Parts, Text: "Part", Amount: amount}}})
	outcome := rapid.SampledFrom([]signoff.Outcome{signoff.OutcomeSigned, signoff.OutcomeSigned, signoff.OutcomeDeclined}).Draw(h.r, "outcome")
	got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, y.form(y.ada, p, outcome)))(y.t)
	if outcome == signoff.OutcomeSigned {
		h.agreed += amount
	}
	h.did("change")
}

func (h *history) close() {
	y := h.y
	for n, st := range h.money().Stages {
		if st.State == journal.Closed {
			continue
		}
		if st.State == journal.NotStarted {
			h.open(n)
		}
		_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, st.ID)
		y.do(err)
		h.did("close")
		h.did("close another")
		return
	}
}

// open puts a stage under way whose gate asks for nothing.
func (h *history) open(n int) {
	y := h.y
	st := y.stage(y.heron, n)
	y.do(y.steps.SaveStage(y.ctx, y.office, y.heron, st.ID, flow.StageChange{
		Version: st.Version, Name: st.Name, PlannedDays: st.PlannedDays, LeadID: st.LeadID, Metered: st.Metered,
	}))
	y.do(y.steps.OpenStage(y.ctx, y.jory, y.heron, st.ID))
}

func (h *history) reopen() {
	if st := h.anyStage(); st.State == journal.Closed {
		h.y.do(h.y.steps.ReopenStage(h.y.ctx, h.y.office, h.y.heron, st.ID, "Once more.", rapid.Bool().Draw(h.r, "with a credit")))
		h.did("reopen")
	}
}

func (h *history) logWork() {
	y := h.y
	st := y.stage(y.heron, meteredStage)
	if st.State == journal.NotStarted {
		h.open(meteredStage)
	}
	in := flow.NewWork{ID: workForm(h.form()), StageID: st.ID, Kind: journal.Labour, Day: "2026-04-14", Text: "Welded.", PersonID: y.jory.Person.ID, Minutes: rapid.IntRange(1, 200).Draw(h.r, "minutes")}
	if rapid.Bool().Draw(h.r, "a part") {
		in.Kind, in.PersonID, in.Minutes, in.Cost = journal.Parts, "", 0, journal.Cents(rapid.Int64Range(1, 60_000).Draw(h.r, "cost"))
	}
	err := y.steps.LogWork(y.ctx, y.jory, y.heron, in)
	if journal.CodeOf(err) == journal.Invalid && journal.ProblemsOf(err)["hours"] != "" {
		return // a day has 24 hours
	}
	if h.may(err) {
		h.did("log work")
	}
}

func (h *history) takeBack() {
	y := h.y
	var standing []journal.WorkID
	for _, line := range y.works(y.stage(y.heron, meteredStage).ID).Lines {
		if line.Work.TakesBack == "" && !line.Gone {
			standing = append(standing, line.Work.ID)
		}
	}
	if len(standing) > 0 && h.may(y.steps.TakeBackWork(y.ctx, y.office, y.heron, rapid.SampledFrom(standing).Draw(h.r, "work"), "Logged twice.")) {
		h.did("take work back")
	}
}

func (h *history) billWork() {
	_, err := h.y.steps.BillWork(h.y.ctx, h.y.office, h.y.heron, h.y.stage(h.y.heron, meteredStage).ID)
	if h.may(err) {
		h.did("bill work")
	}
}

// pay pays for one document, or in one sum for all that is open and more.
func (h *history) pay() {
	y, m := h.y, h.money()
	i := slices.IndexFunc(m.Balances, func(b billing.Balance) bool { return b.Open > 0 })
	if i < 0 {
		return
	}
	b := m.Balances[i]
	if rapid.Bool().Draw(h.r, "all in one sum") {
		h.receive(max(m.Statement.Due, 0)+journal.Cents(rapid.Int64Range(1, 5_000).Draw(h.r, "more")), 0)
	} else {
		p := payment(h.form(), journal.InvoiceID(b.Document.ID), journal.Cents(rapid.Int64Range(1, int64(b.Open)).Draw(h.r, "paid")))
		y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, p))
		h.paid += p.Amount
		h.receipts = append(h.receipts, flowReceipt{id: p.ID, rest: p.Amount})
	}
	h.did("pay")
}

// receive records one sum, some of it for the deposit.
func (h *history) receive(amount, deposit journal.Cents) {
	r := receipt(h.form(), amount)
	r.KeepRest, r.Deposit = true, deposit
	got(h.y.steps.RecordReceipt(h.y.ctx, h.y.office, h.y.heron, r))(h.y.t)
	h.paid += amount - deposit
	h.received += deposit
	h.receipts = append(h.receipts, flowReceipt{id: r.ID, amount: deposit, rest: amount - deposit})
}

func (h *history) payOnAccount() {
	h.receive(journal.Cents(rapid.Int64Range(1, 80_000).Draw(h.r, "on account")), 0)
	h.did("pay on account")
}

func (h *history) deposit() {
	if left := billing.DepositAsked(h.money().Account); left > 0 {
		deposit := journal.Cents(rapid.Int64Range(1, int64(left)).Draw(h.r, "deposited"))
		h.receive(deposit+journal.Cents(rapid.Int64Range(0, 1_000).Draw(h.r, "beside it")), deposit)
		h.did("deposit")
	}
}

// bounce reverses any sum that came in, or went out and came back.
func (h *history) bounce() {
	if len(h.receipts) == 0 {
		return
	}
	i := rapid.IntRange(0, len(h.receipts)-1).Draw(h.r, "receipt")
	r := h.receipts[i]
	h.receipts = slices.Delete(h.receipts, i, i+1)
	h.y.do(h.y.steps.ReversePayment(h.y.ctx, h.y.office, h.y.heron, r.id, "Returned by the bank."))
	if r.refund {
		h.refunded -= r.amount
		h.paid += r.rest
	} else {
		h.received -= r.amount
		h.paid -= r.rest
	}
	refused(h.y.t, h.y.steps.ReversePayment(h.y.ctx, h.y.office, h.y.heron, r.id, "Once more."), journal.Conflict)
	h.did("bounce")
}

func (h *history) refund() {
	if favour := -h.money().Statement.Due; favour > 0 {
		h.send(flow.Refund{Amount: journal.Cents(rapid.Int64Range(1, int64(favour)).Draw(h.r, "sent back"))})
		h.did("refund")
	}
}

func (h *history) refundDeposit() {
	if unearned := h.money().Statement.DepositUnearned; unearned > 0 {
		h.send(flow.Refund{Deposit: true, Amount: journal.Cents(rapid.Int64Range(1, int64(unearned)).Draw(h.r, "sent back"))})
		h.did("refund deposit")
	}
}

func (h *history) send(r flow.Refund) {
	f := refund(h.form(), r.Amount)
	f.Deposit = r.Deposit
	h.y.do(h.y.steps.RecordRefund(h.y.ctx, h.y.office, h.y.heron, f))
	sent := flowReceipt{id: f.ID, refund: true}
	if r.Deposit {
		h.refunded += r.Amount
		sent.amount = r.Amount
	} else {
		h.paid -= r.Amount
		sent.rest = r.Amount
	}
	h.receipts = append(h.receipts, sent)
}

func (h *history) cancel() {
	m := h.money()
	gone := map[string]bool{}
	for _, inv := range m.Invoices {
		gone[inv.Document.Cancels] = true
	}
	var standing []journal.InvoiceID
	for _, inv := range m.Invoices {
		if inv.Document.Kind == billing.Invoice && !gone[inv.Document.ID] {
			standing = append(standing, inv.ID)
		}
	}
	if len(standing) > 0 {
		got(h.y.steps.CancelInvoice(h.y.ctx, h.y.office, h.y.heron, rapid.SampledFrom(standing).Draw(h.r, "taken back"), "Wrong."))(h.y.t)
		h.did("cancel")
	}
}

func (h *history) billChanges() {
	_, err := h.y.steps.BillChanges(h.y.ctx, h.y.office, h.y.heron)
	if h.may(err) {
		h.did("bill changes")
	}
}

func (h *history) release() {
	_, err := h.y.steps.ReleaseHoldback(h.y.ctx, h.y.office, h.y.heron)
	if h.may(err) {
		h.did("release")
	}
}

func (h *history) use() {
	amount := journal.Cents(rapid.Int64Range(1, 40_000).Draw(h.r, "used"))
	n := used(fmt.Sprintf("use-%d", h.form()), h.find, amount)
	n.StageID = h.anyStage().ID
	_, err := h.y.steps.BookUse(h.y.ctx, h.y.office, h.y.heron, n)
	if journal.CodeOf(err) == journal.Invalid && journal.ProblemsOf(err)["lines"] != "" {
		return // more than is left of it
	}
	if h.may(err) {
		h.agreed += amount
		h.did("use the allowance")
	}
}
