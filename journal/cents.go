package journal

import (
	"math"
	"strings"
)

// Cents is an amount of money in hundredths of the shop's currency. Negative
// amounts are credits. No other type carries money.
type Cents int64

// MaxCents bounds every amount that is entered: $99,999,999.99. Sums of many
// such amounts stay far inside int64.
const MaxCents Cents = 9_999_999_999

// BasisPoints is a rate in hundredths of a per cent: 625 is 6.25 %.
type BasisPoints int64

// String returns the amount as "1,234.50" or "-1,234.50", without a currency.
func (c Cents) String() string {
	sign := ""
	u := uint64(c)
	if c < 0 {
		sign, u = "-", uint64(-(c+1))+1
	}
	whole, cents := u/100, u%100
	digits := ""
	for whole >= 1000 {
		digits = "," + pad(whole%1000, 3) + digits
		whole /= 1000
	}
	return sign + pad(whole, 1) + digits + "." + pad(cents, 2)
}

// Signed is String with an explicit plus: "+1,234.50", "-3.00", "0.00".
func (c Cents) Signed() string {
	if c > 0 {
		return "+" + c.String()
	}
	return c.String()
}

func pad(n uint64, width int) string {
	s := ""
	for n > 0 || len(s) < width {
		s = string(rune('0'+n%10)) + s
		n /= 10
	}
	return s
}

// ParseCents reads an amount as people type it: "1234", "1,234.50", "$1,234.5",
// "-20", "+3.07". Commas must group thousands; at most two decimals.
//
// It returns an [Invalid] error whose message says what to type instead; it
// never rounds and never guesses. Amounts beyond ±[MaxCents] are refused.
func ParseCents(s string) (Cents, error) {
	refuse := func() (Cents, error) {
		return 0, Errorf(Invalid, "Please type an amount such as 1,234.50, with at most two decimals.")
	}
	t := strings.TrimSpace(s)
	negative := false
	for _, sign := range []string{"-", "\u2212", "+"} {
		if rest, found := strings.CutPrefix(t, sign); found {
			negative, t = sign != "+", rest
			break
		}
	}
	t = strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(t), "$"))
	whole, decimals, hasPoint := strings.Cut(t, ".")
	if hasPoint && (len(decimals) < 1 || len(decimals) > 2) {
		return refuse()
	}
	if strings.Contains(whole, ",") {
		groups := strings.Split(whole, ",")
		for i, g := range groups {
			if (i == 0 && (len(g) < 1 || len(g) > 3)) || (i > 0 && len(g) != 3) {
				return refuse()
			}
		}
		whole = strings.Join(groups, "")
	}
	if whole == "" || !allDigits(whole) || !allDigits(decimals) {
		return refuse()
	}
	if len(strings.TrimLeft(whole, "0")) > 8 {
		return 0, Errorf(Invalid, "That is more than %s; please check the number of digits.", MaxCents)
	}
	var n int64
	for _, d := range whole + (decimals + "00")[:2] {
		n = n*10 + int64(d-'0')
	}
	if negative {
		n = -n
	}
	return Cents(n), nil
}

func allDigits(s string) bool {
	for _, r := range s {
		if r < '0' || r > '9' {
			return false
		}
	}
	return true
}

// MulDiv returns c x num / den, rounded half away from zero to a whole cent.
// It is the one rounding rule of shares and rates other than tax, which has its
// own (see package billing). It panics if den is not positive, or if the
// result does not fit, which amounts within [MaxCents] and shares of at most
// one cannot bring about.
func (c Cents) MulDiv(num, den int64) Cents {
	if den <= 0 {
		panic("journal.Cents.MulDiv: den must be positive")
	}
	hi, lo, negative := mul(int64(c), num)
	q, r := div(hi, lo, uint64(den))
	if r >= uint64(den)-r {
		q++
	}
	if negative && q == 1<<63 {
		return math.MinInt64
	}
	if q > math.MaxInt64 {
		panic("journal.Cents.MulDiv: overflow")
	}
	if negative {
		return -Cents(q)
	}
	return Cents(q)
}
