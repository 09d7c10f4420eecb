package views

import (
	"farbay/journal"
	"farbay/journal/signoff"
)

func givenUse() signoff.Use {
	return signoff.Use{ID: "u1", BuildID: "b1", Number: 2, EntryID: "e1", StageID: "s1", Title: "A cracked spring bracket", Reason: "Cracked half way round the rivet.",
		Lines:  []signoff.Line{{Kind: journal.Labour, Text: "Make and fit", Minutes: 90, Rate: 9500, Amount: 14250}, {Kind: journal.Parts, Text: "Plate and rivets", Amount: 3800}},
		Amount: 18050, Tax: 238, Month: "2026-04", At: at("2026-04-10", 9, 30)}
}

func givenAllowance(in bool) Allowance {
	p := Allowance{Frame: frameAt("/builds/b1/allowance", "Standing allowance", journal.Owner), Month: "2026-04"}
	if in {
		p.InForce = &signoff.Allowance{PaperID: "q3", Limits: signoff.Limits{PerFind: 25000, PerMonth: 75000}, FromAt: at("2026-02-02", 10, 0)}
		p.SetBy, p.Left, p.CanEnd = "Build agreement 1", 56712, true
		p.Uses = []UseView{{Use: givenUse(), Stage: "Teardown", By: "Greta Holm", Shots: []PhotoView{photo("p1", false, "Left rear, from inside")}}}
	}
	return p
}

func givenBelonging(answered, done bool) *BelongingView {
	v := &BelongingView{Words: givenWords, Belonging: journal.Belonging{BuildID: "b1", EntryID: "e9", What: "the first owner's toolbox", AskedBy: "g", AskedAt: at("2026-04-02", 9, 0)},
		Names: map[journal.PersonID]string{"g": "Greta Holm", "a": "Ada Lindqvist"}}
	form := BelongingForm{BuildID: "b1", EntryID: "e9", What: v.Belonging.What}
	if answered {
		v.Belonging.Answers = []journal.Answered{{Answer: journal.Discard, PersonID: "a", At: at("2026-04-03", 8, 0)}, {Answer: journal.Ship, Note: "To 9 Lake Street,\nplease.", PersonID: "a", At: at("2026-04-03", 20, 0)}}
	}
	if done {
		v.Belonging.DoneBy, v.Belonging.DoneAt = "g", at("2026-04-06", 15, 0)
	} else {
		v.Form = &form
	}
	return v
}

func givenEntry(b *BelongingView) Entry {
	return Entry{Frame: frameAt("/builds/b1/entries/e9", "Find", journal.Owner), Entry: givenJournal().Entries[0], Belonging: b, Uses: []signoff.Use{givenUse()}}
}

// useForms are the office's pages about the allowance and belongings.
func useForms() map[string]Page {
	entry := journal.Entry{ID: "e1", StageID: "sh", Kind: journal.KindFind, Audience: journal.OwnerToo, PostedAt: ago(1), HappenedAt: ago(1)}
	asked, told := givenBelonging(false, false), givenBelonging(true, false)
	asked.Form, told.Form, told.DoneAt = nil, nil, "/builds/h/entries/e1/belonging/done"
	frame := heronFrame("Find", "/entries/e1")
	page := func(b *BelongingView, ask *AskForm) StaffEntry {
		return StaffEntry{Frame: frame, Entry: entry, Shown: shopJournal().Entries[0], CanEdit: true, CanBook: true, Belonging: b, Ask: ask, Uses: []signoff.Use{givenUse()}}
	}
	return map[string]Page{
		"use-new": UseNew{Frame: heronFrame("Book it on the allowance", "/allowance/new"), Stages: stagesOf(shopStages(6, 2)), Photos: pickedPhotos(3), Left: 56712, LeftFind: 6712,
			Form:     UseForm{ID: "f1", Entry: "e1", Title: "A cracked bracket", Reason: "Cracked.", Stage: "sh", Lines: []LineForm{{Kind: "labour", Text: "Make and fit", Hours: "1.5", Rate: "95"}, {Kind: "parts", Amount: "38"}}},
			Problems: journal.Problems{"lines": "With tax this comes to 182.88, and 67.12 is left for this find and 567.12 for this month.", "photos": "Please choose at least one photo that shows it."}},
		"entry-ask":   page(nil, &AskForm{Action: "/builds/h/entries/e1/ask", What: "a toolbox", Problems: journal.Problems{"what": "Please say in a few words what it is."}}),
		"entry-asked": page(asked, nil), "entry-told": page(told, nil),
	}
}

var givenLeft = journal.Cents(56712)

func givenUseLetters(f MailFrame, link string) map[string]Letter {
	return map[string]Letter{
		"use":             UseLetter{f, "Heron", givenUse(), givenLeft, link},
		"belonging":       BelongingLetter{f, "Heron", "the first owner's toolbox", link},
		"belonging wants": BelongingAnsweredLetter{f, "Heron", "the first owner's toolbox", "ship", "To 9 Lake Street, please.", "Bo Reed", link},
	}
}
