package billing

import "farbay/journal"

// Books are what a statement over a period is made from: the account as it was
// recorded before the period, and as it was at the end of it. Everything in Before
// is in Now too.
type Books struct {
	Before, Now Account
	// Deposits and Refunds are the records that make up Now.DepositReceived and
	// Now.DepositRefunded; a refund has the amount that went out, below zero.
	Deposits, Refunds []Payment
}

// Period is a statement over a period: where the money stood at the end of it, and
// how much of what is billed was billed in it.
type Period struct {
	Before Statement // as it stood before the period
	Now    Statement // at the end of the period
	Stages []PeriodRow
}

// PeriodRow is the part of a statement over a period that one stage bears, before
// tax.
type PeriodRow struct {
	StageRow               // at the end of the period
	Before   journal.Cents // of Billed, before the period
}

// InPeriod returns what was billed in the period, credit memos taken off.
func (r PeriodRow) InPeriod() journal.Cents { return r.Billed - r.Before }

// Share returns which share of what is agreed is billed: billed divided by agreed
// and changes, less what of a ceiling was not needed. It is cut off to whole basis
// points, so that 100 % is said only when all is billed. Where nothing is agreed, or
// less than nothing, it is 0.
func (r PeriodRow) Share() journal.BasisPoints { return shareOf(r.Billed, r.Agreed+r.Changes-r.Unused) }

func shareOf(part, all journal.Cents) journal.BasisPoints {
	if all <= 0 {
		return 0
	}
	return journal.BasisPoints(int64(part) * int64(whole) / int64(all))
}

// PeriodOf sums up a period. Pure.
func PeriodOf(b Books) Period {
	p := Period{Before: StatementOf(b.Before), Now: StatementOf(b.Now)}
	before := make(map[string]journal.Cents, len(p.Before.Stages))
	for _, r := range p.Before.Stages {
		before[r.StageID] = r.Billed
	}
	for _, r := range p.Now.Stages {
		p.Stages = append(p.Stages, PeriodRow{r, before[r.StageID]})
	}
	return p
}

// Total returns the sum of all rows.
func (p Period) Total() PeriodRow {
	var sum PeriodRow
	for _, r := range p.Stages {
		sum.Agreed += r.Agreed
		sum.Changes += r.Changes
		sum.Unused += r.Unused
		sum.Billed += r.Billed
		sum.ToBill += r.ToBill
		sum.Worked += r.Worked
		sum.Before += r.Before
	}
	return sum
}

// Check tests both statements, and that the rows' amounts billed before add up to
// what was billed before. Errors are those of [Statement.Check].
func (p Period) Check() error {
	if err := p.Before.Check(); err != nil {
		return err
	}
	if err := p.Now.Check(); err != nil {
		return err
	}
	if sum := p.Total().Before; sum != p.Before.Billed {
		return journal.Errorf(journal.Internal, "The stages' amounts billed before make up %s, and %s was billed before.", sum, p.Before.Billed)
	}
	return nil
}
