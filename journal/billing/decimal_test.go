package billing

import (
	"testing"

	"farbay/journal"
	"github.com/cockroachdb/apd/v3"
	"pgregory.net/rapid"
)

// Every rule that rounds against a decimal library, cockroachdb/apd, which is tested
// against the General Decimal Arithmetic suite (speleotrove.com/decimal/dectest.html).
// Its half up is half away from zero, as that specification has it.

var decimals = apd.BaseContext.WithPrecision(100)

// decimal does one operation of the library.
func decimal(t *rapid.T, op func(d, x, y *apd.Decimal) (apd.Condition, error), x, y *apd.Decimal) *apd.Decimal {
	t.Helper()
	d := new(apd.Decimal)
	if _, err := op(d, x, y); err != nil {
		t.Fatal(err)
	}
	return d
}

// quantized rounds to so many decimals.
func quantized(t *rapid.T, d *apd.Decimal, rounding apd.Rounder, places int32) *apd.Decimal {
	t.Helper()
	c := *decimals
	c.Rounding = rounding
	rounded := new(apd.Decimal)
	if _, err := c.Quantize(rounded, d, -places); err != nil {
		t.Fatal(err)
	}
	return rounded
}

// inCents reads an amount with two decimals.
func inCents(t *rapid.T, d *apd.Decimal) journal.Cents {
	t.Helper()
	whole := new(apd.Decimal).Set(d)
	whole.Exponent += 2
	n, err := whole.Int64()
	if err != nil {
		t.Fatal(err)
	}
	return journal.Cents(n)
}

func money(c journal.Cents) *apd.Decimal          { return apd.New(int64(c), -2) }
func rated(rate journal.BasisPoints) *apd.Decimal { return apd.New(int64(rate), -4) }

// edgeAmount draws among the amounts where rounding goes wrong, and any.
var edgeAmount = rapid.Custom(func(t *rapid.T) journal.Cents {
	return journal.Cents(rapid.OneOf(
		rapid.SampledFrom([]int64{0, 1, 7, 8, 12, 49, 50, 51, 1249, 1250, 6600, 9_999, 10_000, 10_001, int64(journal.MaxCents)}),
		rapid.Int64Range(0, int64(journal.MaxCents)),
	).Draw(t, "amount"))
})

// Third decimal by cutting off, then half up: SSUTA section 324, see tax_test.go.
func TestTax_AgainstDecimals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tax := anyTax.Draw(t, "tax")
		lines := rapid.SliceOfN(anySplit, 0, 4).Draw(t, "lines")
		sum, items := new(apd.Decimal), journal.Cents(0)
		rounded := func(exact *apd.Decimal) journal.Cents {
			return inCents(t, quantized(t, quantized(t, exact, apd.RoundDown, 3), apd.RoundHalfUp, 2))
		}
		for _, line := range lines {
			for _, k := range journal.LineKinds {
				raw := decimal(t, decimals.Mul, money(line.Of(k)), rated(tax.Rate(k)))
				items += rounded(raw)
				sum = decimal(t, decimals.Add, sum, raw)
			}
		}
		want := rounded(sum)
		if tax.PerLine {
			want = items
		}
		if got := tax.On(lines); got != want {
			t.Fatalf("%+v on %+v: %s; decimals give %s", tax, lines, got, want)
		}
	})
}

// One document on its own: what is held back and credited is no running total yet.
func TestFirstDocument_AgainstDecimals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value, rest, deposit := edgeAmount.Draw(t, "value"), edgeAmount.Draw(t, "rest"), edgeAmount.Draw(t, "deposit")
		if value == 0 {
			t.Skip("nothing to bill")
		}
		a := account(stage("one", value), stage("rest", rest))
		a.DepositReceived = deposit
		a.Terms.HoldbackRate = anyRate.Draw(t, "holdback")
		a.Terms.Crediting = rapid.SampledFrom([]Crediting{ProRata, ShareOfEach}).Draw(t, "crediting")
		if a.Terms.Crediting == ShareOfEach {
			a.Terms.DepositShare = anyRate.Draw(t, "share")
		}
		d, _, err := Next(*a, a.Unbilled("one"), today, "one")
		if err != nil {
			t.Fatal(err)
		}
		held := inCents(t, quantized(t, decimal(t, decimals.Mul, money(value), rated(a.Terms.HoldbackRate)), apd.RoundHalfUp, 2))
		credit := decimal(t, decimals.Quo, decimal(t, decimals.Mul, money(deposit), money(value)), money(value+rest))
		if a.Terms.Crediting == ShareOfEach && rest > 0 {
			credit = decimal(t, decimals.Mul, money(value), rated(a.Terms.DepositShare))
		}
		covered := min(inCents(t, quantized(t, credit, apd.RoundHalfUp, 2)), deposit, value-held)
		if d.Holdback != held || d.DepositCredit != covered || d.Payable != value-held-covered {
			t.Fatalf("holds %s, credits %s; decimals give %s and %s", d.Holdback, d.DepositCredit, held, covered)
		}
	})
}

// A limit is cut off, never rounded up.
func TestLimit_AgainstDecimals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		value, rest := max(edgeAmount.Draw(t, "value"), 1), edgeAmount.Draw(t, "rest")
		a := account(stage("one", value), stage("rest", rest))
		a.Terms.HoldbackRate = 500
		a.Terms.HoldbackCap = Limits[0].Name // 5 % of the payment and of the price
		d, _, err := Next(*a, a.Unbilled("one"), today, "one")
		if err != nil {
			t.Fatal(err)
		}
		want := inCents(t, quantized(t, decimal(t, decimals.Mul, money(value), rated(500)), apd.RoundFloor, 2))
		if d.Holdback != want {
			t.Fatalf("of %s %s is held; decimals give %s", value, d.Holdback, want)
		}
	})
}

// Every share is its exact quota cut off, or a cent more, and whoever got the cent
// had a fraction no smaller than whoever did not.
func TestApportion_AgainstDecimals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		total := edgeAmount.Draw(t, "total")
		weights := rapid.SliceOfN(rapid.Int64Range(0, 10_000), 1, 8).Draw(t, "weights")
		var all int64
		for _, w := range weights {
			all += w
		}
		if all == 0 {
			t.Skip("no weight")
		}
		parts, err := Apportion(total, weights)
		if err != nil {
			t.Fatal(err)
		}
		most, least := apd.New(-1, 0), apd.New(2, 0) // fractions without a cent more, and with one
		for i, w := range weights {
			quota := decimal(t, decimals.Quo, decimal(t, decimals.Mul, money(total), apd.New(w, 0)), apd.New(all, 0))
			cut := quantized(t, quota, apd.RoundFloor, 2)
			// Fractions that differ do so by 1/80,000 of a cent at least.
			fraction := quantized(t, decimal(t, decimals.Sub, quota, cut), apd.RoundHalfUp, 40)
			switch parts[i] - inCents(t, cut) {
			case 0:
				if fraction.Cmp(most) > 0 {
					most = fraction
				}
			case 1:
				if fraction.Cmp(least) < 0 {
					least = fraction
				}
			default:
				t.Fatalf("share %d is %s of a quota of %s", i, parts[i], quota)
			}
		}
		if most.Cmp(least) > 0 {
			t.Fatalf("%s by %v: %v leaves out a fraction of %s for one of %s", total, weights, parts, most, least)
		}
	})
}
