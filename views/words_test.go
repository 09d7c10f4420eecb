package views

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"farbay/journal"
)

func itoa(n int) string { return strconv.Itoa(n) }

// plain turns the characters that keep words together into blanks.
func plain(s string) string { return strings.ReplaceAll(s, nbsp, " ") }

func TestWords_Money(t *testing.T) {
	for _, c := range []struct {
		amount        journal.Cents
		money, signed string
	}{
		{233900, "$2,339.00", "+ $2,339.00"}, {0, "$0.00", "$0.00"}, {-2000, "−$20.00", "− $20.00"}, {1, "$0.01", "+ $0.01"}, {-1, "−$0.01", "− $0.01"},
		{9_999_999_999, "$99,999,999.99", "+ $99,999,999.99"},
	} {
		money, err := givenWords.Money(c.amount)
		if err != nil || money != c.money {
			t.Errorf("Money(%d) = %q, %v; want %q", c.amount, money, err, c.money)
		}
		signed, err := givenWords.Signed(c.amount)
		if err != nil || plain(signed) != c.signed {
			t.Errorf("Signed(%d) = %q, %v; want %q", c.amount, signed, err, c.signed)
		}
	}
	franc := Words{Now: givenWords.Now, Zone: denver, Currency: "CHF"}
	if got, err := franc.Money(5000); err != nil || plain(got) != "CHF 50.00" {
		t.Errorf("in francs: %q, %v", got, err)
	}
}

func TestWords_Effect(t *testing.T) {
	for _, c := range []struct {
		delta journal.Cents
		days  int
		want  string
	}{
		{233900, 6, "+ $2,339.00 and 6 working days"}, {-2000, 0, "− $20.00, same date"}, {0, 1, "no cost and 1 working day"}, {5000, -2, "+ $50.00 and 2 working days sooner"},
	} {
		if got, err := givenWords.Effect(c.delta, c.days); err != nil || plain(got) != c.want {
			t.Errorf("Effect(%d, %d) = %q, %v; want %q", c.delta, c.days, got, err, c.want)
		}
	}
}

// Week days: 14 April 2026 is a Tuesday, 29 February 2024 a Thursday (`date -d`).
func TestWords_Days(t *testing.T) {
	for d, want := range map[journal.Date]string{
		"2026-04-14": "Tuesday 14 April", "2024-02-29": "Thursday 29 February 2024", "": "no date",
	} {
		if got, err := givenWords.Day(d); err != nil || got != want {
			t.Errorf("Day(%s) = %q, %v; want %q", d, got, err, want)
		}
	}
}

// The day and the year are the shop's, whatever the hour in UTC. On
// 1 January 2027, 05:30 UTC, Denver (UTC-7 in winter) still has 31 December.
func TestWords_ShopsDay(t *testing.T) {
	w := Words{Now: time.Date(2027, 1, 1, 5, 30, 0, 0, time.UTC), Zone: denver, Currency: "USD"}
	if got, err := w.Moment(w.Now); err != nil || plain(got) != "Thursday 31 December, 10:30 pm at the shop" {
		t.Errorf("Moment = %q, %v", got, err)
	}
	if got, err := w.DayOf(time.Date(2027, 1, 1, 7, 0, 0, 0, time.UTC)); err != nil || got != "Friday 1 January 2027" {
		t.Errorf("DayOf = %q, %v", got, err)
	}
}

func TestWords_Taken(t *testing.T) {
	noon := at("2026-04-14", 15, 12)
	for _, c := range []struct {
		reason, source string
		offset         int
		at             time.Time
		want           string
	}{
		{"the shop's own zone", "camera with offset", -360, noon, "Tuesday 14 April, 3:12 pm at the shop (camera clock and zone)"},
		{"another zone", "camera with offset", -300, noon, "Tuesday 14 April, 4:12 pm in zone UTC−5, which is 3:12 pm at the shop (camera clock and zone)"},
		{"another day there", "camera with offset", 345, noon, "Wednesday 15 April, 2:57 am in zone UTC+5:45, which is Tuesday 14 April, 3:12 pm at the shop (camera clock and zone)"},
		{"nothing in the file", "received", -360, noon, "Received Tuesday 14 April, 3:12 pm at the shop; the file does not say when it was taken"},
		{"said as it is", "camera clock in the shop's zone", -360, noon, "Tuesday 14 April, 3:12 pm at the shop (camera clock in the shop's zone)"},
		{"noon", "", -360, at("2026-04-14", 12, 0), "Tuesday 14 April, 12:00 noon at the shop"},
	} {
		if got, err := givenWords.Taken(c.at, c.offset, c.source); err != nil || plain(got) != c.want {
			t.Errorf("%s: %q, %v\nwant %q", c.reason, plain(got), err, c.want)
		}
	}
}

func TestWords_Since(t *testing.T) {
	for day, want := range map[string]string{"2026-04-15": "today", "2026-04-14": "yesterday", "2026-04-12": "Sunday", "2026-04-08": "Wednesday 8 April"} {
		if got, err := givenWords.Since(at(day, 9, 0)); err != nil || got != want {
			t.Errorf("Since(%s) = %q, %v; want %q", day, got, err, want)
		}
	}
}

func TestFigures(t *testing.T) {
	for got, want := range map[string]string{
		Percent(625): "6.25 %", Percent(500): "5 %", Percent(650): "6.5 %", Percent(0): "0 %", Percent(5): "0.05 %", Percent(10000): "100 %",
		Hours(1080): "18 hours", Hours(450): "7.5 hours", Hours(20): "20 minutes", Hours(60): "1 hour", Hours(65): "1 hour 5 minutes", Hours(-90): "−1.5 hours",
		Plural(1, "photo", "photos"): "1 photo", Plural(3120, "photo", "photos"): "3,120 photos", Count(2, "paper", "papers"): "Two papers", Count(0, "paper", "papers"): "No paper",
		List(nil): "", List([]string{"a"}): "a", List([]string{"a", "b"}): "a and b", List([]string{"a", "b", "c"}): "a, b and c",
		WrapHash("0123456789abcdef01"): "01234567 89abcdef 01", UpperFirst("road test"): "Road test",
	} {
		if plain(got) != want {
			t.Errorf("%q, want %q", plain(got), want)
		}
	}
}

// Widths keep their proportion when the longest stage is beyond what the style
// sheet knows, and none vanishes.
func TestStrip(t *testing.T) {
	var got []int
	for _, c := range Strip([]Coat{{Days: 120}, {Days: 60}, {Days: 1}, {Days: 0}}) {
		got = append(got, c.Width)
	}
	if want := []int{60, 30, 1, 1}; got[0] != want[0] || got[1] != want[1] || got[2] != want[2] || got[3] != want[3] {
		t.Errorf("widths %v, want %v", got, want)
	}
	if w := Strip([]Coat{{Days: 3}, {Days: 30}})[0].Width; w != 3 {
		t.Errorf("three days are %d wide, want 3", w)
	}
}

// The disclosures say each thing 15 U.S.C. 7001(c)(1)(B) and (C) ask for, and
// their hash is that of the file.
func TestConsentText(t *testing.T) {
	for need, words := range map[string]string{
		"(B)(i)(I) paper option":       "everything on paper instead",
		"(B)(i)(II) withdrawal":        "withdraw at any time",
		"(B)(i)(II) consequences":      "From then on papers come to you by post",
		"(B)(i)(II) fees":              "Withdrawing costs nothing",
		"(B)(ii) scope":                "Your agreement covers all records about your builds",
		"(B)(iii) how to withdraw":     "press \"Withdraw my agreement\"",
		"(B)(iii) contact details":     "Keep your addresses up to date",
		"(B)(iv) paper copies and fee": "The shop charges nothing for it",
		"(C)(i) hardware and software": "current web browser",
		"(C)(ii) demonstration":        "typing that word here shows that you can open records",
		"(D) notice when needs change": "asks you anew",
	} {
		if !strings.Contains(ConsentText, words) {
			t.Errorf("%s: %q is not said", need, words)
		}
	}
	sum := sha256.Sum256([]byte(ConsentText))
	if ConsentSHA256() != hex.EncodeToString(sum[:]) {
		t.Error("the hash is not that of the text")
	}
	// These versions are in records already given; their texts must not change. A
	// new text is a new version in a new file.
	for version, want := range map[string]string{
		"1": "719ec67c728032dea02ef41ee53acf13087040de11f32f4980f56944f2e35c8e",
		"2": "bd0f1ceb7aec8f8750a668eef87ba5eedd6e93be99f275edacd0f3e8de4b3be3",
	} {
		text, err := os.ReadFile(filepath.Join("consent", "consent-"+version+".txt"))
		if err != nil {
			t.Fatal(err)
		}
		if got := sha256.Sum256(text); hex.EncodeToString(got[:]) != want {
			t.Errorf("the text of version %s has changed: its hash is %x", version, got)
		}
	}
	if ConsentText != mustRead(t, filepath.Join("consent", "consent-"+ConsentVersion+".txt")) {
		t.Error("the text shown is not that of its version")
	}
}

func mustRead(t *testing.T, file string) string {
	t.Helper()
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}
