package media

import "encoding/binary"

// resampling makes a plane of len(x.first) by len(y.first) samples out of
// another, or the other way round if it transposes. It works down first, row by
// row, so that what lies between the passes is two rows.
//
// Two sums are kept in one 64-bit number, one in either half: a product of such
// a pair and a weight is a pair of products. Go has no vector instructions to
// offer; this does half of what they would. A negative lower sum borrows from
// the upper one, which split gives back.
type resampling struct {
	from         plane
	x, y         axis
	to           plane
	stepX, stepY int // in to.pix, per target column and row before transposing
}

func newResampling(from plane, x, y axis, transpose bool) resampling {
	r := resampling{from: from, x: x, y: y, to: plane{width: len(x.first), height: len(y.first)}}
	r.stepX, r.stepY = 1, r.to.width
	if transpose {
		r.stepX, r.stepY = r.to.height, 1
		r.to.width, r.to.height = r.to.height, r.to.width
	}
	r.to.stride = r.to.width
	r.to.pix = make([]uint8, r.to.width*r.to.height)
	return r
}

// resample is a whole resampling at once, not transposed.
func (p plane) resample(x, y axis) plane {
	r := newResampling(p, x, y, false)
	r.rows(0, len(y.first))
	return r.to
}

// bandRows is how many target rows are one task: enough of them for every core
// in any but the smallest pictures, even for pairs of rows.
const bandRows = 64

// bands are the tasks that the resampling consists of; each writes its own rows.
func (r resampling) bands() []func() {
	var out []func()
	for first := 0; first < len(r.y.first); first += bandRows {
		out = append(out, func() { r.rows(first, min(first+bandRows, len(r.y.first))) })
	}
	return out
}

// rows makes the target rows from first to before last, in pairs.
func (r resampling) rows(first, last int) {
	pairs := make([]uint64, r.from.width)
	upper := make([]int32, r.from.width)
	lower := make([]int32, r.from.width)
	for i := first; i < last; i += 2 {
		r.from.blendRows(lower, r.y.first[i], r.y.weights[i])
		second := min(i+1, last-1) // the last of an odd number is paired with itself
		r.from.blendRows(upper, r.y.first[second], r.y.weights[second])
		upper := upper[:len(pairs)]
		lower := lower[:len(pairs)]
		for x := range pairs {
			pairs[x] = uint64(int64(lower[x])) + uint64(int64(upper[x]))<<32
		}
		r.blendColumns(pairs, r.to.pix[i*r.stepY:], r.to.pix[second*r.stepY:])
	}
}

// blendColumns sums the columns of two rows by weight into two target rows.
func (r resampling) blendColumns(pairs []uint64, lower, upper []uint8) {
	const shift = weightBits + restBits
	const half = 1<<(shift-1) + 1<<(shift-1)<<32
	at := 0
	for j, start := range r.x.first {
		weights := r.x.weights[j]
		sum := uint64(half)
		from := pairs[start : start+len(weights)]
		for k, w := range weights {
			sum += from[k] * w
		}
		low, high := split(sum)
		lower[at], upper[at] = clamp8(low>>shift), clamp8(high>>shift)
		at += r.stepX
	}
}

// split takes a pair of sums apart.
func split(pair uint64) (lower, upper int32) {
	lower = int32(pair)
	return lower, int32((pair - uint64(int64(lower))) >> 32)
}

// blendRows sums rows from first on by weight into out, with restBits below the
// point.
func (p plane) blendRows(out []int32, first int, weights []uint64) {
	const (
		shift = weightBits - restBits
		half  = 1<<(shift-1) + 1<<(shift-1)<<32
		mask  = 0xff + 0xff<<32 // bytes 0 and 4 of eight
	)
	from := p.pix[first*p.stride:]
	x := 0
	for ; x+8 <= len(out); x += 8 {
		a, b, c, d := uint64(half), uint64(half), uint64(half), uint64(half)
		at := x
		for _, w := range weights {
			eight := binary.LittleEndian.Uint64(from[at:])
			a += eight & mask * w
			b += eight >> 8 & mask * w
			c += eight >> 16 & mask * w
			d += eight >> 24 & mask * w
			at += p.stride
		}
		to := (*[8]int32)(out[x:])
		for i, pair := range [4]uint64{a, b, c, d} {
			low, high := split(pair)
			to[i], to[i+4] = low>>shift, high>>shift
		}
	}
	for ; x < len(out); x++ {
		sum := int32(1 << (shift - 1))
		at := x
		for _, w := range weights {
			sum += int32(from[at]) * int32(w)
			at += p.stride
		}
		out[x] = sum >> shift
	}
}
