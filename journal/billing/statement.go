package billing

import (
	"strings"

	"farbay/journal"
)

// StageRow is the part of a statement that one stage bears, before tax.
type StageRow struct {
	StageID string        // "" for charges no stage bears
	Agreed  journal.Cents // its value in the agreement
	Changes journal.Cents // signed change orders, uses of the allowance, an early stop
	Unused  journal.Cents // of a closed metered stage's ceiling, not needed any more
	Billed  journal.Cents // credit memos taken off
	ToBill  journal.Cents
	Metered bool          // by time and materials
	Worked  journal.Cents // logged to date on a metered stage, above its ceiling too
}

// Statement is where the money of a build stands. Every figure is summed from
// its own records, none from the others, so that [Statement.Check] can fail.
type Statement struct {
	Agreement  journal.Cents // stage values of the build agreement
	Changes    journal.Cents // signed change orders
	Allowances journal.Cents // booked uses of a standing allowance
	Stop       journal.Cents // signed papers that end the build
	Agreed     journal.Cents // all that is agreed, before tax
	Unused     journal.Cents // of it, ceilings of closed metered stages that were not needed
	Billed     journal.Cents // before tax, credit memos taken off
	ToBill     journal.Cents // agreed and not billed yet, before tax

	Tax           journal.Cents // on all documents
	BilledWithTax journal.Cents
	Paid          journal.Cents // reversals and refunds taken off
	Due           journal.Cents // open on all documents, less what is on account; negative: in the owner's favour
	OnAccount     journal.Cents // paid and not used for a document
	HeldBack      journal.Cents
	Covered       journal.Cents // by the deposit

	DepositReceived journal.Cents // reversals taken off
	DepositUnearned journal.Cents // negative: it bounced after it was credited, and is owed again
	DepositRefunded journal.Cents

	Stages []StageRow // in the order in which their charges were agreed
}

// StatementOf sums an account up. Pure.
func StatementOf(a Account) Statement {
	s := Statement{DepositReceived: a.DepositReceived, DepositRefunded: a.DepositRefunded}
	rows := map[string]int{}
	row := func(stageID string) *StageRow {
		i, known := rows[stageID]
		if !known {
			i = len(s.Stages)
			rows[stageID] = i
			s.Stages = append(s.Stages, StageRow{StageID: stageID})
		}
		return &s.Stages[i]
	}
	t := tallyOf(a)
	for _, c := range a.Agreed {
		amount, r := c.Split.Total(), row(c.StageID)
		s.Agreed += amount
		switch c.Source {
		case Agreement:
			s.Agreement += amount
			r.Agreed += amount
		case ChangeOrder:
			s.Changes += amount
			r.Changes += amount
		case Allowance:
			s.Allowances += amount
			r.Changes += amount
		case EarlyStop:
			s.Stop += amount
			r.Changes += amount
		}
		if t.meters[c.StageID] == nil && t.times[c.Ref] <= 0 {
			s.ToBill += amount
			r.ToBill += amount
		}
	}
	for _, meter := range a.Metered {
		m, r := t.meters[meter.StageID], row(meter.StageID)
		r.Metered, r.Worked, r.Unused = true, m.worked.Total(), m.unused()
		r.ToBill = m.ceiling - r.Unused - m.billed.Total()
		s.Unused += r.Unused
		s.ToBill += r.ToBill
	}
	balances, onAccount := settled(a)
	for _, b := range balances {
		d := b.Document
		for _, c := range d.Charges {
			s.Billed += c.Split.Total()
			row(c.StageID).Billed += c.Split.Total()
		}
		s.Tax += d.Tax
		s.HeldBack += d.Holdback
		s.Covered += d.DepositCredit
		s.Due += b.Open
	}
	s.Due -= onAccount
	s.OnAccount = onAccount
	for _, p := range a.Payments {
		s.Paid += p.Amount
	}
	s.BilledWithTax = s.Billed + s.Tax
	s.DepositUnearned = a.DepositReceived - a.DepositRefunded - s.Covered
	return s
}

// Check tests that the statement adds up, as a whole and stage by stage, and
// that nothing held back, covered or refunded is negative. It returns nil, or
// one [journal.Internal] error with a sentence for each sum that does not hold.
func (s Statement) Check() error {
	var wrong []string
	equal := func(left, right journal.Cents, sentence string) {
		if left != right {
			wrong = append(wrong, sentence+": "+left.String()+" is not "+right.String()+".")
		}
	}
	equal(s.Agreed, s.Agreement+s.Changes+s.Allowances+s.Stop,
		"Agreed is the agreement, the signed change orders, the booked uses of an allowance and an early stop")
	equal(s.Billed+s.ToBill+s.Unused, s.Agreed,
		"Billed, still to bill and ceilings not needed make up what is agreed")
	equal(s.BilledWithTax, s.Billed+s.Tax,
		"Billed with tax is billed and tax")
	equal(s.BilledWithTax, s.Paid+s.Due+s.HeldBack+s.Covered,
		"Billed with tax is paid, due, held back or covered by the deposit")
	equal(s.DepositReceived, s.Covered+s.DepositUnearned+s.DepositRefunded,
		"The deposit received is covered, unearned or refunded")
	for _, f := range []struct {
		what   string
		amount journal.Cents
	}{
		{"What is held back", s.HeldBack},
		{"What the deposit covers", s.Covered},
		{"The refunded deposit", s.DepositRefunded},
	} {
		if f.amount < 0 {
			wrong = append(wrong, f.what+" cannot be negative, and is "+f.amount.String()+".")
		}
	}
	var sum StageRow
	for _, r := range s.Stages {
		equal(r.Billed+r.ToBill+r.Unused, r.Agreed+r.Changes,
			"Billed, still to bill and the ceiling not needed make up what is agreed for stage "+r.StageID)
		sum.Unused += r.Unused
		sum.Agreed += r.Agreed
		sum.Changes += r.Changes
		sum.Billed += r.Billed
		sum.ToBill += r.ToBill
	}
	equal(sum.Agreed, s.Agreement, "The stages' values make up the agreement")
	equal(sum.Changes, s.Changes+s.Allowances+s.Stop, "The stages' changes make up all changes")
	equal(sum.Unused, s.Unused, "The stages' ceilings not needed make up all of them")
	equal(sum.Billed, s.Billed, "The stages' billed amounts make up all billed")
	equal(sum.ToBill, s.ToBill, "The stages' amounts to bill make up all to bill")
	if len(wrong) == 0 {
		return nil
	}
	return journal.Errorf(journal.Internal, "%s", strings.Join(wrong, " "))
}
