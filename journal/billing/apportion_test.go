package billing

import (
	"math"
	"math/big"
	"slices"
	"testing"

	"farbay/journal"
	"pgregory.net/rapid"
)

func TestApportion_LargestRemainder(t *testing.T) {
	for _, tc := range []struct {
		total   journal.Cents
		weights []int64
		want    []journal.Cents
		source  string
	}{
		{44, []int64{21878, 9713, 4167, 3252, 1065}, []journal.Cents{24, 11, 5, 3, 1}, "npmjs.com/package/apportionment"},
		{43, []int64{21878, 9713, 4167, 3252, 1065}, []journal.Cents{24, 10, 4, 4, 1}, "the same; one seat less gives the fourth one more (the paradox)"},
		{10, []int64{1, 2, 3}, []journal.Cents{2, 3, 5}, "pypi.org/project/largest-remainder"},
		{10000, []int64{1, 1, 1}, []journal.Cents{3334, 3333, 3333}, "worked by us"},
		{10001, []int64{1, 1, 1}, []journal.Cents{3334, 3334, 3333}, "worked by us"},
		{9999, []int64{50, 25, 25}, []journal.Cents{4999, 2500, 2500}, "worked by us"},
		{-9999, []int64{50, 25, 25}, []journal.Cents{-4999, -2500, -2500}, "worked by us: as its positive counterpart"},
		{5, []int64{0, 7, 0}, []journal.Cents{0, 5, 0}, "worked by us: no weight, no share"},
	} {
		got, err := Apportion(tc.total, tc.weights)
		if err != nil || !slices.Equal(got, tc.want) {
			t.Errorf("%d by %v: %v, %v; want %v (%s)", tc.total, tc.weights, got, err, tc.want, tc.source)
		}
	}
}

func TestApportion_Refuses(t *testing.T) {
	for name, weights := range map[string][]int64{
		"none": {}, "only zeros": {0, 0}, "negative": {3, -1}, "sum beyond int64": {math.MaxInt64, 1},
	} {
		if got, err := Apportion(100, weights); journal.CodeOf(err) != journal.Invalid || got != nil {
			t.Errorf("%s: %v, %v; want an Invalid error", name, got, err)
		}
	}
}

// Nothing appears or vanishes, and every part is less than a cent off its exact
// share (the quota rule that largest remainder keeps), in exact rationals.
func TestApportion_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		total := rapid.Int64().Draw(t, "total")
		weights := rapid.SliceOfN(rapid.Int64Range(0, math.MaxInt64/8), 1, 8).Draw(t, "weights")
		sum := new(big.Int)
		for _, w := range weights {
			sum.Add(sum, big.NewInt(w))
		}
		parts, err := Apportion(journal.Cents(total), weights)
		if sum.Sign() == 0 {
			if err == nil {
				t.Fatal("all weights are zero and it divided")
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		back := new(big.Int)
		for i, p := range parts {
			back.Add(back, big.NewInt(int64(p)))
			exact := new(big.Rat).SetFrac(new(big.Int).Mul(big.NewInt(total), big.NewInt(weights[i])), sum)
			off := exact.Sub(exact, big.NewRat(int64(p), 1))
			if off.Abs(off).Cmp(big.NewRat(1, 1)) >= 0 {
				t.Fatalf("part %d is %d, off by %s", i, p, off)
			}
		}
		if back.Int64() != total {
			t.Fatalf("%v add up to %s; want %d", parts, back, total)
		}
	})
}

func TestSplitBy(t *testing.T) {
	// 99.99 by 50/25/25 as above, the kinds named.
	got, err := SplitBy(9999, Shares{Labour: 5000, Parts: 2500, Outside: 2500})
	if want := (journal.Split{Labour: 4999, Parts: 2500, Outside: 2500}); err != nil || got != want {
		t.Errorf("got %+v, %v; want %+v", got, err, want)
	}
	got, err = SplitBy(1_000_00, Shares{Labour: 1000, Parts: 1500, Outside: 2000, Delivery: 2500, Other: 3000})
	if want := (journal.Split{Labour: 100_00, Parts: 150_00, Outside: 200_00, Delivery: 250_00, Other: 300_00}); err != nil || got != want {
		t.Errorf("each kind its own share: %+v, %v; want %+v", got, err, want)
	}
	for name, s := range map[string]Shares{
		"99.99 %": {Labour: 9999}, "101 %": {Labour: 5000, Parts: 5100}, "nothing": {},
		"negative": {Labour: 10_100, Parts: -100}, "overflowing": {Labour: math.MaxInt64, Parts: math.MaxInt64, Other: 2 + 10_000},
	} {
		if got, err := SplitBy(100, s); journal.CodeOf(err) != journal.Invalid || got != (journal.Split{}) {
			t.Errorf("%s: %+v, %v; want an Invalid error", name, got, err)
		}
	}
}
