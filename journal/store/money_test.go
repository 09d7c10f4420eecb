package store

import (
	"context"
	"fmt"
	"sync"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
)

func TestTerms(t *testing.T) {
	s := yard(t)
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Terms(heron); return err })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.SaveTerms("nowhere", billing.Terms{}) })
	write(t, s, func(tx flow.Tx) error { return tx.SaveTerms(heron, billing.Terms{Deposit: 5}) })
	write(t, s, func(tx flow.Tx) error { return tx.SaveTerms(heron, billing.Terms{}) }) // back to nothing, all zero
	same(t, billing.Terms{}, get(t, s, func(r flow.Reads) (billing.Terms, error) { return r.Terms(heron) }))
}

func TestInvoices(t *testing.T) {
	s := yard(t)
	next := func(kind billing.DocumentKind) int {
		n := 0
		write(t, s, func(tx flow.Tx) (err error) {
			n, err = tx.NextNumber(kind)
			return err
		})
		return n
	}
	if n := next(billing.Invoice); n != 1 {
		t.Errorf("the first invoice is number %d", n)
	}
	memo := invoice("memo", heron, 1, "paper:m")
	memo.Document.Kind = billing.CreditMemo // its own series
	late := invoice("late", heron, 2, "stage:b")
	late.IssuedAt = hours(1)
	write(t, s, func(tx flow.Tx) error {
		for _, i := range []flow.Invoice{late, invoice("first", heron, 1, "stage:a"), memo, invoice("juniper", juniper, 3, "stage:a")} {
			if err := tx.AddInvoice(i); err != nil {
				return err
			}
		}
		return nil
	})
	if a, b, c := next(billing.Invoice), next(billing.CreditMemo), next(billing.HoldbackRelease); a != 4 || b != 2 || c != 1 {
		t.Errorf("the next numbers are %d, %d and %d; want 4, 2 and 1", a, b, c)
	}
	if got := fmt.Sprint(get(t, s, func(r flow.Reads) ([]int, error) { return r.Numbers(billing.Invoice) })); got != "[1 2 3]" {
		t.Errorf("numbers used: %s", got)
	}
	if got := get(t, s, func(r flow.Reads) ([]int, error) { return r.Numbers(billing.HoldbackRelease) }); got != nil {
		t.Errorf("numbers used of none: %v", got)
	}
	invoices := get(t, s, func(r flow.Reads) ([]flow.Invoice, error) { return r.Invoices(heron) })
	if got := names(invoices, func(i flow.Invoice) string { return string(i.ID) }); got != "late first memo " {
		t.Errorf("invoices come as %q, want as they were recorded, whatever the clock said", got)
	}
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Invoice(juniper, "first"); return err })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddInvoice(invoice("x", heron, 1, "stage:x")) })            // the number
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddInvoice(invoice("x", heron, 9, "stage:x", "stage:b")) }) // billed before
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddInvoice(invoice("x", heron, 9, "stage:x", "stage:x")) }) // twice on one
	refused(t, s, journal.Internal, func(tx flow.Tx) error {
		i := invoice("x", heron, 9, "stage:x")
		i.Document.Payable++ // does not add up
		return tx.AddInvoice(i)
	})
	refused(t, s, journal.Internal, func(tx flow.Tx) error {
		i := invoice("x", heron, 9, "stage:x")
		i.Document.ID = "y"
		return tx.AddInvoice(i)
	})
}

// A charge is billed once; taken back, it can be billed once more.
func TestInvoices_TakenBackAndBilledAgain(t *testing.T) {
	s := yard(t)
	memo := func(id journal.InvoiceID, number int, cancels string) flow.Invoice {
		i := invoice(id, heron, number, "stage:a")
		i.Document.Kind, i.Document.Cancels = billing.CreditMemo, cancels
		return i
	}
	add := func(i flow.Invoice) func(flow.Tx) error {
		return func(tx flow.Tx) error { return tx.AddInvoice(i) }
	}
	refused(t, s, journal.Conflict, add(memo("early", 1, "first"))) // nothing to take back
	write(t, s, add(invoice("first", heron, 1, "stage:a")))
	refused(t, s, journal.Conflict, add(invoice("twice", heron, 2, "stage:a")))
	write(t, s, add(memo("memo", 1, "first")))
	refused(t, s, journal.Conflict, add(memo("again", 2, "first")))
	write(t, s, add(invoice("second", heron, 2, "stage:a")))
	refused(t, s, journal.Conflict, add(invoice("third", heron, 3, "stage:a")))
	// The database says so too.
	for _, query := range []string{
		"INSERT INTO billed_charges VALUES ('heron', 'stage:a', 3, 'second')",
		"INSERT INTO billed_charges VALUES ('heron', 'stage:b', 2, 'second')",
		"INSERT INTO cancelled_charges VALUES ('heron', 'stage:b', 1, 'memo')",
		"UPDATE cancelled_charges SET time = 7", "DELETE FROM cancelled_charges",
	} {
		if err := s.writer.Exec(query).Error; err == nil {
			t.Errorf("%s went through", query)
		}
	}
}

// TestInvoices_BillOnce: many closes of one stage at once, each sure that it is
// the only one, as a step with a mistake might be.
func TestInvoices_BillOnce(t *testing.T) {
	s := yard(t)
	const closes = 50
	var wg sync.WaitGroup
	results := make(chan error, closes)
	for i := range closes {
		wg.Go(func() {
			results <- s.Write(context.Background(), func(tx flow.Tx) error {
				n, err := tx.NextNumber(billing.Invoice)
				if err != nil {
					return err
				}
				return tx.AddInvoice(invoice(journal.InvoiceID(fmt.Sprint("invoice", i)), heron, n, "stage:teardown"))
			})
		})
	}
	wg.Wait()
	close(results)
	for err := range results {
		if code := journal.CodeOf(err); code != "" && code != journal.Conflict {
			t.Errorf("got %v, want nil or Conflict", err)
		}
	}
	if invoices := get(t, s, func(r flow.Reads) ([]flow.Invoice, error) { return r.Invoices(heron) }); len(invoices) != 1 {
		t.Errorf("%d invoices for one stage, want 1", len(invoices))
	}
}

func TestPayments(t *testing.T) {
	s := yard(t)
	write(t, s, func(tx flow.Tx) error { return tx.AddInvoice(invoice("invoice", heron, 1, "stage:a")) })
	pay := func(id string, amount journal.Cents, reverses string, n int) journal.Payment {
		return journal.Payment{
			ID: journal.PaymentID(id), BuildID: heron, InvoiceID: "invoice", Amount: amount, On: "2026-04-14", Means: journal.Cheque,
			ReversesID: journal.PaymentID(reverses), RecordedAt: hours(n),
		}
	}
	deposit := pay("deposit", 7, "", 0)
	deposit.InvoiceID = ""
	write(t, s, func(tx flow.Tx) error {
		for _, p := range []journal.Payment{pay("b", 5, "", 1), pay("a", 5, "", 1), deposit, pay("c", -5, "b", 2)} {
			if err := tx.AddPayment(p); err != nil {
				return err
			}
		}
		return nil
	})
	payments := get(t, s, func(r flow.Reads) ([]journal.Payment, error) { return r.Payments(heron) })
	if got := names(payments, func(p journal.Payment) string { return string(p.ID) }); got != "b a deposit c " {
		t.Errorf("payments come as %q, want as they were recorded, whatever the clock said", got)
	}
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddPayment(pay("d", -5, "b", 3)) }) // reversed before
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddPayment(pay("a", 1, "", 3)) })
	refused(t, s, journal.Internal, func(tx flow.Tx) error { return tx.AddPayment(pay("d", -4, "a", 3)) }) // not the whole of it
	refused(t, s, journal.Conflict, func(tx flow.Tx) error {                                               // another build's invoice
		p := pay("d", 5, "", 3)
		p.BuildID = juniper
		return tx.AddPayment(p)
	})
}
