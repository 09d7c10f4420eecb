package server

import (
	"fmt"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/views"
)

// boardRow puts a build at a glance into the form pages show.
func boardRow(g flow.Glance, role journal.Role) views.BoardRow {
	return views.BoardRow{
		Build: g.Build, Stages: stageLines(g.Stages), Waits: waits(g, role), Due: g.MoneyDue,
		LastNewsAt: g.LastNews, QuietDays: g.QuietFor, Quiet: g.Quiet,
	}
}

func stageLines(lines []flow.StageLine) []views.StageLine {
	var all []views.StageLine
	for _, l := range lines {
		all = append(all, views.StageLine{Stage: l.Stage, Dropped: l.Dropped, Lead: l.Lead, Done: l.Done, Changes: l.Changes})
	}
	return all
}

// officeOnly are the waits whose act is on a page that only the office may
// enter.
var officeOnly = map[flow.WaitFor]bool{
	flow.ForTruck: true, flow.ForAgreement: true, flow.ForAuthority: true, flow.ForEstimate: true, flow.ForDelivery: true,
}

// waits puts what a build waits on into the form pages show; the reader's role
// decides which have a link.
func waits(g flow.Glance, role journal.Role) []views.Wait {
	var all []views.Wait
	for _, w := range g.Waits {
		one := views.Wait{
			On: views.WaitsOn(w.On), For: string(w.For), BuildID: g.Build.ID, Days: w.Days, Late: w.Late, Amount: w.Amount,
			InvoiceID: w.Invoice.ID, StageID: w.Stage.ID, Stage: w.Stage.Name, Missing: w.Missing, Percent: w.Percent,
			NoWay: role != journal.Office && officeOnly[w.For],
		}
		if p := w.Paper.Paper; p.ID != "" {
			one.PaperID, one.Paper, one.Title = p.ID, views.PaperItem{Kind: p.Kind, Number: p.Number}.Name(), p.Draft.Title
			if p.Number == 0 {
				one.Paper = string(p.Kind)
			}
			if p.State != signoff.Drafted && p.State != signoff.Recalled {
				one.Title = w.Paper.Sheet.Title
			}
		}
		if w.For == flow.ForWish || w.For == flow.ForHandling {
			one.EntryID, one.Title = w.Belonging.EntryID, w.Belonging.What
			if last, answered := w.Belonging.Last(); answered {
				one.Stage = string(last.Answer)
			}
		}
		if w.Invoice.ID != "" {
			one.Invoice = w.Invoice.Document.Name()
		}
		all = append(all, one)
	}
	return all
}

// wants says what the gates of the stages under way still want, a line a stage
// without a full stop: "Body metal: 4 more photos the owner can see and 5
// checks".
func wants(lines []flow.StageLine) []string {
	var all []string
	for _, l := range lines {
		if l.Stage.State != journal.UnderWay {
			continue
		}
		if missing := gateWants(l.Gate); len(missing) > 0 {
			all = append(all, l.Stage.Name+": "+views.List(missing))
		}
	}
	return all
}

func gateWants(g flow.GateReport) []string {
	var missing []string
	switch n := g.PhotosWanted - g.Photos; {
	case n == 1:
		missing = append(missing, "one more photo the owner can see")
	case n > 1:
		missing = append(missing, fmt.Sprintf("%d more photos the owner can see", n))
	}
	open, last := 0, ""
	for _, c := range g.Checks {
		if !c.Done {
			open, last = open+1, c.Text
		}
	}
	switch {
	case open == 1:
		missing = append(missing, "the check “"+last+"”")
	case open > 1:
		missing = append(missing, fmt.Sprintf("%d checks", open))
	}
	for _, p := range g.PapersOut {
		missing = append(missing, fmt.Sprintf("the decision on %s %d", p.Kind, p.Number))
	}
	if !g.Agreed {
		missing = append(missing, "the owner's agreement")
	}
	return missing
}
