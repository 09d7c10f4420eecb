package journal

import "time"

// StageAt returns the stage that was under way at an instant, by the turns of a
// build in the order of time: "" when none was. When several were, it is the one
// opened last; of those opened at the same time, the one whose turn comes later.
func StageAt(turns []Turn, at time.Time) StageID {
	opened := map[StageID]int{} // under way -> place of the turn that opened it
	for i, t := range turns {
		if t.At.After(at) {
			break
		}
		if t.To == UnderWay {
			opened[t.StageID] = i
		} else {
			delete(opened, t.StageID)
		}
	}
	last, place := StageID(""), -1
	for stage, i := range opened {
		if i > place {
			last, place = stage, i
		}
	}
	return last
}
