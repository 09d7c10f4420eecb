package flow

import (
	"reflect"
	"slices"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// freezer gathers what a sheet is made of.
type freezer struct {
	r     Reads
	build journal.Build
	shop  journal.Shop
	acc   billing.Account
	draft signoff.Draft
	sheet signoff.Sheet
}

// freeze makes the sheet that sending draft now as the next revision of p would
// show.
func (s *Steps) freeze(r Reads, sentBy string, p signoff.Paper, draft signoff.Draft) (signoff.Sheet, error) {
	f := freezer{r: r, draft: draft}
	var err error
	if f.build, err = r.Build(p.BuildID); err != nil {
		return signoff.Sheet{}, err
	}
	if f.shop, err = r.Shop(); err != nil {
		return signoff.Sheet{}, err
	}
	if f.acc, err = s.account(r, f.build); err != nil {
		return signoff.Sheet{}, err
	}
	owners, err := ownerNames(r, p.BuildID)
	if err != nil {
		return signoff.Sheet{}, err
	}
	number := p.Number
	if number == 0 { // a preview before the first sending
		if number, err = nextPaperNumber(r, p); err != nil {
			return signoff.Sheet{}, err
		}
	}
	now, b, shop := s.at(), f.build, f.shop
	f.sheet = signoff.Sheet{
		Format: signoff.Format, Kind: p.Kind, Number: number, Revision: p.Revision + 1,
		SentAt: now.Format(time.RFC3339), SentOn: string(journal.DateOf(now, shop.Location())), SentBy: sentBy,
		Shop:  signoff.SheetShop{Name: shop.Name, Address: shop.Address, Phone: shop.Phone, Zone: shop.Zone},
		Build: signoff.SheetBuild{ID: b.ID, Nickname: b.Nickname, Truck: b.Truck.Name(), Serial: b.Truck.Serial, Owners: append([]string{}, owners...)},
		Title: draft.Title, Reason: draft.Reason, Currency: shop.Currency,
		Photos: []signoff.SheetPhoto{}, Lines: []signoff.SheetLine{}, TaxRates: []signoff.SheetRate{},
		DateBefore: b.ReadyOn, DateAfter: b.ReadyOn,
		Act: p.Kind.SignSentence(), Decline: p.Kind.DeclineSentence(), Notices: p.Kind.Notices(),
	}
	for _, k := range journal.LineKinds {
		if rate := f.acc.Terms.Tax.Rate(k); rate != 0 {
			f.sheet.TaxRates = append(f.sheet.TaxRates, signoff.SheetRate{Kind: k, BasisPoints: rate})
		}
	}
	if err := f.photos(); err != nil {
		return signoff.Sheet{}, err
	}
	before := f.acc.Agreed
	after := before
	switch p.Kind {
	case signoff.BuildAgreement:
		after, err = f.agreement()
	case signoff.Teardown:
		err = f.teardown()
	case signoff.ChangeOrder:
		err = f.change()
		after = append(slices.Clone(before), changeCharges(p.ID, f.sheet)...)
	case signoff.DateChange:
		f.moveDate()
	case signoff.DeliveryAcceptance:
		f.acceptance()
	case signoff.EarlyStop:
		after, err = f.stop(p.ID)
	}
	if err != nil {
		return signoff.Sheet{}, err
	}
	f.powers(p.Kind)
	f.totals(before, after)
	return f.sheet, s.standingAllowance(r, b, &f.sheet)
}

func (f *freezer) totals(before, after []billing.Charge) {
	sheet, tax := &f.sheet, f.acc.Terms.Tax
	sheet.AgreedBefore, _, sheet.TotalBefore = billing.Totals(before, tax)
	sheet.AgreedAfter, _, sheet.TotalAfter = billing.Totals(after, tax)
	sheet.Delta = sheet.AgreedAfter - sheet.AgreedBefore
	// The tax of the change is what it adds to the tax of the whole, so that
	// before + change = after holds to the cent on the page.
	sheet.DeltaWithTax = sheet.TotalAfter - sheet.TotalBefore
	sheet.DeltaTax = sheet.DeltaWithTax - sheet.Delta
}

func (f *freezer) photos() error {
	var evidence []journal.PhotoID
	for _, e := range f.draft.Photos {
		evidence = append(evidence, e.PhotoID)
	}
	photos, err := f.r.Photos(f.build.ID, evidence)
	if err != nil {
		return err
	}
	for _, e := range f.draft.Photos {
		f.sheet.Photos = append(f.sheet.Photos, signoff.SheetPhoto{ID: e.PhotoID, SHA256: e.SHA256, Caption: e.Caption, Shown: signoff.ShownOf(photos[e.PhotoID])})
	}
	return nil
}

// agreement fills in the stages and the terms, and returns what would be agreed.
func (f *freezer) agreement() ([]billing.Charge, error) {
	stages, err := f.r.Stages(f.build.ID)
	if err != nil {
		return nil, err
	}
	shown := agreementSheet(stages, f.acc.Terms)
	f.sheet.Agreement, f.sheet.Notices = &shown, shown.Notices()
	f.sheet.DateBefore, f.sheet.DateAfter = "", f.draft.ReadyOn
	return stageCharges(stages), nil
}

// agreementSheet is what an agreement on the stages and terms shows. Terms that
// come to nothing are left out: a limit without a holdback, and what is only about
// time and materials where no stage goes by it.
func agreementSheet(stages []journal.Stage, terms billing.Terms) signoff.SheetAgreement {
	a := signoff.SheetAgreement{
		Stages: []signoff.SheetAgreed{}, Deposit: terms.Deposit, Crediting: string(terms.Crediting),
		DepositShare: terms.DepositShare, RefillFloor: terms.RefillFloor, HoldbackRate: terms.HoldbackRate,
		TaxPerLine: terms.Tax.PerLine, DueDays: terms.DueDays,
		LateAsks: terms.LateAsks, Transport: string(terms.Transport), DeliverTo: terms.DeliverTo,
	}
	for _, st := range stages {
		a.Stages = append(a.Stages, signoff.SheetAgreed{
			ID: st.ID, Name: st.Name, Value: signoff.SheetSplit(st.Value), Metered: st.Metered,
			Days: st.PlannedDays, From: st.PlannedFrom, To: st.PlannedTo,
		})
	}
	if limit := terms.Limit(); limit.Name != "" && terms.HoldbackRate != 0 {
		a.HoldbackLimit = &signoff.SheetLimit{Name: limit.Name, OfPayment: limit.OfPayment, OfPrice: limit.OfPrice}
	}
	if a.Metered() {
		a.HourRate, a.MarkUp = terms.HourRate, terms.MarkUp
		if len(terms.BillDays) > 0 {
			a.BillDays = terms.BillDays
		}
	}
	return a
}

func stageOnSheet(st journal.Stage) signoff.SheetStage {
	return signoff.SheetStage{ID: st.ID, Name: st.Name, Metered: st.Metered}
}

func (f *freezer) stage() error {
	if f.draft.StageID == "" {
		return nil
	}
	var err error
	f.sheet.Stage, err = f.sheetStage(f.draft.StageID)
	return err
}

func (f *freezer) teardown() error {
	if err := f.stage(); err != nil {
		return err
	}
	t := &signoff.SheetTeardown{
		Reassembly: f.draft.Reassembly, ReassemblyDays: f.draft.ReassemblyDays, Destroyed: append([]string{}, f.draft.Destroyed...),
	}
	f.sheet.Teardown = t
	if f.draft.StageID == "" {
		return nil
	}
	st, err := f.r.Stage(f.build.ID, f.draft.StageID)
	if err != nil {
		return err
	}
	t.Cost, _, t.CostWithTax = billing.Totals(stageCharges([]journal.Stage{st}), f.acc.Terms.Tax)
	return nil
}

func (f *freezer) change() error {
	if err := f.stage(); err != nil {
		return err
	}
	f.sheet.ReEstimate = f.draft.ReEstimate
	if err := f.restage(); err != nil {
		return err
	}
	f.moveDate()
	return f.lines()
}

func (f *freezer) lines() error {
	for _, l := range f.draft.Lines {
		line := signoff.SheetLine{Kind: l.Kind, Text: l.Text, Minutes: l.Minutes, Rate: l.Rate, Amount: l.Amount}
		if l.StageID != "" && l.StageID != f.draft.StageID {
			stage, err := f.sheetStage(l.StageID)
			if err != nil {
				return err
			}
			line.Stage = &stage
		}
		f.sheet.Lines = append(f.sheet.Lines, line)
	}
	return nil
}

func (f *freezer) moveDate() {
	f.sheet.Days = f.draft.Days
	if f.draft.Days != 0 && !f.build.ReadyOn.IsZero() {
		f.sheet.DateAfter = calendar(f.shop).AddWorkingDays(f.build.ReadyOn, f.draft.Days)
	}
}

func (f *freezer) acceptance() {
	s := billing.StatementOf(f.acc)
	f.sheet.Acceptance = &signoff.SheetAcceptance{
		DeliveredOn: f.draft.DeliveredOn, Odometer: f.draft.Odometer, Unit: f.build.Truck.Unit,
		HandedOver: append([]string{}, f.draft.HandedOver...), OpenPoints: append([]string{}, f.draft.OpenPoints...),
		Billed: s.BilledWithTax, Paid: s.Paid + s.Covered, Due: s.Due, HeldBack: s.HeldBack,
	}
}

func (f *freezer) powers(kind signoff.Kind) {
	if kind != signoff.BuildAgreement && kind != signoff.ChangeOrder {
		return
	}
	if g := f.draft.Delegate; g != nil {
		f.sheet.Delegate = &signoff.SheetDelegate{Name: g.Name, Email: g.Email, Phone: g.Phone}
	}
	if a := f.draft.Allowance; a != nil {
		f.sheet.Allowance = &signoff.SheetAllowance{PerFind: a.PerFind, PerMonth: a.PerMonth}
	}
}

// standingAllowance puts what is left of the allowance in force on a sheet.
func (s *Steps) standingAllowance(r Reads, b journal.Build, sheet *signoff.Sheet) error {
	a, inForce, err := absent(r.Allowance(b.ID))
	if err != nil || !inForce {
		return err
	}
	uses, err := r.Uses(b.ID)
	if err != nil {
		return err
	}
	month := signoff.MonthOf(journal.Date(sheet.SentOn))
	sheet.Standing = &signoff.SheetStanding{PerFind: a.Limits.PerFind, PerMonth: a.Limits.PerMonth, Month: month, Left: a.Left(uses, "", month)}
	return nil
}

// draftOf gives back the content of a frozen sheet, to send it anew.
func draftOf(sheet signoff.Sheet) signoff.Draft {
	d := signoff.Draft{Title: sheet.Title, Reason: sheet.Reason, StageID: sheet.Stage.ID, Days: sheet.Days, ReEstimate: sheet.ReEstimate}
	for _, p := range sheet.Photos {
		d.Photos = append(d.Photos, signoff.Evidence{PhotoID: p.ID, SHA256: p.SHA256, Caption: p.Caption})
	}
	for _, l := range sheet.Lines {
		if l.Dropped {
			continue // follows from the stage that is dropped
		}
		line := signoff.Line{Kind: l.Kind, Text: l.Text, Minutes: l.Minutes, Rate: l.Rate, Amount: l.Amount}
		if l.Stage != nil {
			line.StageID = l.Stage.ID
		}
		d.Lines = append(d.Lines, line)
	}
	if sheet.Agreement != nil {
		d.ReadyOn = sheet.DateAfter
	}
	if t := sheet.Teardown; t != nil {
		d.Destroyed, d.Reassembly, d.ReassemblyDays = noneAsNil(t.Destroyed), t.Reassembly, t.ReassemblyDays
	}
	if x := sheet.Acceptance; x != nil {
		d.HandedOver, d.OpenPoints, d.DeliveredOn, d.Odometer = noneAsNil(x.HandedOver), noneAsNil(x.OpenPoints), x.DeliveredOn, x.Odometer
	}
	if x := sheet.Adds; x != nil {
		d.Adds = &signoff.NewStage{ID: x.ID, Name: x.Name, Days: x.Days, Metered: x.Metered}
		if x.After != nil {
			d.Adds.After = x.After.ID
		}
	}
	if sheet.Drops != nil {
		d.Drops = sheet.Drops.ID
	}
	if x := sheet.Stop; x != nil {
		d.Stop = &signoff.Stop{By: x.By, On: x.On, Truck: x.Truck, Parts: noneAsNil(x.Parts)}
		for _, st := range x.Stages {
			if st.Typed {
				d.Stop.Earned = append(d.Stop.Earned, signoff.Earned{StageID: st.ID, Amount: st.Earned})
			}
		}
	}
	if g := sheet.Delegate; g != nil {
		d.Delegate = &signoff.Delegate{Name: g.Name, Email: g.Email, Phone: g.Phone}
	}
	if a := sheet.Allowance; a != nil {
		d.Allowance = &signoff.Limits{PerFind: a.PerFind, PerMonth: a.PerMonth}
	}
	return d
}

// noneAsNil makes an empty list what the store reads back for one.
func noneAsNil(items []string) []string {
	if len(items) == 0 {
		return nil
	}
	return items
}

// sameContent reports whether two sheets of a paper differ in nothing but
// number of revision and sending.
func sameContent(x, y signoff.Sheet) bool {
	x.Revision, x.SentAt, x.SentOn, x.SentBy = y.Revision, y.SentAt, y.SentOn, y.SentBy
	return reflect.DeepEqual(x, y)
}

// renewOut sends the build's papers that are out once more where what they show
// would be something else today: what is signed must be what was shown. why is a
// sentence for the owners.
func (s *Steps) renewOut(tx Tx, a Actor, build journal.BuildID, why string) error {
	papers, err := tx.Papers(build)
	if err != nil {
		return err
	}
	for _, p := range papers {
		if p.State != signoff.Sent {
			continue
		}
		sheet, err := sheetOf(tx, p)
		if err != nil {
			return err
		}
		again, err := s.freeze(tx, sheet.SentBy, p, draftOf(sheet))
		if err != nil {
			return err
		}
		if sameContent(sheet, again) {
			continue
		}
		if _, err := s.sendRevision(tx, a, p, draftOf(sheet), why); err != nil {
			return err
		}
	}
	return nil
}
