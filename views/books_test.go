package views

import (
	"archive/zip"
	"bytes"
	"encoding/csv"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"github.com/google/go-cmp/cmp"
)

// unzipped writes the books and returns the files of the ZIP.
func unzipped(t *testing.T, b Books) map[string]string {
	t.Helper()
	var made bytes.Buffer
	if err := WriteBooks(&made, b); err != nil {
		t.Fatal(err)
	}
	z, err := zip.NewReader(bytes.NewReader(made.Bytes()), int64(made.Len()))
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]string{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		files[f.Name] = string(text)
	}
	return files
}

// balances are the balances of all accounts as each program reads the books.
func balances(t *testing.T, files map[string]string) (ledger, hledger map[string]journal.Cents) {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	books := filepath.Join(dir, "books.journal")
	run := func(name string, args ...string) []byte {
		t.Helper()
		program, err := exec.LookPath(name)
		if err != nil && os.Getenv("FARBAY_TEST_ALL") == "" {
			t.Skipf("%s is not installed", name)
		}
		cmd := exec.Command(program, args...)
		cmd.Env = append(os.Environ(), "LC_ALL=C.UTF-8")
		var wrong bytes.Buffer
		cmd.Stderr = &wrong
		out, err := cmd.Output()
		if err != nil || wrong.Len() > 0 {
			t.Fatalf("%s %v: %v\n%s", name, args, err, wrong.String())
		}
		return out
	}
	read := func(text []byte) map[string]journal.Cents {
		t.Helper()
		lines, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		sums := map[string]journal.Cents{}
		for _, line := range lines {
			if line[0] == "account" || line[0] == "total" {
				continue
			}
			amount, err := journal.ParseCents(strings.TrimSuffix(line[1], " USD"))
			if err != nil {
				t.Fatalf("%q: %v", line, err)
			}
			if amount != 0 {
				sums[line[0]] = amount
			}
		}
		return sums
	}
	run("hledger", "-f", books, "check", "--strict")
	run("hledger", "-f", books, "check", "ordereddates")
	hledger = read(run("hledger", "-f", books, "balance", "--flat", "-O", "csv"))
	ledger = read(run("ledger", "-f", books, "--pedantic", "--args-only", "balance", "--flat", "--no-total", "--format", "\"%(account)\",\"%(quantity(scrub(display_total)))\"\n"))
	return ledger, hledger
}

// Names that mean something to spreadsheets, to ledger or to hledger.
var oddNames = []string{
	"Heron", "heron; dry", "two  blanks", "new\nline", "tab\there", "😀 Ünïcøde", strings.Repeat("long ", 60), "a:b:c", "(virtual)", "[balanced]",
	"=1+1", "@SUM(A1)", "'quoted'", `say "hi"`, "x | y", "~", "10 USD = 3 USD", "{lot} [2026-01-01] (code)", "\u00a0", "* cleared", "; only", "100%", "#tag a:b",
	"in\xffvalid", "right\u202eleft", "comma, dot.", "same-name", "same;name", "same|name", "include x.journal", "end comment",
}

func oddBooks(names []string) Books {
	b := Books{ShopName: "Shop; of\nodd names", Currency: "USD", Zone: denver, From: "2026-03-01", To: "2026-03-31", MadeAt: at("2026-04-01", 9, 0)}
	for i, name := range names {
		cents := journal.Cents(100_00 + i)
		d := billing.Document{ID: "d" + name, Number: i + 1, Kind: billing.Invoice, IssuedOn: "2026-03-02", Subtotal: 3 * cents, Tax: 5, Holdback: cents, DepositCredit: 7,
			Payable: 2*cents + 5 - 7, Charges: []billing.Charge{{Ref: "stage:" + name, Text: name, StageID: "s", Split: journal.Split{Parts: 3 * cents}}}}
		records := []billing.Record{
			{Payment: journal.Payment{ID: "b", Amount: 20_00, On: "2026-02-10", Means: journal.Cash}, RecordedAt: at("2026-03-05", 9, 0)},
			{Document: d, RecordedAt: at("2026-03-02", 9, 0)},
			{Payment: journal.Payment{ID: journal.PaymentID("p" + name), InvoiceID: journal.InvoiceID(d.ID), Amount: 11, On: "2026-03-03", Means: journal.Cheque, Reference: name, Reason: name}, RecordedAt: at("2026-04-01", 9, 0)},
			{Payment: journal.Payment{ID: "r", InvoiceID: journal.InvoiceID(d.ID), Amount: -11, On: "2026-03-31", Means: journal.Cheque, ReversesID: "p", Reason: name}, RecordedAt: at("2026-03-31", 23, 0)},
		}
		b.Builds = append(b.Builds, BookBuild{
			ID: journal.BuildID(fmt.Sprint("b", i)), Nickname: name, Entries: billing.Entries(records), Stages: map[string]string{"s": name},
			Documents: map[string]BookDocument{d.ID: {Name: d.Name(), Stage: name, BillTo: name, Tax: []billing.TaxShare{{Kind: "parts", Rate: 1, Base: 3 * cents, Tax: 5}}}},
			Standing:  billing.BookedStatement(records, b.To).Standing(),
		})
	}
	return b
}

// Whatever builds, people and references are called, both programs read the books
// and find what the postings say, each build on accounts of its own.
func TestBooks_OddNames(t *testing.T) {
	b := oddBooks(oddNames)
	files := unzipped(t, b)
	want := map[string]journal.Cents{}
	for i := range b.Builds {
		build := &b.Builds[i]
		name := accountName(build.ID, build.Nickname)
		sums := map[billing.Place]journal.Cents{}
		for _, e := range build.Entries {
			for _, p := range e.Postings {
				sums[p.Place] += p.Amount
			}
		}
		sums[billing.OpeningBalances] = 0 // 20.00 in cash against 20.00 of deposits
		for place, sum := range sums {
			if sum != 0 {
				want[string(place)+":"+name] = sum
			}
		}
	}
	ledger, hledger := balances(t, files)
	if diff := cmp.Diff(want, ledger); diff != "" {
		t.Errorf("ledger:\n%s", diff)
	}
	if diff := cmp.Diff(want, hledger); diff != "" {
		t.Errorf("hledger:\n%s", diff)
	}
}

// The programs must be able to find a cent too many.
func TestBooks_AssertionsCanFail(t *testing.T) {
	b := oddBooks(oddNames[:1])
	b.Builds[0].Standing[0].Amount++
	files := unzipped(t, b)
	dir := t.TempDir()
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"ledger", "hledger"} {
		program, err := exec.LookPath(name)
		if err != nil && os.Getenv("FARBAY_TEST_ALL") == "" {
			t.Skipf("%s is not installed", name)
		}
		if out, err := exec.Command(program, "-f", filepath.Join(dir, "books.journal"), "balance").CombinedOutput(); err == nil || !strings.Contains(strings.ToLower(string(out)), "assert") {
			t.Errorf("%s takes a wrong balance: %v\n%s", name, err, out)
		}
	}
}

// Every table reads back with the columns that the README explains, no text cell
// begins like a formula, and every text can be had back.
func TestBooks_Tables(t *testing.T) {
	b := oddBooks(oddNames)
	files := unzipped(t, b)
	tables := 0
	for name, text := range files {
		if !strings.HasSuffix(name, ".csv") {
			continue
		}
		tables++
		lines, err := csv.NewReader(strings.NewReader(text)).ReadAll()
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if strings.Count(text, "\n") != strings.Count(text, "\r\n") || strings.Count(text, "\r\n") != len(lines) {
			t.Errorf("%s has other line ends than CR LF, or some within cells", name)
		}
		if len(lines) < 2 {
			t.Errorf("%s is empty", name)
		}
		for _, line := range lines[1:] {
			for i, cell := range line {
				if _, err := journal.ParseCents(cell); err != nil && strings.ContainsAny(firstRune(cell), "=+-@\t\r＝＋－＠") {
					t.Errorf("%s, %s: %q begins like a formula", name, lines[0][i], cell)
				}
			}
		}
		for _, column := range lines[0] {
			if !strings.Contains(files["README.txt"], "- "+column+": ") {
				t.Errorf("the README does not explain %s of %s", column, name)
			}
		}
	}
	if tables != 7 {
		t.Errorf("%d tables", tables)
	}
	for in, want := range map[string]string{"=1+1": "'=1+1", "-5": "'-5", "'a": "''a", "＝1": "'＝1", "plain": "plain", "a\r\nb": "a b", "\t=1": "'=1", "": ""} {
		if got := cellText(in); got != want {
			t.Errorf("%q becomes %q; want %q", in, got, want)
		}
	}
}

// What was dated before the period and recorded in it is told apart, and what was
// recorded after its last day too.
func TestBooks_RecordedLater(t *testing.T) {
	b := oddBooks(oddNames[:1])
	late, after := b.Late(), b.After()
	if len(late) != 1 || late[0].Payment.ID != "b" || len(after) != 1 || after[0].Payment.ID != "pHeron" || len(b.Entries()) != 3 {
		t.Errorf("late %+v\nafter %+v", late, after)
	}
	files := unzipped(t, b)
	if !strings.Contains(files["late.csv"], "2026-02-10,2026-03-05,Heron,deposit,,20.00,cash") || strings.Contains(files["payments.csv"], "20.00") {
		t.Errorf("late:\n%s\npayments:\n%s", files["late.csv"], files["payments.csv"])
	}
	if !strings.Contains(files["README.txt"], "1 payment of an earlier period (late.csv), and 1 record of this period recorded after its last day") {
		t.Error(files["README.txt"])
	}
}

// A period without anything gives books that both programs read.
func TestBooks_Empty(t *testing.T) {
	b := Books{ShopName: "Nobody", Currency: "?;\n", Zone: time.UTC, From: "2026-01-01", To: "2026-01-31", MadeAt: at("2026-02-01", 9, 0)}
	ledger, hledger := balances(t, unzipped(t, b))
	if len(ledger) > 0 || len(hledger) > 0 {
		t.Errorf("%v %v", ledger, hledger)
	}
}

var sampleBooks = oddBooks([]string{"Heron", "Bramble"})

// booksPages are the pages of books, filled.
func booksPages() map[string]Page {
	frame := frameAt("/books", "Books", journal.Office)
	return map[string]Page{
		"books": BooksPage{Frame: frame, Months: MonthOptions("2026-01-05", "2026-04-15"), Month: "2026-03",
			From: "2026-03-01", To: "2026-03-31", Books: &sampleBooks},
		"books of days that cannot be": BooksPage{Frame: frame, Months: MonthOptions("2026-01-05", "2026-04-15"), From: "2026-13-01", To: "2026-03-31",
			Problems: journal.Problems{"from": "Please type a day that exists."}},
		"books of nothing": BooksPage{Frame: frame, Months: MonthOptions("", "2026-04-15"), Month: "2026-04", From: "2026-04-01", To: "2026-04-30",
			Books: &Books{ShopName: "Nobody", Currency: "USD", Zone: denver, From: "2026-04-01", To: "2026-04-30"}},
	}
}

var _ = sampleAll(booksPages())

func sampleAll(pages map[string]Page) bool {
	for name, page := range pages {
		sample(name, page)
	}
	return true
}
