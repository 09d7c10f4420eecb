package views

import (
	"fmt"
	"strings"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// StoppedSays tells of a stage of an early stop what stands beside what it bills:
// "Agreed $1,000.00, billed before $200.00; $300.00 is not done and comes off".
func (v SheetView) StoppedSays(st signoff.SheetStopped) (string, error) {
	parts := []struct {
		text   string
		amount journal.Cents
	}{{"agreed %s", st.Agreed}, {"billed before %s", st.Billed}, {"not done, taken off %s", st.NotDone}}
	var said []string
	for _, p := range parts {
		if p.amount == 0 {
			continue
		}
		amount, err := v.Money(p.amount)
		if err != nil {
			return "", err
		}
		said = append(said, fmt.Sprintf(p.text, amount))
	}
	if len(said) == 0 {
		return "Nothing is agreed for it", nil
	}
	if st.Metered {
		said = append(said, "by time and materials")
	}
	return UpperFirst(strings.Join(said, "; ")), nil
}

// StopSums are the stages' figures of an early stop, added up; what its own lines
// bill is part of Earned.
func (v SheetView) StopSums() signoff.SheetStopped {
	var sum signoff.SheetStopped
	for _, st := range v.Sheet.Stop.Stages {
		sum.Agreed, sum.Billed, sum.Earned, sum.NotDone = sum.Agreed+st.Agreed, sum.Billed+st.Billed, sum.Earned+st.Earned, sum.NotDone+st.NotDone
	}
	for _, l := range v.Sheet.Lines {
		sum.Earned += l.Amount
	}
	return sum
}

// Owes says who owes whom in the end: "You owe the shop", "The shop owes you",
// "Nobody owes anything".
func (v SheetView) Owes() string {
	switch owed := v.Sheet.Stop.Owed; {
	case owed > 0:
		return "You owe the shop"
	case owed < 0:
		return "The shop owes you"
	}
	return "Nobody owes anything"
}

// OwedAmount is how much, without a sign.
func (v SheetView) OwedAmount() journal.Cents {
	return max(v.Sheet.Stop.Owed, -v.Sheet.Stop.Owed)
}

// StopDocument names a document that an early stop issues: "The last invoice".
func (SheetView) StopDocument(d signoff.SheetDocument) string {
	switch billing.DocumentKind(d.Kind) {
	case billing.HoldbackRelease:
		return "What was held back"
	case billing.CreditMemo:
		return "The last credit memo"
	}
	return "The last invoice"
}

// StopLine is one figure of an early stop's sums.
type StopLine struct {
	Text   string
	Amount journal.Cents
	Strong bool
}

// StopDocumentLines are the figures of one document, those that are nothing left out.
func (SheetView) StopDocumentLines(d signoff.SheetDocument) []StopLine {
	var lines []StopLine
	for _, l := range []StopLine{
		{Text: "Billed, before tax", Amount: d.Subtotal}, {Text: "Tax", Amount: d.Tax}, {Text: "Held back until now, to pay now", Amount: -d.Holdback},
		{Text: "Covered by your deposit", Amount: -d.DepositCredit},
	} {
		if l.Amount != 0 {
			lines = append(lines, l)
		}
	}
	last := StopLine{Text: "To pay", Amount: d.Payable, Strong: true}
	if d.Payable < 0 {
		last.Text, last.Amount = "In your favour", -d.Payable
	}
	return append(lines, last)
}

// StopEnd are the figures that lead to who owes whom, as they add up to it: where
// the shop owes, what speaks for the owner is above zero.
func (v SheetView) StopEnd() []StopLine {
	x := v.Sheet.Stop
	open, deposit := "Open on earlier invoices, with tax", "Your deposit, as far as it is not used"
	if x.DueBefore < 0 {
		open = "In your favour from before, with tax"
	}
	if x.DepositReturned < 0 {
		deposit = "Your deposit, which was credited and did not come in"
	}
	sign := journal.Cents(1)
	if x.Owed < 0 {
		sign = -1
	}
	var lines []StopLine
	for _, l := range []StopLine{
		{Text: open, Amount: sign * x.DueBefore}, {Text: "To pay on what is billed by signing", Amount: sign * (x.DueAfter - x.DueBefore)},
		{Text: deposit, Amount: -sign * x.DepositReturned},
	} {
		if l.Amount != 0 {
			lines = append(lines, l)
		}
	}
	return append(lines, StopLine{Text: v.Owes(), Amount: v.OwedAmount(), Strong: true})
}

// stopChange says in half a sentence what signing an early stop does.
func (v SheetView) stopChange() (string, error) {
	amount, err := v.Money(v.OwedAmount())
	switch owed := v.Sheet.Stop.Owed; {
	case owed > 0:
		return "the build ends, with " + amount + " to pay in all", err
	case owed < 0:
		return "the build ends, with " + amount + " to go back to the owner", err
	}
	return "the build ends, with nothing left to pay", err
}

// AddedSays tells of the stage that a change order adds.
func (v SheetView) AddedSays() string {
	a := v.Sheet.Adds
	said := "Signing adds the stage " + a.Name + " to the build, "
	if a.After != nil {
		said += "after " + a.After.Name
	} else {
		said += "as its first"
	}
	said += ", with " + WorkingDays(a.Days) + " planned."
	if a.Metered {
		said += " It is by time and materials: what is worked and bought for it is billed, up to what this paper puts on it and no more."
	}
	return said
}

// DroppedSays tells of the stage that a change order drops.
func (v SheetView) DroppedSays() string {
	return "Signing takes the stage " + v.Sheet.Drops.Name + " out of the build. It is not done any more, and what was agreed for it comes off."
}

// StoppedLetter tells an owner that the shop has recorded the end of the build,
// without a signed paper.
type StoppedLetter struct {
	MailFrame
	Nickname string
	On       journal.Date
	Reason   string
	Link     string
}

// Mail names the letter's text.
func (StoppedLetter) Mail() string { return "build-stopped" }
