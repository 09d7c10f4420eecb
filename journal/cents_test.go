package journal

import (
	"math"
	"math/big"
	"regexp"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseCents(t *testing.T) {
	for _, tc := range []struct {
		in   string
		want Cents
		why  string
	}{
		{"1234", 123400, "no decimals"},
		{"1,234.50", 123450, "grouped"},
		{"$1,234.5", 123450, "one decimal is tenths"},
		{"-20", -2000, "credit"},
		{"\u221220", -2000, "the minus sign of a typesetter"},
		{"+3.07", 307, "explicit plus"},
		{" - $ 3.07 ", -307, "blanks"},
		{"0.01", 1, "one cent"},
		{"-0", 0, "there is one zero"},
		{"000012", 1200, "leading zeros"},
		{"99,999,999.99", MaxCents, "the largest"},
		{"-99999999.99", -MaxCents, "the smallest"},
	} {
		if got, err := ParseCents(tc.in); err != nil || got != tc.want {
			t.Errorf("%s: ParseCents(%q) = %d, %v; want %d", tc.why, tc.in, got, err, tc.want)
		}
	}
}

// Amounts that must be refused with a sentence: unfinished ones, too many
// decimals or digits, and what strconv, a float or a lax grouping lets through.
func TestParseCents_Refuses(t *testing.T) {
	for _, in := range []string{
		"-", "12e3", "1,234.505", "1234567890",
		"", " ", "$", "+", ".", ".5", "5.", "1.2.3", "1,23", "1,2345", ",123", "1,,234", "12,34,567",
		"0x10", "1_000", "NaN", "Inf", "-\u22125", "--5", "+-5", "$-5", "5-", "(5)", "1 234", "5 USD",
		"\u0661\u0662", "100,000,000", "99999999999999999999999",
	} {
		got, err := ParseCents(in)
		if CodeOf(err) != Invalid || got != 0 {
			t.Errorf("ParseCents(%q) = %d, %v; want an Invalid error", in, got, err)
			continue
		}
		if m := MessageOf(err); !strings.HasSuffix(m, ".") || len(m) < 20 {
			t.Errorf("ParseCents(%q): %q is no whole sentence", in, m)
		}
	}
}

// typed is the grammar of an amount, written independently of ParseCents.
var typed = regexp.MustCompile(`^[\s\x{85}\v\p{Z}]*([-+\x{2212}]?)[\s\x{85}\v\p{Z}]*\$?[\s\x{85}\v\p{Z}]*(\d{1,3}(?:,\d{3})+|\d+)(?:\.(\d{1,2}))?[\s\x{85}\v\p{Z}]*$`)

// reference reads an amount with the grammar above and math/big.
func reference(s string) (Cents, bool) {
	m := typed.FindStringSubmatch(s)
	if m == nil {
		return 0, false
	}
	r, ok := new(big.Rat).SetString(strings.ReplaceAll(m[2], ",", "") + "." + m[3] + "0")
	if !ok {
		return 0, false
	}
	r.Mul(r, big.NewRat(100, 1))
	if !r.IsInt() || r.Cmp(big.NewRat(int64(MaxCents), 1)) > 0 {
		return 0, false
	}
	c := Cents(r.Num().Int64())
	if m[1] == "-" || m[1] == "\u2212" {
		c = -c
	}
	return c, true
}

func FuzzParseCents(f *testing.F) {
	for _, s := range []string{
		"1,234.5", "-", "12e3", "1234567890", "$1,234.50", "-\u22125", "\u2212 $ 7", "+0.07", "99,999,999.99",
		"100,000,000", "1,23", "\u00a05\u2003", "5\x00", "\u0665", "0,001", "5\x85", "1.999",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		got, err := ParseCents(s)
		want, ok := reference(s)
		if ok != (err == nil) || got != want {
			t.Fatalf("ParseCents(%q) = %d, %v; the reference says %d, %v", s, got, err, want, ok)
		}
		if err != nil && CodeOf(err) != Invalid {
			t.Fatalf("ParseCents(%q): code %q", s, CodeOf(err))
		}
		if err == nil {
			if again, err := ParseCents(got.String()); err != nil || again != got {
				t.Fatalf("%q became %d, written %q, read back %d, %v", s, got, got.String(), again, err)
			}
		}
	})
}

func TestCents_String(t *testing.T) {
	for c, want := range map[Cents]string{
		0: "0.00", 7: "0.07", -7: "-0.07", 100: "1.00", 99999: "999.99", 100000: "1,000.00",
		-123456789: "-1,234,567.89", 100000500: "1,000,005.00",
		math.MaxInt64: "92,233,720,368,547,758.07",
		math.MinInt64: "-92,233,720,368,547,758.08",
	} {
		if got := c.String(); got != want {
			t.Errorf("Cents(%d).String() = %q; want %q", int64(c), got, want)
		}
	}
	for c, want := range map[Cents]string{300: "+3.00", -300: "-3.00", 0: "0.00"} {
		if got := c.Signed(); got != want {
			t.Errorf("Cents(%d).Signed() = %q; want %q", int64(c), got, want)
		}
	}
}

// MulDiv against exact rationals: half away from zero.
func TestCents_MulDiv_AgainstRationals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := rapid.Int64().Draw(t, "c")
		den := rapid.Int64Range(1, math.MaxInt64).Draw(t, "den")
		num := rapid.Int64Range(-den, den).Draw(t, "num")
		if rapid.Bool().Draw(t, "tie") {
			den = 2 // every odd product is a tie
			num = rapid.Int64Range(-2, 2).Draw(t, "num of two")
		}
		exact := new(big.Rat).Mul(big.NewRat(c, 1), big.NewRat(num, den))
		want := halfAway(exact)
		if !want.IsInt64() {
			t.Skip("2^63 does not fit")
		}
		if got := Cents(c).MulDiv(num, den); int64(got) != want.Int64() {
			t.Fatalf("%d x %d / %d = %d; want %s", c, num, den, got, want)
		}
	})
}

func halfAway(r *big.Rat) *big.Int {
	twice := new(big.Int).Abs(r.Num())
	twice.Add(twice.Lsh(twice, 1), r.Denom())
	q := twice.Quo(twice, new(big.Int).Lsh(r.Denom(), 1))
	if r.Sign() < 0 {
		q.Neg(q)
	}
	return q
}

func TestCents_MulDiv_Panics(t *testing.T) {
	for _, tc := range []struct {
		name     string
		c        Cents
		num, den int64
	}{
		{"denominator zero", 1, 1, 0},
		{"denominator negative", 1, 1, -1},
		{"quotient beyond 64 bits", math.MaxInt64, math.MaxInt64, 1},
		{"quotient beyond 63 bits", math.MaxInt64, 2, 1},
	} {
		t.Run(tc.name, func(t *testing.T) {
			defer func() {
				if recover() == nil {
					t.Error("no panic: a wrong amount would have been returned")
				}
			}()
			tc.c.MulDiv(tc.num, tc.den)
		})
	}
}
