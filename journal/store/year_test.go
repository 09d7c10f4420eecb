package store

import (
	"context"
	"fmt"
	"runtime"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
)

// inOne runs the steps of many acts in one transaction, so that a year of them is
// made in seconds.
type inOne struct{ tx flow.Tx }

func (o inOne) Read(_ context.Context, f func(flow.Reads) error) error { return f(o.tx) }
func (o inOne) Write(_ context.Context, f func(flow.Tx) error) error   { return f(o.tx) }

// year is how much a shop's year comes to: its builds, and of each the stages, and
// the bills of the logged work of a metered one. The last stage of each is billed
// twice, the first time in error.
type year struct{ builds, stages, bills int }

func (y year) invoices() int { return y.builds * (y.stages + 1 + y.bills) }

// make makes the year through the steps, a transaction a build; every invoice is
// paid.
func (y year) make(t testing.TB, s *Store, p *shop) {
	t.Helper()
	for n := range y.builds {
		write(t, s, func(tx flow.Tx) error {
			p.steps.Store = inOne{tx}
			y.build(t, p, fmt.Sprintf("Build %d", n+1))
			p.steps.Store = s
			return nil
		})
	}
}

func (y year) build(t testing.TB, p *shop, nickname string) {
	t.Helper()
	id, stages := p.build(t, nickname, y.stages)
	ok(t, p.steps.RecordPayment(p.ctx, p.office, id, p.payment("", 50_000)))
	for n, stage := range stages {
		inv, billed, err := p.steps.CloseStage(p.ctx, p.office, id, stage)
		ok(t, err)
		if !billed {
			t.Fatal("a close billed nothing")
		}
		if n == y.stages-1 {
			_, err := p.steps.CancelInvoice(p.ctx, p.office, id, inv.ID, "Billed for the wrong stage.")
			ok(t, err)
			again, err := p.steps.BillChanges(p.ctx, p.office, id)
			ok(t, err)
			if again.Document.Subtotal != inv.Document.Subtotal {
				t.Fatalf("billed again, it is %s", again.Document.Subtotal)
			}
			inv = again
		}
		ok(t, p.steps.RecordPayment(p.ctx, p.office, id, p.payment(inv.ID, inv.Document.Payable)))
	}
	metered := p.meteredStage(t, id)
	for range y.bills {
		p.ids++
		ok(t, p.steps.LogWork(p.ctx, p.office, id, flow.NewWork{
			ID: journal.WorkID(fmt.Sprintf("work-form-%014d", p.ids)), StageID: metered, Kind: journal.Parts, Day: "2026-04-14", Text: "Seals", Cost: 1_234,
		}))
		inv, err := p.steps.BillWork(p.ctx, p.office, id, metered)
		ok(t, err)
		ok(t, p.steps.RecordPayment(p.ctx, p.office, id, p.payment(inv.ID, inv.Document.Payable)))
	}
}

func (p *shop) payment(invoice journal.InvoiceID, amount journal.Cents) journal.Payment {
	p.ids++
	return journal.Payment{
		ID: journal.PaymentID(fmt.Sprintf("pay-form-%015d", p.ids)), InvoiceID: invoice, Amount: amount, On: "2026-04-14", Means: journal.Wire,
	}
}

// closing returns how long each of the stages of a new build takes to close.
func (p *shop) closing(t testing.TB, nickname string) time.Duration {
	t.Helper()
	id, stages := p.build(t, nickname, 20)
	begun := time.Now()
	for _, stage := range stages {
		_, _, err := p.steps.CloseStage(p.ctx, p.office, id, stage)
		ok(t, err)
	}
	return time.Since(begun) / time.Duration(len(stages))
}

// sound checks the whole database, and that documents are as many as were made,
// numbered without a gap.
func (y year) sound(t testing.TB, s *Store, p *shop) {
	t.Helper()
	p.sound(t)
	for kind, want := range map[billing.DocumentKind]int{billing.Invoice: y.invoices(), billing.CreditMemo: y.builds} {
		numbers := get(t, s, func(r flow.Reads) ([]int, error) { return r.Numbers(kind) })
		if len(numbers) != want || numbers[0] != 1 || numbers[len(numbers)-1] != want {
			t.Errorf("%d of kind %s; want %d, from 1 on", len(numbers), kind, want)
		}
	}
}

// A year of 40 builds with a tenth of its invoices keeps every promise.
func TestYear_ATenth(t *testing.T) {
	if testing.Short() || underRace {
		t.Skip("makes 480 invoices; .ci/test runs it without the race detector")
	}
	s := open(t)
	p, _ := newShop(t, s)
	y := year{builds: 40, stages: 3, bills: 8}
	y.make(t, s, p)
	y.sound(t, s, p)
}

// BenchmarkYear makes a year of 40 builds and 5,000 invoices, checks it, and
// compares closing a stage there with closing one in a database that is empty but
// for its build.
func BenchmarkYear(b *testing.B) {
	y := year{builds: 40, stages: 20, bills: 104}
	for b.Loop() {
		alone := open(b)
		q, _ := newShop(b, alone)
		s := open(b)
		p, _ := newShop(b, s)
		begun := time.Now()
		y.make(b, s, p)
		b.ReportMetric(time.Since(begun).Seconds(), "s/year")

		// By turns, so that what else the machine does is the same for both.
		var empty, full time.Duration
		for n := range 5 {
			empty += q.closing(b, fmt.Sprintf("Alone %d", n))
			full += p.closing(b, fmt.Sprintf("One more %d", n))
		}
		b.ReportMetric(float64(full.Microseconds())/5000, "ms/close")
		b.ReportMetric(float64(full)/float64(empty), "x-empty")

		runtime.GC()
		begun = time.Now()
		p.sound(b)
		b.ReportMetric(time.Since(begun).Seconds(), "s/check")
		var memory runtime.MemStats
		runtime.ReadMemStats(&memory)
		b.ReportMetric(float64(memory.Sys)/(1<<20), "MB")
	}
	b.ReportMetric(0, "ns/op")
}
