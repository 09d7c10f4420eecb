package views

import (
	"bytes"
	"encoding/csv"
	"slices"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
	"github.com/google/go-cmp/cmp"
)

// cashPages are the forecast, filled. Today is Wednesday 15 April 2026.
func cashPages() map[string]Page {
	frame := frameAt("/cash", "What will come in", journal.Office)
	heron, bramble := BuildRef{"b1", "Heron"}, BuildRef{"b2", "=Bramble"}
	billed := func(on journal.Date) billing.Document {
		return billing.Document{Kind: billing.Invoice, IssuedOn: on.AddDays(-14), DueOn: on, ClosesStageID: "s"}
	}
	issued := func(id string, number int, due journal.Date) billing.Document {
		return billing.Document{ID: id, Number: number, Kind: billing.Invoice, IssuedOn: due.AddDays(-14), DueOn: due}
	}
	item := func(build BuildRef, stage string, kind billing.ComingKind, d billing.Document, on journal.Date, amount journal.Cents, most bool) CashItem {
		c := billing.Coming{Kind: kind, Document: d, On: on, Amount: amount, AtMost: most}
		if stage != "" {
			c.StageID = "s"
		}
		return CashItem{Build: build, Stage: stage, Coming: c}
	}
	return map[string]Page{
		"cash": CashPage{Frame: frame, Today: "2026-04-15", Items: []CashItem{
			item(bramble, "Paint", billing.ComingBilled, billed("2026-08-01"), "2026-08-01", 4_000_00, true),
			item(heron, "", billing.ComingOpen, issued("i1", 12, "2026-04-10"), "2026-04-10", 700_00, false),
			item(heron, "", billing.ComingOpen, issued("i2", 13, "2026-04-19"), "2026-04-19", 800_00, false),
			item(heron, "Body metal", billing.ComingBilled, billed("2026-04-20"), "2026-04-20", 900_00, false),
			item(heron, "Plating", billing.ComingBilled, billed("2026-06-07"), "2026-06-07", 1_000_00, false),
			item(heron, "Wiring", billing.ComingBilled, billed("2026-06-08"), "2026-06-08", 1_100_00, false),
			item(heron, "Glass", billing.ComingBilled, billed("2026-07-01"), "2026-07-01", 0, false),
			item(heron, "", billing.ComingRelease, billed("2026-07-02"), "2026-07-02", 1_300_00, false),
			item(bramble, "", billing.ComingDeposit, billing.Document{}, "2026-04-15", 500_00, false),
			item(bramble, "Interior", billing.ComingBilled, billing.Document{ClosesStageID: "s"}, "", 250_00, false),
			item(bramble, "", billing.ComingBack, billing.Document{}, "2026-08-30", -50_00, false),
		}},
		"cash of nothing": CashPage{Frame: frame, Today: "2026-04-15"},
	}
}

var _ = sampleAll(cashPages())

// Weeks end on Sunday (ISO 8601: a week begins on Monday); the eighth from
// Wednesday 15 April 2026 ends on 7 June.
func TestCashPage_Times(t *testing.T) {
	page := cashPages()["cash"].(CashPage)
	times, err := page.Times()
	if err != nil {
		t.Fatal(err)
	}
	type line struct {
		Name  string
		Total journal.Cents
	}
	var got []line
	var sum journal.Cents
	for _, when := range times {
		got = append(got, line{strings.ReplaceAll(when.Name, nbsp, " "), when.Total()})
		sum += when.Total()
	}
	want := []line{{"Due now", 1_200_00}, {"This week, until Sun 19 Apr", 800_00}, {"Week until Sun 26 Apr", 900_00}, {"Week until Sun 7 Jun", 1_000_00},
		{"Rest of June 2026", 1_100_00}, {"July 2026", 1_300_00}, {"August 2026", 3_950_00}, {"No day planned", 250_00}}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	all := page.All()
	if all.Total() != sum || all.Now != 1_200_00 || all.Weeks != 2_700_00 || all.Later != 6_350_00 || all.NoDay != 250_00 || !all.AtMost {
		t.Errorf("%+v", all)
	}
	var rows journal.Cents
	for _, r := range page.Rows() {
		rows += r.Total()
	}
	if rows != sum {
		t.Errorf("the builds come to %s; want %s", rows, sum)
	}
}

func TestWriteCash(t *testing.T) {
	page := cashPages()["cash"].(CashPage)
	var out bytes.Buffer
	if err := WriteCash(&out, page); err != nil {
		t.Fatal(err)
	}
	lines, err := csv.NewReader(&out).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var sum journal.Cents
	for _, line := range lines[1:] {
		amount, err := journal.ParseCents(line[slices.Index(lines[0], "amount")])
		if err != nil {
			t.Fatal(err)
		}
		sum += amount
	}
	if sum != page.All().Total() {
		t.Errorf("the table comes to %s; the page to %s", sum, page.All().Total())
	}
	if want := []string{"2026-04-10", "5", "Heron", "open", "invoice 12", "2026-03-27", "700.00", ""}; cmp.Diff(want, lines[1]) != "" {
		t.Error(cmp.Diff(want, lines[1]))
	}
	if lines[2][2] != "'=Bramble" {
		t.Errorf("%q", lines[2])
	}
}
