package schedule

import (
	"sort"
	"time"

	"farbay/journal"
)

// Holiday is one federal holiday: the day the law names and the day observed.
type Holiday struct {
	Name     string
	On       journal.Date
	Observed journal.Date
}

// Holidays returns the United States federal holidays observed in a year, in
// order. Those are eleven, except when New Year falls on a Saturday: it is
// observed on the last Friday of the year before, which then has twelve and the
// year itself ten. The rules are those in force today, whatever the year.
//
// A holiday on a Saturday is observed on the Friday before, one on a Sunday on
// the Monday after. Inauguration Day and closures by executive order are not
// among them.
//
// Source: 5 U.S.C. 6103(a) for the days, 6103(b) for Saturdays, Executive Order
// 11582 section 3(a) for Sundays.
func Holidays(year int) []Holiday {
	var list []Holiday
	for _, h := range append(named(year), newYear(year+1)) {
		if h.Observed.Time().Year() == year {
			list = append(list, h)
		}
	}
	sort.Slice(list, func(i, j int) bool { return list[i].Observed < list[j].Observed })
	return list
}

func named(year int) []Holiday {
	return []Holiday{
		newYear(year),
		nth("Birthday of Martin Luther King, Jr.", year, time.January, time.Monday, 3),
		nth("Washington's Birthday", year, time.February, time.Monday, 3),
		lastMonday("Memorial Day", year, time.May),
		fixed("Juneteenth National Independence Day", year, time.June, 19),
		fixed("Independence Day", year, time.July, 4),
		nth("Labor Day", year, time.September, time.Monday, 1),
		nth("Columbus Day", year, time.October, time.Monday, 2),
		fixed("Veterans Day", year, time.November, 11),
		nth("Thanksgiving Day", year, time.November, time.Thursday, 4),
		fixed("Christmas Day", year, time.December, 25),
	}
}

func newYear(year int) Holiday { return fixed("New Year's Day", year, time.January, 1) }

func fixed(name string, year int, month time.Month, day int) Holiday {
	at := time.Date(year, month, day, 0, 0, 0, 0, time.UTC)
	observed := at
	switch at.Weekday() {
	case time.Saturday:
		observed = at.AddDate(0, 0, -1)
	case time.Sunday:
		observed = at.AddDate(0, 0, 1)
	}
	return Holiday{Name: name, On: journal.DateOf(at, time.UTC), Observed: journal.DateOf(observed, time.UTC)}
}

// nth is the n-th such weekday of the month, never on a weekend.
func nth(name string, year int, month time.Month, day time.Weekday, n int) Holiday {
	first := time.Date(year, month, 1, 0, 0, 0, 0, time.UTC)
	ahead := (int(day) - int(first.Weekday()) + 7) % 7
	on := journal.DateOf(first.AddDate(0, 0, ahead+7*(n-1)), time.UTC)
	return Holiday{Name: name, On: on, Observed: on}
}

func lastMonday(name string, year int, month time.Month) Holiday {
	last := time.Date(year, month+1, 0, 0, 0, 0, 0, time.UTC)
	back := (int(last.Weekday()) - int(time.Monday) + 7) % 7
	on := journal.DateOf(last.AddDate(0, 0, -back), time.UTC)
	return Holiday{Name: name, On: on, Observed: on}
}
