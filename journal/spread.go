package journal

import "time"

// Dated reports whether the photo's capture time is known from its file and
// nothing speaks against it, so that it can decide where the photo belongs.
func (p Photo) Dated() bool {
	// A file that claims no time is dated by its receipt.
	return !p.CapturedAt.IsZero() && !p.CapturedAt.Equal(p.ReceivedAt) && p.CapturedDoubt == ""
}

// StageShare is the photos of a batch that belong to one stage, in the batch's
// order.
type StageShare struct {
	StageID StageID
	Photos  []EntryPhoto
}

// Spread divides a batch of photos over the stages that were under way when
// they were taken, by the turns of a build in the order of time. of knows the
// photos by id.
//
// A photo goes with the chosen stage if that was under way at its capture time,
// or if no stage was, or if its time is not [Photo.Dated]; else with the stage
// of [StageAt]. With no stage chosen the last two have the stage "".
//
// Every photo is in exactly one share, no share is empty, and the shares are in
// the order of their first photos. Pure.
func Spread(turns []Turn, chosen StageID, photos []EntryPhoto, of map[PhotoID]Photo) []StageShare {
	var shares []StageShare
	place := map[StageID]int{}
	for _, p := range photos {
		stage := stageOffered(turns, chosen, of[p.PhotoID])
		i, known := place[stage]
		if !known {
			i = len(shares)
			place[stage], shares = i, append(shares, StageShare{StageID: stage})
		}
		shares[i].Photos = append(shares[i].Photos, p)
	}
	return shares
}

func stageOffered(turns []Turn, chosen StageID, p Photo) StageID {
	if !p.Dated() || underWayAt(turns, chosen, p.CapturedAt) {
		return chosen
	}
	if stage := StageAt(turns, p.CapturedAt); stage != "" {
		return stage
	}
	return chosen
}

// underWayAt reports whether a stage was under way at an instant.
func underWayAt(turns []Turn, stage StageID, at time.Time) bool {
	under := false
	for _, t := range turns {
		if t.At.After(at) {
			break
		}
		if t.StageID == stage {
			under = t.To == UnderWay
		}
	}
	return under
}
