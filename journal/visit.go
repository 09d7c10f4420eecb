package journal

import "time"

// VisitGap is how long a person must have been away for the next look to count
// as a new visit.
const VisitGap = 30 * time.Minute

// Visit is one person's looks at one build, for the mark "new since".
type Visit struct {
	BuildID  BuildID
	PersonID PersonID
	LastAt   time.Time // last look
	PriorAt  time.Time // end of the visit before the present one; zero on the first
}

// Look returns the record after a look at now.
func (v Visit) Look(now time.Time) Visit {
	if !v.LastAt.IsZero() && now.Sub(v.LastAt) > VisitGap {
		v.PriorAt = v.LastAt
	}
	if now.After(v.LastAt) {
		v.LastAt = now
	}
	return v
}
