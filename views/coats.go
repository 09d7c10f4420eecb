package views

import (
	"fmt"

	"farbay/journal"
)

// Coat is one stage of the coat strip. Its width is the class "d1" to "d60",
// its fill, when it is under way, "p0" to "p100"; coats.css has them.
type Coat struct {
	Name    string
	State   journal.StageState
	Dropped string // the paper that dropped it, "change order 4"; "" otherwise
	Days    int    // planned working days
	Done    int    // per cent of its planned days gone by, 0 to 100; under way only
}

// coatWidths is how many widths coats.css knows.
const coatWidths = 60

// Coats is a strip ready to be drawn.
type Coats []struct {
	Coat
	Width int // 1 to 60
}

// Strip gives each stage its width: its planned days, scaled down together
// when the longest stage has more than 60, never below 1.
func Strip(stages []Coat) Coats {
	longest := 1
	for _, s := range stages {
		longest = max(longest, s.Days)
	}
	strip := make(Coats, len(stages))
	for i, s := range stages {
		width := s.Days
		if longest > coatWidths {
			width = (s.Days*coatWidths + longest/2) / longest
		}
		strip[i].Coat, strip[i].Width = s, min(max(width, 1), coatWidths)
	}
	return strip
}

// Class returns the words for the stage's look.
func (c Coat) Class() string {
	switch c.State {
	case journal.Closed:
		if c.Dropped != "" {
			return "dropped"
		}
		return "closed"
	case journal.UnderWay:
		return fmt.Sprintf("open p%d", min(max(c.Done, 0), 100))
	}
	return "bare"
}

// Said returns what a screen reader is told: "Body metal, under way, 35 % of
// its days".
func (c Coat) Said() string {
	if c.State == journal.UnderWay {
		return fmt.Sprintf("%s, under way, %d %% of its days", c.Name, min(max(c.Done, 0), 100))
	}
	return c.Name + ", " + c.stands()
}

// stands says where the stage stands: "closed", "dropped by change order 4".
func (c Coat) stands() string {
	if c.Dropped != "" {
		return "dropped by " + c.Dropped
	}
	return string(c.State)
}
