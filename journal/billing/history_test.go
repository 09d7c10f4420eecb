package billing

import (
	"reflect"
	"slices"
	"strconv"
	"testing"

	"farbay/journal"
	"pgregory.net/rapid"
)

// history drives one account through random events, with books kept beside it.
type history struct {
	books
	a      Account
	frozen []Document // as issued, their charges copied

	cancelled  map[string]bool
	unreversed []string // payments that can still bounce
	receipts   []int64  // of deposit, that can still bounce
	taken      map[string]bool
	bounced    bool // some of the deposit
	seen       *seen
}

// seen counts over all histories what happened in them, so that a test that never
// comes to something fails.
type seen struct {
	histories, closes, cancels, memos, releases, ceilings, workBilled, capped, refunds, onAccount, stops, lateChanges, owed int
}

// Fixed stages, "" for what no stage bears, and those by time and materials.
var (
	stageNames   = []string{"frame", "body", "paint", "wiring", ""}
	meteredNames = []string{"engine", "axles"}
)

func numbered(name string, n int) string { return name + strconv.Itoa(n) }

// newHistory draws terms and a few stages.
func newHistory(t *rapid.T, s *seen) *history {
	h := &history{
		books:     books{billedNow: map[string]bool{}, paidFor: map[string]int64{}},
		cancelled: map[string]bool{}, taken: map[string]bool{}, seen: s,
	}
	h.a.Terms = Terms{
		Deposit:   rapid.SampledFrom([]journal.Cents{0, 1, 5_000_00, journal.MaxCents}).Draw(t, "deposit"),
		Crediting: rapid.SampledFrom(Creditings).Draw(t, "crediting"), Tax: Tax{Parts: 625, Delivery: 300},
		HoldbackRate: rapid.SampledFrom([]journal.BasisPoints{0, 333, 500, 1000, 10_000}).Draw(t, "holdback"),
	}
	if rapid.Bool().Draw(t, "odd tax") {
		h.a.Terms.Tax = anyTax.Draw(t, "tax")
	}
	switch h.a.Terms.Crediting {
	case ShareOfEach:
		h.a.Terms.DepositShare = rapid.SampledFrom([]journal.BasisPoints{1, 1000, 2500, 3333, 10_000}).Draw(t, "share")
	case FirstFirst:
		h.a.Terms.RefillFloor = h.a.Terms.Deposit / 10
	}
	if limit := Limits[rapid.IntRange(0, len(Limits)-1).Draw(t, "limit")]; h.a.Terms.HoldbackRate <= limit.OfPayment && rapid.Bool().Draw(t, "limited") {
		h.a.Terms.HoldbackCap = limit.Name
	}
	for _, id := range meteredNames[:rapid.IntRange(0, len(meteredNames)).Draw(t, "metered")] {
		h.a.Metered = append(h.a.Metered, Meter{StageID: id})
		h.meters = append(h.meters, &meterBook{id: id})
		h.agree(Charge{Ref: "stage:" + id, Source: Agreement, StageID: id, Split: journal.Split{Labour: journal.Cents(rapid.SampledFrom([]int64{0, 100_00, 5_000_00}).Draw(t, "ceiling"))}})
	}
	for range rapid.IntRange(0, 4).Draw(t, "stages") {
		h.addStage(t)
	}
	return h
}

// check is promise 5 after every event, with the books as witness.
func (h *history) check(t *rapid.T) {
	s := adds(t, h.a)
	unearned := h.received - h.refunded - h.covered
	for _, f := range []struct {
		what string
		got  journal.Cents
		want int64
	}{
		{"agreed", s.Agreed, h.agreed}, {"unused", s.Unused, h.unused()}, {"billed", s.Billed, h.billed},
		{"to bill", s.ToBill, h.net() - h.billed}, {"tax", s.Tax, h.tax}, {"paid", s.Paid, h.paid},
		{"due", s.Due, h.payable - h.paid}, {"held back", s.HeldBack, h.held}, {"covered", s.Covered, h.covered},
		{"received", s.DepositReceived, h.received}, {"unearned", s.DepositUnearned, unearned}, {"refunded", s.DepositRefunded, h.refunded},
	} {
		if int64(f.got) != f.want {
			t.Fatalf("%s is %s; the books say %d\n%+v", f.what, f.got, f.want, s)
		}
	}
	if unearned < 0 && !h.bounced {
		t.Fatalf("more of the deposit is covered than there is: %+v", s)
	}
	if !reflect.DeepEqual(h.frozen, h.a.Documents) {
		t.Fatalf("an issued document changed:\n%+v\nwas\n%+v", h.a.Documents, h.frozen)
	}
	if got, want := h.a.Unbilled(), refsOf(h.unbilled(true, "")); !slices.Equal(got, want) {
		t.Fatalf("unbilled: %v; the books say %v", got, want)
	}
	h.checkMeters(t)
	h.checkBalances(t)
	h.checkAsked(t, unearned)
}

func (h *history) checkMeters(t *rapid.T) {
	for _, m := range h.meters {
		got, ok := MeteringOf(h.a, m.id)
		if !ok || int64(got.Ceiling) != m.ceiling || int64(got.Worked) != m.worked().total() || int64(got.Billed) != m.billed.total() {
			t.Fatalf("%s: %+v, %v; the books say %+v", m.id, got, ok, m)
		}
		if beyond := max(m.worked().total()-max(m.ceiling, 0), 0); int64(got.Beyond()) != beyond {
			t.Fatalf("%s: %s beyond the ceiling; the books say %d", m.id, got.Beyond(), beyond)
		}
	}
}

// checkBalances holds what is open on each document against what was paid for it,
// and that credit is used for the oldest open ones before anything is left of it.
func (h *history) checkBalances(t *rapid.T) {
	var credited, open int64
	firstOpen, favour := -1, false
	balances := Open(h.a)
	for i, b := range balances {
		d := b.Document
		if int64(b.Paid) != h.paidFor[d.ID] || d.Payable-b.Paid-b.Credited != b.Open {
			t.Fatalf("the balance does not add up, %d was paid: %+v", h.paidFor[d.ID], b)
		}
		if firstOpen >= 0 && b.Credited > 0 && !h.cancelled[d.ID] {
			t.Fatalf("%s was credited before %s: %+v", d.Name(), balances[firstOpen].Document.Name(), balances)
		}
		if firstOpen < 0 && b.Open > 0 {
			firstOpen = i
		}
		favour = favour || b.Open < 0
		credited += int64(b.Credited)
		open += int64(b.Open)
	}
	onAccount := int64(OnAccount(h.a))
	if credited != h.paidFor[""]-onAccount || open-onAccount != h.payable-h.paid || int64(Due(h.a)) != open-onAccount {
		t.Fatalf("%d was credited, %d is open, %d on account; %d was paid on account", credited, open, onAccount, h.paidFor[""])
	}
	if (favour || onAccount > 0) && (firstOpen >= 0 || onAccount < 0) {
		t.Fatalf("credit is left although something is open: %d on account, %+v", onAccount, balances)
	}
}

// checkAsked tries that paying what is asked of the deposit ends the asking, and
// makes good what bounced.
func (h *history) checkAsked(t *rapid.T, unearned int64) {
	a := h.a
	for range 3 {
		asked := DepositAsked(a)
		if asked < 0 {
			t.Fatalf("%s of the deposit is asked for", asked)
		}
		a.DepositReceived += asked
	}
	if asked := DepositAsked(a); asked != 0 {
		t.Fatalf("after all was paid, %s more of the deposit is asked for", asked)
	}
	if left := StatementOf(a).DepositUnearned; left < 0 {
		t.Fatalf("the deposit lacks %s, and nobody is asked for it (%d unearned before)", -left, unearned)
	}
}

// finish bills the rest, then takes every invoice back: first nothing is left to
// bill, then nothing is left but what was credited or released otherwise, which
// cannot be taken back.
func (h *history) finish(t *rapid.T) {
	for i, m := range h.meters {
		h.a.Metered[i].Closed, m.closed = true, true
	}
	h.issueNext(t, h.unbilled(true, ""), "")
	h.check(t)
	if s := StatementOf(h.a); s.ToBill != 0 || s.Billed+s.Unused != s.Agreed {
		t.Fatalf("after billing all: %+v", s)
	}
	var left Document // the sum of what cannot be taken back
	for _, d := range slices.Clone(h.a.Documents) {
		switch {
		case d.Kind == Invoice && !h.cancelled[d.ID]:
			h.cancel(t, d.ID)
		case d.Kind != Invoice && d.Cancels == "":
			left.Subtotal += d.Subtotal
			left.Tax += d.Tax
			left.DepositCredit += d.DepositCredit
		}
	}
	h.check(t)
	s := StatementOf(h.a)
	got := []journal.Cents{s.Billed, s.Tax, s.HeldBack, s.Covered, s.Paid + s.Due}
	want := []journal.Cents{left.Subtotal, left.Tax, 0, left.DepositCredit, left.Total() - left.DepositCredit}
	if !slices.Equal(got, want) {
		t.Fatalf("after crediting all, billed, tax, held back, covered, paid and due: %v; want %v", got, want)
	}
}

// run is one history.
func run(t *rapid.T, s *seen) {
	h := newHistory(t, s)
	t.Repeat(map[string]func(*rapid.T){
		"":                      h.check,
		"add a stage":           h.addStage,
		"change order":          h.changeOrder,
		"another change order":  h.changeOrder,
		"early stop":            h.stopEarly,
		"log work":              h.logWork,
		"log more work":         h.logWork,
		"take work back":        h.takeBack,
		"close a stage":         h.closeStage,
		"close a metered stage": h.closeMetered,
		"reopen a stage":        h.reopenMetered,
		"bill some at once":     h.billSome,
		"bill logged work":      h.billWork,
		"take an invoice back":  h.cancelSome,
		"pay":                   h.pay,
		"pay on account":        h.payOnAccount,
		"reverse a payment":     h.reverse,
		"refund credit":         h.refund,
		"receive deposit":       h.receiveDeposit,
		"bounce a deposit":      h.bounceDeposit,
		"refund deposit":        h.refundDeposit,
		"release holdback":      h.release,
	})
	h.finish(t)
	s.histories++
}

// Promise 5 over random histories. See main_test.go for how many.
func TestHistories(t *testing.T) {
	var s seen
	rapid.Check(t, func(t *rapid.T) { run(t, &s) })
	t.Logf("%+v", s)
	v := reflect.ValueOf(s)
	for i := range v.NumField() {
		if v.Field(i).Int() == 0 && !underRace { // too few there to come to everything
			t.Errorf("the histories never came to %s", v.Type().Field(i).Name)
		}
	}
}

// BenchmarkHistories says how many histories a second are tried, each event of
// them followed by every check.
func BenchmarkHistories(b *testing.B) {
	var s seen
	for b.Loop() {
		rapid.Check(b, func(t *rapid.T) { run(t, &s) })
	}
	b.ReportMetric(float64(s.histories)/b.Elapsed().Seconds(), "histories/s")
	b.ReportMetric(0, "ns/op")
}
