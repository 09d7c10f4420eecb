package billing

import (
	"cmp"
	"slices"

	"farbay/journal"
)

// TaxShare is what a document charges in one line kind, and how much of its tax is
// for that.
type TaxShare struct {
	Kind journal.LineKind // "" for tax of which the rate is not known
	Rate journal.BasisPoints
	Base journal.Cents // before tax; at a rate of 0 what is not taxed
	Tax  journal.Cents
}

// TaxShares divides a document's tax over the kinds of its lines, at the rates it
// was issued at, in the order of [journal.LineKinds]; kinds that are not on it are
// left out. The shares sum to exactly d.Subtotal and d.Tax (package comment,
// "Books"). Pure.
func TaxShares(d Document, rates Tax) []TaxShare {
	var shares []TaxShare
	var fractions []int64 // of a cent, in ten-thousandths, of each share
	left := d.Tax
	for _, k := range journal.LineKinds {
		s := TaxShare{Kind: k, Rate: rates.Rate(k)}
		var sum exact
		for _, c := range d.Charges {
			s.Base += c.Split.Of(k)
			sum.add(c.Split.Of(k), s.Rate)
			if rates.PerLine {
				s.Tax += sum.round()
				sum = exact{}
			}
		}
		if s.Base == 0 && s.Tax == 0 {
			continue
		}
		if d.Tax < 0 {
			sum = exact{-sum.cents, -sum.parts}
		}
		if sum.parts < 0 {
			sum = exact{sum.cents - 1, sum.parts + int64(whole)}
		}
		if d.Tax < 0 {
			s.Tax -= journal.Cents(sum.cents)
		} else {
			s.Tax += journal.Cents(sum.cents)
		}
		left -= s.Tax
		shares, fractions = append(shares, s), append(fractions, sum.parts)
	}
	one := journal.Cents(1)
	if left < 0 {
		one = -1
	}
	for _, i := range largest(fractions) {
		if left == 0 {
			break
		}
		if shares[i].Rate != 0 && !rates.PerLine {
			shares[i].Tax += one
			left -= one
		}
	}
	if left != 0 {
		shares = append(shares, TaxShare{Tax: left})
	}
	return shares
}

// largest returns the indexes of the fractions, the largest first, the first of
// equals first.
func largest(fractions []int64) []int {
	order := make([]int, len(fractions))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(fractions[y], fractions[x]) })
	return order
}
