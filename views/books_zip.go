package views

import (
	"archive/zip"
	"fmt"
	"io"
	"strings"

	"farbay/journal/billing"
)

// bookFile is one file of the books.
type bookFile struct {
	name, about string
	columns     [][2]string // name and meaning; none for what is no table
	write       func(io.Writer) error
}

func table[R any](name, about string, columns []bookColumn[R], rows []R) bookFile {
	f := bookFile{name: name, about: about, write: func(w io.Writer) error { return writeTable(w, columns, rows) }}
	for _, c := range columns {
		f.columns = append(f.columns, [2]string{c.name, c.holds})
	}
	return f
}

// files lists the files of the books, without the README.
func (b Books) files() []bookFile {
	var documents, payments []Booked
	var lines []bookLine
	var taxes []bookTax
	for _, e := range b.Entries() {
		if !e.IsDocument() {
			payments = append(payments, e)
			continue
		}
		documents = append(documents, e)
		for _, c := range e.Document.Charges {
			lines = append(lines, bookLine{e, c})
		}
		for _, s := range e.document().Tax {
			taxes = append(taxes, bookTax{e, s})
		}
	}
	var accounts []bookAccount
	for i := range b.Builds {
		for _, t := range b.TotalsOf(&b.Builds[i]) {
			accounts = append(accounts, bookAccount{&b.Builds[i], t})
		}
	}
	return []bookFile{
		table("documents.csv", "Invoices, credit memos and releases of holdback, one a row.", documentColumns, documents),
		table("lines.csv", "What each document bills, one charge a row. A release of holdback has none.", lineColumns, lines),
		table("tax.csv", "The tax of each document by line kind and rate.", taxColumns, taxes),
		table("tax-totals.csv", "The same for the period.", taxTotalColumns, b.TaxTotals()),
		table("payments.csv", "Money that came in or went out, one record a row: for documents, of the deposit, on account, sent back, reversed.", paymentColumns(b.Zone), payments),
		table("late.csv", "Payments dated before the period that were recorded in it. They are in no other table here; see above.", paymentColumns(b.Zone), b.Late()),
		table("accounts.csv", "What happened on each account of the books, build by build.", accountColumns, accounts),
		{name: "books.journal", about: "Double-entry books as plain text for the programs ledger and hledger (hledger wants a UTF-8 locale). It names the accounts and brings in the three files below.", write: b.booksJournal},
		{name: "opening.journal", about: "What stood on the accounts before the period. Leave it out where the books of the time before are there.", write: b.openingJournal},
		{name: "entries.journal", about: "Every document and payment of the period as a balanced transaction. Its code is the document's kind and number, or the payment's id.", write: b.entriesJournal},
		{name: "closing.journal", about: "What the builds' statements say stands on four of the accounts at the end. Both programs fail if the books do not say the same.", write: b.closingJournal},
	}
}

// WriteBooks writes a ZIP with the books: tables, journal files, and a README.txt
// that explains every column.
func WriteBooks(w io.Writer, b Books) error {
	out := zip.NewWriter(w)
	files := b.files()
	readme := bookFile{name: "README.txt", write: func(w io.Writer) error { return b.readme(w, files) }}
	for _, f := range append([]bookFile{readme}, files...) {
		part, err := out.CreateHeader(&zip.FileHeader{Name: f.name, Method: zip.Deflate, Modified: b.MadeAt.In(b.Zone)})
		if err != nil {
			return err
		}
		if err := f.write(part); err != nil {
			return fmt.Errorf("views: write %s: %w", f.name, err)
		}
	}
	return out.Close()
}

func (b Books) readme(w io.Writer, files []bookFile) error {
	var out strings.Builder
	fmt.Fprintf(&out, "The books of %s, from %s to %s\nMade on %s. Amounts are in %s.\n\n%s", oneLine(b.ShopName), b.From, b.To,
		b.MadeAt.In(b.Zone).Format("2006-01-02 15:04 -07:00"), b.commodity(), readmeHead)
	fmt.Fprintf(&out, "In these books, %s of an earlier period (late.csv), and %s of this period recorded after its last day.\n\nWHAT STANDS ON WHICH ACCOUNT\n\n",
		Plural(len(b.Late()), "payment", "payments"), Plural(len(b.After()), "record", "records"))
	for _, place := range billing.Places() {
		fmt.Fprintf(&out, "%-26s %s\n", place, placeMeaning(place))
	}
	out.WriteString("\nTHE FILES\n")
	for _, f := range files {
		fmt.Fprintf(&out, "\n%s\n  %s\n", f.name, f.about)
		for _, c := range f.columns {
			fmt.Fprintf(&out, "  - %s: %s\n", c[0], c[1])
		}
	}
	_, err := io.WriteString(w, strings.NewReplacer("\n", "\r\n", nbsp, " ").Replace(out.String()))
	return err
}

// placeMeaning says what stands on an account.
func placeMeaning(p billing.Place) string {
	switch p {
	case billing.Receivable:
		return "open on issued documents, credit taken off"
	case billing.HoldbackHeld:
		return "billed and kept back by the owners until the delivery"
	case billing.DepositsHeld:
		return "deposits received and not earned yet"
	case billing.MoneyOnAccount:
		return "paid on account and not used for a document"
	case billing.SalesTax:
		return "charged on documents; what the shop pays of it is not in Farbay"
	}
	if p.Lasting() {
		return "money that came in this way, less what went out"
	}
	return "billed, before tax, credit memos taken off"
}

const readmeHead = `THE PERIOD

Documents belong to the period in which they were issued, payments to that in which the
money came or went, both days of the period within. A payment can be recorded later
than its day. If that is after the period's last day, books of the period that were
made before have not got it: make them anew, or book what late.csv of the next period
lists. The opening balances of the next period have it. An issued document never
changes, and nothing is ever taken out.

HOW TO READ THE TABLES

UTF-8, comma-separated, as RFC 4180 describes; the first line has the names. Amounts
have two decimals, a dot and no thousands. A text that begins with = + - @ or an
apostrophe has an apostrophe put before it, so that no spreadsheet takes it for a
formula.

HOW THE BOOKS ARE KEPT

Debits are positive, credits negative. A document debits the receivable with what is
to be paid, what is held back with its holdback and the deposits with what they cover,
and credits income by line kind and the sales tax. A payment debits the account of its
means and credits the receivable, the deposits, or what is on account. What is sent
back or reversed is the same with the other sign. Money on account moves to the
receivable within the entry after which it is used, for the oldest open document.
Money for a document that was issued later is on account until then. Each account is
divided by build, under its nickname.

Farbay keeps no general ledger and gives no tax advice; how to book, and on which
basis, is for the accountant to say.

`
