package media

import (
	"strings"
	"time"
)

// clockReading is what a camera's clock showed.
type clockReading struct {
	// local has the clock's figures, in UTC only because a time.Time must have
	// some zone.
	local time.Time
	// offsetMinutes is the distance from UTC written behind the figures, if
	// hasOffset.
	offsetMinutes int
	hasOffset     bool
}

// readClock reads an Exif date and time and its fraction of a second.
//
// The standard form is "YYYY:MM:DD HH:MM:SS" (Exif 3.0, 4.6.6.7). Cameras and
// programs also write slashes, dashes or dots in the date, T between date and
// time, blanks for leading zeros, no seconds, second 60, a fraction, and an
// offset or Z at the end; all that is read. Zeroed or blank dates, dates that
// do not exist, years before 1900, and anything else behind the time are not:
// ok is then false.
func readClock(text, subSec string) (r clockReading, ok bool) {
	year, month, day, rest, ok := readDay(text)
	if !ok || rest == "" || rest[0] != ' ' && rest[0] != 'T' && rest[0] != 't' {
		return r, false
	}
	rest = rest[1:]
	hour, rest, okH := readTwo(rest)
	rest, okC := cutAny(rest, ":")
	minute, rest, okM := readTwo(rest)
	if !okH || !okC || !okM || hour > 23 || minute > 59 {
		return r, false
	}
	second := 0
	if after, more := cutAny(rest, ":"); more {
		if second, rest, ok = readTwo(after); !ok && strings.TrimSpace(after) != "" || second > 60 {
			return r, false
		}
		rest = strings.TrimSpace(rest)
	}
	if after, more := cutAny(rest, ".,"); more {
		digits := len(after) - len(strings.TrimLeft(after, "0123456789"))
		if subSec == "" {
			subSec = after[:digits]
		}
		rest = after[digits:]
	}
	if rest = strings.TrimSpace(rest); rest != "" {
		if r.offsetMinutes, r.hasOffset = readOffset(rest); !r.hasOffset {
			return r, false
		}
	}
	r.local = time.Date(year, month, day, hour, minute, second, 0, time.UTC).Add(readFraction(subSec))
	return r, true
}

// readDay reads a date and returns what stands behind it.
func readDay(text string) (year int, month time.Month, day int, rest string, ok bool) {
	text = strings.TrimSpace(text)
	if len(text) < 10 {
		return 0, 0, 0, "", false
	}
	high, _, ok1 := readTwo(text)
	low, rest, ok2 := readTwo(text[2:])
	year = high*100 + low
	rest, ok3 := cutAny(rest, ":/-.")
	m, rest, ok4 := readTwo(rest)
	rest, ok5 := cutAny(rest, ":/-.")
	day, rest, ok6 := readTwo(rest)
	month = time.Month(m)
	if !ok1 || !ok2 || !ok3 || !ok4 || !ok5 || !ok6 || year < 1900 || m < 1 || m > 12 || day < 1 {
		return 0, 0, 0, "", false
	}
	lastDay := time.Date(year, month+1, 0, 0, 0, 0, 0, time.UTC).Day()
	return year, month, day, rest, day <= lastDay
}

// readTwo reads a number two characters wide, the first of which may be blank.
func readTwo(s string) (n int, rest string, ok bool) {
	if len(s) < 2 || s[1] < '0' || s[1] > '9' {
		return 0, "", false
	}
	switch tens := s[0]; {
	case tens >= '0' && tens <= '9':
		return int(tens-'0')*10 + int(s[1]-'0'), s[2:], true
	case tens == ' ':
		return int(s[1] - '0'), s[2:], true
	}
	return 0, "", false
}

// cutAny takes off the first character if it is one of set.
func cutAny(s, set string) (string, bool) {
	if s == "" || !strings.ContainsRune(set, rune(s[0])) {
		return s, false
	}
	return s[1:], true
}

// readFraction reads the digits behind a decimal point as a part of a second,
// to the nanosecond, cutting off the rest. Anything but digits gives 0.
func readFraction(digits string) time.Duration {
	digits = strings.TrimSpace(digits)
	var n time.Duration
	unit := time.Second
	for _, c := range digits {
		if c < '0' || c > '9' {
			return 0
		}
		unit /= 10
		n += time.Duration(c-'0') * unit
	}
	return n
}

// The range of offsets in use: UTC-12:00 to UTC+14:00.
const (
	minOffsetMinutes = -12 * 60
	maxOffsetMinutes = 14 * 60
)

// readOffset reads "+05:45", "-0700", "+09" or "Z" as minutes east of UTC. Exif
// 2.31 has the first form only. Blanks, zero-less text and offsets that no zone
// has are not read.
func readOffset(s string) (minutes int, ok bool) {
	s = strings.TrimSpace(s)
	if s == "Z" || s == "z" {
		return 0, true
	}
	if s == "" || s[0] != '+' && s[0] != '-' {
		return 0, false
	}
	hour, rest, ok := readTwo(s[1:])
	if !ok || s[1] == ' ' {
		return 0, false
	}
	minute := 0
	if rest != "" {
		rest, _ = cutAny(rest, ":")
		if minute, rest, ok = readTwo(rest); !ok || rest != "" || minute > 59 {
			return 0, false
		}
	}
	minutes = hour*60 + minute
	if s[0] == '-' {
		minutes = -minutes
	}
	return minutes, minutes >= minOffsetMinutes && minutes <= maxOffsetMinutes
}
