package signoff

import (
	"fmt"

	"farbay/journal"
)

// Wish says who wants a build to end early.
type Wish string

const (
	OwnersWish Wish = "the owner"
	ShopsWish  Wish = "the shop"
)

// Wishes lists both, in the order offered.
var Wishes = []Wish{OwnersWish, ShopsWish}

// Stop is what a draft says of ending the build early.
type Stop struct {
	By    Wish
	On    journal.Date // the day on which the build ends
	Truck string       // where the truck goes
	Parts []string     // what is handed over, and where other parts go, one a line
	// Earned is, of what is not billed of a stage yet, what the shop says is done;
	// in the order of work. A stage that is not named has earned nothing if it was
	// not begun, and what was logged, up to its ceiling, if it is metered.
	Earned []Earned
}

// Earned is what a stage has earned, before tax.
type Earned struct {
	StageID journal.StageID
	Amount  journal.Cents
}

// EarnedField names the form field of what a stage has earned.
func EarnedField(stage journal.StageID) string { return "earned." + string(stage) }

// checkStop checks what can be told without the build's figures.
func (d Draft) checkStop(bad journal.Problems) {
	d.checkLines(bad, "An early stop")
	for i, l := range d.Lines {
		if d.Bearing(l) == "" {
			bad.Add(fmt.Sprintf("lines.%d.stage", i), "Please choose the stage that this belongs to.")
		}
	}
	s := d.Stop
	if s == nil {
		s = &Stop{}
	}
	if s.By != OwnersWish && s.By != ShopsWish {
		bad.Add("stop_by", "Please say whose wish it is, the owner's or the shop's.")
	}
	if s.On.IsZero() {
		bad.Add("stop_on", "Please give the day on which the build ends.")
	}
	journal.CheckLine(bad, "stop_truck", s.Truck, 1, 300, "Please say where the truck goes, such as: fetched by the owner's carrier on 4 May.")
	checkList(bad, "stop_parts", s.Parts)
	for _, e := range s.Earned {
		if e.Amount < 0 || e.Amount > journal.MaxCents {
			bad.Add(EarnedField(e.StageID), "Please type what of it is earned, such as 1,200.00, or 0.")
		}
	}
}

// SheetStop is what only an early stop holds: amounts in cents, before tax where
// nothing else is said, as they stood at sending. Signing refuses other figures.
type SheetStop struct {
	By     Wish           `json:"by"`
	On     journal.Date   `json:"on"`
	Truck  string         `json:"truck"`
	Parts  []string       `json:"parts"`
	Stages []SheetStopped `json:"stages"` // in the order of work; their extra lines are the sheet's
	// Documents are those that signing issues, in this order.
	Documents []SheetDocument `json:"documents"`
	// With tax: what is open before and after those documents, what of the deposit
	// goes back, and what the owner then owes the shop; negative where the shop owes
	// the owner.
	DueBefore       journal.Cents `json:"due_before"`
	DueAfter        journal.Cents `json:"due_after"`
	DepositReturned journal.Cents `json:"deposit_returned"`
	Owed            journal.Cents `json:"owed"`
}

// SheetStopped is one stage of a build that ends early. Agreed = Billed + Earned +
// NotDone.
type SheetStopped struct {
	ID      journal.StageID `json:"id"`
	Name    string          `json:"name"`
	Open    bool            `json:"open"` // signing closes it
	Metered bool            `json:"metered,omitempty"`
	Agreed  journal.Cents   `json:"agreed"`   // with signed changes
	Billed  journal.Cents   `json:"billed"`   // before
	Earned  journal.Cents   `json:"earned"`   // billed by signing
	NotDone journal.Cents   `json:"not_done"` // taken off by signing
	Off     SheetSplit      `json:"off"`      // the same by line kind
	Typed   bool            `json:"typed"`    // the shop named what is earned; else it follows from the stage
}

// SheetDocument is a document as signing would issue it.
type SheetDocument struct {
	Kind          string        `json:"kind"`
	Subtotal      journal.Cents `json:"subtotal"`
	Tax           journal.Cents `json:"tax"`
	DepositCredit journal.Cents `json:"deposit_credit"`
	Holdback      journal.Cents `json:"holdback"` // negative: released
	Payable       journal.Cents `json:"payable"`  // negative: in the owner's favour
}
