package billing

import (
	"slices"
	"strings"

	"farbay/journal"
)

// whole is 100 % in basis points.
const whole journal.BasisPoints = 10_000

// Crediting says how the deposit is credited to invoices.
type Crediting string

// Each way is stated in the package comment, "Deposit".
const (
	// ProRata credits the deposit in step with what is billed.
	ProRata Crediting = "pro rata"
	// LastFirst keeps the deposit for the last payments.
	LastFirst Crediting = "to the last payments first"
	// FirstFirst uses the deposit up from the first payment on; at a floor it is
	// filled up again.
	FirstFirst Crediting = "to the first payments first, filled up again at a floor"
	// ShareOfEach credits a share of each invoice until the deposit is used.
	ShareOfEach Crediting = "as a share of each invoice until it is used"
)

// Creditings lists all ways of crediting, in the order they are offered.
var Creditings = []Crediting{ProRata, LastFirst, FirstFirst, ShareOfEach}

// Valid reports whether c is one of [Creditings].
func (c Crediting) Valid() bool {
	for _, known := range Creditings {
		if c == known {
			return true
		}
	}
	return false
}

// Terms are the money terms of one build, part of its signed agreement.
type Terms struct {
	Deposit      journal.Cents       // asked for, before work starts; 0: none
	Crediting    Crediting           // how a deposit is credited
	DepositShare journal.BasisPoints // ShareOfEach: of what is billed before tax; 0 otherwise
	RefillFloor  journal.Cents       // FirstFirst: at or below it, what is left is to be filled up again; 0 otherwise
	HoldbackRate journal.BasisPoints // of billed to date before tax; 0: none
	HoldbackCap  string              // the name of the [Limit] on holdback that the office goes by; "" for none
	Tax          Tax
	DueDays      int // calendar days from issue to due; 0: due on receipt

	// HourRate is what an hour costs on metered stages; 0: what the shop takes on the
	// day it is logged.
	HourRate journal.Cents
	// MarkUp is the most that is put on the cost of parts and outside work on metered
	// stages.
	MarkUp journal.BasisPoints
	// BillDays are the days of the month on which the logged work is to be billed,
	// ascending, 1 to 28; none: when the stage closes.
	BillDays []int
	// LateAsks: while an invoice is late, the next stage opens only after the
	// office has confirmed it.
	LateAsks bool
	// Transport says who brings the truck to the owner, and DeliverTo where: what
	// sales tax depends on in some states. The office sets the tax, not the program.
	Transport Transport
	DeliverTo string // state or country; "" when not known
}

// Transport says who brings the finished truck to its owner.
type Transport string

const (
	// NotSettled: nothing is agreed about it.
	NotSettled Transport = ""
	// OwnerCollects: handed over at the shop.
	OwnerCollects Transport = "the owner collects it at the shop"
	// OwnerSends: a carrier of the owner's.
	OwnerSends Transport = "the owner sends a carrier"
	// ShopSends: the shop is to deliver it, or to send it with a carrier.
	ShopSends Transport = "the shop delivers it or sends it with a carrier"
)

// Transports lists what can be agreed, in the order offered.
var Transports = []Transport{NotSettled, OwnerCollects, OwnerSends, ShopSends}

// MaxDueDays is the longest time to pay, in calendar days.
const MaxDueDays = 365

// Check records in p, beside its form field, each term that cannot be taken:
// deposit (0 to [journal.MaxCents]), crediting, deposit_share, refill_floor,
// holdback_rate, tax_labour,
// tax_parts, tax_outside, tax_delivery, tax_other (each 0 to 100 %) and
// due_days (0 to [MaxDueDays]), holdback_cap, hour_rate, mark_up (0 to 100 %), bill_days,
// transport and deliver_to (one line of at most 60 characters).
func (t Terms) Check(p journal.Problems) {
	switch {
	case t.Deposit < 0:
		p.Add("deposit", "A deposit cannot be negative; please enter 0 for none.")
	case t.Deposit > journal.MaxCents:
		p.Add("deposit", "That is more than %s; please check the number of digits.", journal.MaxCents)
	}
	if !t.Crediting.Valid() {
		p.Add("crediting", "Please choose how the deposit is credited to the invoices.")
	}
	switch {
	case t.Crediting == ShareOfEach && t.Deposit > 0 && t.DepositShare <= 0:
		p.Add("deposit_share", "Please type the share of each invoice that the deposit pays, such as 25.")
	case t.Crediting != ShareOfEach && t.DepositShare != 0:
		p.Add("deposit_share", "Only a deposit credited as a share of each invoice has a share.")
	}
	checkRate(p, "deposit_share", "The share", t.DepositShare)
	switch {
	case t.RefillFloor < 0 || t.RefillFloor > 0 && t.RefillFloor >= t.Deposit:
		p.Add("refill_floor", "The floor lies between 0 and the deposit.")
	case t.Crediting != FirstFirst && t.RefillFloor != 0:
		p.Add("refill_floor", "Only a deposit used for the first payments first is filled up again.")
	}
	checkRate(p, "holdback_rate", "The holdback", t.HoldbackRate)
	checkRate(p, "tax_labour", "The tax on labour", t.Tax.Labour)
	checkRate(p, "tax_parts", "The tax on parts", t.Tax.Parts)
	checkRate(p, "tax_outside", "The tax on outside work", t.Tax.Outside)
	checkRate(p, "tax_delivery", "The tax on delivery", t.Tax.Delivery)
	checkRate(p, "tax_other", "The tax on other lines", t.Tax.Other)
	if t.DueDays < 0 || t.DueDays > MaxDueDays {
		p.Add("due_days", "Please enter the days to pay as a number from 0 (due on receipt) to %d.", MaxDueDays)
	}
	t.checkLimit(p)
	if t.HourRate < 0 || t.HourRate > journal.MaxCents/1000 {
		p.Add("hour_rate", "Please type the rate of an hour, such as 95.00; 0 for what the shop takes on the day.")
	}
	checkRate(p, "mark_up", "The mark-up", t.MarkUp)
	for i, day := range t.BillDays {
		if day < 1 || day > 28 || i > 0 && day <= t.BillDays[i-1] {
			p.Add("bill_days", "Please type days of the month from 1 to 28, each once, such as: 1, 15. A day after the 28th is not in every month.")
		}
	}
	if !slices.Contains(Transports, t.Transport) {
		p.Add("transport", "Please choose who brings the truck to its owner.")
	}
	journal.CheckLine(p, "deliver_to", t.DeliverTo, 0, 60, "Please keep the state to 60 characters.")
}

func checkRate(p journal.Problems, field, what string, rate journal.BasisPoints) {
	if rate < 0 || rate > whole {
		p.Add(field, "%s is a rate from 0 to 100 %%; %s %% is not.", what, FormatRate(rate))
	}
}

// Validate returns nil, or one [journal.Invalid] error with all that
// [Terms.Check] finds.
func (t Terms) Validate() error {
	p := journal.Problems{}
	t.Check(p)
	return p.Err()
}

// ParseRate reads a rate as people type it, in per cent: "5", "6.25", "6.25 %";
// at most two decimals. It never rounds. It returns a [journal.Invalid] error
// for anything else and for rates below 0 or above 100 %.
func ParseRate(s string) (journal.BasisPoints, error) {
	t := strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(s), "%"))
	c, err := journal.ParseCents(t)
	if err != nil || strings.ContainsAny(t, "$,") {
		return 0, journal.Errorf(journal.Invalid, "Please type a rate in per cent such as 6.25, with at most two decimals.")
	}
	rate := journal.BasisPoints(c)
	if rate < 0 || rate > whole {
		return 0, journal.Errorf(journal.Invalid, "Please type a rate from 0 to 100 per cent; %s is not.", FormatRate(rate))
	}
	return rate, nil
}

// FormatRate returns a rate in per cent with no more decimals than it needs
// and no sign: 500 is "5", 625 is "6.25", 650 is "6.5".
func FormatRate(rate journal.BasisPoints) string {
	s := journal.Cents(rate).String()
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}
