package journal

import "math/bits"

// mul returns |a x b| in 128 bits and whether the product is negative.
func mul(a, b int64) (hi, lo uint64, negative bool) {
	hi, lo = bits.Mul64(magnitude(a), magnitude(b))
	return hi, lo, (a < 0) != (b < 0) && a != 0 && b != 0
}

// div returns the quotient and remainder of hi:lo by den. It panics when the
// quotient needs more than 64 bits.
func div(hi, lo, den uint64) (q, r uint64) { return bits.Div64(hi, lo, den) }

func magnitude(a int64) uint64 {
	if a < 0 {
		return uint64(-(a + 1)) + 1
	}
	return uint64(a)
}
