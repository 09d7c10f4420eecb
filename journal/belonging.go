package journal

import "time"

// BelongingAnswer is what the owner wants done with a thing that was found.
type BelongingAnswer string

const (
	// Keep: put it aside until the delivery.
	Keep BelongingAnswer = "keep"
	// Ship: send it to the owner now.
	Ship BelongingAnswer = "ship"
	// Discard: throw it away.
	Discard BelongingAnswer = "discard"
)

// Valid reports whether it is one of the three.
func (a BelongingAnswer) Valid() bool { return a == Keep || a == Ship || a == Discard }

// Belonging is a find that is somebody's property: the owner is asked what is to
// become of it.
type Belonging struct {
	EntryID EntryID // the find
	BuildID BuildID
	What    string // "a box of spark plugs"
	AskedBy PersonID
	AskedAt time.Time
	Answers []Answered // oldest first; the last one counts
	DoneBy  PersonID   // who did it, or put it aside
	DoneAt  time.Time  // zero until done
}

// Answered is one answer about a belonging. It is never changed; until it is
// carried out, a later one takes its place.
type Answered struct {
	Answer        BelongingAnswer
	Note          string // where to ship it, and the like
	PersonID      PersonID
	At            time.Time
	Authenticated string
	Address       string
	UserAgent     string
}

// Last returns the answer that counts; false while there is none.
func (b Belonging) Last() (Answered, bool) {
	if len(b.Answers) == 0 {
		return Answered{}, false
	}
	return b.Answers[len(b.Answers)-1], true
}
