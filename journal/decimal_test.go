package journal

import (
	"testing"

	"github.com/cockroachdb/apd/v3"
	"pgregory.net/rapid"
)

// Rounding against a decimal library, cockroachdb/apd, which is tested against the
// General Decimal Arithmetic suite (speleotrove.com/decimal/dectest.html). Its half
// up is half away from zero, as that specification has it.

// decimals is wide enough that no quotient of two int64 comes near a half by being
// cut off.
var decimals = apd.BaseContext.WithPrecision(100)

// toCents rounds an amount of the currency's unit half up, to cents.
func toCents(t *rapid.T, d *apd.Decimal) Cents {
	t.Helper()
	c := *decimals
	c.Rounding = apd.RoundHalfUp
	rounded := new(apd.Decimal)
	if _, err := c.Quantize(rounded, d, -2); err != nil {
		t.Fatal(err)
	}
	rounded.Exponent = 0 // in cents
	n, err := rounded.Int64()
	if err != nil {
		t.Fatal(err)
	}
	return Cents(n)
}

// amounts draws among the amounts where rounding goes wrong, and any.
var amounts = rapid.OneOf(
	rapid.SampledFrom([]int64{0, 1, 2, 3, 49, 50, 51, 99, 100, 101, 9_999, 10_000, 10_001, int64(MaxCents) - 1, int64(MaxCents)}),
	rapid.Int64Range(0, int64(MaxCents)),
)

func TestCents_MulDiv_AgainstDecimals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		amount, num := amounts.Draw(t, "amount"), amounts.Draw(t, "num")
		den := max(amounts.Draw(t, "den"), num, 1) // a share of at most one
		if rapid.Bool().Draw(t, "credit") {
			amount = -amount
		}
		d := new(apd.Decimal)
		if _, err := decimals.Mul(d, apd.New(amount, -2), apd.New(num, 0)); err != nil {
			t.Fatal(err)
		}
		if _, err := decimals.Quo(d, d, apd.New(den, 0)); err != nil {
			t.Fatal(err)
		}
		if got, want := Cents(amount).MulDiv(num, den), toCents(t, d); got != want {
			t.Fatalf("%d x %d / %d: %d; decimals give %d", amount, num, den, got, want)
		}
	})
}

// Minutes at a rate an hour, and a cost with its mark-up.
func TestWork_Reckon_AgainstDecimals(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := Work{Kind: Labour, Rate: Cents(amounts.Draw(t, "rate")), Minutes: rapid.IntRange(0, 24*60).Draw(t, "minutes")}
		d := new(apd.Decimal)
		if _, err := decimals.Mul(d, apd.New(int64(w.Rate), -2), apd.New(int64(w.Minutes), 0)); err != nil {
			t.Fatal(err)
		}
		if _, err := decimals.Quo(d, d, apd.New(60, 0)); err != nil {
			t.Fatal(err)
		}
		if got, want := w.Reckon(), toCents(t, d); got != want {
			t.Fatalf("%d minutes at %s: %s; decimals give %s", w.Minutes, w.Rate, got, want)
		}

		w = Work{Kind: rapid.SampledFrom([]LineKind{Parts, Outside}).Draw(t, "kind"), Cost: Cents(amounts.Draw(t, "cost")), MarkUp: BasisPoints(rapid.Int64Range(0, 10_000).Draw(t, "mark-up"))}
		if _, err := decimals.Mul(d, apd.New(int64(w.Cost), -2), apd.New(10_000+int64(w.MarkUp), -4)); err != nil {
			t.Fatal(err)
		}
		if got, want := w.Reckon(), toCents(t, d); got != want {
			t.Fatalf("%s and %d basis points: %s; decimals give %s", w.Cost, w.MarkUp, got, want)
		}
	})
}

// Worked by hand: 7 minutes at 95.00 an hour are 11.0833; 50 at 0.03 are 0.025,
// half a cent; 0.30 and 5 % is 0.315.
func TestWork_Reckon(t *testing.T) {
	for _, c := range []struct {
		work Work
		want Cents
	}{
		{Work{Kind: Labour, Rate: 9500, Minutes: 7}, 11_08},
		{Work{Kind: Labour, Rate: 3, Minutes: 50}, 3},
		{Work{Kind: Labour, Rate: 3, Minutes: 49}, 2},
		{Work{Kind: Parts, Cost: 30, MarkUp: 500}, 32},
		{Work{Kind: Outside, Cost: 29, MarkUp: 500}, 30},
		{Work{Kind: Outside, Cost: MaxCents, MarkUp: 10_000}, 2 * MaxCents},
	} {
		if got := c.work.Reckon(); got != c.want {
			t.Errorf("%+v: %s; want %s", c.work, got, c.want)
		}
	}
}
