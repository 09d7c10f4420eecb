package views

import (
	"html"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/billing"
)

// givenWork is the log of a metered stage as a role sees it.
func givenWork(role journal.Role) WorkPiece {
	invoice := &Link{Text: "invoice 31", Href: "/builds/b1/invoices/i2"}
	staff := role.Staff()
	p := WorkPiece{
		Words: givenWords, At: "/builds/b1/stages/s8", BuildURL: "/builds/b1", StageID: "s8", Metered: true, Staff: staff, Office: role == journal.Office,
		Days: []WorkDay{
			{Day: "2026-04-14", Lines: []WorkLine{
				{ID: "w3", Kind: journal.Outside, Text: "Chrome on 14 pieces", Cost: 40000, MarkUp: 1500, Amount: 46000, By: "Jory Pike", File: "/builds/b1/work/w3/file", FileName: "plater 118.pdf", MayTake: staff},
				{ID: "w4", Kind: journal.Labour, Text: "Second pan.", Person: "Sam Teal", Minutes: 90, Rate: 9500, Amount: 14250, By: "Jory Pike", Gone: true},
				{ID: "w5", Kind: journal.Labour, Text: "Second pan.", Person: "Sam Teal", Minutes: -90, Rate: 9500, Amount: -14250, By: "Jory Pike", Reason: "It was the other truck."}}},
			{Day: "2026-04-13", Lines: []WorkLine{
				{ID: "w1", Kind: journal.Labour, Text: "Cut out and welded in the left pan <inner side>.", Person: "Jory Pike", Minutes: 1620, Rate: 9500, Amount: 256500, By: "Jory Pike", Billed: invoice, MayTake: staff},
				{ID: "w2", Kind: journal.Parts, Text: "Seam sealer", Cost: 12500, Amount: 12500, By: "Jory Pike", MayTake: staff}}}},
		People: []WorkTotal{{"Sam Teal", 0, 0}, {"Jory Pike", 1620, 256500}}, Parts: 12500, Outside: 46000,
		Metering: billing.Metering{Ceiling: 400000, Worked: 315000, Billed: 256500}, ToBill: 58500,
	}
	if staff {
		p.Open, p.Near = true, true
		p.Labour = WorkForm{ID: "form-1", Person: "jory", Day: "2026-04-15", Hours: "0", Quarter: "0", Rate: "95.00"}
		p.Bought = WorkForm{ID: "form-2", Kind: "parts", Day: "2026-04-15", MarkUp: "15"}
		p.Workers = []Option{{Value: "jory", Text: "Jory Pike"}, {Value: "sam", Text: "Sam Teal"}}
	}
	return p
}

func workRefused(wrong string) StaffStage {
	page := staffStage(journal.UnderWay)
	page.Work.Wrong = wrong
	page.Work.Problems = journal.Problems{"hours": "Please give the hours of one day, from 0.1 to 24."}
	switch wrong {
	case "labour":
		page.Work.Labour.Text = "Typed before."
	case "bought":
		page.Work.Problems = journal.Problems{"file": "The file is no PDF, JPEG or PNG; please choose another.", "cost": "Please type what the shop paid."}
	default:
		page.Work.Reason, page.Work.Problems = "x", journal.Problems{"reason": "Please say why it is taken back."}
	}
	return page
}

func workInvoice() Invoice {
	page := givenInvoice()
	work := givenWork(journal.Owner)
	line := func(text string, amount journal.Cents, source billing.Source, l *WorkLine, day journal.Date) InvoiceLine {
		return InvoiceLine{
			Charge: billing.Charge{Source: source, Text: text, Split: journal.Split{Labour: amount}},
			From:   Link{Text: "the work logged on Body metal", Href: "/builds/b1/stages/s8#work-w1"}, Work: l, Day: day,
		}
	}
	page.Stage, page.WorkOn, page.StageID = "", "Body metal", "s8"
	page.Lines = []InvoiceLine{
		line("Welded the left pan.", 256500, billing.LoggedWork, &work.Days[1].Lines[0], "2026-04-13"),
		line("Chrome on 14 pieces", 46000, billing.LoggedWork, &work.Days[0].Lines[0], "2026-04-14"),
		line("Over the ceiling of 3,000.00: not charged", -2500, billing.CeilingHeld, nil, ""),
	}
	return page
}

func meteredStage() Stage {
	page := givenStage()
	work := givenWork(journal.Owner)
	page.Row.Metered, page.Work = true, &work
	return page
}

func fixedStage() StaffStage {
	page := staffStage(journal.UnderWay)
	page.Work.Metered, page.Work.Near, page.Work.ToBill, page.Work.Metering = false, false, 0, billing.Metering{}
	return page
}

func floorStage() StaffStage {
	page := staffStage(journal.UnderWay)
	page.Person.Role = journal.Floor
	page.Work, page.Changes = givenWork(journal.Floor), 0
	return page
}

var _ = sample("owner stage by time and materials", meteredStage()) && sample("stage with a log at a fixed price", fixedStage()) &&
	sample("floor stage with a log", floorStage()) && sample("stage hours refused", workRefused("labour")) && sample("stage parts refused", workRefused("bought")) &&
	sample("stage taking back refused", workRefused("w1")) && sample("invoice of logged work", workInvoice())

func workShown(t *testing.T, page Page) string {
	t.Helper()
	return strings.ReplaceAll(html.UnescapeString(render(t, mustNew(t), page)), nbsp, " ")
}

func TestWork_WhoSeesWhat(t *testing.T) {
	office, floor, owner := workShown(t, staffStage(journal.UnderWay)), workShown(t, floorStage()), workShown(t, meteredStage())
	for _, says := range []string{"Work for $3,150.00 is logged, before tax: 79 % of the $4,000.00 that it may cost at most.", "27 hours × $95.00", "cost $400.00 + 15 %", "cost $125.00, no mark-up", `href="/builds/b1/work/w3/file"`} {
		if !strings.Contains(office, says) || !strings.Contains(owner, says) {
			t.Errorf("office %v, owner %v say %q", strings.Contains(office, says), strings.Contains(owner, says), says)
		}
	}
	for _, says := range []string{"Bill the work so far", `name="rate"`, "Log hours", "Write a change order", "/take-back"} {
		if !strings.Contains(office, says) || strings.Contains(owner, says) {
			t.Errorf("office %v, owner %v say %q", strings.Contains(office, says), strings.Contains(owner, says), says)
		}
	}
	_, log, _ := strings.Cut(floor, `id="work"`)
	log, _, _ = strings.Cut(log, `id="f-gate"`)
	if strings.Contains(log, "$") || strings.Contains(log, "95.00") || strings.Contains(log, `name="mark_up"`) || !strings.Contains(log, "79 % of the ceiling is used.") || !strings.Contains(log, "Log hours") {
		t.Errorf("the floor sees %s", log)
	}
	if fixed := workShown(t, fixedStage()); strings.Contains(fixed, "Bill the work") || !strings.Contains(fixed, "the owner does not see it") {
		t.Error("a fixed stage offers to bill its log, or does not say whose it is")
	}
}

func TestWork_RefusedKeepsWhatWasTyped(t *testing.T) {
	page := workShown(t, workRefused("labour"))
	if !strings.Contains(page, "Typed before.") || !strings.Contains(page, `href="#f-hours"`) || strings.Count(page, `id="f-hours"`) != 1 {
		t.Error("what was typed, or the way to what is wrong, is gone")
	}
	page = workShown(t, workRefused("bought"))
	if !strings.Contains(page, `href="#f-file"`) || strings.Count(page, `id="f-file"`) != 1 || strings.Count(page, `id="f-day"`) != 1 {
		t.Error("the way to the file is gone")
	}
}

func TestInvoice_SaysWhereLinesComeFrom(t *testing.T) {
	page := workShown(t, workInvoice())
	for _, says := range []string{
		"For the work logged so far on the stage Body metal", "Monday 13 April, Jory Pike: 27 hours × $95.00", `href="/builds/b1/stages/s8#work-w1"`,
		"Tuesday 14 April: cost $400.00 + 15 %", "never more than its agreed ceiling",
	} {
		if !strings.Contains(page, says) {
			t.Errorf("the invoice does not say %q", says)
		}
	}
}
