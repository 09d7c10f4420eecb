package server

import (
	"errors"
	"fmt"
	"net/url"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"farbay/journal"
)

// form reads the fields of a posted form and collects what is wrong with them,
// field by field. Its zero value is an empty form.
type form struct {
	values url.Values
	bad    journal.Problems
}

// readForm reads a posted form, with or without files; files are left to the
// caller. The query of the address is no part of it.
//
// Errors: [journal.TooLarge], [journal.Invalid].
func readForm(c echo.Context) (*form, error) {
	r := c.Request()
	if err := r.ParseForm(); err != nil {
		if journal.CodeOf(asJournal(err)) == journal.TooLarge {
			return nil, err
		}
		return nil, &journal.Error{Code: journal.Invalid, Err: err, Message: "What was sent could not be read."}
	}
	return formOf(r.PostForm), nil
}

// formOf makes a form of values read elsewhere, such as from a multipart body
// or a kept form.
func formOf(values url.Values) *form { return &form{values: values, bad: journal.Problems{}} }

// err returns all that was wrong as one Invalid error, or nil.
func (f *form) err() error { return f.bad.Err() }

// add takes over the field problems of a Validate or a step; it returns any
// other error.
func (f *form) add(err error) error {
	var ours *journal.Error
	if !errors.As(err, &ours) || ours.Code != journal.Invalid || len(ours.Fields) == 0 {
		return err
	}
	for field, sentence := range ours.Fields {
		f.bad.Add(field, "%s", sentence)
	}
	return nil
}

// raw returns a field as it was typed.
func (f *form) raw(name string) string { return f.values.Get(name) }

// has reports whether the field was sent, such as a button or a ticked box.
func (f *form) has(name string) bool { return f.values.Has(name) }

// line returns one line of text, without outer blanks.
func (f *form) line(name string) string { return journal.CleanLine(f.raw(name)) }

// text returns several lines of text, with "\n" between them.
func (f *form) text(name string) string { return journal.CleanText(f.raw(name)) }

// list returns all values of a repeated field that are not empty, in order.
func (f *form) list(name string) []string {
	var all []string
	for _, v := range f.values[name] {
		if v = journal.CleanLine(v); v != "" {
			all = append(all, v)
		}
	}
	return all
}

// lines returns the non-empty lines of a text field, without outer blanks.
func (f *form) lines(name string) []string {
	var all []string
	for _, v := range strings.Split(f.text(name), "\n") {
		if v = journal.CleanLine(v); v != "" {
			all = append(all, v)
		}
	}
	return all
}

// formID returns a field as an identifier of type T.
func formID[T ~string](f *form, name string) T { return T(f.line(name)) }

// formIDs returns a repeated field as identifiers of type T.
func formIDs[T ~string](f *form, name string) []T {
	var all []T
	for _, v := range f.list(name) {
		all = append(all, T(v))
	}
	return all
}

// cents returns an amount; nothing typed is 0.
func (f *form) cents(name string) journal.Cents {
	if f.line(name) == "" {
		return 0
	}
	amount, err := journal.ParseCents(f.raw(name))
	if err != nil {
		f.bad.Add(name, "%s", journal.MessageOf(err))
	}
	return amount
}

// date returns a day; nothing typed is no date.
func (f *form) date(name string) journal.Date {
	day, err := journal.ParseDate(f.raw(name))
	if err != nil {
		f.bad.Add(name, "%s", journal.MessageOf(err))
	}
	return day
}

// number returns a whole number between least and most; nothing typed is
// absent.
func (f *form) number(name string, absent, least, most int) int {
	text := f.line(name)
	if text == "" {
		return absent
	}
	n, err := strconv.Atoi(strings.Replace(text, "\u2212", "-", 1))
	if err != nil || n < least || n > most {
		f.bad.Add(name, "Please type a whole number between %d and %d.", least, most)
		return absent
	}
	return n
}

// version returns the version of what the form was filled from. One that
// cannot be read counts as 0, which no stored thing has, so that the step
// refuses it as out of date.
func (f *form) version() int {
	n, err := strconv.Atoi(f.line("version"))
	if err != nil {
		return 0
	}
	return n
}

// minutes returns a time typed in hours, such as "18", "7.5" or "-2", in whole
// minutes; nothing typed is 0. At most two decimals; a remainder below a minute
// is refused, not rounded.
func (f *form) minutes(name string) int {
	text := f.line(name)
	if text == "" {
		return 0
	}
	hundredths, ok := decimal(strings.Replace(text, "\u2212", "-", 1), 2)
	if !ok || hundredths*60%100 != 0 || hundredths > 1_000_000 || hundredths < -1_000_000 {
		f.bad.Add(name, "Please type the hours, such as 18 or 7.5, in steps of 0.05.")
		return 0
	}
	return int(hundredths * 60 / 100)
}

// decimal reads a decimal number with at most the given digits after the point
// as a whole number of its smallest unit: "6.25" with 2 is 625.
func decimal(text string, places int) (int64, bool) {
	negative := strings.HasPrefix(text, "-")
	whole, rest, point := strings.Cut(strings.TrimPrefix(strings.TrimPrefix(text, "-"), "+"), ".")
	if whole == "" || len(whole) > 9 || len(rest) > places || point && rest == "" {
		return 0, false
	}
	digits := whole + rest + strings.Repeat("0", places-len(rest))
	for _, d := range digits {
		if d < '0' || d > '9' {
			return 0, false
		}
	}
	n, err := strconv.ParseInt(digits, 10, 64)
	if err != nil {
		return 0, false
	}
	if negative {
		n = -n
	}
	return n, true
}

// indexed returns how many fields "lines.0.x", "lines.1.x" ... a form has: the
// highest number plus one, at most most.
//
// It records a problem under the prefix when there are more.
func (f *form) indexed(prefix string, most int) int {
	count := 0
	for name := range f.values {
		rest, found := strings.CutPrefix(name, prefix+".")
		if !found {
			continue
		}
		number, _, _ := strings.Cut(rest, ".")
		if n, err := strconv.Atoi(number); err == nil && n >= count && n < 1_000_000 {
			count = n + 1
		}
	}
	if count > most {
		f.bad.Add(prefix, "There are at most %d of these.", most)
		return most
	}
	return count
}

// at returns the name of an indexed field: "lines.2.text".
func at(prefix string, i int, name string) string { return fmt.Sprintf("%s.%d.%s", prefix, i, name) }
