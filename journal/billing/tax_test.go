package billing

import (
	"math/big"
	"slices"
	"testing"

	"farbay/journal"
	"pgregory.net/rapid"
)

// Vectors worked from the rule of SSUTA section 324 (R.I. Gen. Laws
// 44-18.1-25; N.D. Admin. Code 81-04.1-01-29: third decimal 4 or less down, over
// 4 up). Each amount and rate make exactly the raw tax of the comment.
func TestTax_ThirdDecimal(t *testing.T) {
	for _, tc := range []struct {
		amount string
		rate   journal.BasisPoints
		want   string
		why    string
	}{
		{"12.49", 100, "0.12", "0.1249: rounding twice, to 0.125 first, gives 0.13"},
		{"7.81", 160, "0.12", "0.12496: the same trap, one digit on"},
		{"12.50", 100, "0.13", "0.1250: half to even gives 0.12"},
		{"66.00", 625, "4.13", "4.125: half to even gives 4.12"},
		{"700.49", 100, "7.00", "7.0049"},
		{"700.50", 100, "7.01", "7.0050"},
		{"0.00", 625, "0.00", "nothing"},
		{"99,999,999.99", 10_000, "99,999,999.99", "the largest amount at 100 %"},
	} {
		tax := Tax{Parts: tc.rate}
		amount := cents(t, tc.amount)
		same(t, tc.why, tax.On([]journal.Split{{Parts: amount}}), cents(t, tc.want))
		// Our own rule: a credit takes back what was charged. Half up would give
		// -0.12 for the third vector.
		same(t, "credit of "+tc.why, tax.On([]journal.Split{{Parts: -amount}}), -cents(t, tc.want))
		tax.PerLine = true
		same(t, "item basis, "+tc.why, tax.On([]journal.Split{{Parts: amount}}), cents(t, tc.want))
	}
}

// Three items of 0.08 at 6.25 % are 0.005 each: 0.01 each on the item basis,
// 0.015 or 0.02 together on the invoice basis. SSUTA section 324 leaves the
// choice to the seller; the figures are worked by us.
func TestTax_ItemOrInvoiceBasis(t *testing.T) {
	lines := []journal.Split{{Parts: 8}, {Parts: 8}, {Parts: 8}}
	same(t, "invoice basis", Tax{Parts: 625}.On(lines), 2)
	same(t, "item basis", Tax{Parts: 625, PerLine: true}.On(lines), 3)
	mixed := []journal.Split{{Parts: 8, Labour: 8, Outside: 8, Delivery: 8, Other: 8}}
	rates := Tax{Parts: 625, Labour: 625, Outside: 625, Delivery: 625, Other: 625}
	same(t, "kinds of one charge, invoice basis", rates.On(mixed), 3) // 0.025
	rates.PerLine = true
	same(t, "kinds of one charge, item basis", rates.On(mixed), 5)
}

// window.state.tx.us/taxinfo/taxpubs/tx94_113.html: 10.00 of labour and 9.95 of
// materials charged separately: tax only on 9.95. At 100 % the tax is its base.
func TestTax_OnlyOnTaxedKinds(t *testing.T) {
	same(t, "tax base", Tax{Parts: 10_000}.On([]journal.Split{{Labour: 1000, Parts: 995}}), 995)
}

// Amounts of both signs on one invoice leave exactly half a cent: 100.00 less
// 50.00 at 0.01 % is 0.005, which the rule rounds up. Worked by us.
func TestTax_HalfCentOfMixedSigns(t *testing.T) {
	tax := Tax{Labour: 1, Parts: 1}
	same(t, "charge", tax.On([]journal.Split{{Parts: 100_00, Labour: -50_00}}), 1)
	same(t, "credit", tax.On([]journal.Split{{Parts: -100_00, Labour: 50_00}}), -1)
}

// Every line kind has a rate of its own.
func TestTax_RateOfEveryKind(t *testing.T) {
	tax := Tax{Labour: 1, Parts: 2, Outside: 3, Delivery: 4, Other: 5}
	for i, k := range journal.LineKinds {
		if got := tax.Rate(k); got != journal.BasisPoints(i+1) {
			t.Errorf("%s: %d; want %d", k, got, i+1)
		}
	}
	if got := tax.Rate("fuel"); got != 0 {
		t.Errorf("unknown kind: %d", got)
	}
}

// thirdDecimal is the rule word for word, in exact rationals: carry to the
// third decimal of the currency unit, then up when that digit is over four.
func thirdDecimal(centsExact *big.Rat) journal.Cents {
	mills := new(big.Rat).Mul(centsExact, big.NewRat(10, 1))
	carried := new(big.Int).Quo(mills.Num(), mills.Denom()).Int64() // towards zero
	sign := int64(1)
	if carried < 0 {
		sign, carried = -1, -carried
	}
	whole, digit := carried/10, carried%10
	if digit > 4 {
		whole++
	}
	return journal.Cents(sign * whole)
}

func exactTax(amount journal.Cents, rate journal.BasisPoints) *big.Rat {
	return new(big.Rat).Mul(big.NewRat(int64(amount), 1), big.NewRat(int64(rate), 10_000))
}

// referenceTax is Tax.On by the rule word for word.
func referenceTax(tax Tax, lines []journal.Split) journal.Cents {
	var items journal.Cents
	all := new(big.Rat)
	for _, l := range lines {
		for _, part := range []struct {
			amount journal.Cents
			rate   journal.BasisPoints
		}{{l.Labour, tax.Labour}, {l.Parts, tax.Parts}, {l.Outside, tax.Outside}, {l.Delivery, tax.Delivery}, {l.Other, tax.Other}} {
			items += thirdDecimal(exactTax(part.amount, part.rate))
			all.Add(all, exactTax(part.amount, part.rate))
		}
	}
	if tax.PerLine {
		return items
	}
	return thirdDecimal(all)
}

var (
	anyRate = rapid.Custom(func(t *rapid.T) journal.BasisPoints {
		return journal.BasisPoints(rapid.Int64Range(0, 10_000).Draw(t, "rate"))
	})
	anyTax = rapid.Custom(func(t *rapid.T) Tax {
		return Tax{anyRate.Draw(t, "labour"), anyRate.Draw(t, "parts"), anyRate.Draw(t, "outside"), anyRate.Draw(t, "delivery"), anyRate.Draw(t, "other"), rapid.Bool().Draw(t, "per line")}
	})
	anySplit = rapid.Custom(func(t *rapid.T) journal.Split {
		size := rapid.SampledFrom([]int64{3, 10_000, 2_000_000, int64(journal.MaxCents)}).Draw(t, "size")
		amount := func(kind string) journal.Cents { return journal.Cents(rapid.Int64Range(-size, size).Draw(t, kind)) }
		return journal.Split{Labour: amount("labour"), Parts: amount("parts"), Outside: amount("outside"), Delivery: amount("delivery"), Other: amount("other")}
	})
)

func TestTax_AgainstRationals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tax := anyTax.Draw(t, "tax")
		lines := rapid.SliceOfN(anySplit, 0, 8).Draw(t, "lines")
		got := tax.On(lines)
		if want := referenceTax(tax, lines); got != want {
			t.Fatalf("tax %s; the rule gives %s", got, want)
		}
		credit := make([]journal.Split, len(lines))
		for i, l := range lines {
			credit[i] = negate(l)
		}
		if back := tax.On(credit); back != -got {
			t.Fatalf("charged %s and credited %s", got, back)
		}
	})
}

// Tax is rounded on the total as a whole: 0.08 at 6.25 % bears 0.01 (0.005), and
// so does 0.16 (0.010), so a change from one to the other bears none. Worked by
// us from the third-decimal rule.
func TestTotals(t *testing.T) {
	part := Charge{Ref: "a", Source: ChangeOrder, Split: journal.Split{Parts: 8}}
	for n, want := range [][3]journal.Cents{{0, 0, 0}, {8, 1, 9}, {16, 1, 17}, {24, 2, 26}} {
		before, taxed, with := Totals(slices.Repeat([]Charge{part}, n), Tax{Parts: 625})
		if got := [3]journal.Cents{before, taxed, with}; got != want {
			t.Errorf("%d times 0.08: %v; want %v", n, got, want)
		}
	}
}
