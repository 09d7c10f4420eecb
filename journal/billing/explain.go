package billing

import (
	"fmt"

	"farbay/journal"
)

// Figure names one figure of a statement, as it stands in addresses.
type Figure string

const (
	FigureAgreement       Figure = "agreement"        // the build agreement
	FigureChanges         Figure = "changes"          // the three below together
	FigureChangeOrders    Figure = "change-orders"    // signed change orders
	FigureAllowances      Figure = "allowance-uses"   // booked uses of a standing allowance
	FigureStop            Figure = "early-stops"      // signed papers that end the build
	FigureAgreed          Figure = "agreed"           // the agreement and all changes
	FigureUnused          Figure = "not-needed"       // ceilings of closed metered stages that were not needed
	FigureWorked          Figure = "worked"           // logged on metered stages
	FigureBilledBefore    Figure = "billed-before"    // before the period
	FigureBilledNow       Figure = "billed-now"       // in the period
	FigureBilled          Figure = "billed"           // both
	FigureToBill          Figure = "to-bill"          // agreed, needed and not billed
	FigureTax             Figure = "tax"              // on all documents
	FigureBilledWithTax   Figure = "billed-with-tax"  //
	FigurePaid            Figure = "paid"             // reversals and refunds taken off
	FigureCovered         Figure = "covered"          // by the deposit
	FigureHeldBack        Figure = "held-back"        //
	FigureDue             Figure = "due"              // negative: in the owner's favour
	FigureOnAccount       Figure = "on-account"       // paid and not used for a document
	FigureDepositReceived Figure = "deposit-received" // reversals taken off
	FigureDepositRefunded Figure = "deposit-refunded" // sent back
	FigureDepositLeft     Figure = "deposit-left"     // for documents to come
)

// Part is one record in the sum of a figure. Of Charge, Document and Payment those
// are set that say where the record is to be found.
type Part struct {
	Charge   string // ref of the charge
	Stage    string // ID of the one that bears the charge; "" for none
	Document string // ID
	Payment  string // ID
	Text     string
	On       journal.Date // of documents and payments; "" otherwise
	Amount   journal.Cents
}

// explained is a figure: what it is in the sums, and which records it is made of.
// ofStage is nil for a figure that no stage has.
type explained struct {
	figure  Figure
	of      func(Period) journal.Cents
	ofStage func(PeriodRow) journal.Cents
	parts   func(*explainer)
}

var figures = []explained{
	{FigureAgreement, func(p Period) journal.Cents { return p.Now.Agreement }, func(r PeriodRow) journal.Cents { return r.Agreed },
		func(x *explainer) { x.agreed(1, Agreement) }},
	{FigureChanges, func(p Period) journal.Cents { return p.Now.Changes + p.Now.Allowances + p.Now.Stop },
		func(r PeriodRow) journal.Cents { return r.Changes }, func(x *explainer) { x.agreed(1, ChangeOrder, Allowance, EarlyStop) }},
	{FigureChangeOrders, func(p Period) journal.Cents { return p.Now.Changes }, nil, func(x *explainer) { x.agreed(1, ChangeOrder) }},
	{FigureAllowances, func(p Period) journal.Cents { return p.Now.Allowances }, nil, func(x *explainer) { x.agreed(1, Allowance) }},
	{FigureStop, func(p Period) journal.Cents { return p.Now.Stop }, nil, func(x *explainer) { x.agreed(1, EarlyStop) }},
	{FigureAgreed, func(p Period) journal.Cents { return p.Now.Agreed }, func(r PeriodRow) journal.Cents { return r.Agreed + r.Changes },
		func(x *explainer) { x.agreed(1, Agreement, ChangeOrder, Allowance, EarlyStop) }},
	{FigureUnused, func(p Period) journal.Cents { return p.Now.Unused }, func(r PeriodRow) journal.Cents { return r.Unused },
		func(x *explainer) { x.unused(1) }},
	{FigureWorked, func(p Period) journal.Cents { return p.Total().Worked }, func(r PeriodRow) journal.Cents { return r.Worked },
		func(x *explainer) { x.worked(1, nil) }},
	{FigureBilledBefore, func(p Period) journal.Cents { return p.Before.Billed }, func(r PeriodRow) journal.Cents { return r.Before },
		func(x *explainer) { x.billed(1, x.b.Before.Documents) }},
	{FigureBilledNow, func(p Period) journal.Cents { return p.Now.Billed - p.Before.Billed }, PeriodRow.InPeriod,
		func(x *explainer) { x.billed(1, x.b.Now.Documents[len(x.b.Before.Documents):]) }},
	{FigureBilled, func(p Period) journal.Cents { return p.Now.Billed }, func(r PeriodRow) journal.Cents { return r.Billed },
		func(x *explainer) { x.billed(1, x.b.Now.Documents) }},
	{FigureToBill, func(p Period) journal.Cents { return p.Now.ToBill }, func(r PeriodRow) journal.Cents { return r.ToBill }, (*explainer).toBill},
	{FigureTax, func(p Period) journal.Cents { return p.Now.Tax }, nil, func(x *explainer) { x.documents(1, func(d Document) journal.Cents { return d.Tax }) }},
	{FigureBilledWithTax, func(p Period) journal.Cents { return p.Now.BilledWithTax }, nil, func(x *explainer) { x.documents(1, Document.Total) }},
	{FigurePaid, func(p Period) journal.Cents { return p.Now.Paid }, nil, func(x *explainer) { x.payments(1, "payment", x.b.Now.Payments) }},
	{FigureCovered, func(p Period) journal.Cents { return p.Now.Covered }, nil,
		func(x *explainer) { x.documents(1, func(d Document) journal.Cents { return d.DepositCredit }) }},
	{FigureHeldBack, func(p Period) journal.Cents { return p.Now.HeldBack }, nil,
		func(x *explainer) { x.documents(1, func(d Document) journal.Cents { return d.Holdback }) }},
	{FigureDue, func(p Period) journal.Cents { return p.Now.Due }, nil, func(x *explainer) {
		x.documents(1, func(d Document) journal.Cents { return d.Payable })
		x.payments(-1, "payment", x.b.Now.Payments)
	}},
	{FigureOnAccount, func(p Period) journal.Cents { return p.Now.OnAccount }, nil, (*explainer).onAccount},
	{FigureDepositReceived, func(p Period) journal.Cents { return p.Now.DepositReceived }, nil, func(x *explainer) { x.payments(1, "deposit", x.b.Deposits) }},
	{FigureDepositRefunded, func(p Period) journal.Cents { return p.Now.DepositRefunded }, nil, func(x *explainer) { x.payments(-1, "deposit", x.b.Refunds) }},
	{FigureDepositLeft, func(p Period) journal.Cents { return p.Now.DepositUnearned }, nil, func(x *explainer) {
		x.payments(1, "deposit", x.b.Deposits)
		x.payments(1, "deposit", x.b.Refunds)
		x.documents(-1, func(d Document) journal.Cents { return d.DepositCredit })
	}},
}

// Figures lists all figures of a statement, in its order.
func Figures() []Figure {
	var all []Figure
	for _, f := range figures {
		all = append(all, f.figure)
	}
	return all
}

// Figure returns a figure of the whole build, or of one stage if stage is not
// nil. ok is false where there is no such figure or stage.
func (p Period) Figure(f Figure, stage *string) (amount journal.Cents, ok bool) {
	for _, e := range figures {
		switch {
		case e.figure != f:
		case stage == nil:
			return e.of(p), true
		case e.ofStage != nil:
			for _, r := range p.Stages {
				if r.StageID == *stage {
					return e.ofStage(r), true
				}
			}
		}
	}
	return 0, false
}

// Explain lists the records that a figure is summed from, in the order in which
// they came about; the sum of the parts is the figure, whatever the account. Records
// of zero are left out. What is asked for is as in [Period.Figure]; an unknown one
// has no parts. Pure.
func Explain(b Books, f Figure, stage *string) []Part {
	x := &explainer{b: b, t: tallyOf(b.Now), stage: stage}
	for _, e := range figures {
		if e.figure == f && (stage == nil || e.ofStage != nil) {
			e.parts(x)
		}
	}
	return x.parts
}

type explainer struct {
	b     Books
	t     tally
	stage *string
	parts []Part
}

func (x *explainer) add(p Part) {
	if p.Amount != 0 {
		x.parts = append(x.parts, p)
	}
}

func (x *explainer) about(stageID string) bool { return x.stage == nil || *x.stage == stageID }

func (x *explainer) charge(sign journal.Cents, c Charge) {
	x.add(Part{Charge: c.Ref, Stage: c.StageID, Text: c.Text, Amount: sign * c.Split.Total()})
}

func (x *explainer) agreed(sign journal.Cents, sources ...Source) {
	for _, source := range sources {
		for _, c := range x.b.Now.Agreed {
			if c.Source == source && x.about(c.StageID) {
				x.charge(sign, c)
			}
		}
	}
}

// worked lists the logged work; of one meter alone if it is not nil.
func (x *explainer) worked(sign journal.Cents, of *Meter) {
	for _, c := range x.b.Now.Work {
		if x.t.meters[c.StageID] != nil && x.about(c.StageID) && (of == nil || of.StageID == c.StageID) {
			x.charge(sign, c)
		}
	}
}

// unused lists, of each closed metered stage, its ceiling, the work that used it
// up, and what of that was above it.
func (x *explainer) unused(sign journal.Cents) {
	for _, meter := range x.b.Now.Metered {
		m := x.t.meters[meter.StageID]
		if !x.about(meter.StageID) || m.unused() == 0 {
			continue
		}
		x.ceiling(sign, meter.StageID)
		x.worked(-sign, &meter)
		x.add(Part{Charge: "stage:" + meter.StageID, Text: "Work above the ceiling, not charged", Amount: sign * (m.worked.Total() - m.target())})
	}
}

func (x *explainer) ceiling(sign journal.Cents, stageID string) {
	for _, c := range x.b.Now.Agreed {
		if c.StageID == stageID {
			x.charge(sign, c)
		}
	}
}

// billed lists the lines of documents.
func (x *explainer) billed(sign journal.Cents, documents []Document) {
	for _, d := range documents {
		for _, c := range d.Charges {
			if x.about(c.StageID) {
				x.add(Part{Charge: c.Ref, Document: d.ID, Text: fmt.Sprintf("%s: %s", d.Name(), c.Text), On: d.IssuedOn, Amount: sign * c.Split.Total()})
			}
		}
	}
}

// toBill lists the charges not billed yet, and of each metered stage its ceiling,
// less what is not needed and what is billed.
func (x *explainer) toBill() {
	for _, c := range x.b.Now.Agreed {
		if x.t.meters[c.StageID] == nil && x.t.times[c.Ref] <= 0 && x.about(c.StageID) {
			x.charge(1, c)
		}
	}
	for _, meter := range x.b.Now.Metered {
		if !x.about(meter.StageID) {
			continue
		}
		x.ceiling(1, meter.StageID)
		x.add(Part{Charge: "stage:" + meter.StageID, Text: "Not needed of the ceiling", Amount: -x.t.meters[meter.StageID].unused()})
		one := &explainer{b: x.b, t: x.t, stage: &meter.StageID}
		one.billed(-1, x.b.Now.Documents)
		x.parts = append(x.parts, one.parts...)
	}
}

func (x *explainer) documents(sign journal.Cents, of func(Document) journal.Cents) {
	for _, d := range x.b.Now.Documents {
		x.add(Part{Document: d.ID, Text: d.Name(), On: d.IssuedOn, Amount: sign * of(d)})
	}
}

// payments lists records of money of a kind, "payment" or "deposit".
func (x *explainer) payments(sign journal.Cents, kind string, payments []Payment) {
	names := make(map[string]string, len(x.b.Now.Documents))
	for _, d := range x.b.Now.Documents {
		names[d.ID] = " for " + d.Name()
	}
	for _, p := range payments {
		text := kind + names[p.DocumentID]
		switch {
		case p.Reverses != "":
			text += ", taken back"
		case p.Amount < 0:
			text += ", sent back"
		case kind == "payment" && p.DocumentID == "":
			text += " on account"
		}
		x.add(Part{Payment: p.ID, Document: p.DocumentID, Text: text, On: p.On, Amount: sign * p.Amount})
	}
}

// onAccount lists what was paid on account, and what of it each document used:
// what would be open on it without that money, less what is open with it.
func (x *explainer) onAccount() {
	var without Account
	var own []Payment
	without.Documents = x.b.Now.Documents
	for _, p := range x.b.Now.Payments {
		if p.DocumentID == "" {
			own = append(own, p)
		} else {
			without.Payments = append(without.Payments, p)
		}
	}
	x.payments(1, "payment", own)
	with := Open(x.b.Now)
	for i, b := range Open(without) {
		x.add(Part{Document: b.Document.ID, Text: "Used for " + b.Document.Name(), On: b.Document.IssuedOn, Amount: with[i].Open - b.Open})
	}
}
