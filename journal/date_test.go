package journal

import (
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"
)

func TestParseDate(t *testing.T) {
	for in, want := range map[string]Date{
		"2026-04-14": "2026-04-14", " 2024-02-29 ": "2024-02-29", "": "", " ": "",
		"1900-01-01": "1900-01-01", "2199-12-31": "2199-12-31",
		"2000-02-29": "2000-02-29", // a century leap year
	} {
		if got, err := ParseDate(in); err != nil || got != want {
			t.Errorf("ParseDate(%q) = %q, %v; want %q", in, got, err, want)
		}
	}
	for _, in := range []string{
		"2026-02-30", "2026-04-31", "2023-02-29", "1900-02-29", "2100-02-29", // days that do not exist
		"1899-12-31", "2200-01-01", "2300-01-01", // outside the range
		"2026-4-14", "14.04.2026", "04/14/2026", "20260414", "2026-04-14T00:00", "2026-13-01", "2026-00-10", "2026-01-00", "today", "-2026-04-14",
	} {
		if got, err := ParseDate(in); CodeOf(err) != Invalid || got != "" {
			t.Errorf("ParseDate(%q) = %q, %v; want an Invalid error", in, got, err)
		}
	}
}

func TestCheckDay(t *testing.T) {
	for _, c := range []struct {
		day    Date
		fine   bool
		reason string
	}{
		{"2000-01-01", true, "the first day taken"}, {"2100-12-31", true, "the last"}, {"2026-04-14", true, "an ordinary day"},
		{"1999-12-31", false, "the day before the first"}, {"2101-01-01", false, "the day after the last"},
		{"1900-01-01", false, "what a spreadsheet makes of 1"}, {"2199-12-31", false, "the last that can be read"},
	} {
		bad := Problems{}
		CheckDay(bad, "on", c.day)
		if fine := bad["on"] == "" && c.day.Plausible(); fine != c.fine {
			t.Errorf("%s (%s): %q; fine should be %v", c.day, c.reason, bad["on"], c.fine)
		}
	}
	none := Problems{}
	if CheckDay(none, "on", ""); len(none) > 0 || Date("").Plausible() {
		t.Errorf("no date is no slip, and no plausible date either: %v", none)
	}
}

func TestDate_Arithmetic(t *testing.T) {
	if got := Date("2024-02-28").AddDays(2); got != "2024-03-01" {
		t.Errorf("two days after 28 February of a leap year: %s", got)
	}
	if got := Date("2026-01-01").AddDays(-1); got != "2025-12-31" {
		t.Errorf("the day before New Year: %s", got)
	}
	if got := Date("").AddDays(3); got != "" {
		t.Errorf("no date plus three days: %q", got)
	}
	for _, pair := range [][2]Date{{"", "2026-01-01"}, {"2026-01-01", ""}, {"", ""}} {
		if got := pair[0].DaysUntil(pair[1]); got != 0 {
			t.Errorf("%q.DaysUntil(%q) = %d; want 0", pair[0], pair[1], got)
		}
	}
}

// DaysUntil over the whole range and back, by the Gregorian rule. A Duration
// would have stopped at 106,751 days.
func TestDate_DaysUntil_WholeRange(t *testing.T) {
	leap := 0
	for y := 1900; y <= 2199; y++ {
		if y%4 == 0 && (y%100 != 0 || y%400 == 0) { // Gregorian rule
			leap++
		}
	}
	want := 300*365 + leap - 1
	if got := Date("1900-01-01").DaysUntil("2199-12-31"); got != want {
		t.Errorf("forward: %d; want %d", got, want)
	}
	if got := Date("2199-12-31").DaysUntil("1900-01-01"); got != -want {
		t.Errorf("back: %d; want %d", got, -want)
	}
}

// Days between dates against date(1) of GNU coreutils.
func TestDate_DaysUntil_AgainstCoreutils(t *testing.T) {
	date, err := exec.LookPath("date")
	if err != nil {
		t.Skip("no date(1) on this machine")
	}
	days := func(d Date) int {
		out, err := exec.Command(date, "-u", "-d", string(d), "+%s").CombinedOutput()
		if err != nil {
			t.Skipf("date(1) is not the GNU one: %s", out)
		}
		s, err := strconv.Atoi(strings.TrimSpace(string(out)))
		if err != nil {
			t.Fatal(err)
		}
		return s / 86400
	}
	for _, pair := range [][2]Date{{"2026-04-14", "2027-04-14"}, {"2028-02-28", "2028-03-01"}, {"2199-12-31", "1970-01-01"}} {
		if got, want := pair[0].DaysUntil(pair[1]), days(pair[1])-days(pair[0]); got != want {
			t.Errorf("%s to %s: %d days; date(1) says %d", pair[0], pair[1], got, want)
		}
	}
}

func TestDateOf_UsesTheZone(t *testing.T) {
	at := time.Date(2026, 4, 14, 2, 30, 0, 0, time.UTC)
	for offset, want := range map[int]Date{0: "2026-04-14", -5 * 3600: "2026-04-13", 14 * 3600: "2026-04-14"} {
		if got := DateOf(at, time.FixedZone("", offset)); got != want {
			t.Errorf("offset %d s: %s; want %s", offset, got, want)
		}
	}
}
