package views

import (
	"fmt"
	"io"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
)

// monthOf is a month with so many invoices, 50 a build, each paid.
func monthOf(documents int) [][]billing.Record {
	var builds [][]billing.Record
	for n := range documents {
		if n%50 == 0 {
			builds = append(builds, nil)
		}
		id, day := fmt.Sprint("d", n), journal.Date("2026-03-01").AddDays(n%30)
		at := day.Time().Add(time.Duration(n) * time.Second)
		last := &builds[len(builds)-1]
		*last = append(*last, billing.Record{Document: billing.Document{ID: id, Number: n + 1, Kind: billing.Invoice, IssuedOn: day, Subtotal: 100_00, Tax: 6_25, Payable: 106_25,
			Charges: []billing.Charge{{Ref: id, Text: "Frame and coat", Split: journal.Split{Parts: 100_00}}}}, RecordedAt: at},
			billing.Record{Payment: journal.Payment{ID: journal.PaymentID("p" + id), InvoiceID: journal.InvoiceID(id), Amount: 106_25, On: day, Means: journal.Cheque}, RecordedAt: at.Add(time.Millisecond)})
	}
	return builds
}

// A month's books of 5,000 invoices beside those of 50: how many times as long.
func BenchmarkBooks5000Against50(b *testing.B) {
	write := func(months [][]billing.Record) time.Duration {
		begin := time.Now()
		books := Books{ShopName: "Bench", Currency: "USD", Zone: time.UTC, From: "2026-03-01", To: "2026-03-31"}
		for i, records := range months {
			build := BookBuild{ID: journal.BuildID(fmt.Sprint("b", i)), Nickname: fmt.Sprint("Truck ", i), Entries: billing.Entries(records), Documents: map[string]BookDocument{},
				Standing: billing.BookedStatement(records, books.To).Standing()}
			for _, r := range records {
				if r.IsDocument() {
					build.Documents[r.Document.ID] = BookDocument{Name: r.Document.Name(), Tax: billing.TaxShares(r.Document, billing.Tax{Parts: 625})}
				}
			}
			books.Builds = append(books.Builds, build)
		}
		if err := WriteBooks(io.Discard, books); err != nil {
			b.Fatal(err)
		}
		return time.Since(begin)
	}
	few, many := monthOf(50), monthOf(5000)
	var short, long time.Duration
	for b.Loop() {
		for range 20 { // 50 take so little that one alone tells nothing
			short += write(few)
		}
		long += write(many)
	}
	b.ReportMetric(float64(long)*20/float64(short), "times-50")
	b.ReportMetric(float64(long)/float64(b.N)/1e6, "ms/5000")
}
