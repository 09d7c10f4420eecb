package coating

import (
	"strings"

	"farbay/journal"
)

// Milli is a decimal number in thousandths, such as parts, a density or a film
// reading: 1500 is 1.5.
type Milli int64

// MaxMilli bounds every number that is typed: 999,999.999.
const MaxMilli Milli = 999_999_999

// String returns the number without needless zeros: "1.5", "12", "0.87".
func (m Milli) String() string {
	sign := ""
	if m < 0 {
		sign, m = "-", -m
	}
	text := digits(int64(m)/1000, 1)
	if rest := strings.TrimRight(digits(int64(m)%1000, 3), "0"); rest != "" {
		text += "." + rest
	}
	return sign + text
}

// Float returns the number for physical quantities.
func (m Milli) Float() float64 { return float64(m) / 1000 }

// ParseMilli reads a number as people type it: "4", "1.06", ".5", "1,250". Commas
// must group thousands; at most three decimals, no sign.
//
// It returns a [journal.Invalid] error that says what to type instead; it never
// rounds and never guesses.
func ParseMilli(s string) (Milli, error) {
	n, ok := parse(s, 3)
	if !ok {
		return 0, journal.Errorf(journal.Invalid, "Please type a number such as 4 or 1.06, with a point and at most three decimals.")
	}
	if n > int64(MaxMilli) {
		return 0, journal.Errorf(journal.Invalid, "That is more than 999,999; please check the number of digits.")
	}
	return Milli(n), nil
}

// Weight is what a scale shows, in tenths of a gram.
type Weight int64

// MaxWeight bounds a batch: 100 kg.
const MaxWeight Weight = 1_000_000

// The steps a scale may have.
const (
	Tenth Weight = 1  // 0.1 g
	Gram  Weight = 10 // 1 g
)

// In returns the weight as a scale of the step shows it: "506.0" or "506".
func (w Weight) In(step Weight) string {
	sign := ""
	if w < 0 {
		sign, w = "-", -w
	}
	if step == Gram && w%Gram == 0 {
		return sign + digits(int64(w/Gram), 1)
	}
	return sign + digits(int64(w/Gram), 1) + "." + digits(int64(w%Gram), 1)
}

// ParseWeight reads what a scale of the step shows, in grams: "506" or "506.1".
//
// It returns a [journal.Invalid] error for what is no number, has more decimals
// than the scale or is beyond [MaxWeight].
func ParseWeight(s string, step Weight) (Weight, error) {
	n, ok := parse(s, 1)
	switch {
	case !ok:
		return 0, journal.Errorf(journal.Invalid, "Please type the grams the scale shows, such as 506 or 506.1.")
	case n > int64(MaxWeight):
		return 0, journal.Errorf(journal.Invalid, "That is more than 100 kg; please check the number of digits.")
	case step == Gram && n%int64(Gram) != 0:
		return 0, journal.Errorf(journal.Invalid, "This mix is weighed in whole grams; please leave the decimals out.")
	}
	return Weight(n), nil
}

// parse reads a number without a sign as a whole number of its smallest unit.
func parse(s string, places int) (int64, bool) {
	whole, decimals, point := strings.Cut(strings.TrimSpace(s), ".")
	if strings.Contains(whole, ",") {
		groups := strings.Split(whole, ",")
		for i, g := range groups {
			if i == 0 && (len(g) < 1 || len(g) > 3) || i > 0 && len(g) != 3 {
				return 0, false
			}
		}
		whole = strings.Join(groups, "")
	}
	if point && decimals == "" || whole+decimals == "" || len(decimals) > places {
		return 0, false
	}
	text := strings.TrimLeft(whole+decimals+strings.Repeat("0", places-len(decimals)), "0")
	if len(text) > 15 {
		text = "999999999999999" // beyond every bound; its digits are still looked at
		if strings.Trim(whole+decimals, "0123456789") != "" {
			return 0, false
		}
	}
	var n int64
	for _, d := range text {
		if d < '0' || d > '9' {
			return 0, false
		}
		n = n*10 + int64(d-'0')
	}
	return n, true
}

// digits writes n with at least width digits.
func digits(n int64, width int) string {
	text := ""
	for n > 0 || len(text) < width {
		text = string(rune('0'+n%10)) + text
		n /= 10
	}
	return text
}
