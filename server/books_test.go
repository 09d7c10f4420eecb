package server_test

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/server/servertest"
)

// busy does random acts of money on builds, through the steps that people use.
type busy struct {
	*servertest.Server
	t      *testing.T
	random *rand.Rand
	builds []journal.BuildID
	n      int
}

func newBusy(t *testing.T, seed uint64, nicknames ...string) *busy {
	b := &busy{Server: servertest.New(t), t: t, random: rand.New(rand.NewPCG(seed, 1))}
	ctx := context.Background()
	for i, nickname := range nicknames {
		owner := b.Add(journal.Owner, fmt.Sprint("Owner ", i+1))
		id, stages := b.Agreed(nickname, owner)
		for _, st := range stages {
			b.must(b.App.Steps().OpenStage(ctx, servertest.Actor(b.Floor), id, st.ID))
		}
		b.must(b.App.Steps().Store.Write(ctx, func(tx flow.Tx) error {
			return tx.SaveTerms(id, billing.Terms{Deposit: 1500_00, Crediting: billing.Creditings[i%2], HoldbackRate: 750, DueDays: 14,
				Tax: billing.Tax{Parts: 625, Labour: 333, PerLine: i == 1}})
		}))
		b.builds = append(b.builds, id)
	}
	return b
}

func (b *busy) must(err error) {
	b.t.Helper()
	if err != nil {
		b.t.Fatal(err)
	}
}

func (b *busy) money(id journal.BuildID) flow.Money {
	b.t.Helper()
	m, err := b.App.Steps().MoneyOf(context.Background(), servertest.Actor(b.Office), id)
	b.must(err)
	return m
}

// act does one act on a build; one that is refused, because nothing is open for
// instance, is none.
func (b *busy) act(id journal.BuildID) {
	b.t.Helper()
	b.n++
	b.Clock.Pass(time.Duration(b.random.IntN(30)) * time.Hour)
	ctx, steps, office := context.Background(), b.App.Steps(), servertest.Actor(b.Office)
	m := b.money(id)
	form := journal.PaymentID(fmt.Sprintf("form-of-a-busy-day-%d", b.n))
	today := journal.DateOf(b.Clock.Now(), time.UTC).AddDays(-1 - b.random.IntN(6))
	amount := journal.Cents(1 + b.random.IntN(2_000_00))
	var err error
	switch b.random.IntN(8) {
	case 0, 1:
		for _, st := range m.Stages {
			if st.State == journal.UnderWay {
				_, _, err = steps.CloseStage(ctx, office, id, st.ID)
				break
			}
		}
	case 2:
		if n := len(m.Invoices); n > 0 {
			_, err = steps.CancelInvoice(ctx, office, id, m.Invoices[b.random.IntN(n)].ID, "Billed by mistake; \"sorry\"")
		}
	case 3:
		for _, balance := range m.Balances {
			if balance.Open > 0 {
				err = steps.RecordPayment(ctx, office, id, journal.Payment{ID: form, InvoiceID: journal.InvoiceID(balance.Document.ID),
					Amount: min(amount, balance.Open), On: today, Means: journal.Cheque, Reference: "No. 7; =1+1"})
				break
			}
		}
	case 4:
		err = steps.RecordPayment(ctx, office, id, journal.Payment{ID: form, OnAccount: true, Amount: amount, On: today, Means: journal.Wire})
	case 5:
		err = steps.RecordRefund(ctx, office, id, flow.Refund{ID: form, Amount: amount, On: today, Means: journal.Cheque, Reason: "Too much"})
	case 6:
		err = steps.RecordPayment(ctx, office, id, journal.Payment{ID: form, Amount: amount / 4, On: today, Means: journal.Card})
	case 7:
		if n := len(m.Payments); n > 0 {
			err = steps.ReversePayment(ctx, office, id, m.Payments[b.random.IntN(n)].ID, "Returned by the bank")
		}
	}
	if code := journal.CodeOf(err); err != nil && code != journal.Invalid && code != journal.Conflict {
		b.t.Fatal(err)
	}
}

// files saves the ZIP of a period as the office does and unpacks it.
func (b *busy) files(from, to journal.Date) map[string]string {
	b.t.Helper()
	reply := b.As(b.Office).Get(fmt.Sprintf("/books/books.zip?from=%s&to=%s", from, to)).Status(200)
	z, err := zip.NewReader(bytes.NewReader([]byte(reply.Body)), int64(len(reply.Body)))
	b.must(err)
	files := map[string]string{}
	for _, f := range z.File {
		r, err := f.Open()
		b.must(err)
		text, err := io.ReadAll(r)
		b.must(err)
		files[f.Name] = string(text)
	}
	return files
}

// read has an outside program read the books and say what stands on each
// account, all builds together.
func (b *busy) read(files map[string]string, program string, args ...string) map[string]journal.Cents {
	b.t.Helper()
	dir := b.t.TempDir()
	for name, text := range files {
		b.must(os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	cmd := exec.Command(tool(b.t, program), append([]string{"-f", filepath.Join(dir, "books.journal")}, args...)...)
	cmd.Env = append(os.Environ(), "LC_ALL=C.UTF-8")
	var wrong bytes.Buffer
	cmd.Stderr = &wrong
	out, err := cmd.Output()
	if err != nil || wrong.Len() > 0 {
		b.t.Fatalf("%s: %v\n%s", program, err, wrong.String())
	}
	lines, err := csv.NewReader(bytes.NewReader(out)).ReadAll()
	b.must(err)
	sums := map[string]journal.Cents{}
	for _, line := range lines {
		if line[0] == "account" || line[0] == "total" {
			continue
		}
		amount, err := journal.ParseCents(strings.TrimSuffix(line[1], " USD"))
		b.must(err)
		sums[line[0][:strings.LastIndex(line[0], ":")]] += amount // all builds
	}
	return sums
}

// column adds up a column of a table.
func (b *busy) column(table, name string) journal.Cents {
	b.t.Helper()
	lines, err := csv.NewReader(strings.NewReader(table)).ReadAll()
	b.must(err)
	i := slices.Index(lines[0], name)
	if i < 0 {
		b.t.Fatalf("no column %q in %v", name, lines[0])
	}
	var sum journal.Cents
	for _, line := range lines[1:] {
		amount, err := journal.ParseCents(line[i])
		b.must(err)
		sum += amount
	}
	return sum
}

// The books of a busy time, read by ledger and by hledger, stand to the cent where
// each build's statement does; whichever periods they are cut into.
func TestBooks_OutsideProgramsAgree(t *testing.T) {
	b := newBusy(t, 20260415, "Heron", "Bram;ble  (II)", "=Ünï😀")
	for range 90 {
		b.act(b.builds[b.random.IntN(len(b.builds))])
	}
	last := journal.DateOf(b.Clock.Now(), time.UTC).AddDays(1)
	want := map[string]journal.Cents{}
	var subtotal, tax, payable, paid journal.Cents
	documents, onAccount, refunds, deposits := 0, 0, 0, 0
	for _, id := range b.builds {
		m := b.money(id)
		s := billing.StatementOf(m.Account)
		b.must(s.Check())
		for _, p := range s.Standing() {
			want[string(p.Place)] += p.Amount
		}
		for _, inv := range m.Invoices {
			documents++
			subtotal, tax, payable = subtotal+inv.Document.Subtotal, tax+inv.Document.Tax, payable+inv.Document.Payable
		}
		for _, p := range m.Payments {
			paid += p.Amount
			if p.OnAccount {
				onAccount++
			} else if p.InvoiceID == "" {
				deposits++
			}
			if p.Refund {
				refunds++
			}
		}
	}
	if documents < 20 || onAccount == 0 || refunds == 0 || deposits == 0 || tax == 0 || want[string(billing.HoldbackHeld)] == 0 || want[string(billing.DepositsHeld)] == 0 {
		t.Fatalf("%d documents, %d payments on account, %d refunds, %d of the deposit, %v: not a busy time", documents, onAccount, refunds, deposits, want)
	}
	for _, from := range []journal.Date{"2026-01-01", "2026-05-01", last} {
		files := b.files(from, last)
		for program, args := range map[string][]string{
			"hledger": {"balance", "--flat", "-O", "csv", "--empty"},
			"ledger":  {"--pedantic", "--args-only", "balance", "--flat", "--no-total", "--format", "\"%(account)\",\"%(quantity(scrub(display_total)))\"\n"},
		} {
			got := b.read(files, program, args...)
			for place, amount := range want {
				if got[place] != amount {
					t.Errorf("books from %s: %s says %s stands on %s; the statements say %s", from, program, got[place], place, amount)
				}
			}
		}
	}
	files := b.files("2026-01-01", last)
	for what, sums := range map[string][2]journal.Cents{
		"subtotals":            {b.column(files["documents.csv"], "subtotal"), subtotal},
		"lines":                {b.column(files["lines.csv"], "total"), subtotal},
		"tax of documents":     {b.column(files["documents.csv"], "tax"), tax},
		"tax by kind":          {b.column(files["tax.csv"], "tax"), tax},
		"tax of the period":    {b.column(files["tax-totals.csv"], "tax"), tax},
		"what is taxed or not": {b.column(files["tax-totals.csv"], "base"), subtotal},
		"payable":              {b.column(files["documents.csv"], "payable"), payable},
		"payments":             {b.column(files["payments.csv"], "amount"), paid},
		"accounts":             {b.column(files["accounts.csv"], "debits") - b.column(files["accounts.csv"], "credits"), 0},
	} {
		if sums[0] != sums[1] {
			t.Errorf("%s come to %s; want %s", what, sums[0], sums[1])
		}
	}
	b.As(b.Office).Get("/books?from=2026-01-01&to=" + string(last)).Status(200).Says("By account")
	b.As(b.Office).Get("/cash").Status(200).Says("This is a forecast, and no promise")
}

// Days that cannot be are said beside their fields, and no ZIP is made of them.
func TestBooks_Days(t *testing.T) {
	s := servertest.New(t)
	office := s.As(s.Office)
	office.Get("/books").Status(200).Says("Nothing was issued")
	office.Get("/books?month=2026-03").Status(200)
	office.Get("/books?month=2026-99").Status(422).Says("Please choose one of the months")
	office.Get("/books?from=2026-04-02&to=2026-04-01").Status(422).Says("ends before it begins")
	office.Get("/books?from=tomorrow&to=").Status(422).Says("a day that exists")
	office.Get("/books/books.zip?from=2026-04-02&to=2026-04-01").Status(422)
	office.Get("/books/books.zip").Status(422)
	office.Get("/cash").Status(200).Says("Nothing is expected")
	office.Get("/cash/forecast.csv").Status(200)
}
