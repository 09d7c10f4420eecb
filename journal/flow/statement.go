package flow

import (
	"context"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
)

// StatementOn is a statement of a build as of a day, over a period. It counts what
// was recorded until the end of that day at the shop, so that it is the same to the
// cent whenever it is made.
type StatementOn struct {
	Build  journal.Build
	Shop   journal.Shop
	Owners []string
	On     journal.Date
	Since  journal.Date // first day of the period; "" from the beginning
	Until  time.Time    // the end of the day On at the shop
	Over   bool         // that day has ended, so nothing is added any more
	// Entry is the proof log's entry that the statement goes up to: the last one of
	// the build; the zero one before its first.
	Entry    journal.Event
	Books    billing.Books
	Period   billing.Period
	Stages   []journal.Stage
	Invoices []Invoice // issued by then
	Payments []journal.Payment
}

// dayEnd returns the last instant of a day in a zone that the record can hold:
// times are kept in whole milliseconds.
func dayEnd(d journal.Date, zone *time.Location) time.Time {
	day := d.Time()
	return time.Date(day.Year(), day.Month(), day.Day()+1, 0, 0, 0, 0, zone).Add(-time.Millisecond).UTC()
}

// checkPeriod records what is wrong with the days of a statement, beside "on" and
// "since".
func checkPeriod(on, since, today journal.Date) error {
	bad := journal.Problems{}
	journal.CheckDay(bad, "on", on)
	journal.CheckDay(bad, "since", since)
	switch {
	case on.IsZero():
		bad.Add("on", "Please give the day that the statement is to be of.")
	case on > today:
		bad.Add("on", "That day is still to come; please give today or an earlier day.")
	case since > on:
		bad.Add("since", "The period begins after the day that the statement is of; please give that day or an earlier one.")
	}
	return bad.Err()
}

// StatementAt makes the statement of a build as of a day, for whoever may read the
// build; since is the first day of the period, or "" for one from the beginning.
//
// It returns [journal.Invalid] with sentences for on and since.
func (s *Steps) StatementAt(ctx context.Context, a Actor, build journal.BuildID, on, since journal.Date) (v StatementOn, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Build, _, err = readable(r, a, build); err != nil {
			return err
		}
		today := s.today(r)
		if err := checkPeriod(on, since, today); err != nil {
			return err
		}
		if v.Shop, err = r.Shop(); err != nil {
			return err
		}
		zone := v.Shop.Location()
		v.On, v.Since, v.Until, v.Over = on, since, dayEnd(on, zone), on < today
		if v.Owners, err = ownerNames(r, build); err != nil {
			return err
		}
		if v.Stages, err = r.Stages(build); err != nil {
			return err
		}
		return s.booksUntil(r, zone, &v)
	})
	if err != nil {
		return StatementOn{}, err
	}
	v.Period = billing.PeriodOf(v.Books)
	return v, nil
}

// booksUntil gathers what a statement is summed from.
func (s *Steps) booksUntil(r Reads, zone *time.Location, v *StatementOn) (err error) {
	if v.Books.Now, err = s.accountUntil(r, v.Build, v.Until); err != nil {
		return err
	}
	if !v.Since.IsZero() {
		if v.Books.Before, err = s.accountUntil(r, v.Build, dayEnd(v.Since.AddDays(-1), zone)); err != nil {
			return err
		}
	}
	invoices, err := r.Invoices(v.Build.ID)
	if err != nil {
		return err
	}
	for _, inv := range invoices {
		if !inv.IssuedAt.After(v.Until) {
			v.Invoices = append(v.Invoices, inv)
		}
	}
	payments, err := r.Payments(v.Build.ID)
	if err != nil {
		return err
	}
	for _, p := range payments {
		if p.RecordedAt.After(v.Until) {
			continue
		}
		v.Payments = append(v.Payments, p)
		var one billing.Account
		one.Take(p)
		switch deposit := depositRecord(p); {
		case one.DepositReceived != 0:
			v.Books.Deposits = append(v.Books.Deposits, deposit)
		case one.DepositRefunded != 0:
			v.Books.Refunds = append(v.Books.Refunds, deposit)
		}
	}
	v.Entry, _, err = absent(r.LastEvent(v.Build.ID, v.Until))
	return err
}

func depositRecord(p journal.Payment) billing.Payment {
	return billing.Payment{ID: string(p.ID), Amount: p.Amount, On: p.On, Reverses: string(p.ReversesID)}
}

// StageName names a stage of the statement; "" and one that is not known have a
// name too.
func (v StatementOn) StageName(id string) string {
	for _, st := range v.Stages {
		if string(st.ID) == id {
			return st.Name
		}
	}
	return "Not borne by a stage"
}

// Application makes the application for payment for the period.
func (v StatementOn) Application() billing.Application {
	return billing.ApplicationOf(v.Books.Before, v.Books.Now)
}
