package flow_test

import (
	"reflect"
	"testing"
	"time"

	"pgregory.net/rapid"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// within is a test that runs inside of a property, so that what fails is shrunk.
type within struct {
	testing.TB
	r *rapid.T
}

func (w within) Fatal(args ...any)               { w.r.Fatal(args...) }
func (w within) Fatalf(text string, args ...any) { w.r.Fatalf(text, args...) }
func (w within) Error(args ...any)               { w.r.Error(args...) }
func (w within) Errorf(text string, args ...any) { w.r.Errorf(text, args...) }

// history is a random history of one build's money, through the steps that people
// use and on the real database, with what it must come to.
type history struct {
	y     *yard
	r     *rapid.T
	find  journal.Entry
	forms int

	agreed, paid, received, refunded journal.Cents
	receipts                         []flowReceipt // that can still bounce
	noted                            []noted
	done                             map[string]int
}

// flowReceipt is a sum that came in, or went out, in one: of it the deposit's, and
// the rest.
type flowReceipt struct {
	id           journal.PaymentID
	refund       bool
	amount, rest journal.Cents
}

// noted is a statement as it was at an instant.
type noted struct {
	at        time.Time
	statement billing.Statement
}

// The stages of a history's build; the one at meteredStage, counted from 0, goes by
// time and materials.
const (
	historyStages = 3
	meteredStage  = 1
)

// newHistory agrees on a build of three stages, one of them metered, with an
// allowance.
func newHistory(r *rapid.T, t testing.TB) *history {
	y := newYard(t)
	steps := *y.steps
	steps.NewID = ids("m")
	y.steps = &steps
	terms := billing.Terms{
		Deposit: journal.Cents(rapid.Int64Range(0, 300_000).Draw(r, "deposit")), Crediting: rapid.SampledFrom(billing.Creditings).Draw(r, "crediting"),
		HoldbackRate: journal.BasisPoints(rapid.SampledFrom([]int64{0, 333, 500, 1000, 10_000}).Draw(r, "holdback")), DueDays: 14, MarkUp: 1500,
		Tax: billing.Tax{Parts: 625, Labour: journal.BasisPoints(rapid.Int64Range(0, 900).Draw(r, "tax")), PerLine: rapid.Bool().Draw(r, "per line")},
	}
	switch {
	case terms.Crediting == billing.ShareOfEach:
		terms.DepositShare = rapid.SampledFrom([]journal.BasisPoints{1, 2500, 10_000}).Draw(r, "share")
	case terms.Crediting == billing.FirstFirst && terms.Deposit > 0:
		terms.RefillFloor = terms.Deposit / 10
	}
	if terms.HoldbackRate == 500 {
		terms.HoldbackCap = billing.Limits[0].Name
	}
	y.do(y.saveTerms(y.heron, terms))
	var rows []flow.StageScope
	for n, st := range y.view(y.heron).Stages {
		row := rowOf(st)
		row.Drop, row.Metered = n >= historyStages, n == meteredStage
		rows = append(rows, row)
	}
	y.do(y.steps.SaveScope(y.ctx, y.office, y.heron, rows))
	y.agree(y.heron)
	y.agrees(y.ada)
	e := got(y.steps.PostEntry(y.ctx, y.jory, y.heron, flow.NewEntry{
		StageID: y.stage(y.heron, 0).ID, Kind: journal.KindFind, Audience: journal.OwnerToo, Text: "Cracked bracket",
		Photos: placed(y.photo(y.jory, y.heron, 1, y.now)),
	}))(t)
	y.do(y.sign(y.ada, y.paper(y.heron, signoff.ChangeOrder, func(d *signoff.Draft) {
		d.StageID, d.Allowance = y.stage(y.heron, 0).ID, &signoff.Limits{PerFind: 500_000, PerMonth: 500_000}
	})))
	return &history{y: y, r: r, find: e, agreed: y.agreedTotal(y.heron), done: map[string]int{}}
}

// Promise 5 after every step of random histories on the real database, and of every
// instant that has passed: a statement of it made later is the one it had.
func TestHistories(t *testing.T) {
	done := map[string]int{}
	rapid.Check(t, func(r *rapid.T) {
		h := newHistory(r, within{t, r})
		h.done = done
		acts := h.acts()
		left := rapid.IntRange(8, 20).Draw(r, "acts")
		for try := 4 * left; left > 0 && try > 0; try-- {
			h.y.now = h.y.now.Add(time.Duration(rapid.Int64Range(1, 3_000_000).Draw(r, "ms later")) * time.Millisecond)
			what := rapid.SampledFrom(actNames).Draw(r, "act")
			before := h.done[what]
			acts[what]()
			if h.done[what] > before {
				h.check()
				left--
			}
		}
		h.back()
		h.y.close()
	})
	t.Logf("%v", done)
	for _, what := range actNames {
		if done[what] == 0 && rapidChecks() >= 100 {
			t.Errorf("no history ever came to %s", what)
		}
	}
}

// check holds the build against the history, and the whole database against its
// promises.
func (h *history) check() {
	y := h.y
	y.t.Helper()
	faults, _, err := y.steps.Check(y.ctx, func(string) error { return nil })
	y.do(err)
	for _, f := range faults {
		h.r.Errorf("%s (%s)", f.Text, f.Subject)
	}
	m := got(y.steps.MoneyOf(y.ctx, y.office, y.heron))(y.t)
	s := m.Statement
	got := []journal.Cents{s.Agreed, s.Paid, s.DepositReceived, s.DepositRefunded}
	if want := []journal.Cents{h.agreed, h.paid, h.received, h.refunded}; !reflect.DeepEqual(got, want) {
		h.r.Fatalf("agreed, paid, deposit, sent back of it: %v; the history says %v", got, want)
	}
	var billed journal.Cents
	metered := string(m.Stages[meteredStage].ID)
	numbers := map[billing.DocumentKind]int{}
	for _, inv := range m.Invoices {
		billed += inv.Document.Subtotal
		if numbers[inv.Document.Kind]++; inv.Document.Number != numbers[inv.Document.Kind] {
			h.r.Fatalf("%s is the %d. of its kind", inv.Document.Name(), numbers[inv.Document.Kind])
		}
	}
	if s.Billed != billed || s.Billed+s.ToBill+s.Unused != h.agreed {
		h.r.Fatalf("billed %s, to bill %s, unused %s; the documents say %s of %s", s.Billed, s.ToBill, s.Unused, billed, h.agreed)
	}
	if len(m.Invoices) > 0 {
		last := m.Invoices[len(m.Invoices)-1].Document
		if mt, _ := billing.MeteringOf(m.Account, metered); last.Cancels == "" && last.Kind == billing.Invoice && mt.Billed > max(mt.Ceiling, 0) && bears(last, metered) {
			h.r.Fatalf("%s bills %s of a ceiling of %s", last.Name(), mt.Billed, mt.Ceiling)
		}
	}
	open, favour := false, s.OnAccount > 0
	for _, b := range m.Balances {
		open, favour = open || b.Open > 0, favour || b.Open < 0
	}
	if open && favour {
		h.r.Fatalf("credit is left although an invoice is open: %+v", m.Balances)
	}
	if n := len(h.noted); n > 0 && !h.noted[n-1].at.Before(y.now) {
		h.noted = h.noted[:n-1] // of the same instant: only its end counts
	}
	h.noted = append(h.noted, noted{y.now, s})
}

func bears(d billing.Document, stage string) bool {
	for _, c := range d.Charges {
		if c.StageID == stage {
			return true
		}
	}
	return false
}

// back makes the statement of every past instant again.
func (h *history) back() {
	for _, n := range h.noted {
		s := got(h.y.steps.StatementUntil(h.y.ctx, h.y.heron, n.at))(h.y.t)
		if !reflect.DeepEqual(s, n.statement) {
			h.r.Fatalf("at %s it was\n%+v\nnow it says of then\n%+v", n.at, n.statement, s)
		}
	}
}
