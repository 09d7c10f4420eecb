package signoff

import (
	"slices"

	"farbay/journal"
)

// SheetAgreement is what only a build agreement holds. The total and the date
// agreed are the sheet's AgreedAfter, TotalAfter and DateAfter.
type SheetAgreement struct {
	Stages []SheetAgreed `json:"stages"` // in the order of work
	// Terms of payment. Tax rates are the sheet's.
	Deposit      journal.Cents       `json:"deposit"`                 // 0 for none
	Crediting    string              `json:"crediting"`               // how the deposit is credited to invoices
	DepositShare journal.BasisPoints `json:"deposit_share,omitempty"` // of each invoice; 0 where the way has none
	RefillFloor  journal.Cents       `json:"refill_floor,omitempty"`  // at which it is filled up again; 0 where the way has none
	HoldbackRate journal.BasisPoints `json:"holdback_rate"`           // 0 for none
	TaxPerLine   bool                `json:"tax_per_line"`            // tax rounded by line, not by invoice
	DueDays      int                 `json:"due_days"`                // calendar days from invoice to due; 0 on receipt

	// What follows is left out where nothing is agreed about it, as it is in
	// agreements from before these terms were known.
	HoldbackLimit *SheetLimit         `json:"holdback_limit,omitempty"` // with a holdback only
	HourRate      journal.Cents       `json:"hour_rate,omitempty"`      // on metered stages; left out: what the shop takes on the day
	MarkUp        journal.BasisPoints `json:"mark_up,omitempty"`        // on parts and outside work of metered stages
	BillDays      []int               `json:"bill_days,omitempty"`      // days of the month on which their work is billed; none: at the close
	LateAsks      bool                `json:"late_asks,omitempty"`      // while an invoice is late, the next stage opens only after the office has confirmed it
	Transport     string              `json:"transport,omitempty"`      // who brings the truck to its owner
	DeliverTo     string              `json:"deliver_to,omitempty"`     // state or country
}

// Metered reports whether any stage goes by time and materials.
func (a SheetAgreement) Metered() bool {
	return slices.ContainsFunc(a.Stages, func(st SheetAgreed) bool { return st.Metered })
}

// SheetLimit is the limit on holdback that the terms name, in basis points; 0
// for no such limit.
type SheetLimit struct {
	Name      string              `json:"name"`
	OfPayment journal.BasisPoints `json:"of_payment"` // of each invoice before tax
	OfPrice   journal.BasisPoints `json:"of_price"`   // of the agreed price before tax
}

// SheetAgreed is one stage as agreed: its value in cents before tax, by line
// kind, and its planned working days and dates.
type SheetAgreed struct {
	ID    journal.StageID `json:"id"`
	Name  string          `json:"name"`
	Value SheetSplit      `json:"value"`
	// Metered: by time and materials; the value is the most it may cost.
	Metered bool         `json:"metered,omitempty"`
	Days    int          `json:"days"`
	From    journal.Date `json:"from"` // "" when not planned
	To      journal.Date `json:"to"`
}

// SheetSplit is an amount by line kind, in cents.
type SheetSplit struct {
	Labour   journal.Cents `json:"labour"`
	Parts    journal.Cents `json:"parts"`
	Outside  journal.Cents `json:"outside"`
	Delivery journal.Cents `json:"delivery"`
	Other    journal.Cents `json:"other"`
}

// SheetTeardown is what only a teardown authorization holds: amounts in cents
// before tax.
type SheetTeardown struct {
	Cost           journal.Cents `json:"cost"`            // of the stage that takes the truck apart
	CostWithTax    journal.Cents `json:"cost_with_tax"`   // at the rates named
	Reassembly     journal.Cents `json:"reassembly"`      // putting it back together, before tax
	ReassemblyDays int           `json:"reassembly_days"` // working days of that
	Destroyed      []string      `json:"destroyed"`       // parts normally destroyed
}

// SheetAcceptance is what only a delivery acceptance holds: amounts in cents,
// with tax, as they stood at sending.
type SheetAcceptance struct {
	DeliveredOn journal.Date  `json:"delivered_on"`
	Odometer    int           `json:"odometer"` // 0 when not read
	Unit        string        `json:"unit"`
	HandedOver  []string      `json:"handed_over"`
	OpenPoints  []string      `json:"open_points"`
	Billed      journal.Cents `json:"billed"`
	Paid        journal.Cents `json:"paid"` // by payments and by the deposit
	Due         journal.Cents `json:"due"`
	HeldBack    journal.Cents `json:"held_back"` // released by signing, once every stage is closed
}

// SheetDelegate is somebody whom signing lets decide in the owner's place.
type SheetDelegate struct {
	Name  string `json:"name"`
	Email string `json:"email"`
	Phone string `json:"phone"`
}

// SheetAllowance is a standing allowance that signing gives, in cents with tax.
type SheetAllowance struct {
	PerFind  journal.Cents `json:"per_find"`
	PerMonth journal.Cents `json:"per_month"`
}

// SheetStanding is the standing allowance in force when the paper was sent, and
// what was left of it in that calendar month at the shop.
type SheetStanding struct {
	PerFind  journal.Cents `json:"per_find"`
	PerMonth journal.Cents `json:"per_month"`
	Month    string        `json:"month"` // "2026-04"
	Left     journal.Cents `json:"left"`
}
