package signoff

import (
	"fmt"

	"farbay/journal"
)

// Draft is the content of a paper while the shop works on it. Which fields
// count depends on the paper's kind; the others are left alone and not frozen.
type Draft struct {
	Title  string
	Reason string // why; of a build agreement the scope: what is to be done
	Photos []Evidence

	// StageID is the stage that bears each line naming none, the one that Adds begins
	// too; of a teardown authorization the stage that takes the truck apart.
	StageID    journal.StageID
	Lines      []Line          // change order; early stop: what is billed beside the stages
	Days       int             // change order, date change: working days added to the agreed date; may be negative
	ReEstimate bool            // change order: the estimate renewed after the teardown
	Adds       *NewStage       // change order: a stage that is added; nil for none
	Drops      journal.StageID // change order: a stage that is taken out; "" for none

	ReadyOn journal.Date // build agreement: the day for which the truck is to be ready

	Destroyed      []string      // teardown authorization: parts normally destroyed, one a line
	Reassembly     journal.Cents // teardown authorization: putting it back together if the owner stops, before tax
	ReassemblyDays int           // teardown authorization: working days of that

	HandedOver  []string     // delivery acceptance: what goes with the truck, one a line
	OpenPoints  []string     // delivery acceptance: what is still to be put right
	DeliveredOn journal.Date // delivery acceptance
	Odometer    int          // delivery acceptance; 0 when not read

	// A build agreement or a change order may give these two powers, which an
	// owner alone can sign.
	Delegate  *Delegate
	Allowance *Limits

	Stop *Stop // early stop
}

// Delegate is somebody whom the owner lets decide in their place.
type Delegate struct {
	Name  string
	Email string // lower case
	Phone string
}

// Limits are those of a standing allowance, tax included.
type Limits struct {
	PerFind  journal.Cents
	PerMonth journal.Cents // per calendar month at the shop
}

// Evidence is a photo shown in a paper.
type Evidence struct {
	PhotoID journal.PhotoID
	SHA256  string // of the original
	Caption string
}

// Line is one line of a change order. A labour line has minutes and an hourly
// rate, and its amount follows from them.
type Line struct {
	StageID journal.StageID // which bears it; "" for the draft's
	Kind    journal.LineKind
	Text    string
	Minutes int           // labour only; negative takes hours off
	Rate    journal.Cents // labour only, per hour
	Amount  journal.Cents
}

// LabourAmount returns minutes x rate / 60, rounded half away from zero to a
// cent.
func LabourAmount(minutes int, rate journal.Cents) journal.Cents {
	return rate.MulDiv(int64(minutes), 60)
}

// Delta returns the lines' amounts by kind, before tax.
func (d Draft) Delta() journal.Split {
	var s journal.Split
	for _, l := range d.Lines {
		s = s.Plus(l.Kind, l.Amount)
	}
	return s
}

// Bounds of what a paper holds.
const (
	MaxLines    = 60
	MaxEvidence = 24
	MaxListed   = 100 // items of a list: parts destroyed, things handed over, open points
)

// Validate checks what a person can enter, field by field; a line's fields are
// named "lines.0.text" and so on. A change order with nothing to agree to is
// refused, unless it says that the estimate stands.
func (d Draft) Validate(kind Kind) error {
	bad := journal.Problems{}
	journal.CheckLine(bad, "title", d.Title, 1, 120, "Please name it in a few words, at most 120 characters.")
	reason := "Please say why, so that the owner can decide; at most 4,000 characters."
	longest := 4000
	if kind == BuildAgreement {
		reason, longest = "Please say what is to be done, so that both sides can hold to it; at most 20,000 characters.", 20_000
	}
	if kind != DeliveryAcceptance || d.Reason != "" {
		journal.CheckText(bad, "reason", d.Reason, 1, longest, reason)
	}
	if len(d.Photos) > MaxEvidence {
		bad.Add("photos", "A paper takes at most %d photos.", MaxEvidence)
	}
	switch kind {
	case BuildAgreement:
		journal.CheckDay(bad, "ready_on", d.ReadyOn)
		if d.ReadyOn.IsZero() {
			bad.Add("ready_on", "Please give the day for which the truck is to be ready.")
		}
	case Teardown:
		d.checkTeardown(bad)
	case ChangeOrder:
		d.checkChange(bad)
	case DateChange:
		d.checkDays(bad)
		if d.Days == 0 {
			bad.Add("days", "Please say by how many working days the date moves; a minus makes it sooner.")
		}
	case DeliveryAcceptance:
		d.checkDelivery(bad)
	case EarlyStop:
		d.checkStop(bad)
	default:
		return fmt.Errorf("signoff: unknown kind of paper %q", kind)
	}
	if kind == BuildAgreement || kind == ChangeOrder {
		d.checkPowers(bad)
	}
	return bad.Err()
}

func (d Draft) checkDays(bad journal.Problems) {
	if d.Days < -400 || d.Days > 400 {
		bad.Add("days", "Please add at most 400 working days.")
	}
}

func (d Draft) checkChange(bad journal.Problems) {
	d.checkDays(bad)
	moves := d.Adds != nil || d.Drops != ""
	if d.StageID == "" && (len(d.Lines) > 0 || !moves) {
		bad.Add("stage", "Please choose the stage that bears this change.")
	}
	if len(d.Lines) == 0 && d.Days == 0 && d.Delegate == nil && d.Allowance == nil && !d.ReEstimate && !moves {
		bad.Add("lines", "Please add at least one line, or working days.")
	}
	d.checkLines(bad, "A change order")
	d.checkStages(bad)
}

func (d Draft) checkLines(bad journal.Problems, what string) {
	if len(d.Lines) > MaxLines {
		bad.Add("lines", "%s takes at most %d lines.", what, MaxLines)
	}
	for i, l := range d.Lines {
		l.check(bad, i)
	}
}

func (d Draft) checkTeardown(bad journal.Problems) {
	if d.StageID == "" {
		bad.Add("stage", "Please choose the stage that takes the truck apart.")
	}
	checkList(bad, "destroyed", d.Destroyed)
	if len(d.Destroyed) == 0 {
		bad.Add("destroyed", "Please list the parts that are normally destroyed in taking it apart, one a line, such as: gaskets, seals, O-rings.")
	}
	if d.Reassembly < 0 || d.Reassembly > journal.MaxCents {
		bad.Add("reassembly", "Please type what putting the truck back together would cost, such as 4,500.00; 0 for nothing.")
	}
	if d.ReassemblyDays < 0 || d.ReassemblyDays > 400 {
		bad.Add("reassembly_days", "Please give between 0 and 400 working days.")
	}
}

func (d Draft) checkDelivery(bad journal.Problems) {
	checkList(bad, "handed_over", d.HandedOver)
	checkList(bad, "open_points", d.OpenPoints)
	if len(d.HandedOver) == 0 {
		bad.Add("handed_over", "Please list what is handed over with the truck, one a line, such as: two keys, the spare wheel.")
	}
	journal.CheckDay(bad, "delivered_on", d.DeliveredOn)
	if d.DeliveredOn.IsZero() {
		bad.Add("delivered_on", "Please give the day on which the truck is handed over.")
	}
	if d.Odometer < 0 || d.Odometer > 9_999_999 {
		bad.Add("odometer", "Please type the odometer as a whole number of at most 7 digits.")
	}
}

func checkList(bad journal.Problems, field string, items []string) {
	if len(items) > MaxListed {
		bad.Add(field, "Please list at most %d things.", MaxListed)
	}
	for _, item := range items {
		journal.CheckLine(bad, field, item, 1, 200, "Please keep each line to 200 characters.")
	}
}

func (d Draft) checkPowers(bad journal.Problems) {
	if g := d.Delegate; g != nil {
		person := journal.Person{Name: g.Name, Email: g.Email, Phone: g.Phone, Role: journal.Owner}
		for field, sentence := range journal.ProblemsOf(person.Validate()) {
			bad.Add("delegate_"+field, "%s", sentence)
		}
	}
	if a := d.Allowance; a != nil {
		if a.PerFind <= 0 || a.PerFind > journal.MaxCents {
			bad.Add("per_find", "Please type how much may be spent on one find, tax included, such as 250.00.")
		}
		if a.PerMonth < a.PerFind || a.PerMonth > journal.MaxCents {
			bad.Add("per_month", "Please type how much may be spent in one calendar month, tax included; at least as much as for one find.")
		}
	}
}

func (l Line) check(bad journal.Problems, i int) {
	field := fmt.Sprintf("lines.%d.", i)
	journal.CheckLine(bad, field+"text", l.Text, 1, 200, "Please say what this line is for, at most 200 characters.")
	if !l.Kind.Valid() {
		bad.Add(field+"kind", "Please choose what kind of line this is.")
	}
	if l.Amount > journal.MaxCents || l.Amount < -journal.MaxCents {
		bad.Add(field+"amount", "A line's amount cannot be above %s.", journal.MaxCents)
	}
	if l.Kind == journal.Labour {
		if l.Minutes == 0 || l.Minutes > 600_000 || l.Minutes < -600_000 {
			bad.Add(field+"hours", "Please type the hours, such as 18 or 7.5, at most 10,000.")
		}
		if l.Rate < 0 || l.Rate > journal.MaxCents/1000 {
			bad.Add(field+"rate", "Please type the rate of an hour, such as 95.00.")
		}
		return
	}
	if l.Minutes != 0 || l.Rate != 0 {
		bad.Add(field+"hours", "Only labour lines have hours and a rate.")
	}
	if l.Amount == 0 {
		bad.Add(field+"amount", "Please type what this line costs; a minus takes it off.")
	}
}
