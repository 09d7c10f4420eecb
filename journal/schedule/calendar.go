package schedule

import (
	"time"

	"farbay/journal"
)

// Calendar says on which days the shop works. The zero value is Monday to
// Friday without the observed federal holidays.
type Calendar struct {
	Closures  []journal.Date // days the shop is closed besides
	ExtraDays []journal.Date // days it works although weekend or holiday
}

// The range of [journal.ParseDate]; no working day is looked for outside it.
const firstYear, lastYear = 1900, 2199

// Validate returns nil, or a [journal.Invalid] error naming, beside the field
// "closures" or "extra_days", a day that does not exist or stands in both.
func (c Calendar) Validate() error {
	p := journal.Problems{}
	for _, list := range []struct {
		field string
		days  []journal.Date
	}{{"closures", c.Closures}, {"extra_days", c.ExtraDays}} {
		for _, d := range list.days {
			if parsed, err := journal.ParseDate(string(d)); err != nil || parsed != d || d.IsZero() {
				p.Add(list.field, "\"%s\" is not a day that exists; please type it as 2026-04-14.", d)
			}
		}
	}
	closed := set(c.Closures)
	for _, d := range c.ExtraDays {
		if closed[d] {
			p.Add("extra_days", "%s is a closure too; please keep it in one of the two lists.", d)
		}
	}
	return p.Err()
}

// IsWorkingDay reports whether the shop works on d; false for no date. A
// closure counts before an extra day, an extra day before weekend and holiday.
func (c Calendar) IsWorkingDay(d journal.Date) bool { return c.view().works(d) }

// AddWorkingDays returns the n-th working day after d, or before d when n is
// negative; d itself need not be one and does not count. With n = 0 it returns d
// as it is. It returns the zero Date for no date, and when the answer lies
// outside the years 1900 to 2199.
func (c Calendar) AddWorkingDays(d journal.Date, n int) journal.Date {
	v, step := c.view(), 1
	if n < 0 {
		step = -1
	}
	for ; n != 0 && inRange(d); n -= step {
		for d = d.AddDays(step); inRange(d) && !v.works(d); {
			d = d.AddDays(step)
		}
	}
	if !inRange(d) {
		return ""
	}
	return d
}

// WorkingDaysBetween returns the working days after from, up to and including
// to; when to is earlier, minus the working days before from, down to and
// including to. So AddWorkingDays(from, WorkingDaysBetween(from, to)) is to
// whenever to is a working day other than from. It is 0 when either is no date.
func (c Calendar) WorkingDaysBetween(from, to journal.Date) int {
	v, n, step := c.view(), 0, 1
	if to < from {
		step = -1
	}
	for d := from; d != to && inRange(d) && inRange(to); {
		d = d.AddDays(step)
		if v.works(d) {
			n += step
		}
	}
	return n
}

func inRange(d journal.Date) bool {
	year := d.Time().Year()
	return !d.IsZero() && firstYear <= year && year <= lastYear
}

// view is a calendar made ready for many questions: holidays by year as needed.
type view struct {
	closed, extra map[journal.Date]bool
	holidays      map[int]map[journal.Date]bool
}

func (c Calendar) view() view {
	return view{closed: set(c.Closures), extra: set(c.ExtraDays), holidays: map[int]map[journal.Date]bool{}}
}

func (v view) works(d journal.Date) bool {
	switch {
	case d.IsZero(), v.closed[d]:
		return false
	case v.extra[d]:
		return true
	}
	at := d.Time()
	if at.Weekday() == time.Saturday || at.Weekday() == time.Sunday {
		return false
	}
	year, known := v.holidays[at.Year()]
	if !known {
		year = map[journal.Date]bool{}
		for _, h := range Holidays(at.Year()) {
			year[h.Observed] = true
		}
		v.holidays[at.Year()] = year
	}
	return !year[d]
}

func set(days []journal.Date) map[journal.Date]bool {
	m := make(map[journal.Date]bool, len(days))
	for _, d := range days {
		m[d] = true
	}
	return m
}
