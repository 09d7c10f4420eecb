package views

import (
	"maps"
	"strconv"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// officePages are all pages of the office, by a name to look at them under.
func officePages() map[string]Page {
	follows := &billing.Document{Kind: billing.Invoice, DueOn: "2026-04-29", Subtotal: 723000, Tax: 8250, DepositCredit: 37000, Holdback: 36150, Payable: 658100,
		Charges: []billing.Charge{{Text: "Body metal", Split: journal.Split{Labour: 420000, Parts: 84000}}, {Text: "Change order 3: rear sill", Split: journal.Split{Labour: 219000}}}}
	ready := staffStage(journal.UnderWay)
	ready.Missing, ready.Checks[1].Done, ready.Checks[1].By, ready.Checks[1].At, ready.Follows = nil, true, "Tomas Reed", ago(0), follows
	stopped := staffStage(journal.UnderWay)
	stopped.PapersOut = []PaperItem{{ID: "c4", Kind: signoff.ChangeOrder, Number: 4, Title: "Both front floor pans", State: signoff.Sent}}
	stopped.PhotosHave, stopped.Missing = 2, append(stopped.Missing, "6 more photos that the owner can see are wanted.", "Change order 4, Both front floor pans, is out for sign-off.")
	onFloor := stopped
	onFloor.Person = &Who{Name: "Ines Varga", Role: journal.Floor}
	closed := staffStage(journal.Closed)
	closed.Stage.ClosedAt, closed.Problems = ago(3), journal.Problems{"reason": "Please say why the stage is reopened."}
	floorBuild := staffBuild()
	floorBuild.Person = onFloor.Person
	long := staffBuild()
	long.Waits = everyWait()
	quiet := BoardRow{Build: journal.Build{ID: "j", Nickname: "Juniper", Truck: journal.Truck{Year: 1966, Make: "Calder", Model: "one-ton"}, State: journal.Agreed}, Stages: shopStages(8, 1),
		Waits: []Wait{{On: OnUs, For: "gate", BuildID: "j", StageID: "si", Stage: "Paint and liner", Missing: make([]string, 4), Days: 1}}, LastNewsAt: ago(9), QuietDays: 9, Quiet: true}
	salt := BoardRow{Build: journal.Build{ID: "o", Nickname: "Old Salt", Truck: journal.Truck{Year: 1978, Make: "Ostler", Model: "Packer"}, State: journal.Agreed}, Stages: shopStages(11, 1),
		Waits: []Wait{{On: OnPayment, For: "invoice", BuildID: "o", InvoiceID: "i33", Invoice: "invoice 33", Amount: 1240050, Days: 10}}, Due: 1240050, LastNewsAt: ago(1)}
	bramble := BoardRow{Build: scopingBramble(), Stages: shopStages(0, 1), Waits: []Wait{{On: OnUs, For: "agreement", BuildID: "h", Days: 5}}}
	heronRow := BoardRow{Build: heron(), Stages: shopStages(6, 2), Waits: shopWaits(), Due: 840000, LastNewsAt: ago(0)}
	rows := []BoardRow{quiet, salt, bramble, heronRow}

	scoping := Scope{Frame: heronFrame("Scope", "/scope"), Stored: scopingBramble(), Stages: shopStages(0, 0), Total: 6552000, Leads: []journal.Person{ines, tomas}, Owners: 1,
		Terms: billing.Terms{Deposit: 500000, HoldbackRate: 500, DueDays: 14, LateAsks: true, MarkUp: 1500, BillDays: []int{1}, Transport: billing.ShopSends, DeliverTo: "Oregon"}, Agreement: AgreementForm{Version: 2}}
	for _, s := range scoping.Stages {
		scoping.Lines = append(scoping.Lines, ScopeLine{ID: string(s.Stage.ID), Version: 1, Name: s.Stage.Name, Labour: "4,200.00", Parts: "840.00", Days: "8", Pricing: PricedFixed, From: "2026-03-02", To: "2026-04-20", State: s.Stage.State})
	}
	scoping.Lines[2].Pricing, scoping.Stages[2].Stage.Metered = PricedMetered, true
	scoping.Lines[3].Labour, scoping.Problems = "12e3", journal.Problems{"stages.3.labour": "Please type an amount such as 1,234.50, with at most two decimals."}
	scoping.Lines = append(scoping.Lines, ScopeLine{Pricing: PricedFixed})
	agreed := Scope{Frame: heronFrame("Scope", "/scope"), Stored: heron(), Stages: shopStages(6, 2), Total: 6552000}

	form := PaperForm{Title: "Both front floor pans", Reason: "Rust has eaten through both pans under the mats.", Stage: "sh", Days: "6", Version: 5, Lines: []LineForm{
		{Kind: "labour", Text: "Cut out and weld", Hours: "18", Rate: "95.00"}, {Kind: "parts", Text: "Two pressed pans", Amount: "480"}, {Kind: "labour", Rate: "95.00"}}}
	edit := PaperEdit{Frame: heronFrame("Change order 4", "/papers/c4/edit"), Paper: shopPaper(signoff.Drafted), Form: form, Stages: stagesOf(shopStages(6, 2)), Photos: pickedPhotos(8),
		Totals: ChangeTotals{Known: true, Delta: journal.Split{Labour: 171000, Parts: 48000}, Tax: 3000, Days: 6, AgreedAfter: 9853000, TotalAfter: 10022000, DateAfter: "2026-10-02"}}
	wrong := edit
	wrong.Form.Lines = append([]LineForm{}, form.Lines...)
	wrong.Form.Lines[1].Amount = "48o"
	wrong.Problems = journal.Problems{"lines.1.amount": "Please type an amount such as 1,234.50, with at most two decimals.", "stage": "Please choose the stage that bears this change."}
	wrong.Form.Stage = ""
	draft := StaffPaper{Frame: heronFrame("Draft", "/papers/c5"), Paper: shopPaper(signoff.Drafted)}
	draft.Paper.Number, draft.Paper.Revision = 0, 0
	out := StaffPaper{Frame: heronFrame("Change order 4", "/papers/c4"), Paper: shopPaper(signoff.Sent), Sheet: shopSheet(), Changed: true, To: []Party{owner, deleg},
		Find:      &journal.Entry{ID: "e1", Kind: journal.KindFind, HappenedAt: ago(4)},
		Revisions: []RevisionLine{{Revision: signoff.Revision{Number: 1, SHA256: shopSheet().SHA256, SentAt: ago(2)}, By: "Mara Lind"}},
		Questions: []QuestionView{shopQuestion(true), shopQuestion(false)}, Answer: "It ", AnswerTo: "q1", Problems: journal.Problems{"text": "Please write the answer."}}
	signed := out
	signed.Paper.State, signed.Changed, signed.Decision, signed.Decider = signoff.Signed, false, shopDecision(), "Edda Quill"
	signed.Questions = []QuestionView{shopQuestion(true)}

	buildForm := BuildForm{Nickname: "Heron", Year: "197l", Make: "Ostler", Model: "Fenman", Serial: "OF7-10442", Odometer: "88,210", Unit: "miles", Colour: "Marsh green", Plan: "pl", Lead: "p2", ArrivedOn: "2026-01-09", Version: 7}
	yearWrong := journal.Problems{"year": "Please type the model year with four digits, such as 1971, or leave it empty."}
	plan := shopPlan()
	planForm := PlanForm{Name: plan.Name, Version: 3}
	for i, s := range plan.Stages {
		planForm.Stages = append(planForm.Stages, PlanStageForm{Number: strconv.Itoa(i + 1), Name: s.Name, Days: "8", Photos: "6", Checks: "Every side photographed\nLoose parts listed", Cautions: "Fuel: drain first."})
	}
	planForm.Stages[2].Days = "0"
	letter := journal.Letter{ID: "l1", To: "edda@example.net", ToName: "Edda Quill", Subject: "Change order 4 waits for you", CreatedAt: ago(2),
		Text: "Hello Edda,\n\nthe shop sent you a paper: Both front floor pans.\nRead it here: https://shop.example/enter/abc123.\n\nTern Hollow Truck Works\n", Files: []journal.LetterFile{{Name: "change-order-4.json", ContentType: "application/json", Data: []byte("{}")}}}
	failed := letter
	failed.ID, failed.Fault, failed.Tries = "l2", "The mail server does not answer.", 3
	dropped := letter
	dropped.ID, dropped.Dropped = "l3", "It was not sent, because the invoice was settled meanwhile."
	money := StaffMoney{Frame: heronFrame("Money", "/money"), Agreed: true, Statement: shopStatement(), Deposit: 600000, Invoices: shopInvoices(),
		Stages: []MoneyStage{{Name: "Teardown", Href: "/builds/h/stages/sb", State: journal.Closed, Row: billing.StageRow{Agreed: 504000, Changes: 219000, Billed: 723000}}, {Name: "Body metal", Href: "/builds/h/stages/sh", Row: billing.StageRow{Agreed: 504000, ToBill: 504000}}},
		Payments: []PaymentItem{{ID: "y3", On: "2026-04-13", Amount: -560000, Means: journal.Cheque, Reference: "1042", For: "invoice 32", Reversal: true, Reason: "Cheque returned by the bank."},
			{ID: "y2", On: "2026-04-12", Amount: 560000, Means: journal.Cheque, Reference: "1042", For: "invoice 32", Reversed: true}, {ID: "y1", On: "2026-01-12", Amount: 500000, Means: journal.Wire, For: "the deposit"}},
		Unbilled:  []billing.Charge{{Text: "Change order 3: rear sill", Split: journal.Split{Labour: 219000}}},
		ReverseID: "y1", Reason: "", Problems: journal.Problems{"reason": "Please say why it is reversed, such as: cheque returned by the bank."}}

	favour := money
	favour.Statement.Due, favour.Statement.OnAccount, favour.Statement.DepositUnearned, favour.Statement.DepositRefunded = -30000, 20000, 150000, 50000
	favour.Invoices = []InvoiceItem{{ID: "i31", Kind: billing.Invoice, Number: 31, Stage: "Frame and coat", On: "2026-03-29", DueOn: "2026-04-12", Total: 920000, Payable: 900000, OnAccount: 12000}, {ID: "m1", Kind: billing.CreditMemo, Number: 1, On: "2026-04-01", Open: -10000}}
	favour.Payments = []PaymentItem{
		{ID: "y8", On: "2026-04-14", Amount: 5000, Means: journal.Cheque, For: "the deposit", Refund: true, Reversal: true, Reason: "Never cashed."},
		{ID: "y7", On: "2026-04-13", Amount: -5000, Means: journal.Cheque, For: "the deposit", Refund: true, Reversed: true, Reason: "Paid twice."},
		{ID: "y6", On: "2026-04-13", Amount: -5000, Means: journal.Cheque, For: "the account", Refund: true, Reason: "Paid twice."},
		{ID: "y5", On: "2026-04-12", Amount: 932000, Means: journal.Wire, Reference: "W-12", For: "invoice 31 and the account", Parts: []PaidFor{{What: "invoice 31", Amount: 888000}, {What: "the account", OnAccount: true, Amount: 44000}}},
	}

	asks := staffStage(journal.NotStarted)
	asks.AskOffice, asks.Late, asks.Reason = true, shopInvoices()[1:], "They promised to pay on Friday."
	asks.Turns = []TurnLine{{Turn: journal.Turn{To: journal.UnderWay, At: ago(2), Reason: "A word was given."}, By: "Mara Lind", First: true}, {Turn: journal.Turn{To: journal.UnderWay, At: ago(1), Reason: "More to do."}, By: "Mara Lind"}}
	askedFloor := asks
	askedFloor.Person, askedFloor.Late = floorBuild.Person, nil

	pages := map[string]Page{
		"photo-marks": shopPhotoMarks(), "photo-marks-none": PhotoMarks{Frame: shopPhotoMarks().Frame, Photo: shopPhoto("pa", false), Width: 4032, Height: 3024, Layer: `{"turn":0,"crop":{"x":0,"y":0,"w":0,"h":0},"marks":[]}`},
		"what-waits":      WhatWaits{Frame: officeFrame("What waits", "/"), Rows: rows, Unsent: 1, Delivered: 6},
		"what-waits-none": WhatWaits{Frame: officeFrame("What waits", "/")},
		"builds":          Builds{Frame: officeFrame("Builds", "/builds"), UnderWay: rows, Delivered: []journal.Build{{ID: "k", Nickname: "Kestrel", Truck: journal.Truck{Make: "Tolland"}, DeliveredOn: "2025-11-02"}}},
		"build-new":       BuildNew{Frame: officeFrame("Begin a build", "/builds/new"), Form: buildForm, Plans: []journal.Plan{plan}, Leads: []journal.Person{ines, tomas}, Problems: yearWrong},
		"build-edit":      BuildEdit{Frame: heronFrame("Truck", "/edit"), Stored: heron(), Form: buildForm, Leads: []journal.Person{ines, tomas}, Problems: yearWrong},
		"build":           staffBuild(), "build-floor": floorBuild, "build-waits": long,
		"scope": scoping, "scope-agreed": agreed,
		"terms": Terms{Frame: heronFrame("Terms", "/terms"), Form: TermsForm{Deposit: "5,000", Crediting: "pro rata", HoldbackRate: "5", TaxParts: "6.255", TaxBasis: "invoice", DueDays: "14",
			HoldbackCap: billing.Limits[0].Name, MarkUp: "15", BillDays: "1, 31", LateAsks: "yes", Transport: string(billing.ShopSends), DeliverTo: "Oregon"},
			Problems: journal.Problems{"bill_days": "Please type days of the month from 1 to 28, each once, such as: 1, 15. A day after the 28th is not in every month.", "tax_parts": "Please type a rate in per cent such as 6.25, with at most two decimals."}},
		"terms-fixed": Terms{Frame: heronFrame("Terms", "/terms"), Fixed: true, Stored: billing.Terms{Deposit: 500000, Crediting: billing.ProRata, HoldbackRate: 500, DueDays: 14,
			HoldbackCap: billing.Limits[0].Name, MarkUp: 1500, BillDays: []int{1, 15}, LateAsks: true, Transport: billing.OwnerCollects, DeliverTo: "Oregon"}, Form: TermsForm{TaxParts: "6.25", TaxBasis: "line"}},
		"build-people":  BuildPeople{Frame: heronFrame("Owners", "/people"), Parties: []Party{owner, deleg}, Choices: []journal.Person{edda}, As: "delegate", Problems: journal.Problems{"named_by": "Please say where the owner named this delegate in writing, such as: letter of 3 March."}},
		"stage-missing": stopped, "stage-floor": onFloor, "stage-ready": ready, "stage-closed": closed, "stage-new": staffStage(journal.NotStarted),
		"stage-late": asks, "stage-late-floor": askedFloor,
		"stage-edit":    StageEdit{Frame: heronFrame("Body metal", "/stages/sh/edit"), Stage: ready.Stage, Form: StageForm{Name: "Body metal", Days: "30", Photos: "8", Checks: "Door gaps measured\nWelds dressed", Cautions: "Lead.", Pricing: PricedMetered, Version: 4}, Leads: []journal.Person{ines}},
		"stage-fixed":   StageEdit{Frame: heronFrame("Body metal", "/stages/sh/edit"), Stage: ready.Stage, Fixed: true, Form: StageForm{Name: "Body metal", Days: "30", Photos: "8", Pricing: PricedMetered, Version: 4}, Problems: journal.Problems{"pricing": "Whether this stage has a fixed price or goes by time and materials is part of the recorded agreement and cannot change any more."}},
		"plans":         Plans{Frame: officeFrame("Plans", "/plans"), Plans: []journal.Plan{plan}, Copy: "pl", Name: plan.Name, Problems: journal.Problems{"name": "There is a plan of this name already; please choose another name."}},
		"plan-edit":     PlanEdit{Frame: officeFrame("Plan", "/plans/pl"), Plan: plan, Form: planForm, Problems: journal.Problems{"stages.2.days": "Please plan between 1 and 400 working days."}},
		"paper-edit":    edit,
		"paper-wrong":   wrong,
		"paper-preview": PaperPreview{Frame: heronFrame("Preview", "/papers/c4/preview"), Paper: shopPaper(signoff.Sent), Sheet: shopSheet(), To: []Party{owner, deleg}},
		"paper-unready": PaperPreview{Frame: heronFrame("Preview", "/papers/c4/preview"), Paper: shopPaper(signoff.Drafted), Sheet: shopSheet(), Missing: []string{"The owner's agreement is not recorded yet."}},
		"paper-draft":   draft, "paper-out": out, "paper-signed": signed,
		"payment-new": PaymentNew{Frame: heronFrame("Record a payment", "/payments/new"), Rows: []PaymentRow{{Item: shopInvoices()[1], Amount: "8,4000"}}, DepositAsked: 100000, DepositIn: 500000, Form: PaymentForm{Amount: "9,400", On: "2026-04-15", Means: "cheque", KeepRest: true},
			Problems: journal.Problems{"for.0.amount": "Please type an amount such as 1,234.50, with at most two decimals."}},
		"payment-first": PaymentNew{Frame: heronFrame("Record a payment", "/payments/new"), Form: PaymentForm{On: "2026-04-15", Means: "cheque"}},
		"refund-new": RefundNew{Frame: heronFrame("Send money back", "/refunds/new"), Favour: 30000, Unearned: 200000, Form: RefundForm{Source: "favour", Amount: "300.01", On: "2026-04-15", Means: "cheque"},
			Problems: journal.Problems{"amount": "300.01 is more than the 300.00 in the owner's favour; please enter at most that.", "reason": "Please say for the owner why it is sent back."}},
		"refund-none": RefundNew{Frame: heronFrame("Send money back", "/refunds/new"), Form: RefundForm{On: "2026-04-15", Means: "cheque"}},
		"receivables": givenReceivables(), "receivables-none": Receivables{Frame: officeFrame("Receivables", "/receivables"), On: "2026-04-15"},
		"money": money, "money-favour": favour,
		"people": People{Frame: officeFrame("People", "/people"), Staff: []PersonLine{{Person: ines, LastSeen: ago(0)}, {Person: tomas}}, Owners: []PersonLine{{Person: edda, Builds: []string{"Heron"}, LastSeen: ago(2)}},
			Ended: []PersonLine{{Person: journal.Person{ID: "p9", Name: "Ole Fisk", Email: "ole@example.org", Role: journal.Floor, EndedAt: ago(60)}}}, Form: PersonForm{Email: "jane"}, Problems: journal.Problems{"email": "Please type an e-mail address such as jane@example.org."}},
		"person-consented": Person{Frame: officeFrame("Edda Quill", "/people/p4"), Stored: edda, ConsentAt: ago(40), How: "by letter", Form: PersonForm{Name: "Edda Quill", Role: "owner"}, Problems: journal.Problems{"how": "Please say how they told you, such as: letter of 3 March."}},
		"person": Person{Frame: officeFrame("Edda Quill", "/people/p4"), Stored: edda, Builds: []journal.Build{heron()}, Form: PersonForm{Name: "Edda Quill", Email: "edda@example.net", Role: "owner"},
			Sessions: []journal.Session{{How: "link sent by e-mail", Address: "192.0.2.7", UserAgent: "Browser 1", CreatedAt: ago(3), LastSeenAt: ago(0)}}},
		"shop": Shop{Frame: officeFrame("Shop", "/shop"), Zones: []string{"America/Denver", "America/Chicago"}, Form: ShopForm{Name: "Tern Hollow Truck Works", Address: "1 Mill Lane\nTern Hollow", Zone: "America/Denvr", Currency: "USD", LabourRate: "95.00", QuietDays: "7", ReminderDays: "-3, 1, 14", Closures: "2026-12-24 Winter break"},
			Problems: journal.Problems{"zone": "Please choose a time zone by its name, such as America/Denver."}},
		"letter-dropped": LetterPage{Frame: officeFrame("Letter", "/outbox/l3"), Letter: dropped, Nickname: "Heron", ByMail: true},
		"outbox-dropped": Outbox{Frame: officeFrame("Letters", "/outbox"), Letters: []LetterLine{{Letter: dropped}}, ByMail: true},
		"outbox":         Outbox{Frame: officeFrame("Letters", "/outbox"), Letters: []LetterLine{{Letter: letter, Build: "Heron"}, {Letter: failed}}, Waiting: 1, ByMail: true},
		"outbox-kept":    Outbox{Frame: officeFrame("Letters", "/outbox"), Letters: []LetterLine{{Letter: letter, Build: "Heron"}}, Waiting: 1},
		"letter":         LetterPage{Frame: officeFrame("Letter", "/outbox/l2"), Letter: failed, Nickname: "Heron", ByMail: true},
	}
	maps.Copy(pages, kindForms())
	maps.Copy(pages, stopPages())
	maps.Copy(pages, useForms())
	maps.Copy(pages, otherwisePages())
	return pages
}

func givenReceivables() Receivables {
	heron := billing.Aging{
		Documents: []billing.Aged{{Document: billing.Document{ID: "i31", Kind: billing.Invoice, Number: 31, DueOn: "2026-04-12"}, Open: 840000, Late: 3}, {Document: billing.Document{ID: "i33", Kind: billing.Invoice, Number: 33, DueOn: "2026-04-26"}, Open: 1250000}},
		Open:      [billing.AgeBuckets]journal.Cents{1250000, 840000},
	}
	juniper := billing.Aging{
		Credits:   []billing.Balance{{Document: billing.Document{ID: "m2", Kind: billing.CreditMemo, Number: 2}, Open: -5000}},
		OnAccount: 20000, Favour: 25000, OwedAgain: 100,
	}
	return Receivables{
		Frame: officeFrame("Receivables", "/receivables"), On: "2026-04-15", Total: heron.Plus(juniper), Columns: []Column{{Name: "build", What: "the build's nickname"}},
		Rows: []ReceivableRow{{Ref: BuildRef{ID: "h", Nickname: "Heron"}, Owners: []string{"Edda Quill"}, Aging: heron}, {Ref: BuildRef{ID: "j", Nickname: "Juniper"}, Aging: juniper}},
	}
}

func shopPhotoMarks() PhotoMarks {
	p := marked(shopPhoto("pa", false))
	f := frameAt("/builds/b1/photos/pa/marks", "Mark this photo", journal.Floor)
	return PhotoMarks{Frame: f, Photo: p, Width: 4032, Height: 3024, Number: 2, Layer: `{"turn":1,"crop":{"x":500,"y":1000,"w":9000,"h":8000},"marks":[{"shape":"arrow","x":2000,"y":2000,"x2":4500,"y2":4000,"text":"crack at the weld"}]}`,
		Unsaved: "Ines Varga changed this photo’s marks meanwhile. What you drew is below and not saved.", Problems: journal.Problems{"marks": "A mark lies outside the photo."},
		Papers:  []Link{{Text: "Change order 4", Href: "/builds/b1/papers/q1"}},
		History: []LayerLine{{Words: shopWords, Layer: p.Layer, At: ago(0), By: "Ines Varga", Now: true}, {Words: shopWords, Layer: journal.Layer{Number: 1}, At: ago(1), By: "Tomas Reed"}}}
}
