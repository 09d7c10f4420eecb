package views

import (
	"bytes"
	"context"
	"encoding/csv"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// givenBooks have a bit of everything: a change up and one down, a use, two
// invoices, a deposit, a holdback, a payment and money on account.
func givenBooks() billing.Books {
	a := billing.Account{
		Terms: billing.Terms{Deposit: 2000000, Crediting: billing.ProRata, HoldbackRate: 500, Tax: billing.Tax{Parts: 625}},
		Agreed: []billing.Charge{
			{Ref: "stage:s6", Source: billing.Agreement, StageID: "s6", Text: "Frame and coat", Split: journal.Split{Labour: 1100000}},
			{Ref: "stage:s8", Source: billing.Agreement, StageID: "s8", Text: "=Body metal", Split: journal.Split{Labour: 1000000, Parts: 400000}},
			{Ref: "paper:q1/stage:s6", Source: billing.ChangeOrder, StageID: "s6", Text: "Change order 1: Both front floor pans", Split: journal.Split{Labour: 150000}},
			{Ref: "paper:q2/stage:s8", Source: billing.ChangeOrder, StageID: "s8", Text: "Change order 2: No tailgate", Split: journal.Split{Parts: -30001}},
			{Ref: "use:u1", Source: billing.Allowance, StageID: "s8", Text: "Use 1 of the standing allowance: Cracked bracket", Split: journal.Split{Parts: 12000}},
		},
		DepositReceived: 2000000, DepositRefunded: 100,
	}
	b := billing.Books{Deposits: []billing.Payment{{ID: "p1", Amount: 2000000, On: "2026-02-01"}}, Refunds: []billing.Payment{{ID: "p2", Amount: -100, On: "2026-02-09"}}}
	bill := func(stage string) billing.Document {
		d, _, err := billing.Next(a, a.Unbilled(stage), "2026-04-02", stage)
		if err != nil {
			panic(err)
		}
		d.Number = len(a.Documents) + 1
		d.ID = "i" + string(rune('0'+d.Number))
		a.Documents = append(a.Documents, d)
		return d
	}
	first := bill("s6")
	b.Before = a
	bill("s8")
	a.Payments = []billing.Payment{{ID: "p3", DocumentID: first.ID, Amount: first.Payable, On: "2026-04-10"}, {ID: "p4", Amount: 5000, On: "2026-04-11"}}
	b.Now = a
	return b
}

func givenStatementSheet() StatementSheet {
	b := givenBooks()
	s := StatementSheet{
		Words: givenWords, At: "/builds/b1", On: "2026-04-14", Since: "2026-04-01", Over: true, Until: time.Date(2026, 4, 15, 5, 59, 59, 999e6, time.UTC),
		Shop:  signoff.SheetShop{Name: "Tern Hollow Truck Works", Address: "4 Quarry Road\nTern Hollow", Phone: "555 0100", Zone: "America/Denver"},
		Build: signoff.SheetBuild{Nickname: "Heron", Truck: "1971 Ostler Fenman", Serial: "OF7-10442", Owners: []string{"Ada Lindqvist"}},
		Entry: journal.Event{Seq: 1234}, Period: billing.PeriodOf(b),
	}
	names := map[string]string{"s6": "Frame and coat", "s8": "=Body metal"}
	for _, r := range s.Period.Stages {
		s.Rows = append(s.Rows, StatementRow{names[r.StageID], r})
	}
	return s
}

func givenApplicationSheet() ApplicationSheet {
	b := givenBooks()
	return ApplicationSheet{StatementSheet: givenStatementSheet(), Application: billing.ApplicationOf(b.Before, b.Now), Stages: map[string]string{"s6": "Frame and coat", "s8": "=Body metal"}}
}

var _, _, _, _, _, _ = statementSample("statement", func(f Frame, s ApplicationSheet, d StatementDays) Page {
	return Statement{Frame: f, Days: d, Sheet: &s.StatementSheet, Open: givenInvoices()}
}), statementSample("statement-refused", func(f Frame, _ ApplicationSheet, _ StatementDays) Page {
	return Statement{Frame: f, Days: refusedDays}
}), statementSample("statement-figure", func(f Frame, s ApplicationSheet, _ StatementDays) Page {
	parts := []FigurePart{{"payment on account", "/builds/b1/money", "2026-04-11", 5000}, {Text: "Ceiling"}}
	return StatementFigure{Frame: f, Sheet: s.StatementSheet, Figure: billing.FigurePaid, Stage: "Body metal", Amount: 5000, Parts: parts}
}), statementSample("statement-figure-of-nothing", func(f Frame, s ApplicationSheet, _ StatementDays) Page {
	return StatementFigure{Frame: f, Sheet: s.StatementSheet, Figure: billing.FigureStop}
}), statementSample("application", func(f Frame, s ApplicationSheet, d StatementDays) Page {
	return Application{Frame: f, Days: d, Sheet: &s}
}), statementSample("application-refused", func(f Frame, _ ApplicationSheet, _ StatementDays) Page {
	return Application{Frame: f, Days: refusedDays}
})

var refusedDays = StatementDays{Form: "statement", On: "2027-01-01", Problems: journal.Problems{"on": "That day is still to come; please give today or an earlier day."}}

func statementSample(name string, page func(Frame, ApplicationSheet, StatementDays) Page) bool {
	days := StatementDays{Form: "statement", On: "2026-04-14", Since: "2026-04-01", Problems: journal.Problems{}, Quick: []Link{{Text: "This month", Href: "/builds/b1/statement?on=2026-04-14"}}}
	return sample(name, page(frameAt("/builds/b1/statement", "Statement", journal.Owner), givenApplicationSheet(), days))
}

// csvRows reads a table with the standard library's reader, which keeps RFC 4180.
func csvRows(t *testing.T, data []byte) (rows []map[string]string) {
	t.Helper()
	if bytes.Count(data, []byte("\n")) != bytes.Count(data, []byte("\r\n")) {
		t.Error("a line does not end in CR LF (RFC 4180, 2.1)")
	}
	all, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	for _, cells := range all[1:] {
		row := map[string]string{}
		for i, cell := range cells {
			row[all[0][i]] = cell
		}
		rows = append(rows, row)
	}
	return rows
}

func TestStatementCSV(t *testing.T) {
	var out bytes.Buffer
	s := givenStatementSheet()
	if err := StatementCSV(&out, s); err != nil {
		t.Fatal(err)
	}
	rows := csvRows(t, out.Bytes())
	if len(rows) != 2+1+len(billing.Figures()) {
		t.Fatalf("%d rows", len(rows))
	}
	// OWASP, "CSV Injection": a cell that begins with = is a formula.
	if rows[1]["name"] != "'=Body metal" || rows[1]["changes"] != "-180.01" || rows[1]["share_billed"] != "100.00" || rows[1]["as_of"] != "2026-04-14" {
		t.Errorf("the second stage: %v", rows[1])
	}
	if rows[2]["row"] != "total" || rows[2]["billed_before"] != "12500.00" {
		t.Errorf("the total: %v", rows[2])
	}
	for i, f := range billing.Figures() {
		amount, _ := s.Period.Figure(f, nil)
		row := rows[3+i]
		if got, err := journal.ParseCents(row["amount"]); err != nil || got != amount || row["name"] == "" || !strings.Contains(row["amount"], ".") {
			t.Errorf("%s is %s: %v", f, amount, row)
		}
	}
}

func TestApplicationCSV(t *testing.T) {
	var out bytes.Buffer
	s := givenApplicationSheet()
	if err := ApplicationCSV(&out, s); err != nil {
		t.Fatal(err)
	}
	rows := csvRows(t, out.Bytes())
	// The trade's order of columns; see billing.Application.
	head, _, _ := strings.Cut(out.String(), "\r\n")
	if !strings.Contains(head, "item,description,scheduled_value,from_previous,this_period,stored_materials,completed_and_stored,per_cent,balance_to_finish,retainage") {
		t.Errorf("columns are %s", head)
	}
	if last := rows[len(rows)-1]; last["amount"] != cellMoney(s.Application.Payable) {
		t.Errorf("the last line is %v", last)
	}
	if rows[3]["scheduled_value"] != "-300.01" || rows[3]["balance_to_finish"] != "0.00" || rows[3]["description"] != "Change order 2: No tailgate (=Body metal)" {
		t.Errorf("the deduction is %v", rows[3])
	}
	for _, row := range rows[:5] {
		sum := journal.Cents(0)
		for _, column := range []string{"from_previous", "this_period", "stored_materials"} {
			c, err := journal.ParseCents(row[column])
			if err != nil {
				t.Fatal(err)
			}
			sum += c
		}
		if cellMoney(sum) != row["completed_and_stored"] {
			t.Errorf("%v does not add up", row)
		}
	}
}

// What is printed holds every figure, is tagged and whole for poppler and qpdf, and is
// the same each time.
func TestStatementPDF_HoldsTheFigures(t *testing.T) {
	statement, application := givenStatementSheet(), givenApplicationSheet()
	for name, c := range map[string]struct {
		make func(*bytes.Buffer) error
		want []string
	}{
		"statement": {func(b *bytes.Buffer) error { return StatementPDF(context.Background(), b, statement) },
			[]string{"1 April 2026 to 14 April 2026", "entry 1,234 of the proof log", "Share billed", "Body metal", "100 %", statement.Period.Now.Due.String(), statement.Period.Now.BilledWithTax.String()}},
		"application": {func(b *bytes.Buffer) error { return ApplicationPDF(context.Background(), b, application) },
			[]string{"Retainage", "4. Change order 2: No tailgate", application.Application.Due.String(), application.Application.Balance.String(), "−300.01"}},
	} {
		t.Run(name, func(t *testing.T) {
			var one, two bytes.Buffer
			for _, b := range []*bytes.Buffer{&one, &two} {
				if err := c.make(b); err != nil {
					t.Fatal(err)
				}
			}
			if !bytes.Equal(one.Bytes(), two.Bytes()) {
				t.Error("two prints of the same differ")
			}
			file := filepath.Join(t.TempDir(), "print.pdf")
			if err := os.WriteFile(file, one.Bytes(), 0o600); err != nil {
				t.Fatal(err)
			}
			outside(t, "qpdf", "--check", file)
			if info := outside(t, "pdfinfo", file); !regexp.MustCompile(`Tagged: +yes`).MatchString(info) || !strings.Contains(info, "of Heron, ") {
				t.Errorf("pdfinfo says\n%s", info)
			}
			if tags := strings.Join(strings.Fields(outside(t, "pdfinfo", "-struct-text", file)), " "); !strings.Contains(tags, "TH: /Scope /Column") {
				t.Errorf("no head of a column is among the tags:\n%s", tags)
			}
			text := strings.Join(textOf(t, file), " ")
			for _, want := range c.want {
				if !strings.Contains(text, want) && !strings.Contains(text, strings.ReplaceAll(want, "−", "-")) {
					t.Errorf("%q is not in print:\n%s", want, text)
				}
			}
		})
	}
}

func TestFigureName_OfEveryFigure(t *testing.T) {
	names := map[string]bool{}
	for _, f := range billing.Figures() {
		if names[FigureName(f)] || FigureName(f) == "" {
			t.Errorf("%s is called %q", f, FigureName(f))
		}
		names[FigureName(f)] = true
	}
}
