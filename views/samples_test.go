package views

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// samples are filled pages by name; every declared page must be among them.
var samples = map[string]Page{}

func sample(name string, page Page) bool {
	samples[name] = page
	return true
}

// denver is the sample shop's zone: UTC-6 in summer.
var denver = mustZone("America/Denver")

func mustZone(name string) *time.Location {
	zone, err := time.LoadLocation(name)
	if err != nil {
		panic(err)
	}
	return zone
}

func at(day string, hour, minute int) time.Time {
	d := journal.Date(day).Time()
	return time.Date(d.Year(), d.Month(), d.Day(), hour, minute, 0, 0, denver).UTC()
}

var givenWords = Words{Now: at("2026-04-15", 10, 0), Zone: denver, Currency: "USD"}

func frameAt(path, title string, role journal.Role) Frame {
	f := Frame{Words: givenWords, ShopName: "Tern Hollow Truck Works", Title: title, Demo: true, Path: path}
	if role != "" {
		f.Person = &Who{Name: "Ada Lindqvist", Role: role}
	}
	if strings.HasPrefix(path, "/builds/b1") {
		f.Build = &BuildRef{ID: "b1", Nickname: "Heron"}
	}
	return f
}

var givenBuild = journal.Build{
	ID: "b1", Nickname: "Heron", State: journal.Agreed,
	Truck:     journal.Truck{Year: 1971, Make: "Ostler", Model: "Fenman, short bed", Serial: "OF7-10442", Colour: "Deep green"},
	ArrivedOn: "2026-01-09", ReadyOn: "2026-09-24",
}

var givenCoats = []Coat{
	{Name: "Arrival", State: journal.Closed, Days: 3, Done: 0}, {Name: "Teardown", State: journal.Closed, Days: 8, Done: 0}, {Name: "Re-estimate", State: journal.Closed, Days: 3, Done: 0},
	{Name: "Fabrication", State: journal.Closed, Days: 14, Done: 0}, {Name: "Strip and blast", State: journal.Closed, Days: 10, Done: 0}, {Name: "Frame and coat", State: journal.Closed, Days: 12, Done: 0},
	{Name: "Plating", State: journal.UnderWay, Days: 15, Done: 60}, {Name: "Body metal", State: journal.UnderWay, Days: 30, Done: 35}, {Name: "Paint and liner", State: journal.NotStarted, Days: 18, Done: 0},
	{Name: "Mechanical", State: journal.NotStarted, Days: 25, Done: 0}, {Name: "Assembly", State: journal.NotStarted, Days: 28, Done: 0}, {Name: "Road test", State: journal.NotStarted, Days: 15, Done: 0},
	{Name: "Delivery", State: journal.NotStarted, Days: 2, Done: 0},
}

func photo(id string, upright bool, caption string) PhotoView {
	p := journal.Photo{
		ID: journal.PhotoID(id), BuildID: "b1", Width: 4032, Height: 3024, State: journal.PhotoReady,
		CapturedAt: at("2026-04-14", 15, 12), CapturedOffset: -360, CapturedSource: "camera with offset",
	}
	if upright {
		p.Width, p.Height = p.Height, p.Width
	}
	return NewPhotoView(givenWords, p, caption, "entry=e9")
}

func entry(id, day, stage, text string, kind journal.EntryKind, photos ...PhotoView) EntryView {
	return EntryView{
		Words: givenWords, BuildID: "b1", ID: journal.EntryID(id), StageID: journal.StageID("s-" + strings.ToLower(stage[:4])), Stage: stage,
		Author: "Marek Olund", Kind: kind, Text: text, Photos: photos, HappenedAt: at(day, 15, 12), PostedAt: at(day, 17, 3),
	}
}

func givenJournal() JournalPiece {
	first := entry("e9", "2026-04-14", "Body metal", "Second coat of primer on the tub.\nWe left the seams open where the pans go; see the paper above.", journal.KindProgress,
		photo("p1", false, "Tub in primer, right side"), photo("p2", true, ""), marked(photo("p3", false, "")))
	first.New = true
	second := entry("e8", "2026-04-13", "Body metal", "Behind the seat: the first owner’s toolbox, all there. Keep it with the truck, ship it, or let it go?", journal.KindFind,
		photo("p4", false, "The toolbox, as found"), photo("p5", false, ""))
	second.New = true
	third := entry("e7", "2026-04-10", "Plating", "Forty-three pieces to the plater, each photographed and counted.", journal.KindProgress, photo("p6", false, "All 43 pieces"))
	var many []PhotoView
	for i := range 11 {
		many = append(many, photo(fmt.Sprintf("p%d", 1+i%6), i%4 == 3, ""))
	}
	pending := photo("p7", false, "")
	pending.State = journal.PhotoPending
	failed := photo("p8", false, "")
	failed.State, failed.Fault = journal.PhotoFailed, "The file breaks off in the middle."
	many[1], many[2] = pending, failed
	fourth := entry("e6", "2026-03-30", "Body metal", "", journal.KindProgress, many...)
	fourth.EditedAt = at("2026-03-31", 8, 0)
	return JournalPiece{Words: givenWords, Entries: []EntryView{first, second, third, fourth}, NewSince: at("2026-04-12", 20, 0), Older: "/builds/b1/journal?after=x"}
}

func givenSheet() signoff.Sheet {
	return signoff.Sheet{
		Format: signoff.Format, Kind: signoff.ChangeOrder, Number: 4, Revision: 2, SentAt: "2026-04-13T16:00:00Z", SentOn: "2026-04-13", SentBy: "Greta Holm",
		Shop:  signoff.SheetShop{Name: "Tern Hollow Truck Works", Address: "12 Foundry Lane\nTern Hollow", Phone: "555 0142", Zone: "America/Denver"},
		Build: signoff.SheetBuild{ID: "b1", Nickname: "Heron", Truck: "1971 Ostler Fenman, short bed", Serial: "OF7-10442", Owners: []string{"Ada Lindqvist"}},
		Title: "Both front floor pans", Reason: "Rust has eaten through both pans under the mats, further than the teardown photos showed. We would cut back to sound metal and weld in new pressed pans before primer.",
		Photos: []signoff.SheetPhoto{{ID: "p4", Caption: "Left pan, from above"}, {ID: "p5"}},
		Stage:  signoff.SheetStage{ID: "s1", Name: "Body metal"},
		Lines: []signoff.SheetLine{
			{Kind: journal.Labour, Text: "Cut out and weld in", Minutes: 1080, Rate: 9500, Amount: 171000},
			{Kind: journal.Parts, Text: "Two pressed pans", Amount: 48000}, {Kind: journal.Parts, Text: "Seam sealer, primer", Amount: 11200}},
		Currency: "USD", Delta: 230200, DeltaTax: 3700, DeltaWithTax: 233900, TaxRates: []signoff.SheetRate{{Kind: journal.Parts, BasisPoints: 625}},
		AgreedBefore: 9260000, AgreedAfter: 9490200, TotalBefore: 9634000, TotalAfter: 9867900,
		Days: 6, DateBefore: "2026-09-24", DateAfter: "2026-10-02", Act: signoff.ChangeOrder.SignSentence(),
		Notices: []string{"Nothing is done or billed for this until you agree.", "Local law decides what must be signed and how; this page is no legal advice."},
	}
}

const givenHash = "5891b5b522d5df086d0ff0b110fbd9d21bb4fc7163af34d08286a2e846f6be03"

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func givenView() SheetView { return must(givenWords.OfSheet(givenSheet(), givenHash)) }

func givenDecision(o signoff.Outcome) DecisionView {
	d := signoff.Decision{
		Manner:  signoff.OnPage,
		PaperID: "q1", Revision: 2, SHA256: givenHash, Outcome: o, PersonID: "a", As: journal.AsOwner, TypedName: "Ada Lindqvist",
		Sentence: signoff.ChangeOrder.SignSentence(), PartsBack: true, At: at("2026-04-15", 9, 41), Zone: "America/Denver",
		Authenticated: "single-use link for ada@example.org", Address: "203.0.113.9", UserAgent: "Mozilla/5.0 (Linux; Android 15)",
		ConsentVersion: "1", ConsentAt: at("2026-01-12", 19, 2), CopyTo: "ada@example.org",
	}
	if o == signoff.OutcomeDeclined {
		d.Sentence, d.Reason = signoff.ChangeOrder.DeclineSentence(), "I would rather have the old pans patched."
	}
	return must(givenWords.OfDecision(signoff.ChangeOrder, d))
}

func givenQuestions() []QuestionView {
	return []QuestionView{
		{Words: givenWords, AskedBy: "Ada Lindqvist", AnsweredBy: "Greta Holm", Question: signoff.Question{ID: "1", Revision: 1, Text: "Could the old pans be patched instead?", AskedAt: at("2026-04-13", 18, 0),
			Answer: "They could, but the patch would be as large as the pan.", AnsweredAt: at("2026-04-14", 8, 15)}},
		{Words: givenWords, AskedBy: "Ada Lindqvist", Question: signoff.Question{ID: "2", Revision: 2, Text: "Do the new pans have the drain plugs?", AskedAt: at("2026-04-14", 21, 30)}},
	}
}

func givenPaper() Paper {
	earlier := givenSheet()
	earlier.Revision = 1
	return Paper{Frame: frameAt("/builds/b1/papers/q1", "Both front floor pans", journal.Owner), ID: "q1", State: signoff.Sent, Sheet: givenView(),
		Earlier: []signoff.Sheet{earlier}, Questions: givenQuestions(), CanDecide: true, Consented: true}
}

func givenStatement() billing.Statement {
	return billing.Statement{
		Agreement: 9020000, Changes: 240000, Agreed: 9260000, Billed: 4120000, ToBill: 5140000, Tax: 61800, BilledWithTax: 4181800,
		Paid: 2000000, Due: 981800, HeldBack: 200000, Covered: 1000000, DepositReceived: 2000000, DepositUnearned: 1000000,
	}
}

func givenInvoices() []InvoiceItem {
	return []InvoiceItem{
		{ID: "i2", Kind: billing.Invoice, Number: 31, Stage: "Frame and coat", On: "2026-04-02", DueOn: "2026-04-12", Total: 1281800, Payable: 981800, Open: 981800, Late: 3},
		{ID: "i1", Kind: billing.Invoice, Number: 12, Stage: "Teardown", On: "2026-02-02", DueOn: "2026-02-12", Total: 2900000, Payable: 2000000},
		{ID: "i0", Kind: billing.CreditMemo, Number: 1, On: "2026-02-20", Total: -5000, Payable: -5000, Open: -5000},
	}
}

func givenPayments() []PaymentItem {
	return []PaymentItem{
		{ID: "y1", On: "2026-02-10", Amount: 2000000, Means: journal.Wire, Reference: "W-1182", For: "invoice 12"},
		{ID: "y3", On: "2026-01-14", Amount: -2000000, Means: journal.Cheque, For: "the deposit", Reversal: true, Reason: "Cheque returned by the bank."},
		{ID: "y2", On: "2026-01-12", Amount: 2000000, Means: journal.Cheque, Reference: "0081", For: "the deposit", Reversed: true},
	}
}

func givenInvoice() Invoice {
	d := billing.Document{
		ID: "i2", Number: 31, Kind: billing.Invoice, Subtotal: 1250000, Tax: 31800, DepositCredit: 200000, Holdback: 100000, Payable: 981800,
		IssuedOn: "2026-04-02", DueOn: "2026-04-12", ClosesStageID: "s6",
		Charges: []billing.Charge{
			{Text: "Frame and coat", Split: journal.Split{Labour: 900000, Parts: 200000}},
			{Text: "Change order 2: boxed cross-member", Split: journal.Split{Labour: 150000}}},
	}
	lines := []InvoiceLine{{Charge: d.Charges[0], From: Link{Text: "the agreed value of Frame and coat", Href: "/builds/b1/stages/s6"}},
		{Charge: d.Charges[1], From: Link{Text: "the signed paper", Href: "/builds/b1/papers/q2"}}}
	return Invoice{Lines: lines, Frame: frameAt("/builds/b1/invoices/i2", "Invoice 31", journal.Owner), Document: d, ShopHead: "Tern Hollow Truck Works\n12 Foundry Lane\nTern Hollow", BillTo: "Ada Lindqvist",
		Truck: "Heron, 1971 Ostler Fenman, serial OF7-10442", StageID: "s6", Stage: "Frame and coat", Tax: []TaxLine{{journal.Parts, 625, 200000}},
		Balance: billing.Balance{Document: d, Paid: 300000, Open: 681800}, Payments: []PaymentItem{{On: "2026-04-09", Amount: 300000, Means: journal.Cheque, Reference: "0092", For: "invoice 31"}},
		Photos: []PhotoView{photo("p3", false, ""), photo("p5", false, ""), photo("p6", false, "")}, Today: "2026-04-15"}
}

func givenOwnerBuild() OwnerBuild {
	front := photo("p1", false, "Tub in primer, right side")
	b := OwnerBuild{Frame: frameAt("/builds/b1", "Heron", journal.Owner), Said: "Plating and Body metal are under way. Two things wait for you.", Plate: NewPlate(givenWords, givenBuild), State: journal.Agreed, Photo: &front, Coats: givenCoats,
		Waiting: []Waiting{
			{Heading: "Both front floor pans", Sentence: "Change order 4 waits for your decision since Monday.", Effect: must(givenWords.Effect(233900, 6)), Href: "/builds/b1/papers/q1", Act: "Read it and decide"},
			{Heading: "The first owner's toolbox", Sentence: "The shop found it in your truck. What is to become of it?", Href: "/builds/b1/entries/e9", Act: "See it first", Belonging: &BelongingForm{BuildID: "b1", EntryID: "e9"}},
			{Heading: "Invoice 31, Frame and coat", Sentence: "Due since Sunday 12 April.", Effect: must(givenWords.Money(681800)), Href: "/builds/b1/invoices/i2", Act: "See the invoice"}},
		Sums: SumsOf(givenStatement()), Journal: givenJournal(),
		Delegates: []Party{{Member: journal.Member{As: journal.AsDelegate, NamedBy: "Change order 2, revision 1", AddedAt: at("2026-02-02", 9, 0)}, Person: journal.Person{ID: "bo", Name: "Bo Lindqvist"}}}}
	for i := range b.Coats {
		b.StageAt = append(b.StageAt, fmt.Sprintf("/builds/b1/stages/s%d", i+1))
	}
	return b
}

func givenStage() Stage {
	return Stage{Frame: frameAt("/builds/b1/stages/s8", "Body metal", journal.Owner), ID: "s8", Coat: givenCoats[7], Position: 8, Of: 13, Lead: "Marek Olund",
		PlannedFrom: "2026-03-30", PlannedTo: "2026-05-08", OpenedAt: at("2026-03-31", 8, 0), Agreed: true, Row: billing.StageRow{Agreed: 1400000, Changes: 120000, ToBill: 1520000},
		PhotosThere: 9, PhotosWanted: 12, Checks: []GateLine{{"Door gaps measured on both sides", false}, {"Welds dressed and primed", true}},
		Papers: []PaperItem{{ID: "q1", Kind: signoff.ChangeOrder, Number: 4, Title: "Both front floor pans", State: signoff.Sent, Delta: 233900, Days: 6}}, Invoices: givenInvoices()[:1],
		Photos: []PhotoView{photo("p1", false, ""), photo("p2", true, ""), photo("p3", false, ""), photo("p4", false, "")}, Entries: givenJournal()}
}

// withProblems returns a paper as it comes back from a refused decision.
func paperRefused() Paper {
	p := givenPaper()
	p.Notice = "Revision 1 was replaced by revision 2. Nothing was recorded; please read the new one, which is shown here. What you typed is kept."
	p.Form = DecideForm{Name: "A", PartsBack: "yes", Text: "Do the new pans"}
	p.Problems = journal.Problems{"name": "Please type your name, as your signature."}
	return p
}

func paperIn(state signoff.State, change func(*Paper)) Paper {
	p := givenPaper()
	p.State = state
	if change != nil {
		change(&p)
	}
	return p
}

func givenPhoto(staff bool) Photo {
	p := Photo{Frame: frameAt("/builds/b1/photos/p1", "Photo", journal.Owner), Photo: photo("p1", false, "Tub in primer, right side"), Stage: "Body metal", Position: 2, Of: 3,
		Previous: "/builds/b1/photos/p2?entry=e9", Next: "/builds/b1/photos/p3?entry=e9", Back: Link{Text: "Back to the entry", Href: "/builds/b1/entries/e9"}}
	p.Photo.CapturedElsewhere()
	p.Photo, p.CompareAt = marked(p.Photo), "/builds/b1/compare?a=p1"
	if staff {
		p.MarkAt = "/builds/b1/photos/p1/marks"
		p.Person.Role = journal.Floor
		p.Photo.Doubt = "This is before the truck arrived."
		p.Facts = &PhotoFacts{FileName: "IMG_0412.JPG", Camera: "Lumen K2", Bytes: 4_181_221, SHA256: givenHash, By: "Marek Olund", Received: at("2026-04-14", 17, 1), Located: true, Latitude: 40.01499, Longitude: -105.27055, Original: "/builds/b1/photos/p1/original"}
	}
	return p
}

// marked lays one mark of each shape over a photo, and turns and crops it.
func marked(p PhotoView) PhotoView {
	p.Layer = journal.Layer{Number: 2, Turn: 1, Crop: journal.Crop{X: 500, Y: 1000, W: 9000, H: 8000}, Marks: []journal.Mark{
		{Shape: journal.MarkArrow, X: 2000, Y: 2000, X2: 4500, Y2: 4000, Text: "crack at the weld"},
		{Shape: journal.MarkRing, X: 5500, Y: 5000, X2: 7500, Y2: 6500},
		{Shape: journal.MarkText, X: 8000, Y: 8000, X2: 8000, Y2: 8000, Text: "Rust goes on below the seam"},
	}}
	p.Preview = []byte("GIF89a\x01\x00\x01\x00\x00\x00\x00;")
	return p
}

func givenCompare() Compare {
	before := CompareSide{Photo: photo("p1", false, "Tub as it came"), Stage: "Teardown", Change: "/builds/b1/compare?a=p2"}
	return Compare{Frame: frameAt("/builds/b1/compare", "Compare", journal.Owner), Before: before,
		After: CompareSide{Photo: marked(photo("p2", true, "Tub in primer")), Stage: "Body metal", Change: "/builds/b1/compare?a=p1"}}
}

func givenComparePick() ComparePick {
	chosen := marked(photo("p1", false, "Tub as it came"))
	return ComparePick{Frame: frameAt("/builds/b1/compare", "Compare", journal.Owner), Chosen: &chosen, Back: Link{Text: "Back to the photo", Href: "/builds/b1/photos/p1"},
		Stages: []Link{{Text: "Teardown", Href: "/builds/b1/compare?a=p1&stage=s-tear"}, {Text: "Body metal", Href: "/builds/b1/compare?a=p1&stage=s-body", Current: true}},
		Offers: []CompareOffer{{Photo: photo("p2", true, ""), Href: "/builds/b1/compare?a=p1&b=p2"}, {Photo: marked(photo("p3", false, "")), Href: "/builds/b1/compare?a=p1&b=p3"}}}
}

// CapturedElsewhere gives the photo a clock one hour ahead of the shop's.
func (p *PhotoView) CapturedElsewhere() { p.Offset = -300 }

var _ = []bool{
	sample("contact-sheet", ContactSheet{Frame: frameAt("/builds/b1/stages/s8/sheet", "Heron, Body metal, contact sheet", journal.Owner), StageID: "s8", Stage: "Body metal", Bytes: 340_000_000,
		Photos: []ContactPhoto{{photo("p1", false, "Tub in primer, right side"), 1}, {photo("p2", true, ""), 2}}}),
	sample("failure", Failure{Frame: frameAt("/nowhere", "Not here", ""), Code: 404, Heading: "This page is not here", Sentence: "The address leads nowhere, or to something that is not for you.", Do: "Please check it, or start from the beginning.", Kept: "text=Hello", Back: Link{Text: "To the start", Href: "/"}}),
	sample("sign-in", SignIn{Frame: frameAt("/sign-in", "Come in", "")}),
	sample("sign-in-refused", SignIn{Frame: frameAt("/sign-in", "Come in", ""), Email: "marek@example.org", Staff: true, Notice: "That link was used already. Ask for a new one here.", Problems: journal.Problems{"form": "Address and password do not go together."}}),
	sample("link-sent", LinkSent{Frame: frameAt("/sign-in/link", "Look into your mail", ""), Email: "ada@example.org", Minutes: 30}),
	sample("enter", Enter{Frame: frameAt("/enter/x", "Enter", ""), Action: "/enter/x", Name: "Ada Lindqvist"}),
	sample("set-password", SetPassword{Frame: frameAt("/set-password/x", "Choose a password", ""), Action: "/set-password/x", Email: "marek@example.org", MinLength: 10}),
	sample("set-up", SetPassword{Frame: frameAt("/set-password/x", "Set up", ""), Action: "/set-password/x", SetUp: true, MinLength: 10, Problems: journal.Problems{"password": "Please choose at least 10 characters.", "email": "Please type an e-mail address such as jane@example.org."}}),
	sample("signed-out", SignedOutKept{Frame: frameAt("/builds/b1/papers/q1/sign", "Signed out", ""), Next: "/builds/b1/papers/q1", Kept: true, Text: "name=Ada"}),
	sample("account", Account{Frame: frameAt("/account", "Your account", journal.Owner), Email: "ada@example.org", Phone: "555 0199", ConsentVersion: "1", ConsentAt: at("2026-01-12", 19, 2), Passkeys: givenPasskeys(), Sessions: []SessionLine{
		{How: "single-use link for ada@example.org", Address: "203.0.113.9", UserAgent: "Mozilla/5.0 (Linux; Android 15)", CreatedAt: at("2026-04-14", 20, 0), LastSeenAt: at("2026-04-15", 9, 58), This: true},
		{How: "single-use link for ada@example.org", Address: "203.0.113.77", UserAgent: "Mozilla/5.0 (Macintosh)", CreatedAt: at("2026-04-01", 20, 0), LastSeenAt: at("2026-04-02", 9, 58)}}}),
	sample("consent", NewConsent(frameAt("/consent", "Electronic records", journal.Owner), "/builds/b1/papers/q1")),
	sample("consent-given", func() Consent {
		c := NewConsent(frameAt("/consent", "Electronic records", journal.Owner), "")
		c.Given, c.GivenAt = true, at("2026-01-12", 19, 2)
		return c
	}()),
	sample("test-record", TestRecord{Frame: frameAt("/consent/test-record", "Test record", journal.Owner), Word: "orchard"}),
	sample("search", Search{Frame: frameAt("/builds/b1/search", "Search", journal.Owner), Query: "floor", Found: []FoundEntry{{EntryView: givenJournal().Entries[0], Snippet: NewSnippet("The \x02floor\x03 pans")}}}),
	sample("search-nothing", Search{Frame: frameAt("/builds/b1/search", "Search", journal.Owner), Query: "gilding"}),
	sample("proof-log", ProofLog{Frame: frameAt("/proof-log", "Proof log", journal.Owner), Entries: 412, Checkpoint: "farbay/k3\n412\nCsUYapGGPo4dkMgIAUqom/Xajj7h2fB2MPA3j2jxq2I=\n\n— farbay/k3 Az3grlgtzPICa5OS8npVmf1Myq/5IZniMp+ZJurmRDeOoRDe\n",
		Keys: []ProofKey{{Public: "farbay/k3+3a7f1c22+AVkR", Since: time.Date(2026, 4, 1, 9, 0, 0, 0, time.UTC)}, {Public: "farbay/k3+99c0aa41+AWQz", Since: time.Date(2026, 4, 1, 9, 0, 0, 0, time.UTC), Why: "The computer was stolen."}}}),
	sample("owner-home", OwnerHome{Frame: frameAt("/", "My trucks", journal.Owner), Builds: []BuildCard{
		{Words: givenWords, Ref: BuildRef{"b1", "Heron"}, Truck: "1971 Ostler Fenman, short bed", Said: "Body metal is under way.", Coats: givenCoats, Waiting: givenOwnerBuild().Waiting[:1], Photo: givenOwnerBuild().Photo},
		{Words: givenWords, Ref: BuildRef{"b2", "Old Salt"}, Truck: "1978 Ostler Packer", Said: "Old Salt was delivered on 3 November."}}}),
	sample("owner-build", givenOwnerBuild()),
	sample("owner-build-new", OwnerBuild{Frame: frameAt("/builds/b1", "Heron", journal.Owner), Said: "The truck is in the shop, and no stage has begun yet.", Plate: NewPlate(givenWords, givenBuild), State: journal.Scoping, Coats: []Coat{{Name: "Arrival", Days: 3, State: journal.NotStarted}}, StageAt: []string{"/builds/b1/stages/s1"}}),
	sample("journal", Journal{Frame: frameAt("/builds/b1/journal", "Journal", journal.Owner), Entries: givenJournal(), Stages: []Option{{Value: "s-body", Text: "Body metal"}}, StageID: "s-body", Later: true}),
	sample("stage", givenStage()),
	sample("entry", Entry{Frame: frameAt("/builds/b1/entries/e9", "Body metal", journal.Owner), Entry: givenJournal().Entries[0]}),
	sample("photo", givenPhoto(false)),
	sample("photo-staff", givenPhoto(true)),
	sample("papers", Papers{Frame: frameAt("/builds/b1/papers", "Papers", journal.Owner), Agreed: true, Items: []PaperItem{
		{ID: "q1", Kind: signoff.ChangeOrder, Number: 4, Title: "Both front floor pans", State: signoff.Sent, Revision: 2, Delta: 233900, Days: 6, SentAt: at("2026-04-13", 10, 0), Open: 1},
		{ID: "q2", Kind: signoff.ChangeOrder, Number: 3, Title: "Chrome for the tailgate letters", State: signoff.Declined, Revision: 1, Delta: 41000, DecidedAt: at("2026-03-02", 9, 0), DecidedBy: "Ada Lindqvist"}}}),
	sample("papers-office", Papers{Frame: frameAt("/builds/b1/papers", "Papers", journal.Office), Items: []PaperItem{{ID: "q3", State: signoff.Drafted}}}),
	sample("paper", givenPaper()),
	sample("paper-by-phone", paperIn(signoff.Signed, func(p *Paper) {
		d := givenSpoken()
		p.Decision, p.Confirm = &d, &ConfirmPhone{Words: givenWords, Action: p.URL(), CanConfirm: true, Name: "Ada", Problems: journal.Problems{"text": "Please say what is not so, in a few words."}}
	})),
	sample("paper-disputed", paperIn(signoff.Signed, func(p *Paper) {
		d := givenSpoken()
		p.Decision, p.Confirm = &d, &ConfirmPhone{Words: givenWords, Answer: &signoff.Confirmation{TypedName: "Ada Lindqvist", Sentence: signoff.DisputeSentence, Text: "I said I would think about it.", At: at("2026-04-16", 8, 0)}}
	})),
	sample("paper-on-paper", paperIn(signoff.Signed, func(p *Paper) { d := givenByHand(); p.Decision = &d })),
	sample("allowance", givenAllowance(true)), sample("allowance-none", givenAllowance(false)),
	sample("entry-belonging", givenEntry(givenBelonging(false, false))), sample("entry-belonging-answered", givenEntry(givenBelonging(true, false))), sample("entry-belonging-done", givenEntry(givenBelonging(true, true))),
	sample("paper-agreement", paperOfKind("agreement")), sample("paper-metered", paperOf(meteredSheets()["metered"])), sample("paper-teardown", paperOfKind("teardown")), sample("paper-several", paperOfKind("several")),
	sample("paper-restaged", paperOfKind("restaged")), sample("paper-stop", paperOfKind("stop")), sample("paper-stop-back", paperOfKind("stop-back")),
	sample("paper-date", paperOfKind("date")), sample("paper-delivery", paperOfKind("delivery")),
	sample("paper-refused", paperRefused()),
	sample("paper-no-consent", paperIn(signoff.Sent, func(p *Paper) { p.Consented = false })),
	sample("paper-recalled", paperIn(signoff.Recalled, nil)),
	sample("paper-signed", paperIn(signoff.Signed, func(p *Paper) { d := givenDecision(signoff.OutcomeSigned); p.Decision = &d })),
	sample("paper-declined", paperIn(signoff.Declined, func(p *Paper) { d := givenDecision(signoff.OutcomeDeclined); p.Decision = &d })),
	sample("paper-confirm", PaperConfirm{Frame: frameAt("/builds/b1/papers/q1/sign", "Sign?", journal.Owner), ID: "q1", Outcome: signoff.OutcomeSigned, Sheet: givenView(), Form: DecideForm{Name: "Ada Lindqvist", PartsBack: "yes"}, HasPasskey: true}),
	sample("paper-confirm-decline", PaperConfirm{Frame: frameAt("/builds/b1/papers/q1/decline", "Decline?", journal.Owner), ID: "q1", Outcome: signoff.OutcomeDeclined, Sheet: givenView(), Form: DecideForm{Name: "Ada Lindqvist"}, Problems: journal.Problems{"reason": "Please say in a few words why, so that the shop knows what to do next."}}),
	sample("paper-decided", PaperDecided{Frame: frameAt("/builds/b1/papers/q1", "Signed", journal.Owner), ID: "q1", Sheet: givenView(), Decision: givenDecision(signoff.OutcomeSigned)}),
	sample("paper-revision", PaperRevision{Frame: frameAt("/builds/b1/papers/q1/revisions/2", "Revision 2", journal.Owner), ID: "q1", Sheet: givenView(), Last: 3}),
	sample("money", Money{Frame: frameAt("/builds/b1/money", "Money", journal.Owner), Agreed: true, Statement: givenStatement(), Deposit: 2000000, Holdback: 500, Today: "2026-04-15", Invoices: givenInvoices(), Payments: givenPayments(),
		Stages: []MoneyStage{{Name: "Frame and coat", Href: "/builds/b1/stages/s6", State: journal.Closed, Row: billing.StageRow{Agreed: 1100000, Changes: 150000, Billed: 1250000}}, {Name: "Body metal", Href: "/builds/b1/stages/s8", Row: billing.StageRow{Agreed: 1400000, ToBill: 1400000}}}}),
	sample("invoice", givenInvoice()),
	sample("invoice-taken-back", func() Invoice {
		i := givenInvoice()
		i.TakenBack = &Link{Text: "credit memo 1", Href: "/builds/b1/invoices/m1"}
		return i
	}()),
	sample("invoice-office", func() Invoice {
		i := givenInvoice()
		i.Frame = frameAt("/builds/b1/invoices/i2", "Invoice 31", journal.Office)
		i.CanCancel, i.Reason, i.Problems = true, "Two hours too many.", journal.Problems{"reason": "Please say why it is taken back, in one line of at most 300 characters."}
		return i
	}()),
	sample("credit-memo", func() Invoice {
		i := givenInvoice()
		i.Document.Kind, i.Document.Reason, i.Cancels = billing.CreditMemo, "Two hours too many.", &Link{Text: "invoice 31", Href: "/builds/b1/invoices/i2"}
		return i
	}()),
	sample("compare", givenCompare()),
	sample("compare-pick", givenComparePick()),
	sample("compare-pick-none", ComparePick{Frame: frameAt("/builds/b1/compare", "Compare", journal.Owner)}),
}

func TestEveryPageHasASample(t *testing.T) {
	have := map[string]bool{}
	for _, p := range samples {
		have[fmt.Sprintf("%T", p)] = true
	}
	for _, p := range declaredPages {
		if strings.HasPrefix(p.Template(), "office/") || strings.HasPrefix(p.Template(), "floor/") {
			continue
		}
		if !have[fmt.Sprintf("%T", p)] {
			t.Errorf("%T has no filled sample", p)
		}
	}
}
