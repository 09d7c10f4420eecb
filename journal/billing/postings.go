package billing

import (
	"cmp"
	"slices"
	"strings"
	"time"

	"farbay/journal"
)

// Place is an account of the double-entry books; each build has its own below it.
type Place string

const (
	Receivable      Place = "Assets:Receivable"      // open on documents, credit taken off
	HoldbackHeld    Place = "Assets:Held back"       // billed and kept back until the delivery
	DepositsHeld    Place = "Liabilities:Deposits"   // received and not earned yet
	MoneyOnAccount  Place = "Liabilities:On account" // paid on account and not used for a document
	SalesTax        Place = "Liabilities:Sales tax"  // charged; the shop's payments of it are not in Farbay
	OpeningBalances Place = "Equity:Opening balances"
)

// ReceivedBy is where money of one means comes in and goes out:
// "Assets:Received:Cheque".
func ReceivedBy(m journal.Means) Place { return Place("Assets:Received:" + capital(string(m))) }

// IncomeFrom is the income of one line kind: "Income:Outside work".
func IncomeFrom(k journal.LineKind) Place { return Place("Income:" + capital(string(k))) }

// Lasting reports whether what stands on it goes on into the next period: assets
// and liabilities do, income does not.
func (p Place) Lasting() bool { return !strings.HasPrefix(string(p), "Income:") }

func capital(s string) string {
	if s == "" {
		return "Other"
	}
	return strings.ToUpper(s[:1]) + s[1:]
}

// Places lists all accounts in the order in which they are shown.
func Places() []Place {
	all := []Place{Receivable, HoldbackHeld}
	for _, m := range journal.MeansOffered {
		all = append(all, ReceivedBy(m))
	}
	all = append(all, DepositsHeld, MoneyOnAccount, SalesTax)
	for _, k := range journal.LineKinds {
		all = append(all, IncomeFrom(k))
	}
	return all
}

// Posting is an amount put on an account of the books: debits are positive,
// credits negative. The postings of one entry sum to zero.
type Posting struct {
	Place  Place
	Amount journal.Cents
}

// DocumentPostings are what a document puts on the books (package comment,
// "Books"). They sum to zero, for so does every document. Pure.
func DocumentPostings(d Document) []Posting {
	var sold journal.Split
	for _, c := range d.Charges {
		sold = sold.Add(c.Split)
	}
	postings := []Posting{{Receivable, d.Payable}, {HoldbackHeld, d.Holdback}, {DepositsHeld, d.DepositCredit}, {SalesTax, -d.Tax}}
	for _, k := range journal.LineKinds {
		postings = append(postings, Posting{IncomeFrom(k), -sold.Of(k)})
	}
	return withoutZero(postings)
}

// PaymentPostings are what a record of money puts on the books, whatever it is: a
// payment, a reversal, a refund, a refund reversed. They sum to zero. Pure.
func PaymentPostings(p journal.Payment) []Posting {
	against := Receivable
	switch {
	case p.OnAccount:
		against = MoneyOnAccount
	case p.InvoiceID == "":
		against = DepositsHeld
	}
	return withoutZero([]Posting{{ReceivedBy(p.Means), p.Amount}, {against, -p.Amount}})
}

func withoutZero(postings []Posting) []Posting {
	return slices.DeleteFunc(postings, func(p Posting) bool { return p.Amount == 0 })
}

// Record is one document or one payment of a build, and when it was recorded.
type Record struct {
	Document   Document        // when it is one; its ID is set then
	Payment    journal.Payment // otherwise
	RecordedAt time.Time
}

// IsDocument reports whether it is a document; otherwise it is a payment.
func (r Record) IsDocument() bool { return r.Document.ID != "" }

// On is the day on which the books have it: of a document its day of issue, of a
// payment the day on which the money came or went.
func (r Record) On() journal.Date {
	if r.IsDocument() {
		return r.Document.IssuedOn
	}
	return r.Payment.On
}

// Entry is a record with what it puts on the books.
type Entry struct {
	Record
	Postings []Posting
}

// Entries returns what the records of one build put on the books, by day and then
// in the order recorded. Each entry sums to zero. After the last entry of any day,
// what stands on the accounts is what the statement of the records up to that day
// says (package comment, "Books"). Pure.
func Entries(records []Record) []Entry {
	records = byDay(records)
	entries := make([]Entry, 0, len(records))
	var a Account
	issued := map[string]bool{}
	early := false                 // whether any money had no document of its own when it came
	var booked, paid journal.Cents // on account, by the postings and by the account
	for _, r := range records {
		e := Entry{Record: r}
		if r.IsDocument() {
			a.Documents = append(a.Documents, r.Document)
			issued[r.Document.ID] = true
			e.Postings = DocumentPostings(r.Document)
		} else {
			p := r.Payment
			a.Take(p)
			if p.InvoiceID != "" && !issued[string(p.InvoiceID)] {
				p.OnAccount = true // until its document is issued
			}
			if p.OnAccount {
				early = true
				booked += p.Amount
			}
			e.Postings = PaymentPostings(p)
		}
		if early {
			paid = OnAccount(a.asIssued(issued))
			if used := booked - paid; used != 0 {
				e.Postings = merged(append(e.Postings, Posting{MoneyOnAccount, used}, Posting{Receivable, -used}))
				booked = paid
			}
		}
		entries = append(entries, e)
	}
	return entries
}

// byDay returns records by day and then in the order recorded.
func byDay(records []Record) []Record {
	records = slices.Clone(records)
	slices.SortStableFunc(records, func(x, y Record) int {
		return cmp.Or(cmp.Compare(x.On(), y.On()), x.RecordedAt.Compare(y.RecordedAt))
	})
	return records
}

// asIssued is the account with payments for documents that are not issued yet as
// paid on account.
func (a Account) asIssued(issued map[string]bool) Account {
	a.Payments = slices.Clone(a.Payments)
	for i, p := range a.Payments {
		if !issued[p.DocumentID] {
			a.Payments[i].DocumentID = ""
		}
	}
	return a
}

// merged adds up the postings to the same account, where the first one stands.
func merged(postings []Posting) []Posting {
	var sums []Posting
	for _, p := range postings {
		i := slices.IndexFunc(sums, func(s Posting) bool { return s.Place == p.Place })
		if i < 0 {
			sums = append(sums, p)
			continue
		}
		sums[i].Amount += p.Amount
	}
	return withoutZero(sums)
}

// BookedStatement is the statement of the records up to the end of a day, of which
// what stands on the books can be told: nothing agreed is in it. A payment for a
// document that is not issued by then counts as paid on account. Pure.
func BookedStatement(records []Record, until journal.Date) Statement {
	var a Account
	issued := map[string]bool{}
	for _, r := range byDay(records) {
		switch {
		case r.On() > until:
		case r.IsDocument():
			a.Documents = append(a.Documents, r.Document)
			issued[r.Document.ID] = true
		default:
			a.Take(r.Payment)
		}
	}
	return StatementOf(a.asIssued(issued))
}

// Standing returns what a statement says stands on the four accounts that follow
// from it, in the sign of the books.
func (s Statement) Standing() []Posting {
	return []Posting{
		{Receivable, s.Due + s.OnAccount}, {HoldbackHeld, s.HeldBack}, {DepositsHeld, -s.DepositUnearned}, {MoneyOnAccount, -s.OnAccount},
	}
}
