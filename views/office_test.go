package views

import (
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// The shop's pages filled with an invented shop. They are what the tests of
// templates execute, and what a person looks at (see writePages).

var (
	shopZone  = time.FixedZone("MDT", -6*60*60)
	shopNow   = time.Date(2026, 4, 15, 15, 30, 0, 0, time.UTC)
	shopWords = Words{Now: shopNow, Zone: shopZone, Currency: "USD"}
)

func ago(days int) time.Time { return shopNow.AddDate(0, 0, -days) }

func officeFrame(title, path string) Frame {
	return Frame{Words: shopWords, ShopName: "Tern Hollow Truck Works", Title: title, Path: path, Demo: true,
		Person: &Who{Name: "Mara Lind", Role: journal.Office}}
}

func heronFrame(title, path string) Frame {
	f := officeFrame(title, "/builds/h"+path)
	f.Build = &BuildRef{ID: "h", Nickname: "Heron"}
	return f
}

func shopStages(closed, open int) []StageLine {
	names := []string{"Arrival", "Teardown", "Re-estimate", "Body off", "Strip and blast", "Frame and coat", "Plating",
		"Body metal", "Paint and liner", "Mechanical", "Assembly", "Road test", "Delivery"}
	days := []int{3, 8, 3, 4, 10, 12, 15, 30, 18, 25, 28, 15, 2}
	var stages []StageLine
	for i, name := range names {
		line := StageLine{Stage: journal.Stage{ID: journal.StageID("s" + string(rune('a'+i))), BuildID: "h", Position: i + 1, Name: name,
			Value: journal.Split{Labour: 420000, Parts: 84000}, PlannedDays: days[i], PlannedFrom: "2026-03-02", PlannedTo: "2026-04-20",
			State: journal.NotStarted, Version: 1}}
		switch {
		case i < closed:
			line.Stage.State, line.Stage.ClosedAt = journal.Closed, ago(30)
		case i < closed+open:
			line.Stage.State, line.Stage.OpenedAt, line.Done, line.Lead = journal.UnderWay, ago(8), 60, "Ines Varga"
			line.Changes = 219000
		}
		stages = append(stages, line)
	}
	return stages
}

func stagesOf(lines []StageLine) []journal.Stage {
	var stages []journal.Stage
	for _, l := range lines {
		stages = append(stages, l.Stage)
	}
	return stages
}

func heron() journal.Build {
	return journal.Build{ID: "h", Nickname: "Heron", Truck: journal.Truck{Year: 1971, Make: "Ostler", Model: "Fenman, short bed",
		Serial: "OF7-10442", Odometer: 88210, Unit: "miles", Colour: "Marsh green"}, State: journal.Agreed, LeadID: "p2",
		ArrivedOn: "2026-01-09", ReadyOn: "2026-09-24", AgreedOn: "2026-02-02", AgreedHow: "signed on paper, in the file", Version: 7}
}

func scopingBramble() journal.Build {
	return journal.Build{ID: "h", Nickname: "Bramble", Truck: journal.Truck{Year: 1969, Make: "Tolland", Model: "long bed"},
		State: journal.Scoping, ArrivedOn: "2026-04-10", Version: 2}
}

var (
	ines  = journal.Person{ID: "p2", Name: "Ines Varga", Email: "ines@example.org", Role: journal.Floor, CreatedAt: ago(300)}
	tomas = journal.Person{ID: "p3", Name: "Tomas Reed", Email: "tomas@example.org", Role: journal.Floor, CreatedAt: ago(200)}
	edda  = journal.Person{ID: "p4", Name: "Edda Quill", Email: "edda@example.net", Phone: "555 0142", Role: journal.Owner, CreatedAt: ago(100)}
	owner = Party{Member: journal.Member{BuildID: "h", PersonID: "p4", As: journal.AsOwner, AddedAt: ago(90)}, Person: edda}
	deleg = Party{Member: journal.Member{BuildID: "h", PersonID: "p5", As: journal.AsDelegate, NamedBy: "letter of 3 March", AddedAt: ago(40)},
		Person: journal.Person{ID: "p5", Name: "Jon Quill", Email: "jon@example.net", Role: journal.Owner}}
)

func shopWaits() []Wait {
	return []Wait{
		{On: OnOwner, For: "decision", BuildID: "h", PaperID: "c4", Paper: "Change order 4", Title: "Both front floor pans", Days: 2},
		{On: OnUs, For: "answer", BuildID: "h", PaperID: "c4", Paper: "Change order 4", Title: "Both front floor pans", Days: 1},
		{On: OnPayment, For: "invoice", BuildID: "h", InvoiceID: "i31", Invoice: "invoice 31", Amount: 840000, Days: 17, Late: 3},
		{On: OnUs, For: "gate", BuildID: "h", StageID: "sh", Stage: "Body metal", Missing: []string{"One.", "Two."}, Days: 4},
	}
}

// everyWait holds one wait of each kind.
func everyWait() []Wait {
	var waits []Wait
	for _, kind := range []string{"decision", "truck", "deposit", "invoice", "agreement", "answer", "draft", "start", "gate", "close", "billing", "ceiling", "logged work", "delivery", "release", "refund"} {
		waits = append(waits, Wait{On: OnUs, For: kind, BuildID: "h", PaperID: "c4", Paper: "Change order 4", Title: "Floor pans",
			InvoiceID: "i31", Invoice: "invoice 31", StageID: "sh", Stage: "Body metal", Missing: []string{"One."}, Days: 2})
	}
	return waits
}

func shopPhoto(id string, upright bool) PhotoView {
	w, h := 4032, 3024
	if upright {
		w, h = h, w
	}
	return PhotoView{Words: shopWords, BuildID: "h", ID: journal.PhotoID(id), Width: w, Height: h, State: journal.PhotoReady,
		At: ago(1), Offset: -360, Source: "camera clock and zone"}
}

func shopPhotos(n int) []PhotoView {
	var photos []PhotoView
	for i := range n {
		p := shopPhoto("ph"+string(rune('a'+i)), i%4 == 3)
		p.Caption = []string{"Left pan from below", "", "Right pan, cut back"}[i%3]
		photos = append(photos, p)
	}
	return photos
}

func pickedPhotos(n int) []PickPhoto {
	var photos []PickPhoto
	for i, v := range shopPhotos(n) {
		photos = append(photos, PickPhoto{View: v, FileName: "IMG_2041.JPG", Caption: v.Caption, Chosen: i < 2,
			Note: []string{"in the find", "Body metal"}[i%2]})
	}
	return photos
}

func shopPaper(state signoff.State) signoff.Paper {
	return signoff.Paper{ID: "c4", BuildID: "h", Kind: signoff.ChangeOrder, Number: 4, State: state, Revision: 1, Version: 5, EntryID: "e1",
		Draft: signoff.Draft{Title: "Both front floor pans", Reason: "Rust has eaten through both pans under the mats.", StageID: "sh", Days: 6,
			Lines: []signoff.Line{{Kind: journal.Labour, Text: "Cut out and weld", Minutes: 1080, Rate: 9500, Amount: 171000},
				{Kind: journal.Parts, Text: "Two pressed pans", Amount: 48000}}}}
}

func shopSheet() SheetView {
	sheet := signoff.Sheet{Number: 4, Revision: 1, SentOn: "2026-04-13", SentBy: "Mara Lind",
		Shop:  signoff.SheetShop{Name: "Tern Hollow Truck Works", Zone: "America/Denver"},
		Build: signoff.SheetBuild{ID: "h", Nickname: "Heron", Truck: "1971 Ostler Fenman", Serial: "OF7-10442"},
		Title: "Both front floor pans", Reason: "Rust has eaten through both pans under the mats, further than the teardown photos showed. We would cut back to sound metal and weld in new pressed pans before primer.",
		Photos: []signoff.SheetPhoto{{ID: "pha", Caption: "Left pan from below"}, {ID: "phb", Caption: "Right pan"}},
		Stage:  signoff.SheetStage{ID: "sh", Name: "Body metal"},
		Lines: []signoff.SheetLine{{Kind: journal.Labour, Text: "Cut out and weld", Minutes: 1080, Rate: 9500, Amount: 171000},
			{Kind: journal.Parts, Text: "Two pressed pans", Amount: 48000}},
		Currency: "USD", Delta: 219000, DeltaTax: 3000, DeltaWithTax: 222000, TaxRates: []signoff.SheetRate{{Kind: journal.Parts, BasisPoints: 625}},
		AgreedBefore: 9634000, AgreedAfter: 9853000, TotalBefore: 9800000, TotalAfter: 10022000, Days: 6, DateBefore: "2026-09-24", DateAfter: "2026-10-02"}
	return SheetView{Words: shopWords, Sheet: sheet, SHA256: "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"}
}

func shopQuestion(answered bool) QuestionView {
	q := QuestionView{Words: shopWords, AskedBy: "Edda Quill", Question: signoff.Question{ID: "q1", PaperID: "c4", Revision: 1,
		Text: "Can the old pans be patched instead?", AskedAt: ago(1)}}
	if answered {
		q.AnsweredBy = "Mara Lind"
		q.Question.ID, q.Question.Answer, q.Question.AnsweredAt = "q0", "Not for long; the metal around them is thin too.", ago(0)
	}
	return q
}

func shopDecision() *DecisionView {
	return &DecisionView{Words: shopWords, Decision: signoff.Decision{Manner: signoff.OnPage, PaperID: "c4", Revision: 1, SHA256: shopSheet().SHA256, Outcome: signoff.OutcomeSigned,
		As: journal.AsOwner, TypedName: "Edda Quill", Sentence: signoff.ChangeOrder.SignSentence(), PartsBack: true, At: ago(0), Zone: "America/Denver",
		Authenticated: "link sent by e-mail", Address: "192.0.2.7", UserAgent: "Browser 1", ConsentVersion: "1", ConsentAt: ago(50), CopyTo: "edda@example.net"}}
}

func shopStatement() billing.Statement {
	return billing.Statement{Agreement: 9415000, Changes: 219000, Agreed: 9634000, Billed: 4120000, ToBill: 5514000, Tax: 38000,
		BilledWithTax: 4158000, Paid: 2900000, Due: 840000, HeldBack: 206000, Covered: 212000, DepositReceived: 500000, DepositUnearned: 288000}
}

func shopInvoices() []InvoiceItem {
	return []InvoiceItem{
		{ID: "i32", Kind: billing.Invoice, Number: 32, Stage: "Plating", On: "2026-04-12", DueOn: "2026-04-26", Total: 610000, Payable: 560000, Open: 0},
		{ID: "i31", Kind: billing.Invoice, Number: 31, Stage: "Frame and coat", On: "2026-03-29", DueOn: "2026-04-12", Total: 920000, Payable: 900000, Open: 840000, Late: 3},
	}
}

func shopJournal() JournalPiece {
	return JournalPiece{Words: shopWords, Older: "/builds/h/journal?after=x", Entries: []EntryView{
		{Words: shopWords, BuildID: "h", ID: "e1", StageID: "sh", Stage: "Body metal", Author: "Ines Varga", Kind: journal.KindFind,
			Text: "Both floor pans are gone under the mats.", Photos: shopPhotos(3), HappenedAt: ago(1), PostedAt: ago(1), ForShop: true, Audience: journal.ShopOnly},
		{Words: shopWords, BuildID: "h", ID: "e2", StageID: "sh", Stage: "Body metal", Author: "Tomas Reed", Kind: journal.KindProgress,
			Text: "Second coat of primer on the tub.", HappenedAt: ago(2), PostedAt: ago(2), ForShop: true, Audience: journal.OwnerToo},
	}}
}

func staffBuild() StaffBuild {
	return StaffBuild{Frame: heronFrame("Heron", ""), Stored: heron(), Lead: "Ines Varga", Parties: []Party{owner, deleg}, Stages: shopStages(6, 2),
		Waits: shopWaits(), Statement: shopStatement(),
		Drafts: []PaperItem{{ID: "c5", Title: "Wiring loom", State: signoff.Drafted, Delta: 64000}},
		Out:    []PaperItem{{ID: "c4", Kind: signoff.ChangeOrder, Number: 4, Title: "Both front floor pans", State: signoff.Sent, Revision: 1, Delta: 222000, Days: 6, SentAt: ago(2), Open: 1}},
		Loose:  4, Photos: 312, NewsAt: ago(2), Quiet: 2, Journal: shopJournal()}
}

func staffStage(state journal.StageState) StaffStage {
	stages := shopStages(7, 1)
	st := stages[7].Stage
	st.State = state
	st.Gate = journal.Gate{Photos: 8, Checks: []string{"Door gaps measured and written down", "Welds dressed and seams left open for sealer"}}
	st.Cautions = []string{"Old paint may hold lead: no dry grinding without extraction and a fitted respirator.",
		"Welding near the tank: drain, vent and take it out first; a second person with an extinguisher."}
	before, after := stages[6].Stage, stages[8].Stage
	return StaffStage{Work: givenWork(journal.Office), Frame: heronFrame("Body metal", "/stages/sh"), Stage: st, Lead: "Ines Varga", Changes: 219000,
		Previous: &before, Next: &after, PhotosHave: 12,
		Checks:  []CheckLine{{Text: st.Gate.Checks[0], Done: true, By: "Ines Varga", At: ago(1)}, {Text: st.Gate.Checks[1]}},
		Missing: []string{"Not ticked yet: Welds dressed and seams left open for sealer."},
		Photos:  shopPhotos(5),
		Turns: []TurnLine{{Turn: journal.Turn{To: journal.UnderWay, At: ago(20)}, By: "Ines Varga"}, {Turn: journal.Turn{To: journal.Closed, At: ago(9)}, By: "Mara Lind"},
			{Turn: journal.Turn{To: journal.UnderWay, Reason: "The left pan was missed.", At: ago(8)}, By: "Mara Lind"}}}
}

func shopPlan() journal.Plan {
	plan := journal.Plan{ID: "pl", Name: "Body-off restoration", Version: 3}
	for _, s := range shopStages(0, 0) {
		plan.Stages = append(plan.Stages, journal.PlanStage{Name: s.Stage.Name, PlannedDays: s.Stage.PlannedDays})
	}
	return plan
}
