package billing

import (
	"fmt"
	"math/big"
	"slices"
	"testing"

	"farbay/journal"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// history drives one account through random events and keeps its own books in
// exact rationals beside it, by the rules of the package comment word for word.
// The books are running totals, updated event by event; the package under test
// sums up its records each time.
type history struct {
	a      Account
	frozen []Document // as issued

	agreed, billed, tax, payable     int64
	held, covered, paid              int64
	received, refunded               int64
	billedNow                        map[string]bool
	released                         bool
	cancelled                        map[string]bool
	unreversed                       []string
	stages                           int
	closes, cancels, memos, releases int
}

var stageNames = []string{"frame", "body", "paint", "wiring", ""}

func (h *history) closeDocument(t *rapid.T, d Document) {
	d.Number = len(h.a.Documents) + 1
	d.ID = fmt.Sprintf("document-%d", d.Number)
	h.a.Documents = append(h.a.Documents, d)
	copied := d
	copied.Charges = slices.Clone(d.Charges)
	h.frozen = append(h.frozen, copied)
	h.billed += int64(d.Subtotal)
	h.tax += int64(d.Tax)
	h.payable += int64(d.Payable)
	h.held += int64(d.Holdback)
	h.covered += int64(d.DepositCredit)
}

func (h *history) agree(c Charge) {
	h.a.Agreed = append(h.a.Agreed, c)
	h.agreed += int64(c.Split.Total())
}

// halfAway rounds to the nearest whole number, an exact half away from zero.
func halfAway(r *big.Rat) int64 {
	twice := new(big.Int).Abs(r.Num())
	twice.Add(twice.Lsh(twice, 1), r.Denom())
	q := twice.Quo(twice, new(big.Int).Lsh(r.Denom(), 1)).Int64()
	if r.Sign() < 0 {
		return -q
	}
	return q
}

// wantHoldback and wantCredit are the rules "Holdback" and "Deposit".
func (h *history) wantHoldback(subtotal, total int64) int64 {
	if h.released {
		return 0
	}
	toDate := big.NewRat(max(h.billed+subtotal, 0), 1)
	toDate.Mul(toDate, big.NewRat(int64(h.a.Terms.HoldbackRate), 10_000))
	hold := halfAway(toDate) - h.held
	switch {
	case total >= 0 && hold > total, total < 0 && hold < total:
		return total
	case total >= 0 && hold < 0, total < 0 && hold > 0:
		return 0
	}
	return hold
}

func (h *history) wantCredit(subtotal, toPay int64) int64 {
	deposit := h.received - h.refunded
	billed := h.billed + subtotal
	target := int64(0)
	switch {
	case billed <= 0:
	case billed >= h.agreed || h.a.Terms.Crediting == FirstFirst:
		target = deposit
	case h.a.Terms.Crediting == LastFirst:
		target = deposit - (h.agreed - billed)
	case h.a.Terms.Crediting == ShareOfEach:
		target = halfAway(new(big.Rat).Mul(big.NewRat(int64(h.a.Terms.DepositShare), 10_000), big.NewRat(billed, 1)))
	default:
		target = halfAway(new(big.Rat).Mul(big.NewRat(deposit, 1), big.NewRat(billed, h.agreed)))
	}
	return max(0, min(target-h.covered, toPay, deposit-h.covered))
}

// issueNext bills refs and compares every amount with the books.
func (h *history) issueNext(t *rapid.T, refs []string, stageID string) {
	d, ok, err := Next(h.a, refs, today, stageID)
	if err != nil {
		t.Fatal(err)
	}
	var lines []journal.Split
	var subtotal int64
	something := false
	for _, c := range h.a.Agreed {
		if slices.Contains(refs, c.Ref) {
			lines = append(lines, c.Split)
			subtotal += int64(c.Split.Total())
			something = something || c.Split != journal.Split{}
		}
	}
	if ok != something {
		t.Fatalf("something to bill: %v; Next says %v", something, ok)
	}
	if !ok {
		return
	}
	tax := int64(referenceTax(h.a.Terms.Tax, lines))
	hold := h.wantHoldback(subtotal, subtotal+tax)
	credit := h.wantCredit(subtotal, subtotal+tax-hold)
	got := []int64{int64(d.Subtotal), int64(d.Tax), int64(d.Holdback), int64(d.DepositCredit), int64(d.Payable)}
	want := []int64{subtotal, tax, hold, credit, subtotal + tax - hold - credit}
	if !slices.Equal(got, want) {
		t.Fatalf("subtotal, tax, holdback, credit, payable: %v; the books say %v", got, want)
	}
	h.closeDocument(t, d)
	for _, c := range d.Charges {
		h.billedNow[c.Ref] = true
	}
	if d.Kind == CreditMemo {
		h.memos++
	}
	if _, _, err := Next(h.a, refs, today, stageID); journal.CodeOf(err) != journal.Conflict {
		t.Fatalf("the same charges again: %v; want a Conflict", err)
	}
}

func (h *history) unbilled(stageID string) []string {
	var refs []string
	for _, c := range h.a.Agreed {
		if c.StageID == stageID && !h.billedNow[c.Ref] {
			refs = append(refs, c.Ref)
		}
	}
	return refs
}

func (h *history) addStage(t *rapid.T) {
	h.stages++
	id := stageNames[(h.stages-1)%len(stageNames)]
	amount := rapid.SampledFrom([]int64{0, 1, 333_33, 10_000_00}).Draw(t, "value")
	h.agree(Charge{Ref: fmt.Sprintf("stage:%d", h.stages), Source: Agreement, StageID: id,
		Split: journal.Split{Labour: journal.Cents(amount), Parts: journal.Cents(rapid.Int64Range(0, 5_000_00).Draw(t, "parts"))}})
}

// changeOrder agrees a signed change or a use of an allowance, on a stage in any
// state, up and down, beyond the stage's value too.
func (h *history) changeOrder(t *rapid.T) {
	amount := func(kind string) journal.Cents {
		return journal.Cents(rapid.Int64Range(-8_000_00, 8_000_00).Draw(t, kind))
	}
	c := Charge{
		Ref:     fmt.Sprintf("paper:%d", len(h.a.Agreed)),
		Source:  rapid.SampledFrom([]Source{ChangeOrder, ChangeOrder, Allowance}).Draw(t, "source"),
		StageID: rapid.SampledFrom(stageNames).Draw(t, "stage"),
	}
	switch rapid.IntRange(0, 3).Draw(t, "size") {
	case 0:
		c.Split.Labour = journal.Cents(rapid.Int64Range(-2, 2).Draw(t, "cents"))
	case 1:
		c.Split = journal.Split{Labour: amount("labour"), Parts: amount("parts"), Outside: amount("outside"), Delivery: amount("delivery"), Other: amount("other")}
	default:
		c.Split.Parts = amount("parts")
	}
	h.agree(c)
}

func (h *history) closeStage(t *rapid.T) {
	id := rapid.SampledFrom(stageNames).Draw(t, "stage")
	refs := h.unbilled(id)
	if got := h.a.Unbilled(id); !slices.Equal(got, refs) {
		t.Fatalf("unbilled of %q: %v; the books say %v", id, got, refs)
	}
	h.closes++
	h.issueNext(t, refs, id)
}

func (h *history) billSome(t *rapid.T) {
	all := h.a.Unbilled()
	if len(all) == 0 {
		t.Skip("nothing to bill")
	}
	n := rapid.IntRange(1, len(all)).Draw(t, "how many")
	h.issueNext(t, rapid.Permutation(all).Draw(t, "order")[:n], "")
}

// reopen takes a stage's invoice back, as when it is reopened with a credit.
func (h *history) reopen(t *rapid.T) {
	var ids []string
	for _, d := range h.a.Documents {
		if d.Kind == Invoice && !h.cancelled[d.ID] {
			ids = append(ids, d.ID)
		}
	}
	if len(ids) == 0 {
		t.Skip("no invoice")
	}
	id := rapid.SampledFrom(ids).Draw(t, "invoice")
	d, err := Cancel(h.a, id, today)
	if err != nil {
		t.Fatal(err)
	}
	invoice, _ := h.a.document(id)
	back := min(int64(invoice.Holdback), h.held)
	got := []journal.Cents{d.Subtotal + invoice.Subtotal, d.Tax + invoice.Tax, d.DepositCredit + invoice.DepositCredit, d.Holdback, d.Payable}
	want := []journal.Cents{0, 0, 0, journal.Cents(-back), -invoice.Total() + invoice.DepositCredit + journal.Cents(back)}
	if !slices.Equal(got, want) {
		t.Fatalf("cancelling %+v gives %+v", invoice, d)
	}
	h.closeDocument(t, d)
	h.cancelled[id] = true
	h.cancels++
	for _, c := range invoice.Charges {
		delete(h.billedNow, c.Ref)
	}
	if _, err := Cancel(h.a, id, today); journal.CodeOf(err) != journal.Conflict {
		t.Fatalf("cancelled twice: %v", err)
	}
}

func (h *history) pay(t *rapid.T) {
	var open []Balance
	for _, b := range Open(h.a) {
		if b.Open > 0 {
			open = append(open, b)
		}
	}
	if len(open) == 0 {
		t.Skip("nothing open")
	}
	b := rapid.SampledFrom(open).Draw(t, "document")
	if err := CheckPayment(h.a, b.Document.ID, b.Open+1); journal.CodeOf(err) != journal.Invalid {
		t.Fatalf("a cent more than open was taken: %v", err)
	}
	amount := journal.Cents(rapid.Int64Range(1, int64(b.Open)).Draw(t, "amount"))
	if rapid.Bool().Draw(t, "in full") {
		amount = b.Open
	}
	if err := CheckPayment(h.a, b.Document.ID, amount); err != nil {
		t.Fatal(err)
	}
	h.record(Payment{DocumentID: b.Document.ID, Amount: amount, On: today})
}

func (h *history) record(p Payment) {
	p.ID = fmt.Sprintf("payment-%d", len(h.a.Payments)+1)
	h.a.Payments = append(h.a.Payments, p)
	h.paid += int64(p.Amount)
	if p.Reverses == "" {
		h.unreversed = append(h.unreversed, p.ID)
	}
}

func (h *history) reverse(t *rapid.T) {
	if len(h.unreversed) == 0 {
		t.Skip("no payment")
	}
	i := rapid.IntRange(0, len(h.unreversed)-1).Draw(t, "payment")
	r, err := Reversal(h.a, h.unreversed[i], today)
	if err != nil {
		t.Fatal(err)
	}
	h.unreversed = slices.Delete(h.unreversed, i, i+1)
	h.record(r)
	if _, err := Reversal(h.a, r.Reverses, today); journal.CodeOf(err) != journal.Conflict {
		t.Fatalf("reversed twice: %v", err)
	}
}

func (h *history) refund(t *rapid.T) {
	favour := -Due(h.a)
	if favour <= 0 {
		t.Skip("nothing in the owner's favour")
	}
	amount := journal.Cents(rapid.Int64Range(1, int64(favour)).Draw(t, "amount"))
	if err := CheckRefund(h.a, amount); err != nil {
		t.Fatal(err)
	}
	if err := CheckRefund(h.a, favour+1); journal.CodeOf(err) != journal.Invalid {
		t.Fatalf("a cent too much sent back: %v", err)
	}
	h.record(Payment{Amount: -amount, On: today})
}

func (h *history) receiveDeposit(t *rapid.T) {
	amount := rapid.Int64Range(1, 30_000_00).Draw(t, "amount")
	h.a.DepositReceived += journal.Cents(amount)
	h.received += amount
}

func (h *history) refundDeposit(t *rapid.T) {
	unearned := h.received - h.refunded - h.covered
	if unearned == 0 {
		t.Skip("nothing unearned")
	}
	if err := CheckDepositRefund(h.a, journal.Cents(unearned+1)); journal.CodeOf(err) != journal.Invalid {
		t.Fatalf("a cent too much of the deposit sent back: %v", err)
	}
	amount := rapid.Int64Range(1, unearned).Draw(t, "amount")
	if err := CheckDepositRefund(h.a, journal.Cents(amount)); err != nil {
		t.Fatal(err)
	}
	h.a.DepositRefunded += journal.Cents(amount)
	h.refunded += amount
}

func (h *history) release(t *rapid.T) {
	d, ok, err := Release(h.a, today)
	if err != nil || ok != (h.held > 0) {
		t.Fatalf("held %d: ok %v, %v", h.held, ok, err)
	}
	if !ok {
		t.Skip("nothing held")
	}
	credit := h.wantCredit(0, h.held)
	if int64(d.Holdback) != -h.held || int64(d.DepositCredit) != credit || int64(d.Payable) != h.held-credit {
		t.Fatalf("held %d, to credit %d: %+v", h.held, credit, d)
	}
	h.closeDocument(t, d)
	h.released = true
	h.releases++
}

// check is promise 5 after every event, with the books as witness.
func (h *history) check(t *rapid.T) {
	s := adds(t, h.a)
	got := []journal.Cents{s.Agreed, s.Billed, s.ToBill, s.Tax, s.Paid, s.Due, s.HeldBack, s.Covered, s.DepositReceived, s.DepositUnearned, s.DepositRefunded}
	for i, want := range []int64{h.agreed, h.billed, h.agreed - h.billed, h.tax, h.paid, h.payable - h.paid, h.held, h.covered, h.received, h.received - h.refunded - h.covered, h.refunded} {
		if int64(got[i]) != want {
			t.Fatalf("figure %d of the statement is %s; the books say %d\n%+v", i, got[i], want, s)
		}
	}
	if s.DepositUnearned < 0 {
		t.Fatalf("more of the deposit is covered than there is: %+v", s)
	}
	if diff := cmp.Diff(h.frozen, h.a.Documents); diff != "" {
		t.Fatalf("an issued document changed:\n%s", diff)
	}
	positive, negative := false, false
	for _, b := range Open(h.a) {
		positive, negative = positive || b.Open > 0, negative || b.Open < 0
		if b.Document.Payable-b.Paid-b.Credited != b.Open {
			t.Fatalf("the balance does not add up: %+v", b)
		}
	}
	if positive && negative {
		t.Fatal("credit is left although an invoice is open")
	}
}

// finish bills the rest, then takes everything back: first nothing is left to
// bill, then, where all that was issued can be cancelled, all is zero.
func (h *history) finish(t *rapid.T) {
	h.issueNext(t, h.a.Unbilled(), "")
	h.check(t)
	if s := StatementOf(h.a); s.ToBill != 0 || s.Billed != s.Agreed {
		t.Fatalf("after billing all: %+v", s)
	}
	if h.memos > 0 || h.releases > 0 {
		return
	}
	for _, d := range slices.Clone(h.a.Documents) {
		if d.Kind == Invoice && !h.cancelled[d.ID] {
			memo, err := Cancel(h.a, d.ID, today)
			if err != nil {
				t.Fatal(err)
			}
			h.closeDocument(t, memo)
		}
	}
	s := StatementOf(h.a)
	if s.Billed != 0 || s.Tax != 0 || s.HeldBack != 0 || s.Covered != 0 || s.Due != -s.Paid || s.ToBill != s.Agreed {
		t.Fatalf("after crediting all: %+v", s)
	}
}

// Promise 5 over random histories of change orders, closes, payments, reversals,
// reopenings, refunds and releases.
func TestHistories(t *testing.T) {
	var histories, closes, cancels, memos, releases int
	rapid.Check(t, func(t *rapid.T) {
		h := &history{billedNow: map[string]bool{}, cancelled: map[string]bool{}}
		h.a.Terms = Terms{Crediting: rapid.SampledFrom(Creditings).Draw(t, "crediting"), Tax: anyTax.Draw(t, "tax"),
			HoldbackRate: rapid.SampledFrom([]journal.BasisPoints{0, 333, 500, 1000, 10_000}).Draw(t, "holdback")}
		if h.a.Terms.Crediting == ShareOfEach {
			h.a.Terms.DepositShare = rapid.SampledFrom([]journal.BasisPoints{1, 1000, 2500, 3333, 10_000}).Draw(t, "share")
		}
		if rapid.Bool().Draw(t, "usual tax") {
			h.a.Terms.Tax = Tax{Parts: 625, Delivery: 300}
		}
		for range rapid.IntRange(0, 4).Draw(t, "stages") {
			h.addStage(t)
		}
		t.Repeat(map[string]func(*rapid.T){
			"":                     h.check,
			"add a stage":          h.addStage,
			"change order":         h.changeOrder,
			"another change order": h.changeOrder,
			"close a stage":        h.closeStage,
			"bill some at once":    h.billSome,
			"reopen with credit":   h.reopen,
			"pay":                  h.pay,
			"pay again":            h.pay,
			"reverse a payment":    h.reverse,
			"refund credit":        h.refund,
			"receive deposit":      h.receiveDeposit,
			"refund deposit":       h.refundDeposit,
			"release holdback":     h.release,
		})
		h.finish(t)
		histories, closes, cancels, memos, releases = histories+1, closes+h.closes, cancels+h.cancels, memos+h.memos, releases+h.releases
	})
	t.Logf("%d histories: %d closes, %d cancellations, %d credit memos, %d releases", histories, closes, cancels, memos, releases)
	if closes == 0 || cancels == 0 || memos == 0 || releases == 0 {
		t.Error("the histories never came to some of the events")
	}
}
