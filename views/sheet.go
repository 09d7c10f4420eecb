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

// Change returns "+ $2,339.00 and 6 working days", with tax.
func (v SheetView) Change() (string, error) { return v.Effect(v.Sheet.DeltaWithTax, v.Sheet.Days) }

// Taxed reports whether tax plays a part in any figure.
func (v SheetView) Taxed() bool {
	return len(v.Sheet.TaxRates) > 0 || v.Sheet.TotalAfter != v.Sheet.AgreedAfter || v.Sheet.DeltaTax != 0
}

// TaxWords returns "Tax: 6.25 % on parts and 2 % on labour", or "Tax".
func (v SheetView) TaxWords() string {
	var rates []string
	for _, r := range v.Sheet.TaxRates {
		rates = append(rates, Percent(r.BasisPoints)+" on "+string(r.Kind))
	}
	if len(rates) == 0 {
		return "Tax"
	}
	return "Tax: " + List(rates)
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
	Decision signoff.Decision
}

// OfDecision makes the view of a decision, told in the zone that was the shop's
// when it was made.
func (w Words) OfDecision(d signoff.Decision) (DecisionView, error) {
	zone, err := time.LoadLocation(d.Zone)
	if err != nil {
		return DecisionView{}, fmt.Errorf("views: zone of a decision: %w", err)
	}
	return DecisionView{Words: Words{Now: w.Now, Zone: zone, Currency: w.Currency}, Decision: d}, nil
}

// Signed reports whether the paper was signed, not declined.
func (v DecisionView) Signed() bool { return v.Decision.Outcome == signoff.OutcomeSigned }

// QuestionView is a question about a paper with its answer, piece "questions".
type QuestionView struct {
	Words
	Question   signoff.Question
	AskedBy    string // name
	AnsweredBy string // name; "" until answered
}

// Answered reports whether there is an answer.
func (q QuestionView) Answered() bool { return !q.Question.AnsweredAt.IsZero() }
