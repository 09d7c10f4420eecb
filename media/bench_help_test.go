package media

import (
	"slices"
	"testing"
	"time"
)

// reportRatio reports the median of ours[i] / theirs[i]: the two of a round ran
// one after the other, so what else the machine did hit both.
func reportRatio(b *testing.B, unit string, ours, theirs []time.Duration) {
	b.Helper()
	ratios := make([]float64, len(ours))
	for i := range ours {
		ratios[i] = float64(ours[i]) / float64(theirs[i])
	}
	slices.Sort(ratios)
	b.ReportMetric(ratios[len(ratios)/2], unit)
	slices.Sort(ours)
	slices.Sort(theirs)
	b.ReportMetric(float64(ours[len(ours)/2].Milliseconds()), "ms_ours")
	b.ReportMetric(float64(theirs[len(theirs)/2].Milliseconds()), "ms_theirs")
}
