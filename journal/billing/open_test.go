package billing

import (
	"strings"
	"testing"

	"farbay/journal"
)

// field returns the sentence for a form field of an Invalid error.
func field(tb testing.TB, err error, name string) string {
	tb.Helper()
	e, ok := err.(*journal.Error)
	if !ok || e.Code != journal.Invalid {
		tb.Fatalf("%v; want an Invalid error", err)
	}
	return e.Fields[name]
}

func TestCheckPayment(t *testing.T) {
	a := account(stage("a", 100_00), stage("b", 50_00), stage("c", 70_00))
	invoice := bill(t, a, "a")
	pay(t, a, invoice.ID, 30_00)
	a.Agreed = append(a.Agreed, delta("1", "c", -200_00))
	memo := bill(t, a, "c")

	for _, tc := range []struct {
		name   string
		amount journal.Cents
		say    string
	}{
		{"a cent more than open", 1, "Nothing is open"}, // the memo's 130.00 settled the 70.00
		{"zero", 0, "above zero"},
		{"negative", -5_00, "above zero"},
	} {
		if m := field(t, CheckPayment(*a, invoice.ID, tc.amount), "amount"); !strings.Contains(m, tc.say) || !strings.HasSuffix(m, ".") {
			t.Errorf("%s: %q", tc.name, m)
		}
	}
	if m := field(t, CheckPayment(*a, memo.ID, 1), "amount"); !strings.Contains(m, "credit memo 1") {
		t.Errorf("paying a credit memo: %q", m)
	}
	for _, id := range []string{"", "of another build"} {
		if err := CheckPayment(*a, id, 1); journal.CodeOf(err) != journal.NotFound {
			t.Errorf("%q: %v", id, err)
		}
	}
}

func TestCheckPayment_AtMostWhatIsOpen(t *testing.T) {
	a := account(stage("a", 100_00))
	invoice := bill(t, a, "a")
	pay(t, a, invoice.ID, 30_00)
	m := field(t, CheckPayment(*a, invoice.ID, 70_01), "amount")
	if m != "70.01 is more than the 70.00 open on invoice 1; please enter at most that." {
		t.Errorf("%q", m)
	}
	pay(t, a, invoice.ID, 70_00)
	same(t, "due", StatementOf(*a).Due, 0)
}

// Credit goes to the oldest open invoice first, and what cannot be used can be
// sent back, up to the cent.
func TestOpen_CreditThenRefund(t *testing.T) {
	a := account(stage("a", 100_00), stage("b", 50_00), stage("c", 0))
	first := bill(t, a, "a")
	bill(t, a, "b")
	pay(t, a, first.ID, 80_00)
	a.Agreed = append(a.Agreed, delta("1", "c", -60_00))
	bill(t, a, "c")

	open := Open(*a)
	same(t, "first: 20.00 by credit", open[0].Credited, 20_00)
	same(t, "first, open", open[0].Open, 0)
	same(t, "second: 40.00 by credit", open[1].Credited, 40_00)
	same(t, "second, open", open[1].Open, 10_00)
	same(t, "memo, used", open[2].Credited, -60_00)
	same(t, "memo, left", open[2].Open, 0)
	for _, b := range open {
		same(t, b.Document.ID+" adds up", b.Document.Payable-b.Paid-b.Credited, b.Open)
	}
	if m := field(t, CheckRefund(*a, 1), "amount"); !strings.Contains(m, "Nothing stands") {
		t.Errorf("refund of used credit: %q", m)
	}

	a.Agreed = append(a.Agreed, delta("2", "c", -35_00))
	bill(t, a, "c")
	same(t, "second, settled", Open(*a)[1].Open, 0)
	same(t, "second memo, left", Open(*a)[3].Open, -25_00)
	if m := field(t, CheckRefund(*a, 25_01), "amount"); !strings.Contains(m, "25.00") {
		t.Errorf("refund a cent too large: %q", m)
	}
	if field(t, CheckRefund(*a, 0), "amount") == "" {
		t.Error("refund of nothing was taken")
	}
	if err := CheckRefund(*a, 25_00); err != nil {
		t.Fatal(err)
	}
	a.Payments = append(a.Payments, Payment{ID: "refund", Amount: -25_00, On: today})
	same(t, "due", adds(t, *a).Due, 0)
	same(t, "second, open after the refund", Open(*a)[1].Open, 0)
}

// A cancelling memo settles its own invoice before older ones.
func TestOpen_CancellationSettlesItsInvoice(t *testing.T) {
	a := account(stage("a", 100_00), stage("b", 50_00))
	bill(t, a, "a")
	second := bill(t, a, "b")
	pay(t, a, second.ID, 20_00)
	cancel(t, a, second.ID)
	open := Open(*a)
	same(t, "older invoice: only what was paid on the cancelled one", open[0].Open, 80_00)
	same(t, "cancelled invoice", open[1].Open, 0)
	same(t, "memo", open[2].Open, 0)
}

// A payment beyond what is open cannot be recorded, but if records hold one (a
// later credit can bring it about) its surplus settles other invoices.
func TestOpen_SurplusOfAPayment(t *testing.T) {
	a := account(stage("a", 100_00), stage("b", 50_00))
	first := bill(t, a, "a")
	bill(t, a, "b")
	a.Payments = append(a.Payments, Payment{ID: "p", DocumentID: first.ID, Amount: 130_00, On: today})
	adds(t, *a)
	same(t, "first", Open(*a)[0].Open, 0)
	same(t, "second", Open(*a)[1].Open, 20_00)
}

func TestReversal(t *testing.T) {
	a := account(stage("a", 100_00))
	invoice := bill(t, a, "a")
	p := pay(t, a, invoice.ID, 60_00)
	same(t, "due before", StatementOf(*a).Due, 40_00)

	r, err := Reversal(*a, p.ID, "2026-05-01")
	if want := (Payment{DocumentID: invoice.ID, Amount: -60_00, On: "2026-05-01", Reverses: p.ID}); err != nil || r != want {
		t.Fatalf("%+v, %v; want %+v", r, err, want)
	}
	r.ID = "reversal"
	a.Payments = append(a.Payments, r)
	same(t, "due after it bounced", adds(t, *a).Due, 100_00)

	for name, tc := range map[string]struct {
		id   string
		code journal.Code
	}{
		"reversed twice":        {p.ID, journal.Conflict},
		"a reversal itself":     {r.ID, journal.Conflict},
		"no such payment":       {"of another build", journal.NotFound},
		"no payment named":      {"", journal.NotFound},
		"an invoice, not money": {invoice.ID, journal.NotFound},
	} {
		if got, err := Reversal(*a, tc.id, today); journal.CodeOf(err) != tc.code || got != (Payment{}) {
			t.Errorf("%s: %+v, %v; want %s", name, got, err, tc.code)
		}
	}
	pay(t, a, invoice.ID, 100_00)
}
