package views

import (
	"fmt"
	"net/url"
	"strings"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
)

// BooksPage shows the books of a period and hands them out. Its forms get /books
// ("month", or "from" and "to").
type BooksPage struct {
	Frame
	Months   []Option // those to choose from, newest first
	Month    string   // the one shown; "" for other days
	From, To string   // as typed, or the days shown
	Books    *Books   // nil when the days cannot be taken
	Problems journal.Problems
}

// Template names the page's template.
func (BooksPage) Template() string { return "office/books" }

var _ = declare(BooksPage{})

// MonthOptions lists the months from the first to the last, the last first; only
// the last when there is no first.
func MonthOptions(first, last journal.Date) []Option {
	if first.IsZero() {
		first = last
	}
	var months []Option
	end := last.Time()
	for at := time.Date(end.Year(), end.Month(), 1, 0, 0, 0, 0, time.UTC); len(months) == 0 || at.Format("2006-01") >= month(first); at = at.AddDate(0, -1, 0) {
		months = append(months, Option{Value: at.Format("2006-01"), Text: at.Format("January 2006")})
	}
	return months
}

func month(d journal.Date) string { return d.Time().Format("2006-01") }

// ZIP is the address of the books shown, to be saved.
func (p BooksPage) ZIP() string {
	return "/books/books.zip?" + url.Values{"from": {string(p.Books.From)}, "to": {string(p.Books.To)}}.Encode()
}

// Say tells what the period came to, in plain sentences.
func (p BooksPage) Say() (string, error) {
	if p.Books == nil {
		return "Choose a month, or a first and a last day.", nil
	}
	documents, payments := 0, 0
	var billed, tax, received journal.Cents
	for _, e := range p.Books.Entries() {
		if e.IsDocument() {
			documents++
			billed += e.Document.Subtotal
			tax += e.Document.Tax
		} else {
			payments++
			received += e.Payment.Amount
		}
	}
	if documents == 0 && payments == 0 {
		return "Nothing was issued and no money came or went in these days.", nil
	}
	said := []string{Count(documents, "document was", "documents were") + " issued"}
	if documents > 0 {
		before, err := p.Money(billed)
		if err != nil {
			return "", err
		}
		taxed, err := p.Money(tax)
		if err != nil {
			return "", err
		}
		said[0] += fmt.Sprintf(": %s before tax, and %s of sales tax", before, taxed)
	}
	if payments > 0 {
		came, err := p.Money(received)
		if err != nil {
			return "", err
		}
		said = append(said, fmt.Sprintf("%s recorded: %s came in, less what went out", Count(payments, "payment is", "payments are"), came))
	}
	return strings.Join(said, ". ") + ".", nil
}

// Rate says at which rate a part of the tax was charged.
func (p BooksPage) Rate(s billing.TaxShare) string {
	switch {
	case s.Kind == "":
		return ""
	case s.Rate == 0:
		return "not taxed"
	}
	return Percent(s.Rate)
}

// KindWords is what a part of the tax was charged on.
func (BooksPage) KindWords(s billing.TaxShare) string {
	if s.Kind == "" {
		return "Lines that cancel each other out"
	}
	return UpperFirst(string(s.Kind))
}

// AccountWords is the account's name with its meaning.
func (BooksPage) AccountWords(p billing.Place) string { return UpperFirst(placeMeaning(p)) }
