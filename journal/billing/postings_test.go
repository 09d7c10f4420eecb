package billing

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"farbay/journal"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// The published application of the statement tests, as a book-keeper would book
// it: receivable, held back and covered by the deposit against income and tax.
// Common practice, no source.
func TestDocumentPostings(t *testing.T) {
	a := account(Charge{Ref: "stage:frame", Source: Agreement, StageID: "frame", Split: journal.Split{Labour: 600_00, Parts: 400_00}})
	a.Terms.Tax, a.Terms.HoldbackRate, a.Terms.Deposit = Tax{Parts: 625}, 1000, 200_00
	a.DepositReceived = 200_00
	d := bill(t, a, "frame")
	want := []Posting{
		{Receivable, 725_00}, {HoldbackHeld, 100_00}, {DepositsHeld, 200_00}, {SalesTax, -25_00},
		{IncomeFrom(journal.Labour), -600_00}, {IncomeFrom(journal.Parts), -400_00},
	}
	if diff := cmp.Diff(want, DocumentPostings(d)); diff != "" {
		t.Errorf("an invoice:\n%s", diff)
	}
	if diff := cmp.Diff([]Posting{{Receivable, 100_00}, {HoldbackHeld, -100_00}}, DocumentPostings(release(t, a))); diff != "" {
		t.Errorf("a release:\n%s", diff)
	}
}

func TestPaymentPostings(t *testing.T) {
	for _, c := range []struct {
		name string
		p    journal.Payment
		want []Posting
	}{
		{"for an invoice", journal.Payment{InvoiceID: "i", Amount: 5, Means: journal.Wire}, []Posting{{"Assets:Received:Wire", 5}, {Receivable, -5}}},
		{"a cheque that bounced", journal.Payment{InvoiceID: "i", Amount: -5, Means: journal.Cheque, ReversesID: "p"}, []Posting{{"Assets:Received:Cheque", -5}, {Receivable, 5}}},
		{"the deposit", journal.Payment{Amount: 5, Means: journal.Card}, []Posting{{"Assets:Received:Card", 5}, {DepositsHeld, -5}}},
		{"deposit sent back", journal.Payment{Refund: true, Amount: -5, Means: journal.Cash}, []Posting{{"Assets:Received:Cash", -5}, {DepositsHeld, 5}}},
		{"on account", journal.Payment{OnAccount: true, Amount: 5, Means: journal.Cash}, []Posting{{"Assets:Received:Cash", 5}, {MoneyOnAccount, -5}}},
		{"sent back on account", journal.Payment{OnAccount: true, Refund: true, Amount: -5, Means: journal.Cash}, []Posting{{"Assets:Received:Cash", -5}, {MoneyOnAccount, 5}}},
	} {
		if diff := cmp.Diff(c.want, PaymentPostings(c.p)); diff != "" {
			t.Errorf("%s:\n%s", c.name, diff)
		}
	}
}

// Money on account settles an invoice when it is issued, and a payment dated
// before its invoice is on account until then.
func TestEntries_MoneyBeforeItsInvoice(t *testing.T) {
	a := account(stage("frame", 100_00))
	d := bill(t, a, "frame")
	d.IssuedOn = "2026-04-20"
	noon := time.Date(2026, 4, 21, 12, 0, 0, 0, time.UTC)
	entries := Entries([]Record{
		{Document: d, RecordedAt: noon},
		{Payment: journal.Payment{ID: "p", InvoiceID: journal.InvoiceID(d.ID), Amount: 60_00, On: "2026-04-18", Means: journal.Wire}, RecordedAt: noon.Add(1)},
		{Payment: journal.Payment{ID: "q", OnAccount: true, Amount: 50_00, On: "2026-04-19", Means: journal.Wire}, RecordedAt: noon.Add(2)},
	})
	var got [][]Posting
	for _, e := range entries {
		got = append(got, e.Postings)
	}
	want := [][]Posting{
		{{"Assets:Received:Wire", 60_00}, {MoneyOnAccount, -60_00}},
		{{"Assets:Received:Wire", 50_00}, {MoneyOnAccount, -50_00}},
		{{IncomeFrom(journal.Labour), -100_00}, {MoneyOnAccount, 100_00}},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// recorder drives one account through random acts, each a record dated on or
// before the day on which it is recorded.
type recorder struct {
	a       Account
	records []Record
	now     time.Time
}

func (r *recorder) document(d Document) {
	d.Number = len(r.records) + 1
	d.ID = fmt.Sprintf("document-%d", d.Number)
	r.a.Documents = append(r.a.Documents, d)
	r.records = append(r.records, Record{Document: d, RecordedAt: r.now})
}

func (r *recorder) money(t *rapid.T, p journal.Payment) {
	p.ID = journal.PaymentID(fmt.Sprintf("payment-%d", len(r.records)))
	p.On = journal.DateOf(r.now, time.UTC).AddDays(-rapid.IntRange(0, 5).Draw(t, "days before"))
	if p.Means == "" {
		p.Means = rapid.SampledFrom(journal.MeansOffered).Draw(t, "means")
	}
	r.a.Take(p)
	r.records = append(r.records, Record{Payment: p, RecordedAt: r.now})
}

func (r *recorder) act(t *rapid.T) {
	r.now = r.now.Add(time.Duration(rapid.IntRange(1, 60).Draw(t, "hours")) * time.Hour)
	day := journal.DateOf(r.now, time.UTC)
	amount := journal.Cents(rapid.Int64Range(1, 20_000_00).Draw(t, "amount"))
	switch rapid.IntRange(0, 8).Draw(t, "act") {
	case 0, 1:
		split := journal.Split{Labour: journal.Cents(rapid.Int64Range(-5_000_00, 20_000_00).Draw(t, "labour")), Parts: amount}
		r.a.Agreed = append(r.a.Agreed, Charge{Ref: fmt.Sprint(len(r.a.Agreed)), Source: ChangeOrder, StageID: "frame", Split: split})
		if d, ok, err := Next(r.a, r.a.Unbilled(), day, ""); err != nil {
			t.Fatal(err)
		} else if ok {
			r.document(d)
		}
	case 2:
		if n := len(r.a.Documents); n > 0 {
			if d, err := Cancel(r.a, r.a.Documents[n-1].ID, day); err == nil {
				r.document(d)
			}
		}
	case 3:
		if d, ok, err := Release(r.a, day); err == nil && ok {
			r.document(d)
		}
	case 4:
		for _, b := range Open(r.a) {
			if b.Open > 0 {
				r.money(t, journal.Payment{InvoiceID: journal.InvoiceID(b.Document.ID), Amount: min(amount, b.Open)})
				break
			}
		}
	case 5:
		r.money(t, journal.Payment{OnAccount: true, Amount: amount})
	case 6:
		r.money(t, journal.Payment{Amount: amount})
	case 7:
		if CheckRefund(r.a, amount) == nil {
			r.money(t, journal.Payment{OnAccount: true, Refund: true, Amount: -amount})
		} else if CheckDepositRefund(r.a, amount) == nil {
			r.money(t, journal.Payment{Refund: true, Amount: -amount})
		}
	case 8:
		for _, old := range r.records {
			reversed := slices.ContainsFunc(r.records, func(o Record) bool { return o.Payment.ReversesID == old.Payment.ID })
			if !old.IsDocument() && old.Payment.ReversesID == "" && !reversed && !old.Payment.Refund {
				p := old.Payment
				p.ReversesID, p.Amount = p.ID, -p.Amount
				r.money(t, p)
				break
			}
		}
	}
}

// Every entry sums to zero, and after every day the accounts of the books stand
// where the statement says: in the end where the account's own statement does.
func TestEntries_StandWhereTheStatementSays(t *testing.T) {
	used := 0
	rapid.Check(t, func(t *rapid.T) {
		r := &recorder{now: time.Date(2026, 1, 5, 9, 0, 0, 0, time.UTC)}
		r.a.Terms = Terms{Crediting: ProRata, HoldbackRate: 1000, Tax: Tax{Parts: 625, Labour: 333}}
		for range rapid.IntRange(0, 25).Draw(t, "acts") {
			r.act(t)
		}
		standing := map[Place]journal.Cents{}
		entries := Entries(r.records)
		for i, e := range entries {
			var sum journal.Cents
			for _, p := range e.Postings {
				sum += p.Amount
				standing[p.Place] += p.Amount
				if p.Place == MoneyOnAccount && e.IsDocument() {
					used++
				}
			}
			if sum != 0 {
				t.Fatalf("entry %+v sums to %s", e, sum)
			}
			if i+1 < len(entries) && entries[i+1].On() == e.On() {
				continue
			}
			for _, want := range BookedStatement(r.records, e.On()).Standing() {
				if standing[want.Place] != want.Amount {
					t.Fatalf("%s at the end of %s: %s; the statement says %s\n%+v", want.Place, e.On(), standing[want.Place], want.Amount, entries)
				}
			}
		}
		for _, want := range StatementOf(r.a).Standing() {
			if standing[want.Place] != want.Amount {
				t.Fatalf("%s in the end: %s; the account's statement says %s", want.Place, standing[want.Place], want.Amount)
			}
		}
		if len(entries) != len(r.records) {
			t.Fatalf("%d entries of %d records", len(entries), len(r.records))
		}
	})
	if used == 0 && !underRace {
		t.Error("no money on account was ever used for a document")
	}
}
