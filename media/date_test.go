package media

import (
	"testing"
	"time"
)

func TestReadClock(t *testing.T) {
	const form = "2006-01-02 15:04:05.999999999"
	tests := []struct {
		text, subSec string
		want         string // "" for unreadable
		offset       string // minutes behind the figures, "" for none
		why          string
	}{
		// Exif 3.0 (CIPA DC-008) 4.6.6.7 DateTimeOriginal: the form, and that an
		// unknown date has blanks in the place of figures.
		{"2024:07:04 12:34:56", "", "2024-07-04 12:34:56", "", "standard form"},
		{"    :  :     :  :  ", "", "", "", "standard form of unknown"},
		{"                   ", "", "", "", "standard form of unknown, all blank"},
		// SubSecTime is a fraction: truth.json, "042" is .042 s.
		{"2024:07:04 12:34:56", "042", "2024-07-04 12:34:56.042", "", "fraction with leading zero"},
		{"2024:07:04 12:34:56", "0532", "2024-07-04 12:34:56.0532", "", "fraction of four digits"},
		{"2024:07:04 12:34:56", "61  ", "2024-07-04 12:34:56.61", "", "fraction padded with blanks"},
		{"2024:07:04 12:34:56", "12345678901234567890", "2024-07-04 12:34:56.123456789", "", "more digits than a nanosecond"},
		{"2024:07:04 12:34:56", "x1", "2024-07-04 12:34:56", "", "fraction that is none"},
		// Forms seen in files, MEDIA.md's list of what breaks other readers;
		// from memory which programs wrote them.
		{"0000:00:00 00:00:00", "", "", "", "zeroed"},
		{"2024/07/04 12:34:56", "", "2024-07-04 12:34:56", "", "slashes"},
		{"2024-07-04 12:34:56", "", "2024-07-04 12:34:56", "", "dashes"},
		{"2024.07.04 12:34:56", "", "2024-07-04 12:34:56", "", "dots"},
		{"2024-07-04T12:34:56", "", "2024-07-04 12:34:56", "", "ISO 8601"},
		{"2024: 7: 4  9:05:06", "", "2024-07-04 09:05:06", "", "blanks for leading zeros"},
		{"2024:07:04 12:34", "", "2024-07-04 12:34:00", "", "no seconds"},
		{"2024:07:04 12:34:  ", "", "2024-07-04 12:34:00", "", "blank seconds"},
		{"2024:07:04 12:34:60", "", "2024-07-04 12:35:00", "", "leap second"},
		{"2024:07:04 12:34:56.25", "", "2024-07-04 12:34:56.25", "", "fraction behind"},
		{"2024:07:04 12:34:56.25", "5", "2024-07-04 12:34:56.5", "", "the tag's fraction goes first"},
		{"2015-06-29T18:19:12+01:00", "", "2015-06-29 18:19:12", "60", "offset behind"},
		{"2024:07:04 12:34:56Z", "", "2024-07-04 12:34:56", "0", "Z behind"},
		{"2024:07:04 12:34:56 -0330", "", "2024-07-04 12:34:56", "-210", "offset without colon"},
		{" 2024:07:04 12:34:56 ", "", "2024-07-04 12:34:56", "", "surrounding blanks"},
		// The Gregorian calendar.
		{"2024:02:29 00:00:00", "", "2024-02-29 00:00:00", "", "leap day"},
		{"2023:02:29 00:00:00", "", "", "", "no leap day"},
		{"1900:02:29 00:00:00", "", "", "", "no leap day in 1900"},
		{"2024:04:31 00:00:00", "", "", "", "no such day"},
		{"2024:13:01 00:00:00", "", "", "", "no such month"},
		{"2024:07:00 00:00:00", "", "", "", "day 0"},
		{"2024:07:04 24:00:00", "", "", "", "hour 24"},
		{"2024:07:04 12:60:00", "", "", "", "minute 60"},
		{"2024:07:04 12:00:61", "", "", "", "second 61"},
		// Not guessed at.
		{"2024:07:04", "", "", "", "no time"},
		{"2024:07:04 ", "", "", "", "blank time"},
		{"2024:07:04 12", "", "", "", "hour only"},
		{"2024:07:04 10:38:11 PM", "", "", "", "half days"},
		{"04:07:2024 12:34:56", "", "", "", "day first"},
		{"1899:12:31 23:59:59", "", "", "", "before 1900"},
		{"2024:07:04 12:34:56 +99:00", "", "", "", "an offset no zone has"},
		{"20240704 123456", "", "", "", "no separators"},
		{"", "", "", "", "nothing"},
		{"2024:0é:04 12:34:56", "", "", "", "not ASCII"},
	}
	for _, tt := range tests {
		got, ok := readClock(tt.text, tt.subSec)
		if !ok {
			if tt.want != "" {
				t.Errorf("%s: readClock(%q) is not read, want %s", tt.why, tt.text, tt.want)
			}
			continue
		}
		if s := got.local.Format(form); s != tt.want {
			t.Errorf("%s: readClock(%q, %q) = %q, want %q", tt.why, tt.text, tt.subSec, s, tt.want)
		}
		want, hasWant := map[string]int{"60": 60, "0": 0, "-210": -210}[tt.offset]
		if got.hasOffset != hasWant || got.offsetMinutes != want {
			t.Errorf("%s: offset %v %d, want %q", tt.why, got.hasOffset, got.offsetMinutes, tt.offset)
		}
	}
}

func TestReadOffset(t *testing.T) {
	tests := []struct {
		text string
		want int
		ok   bool
		why  string
	}{
		// Exif 2.31 OffsetTime: "+HH:MM" or "-HH:MM"; blanks for unknown.
		{"+05:45", 345, true, "Nepal, in hostile.json"},
		{"-03:30", -210, true, "Newfoundland, in hostile.json"},
		{"+00:00", 0, true, "UTC"},
		{"   :  ", 0, false, "unknown"},
		{"      ", 0, false, "unknown"},
		{"", 0, false, "absent"},
		// The IANA database's range: Etc/GMT+12 and Pacific/Kiritimati.
		{"-12:00", -720, true, "westernmost"},
		{"-12:01", 0, false, "beyond"},
		{"+14:00", 840, true, "easternmost"},
		{"+14:15", 0, false, "beyond"},
		{"Z", 0, true, "ISO 8601"},
		{"+0900", 540, true, "ISO 8601 basic"},
		{"+09", 540, true, "ISO 8601, hours"},
		{"+9:00", 0, false, "one figure"},
		{"+ 9:00", 0, false, "blank figure"},
		{"09:00", 0, false, "no sign"},
		{"+05:60", 0, false, "minute 60"},
		{"+05:4", 0, false, "cut off"},
		{"+05:45x", 0, false, "something behind"},
	}
	for _, tt := range tests {
		got, ok := readOffset(tt.text)
		if ok != tt.ok || ok && got != tt.want {
			t.Errorf("%s: readOffset(%q) = %d, %v, want %d, %v", tt.why, tt.text, got, ok, tt.want, tt.ok)
		}
	}
}

func FuzzReadClock(f *testing.F) {
	f.Add("2024:07:04 12:34:56", "042")
	f.Add("2015-06-29T18:19:12.5+01:00", "")
	f.Add("    :  :     :  :  ", "  ")
	f.Fuzz(func(t *testing.T, text, subSec string) {
		r, ok := readClock(text, subSec)
		if !ok {
			return
		}
		if y := r.local.Year(); y < 1900 || y > 10000 {
			t.Errorf("readClock(%q, %q) gives year %d", text, subSec, y)
		}
		if r.offsetMinutes < minOffsetMinutes || r.offsetMinutes > maxOffsetMinutes {
			t.Errorf("readClock(%q, %q) gives offset %d", text, subSec, r.offsetMinutes)
		}
		// What was read, written in the standard form, reads the same again.
		again, ok := readClock(r.local.Format("2006:01:02 15:04:05"), r.local.Format(".000000000")[1:])
		if r.local.Year() < 10000 && (!ok || !again.local.Equal(r.local)) {
			t.Errorf("readClock(%q, %q) = %v, again %v", text, subSec, r.local.Format(time.RFC3339Nano), again.local)
		}
	})
}
