package billing

import (
	"testing"

	"farbay/journal"
	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

func TestTaxShares(t *testing.T) {
	for _, c := range []struct {
		name  string
		rates Tax
		lines []journal.Split
		want  []TaxShare
	}{
		{"two fractions make one cent, which goes to the larger", Tax{Labour: 333, Parts: 625},
			[]journal.Split{{Labour: 10, Parts: 10}}, // 0.333 and 0.625 of a cent: 1 cent
			[]TaxShare{{"labour", 333, 10, 0}, {"parts", 625, 10, 1}}},
		{"a kind that is not taxed is told too", Tax{Parts: 625},
			[]journal.Split{{Labour: 100_00, Parts: 16_00}},
			[]TaxShare{{"labour", 0, 100_00, 0}, {"parts", 625, 16_00, 1_00}}},
		{"per item each is rounded alone", Tax{Parts: 625, PerLine: true},
			[]journal.Split{{Parts: 10}, {Parts: 10}}, // 0.625 of a cent each: 1 cent each
			[]TaxShare{{"parts", 625, 20, 2}}},
		{"per item, lines that cancel out leave tax", Tax{Parts: 625, PerLine: true},
			[]journal.Split{{Parts: 10}, {Parts: 10}, {Parts: -20}}, // 1 + 1 - 1
			[]TaxShare{{"parts", 625, 0, 1}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			d := Document{}
			for _, line := range c.lines {
				d.Charges = append(d.Charges, Charge{Split: line})
			}
			_, d.Tax, _ = Totals(d.Charges, c.rates)
			if diff := cmp.Diff(c.want, TaxShares(d, c.rates)); diff != "" {
				t.Error(diff)
			}
		})
	}
}

// The shares make up the document's subtotal and tax to the cent, each is within a
// cent of its exact tax on the invoice basis, and what is taken back is the
// opposite, kind by kind.
func TestTaxShares_SumToTheTax(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rates := anyTax.Draw(t, "rates")
		var d, back Document
		for range rapid.IntRange(1, 4).Draw(t, "charges") {
			var s journal.Split
			for _, k := range journal.LineKinds {
				s = s.Plus(k, journal.Cents(rapid.Int64Range(-100_00, 1000_00).Draw(t, string(k))))
			}
			d.Charges, back.Charges = append(d.Charges, Charge{Split: s}), append(back.Charges, Charge{Split: negate(s)})
		}
		d.Subtotal, d.Tax, _ = Totals(d.Charges, rates)
		back.Tax = -d.Tax
		var base, tax journal.Cents
		shares, taken := TaxShares(d, rates), TaxShares(back, rates)
		for i, s := range shares {
			base, tax = base+s.Base, tax+s.Tax
			if s.Kind == "" || d.Tax != 0 && (taken[i].Tax != -s.Tax || taken[i].Base != -s.Base) {
				t.Fatalf("%+v; taken back %+v", shares, taken)
			}
			exactly := int64(s.Base) * int64(s.Rate)
			if off := int64(s.Tax)*int64(whole) - exactly; !rates.PerLine && (off <= -int64(whole) || off >= int64(whole)) {
				t.Fatalf("%+v is a cent or more from its exact tax", s)
			}
		}
		if base != d.Subtotal || tax != d.Tax {
			t.Fatalf("%+v come to %s and %s; want %s and %s", shares, base, tax, d.Subtotal, d.Tax)
		}
	})
}
