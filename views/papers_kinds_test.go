package views

import (
	"maps"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/signoff"
)

// sheetOf is a frozen paper of a kind, with what fill says.
func sheetOf(kind signoff.Kind, title string, fill func(*signoff.Sheet)) signoff.Sheet {
	s := givenSheet()
	s.Kind, s.Number, s.Revision, s.Title, s.Act, s.Decline, s.Notices = kind, 1, 1, title, kind.SignSentence(), kind.DeclineSentence(), kind.Notices()
	s.Lines, s.Days, s.Stage, s.Delta, s.DeltaTax, s.DeltaWithTax = []signoff.SheetLine{}, 0, signoff.SheetStage{}, 0, 0, 0
	s.AgreedAfter, s.TotalAfter, s.DateAfter = s.AgreedBefore, s.TotalBefore, s.DateBefore
	fill(&s)
	return s
}

// sheetsByKind are frozen papers of the kinds other than a plain change order,
// with all that each can hold.
func sheetsByKind() map[string]signoff.Sheet {
	of := sheetOf
	return map[string]signoff.Sheet{
		"agreement": of(signoff.BuildAgreement, "Restoration of Heron", func(s *signoff.Sheet) {
			s.Reason = "The truck is taken down to the frame.\n\nThe frame is blasted, mended and powder coated; the body is mended and painted marsh green."
			s.Photos = []signoff.SheetPhoto{}
			s.AgreedBefore, s.TotalBefore, s.AgreedAfter, s.TotalAfter, s.DateBefore = 0, 0, 9260000, 9634000, ""
			s.Delta, s.DeltaTax, s.DeltaWithTax = 9260000, 374000, 9634000
			s.Agreement = &signoff.SheetAgreement{Deposit: 2000000, Crediting: "pro rata", HoldbackRate: 500, DueDays: 14, Stages: []signoff.SheetAgreed{
				{ID: "s1", Name: "Teardown", Value: signoff.SheetSplit{Labour: 420000}, Days: 8, From: "2026-03-02", To: "2026-03-12"},
				{ID: "s2", Name: "Body metal", Value: signoff.SheetSplit{Labour: 6840000, Parts: 2000000}, Days: 30}}}
			s.Delegate = &signoff.SheetDelegate{Name: "Bo Lindqvist", Email: "bo@example.org", Phone: "555 0199"}
			s.Allowance = &signoff.SheetAllowance{PerFind: 25000, PerMonth: 75000}
		}),
		"teardown": of(signoff.Teardown, "Taking Heron apart", func(s *signoff.Sheet) {
			s.Stage = signoff.SheetStage{ID: "s1", Name: "Teardown"}
			s.Teardown = &signoff.SheetTeardown{Cost: 420000, CostWithTax: 428400, Reassembly: 310000, ReassemblyDays: 7, Destroyed: []string{"Gaskets", "Seals", "O-rings"}}
		}),
		"several": of(signoff.ChangeOrder, "Re-estimate after the teardown", func(s *signoff.Sheet) {
			s.ReEstimate, s.Stage, s.Days, s.DateAfter = true, signoff.SheetStage{ID: "s2", Name: "Body metal"}, 4, "2026-09-30"
			s.Lines = []signoff.SheetLine{{Kind: journal.Labour, Text: "Rear sill", Minutes: 600, Rate: 9500, Amount: 95000},
				{Stage: &signoff.SheetStage{ID: "s3", Name: "Frame and coat"}, Kind: journal.Parts, Text: "Crossmember", Amount: 61000}}
			s.Delta, s.DeltaTax, s.DeltaWithTax, s.AgreedAfter, s.TotalAfter = 156000, 3800, 159800, s.AgreedBefore+156000, s.TotalBefore+159800
			s.Standing = &signoff.SheetStanding{PerFind: 25000, PerMonth: 75000, Month: "2026-04", Left: 61000}
		}),
		"date": of(signoff.DateChange, "Another ready date", func(s *signoff.Sheet) {
			s.Reason, s.Days, s.DateAfter = "The plater is three weeks behind.", 15, "2026-10-15"
		}),
		"delivery": of(signoff.DeliveryAcceptance, "Delivery of Heron", func(s *signoff.Sheet) {
			s.Acceptance = &signoff.SheetAcceptance{DeliveredOn: "2026-09-24", Odometer: 88210, Unit: "miles", HandedOver: []string{"Two keys", "The spare wheel"},
				OpenPoints: []string{"The horn ring comes by post."}, Billed: 9634000, Paid: 9534000, Due: 100000, HeldBack: 463000}
		}),
		"restaged": of(signoff.ChangeOrder, "A winch, and no liner", func(s *signoff.Sheet) {
			s.Stage = signoff.SheetStage{ID: "s20", Name: "Winch"}
			s.Adds = &signoff.SheetAdded{ID: "s20", Name: "Winch", Days: 4, After: &signoff.SheetStage{ID: "s2", Name: "Body metal"}, Metered: true}
			s.Drops = &signoff.SheetStage{ID: "s3", Name: "Paint and liner"}
			s.Lines = []signoff.SheetLine{{Stage: s.Drops, Kind: journal.Labour, Text: "Paint and liner is dropped", Amount: -90000, Dropped: true}, {Kind: journal.Parts, Text: "Winch", Amount: 120000}}
			s.Delta, s.DeltaTax, s.DeltaWithTax, s.AgreedAfter, s.TotalAfter = 30000, 7500, 37500, s.AgreedBefore+30000, s.TotalBefore+37500
		}),
		"stop": of(signoff.EarlyStop, "Ending the build of Heron", func(s *signoff.Sheet) {
			s.Reason = "The owner moves abroad and cannot take the truck along."
			s.Stop = &signoff.SheetStop{By: signoff.OwnersWish, On: "2026-04-14", Truck: "Fetched by the owner's carrier on 4 May.", Parts: []string{"Two doors, with the truck", "The old engine stays for the shop to scrap"},
				Stages: []signoff.SheetStopped{{ID: "s1", Name: "Teardown", Agreed: 420000, Billed: 420000},
					{ID: "s2", Name: "Body metal", Open: true, Agreed: 8840000, Earned: 3000000, NotDone: 5840000, Off: signoff.SheetSplit{Labour: 4518824, Parts: 1321176}, Typed: true},
					{ID: "s3", Name: "Electrics", Open: true, Metered: true, Agreed: 150000, Earned: 30000, NotDone: 120000, Off: signoff.SheetSplit{Labour: 120000}}, {ID: "s4", Name: "Assembly", Open: true}},
				Documents: []signoff.SheetDocument{{Kind: "holdback release", Holdback: -21000, DepositCredit: 21000}, {Kind: "invoice", Subtotal: 3080000, Tax: 61600, DepositCredit: 1888319, Payable: 1253281}},
				DueBefore: 100000, DueAfter: 1353281, Owed: 1353281}
			s.Lines = []signoff.SheetLine{{Stage: &signoff.SheetStage{ID: "s4", Name: "Assembly"}, Kind: journal.Parts, Text: "Seal kit, handed over", Amount: 50000}}
			s.AgreedAfter, s.TotalAfter = 3500000, 3561600
		}),
		"stop-back": of(signoff.EarlyStop, "Ending the build of Heron", func(s *signoff.Sheet) {
			s.Stop = &signoff.SheetStop{By: signoff.ShopsWish, On: "2026-04-14", Truck: "Stays at the shop until it is fetched.", Parts: []string{}, Stages: []signoff.SheetStopped{{ID: "s1", Name: "Teardown", Open: true, Agreed: 420000, NotDone: 420000}},
				Documents: []signoff.SheetDocument{}, DueBefore: -5000, DueAfter: -5000, DepositReturned: 200000, Owed: -205000}
		}),
	}
}

// paperOfKind is the page on which an owner decides one of them.
func paperOfKind(name string) Paper { return paperOf(sheetsByKind()[name]) }

func paperOf(sheet signoff.Sheet) Paper {
	return Paper{Frame: frameAt("/builds/b1/papers/q1", sheet.Title, journal.Owner), ID: "q1", State: signoff.Sent, Sheet: must(givenWords.OfSheet(sheet, givenHash)), CanDecide: true, Consented: true}
}

// stopEdit is the office's form of an early stop.
func stopEdit() PaperEdit {
	paper := shopPaper(signoff.Drafted)
	paper.Kind = signoff.EarlyStop
	stages := stagesOf(shopStages(6, 2))
	metered := stages[4]
	metered.Metered = true
	ends := must(givenWords.OfSheet(sheetsByKind()["stop"], ""))
	return PaperEdit{Frame: heronFrame("Early stop", "/papers/c4/edit"), Paper: paper, Stages: stages,
		Rests: []StopRest{{stages[2], 300000}, {stages[5], 120000}, {metered, 40000}}, Ends: &ends,
		Form: PaperForm{Title: "Ending the build", StopBy: "the owner", StopOn: "2026-04-14", StopTruck: "Fetched", StopParts: "Two doors",
			Earned: []EarnedForm{{string(stages[2].ID), "1,000"}}, Lines: []LineForm{{Kind: "parts", Text: "Seals", Amount: "250"}}, Version: 5}}
}

// kindForms are the office's forms of those kinds.
func kindForms() map[string]Page {
	edit := func(kind signoff.Kind, form PaperForm) Page {
		paper := shopPaper(signoff.Drafted)
		paper.Kind = kind
		stages := stagesOf(shopStages(6, 2))
		stages[1].Teardown = true
		form.Version = 5
		return PaperEdit{Frame: heronFrame(kind.Title(), "/papers/c4/edit"), Paper: paper, Form: form, Stages: stages,
			Problems: journal.Problems{"title": "Please name it in a few words, at most 120 characters."}}
	}
	return map[string]Page{
		"paper-edit-agreement": edit(signoff.BuildAgreement, PaperForm{Title: "Restoration of Heron", Reason: "Down to the frame.", ReadyOn: "2026-09-24", DelegateName: "Bo Lindqvist", PerFind: "250"}),
		"paper-edit-teardown":  edit(signoff.Teardown, PaperForm{Title: "Taking Heron apart", Destroyed: "Gaskets\nSeals", Reassembly: "3,100", ReassemblyDays: "7"}),
		"paper-edit-several":   edit(signoff.ChangeOrder, PaperForm{Title: "Re-estimate", ReEstimate: "yes", Days: "4", Lines: []LineForm{{Kind: "parts", Text: "Crossmember", Amount: "610", Stage: "sh"}}}),
		"paper-edit-restaged":  edit(signoff.ChangeOrder, PaperForm{Title: "A winch", AddsName: "Winch", AddsDays: "4", AddsAfter: "s2", AddsMetered: "yes", Drops: "s3", Stage: "new"}),
		"paper-edit-stop":      stopEdit(),
		"paper-edit-date":      edit(signoff.DateChange, PaperForm{Title: "Another ready date", Reason: "Plating.", Days: "15"}),
		"paper-edit-delivery":  edit(signoff.DeliveryAcceptance, PaperForm{Title: "Delivery", HandedOver: "Two keys", OpenPoints: "Horn ring", DeliveredOn: "2026-09-24", Odometer: "88210"}),
	}
}

// What an owner must see before signing each kind stands on its page, word by
// word. The content of a teardown authorization is that of 16 CCR 3353
// (California): cost including reassembly, parts normally destroyed, and that
// teardown may prevent restoration; of a change order that of 16 CCR 3354(a):
// what is added, and the revised total; the new date is from C.R.S. 42-9-105(2).
func TestSheet_SaysWhatMustBeKnown(t *testing.T) {
	set := mustNew(t)
	want := saidOfMetered()
	maps.Copy(want, map[string][]string{
		"agreement": {"Teardown", "$4,200.00", "Body metal", "labour $68,400.00", "parts $20,000.00", "$92,600.00", "$3,740.00", "$96,340.00", "24 September", "$20,000.00, asked before work starts",
			"5 % of what is billed before tax", "within 14 days", "powder coated", "Bo Lindqvist", "bo@example.org", "$250.00 for one find", "$750.00 in one calendar month", "Extra work needs a paper of its own"},
		"teardown": {"$4,284.00 with tax, $4,200.00 before it", "$3,100.00 before tax", "7 working days", "Gaskets", "Seals", "O-rings", "may prevent putting it back into its former condition"},
		"several":  {"Body metal", "Frame and coat", "$950.00", "$610.00", "$1,598.00", "from $96,340.00", "30 September", "$610.00 of $750.00 is left for April 2026"},
		"date":     {"15 working days later than 24 September", "15 October", "This changes no amount.", "three weeks behind"},
		"delivery": {"Handed over on 24 September", "88,210 miles", "Two keys", "The spare wheel", "The horn ring comes by post.", "$96,340.00", "$95,340.00", "$1,000.00", "$4,630.00"},
	})
	sheets := sheetsByKind()
	maps.Copy(sheets, meteredSheets())
	for name, sheet := range sheets {
		page := paperOf(sheet)
		out := strings.ReplaceAll(render(t, set, page), "\u00a0", " ")
		for _, text := range append(want[name], sheet.Act, page.Sheet.SignWords()) {
			if !strings.Contains(out, text) {
				t.Errorf("%s: %q is not on the page", name, text)
			}
		}
		if asks := strings.Contains(out, "parts_back"); asks != page.Sheet.AsksParts() {
			t.Errorf("%s: asks for replaced parts: %v", name, asks)
		}
	}
}
