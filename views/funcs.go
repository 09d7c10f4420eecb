package views

import (
	"fmt"
	"html/template"
	"strconv"
	"strings"
	"time"

	"farbay/journal"
)

// funcs are the functions templates may call. What depends on the shop's zone
// or currency is a method of [Words] instead.
func (s *Set) funcs() template.FuncMap {
	return template.FuncMap{
		"asset":       s.Asset,
		"plural":      Plural,
		"count":       Count,
		"workingDays": WorkingDays,
		"days":        func(n int) string { return Plural(n, "day", "days") },
		"percent":     Percent,
		"list":        List,
		"hours":       Hours,
		"number":      grouped,
		"lower":       strings.ToLower,
		"upperFirst":  UpperFirst,
		"iso":         func(at time.Time) string { return at.UTC().Format(time.RFC3339) },
		"wrapHash":    WrapHash,
		"add":         func(a, b int) int { return a + b },
		"negative":    func(c journal.Cents) journal.Cents { return -c },
		"input":       newInput,
		"kind":        func(kind string, f Input) Input { f.Type = kind; return f },
		"help":        func(text string, f Input) Input { f.Help = text; return f },
		"auto":        func(token string, f Input) Input { f.Autocomplete = token; return f },
		"must":        func(f Input) Input { f.Required = true; return f },
		"most":        func(n int, f Input) Input { f.MaxLength = n; return f },
		"rows":        func(n int, f Input) Input { f.Rows = n; return f },
		"options":     func(o []Option, f Input) Input { f.Options = o; return f },
		"symbol":      func(symbol string, f Input) Input { f.Symbol = symbol; return f },
		"prefix":      func(text string, f Input) Input { f.Prefix = text; return f },
		"limitWords":  LimitWords,
		"monthDays":   MonthDays,
		"option":      func(value, text string) Option { return Option{Value: value, Text: text} },
		"optionList":  func(o ...Option) []Option { return o },
		"trouble":     func(p journal.Problems) []Problem { return problemList(p) },
		"strip":       Strip,
		"tiled":       tiled,
	}
}

// Plural returns "1 photo" or "6 photos", with thousands grouped.
func Plural(n int, one, many string) string {
	if n == 1 {
		return "1" + nbsp + one
	}
	return grouped(n) + nbsp + many
}

// WorkingDays returns "1 working day" or "6 working days".
func WorkingDays(n int) string { return Plural(n, "working day", "working days") }

// Count returns a count as a sentence begins with it: "One paper", "Three
// papers", "No paper", and figures from 13 on.
func Count(n int, one, many string) string {
	small := []string{"No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve"}
	switch {
	case n < 0 || n >= len(small):
		return grouped(n) + " " + many
	case n <= 1:
		return small[n] + " " + one
	}
	return small[n] + " " + many
}

func grouped(n int) string {
	s := strings.TrimPrefix(strconv.Itoa(n), "-")
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	if n < 0 {
		return minus + s
	}
	return s
}

// Percent returns a rate in basis points as "6.25 %", with the decimals it
// needs and no more.
func Percent(rate journal.BasisPoints) string {
	n, sign := int64(rate), ""
	if n < 0 {
		n, sign = -n, minus
	}
	s := fmt.Sprintf("%d.%02d", n/100, n%100)
	return sign + strings.TrimSuffix(strings.TrimRight(s, "0"), ".") + nbsp + "%"
}

// Hours returns minutes of labour as "18 hours", "7.5 hours", "20 minutes".
func Hours(minutes int) string {
	sign := ""
	if minutes < 0 {
		sign, minutes = minus, -minutes
	}
	switch {
	case minutes < 60:
		return sign + Plural(minutes, "minute", "minutes")
	case minutes%60 == 0:
		return sign + Plural(minutes/60, "hour", "hours")
	case minutes%6 == 0:
		return sign + fmt.Sprintf("%s.%d", grouped(minutes/60), minutes%60/6) + nbsp + "hours"
	}
	return sign + Plural(minutes/60, "hour", "hours") + " " + Plural(minutes%60, "minute", "minutes")
}

// List joins words as a sentence does: "a", "a and b", "a, b and c".
func List(words []string) string {
	switch n := len(words); n {
	case 0:
		return ""
	case 1:
		return words[0]
	default:
		return strings.Join(words[:n-1], ", ") + " and " + words[n-1]
	}
}

// UpperFirst returns s with its first letter large, as a sentence begins.
func UpperFirst(s string) string {
	for _, r := range s {
		return strings.ToUpper(string(r)) + s[len(string(r)):]
	}
	return s
}

// WrapHash returns a long hex hash in groups of eight, so that it can break
// over lines and be compared by eye.
func WrapHash(hash string) string {
	var groups []string
	for len(hash) > 8 {
		groups, hash = append(groups, hash[:8]), hash[8:]
	}
	return strings.Join(append(groups, hash), " ")
}
