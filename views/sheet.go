package views

import (
	"fmt"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// SheetView is a frozen paper to be shown, piece "sheet". Everything in it comes
// from the frozen bytes, the currency and the zone too; only the present moment
// (for leaving out this year's number) is the page's.
type SheetView struct {
	Words
	Sheet  signoff.Sheet
	SHA256 string // of the frozen bytes; "" for a preview
}

// OfSheet makes the view of a sheet read from frozen bytes. It fails when the
// sheet names a zone that is not known here.
func (w Words) OfSheet(sheet signoff.Sheet, sha256 string) (SheetView, error) {
	zone, err := time.LoadLocation(sheet.Shop.Zone)
	if err != nil {
		return SheetView{}, fmt.Errorf("views: zone of a paper: %w", err)
	}
	return SheetView{Words: Words{Now: w.Now, Zone: zone, Currency: sheet.Currency}, Sheet: sheet, SHA256: sha256}, nil
}

// Name returns "Change order 4".
func (v SheetView) Name() string { return v.Sheet.Name() }

// Sent returns the day it was sent, in words.
func (v SheetView) Sent() (string, error) { return v.Day(journal.Date(v.Sheet.SentOn)) }

// URL returns the paper's page for the paper's id.
func (v SheetView) URL(paper journal.PaperID) string {
	return fmt.Sprintf("/builds/%s/papers/%s", v.Sheet.Build.ID, paper)
}

// Photos returns the evidence photos, as they were shown when the paper was
// sent.
func (v SheetView) Photos() []PhotoView {
	photos := make([]PhotoView, len(v.Sheet.Photos))
	for i, p := range v.Sheet.Photos {
		photos[i] = PhotoView{Words: v.Words, BuildID: v.Sheet.Build.ID, ID: p.ID, Caption: p.Caption, State: journal.PhotoReady, Layer: p.Layer()}
		if p.Shown != nil {
			photos[i].Width, photos[i].Height = p.Shown.Width, p.Shown.Height
		}
	}
	return photos
}

// Change says in half a sentence what signing does: "+ $2,339.00 and 6 working
// days", with tax; for other kinds what they are about.
func (v SheetView) Change() (string, error) {
	switch v.Sheet.Kind {
	case signoff.BuildAgreement:
		total, err := v.comesTo()
		if err != nil {
			return "", err
		}
		ready, err := v.PlainDay(v.Sheet.DateAfter)
		return total + ", ready on " + ready, err
	case signoff.Teardown:
		if v.Sheet.Teardown.CostWithTax == 0 {
			return "leave to take the truck apart", nil
		}
		if v.Sheet.Stage.Metered {
			cost, err := v.Money(v.Sheet.Teardown.Cost)
			return "leave to take the truck apart, at up to " + cost + " before tax", err
		}
		cost, err := v.Money(v.Sheet.Teardown.CostWithTax)
		return "leave to take the truck apart, at " + cost + v.taxSuffix(), err
	case signoff.DateChange:
		date, err := v.NewDate()
		return WorkingDays(max(v.Sheet.Days, -v.Sheet.Days)) + " " + soonerOrLater(v.Sheet.Days) + ", ready on " + date, err
	case signoff.DeliveryAcceptance:
		day, err := v.PlainDay(v.Sheet.Acceptance.DeliveredOn)
		return "the truck is handed over on " + day, err
	case signoff.EarlyStop:
		return v.stopChange()
	}
	return v.Effect(v.Sheet.DeltaWithTax, v.Sheet.Days)
}

// comesTo says what an agreement comes to. Where a stage goes by time and
// materials only the sum before tax is bounded, as tax goes by what is logged.
func (v SheetView) comesTo() (string, error) {
	switch {
	case v.AtMost() && v.Taxed():
		most, err := v.Money(v.Sheet.AgreedAfter)
		return "up to " + most + " before tax", err
	case v.AtMost():
		most, err := v.Money(v.Sheet.TotalAfter)
		return "up to " + most, err
	}
	total, err := v.Money(v.Sheet.TotalAfter)
	return total + v.taxSuffix(), err
}

func (v SheetView) taxSuffix() string {
	if v.Taxed() {
		return " with tax"
	}
	return ""
}

func soonerOrLater(days int) string {
	if days < 0 {
		return "sooner"
	}
	return "later"
}

// Done says in a whole sentence what stands once it is signed.
func (v SheetView) Done() (string, error) {
	total, err := v.Money(v.Sheet.TotalAfter)
	if err != nil {
		return "", err
	}
	date, err := v.NewDate()
	if err != nil {
		return "", err
	}
	name := v.Sheet.Build.Nickname
	switch v.Sheet.Kind {
	case signoff.BuildAgreement:
		total, err := v.comesTo()
		return fmt.Sprintf("%s is agreed at %s, and is to be ready on %s.", name, total, date), err
	case signoff.Teardown:
		return fmt.Sprintf("The shop may take %s apart now.", name), nil
	case signoff.DateChange:
		return fmt.Sprintf("The agreed date of %s is %s.", name, date), nil
	case signoff.DeliveryAcceptance:
		return fmt.Sprintf("%s is delivered.", name), nil
	case signoff.EarlyStop:
		agreed, err := v.Money(v.Sheet.AgreedAfter)
		return fmt.Sprintf("The build of %s has ended. All that was done of it comes to %s before tax.", name, agreed), err
	}
	return fmt.Sprintf("The build is now %s%s, and the agreed date is %s.", total, v.taxSuffix(), date), nil
}

// Undone says what stands if it is declined.
func (v SheetView) Undone() string {
	switch v.Sheet.Kind {
	case signoff.BuildAgreement:
		return "Nothing in it is agreed."
	case signoff.Teardown:
		return "The truck is not taken apart."
	case signoff.DateChange:
		return "The agreed date stays as it was."
	case signoff.DeliveryAcceptance:
		return "The truck is not accepted; the shop will call you."
	case signoff.EarlyStop:
		return "Nothing ends; the agreement stands as it was."
	}
	return "Nothing in it is done or billed; total and date stay as they were."
}

// SignWords is what stands on the button that signs.
func (v SheetView) SignWords() string {
	switch v.Sheet.Kind {
	case signoff.BuildAgreement:
		return "I agree to all of this"
	case signoff.Teardown:
		return "I authorize the teardown"
	case signoff.DateChange:
		return "I agree to the new date"
	case signoff.DeliveryAcceptance:
		return "I accept the truck"
	case signoff.EarlyStop:
		return "I agree that the build ends"
	}
	return "I agree to this change"
}

// AsksParts reports whether the owner is asked if replaced parts are wanted
// back.
//
// Source: 16 CCR 3355 (California): asked for when the estimate is authorized.
func (v SheetView) AsksParts() bool { return asksParts(v.Sheet.Kind) }

func asksParts(kind signoff.Kind) bool {
	return kind == signoff.BuildAgreement || kind == signoff.Teardown || kind == signoff.ChangeOrder
}

// ShowsTotal reports whether the build's total before and after is shown.
func (v SheetView) ShowsTotal() bool { return v.Sheet.Kind == signoff.ChangeOrder }

// ShowsDate reports whether the ready date before and after is shown.
func (v SheetView) ShowsDate() bool {
	return v.Sheet.Kind == signoff.ChangeOrder || v.Sheet.Kind == signoff.DateChange
}

// OwnNotices are the notices but the last, which is the same on every paper.
func (v SheetView) OwnNotices() []string {
	return v.Sheet.Notices[:max(len(v.Sheet.Notices)-1, 0)]
}

// LastNotice is the last notice; "" without any.
func (v SheetView) LastNotice() string {
	if n := len(v.Sheet.Notices); n > 0 {
		return v.Sheet.Notices[n-1]
	}
	return ""
}

// Several reports whether lines are borne by more than one stage.
func (v SheetView) Several() bool { return len(v.Sheet.Splits()) > 1 }

// BearingStages names the stages that bear the lines.
func (v SheetView) BearingStages() string {
	var names []string
	for _, s := range v.Sheet.Splits() {
		names = append(names, s.Stage.Name)
	}
	return List(names)
}

// TeardownCost says what taking the truck apart costs. By time and materials only
// the sum before tax is bounded.
func (v SheetView) TeardownCost() (string, error) {
	before, err := v.Money(v.Sheet.Teardown.Cost)
	if err != nil {
		return "", err
	}
	if v.Sheet.Stage.Metered {
		return "up to " + before + " before tax, by time and materials", nil
	}
	cost, err := v.Money(v.Sheet.Teardown.CostWithTax)
	if v.Taxed() {
		cost += " with tax, " + before + " before it"
	}
	return cost, err
}

// MeteredWords says what a change order means for the stages by time and
// materials that bear it; "" when none does.
func (v SheetView) MeteredWords() string {
	var names []string
	for _, s := range v.Sheet.Splits() {
		if s.Stage.Metered && (v.Sheet.Drops == nil || v.Sheet.Drops.ID != s.Stage.ID) {
			names = append(names, s.Stage.Name)
		}
	}
	switch len(names) {
	case 0:
		return ""
	case 1:
		return names[0] + " goes by time and materials: this moves the most it may cost, and you pay what is logged."
	}
	return List(names) + " go by time and materials: this moves the most they may cost, and you pay what is logged."
}

// AtMost reports whether the total of an agreement before tax is the most that it
// can come to, because a stage goes by time and materials.
func (v SheetView) AtMost() bool { return v.Sheet.Agreement != nil && v.Sheet.Agreement.Metered() }

// MonthName returns "April 2026" for the month of the standing allowance.
func (v SheetView) MonthName() (string, error) {
	if v.Sheet.Standing == nil {
		return "", nil
	}
	month, err := time.Parse("2006-01", v.Sheet.Standing.Month)
	return month.Format("January 2006"), err
}

// AgreedRow is one stage of an agreement's table.
type AgreedRow struct {
	signoff.SheetAgreed
	Total journal.Cents
	Kinds []AgreedKind // that it has an amount of
}

// AgreedKind is an amount of one line kind.
type AgreedKind struct {
	Kind   journal.LineKind
	Amount journal.Cents
}

// AgreedRows returns an agreement's stages with their totals.
func (v SheetView) AgreedRows() []AgreedRow {
	var rows []AgreedRow
	for _, st := range v.Sheet.Agreement.Stages {
		value := journal.Split(st.Value)
		row := AgreedRow{SheetAgreed: st, Total: value.Total()}
		for _, k := range journal.LineKinds {
			if c := value.Of(k); c != 0 {
				row.Kinds = append(row.Kinds, AgreedKind{k, c})
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// Taxed reports whether tax plays a part in any figure.
func (v SheetView) Taxed() bool {
	return len(v.Sheet.TaxRates) > 0 || v.Sheet.TotalAfter != v.Sheet.AgreedAfter || v.Sheet.DeltaTax != 0
}

// TaxWords returns "Tax: 6.25 % on parts and 2 % on labour", or "Tax".
func (v SheetView) TaxWords() string {
	if rates := v.RateWords(); rates != "" {
		return "Tax: " + rates
	}
	return "Tax"
}

// RateWords returns "6.25 % on parts and 2 % on labour"; "" for no tax.
func (v SheetView) RateWords() string {
	var rates []string
	for _, r := range v.Sheet.TaxRates {
		rates = append(rates, Percent(r.BasisPoints)+" on "+string(r.Kind))
	}
	return List(rates)
}

// DateMove says how the agreed date moves: "6 working days later than
// 24 September", "the same date as before", "no date was agreed yet".
func (v SheetView) DateMove() (string, error) {
	before, err := v.PlainDay(v.Sheet.DateBefore)
	switch {
	case err != nil:
		return "", err
	case v.Sheet.DateBefore.IsZero():
		return "no date was agreed before", nil
	case v.Sheet.Days > 0:
		return WorkingDays(v.Sheet.Days) + " later than " + before, nil
	case v.Sheet.Days < 0:
		return WorkingDays(-v.Sheet.Days) + " sooner than " + before, nil
	}
	return "as before", nil
}

// NewDate returns the new agreed date in words.
func (v SheetView) NewDate() (string, error) {
	if v.Sheet.DateAfter.IsZero() {
		return "not agreed yet", nil
	}
	return v.PlainDay(v.Sheet.DateAfter)
}

// DecisionView is a recorded decision, piece "decision".
type DecisionView struct {
	Words
	Kind     signoff.Kind // of the paper
	Decision signoff.Decision
	// RecordedBy names who in the office recorded it, and Scan is the address of
	// the signed sheet; "" where there is none.
	RecordedBy string
	Scan       string
}

// OfDecision makes the view of a decision, told in the zone that was the shop's
// when it was made. kind is the paper's.
func (w Words) OfDecision(kind signoff.Kind, d signoff.Decision) (DecisionView, error) {
	zone, err := time.LoadLocation(d.Zone)
	if err != nil {
		return DecisionView{}, fmt.Errorf("views: zone of a decision: %w", err)
	}
	return DecisionView{Words: Words{Now: w.Now, Zone: zone, Currency: w.Currency}, Kind: kind, Decision: d}, nil
}

// Signed reports whether the paper was signed, not declined.
func (v DecisionView) Signed() bool { return v.Decision.Outcome == signoff.OutcomeSigned }

// AsksParts reports whether the decision says if replaced parts are wanted back.
func (v DecisionView) AsksParts() bool { return v.Signed() && asksParts(v.Kind) }

// QuestionView is a question about a paper with its answer, piece "questions".
type QuestionView struct {
	Words
	Question   signoff.Question
	AskedBy    string // name
	AnsweredBy string // name; "" until answered
}

// Answered reports whether there is an answer.
func (q QuestionView) Answered() bool { return !q.Question.AnsweredAt.IsZero() }
