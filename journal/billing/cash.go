package billing

import (
	"cmp"
	"slices"
	"strings"

	"farbay/journal"
)

// Closing is a stage that is not closed yet, and the day on which its close is
// expected; "" when none is planned.
type Closing struct {
	StageID string
	On      journal.Date
}

// ComingKind says what money is expected for.
type ComingKind string

const (
	ComingDeposit ComingKind = "deposit"         // asked, or to be asked, and not in
	ComingOpen    ComingKind = "open"            // on an issued document
	ComingBilled  ComingKind = "to be billed"    // on a document that is still to be issued
	ComingRelease ComingKind = "holdback"        // on the release that is still to be issued
	ComingBack    ComingKind = "to be sent back" // what is in the owner's favour in the end
)

// Coming is money that is expected to come in, or with a negative amount to go out.
type Coming struct {
	Kind     ComingKind
	Document Document     // issued, or as it would be issued, without ID and number; zero for others
	StageID  string       // whose close bills it; "" for none
	On       journal.Date // when it is due, or to be asked; "" when no day is planned
	Amount   journal.Cents
	AtMost   bool // ceilings of metered stages are in it as if they were all used
}

// restRef begins the ref of a charge that stands for what is left of a ceiling.
const restRef = "rest:"

// forecast is an account while its future is played through.
type forecast struct {
	a      Account
	today  journal.Date
	open   map[string]bool // stages not closed yet
	favour journal.Cents   // in the owner's favour and not used yet, 0 or more
	most   bool            // a ceiling was taken as used
	coming []Coming
}

// Cash returns what is expected to come in on a build, in the order of its days,
// those without a day last (package comment, "Forecast of cash").
//
// closings are the stages not closed yet; all others count as closed. ready is the
// day on which the build is to be ready; "" when it is not known. What is expected
// adds up: all of it, what was paid, and the deposit received less refunded, make
// up the agreed total with the tax of its documents, ceilings taken as used.
//
// It returns [journal.Invalid] when the terms are not valid. Pure.
func Cash(a Account, closings []Closing, ready, today journal.Date) ([]Coming, error) {
	f := forecast{a: a, today: today, open: map[string]bool{}}
	f.a.Documents, f.a.Work, f.a.Metered = slices.Clone(a.Documents), slices.Clone(a.Work), slices.Clone(a.Metered)
	for _, c := range closings {
		f.open[c.StageID] = true
	}
	f.issued()
	if err := f.deposit(today); err != nil {
		return nil, err
	}
	last := today
	for _, t := range f.turns(closings) {
		if !t.On.IsZero() {
			last = t.On
		}
		var err error
		if t.billsWork {
			err = f.bill(f.a.Unbilled(t.StageID), "", t.On)
		} else {
			err = f.close(t.Closing)
		}
		if err != nil {
			return nil, err
		}
	}
	day := last
	if len(closings) > 0 && slices.ContainsFunc(closings, func(c Closing) bool { return c.On.IsZero() }) {
		day = ""
	}
	// What no close bills: signed changes when every stage is closed already.
	if err := f.bill(f.a.Unbilled(), "", day); err != nil {
		return nil, err
	}
	if !day.IsZero() && ready > day {
		day = ready
	}
	if err := f.release(day); err != nil {
		return nil, err
	}
	f.back(day)
	slices.SortStableFunc(f.coming, func(x, y Coming) int { return byDue(x.On, y.On) })
	return f.coming, nil
}

// turn is a close, or the next day of billing of a metered stage before it.
type turn struct {
	Closing
	billsWork bool
}

// turns returns what will be billed when, by day, nothing in the past, what has no
// day last.
func (f *forecast) turns(closings []Closing) []turn {
	var turns []turn
	for _, c := range closings {
		if !c.On.IsZero() {
			c.On = max(c.On, f.today)
		}
		day := nextBillDay(f.a.Terms.BillDays, f.today)
		metered := slices.ContainsFunc(f.a.Metered, func(m Meter) bool { return m.StageID == c.StageID })
		if metered && !day.IsZero() && (c.On.IsZero() || day < c.On) {
			turns = append(turns, turn{Closing{c.StageID, day}, true})
		}
		turns = append(turns, turn{c, false})
	}
	slices.SortStableFunc(turns, func(x, y turn) int { return byDue(x.On, y.On) })
	return turns
}

// byDue compares days; none comes last.
func byDue(x, y journal.Date) int {
	if x.IsZero() != y.IsZero() {
		return cmp.Compare(len(y), len(x))
	}
	return cmp.Compare(x, y)
}

// issued is what is open on the documents there are.
func (f *forecast) issued() {
	balances, left := settled(f.a)
	for _, b := range balances {
		if b.Open > 0 {
			f.coming = append(f.coming, Coming{Kind: ComingOpen, Document: b.Document, StageID: b.Document.ClosesStageID, On: b.Document.DueOn, Amount: b.Open})
		} else {
			f.favour -= b.Open
		}
	}
	if left > 0 {
		f.favour += left
	} else if left < 0 { // more was sent back than there was
		f.coming = append(f.coming, Coming{Kind: ComingOpen, On: f.today, Amount: -left})
	}
}

// deposit is what is asked of the deposit on a day, and takes it as received.
func (f *forecast) deposit(on journal.Date) error {
	if err := f.a.Terms.Validate(); err != nil {
		return err
	}
	if asked := DepositAsked(f.a); asked > 0 {
		f.a.DepositReceived += asked
		f.coming = append(f.coming, Coming{Kind: ComingDeposit, On: on, Amount: asked})
	}
	return nil
}

// close plays the close of a stage through. What is signed on stages closed before
// is billed with it.
func (f *forecast) close(c Closing) error {
	for i, m := range f.a.Metered {
		if m.StageID != c.StageID {
			continue
		}
		if rest := f.a.rest(c.StageID); rest != (journal.Split{}) {
			f.most = true
			f.a.Work = append(f.a.Work, Charge{Ref: restRef + c.StageID, Source: LoggedWork, StageID: c.StageID, Split: rest})
		}
		f.a.Metered[i].Closed = true
	}
	delete(f.open, c.StageID)
	var refs []string
	for _, charge := range billable(f.a, tallyOf(f.a)) {
		if charge.StageID != "" && !f.open[charge.StageID] {
			refs = append(refs, charge.Ref)
		}
	}
	return f.bill(refs, c.StageID, c.On)
}

// nextBillDay returns the first day from today on that is one of the days of the
// month; "" without any.
func nextBillDay(days []int, today journal.Date) journal.Date {
	if len(days) == 0 {
		return ""
	}
	for n := range 31 {
		if day := today.AddDays(n); slices.Contains(days, day.Time().Day()) {
			return day
		}
	}
	return ""
}

// rest is what is left of a metered stage's ceiling above the work logged: divided
// over the line kinds as the ceiling is, less what is logged of each.
func (a Account) rest(stageID string) journal.Split {
	m := tallyOf(a).meters[stageID]
	left := m.ceiling - m.worked.Total()
	if left <= 0 {
		return journal.Split{}
	}
	var agreed journal.Split
	for _, c := range a.Agreed {
		if c.StageID == stageID {
			agreed = agreed.Add(c.Split)
		}
	}
	weights := make([]int64, len(journal.LineKinds))
	sum := int64(0)
	for i, k := range journal.LineKinds {
		weights[i] = max(int64(agreed.Of(k)-m.worked.Of(k)), 0)
		sum += weights[i]
	}
	if sum == 0 {
		weights[len(weights)-1] = 1
	}
	parts, err := Apportion(left, weights)
	if err != nil {
		panic(err) // the weights are not negative and not all zero
	}
	var rest journal.Split
	for i, k := range journal.LineKinds {
		rest = rest.Plus(k, parts[i])
	}
	return rest
}

// bill issues the document for refs.
func (f *forecast) bill(refs []string, stageID string, on journal.Date) error {
	d, ok, err := Next(f.a, refs, cmp.Or(on, f.today), stageID)
	if err != nil || !ok {
		return err
	}
	return f.issue(ComingBilled, d, stageID, on)
}

func (f *forecast) release(on journal.Date) error {
	d, ok, err := Release(f.a, cmp.Or(on, f.today))
	if err != nil || !ok {
		return err
	}
	return f.issue(ComingRelease, d, "", on)
}

// issue takes a document as issued on a day, or on one not planned: what is in the
// owner's favour settles it first, and the rest is due by the terms.
func (f *forecast) issue(kind ComingKind, d Document, stageID string, on journal.Date) error {
	f.a.Documents = append(f.a.Documents, d)
	if on.IsZero() {
		d.IssuedOn, d.DueOn = "", ""
	}
	amount := max(d.Payable, 0)
	used := min(f.favour, amount)
	f.favour += max(-d.Payable, 0) - used
	f.coming = append(f.coming, Coming{Kind: kind, Document: d, StageID: stageID, On: cmp.Or(d.DueOn, d.IssuedOn), Amount: amount - used,
		AtMost: f.most && kind == ComingRelease || slices.ContainsFunc(d.Charges, func(c Charge) bool { return strings.HasPrefix(c.Ref, restRef) })})
	return f.deposit(on)
}

// back is what is in the owner's favour when all is done: credit that nothing used,
// and deposit that was not earned.
func (f *forecast) back(on journal.Date) {
	unearned := f.a.DepositReceived - f.a.DepositRefunded - tallyOf(f.a).covered
	amount := f.favour + unearned
	switch {
	case amount < 0: // a deposit that bounced after it was used
		f.coming = append(f.coming, Coming{Kind: ComingOpen, On: on, Amount: -amount})
	case amount > 0:
		f.coming = append(f.coming, Coming{Kind: ComingBack, On: on, Amount: -amount, AtMost: f.most})
	}
}
