package flow_test

import (
	"errors"
	"fmt"
	"slices"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// phrases say amounts and days as package views does, for one year and dollars.
type phrases struct{ fault error }

func (p phrases) Money(c journal.Cents) (string, error) { return "$" + c.String(), p.fault }

func (p phrases) PaperDoes(sheet signoff.Sheet) (string, error) {
	delta, days := sheet.DeltaWithTax, sheet.Days
	return fmt.Sprintf("%s and %d working days", delta.Signed(), days), nil
}

func (p phrases) Day(d journal.Date) (string, error) { return d.Time().Format("2 January"), nil }

func (p phrases) Since(at time.Time) (string, error) { return at.Weekday().String(), nil }

func stages(states ...journal.StageState) (lines []flow.StageLine) {
	for i, s := range states {
		name := []string{"Plating", "Body metal", "Paint and liner"}[i]
		lines = append(lines, flow.StageLine{Stage: journal.Stage{Name: name, State: s}})
	}
	return lines
}

func paper(title string, delta journal.Cents, days int) flow.PaperLine {
	return flow.PaperLine{Sheet: signoff.Sheet{Title: title, DeltaWithTax: delta, Days: days}}
}

func open(number int, amount journal.Cents, issued, due journal.Date, late int) flow.OpenInvoice {
	return flow.OpenInvoice{Open: amount, Late: late, Invoice: flow.Invoice{Document: billing.Document{
		Kind: billing.Invoice, Number: number, IssuedOn: issued, DueOn: due,
	}}}
}

func TestOwnerOverview_say(t *testing.T) {
	agreed := journal.Build{Nickname: "Heron", State: journal.Agreed, ArrivedOn: "2026-01-09", ReadyOn: "2026-09-24"}
	scoping := journal.Build{Nickname: "Heron", State: journal.Scoping, ArrivedOn: "2026-01-09"}
	coming := journal.Build{Nickname: "Heron", State: journal.Scoping}
	delivered := journal.Build{Nickname: "Heron", State: journal.Delivered, DeliveredOn: "2026-10-02"}
	const ready = "The agreed ready date is 24 September."
	for _, c := range []struct {
		reason string
		o      flow.OwnerOverview
		want   []string
	}{
		{
			"the example of the design", // "One paper waits for you: floor pans, ..."
			flow.OwnerOverview{Build: agreed, Stages: stages(journal.Closed, journal.UnderWay, journal.NotStarted),
				Papers: []flow.PaperLine{paper("floor pans", 233_900, 6)}},
			[]string{"Body metal is under way.", ready, "One paper waits for you: floor pans, +2,339.00 and 6 working days."},
		},
		{
			"several of each",
			flow.OwnerOverview{Build: agreed, Stages: stages(journal.UnderWay, journal.UnderWay, journal.NotStarted),
				Papers:   []flow.PaperLine{paper("floor pans", 233_900, 6), paper("old winch", -2_000, 0)},
				Asked:    []flow.AskedAbout{{Paper: paper("floor pans", 0, 0)}},
				Answered: []flow.AskedAbout{{Paper: paper("old winch", 0, 0)}},
				Invoices: []flow.OpenInvoice{open(30, 100, "2026-04-01", "2026-04-11", 3), open(31, 840_000, "2026-04-10", "2026-04-20", 0), open(32, 5, "2026-04-14", "2026-04-14", 0)},
				New:      7, Since: time.Date(2026, 4, 12, 0, 0, 0, 0, time.UTC)},
			[]string{
				"Plating and Body metal are under way.", ready,
				"Two papers wait for you: floor pans, +2,339.00 and 6 working days; and old winch, -20.00 and 0 working days.",
				"Your question about old winch is answered.", "One question of yours is still to be answered by the shop.",
				"$1.00 of invoice 30 is open and was due on 11 April.", "$8,400.00 of invoice 31 is open, due on 20 April.", "$0.05 of invoice 32 is open, due on receipt.",
				"Seven new entries since your last visit, Sunday.",
			},
		},
		{
			"nothing waits",
			flow.OwnerOverview{Build: agreed, Stages: stages(journal.UnderWay, journal.UnderWay, journal.UnderWay), New: 13, Since: time.Date(2026, 4, 12, 0, 0, 0, 0, time.UTC)},
			[]string{"Plating, Body metal and Paint and liner are under way.", ready, "Nothing waits for you.", "13 new entries since your last visit, Sunday."},
		},
		{
			"between two stages",
			flow.OwnerOverview{Build: agreed, Stages: stages(journal.Closed, journal.NotStarted, journal.NotStarted), DepositDue: 50_000},
			[]string{"No stage is under way today; Body metal comes next.", ready, "$500.00 of the agreed deposit is still to come."},
		},
		{
			"before the work",
			flow.OwnerOverview{Build: scoping, Stages: stages(journal.NotStarted)},
			[]string{"Heron is in the shop, and no stage has begun yet.", "Scope and price are being settled with you; nothing is billed before you agree.", "Nothing waits for you."},
		},
		{
			"before the arrival",
			flow.OwnerOverview{Build: coming, Stages: stages(journal.NotStarted)},
			[]string{"Heron has not arrived at the shop yet.", "Scope and price are being settled with you; nothing is billed before you agree.", "Nothing waits for you."},
		},
		{
			"all closed",
			flow.OwnerOverview{Build: agreed, Stages: stages(journal.Closed, journal.Closed)},
			[]string{"Every stage is closed; what is left is the delivery.", ready, "Nothing waits for you."},
		},
		{
			"delivered, with one to pay",
			flow.OwnerOverview{Build: delivered, Stages: stages(journal.Closed), Invoices: []flow.OpenInvoice{open(40, 840_000, "2026-10-02", "2026-10-12", 0)}},
			[]string{"Heron was delivered on 2 October.", "$8,400.00 of invoice 40 is open, due on 12 October."},
		},
	} {
		t.Run(c.reason, func(t *testing.T) {
			said, err := c.o.Say(phrases{})
			if err != nil || !slices.Equal(said, c.want) {
				t.Errorf("said %q, %v\nwant %q", said, err, c.want)
			}
		})
	}
	fault := errors.New("no currency")
	if _, err := (flow.OwnerOverview{DepositDue: 1}).Say(phrases{fault}); !errors.Is(err, fault) {
		t.Errorf("a failure to say an amount became %v", err)
	}
}
