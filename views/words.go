package views

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"farbay/journal"
)

// Words says amounts, days and times the shop's way: in its currency, in its
// zone, and with the year only when it is not this year's. Pages have it in
// their [Frame]; pieces of pages carry the same one.
type Words struct {
	Now      time.Time
	Zone     *time.Location // the shop's
	Currency string         // ISO 4217, "USD"
}

// errNoWords is returned by every method when Words was left empty, so that a
// page which forgot it fails loudly and shows no wrong time.
var errNoWords = errors.New("views: Words are not filled: zone or currency is missing")

// symbols of currencies that are written before the amount. Others are written
// by their code.
var symbols = map[string]string{"USD": "$", "CAD": "$", "AUD": "$", "NZD": "$", "EUR": "€", "GBP": "£"}

// minus is U+2212, which is as wide as a plus.
const minus = "\u2212"

// nbsp keeps a number and its sign or unit on one line.
const nbsp = "\u00a0"

// Symbol returns what stands before an amount: "$", or "CHF" and a space.
func (w Words) Symbol() (string, error) {
	if len(w.Currency) != 3 {
		return "", errNoWords
	}
	if s, known := symbols[w.Currency]; known {
		return s, nil
	}
	return w.Currency + nbsp, nil
}

// Money returns "$2,339.00", and "−$20.00" for a credit.
func (w Words) Money(c journal.Cents) (string, error) {
	symbol, err := w.Symbol()
	if err != nil {
		return "", err
	}
	if c < 0 {
		return minus + symbol + strings.TrimPrefix(c.String(), "-"), nil
	}
	return symbol + c.String(), nil
}

// Signed returns a change of an amount: "+ $2,339.00", "− $20.00", "$0.00".
func (w Words) Signed(c journal.Cents) (string, error) {
	symbol, err := w.Symbol()
	switch {
	case err != nil:
		return "", err
	case c > 0:
		return "+" + nbsp + symbol + c.String(), nil
	case c < 0:
		return minus + nbsp + symbol + strings.TrimPrefix(c.String(), "-"), nil
	}
	return symbol + c.String(), nil
}

// MoneyOrNothing is Money, with the word "nothing" for zero.
func (w Words) MoneyOrNothing(c journal.Cents) (string, error) {
	if c == 0 {
		return "nothing", nil
	}
	return w.Money(c)
}

// Priced returns what a stage comes to: "$4,000.00", or for one by time and
// materials "up to $4,000.00, by time and materials"; "nothing" for zero.
func (w Words) Priced(value journal.Cents, metered bool) (string, error) {
	said, err := w.MoneyOrNothing(value)
	if metered {
		said = "up to " + said + ", by time and materials"
	}
	return said, err
}

// Effect returns what a change does to cost and date in one phrase:
// "+ $2,339.00 and 6 working days", "− $20.00, same date", "no cost and
// 2 working days".
func (w Words) Effect(delta journal.Cents, days int) (string, error) {
	cost, err := w.Signed(delta)
	if err != nil {
		return "", err
	}
	if delta == 0 {
		cost = "no cost"
	}
	switch {
	case days == 0:
		return cost + ", same date", nil
	case days < 0:
		return cost + " and " + WorkingDays(-days) + " sooner", nil
	}
	return cost + " and " + WorkingDays(days), nil
}

// Day returns "Tuesday 14 April", with the year when it is not this one: for
// another year "Tuesday 14 April 2025"; "no date" for the zero date.
func (w Words) Day(d journal.Date) (string, error) { return w.day(d, "Monday 2 January") }

// ShortDay returns "Tue 14 Apr", and the year when it is not this one.
func (w Words) ShortDay(d journal.Date) (string, error) { return w.day(d, "Mon 2 Jan") }

// PlainDay returns "14 April", and the year when it is not this one.
func (w Words) PlainDay(d journal.Date) (string, error) { return w.day(d, "2 January") }

func (w Words) day(d journal.Date, layout string) (string, error) {
	if w.Zone == nil || w.Now.IsZero() {
		return "", errNoWords
	}
	if d.IsZero() {
		return "no date", nil
	}
	if d.Time().Year() != w.Now.In(w.Zone).Year() {
		layout += " 2006"
	}
	return d.Time().Format(layout), nil
}

// DateOf returns the shop's calendar day of an instant; the zero date for the
// zero time.
func (w Words) DateOf(at time.Time) (journal.Date, error) {
	switch {
	case w.Zone == nil:
		return "", errNoWords
	case at.IsZero():
		return "", nil
	}
	return journal.DateOf(at, w.Zone), nil
}

// DayOf returns the shop's day of an instant in words, as Day does.
func (w Words) DayOf(at time.Time) (string, error) {
	d, err := w.DateOf(at)
	if err != nil {
		return "", err
	}
	return w.Day(d)
}

// ShortDayOf returns the shop's day of an instant as ShortDay does.
func (w Words) ShortDayOf(at time.Time) (string, error) {
	d, err := w.DateOf(at)
	if err != nil {
		return "", err
	}
	return w.ShortDay(d)
}

// Moment returns "Tuesday 14 April, 3:12 pm at the shop"; "no time" for the
// zero time.
func (w Words) Moment(at time.Time) (string, error) {
	day, err := w.DayOf(at)
	if err != nil || at.IsZero() {
		return "no time", err
	}
	return day + ", " + clock(at.In(w.Zone)) + " at the shop", nil
}

// Since names a past instant as shortly as it can be understood: "today",
// "yesterday", "Sunday" within six days, else the day.
func (w Words) Since(at time.Time) (string, error) {
	day, err := w.DayOf(at)
	if err != nil {
		return "", err
	}
	switch n := journal.DateOf(at, w.Zone).DaysUntil(journal.DateOf(w.Now, w.Zone)); {
	case n == 0:
		return "today", nil
	case n == 1:
		return "yesterday", nil
	case n > 1 && n < 7:
		return at.In(w.Zone).Weekday().String(), nil
	}
	return day, nil
}

// Taken says when a photo was taken, in which zone, and how that is known. The
// offset is in minutes east of UTC, source one of the photo's sources; both
// come from the photo. When the photo's zone shows the same clock as the
// shop's, it is told "at the shop"; otherwise both clocks are given.
func (w Words) Taken(at time.Time, offset int, source string) (string, error) {
	shop, err := w.Moment(at)
	if err != nil || at.IsZero() {
		return shop, err
	}
	_, shopSeconds := at.In(w.Zone).Zone()
	said := shop
	if shopSeconds != offset*60 {
		there := at.In(time.FixedZone("", offset*60))
		day, err := w.Day(journal.Date(there.Format("2006-01-02")))
		if err != nil {
			return "", err
		}
		at := clock(at.In(w.Zone))
		if there.Day() != there.In(w.Zone).Day() {
			shopDay, err := w.DayOf(there)
			if err != nil {
				return "", err
			}
			at = shopDay + ", " + at
		}
		said = day + ", " + clock(there) + " in zone " + zoneName(offset) + ", which is " + at + " at the shop"
	}
	switch source {
	case "":
		return said, nil
	case sourceReceived:
		return "Received " + shop + "; the file does not say when it was taken", nil
	case sourceCameraOffset:
		source = "camera clock and zone"
	}
	return said + " (" + source + ")", nil
}

// Two of the sources that photos come with (package media, Source) are said in
// other words; the rest stand as they are.
const (
	sourceReceived     = "received"
	sourceCameraOffset = "camera with offset"
)

// clock returns "3:12 pm", and "noon" and "midnight" as people say them.
func clock(at time.Time) string {
	switch at.Format("15:04") {
	case "12:00":
		return "12:00 noon"
	case "00:00":
		return "12:00 midnight"
	}
	return at.Format("3:04") + nbsp + at.Format("pm")
}

// zoneName returns "UTC−5" or "UTC+5:45" for an offset in minutes.
func zoneName(offset int) string {
	sign := "+"
	if offset < 0 {
		sign, offset = minus, -offset
	}
	if offset%60 == 0 {
		return fmt.Sprintf("UTC%s%d", sign, offset/60)
	}
	return fmt.Sprintf("UTC%s%d:%02d", sign, offset/60, offset%60)
}
