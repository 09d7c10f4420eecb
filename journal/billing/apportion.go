package billing

import (
	"math"
	"math/bits"
	"sort"

	"farbay/journal"
)

// Apportion divides total by weights and returns one amount per weight, in the
// same order. The amounts add up to exactly total; a negative total divides as
// its positive counterpart.
//
// Weights are 0 or more and only their proportions matter. Rounding: largest
// remainder, the first of equal fractions first (package comment, "Shares").
//
// It returns [journal.Invalid] when there is no weight above zero, when one is
// negative, or when they add up to more than an int64 holds. Pure.
func Apportion(total journal.Cents, weights []int64) ([]journal.Cents, error) {
	var sum int64
	for _, w := range weights {
		if w < 0 || w > math.MaxInt64-sum {
			return nil, journal.Errorf(journal.Invalid, "Shares must be zero or more, and not this large.")
		}
		sum += w
	}
	if sum == 0 {
		return nil, journal.Errorf(journal.Invalid, "Please give at least one share above zero.")
	}
	amount, sign := uint64(total), journal.Cents(1)
	if total < 0 {
		amount, sign = -amount, -1
	}
	parts := make([]journal.Cents, len(weights))
	fractions := make([]uint64, len(weights)) // of a cent, in units of 1/sum
	order := make([]int, len(weights))
	left := amount
	for i, w := range weights {
		hi, lo := bits.Mul64(amount, uint64(w))
		q, r := bits.Div64(hi, lo, uint64(sum))
		parts[i], fractions[i], order[i] = sign*journal.Cents(q), r, i
		left -= q
	}
	sort.SliceStable(order, func(i, j int) bool { return fractions[order[i]] > fractions[order[j]] })
	for _, i := range order[:left] {
		parts[i] += sign
	}
	return parts, nil
}

// Shares says how an amount divides over the line kinds. They add up to 100 %.
type Shares struct {
	Labour, Parts, Outside, Delivery, Other journal.BasisPoints
}

// Validate returns a [journal.Invalid] error unless every share is 0 or more
// and they add up to exactly 100 %.
func (s Shares) Validate() error {
	var sum journal.BasisPoints
	for _, share := range []journal.BasisPoints{s.Labour, s.Parts, s.Outside, s.Delivery, s.Other} {
		if share < 0 || share > whole {
			return journal.Errorf(journal.Invalid, "Each share must be from 0 to 100 %%; %s %% is not.", FormatRate(share))
		}
		sum += share
	}
	if sum != whole {
		return journal.Errorf(journal.Invalid, "The shares of labour, parts, outside work, delivery and other must add up to 100 %%; these make %s %%.", FormatRate(sum))
	}
	return nil
}

// SplitBy divides one amount, such as a stage's value entered as a total, over
// the line kinds. The parts add up to exactly total. Rounding is that of
// [Apportion], equal fractions going in the order of [journal.LineKinds];
// errors are those of [Shares.Validate]. Pure.
func SplitBy(total journal.Cents, s Shares) (journal.Split, error) {
	if err := s.Validate(); err != nil {
		return journal.Split{}, err
	}
	p, err := Apportion(total, []int64{int64(s.Labour), int64(s.Parts), int64(s.Outside), int64(s.Delivery), int64(s.Other)})
	if err != nil {
		return journal.Split{}, err
	}
	return journal.Split{Labour: p[0], Parts: p[1], Outside: p[2], Delivery: p[3], Other: p[4]}, nil
}
