package journal

import (
	"strings"
	"time"
)

// Date is a calendar day without time or zone, as "2026-04-14". The zero value
// "" means no date. Dates compare as strings.
type Date string

// ParseDate reads "2026-04-14". It returns an [Invalid] error for anything
// else, for days that do not exist (30 February), and for years outside 1900 to
// 2199. Surrounding blanks are dropped; "" is returned as the zero Date.
func ParseDate(s string) (Date, error) {
	t := strings.TrimSpace(s)
	if t == "" {
		return "", nil
	}
	at, err := time.Parse("2006-01-02", t)
	if err != nil || at.Year() < 1900 || at.Year() > 2199 {
		return "", Errorf(Invalid, "Please type a day that exists, as year-month-day: 2026-04-14.")
	}
	return Date(t), nil
}

// DateOf returns the calendar day of at in the given zone.
func DateOf(at time.Time, zone *time.Location) Date {
	return Date(at.In(zone).Format("2006-01-02"))
}

// Plausible reports whether d can be a day of a build or a payment: one in the
// years 2000 to 2100. No date is not. What lies outside is a slip of typing that
// no other rule would notice, such as 0026 or 2206 for 2026; the range is our own
// choice.
func (d Date) Plausible() bool { return d >= "2000-01-01" && d <= "2100-12-31" }

// CheckDay records a sentence when there is a date and it is not plausible.
func CheckDay(bad Problems, field string, d Date) {
	if !d.IsZero() && !d.Plausible() {
		bad.Add(field, "%s lies far from today; please check the year. Days from 2000 to 2100 are taken.", d)
	}
}

// IsZero reports whether there is no date.
func (d Date) IsZero() bool { return d == "" }

// Time returns midnight UTC of the day; the zero time for no date.
func (d Date) Time() time.Time {
	at, err := time.Parse("2006-01-02", string(d))
	if err != nil {
		return time.Time{}
	}
	return at
}

// AddDays returns the day n calendar days later (earlier when n is negative).
func (d Date) AddDays(n int) Date {
	if d.IsZero() {
		return d
	}
	return Date(d.Time().AddDate(0, 0, n).Format("2006-01-02"))
}

// DaysUntil returns the calendar days from d to e; negative when e is earlier,
// 0 when either is zero.
func (d Date) DaysUntil(e Date) int {
	if d.IsZero() || e.IsZero() {
		return 0
	}
	// Not Time.Sub: a Duration ends at 292 years.
	return int((e.Time().Unix() - d.Time().Unix()) / (24 * 60 * 60))
}
