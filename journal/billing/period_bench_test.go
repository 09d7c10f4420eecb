package billing

import (
	"fmt"
	"testing"

	"farbay/journal"
)

// longBooks are those of a build with so many invoices, each paid, and half as many
// signed changes.
func longBooks(b *testing.B, invoices int) Books {
	a := account()
	for i := range invoices {
		id := fmt.Sprint(i)
		a.Agreed = append(a.Agreed, stage(id, journal.Cents(1_000_00+i)))
		if i%2 == 0 {
			a.Agreed = append(a.Agreed, delta(id, id, 17))
		}
	}
	books := Books{}
	for i := range invoices {
		d, _, err := Next(*a, a.Unbilled(fmt.Sprint(i)), today, "")
		if err != nil {
			b.Fatal(err)
		}
		d.ID, d.Number = fmt.Sprint("invoice ", i), i+1
		a.Documents = append(a.Documents, d)
		a.Payments = append(a.Payments, Payment{ID: fmt.Sprint("payment ", i), DocumentID: d.ID, Amount: d.Payable, On: today})
		if i == invoices/2 {
			books.Before = *a
		}
	}
	books.Now = *a
	return books
}

// BenchmarkStatement makes the statement of a period with the records of one figure,
// and the application, for a build with 4 invoices and 2 changes, and for one with a
// hundred times as many.
func BenchmarkStatement(b *testing.B) {
	for _, invoices := range []int{4, 400} {
		books := longBooks(b, invoices)
		b.Run(fmt.Sprintf("%d invoices", invoices), func(b *testing.B) {
			for b.Loop() {
				if err := PeriodOf(books).Check(); err != nil {
					b.Fatal(err)
				}
				if len(Explain(books, FigureDue, nil)) != 2*invoices {
					b.Fatal("not all records")
				}
				if err := ApplicationOf(books.Before, books.Now).Check(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
