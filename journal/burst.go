package journal

import (
	"cmp"
	"math/bits"
	"slices"
	"strconv"
	"time"
)

const (
	// BurstGap is how far apart, at most, shots of one burst were taken. The
	// trade has no rule; it is long enough to step back and press again.
	BurstGap = 20 * time.Second
	// burstBits is the most bits in which the perceptual hashes of two shots of
	// one burst differ, the same as package media's Alike.
	burstBits = 10
)

// SameBurst reports whether two photos look like shots of the same moment: their
// hashes are alike, they come from one camera as far as cameras are known, and
// they were taken at most [BurstGap] apart as far as both times are
// [Photo.Dated]. It is a suggestion, no more.
func SameBurst(a, b Photo) bool {
	if !alike(a.Hash, b.Hash) || a.Camera != "" && b.Camera != "" && a.Camera != b.Camera {
		return false
	}
	return !a.Dated() || !b.Dated() || a.CapturedAt.Sub(b.CapturedAt).Abs() <= BurstGap
}

// alike compares two perceptual hashes of 16 hexadecimal digits. A photo without
// one is like no other.
func alike(a, b string) bool {
	x, errX := strconv.ParseUint(a, 16, 64)
	y, errY := strconv.ParseUint(b, 16, 64)
	return errX == nil && errY == nil && bits.OnesCount64(x^y) <= burstBits
}

// Bursts finds the bursts among photos that are shown together: groups of two or
// more of which any two are of the [SameBurst], so that a slow walk around a truck
// does not become one long burst. In each group the best guess stands first, see
// [Best], then the others in the order of capture. The order of the photos given
// does not matter, and no photo is in two bursts. Groups are in the order of their
// first shots. Pure.
func Bursts(photos []Photo) [][]Photo {
	inOrder := slices.Clone(photos)
	slices.SortFunc(inOrder, func(a, b Photo) int {
		return cmp.Or(a.CapturedAt.Compare(b.CapturedAt), cmp.Compare(a.ID, b.ID))
	})
	inOrder = slices.CompactFunc(inOrder, func(a, b Photo) bool { return a.ID == b.ID })
	var groups [][]Photo
	for _, p := range inOrder {
		fits := func(group []Photo) bool {
			return !slices.ContainsFunc(group, func(q Photo) bool { return !SameBurst(p, q) })
		}
		if i := slices.IndexFunc(groups, fits); i >= 0 {
			groups[i] = append(groups[i], p)
		} else {
			groups = append(groups, []Photo{p})
		}
	}
	groups = slices.DeleteFunc(groups, func(group []Photo) bool { return len(group) < 2 })
	for _, group := range groups {
		i := Best(group)
		best := group[i]
		copy(group[1:i+1], group[:i])
		group[0] = best
	}
	return groups
}

// Best guesses the best of a burst and returns its place: the one with the most
// pixels; of those the largest file, because a blurred picture has less in it to
// store; of those the one that comes last, because people press again until they
// like what they see. Sharpness itself is not measured. -1 for none.
func Best(burst []Photo) int {
	best := -1
	for i, p := range burst {
		if best < 0 || cmp.Or(cmp.Compare(p.Width*p.Height, burst[best].Width*burst[best].Height), cmp.Compare(p.Bytes, burst[best].Bytes)) >= 0 {
			best = i
		}
	}
	return best
}
