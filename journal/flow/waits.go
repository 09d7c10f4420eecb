package flow

import (
	"fmt"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// WaitOn says whose move it is.
type WaitOn string

const (
	OnOwner   WaitOn = "owner"
	OnPayment WaitOn = "payment"
	OnUs      WaitOn = "us"
)

// WaitFor says for what.
type WaitFor string

const (
	ForDecision WaitFor = "decision" // owner: a paper is out; Paper
	ForTruck    WaitFor = "truck"    // owner: agreed, and the truck is not here
	ForConfirm  WaitFor = "confirm"  // owner: Paper was agreed by phone and is to be confirmed
	ForWish     WaitFor = "wish"     // owner: what is to become of Belonging

	ForDeposit WaitFor = "deposit" // payment: Amount is still to come
	ForInvoice WaitFor = "invoice" // payment: Amount is open on Invoice

	ForAgreement WaitFor = "agreement"     // us: the build is still being scoped
	ForAnswer    WaitFor = "answer"        // us: Question on Paper
	ForDispute   WaitFor = "dispute"       // us: the owner says that Paper was not agreed by phone
	ForPost      WaitFor = "post"          // us: Paper is to be printed and posted
	ForHandling  WaitFor = "handling"      // us: do with Belonging what the owner said
	ForDraft     WaitFor = "draft"         // us: Paper is not sent yet, or was recalled
	ForAuthority WaitFor = "authorization" // us: Stage comes next and takes the truck apart, and the owner was not asked for leave
	ForEstimate  WaitFor = "re-estimate"   // us: Stage has taken the truck apart, and the estimate was not renewed since
	ForStart     WaitFor = "start"         // us: no stage is under way; Stage comes next
	ForGate      WaitFor = "gate"          // us: Stage nears its end or is past it; Missing
	ForClose     WaitFor = "close"         // us: the gate of Stage has all it needs
	ForBilling   WaitFor = "billing"       // us: signed changes of Amount on closed stages
	ForCeiling   WaitFor = "ceiling"       // us: logged work has used Percent of Stage's ceiling, and no change order is begun
	ForWork      WaitFor = "logged work"   // us: logged work of Stage, Amount, was to be billed
	ForDelivery  WaitFor = "delivery"      // us: every stage is closed
	ForRelease   WaitFor = "release"       // us: delivered or stopped, and Amount is held back
	ForRefund    WaitFor = "refund"        // us: the build is over, all is billed, and Amount is the owner's
)

// Wait is one thing that a build waits on. Fields that do not apply are zero.
type Wait struct {
	On   WaitOn
	For  WaitFor
	Days int // calendar days at the shop that it has waited; 0 since today
	Late int // calendar days past its due day; 0 when not late or never due

	Paper    PaperLine
	Question signoff.Question
	Invoice  Invoice
	Amount   journal.Cents // invoices with tax, changes to bill without; 0 for the floor
	Stage    journal.Stage
	Missing  []string // whole sentences, see [GateReport.Missing]
	Percent  int      // of a ceiling

	Belonging journal.Belonging
}

// gateSoon is the share of its planned days, in per cent, from which on a
// stage's open gate counts as something that waits on the shop.
const gateSoon = 80

// waiting gathers what one build waits on.
type waiting struct {
	steps   *Steps
	r       Reads
	actor   Actor
	build   journal.Build
	stages  []journal.Stage
	lines   []StageLine
	account billing.Account
	zone    *time.Location
	today   journal.Date
}

// all returns what the build waits on: on the owner, on payments, on us. The
// floor is not told of money.
func (w waiting) all() ([]Wait, error) {
	papers, err := w.steps.paperLines(w.r, w.actor, w.build.ID)
	if err != nil {
		return nil, err
	}
	onOwner, answers, err := w.papers(papers)
	if err != nil {
		return nil, err
	}
	found, handle, err := w.belongings()
	if err != nil {
		return nil, err
	}
	onOwner, answers = append(onOwner, found...), append(answers, handle...)
	agreed := w.build.State != journal.Scoping
	if w.build.State == journal.Agreed && w.build.ArrivedOn.IsZero() {
		onOwner = append(onOwner, w.wait(OnOwner, ForTruck, w.build.AgreedOn))
	}
	all := onOwner
	if w.actor.Person.Role == journal.Office && agreed {
		payments, err := w.payments()
		if err != nil {
			return nil, err
		}
		all = append(all, payments...)
	}
	if w.build.State == journal.Scoping && !underWay(papers, signoff.BuildAgreement) {
		all = append(all, w.wait(OnUs, ForAgreement, w.day(w.build.CreatedAt)))
	}
	all = append(all, answers...)
	if w.build.State == journal.Agreed {
		all = append(all, w.work(papers)...)
	}
	if w.actor.Person.Role == journal.Office && agreed {
		metered, err := w.metered(papers)
		if err != nil {
			return nil, err
		}
		all = append(all, metered...)
		all = append(all, w.toBill(papers)...)
	}
	return all, nil
}

// belongings are the finds about which the owner was asked: those without an
// answer, and those whose answer is to be carried out.
func (w waiting) belongings() (onOwner, onUs []Wait, err error) {
	all, err := w.r.Belongings(w.build.ID)
	for _, b := range all {
		last, answered := b.Last()
		switch {
		case !answered:
			wish := w.wait(OnOwner, ForWish, w.day(b.AskedAt))
			wish.Belonging = b
			onOwner = append(onOwner, wish)
		case b.DoneAt.IsZero():
			do := w.wait(OnUs, ForHandling, w.day(last.At))
			do.Belonging = b
			onUs = append(onUs, do)
		}
	}
	return onOwner, onUs, err
}

// underWay reports whether a paper of the kind is being worked on or out.
func underWay(papers []PaperLine, kind signoff.Kind) bool {
	for _, p := range papers {
		if p.Paper.Kind == kind && !p.Paper.Decided() {
			return true
		}
	}
	return false
}

// papers are the papers that wait for the owner, and those that wait for us: to
// be sent, or for an answer without which the owner will not decide.
func (w waiting) papers(papers []PaperLine) (onOwner, onUs []Wait, err error) {
	for i := len(papers) - 1; i >= 0; i-- { // oldest first
		p := papers[i]
		owner, us, err := w.otherwise(p)
		if err != nil {
			return nil, nil, err
		}
		onOwner, onUs = append(onOwner, owner...), append(onUs, us...)
		switch p.Paper.State {
		case signoff.Drafted, signoff.Recalled:
			if w.build.State == journal.Stopped {
				continue // it can be sent no more, or it need not be
			}
			draft := w.wait(OnUs, ForDraft, w.day(p.Paper.CreatedAt))
			draft.Paper = p
			onUs = append(onUs, draft)
		case signoff.Sent:
			if p.Open == 0 {
				sent, err := time.Parse(time.RFC3339, p.Sheet.SentAt)
				if err != nil {
					return nil, nil, fmt.Errorf("flow: sending time of paper %s: %w", p.Paper.ID, err)
				}
				out := w.wait(OnOwner, ForDecision, w.day(sent))
				out.Paper = p
				onOwner = append(onOwner, out)
				continue
			}
			questions, err := w.r.Questions(p.Paper.ID)
			if err != nil {
				return nil, nil, err
			}
			for _, q := range questions {
				if q.AnsweredAt.IsZero() {
					answer := w.wait(OnUs, ForAnswer, w.day(q.AskedAt))
					answer.Paper, answer.Question = p, q
					onUs = append(onUs, answer)
				}
			}
		}
	}
	return onOwner, onUs, nil
}

// otherwise are the papers that were agreed by phone, and those that go out by
// post.
func (w waiting) otherwise(p PaperLine) (onOwner, onUs []Wait, err error) {
	if p.Decision != nil && p.Decision.Manner == signoff.ByPhone {
		c, said, err := absent(w.r.Confirmation(p.Paper.ID))
		if err != nil {
			return nil, nil, err
		}
		switch {
		case !said:
			confirm := w.wait(OnOwner, ForConfirm, w.day(p.Decision.At))
			confirm.Paper = p
			onOwner = append(onOwner, confirm)
		case !c.Confirmed:
			dispute := w.wait(OnUs, ForDispute, w.day(c.At))
			dispute.Paper = p
			onUs = append(onUs, dispute)
		}
	}
	if p.Paper.State != signoff.Sent {
		return onOwner, onUs, nil
	}
	postings, err := w.r.Postings(p.Paper.ID)
	for _, x := range postings {
		if x.Revision == p.Paper.Revision && x.PostedOn.IsZero() {
			post := w.wait(OnUs, ForPost, w.day(x.At))
			post.Paper = p
			onUs = append(onUs, post)
		}
	}
	return onOwner, onUs, err
}

// payments are the open invoices, and what is to come of the deposit.
func (w waiting) payments() ([]Wait, error) {
	var all []Wait
	if left := billing.DepositAsked(w.account); left > 0 && w.build.State == journal.Agreed {
		deposit := w.wait(OnPayment, ForDeposit, w.build.AgreedOn)
		deposit.Amount = left
		all = append(all, deposit)
	}
	open, err := openInvoices(w.r, w.build.ID, w.account, w.today)
	if err != nil {
		return nil, err
	}
	for _, o := range open {
		invoice := w.wait(OnPayment, ForInvoice, w.day(o.Invoice.IssuedAt))
		invoice.Invoice, invoice.Amount, invoice.Late = o.Invoice, o.Open, o.Late
		all = append(all, invoice)
	}
	return all, nil
}

// work are the stages that wait to be begun, to get what their gate asks for,
// or to be closed.
func (w waiting) work(papers []PaperLine) []Wait {
	all := w.reEstimate(papers)
	underWay, closed := 0, 0
	var next *journal.Stage
	var lastClosed time.Time
	for i, line := range w.lines {
		switch line.Stage.State {
		case journal.UnderWay:
			underWay++
			if gate, waits := w.gate(line); waits {
				all = append(all, gate)
			}
		case journal.Closed:
			closed++
			if line.Stage.ClosedAt.After(lastClosed) {
				lastClosed = line.Stage.ClosedAt
			}
		case journal.NotStarted:
			if next == nil {
				next = &w.lines[i].Stage
			}
		}
	}
	since := w.build.AgreedOn
	if !lastClosed.IsZero() {
		since = w.day(lastClosed)
	}
	switch {
	case underWay > 0:
	case closed == len(w.lines):
		all = append(all, w.wait(OnUs, ForDelivery, since))
	case !w.build.ArrivedOn.IsZero():
		start := w.wait(OnUs, ForStart, max(since, w.build.ArrivedOn))
		if next.Teardown {
			switch authority(papers, next.ID) {
			case signoff.Sent:
				return all // it waits on the owner
			case signoff.Signed:
			default:
				start.For = ForAuthority
			}
		}
		start.Stage = *next
		if !start.Stage.PlannedFrom.IsZero() {
			start.Late = max(start.Stage.PlannedFrom.DaysUntil(w.today), 0)
		}
		all = append(all, start)
	}
	return all
}

// authority is where the owner's leave to take the truck apart in a stage stands:
// signed, sent, or "" for neither.
func authority(papers []PaperLine, stage journal.StageID) signoff.State {
	var best signoff.State
	for _, p := range papers {
		if p.Paper.Kind != signoff.Teardown || p.Sheet.Stage.ID != stage {
			continue
		}
		switch p.Paper.State {
		case signoff.Signed:
			return signoff.Signed
		case signoff.Sent:
			best = signoff.Sent
		}
	}
	return best
}

// reEstimate is the estimate to be renewed once the truck is apart. It is
// settled by beginning one, which waits by itself from then on.
func (w waiting) reEstimate(papers []PaperLine) []Wait {
	for _, p := range papers {
		if p.Paper.Kind == signoff.ChangeOrder && (p.Paper.Draft.ReEstimate || p.Sheet.ReEstimate) {
			return nil
		}
	}
	for _, line := range w.lines {
		if line.Stage.Teardown && line.Stage.State == journal.Closed {
			estimate := w.wait(OnUs, ForEstimate, w.day(line.Stage.ClosedAt))
			estimate.Stage = line.Stage
			return []Wait{estimate}
		}
	}
	return nil
}

// gate says whether a stage under way waits on us: its gate has all it needs,
// or it nears its planned end and something is missing.
func (w waiting) gate(line StageLine) (wait Wait, waits bool) {
	st, missing, late := line.Stage, line.Gate.Missing(), 0
	if !st.PlannedTo.IsZero() {
		late = max(st.PlannedTo.DaysUntil(w.today), 0)
	}
	switch {
	case len(missing) == 0:
		ready := st.OpenedAt
		for _, c := range line.Gate.Checks {
			if c.At.After(ready) {
				ready = c.At
			}
		}
		wait = w.wait(OnUs, ForClose, w.day(ready))
	case late > 0:
		wait = w.wait(OnUs, ForGate, st.PlannedTo)
	case line.Done >= gateSoon:
		wait = w.wait(OnUs, ForGate, w.today)
	default:
		return Wait{}, false
	}
	wait.Stage, wait.Missing, wait.Late = st, missing, late
	return wait, true
}

// toBill are signed changes on stages closed before, and a holdback that is to
// be released.
func (w waiting) toBill(papers []PaperLine) []Wait {
	var all []Wait
	refs := map[string]bool{}
	var amount journal.Cents
	since := w.today
	for _, c := range carried(w.account, w.stages) {
		refs[c.Ref] = true
		amount += c.Split.Total()
	}
	for _, p := range papers {
		if p.Decision == nil {
			continue
		}
		for _, split := range p.Sheet.Splits() {
			if refs[PaperRef(p.Paper.ID, split.Stage.ID)] {
				since = min(since, w.day(p.Decision.At))
			}
		}
	}
	if amount != 0 {
		bill := w.wait(OnUs, ForBilling, since)
		bill.Amount = amount
		all = append(all, bill)
	}
	if !w.build.Over() {
		return all
	}
	s, over := billing.StatementOf(w.account), max(w.build.DeliveredOn, w.build.StoppedOn)
	back := max(-s.Due, 0) + max(s.DepositUnearned, 0)
	switch {
	case s.HeldBack > 0:
		release := w.wait(OnUs, ForRelease, over)
		release.Amount = s.HeldBack
		all = append(all, release)
	case amount == 0 && back > 0:
		refund := w.wait(OnUs, ForRefund, over)
		refund.Amount = back
		all = append(all, refund)
	}
	return all
}

func (w waiting) wait(on WaitOn, what WaitFor, since journal.Date) Wait {
	return Wait{On: on, For: what, Days: max(since.DaysUntil(w.today), 0)}
}

func (w waiting) day(at time.Time) journal.Date { return journal.DateOf(at, w.zone) }

// OpenInvoice is an invoice with something left to pay on it.
type OpenInvoice struct {
	Invoice Invoice
	Open    journal.Cents // with tax
	Late    int           // calendar days past its due day; 0 when not late
}

// openInvoices returns what is open to pay, in order of issue.
func openInvoices(r Reads, build journal.BuildID, a billing.Account, today journal.Date) ([]OpenInvoice, error) {
	invoices, err := r.Invoices(build)
	if err != nil {
		return nil, err
	}
	byID := map[string]Invoice{}
	for _, inv := range invoices {
		byID[inv.Document.ID] = inv
	}
	var open []OpenInvoice
	for _, b := range billing.Open(a) {
		if b.Open > 0 {
			open = append(open, OpenInvoice{byID[b.Document.ID], b.Open, max(b.Document.DueOn.DaysUntil(today), 0)})
		}
	}
	return open, nil
}
