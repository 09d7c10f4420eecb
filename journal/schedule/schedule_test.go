package schedule

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"farbay/journal"
	"pgregory.net/rapid"
)

// observed are the observed federal holidays by 5 U.S.C. 6103(a) and (b) and
// Executive Order 11582 section 3(a), worked by us and agreeing with printed
// calendars: 2025 (fsbankmctn.com), 2026 (poplarcsd.org, newmarketlibrary.org),
// 2027 (public code lists). 2027 has twelve: New Year 2028 is a Saturday.
var observed = map[int][]string{
	2025: {"Wed 01-01", "Mon 01-20", "Mon 02-17", "Mon 05-26", "Thu 06-19", "Fri 07-04", "Mon 09-01", "Mon 10-13", "Tue 11-11", "Thu 11-27", "Thu 12-25"},
	2026: {"Thu 01-01", "Mon 01-19", "Mon 02-16", "Mon 05-25", "Fri 06-19", "Fri 07-03", "Mon 09-07", "Mon 10-12", "Wed 11-11", "Thu 11-26", "Fri 12-25"},
	2027: {"Fri 01-01", "Mon 01-18", "Mon 02-15", "Mon 05-31", "Fri 06-18", "Mon 07-05", "Mon 09-06", "Mon 10-11", "Thu 11-11", "Thu 11-25", "Fri 12-24", "Fri 12-31"},
}

func TestHolidays(t *testing.T) {
	for year, want := range observed {
		var got []string
		for _, h := range Holidays(year) {
			got = append(got, h.Observed.Time().Format("Mon 01-02"))
		}
		if !slices.Equal(got, want) {
			t.Errorf("%d: %v\nwant %v", year, got, want)
		}
	}
	// New Year 2028 is observed in 2027, so 2028 itself has ten.
	if got := Holidays(2028); len(got) != 10 || got[0].Name != "Birthday of Martin Luther King, Jr." {
		t.Errorf("2028: %+v", got)
	}
	moved := map[string]journal.Date{}
	for _, h := range Holidays(2027) {
		if h.On != h.Observed {
			moved[h.Name+" "+string(h.On)] = h.Observed
		}
	}
	want := map[string]journal.Date{
		"Juneteenth National Independence Day 2027-06-19": "2027-06-18", "Independence Day 2027-07-04": "2027-07-05",
		"Christmas Day 2027-12-25": "2027-12-24", "New Year's Day 2028-01-01": "2027-12-31",
	}
	if fmt.Sprint(moved) != fmt.Sprint(want) {
		t.Errorf("moved in 2027: %v\nwant %v", moved, want)
	}
}

// In every year each of the eleven holidays of the law is observed once, on a
// weekday at most a day away, and all observed days differ.
func TestHolidays_EveryYear(t *testing.T) {
	on := map[journal.Date]string{}
	days := map[journal.Date]bool{}
	for year := firstYear; year <= lastYear; year++ {
		for _, h := range Holidays(year) {
			if other, twice := on[h.On]; twice {
				t.Errorf("%s is listed twice, as %s and %s", h.On, other, h.Name)
			}
			on[h.On] = h.Name
			days[h.Observed] = true
			at := h.Observed.Time()
			if away := h.On.DaysUntil(h.Observed); at.Year() != year || at.Weekday() == time.Saturday || at.Weekday() == time.Sunday || away < -1 || away > 1 {
				t.Errorf("%d: %+v", year, h)
			}
		}
	}
	// 300 years of eleven. New Year 1900 is a Monday and New Year 2200 a
	// Wednesday (checked with cal(1)), so none crosses the ends of the range.
	if len(on) != 300*11 || len(days) != 300*11 {
		t.Errorf("%d holidays on %d days; want 3300 each", len(on), len(days))
	}
}

// Weekdays less observed holidays: 250, 250 and 249 (worked by us from the
// table above).
func TestWorkingDaysBetween_WholeYears(t *testing.T) {
	for _, tc := range []struct {
		from, to journal.Date
		want     int
	}{{"2024-12-31", "2025-12-31", 250}, {"2025-12-31", "2026-12-31", 250}, {"2026-12-31", "2027-12-31", 249}} {
		if got := (Calendar{}).WorkingDaysBetween(tc.from, tc.to); got != tc.want {
			t.Errorf("%s to %s: %d; want %d", tc.from, tc.to, got, tc.want)
		}
	}
}

// Worked by us from the table above.
func TestAddWorkingDays(t *testing.T) {
	for _, tc := range []struct {
		from journal.Date
		n    int
		want journal.Date
	}{
		{"2026-07-02", 1, "2026-07-06"},
		{"2026-06-18", 10, "2026-07-06"},
		{"2027-06-17", 1, "2027-06-21"},
		{"2027-12-23", 1, "2027-12-27"},
		{"2027-12-30", 1, "2028-01-03"},
		{"2025-11-26", 1, "2025-11-28"},
		// The same backwards.
		{"2026-07-06", -1, "2026-07-02"},
		{"2026-07-06", -10, "2026-06-18"},
		{"2028-01-03", -1, "2027-12-30"},
		// From a day off: it does not count itself.
		{"2026-07-04", 1, "2026-07-06"},
		{"2026-07-04", -1, "2026-07-02"},
		{"2026-07-04", 0, "2026-07-04"},
		{"2026-07-02", 0, "2026-07-02"},
		// No date, and nothing outside the range of dates.
		{"", 5, ""},
		{"2199-12-31", 1, ""},
		{"1900-01-01", -1, ""},
		{"2026-01-01", 1 << 40, ""},
		{"2026-01-01", -1 << 40, ""},
	} {
		if got := (Calendar{}).AddWorkingDays(tc.from, tc.n); got != tc.want {
			t.Errorf("%s %+d: %q; want %q", tc.from, tc.n, got, tc.want)
		}
	}
}

// The shop's own closures and extra days, around the Independence Day of 2026
// (Saturday, observed on Friday 3 July).
func TestCalendar_OwnDays(t *testing.T) {
	c := Calendar{
		Closures:  []journal.Date{"2026-07-06", "2026-07-07"},
		ExtraDays: []journal.Date{"2026-07-03", "2026-07-11"}, // the observed holiday; a Saturday
	}
	for d, want := range map[journal.Date]bool{
		"2026-07-02": true, "2026-07-03": true, "2026-07-04": false, "2026-07-05": false, "2026-07-06": false,
		"2026-07-07": false, "2026-07-08": true, "2026-07-11": true, "2026-07-12": false, "": false,
	} {
		if got := c.IsWorkingDay(d); got != want {
			t.Errorf("%q is a working day: %v; want %v", d, got, want)
		}
	}
	if got := c.AddWorkingDays("2026-07-02", 2); got != "2026-07-08" {
		t.Errorf("two working days after 2 July: %s", got)
	}
	if got := c.WorkingDaysBetween("2026-07-02", "2026-07-12"); got != 5 { // 3, 8, 9, 10, 11
		t.Errorf("working days from 2 to 12 July: %d", got)
	}
	if got := c.WorkingDaysBetween("2026-07-12", "2026-07-02"); got != -6 { // 11, 10, 9, 8, 3, 2
		t.Errorf("back from 12 to 2 July: %d", got)
	}
	for _, pair := range [][2]journal.Date{{"", "2026-07-02"}, {"2026-07-02", ""}, {"2026-07-02", "2026-07-02"}} {
		if got := c.WorkingDaysBetween(pair[0], pair[1]); got != 0 {
			t.Errorf("%q to %q: %d; want 0", pair[0], pair[1], got)
		}
	}
	both := Calendar{Closures: []journal.Date{"2026-07-11"}, ExtraDays: []journal.Date{"2026-07-11"}}
	if both.IsWorkingDay("2026-07-11") {
		t.Error("a closure must count before an extra day")
	}
}

func TestCalendar_Validate(t *testing.T) {
	good := Calendar{Closures: []journal.Date{"2026-12-24"}, ExtraDays: []journal.Date{"2026-12-26"}}
	if err := good.Validate(); err != nil {
		t.Errorf("%v", err)
	}
	for name, tc := range map[string]struct {
		c     Calendar
		field string
	}{
		"30 February":            {Calendar{Closures: []journal.Date{"2026-02-30"}}, "closures"},
		"no date":                {Calendar{Closures: []journal.Date{""}}, "closures"},
		"year 2300":              {Calendar{ExtraDays: []journal.Date{"2300-01-01"}}, "extra_days"},
		"blanks":                 {Calendar{ExtraDays: []journal.Date{" 2026-01-02"}}, "extra_days"},
		"both closed and worked": {Calendar{Closures: []journal.Date{"2026-12-24"}, ExtraDays: []journal.Date{"2026-12-24"}}, "extra_days"},
	} {
		e, ok := tc.c.Validate().(*journal.Error)
		if !ok || e.Code != journal.Invalid || len(e.Fields) != 1 || e.Fields[tc.field] == "" {
			t.Errorf("%s: %v; want a sentence for %s", name, e, tc.field)
		}
	}
}

// Counting and adding undo each other, and agree with looking at every day.
func TestCalendar_Properties(t *testing.T) {
	day := rapid.Custom(func(t *rapid.T) journal.Date {
		return journal.Date("2026-06-01").AddDays(rapid.IntRange(0, 900).Draw(t, "day"))
	})
	rapid.Check(t, func(t *rapid.T) {
		c := Calendar{
			Closures:  rapid.SliceOfN(day, 0, 20).Draw(t, "closures"),
			ExtraDays: rapid.SliceOfN(day, 0, 20).Draw(t, "extra days"),
		}
		from, to := day.Draw(t, "from"), day.Draw(t, "to")
		n := 0
		for d, step := from, 1-2*btoi(to < from); d != to; {
			d = d.AddDays(step)
			n += step * btoi(c.IsWorkingDay(d))
		}
		if got := c.WorkingDaysBetween(from, to); got != n {
			t.Fatalf("%s to %s: %d; day by day %d", from, to, got, n)
		}
		if back := c.AddWorkingDays(from, n); c.IsWorkingDay(to) && from != to && back != to {
			t.Fatalf("%s %+d working days is %s; want %s", from, n, back, to)
		}
		k := rapid.IntRange(-150, 150).Draw(t, "k")
		end := c.AddWorkingDays(from, k)
		if got := c.WorkingDaysBetween(from, end); got != k || (k != 0 && !c.IsWorkingDay(end)) {
			t.Fatalf("%s %+d is %s, and %d back", from, k, end, got)
		}
	})
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}
