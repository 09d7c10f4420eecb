package billing

import (
	"strings"

	"farbay/journal"
)

// ApplicationLine is one item of an application for payment, before tax: a stage's
// value, or something agreed since.
type ApplicationLine struct {
	Ref         string // of the charge; of a ceiling not needed "unused:" and its stage
	StageID     string
	Description string
	Change      bool          // agreed since the agreement
	Scheduled   journal.Cents // what it is agreed at
	Previous    journal.Cents // completed by the application before; what was stored then is not in it
	ThisPeriod  journal.Cents // completed since, materials taken out of store among it
	Stored      journal.Cents // materials presently stored, reckoned anew each time
	Retainage   journal.Cents
}

// Completed returns the total completed and stored to date.
func (l ApplicationLine) Completed() journal.Cents { return l.Previous + l.ThisPeriod + l.Stored }

// Share returns completed to date divided by scheduled, cut off to whole basis
// points; 0 where nothing is scheduled, or a deduction.
func (l ApplicationLine) Share() journal.BasisPoints { return shareOf(l.Completed(), l.Scheduled) }

// Balance returns what is still to finish.
func (l ApplicationLine) Balance() journal.Cents { return l.Scheduled - l.Completed() }

// Application is the summary sheet of an application for payment with its items.
// Its lines are numbered as in the trade; those of the build agreement and the
// holdback are said here in its words. Before tax, and before the deposit.
type Application struct {
	Lines []ApplicationLine

	Original   journal.Cents // 1: the agreement
	Additions  journal.Cents // of line 2, items above zero
	Deductions journal.Cents // of line 2, items below zero: zero or negative
	Sum        journal.Cents // 3: the contract sum to date
	Completed  journal.Cents // 4: total completed and stored to date
	Retainage  journal.Cents // 5
	Earned     journal.Cents // 6: earned less retainage
	Before     journal.Cents // 7: line 6 of the application before
	Due        journal.Cents // 8: payment due for the period
	Balance    journal.Cents // 9: balance to finish, with retainage

	Tax           journal.Cents // on the documents of the period
	DepositCredit journal.Cents // what the deposit covered of them
	Payable       journal.Cents // what they ask for, all in all
}

// NetChange returns line 2.
func (a Application) NetChange() journal.Cents { return a.Additions + a.Deductions }

// ApplicationOf makes the application for a period from the account: completed is
// what is billed, and retainage what is held back. Retainage is divided over the
// items in proportion to what is completed of each (see [Apportion]). On a metered
// stage what is billed fills its items in the order agreed, and what is not needed
// of its ceiling is a deduction. The shop bills no stored materials apart, so there
// are none. Pure.
func ApplicationOf(before, now Account) Application {
	was, is := StatementOf(before), StatementOf(now)
	a := Application{
		Lines: applicationLines(before, now), Original: is.Agreement, Sum: is.Agreed - is.Unused, Completed: is.Billed, Retainage: is.HeldBack,
		Earned: is.Billed - is.HeldBack, Before: was.Billed - was.HeldBack, Balance: is.ToBill + is.HeldBack,
		Tax: is.Tax - was.Tax, DepositCredit: is.Covered - was.Covered,
	}
	a.Due = a.Earned - a.Before
	for _, d := range now.Documents[len(before.Documents):] {
		a.Payable += d.Payable
	}
	a.changes()
	return a
}

// NewApplication makes an application of given items, and line 7. Pure.
func NewApplication(lines []ApplicationLine, before journal.Cents) Application {
	a := Application{Lines: lines, Before: before}
	for _, l := range lines {
		if !l.Change {
			a.Original += l.Scheduled
		}
		a.Sum += l.Scheduled
		a.Completed += l.Completed()
		a.Retainage += l.Retainage
		a.Balance += l.Balance() + l.Retainage
	}
	a.Earned = a.Completed - a.Retainage
	a.Due = a.Earned - a.Before
	a.Payable = a.Due
	a.changes()
	return a
}

func (a *Application) changes() {
	for _, l := range a.Lines {
		if l.Change {
			a.Additions += max(l.Scheduled, 0)
			a.Deductions += min(l.Scheduled, 0)
		}
	}
}

// Check tests the identities of the sheet and that its items add up to it. It
// returns nil, or one [journal.Internal] error with a sentence for each that does
// not hold.
//
// Source: the lines are those of the University of California's application for
// payment (Facilities Manual, LF:AP, 2006: 3 = 1 + 2, 6 = 4 - 5, 8 = 6 - 7, 9 is
// the balance to finish with the retention), of the Idaho Division of Public Works'
// request for payment and of form RD 1924-18 of the US Department of Agriculture.
func (a Application) Check() error {
	var wrong []string
	equal := func(left, right journal.Cents, sentence string) {
		if left != right {
			wrong = append(wrong, sentence+": "+left.String()+" is not "+right.String()+".")
		}
	}
	var scheduled, completed, retainage journal.Cents
	for _, l := range a.Lines {
		scheduled += l.Scheduled
		completed += l.Completed()
		retainage += l.Retainage
	}
	equal(a.Sum, a.Original+a.NetChange(), "Line 3 is line 1 and line 2")
	equal(a.Earned, a.Completed-a.Retainage, "Line 6 is line 4 less line 5")
	equal(a.Due, a.Earned-a.Before, "Line 8 is line 6 less line 7")
	equal(a.Balance, a.Sum-a.Earned, "Line 9 is line 3 less line 6")
	equal(a.Sum, scheduled, "The scheduled values make up line 3")
	equal(a.Completed, completed, "The items' completed amounts make up line 4")
	equal(a.Retainage, retainage, "The items' retainage makes up line 5")
	equal(a.Payable, a.Due+a.Tax-a.DepositCredit, "The documents of the period ask for line 8 and the tax, less what the deposit covers")
	if len(wrong) == 0 {
		return nil
	}
	return journal.Errorf(journal.Internal, "%s", strings.Join(wrong, " "))
}

func applicationLines(before, now Account) []ApplicationLine {
	previous, completed := completedOf(before), completedOf(now)
	var lines, changes []ApplicationLine
	for _, i := range itemsOf(now) {
		if i.change {
			changes = append(changes, i.line(previous, completed))
		} else {
			lines = append(lines, i.line(previous, completed))
		}
	}
	for _, i := range itemsOf(before) { // a ceiling is needed again: the stage was reopened
		if _, still := completed[i.ref]; !still {
			i.scheduled = 0
			changes = append(changes, i.line(previous, completed))
		}
	}
	lines = append(lines, changes...)
	if len(lines) == 0 {
		return nil
	}
	weights, any := make([]int64, len(lines)), false
	for i, l := range lines {
		weights[i] = int64(max(l.Completed(), 0))
		any = any || weights[i] > 0
	}
	if !any {
		weights[0] = 1 // held on a document of changes that cancel each other out
	}
	shares, err := Apportion(StatementOf(now).HeldBack, weights)
	if err != nil {
		panic(err) // some weight is above zero, and all together are what is billed
	}
	for i := range lines {
		lines[i].Retainage = shares[i]
	}
	return lines
}

// item is something agreed.
type item struct {
	ref, stageID, text string
	change             bool
	scheduled          journal.Cents
}

func (i item) line(previous, completed map[string]journal.Cents) ApplicationLine {
	return ApplicationLine{
		Ref: i.ref, StageID: i.stageID, Description: i.text, Change: i.change, Scheduled: i.scheduled,
		Previous: previous[i.ref], ThisPeriod: completed[i.ref] - previous[i.ref],
	}
}

// itemsOf lists all that is agreed, in its order, and then what was not needed of
// ceilings.
func itemsOf(a Account) []item {
	var items []item
	for _, c := range a.Agreed {
		items = append(items, item{c.Ref, c.StageID, c.Text, c.Source != Agreement, c.Split.Total()})
	}
	meters := tallyOf(a).meters
	for _, m := range a.Metered {
		if unused := meters[m.StageID].unused(); unused != 0 {
			items = append(items, item{"unused:" + m.StageID, m.StageID, "Ceiling not needed", true, -unused})
		}
	}
	return items
}

// completedOf says what is billed of each item.
func completedOf(a Account) map[string]journal.Cents {
	billed := make(map[string]journal.Cents, len(a.Agreed))
	for _, d := range a.Documents {
		for _, c := range d.Charges {
			billed[c.Ref] += c.Split.Total()
		}
	}
	items, meters := itemsOf(a), tallyOf(a).meters
	completed := make(map[string]journal.Cents, len(items))
	for _, i := range items {
		if meters[i.stageID] == nil {
			completed[i.ref] = billed[i.ref]
		}
	}
	for _, m := range a.Metered {
		fill(completed, items, m.StageID, meters[m.StageID].billed.Total())
	}
	return completed
}

// fill divides what is billed on a metered stage over its items: all of each once
// all is billed, otherwise as much as there is for those above zero, in their order.
// What is beyond them, as after a ceiling was lowered, is on the first.
func fill(completed map[string]journal.Cents, items []item, stageID string, billed journal.Cents) {
	var own []item
	var all journal.Cents
	for _, i := range items {
		if i.stageID == stageID {
			own = append(own, i)
			all += i.scheduled
		}
	}
	left := billed
	for _, i := range own {
		part := i.scheduled
		if billed != all {
			part = max(min(left, i.scheduled), 0)
		}
		completed[i.ref] = part
		left -= part
	}
	if len(own) > 0 {
		completed[own[0].ref] += left
	}
}
