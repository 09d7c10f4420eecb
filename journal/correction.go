package journal

import "time"

// ClockCorrection says by how much a camera's clock was off during some time,
// and so when its photos were really taken. It applies to the photos of that
// camera, in every build, whose own claim lies within From and To. It is never
// changed: a wrong one is undone.
type ClockCorrection struct {
	ID     CorrectionID
	Camera string // make and model, as in [Photo].Camera
	// From and To bound, inclusively, the instants that the photos claim. A zero
	// time is no bound.
	From, To     time.Time
	ShiftSeconds int    // added to what the camera said; not 0
	Why          string // one line for those who read a photo's page
	// BuildID and PhotoID name the photo that shows the right time; "" if the
	// difference was typed.
	BuildID  BuildID
	PhotoID  PhotoID
	ByID     PersonID
	At       time.Time
	UndoneAt time.Time // zero while in force
	UndoneBy PersonID
}

// MaxShift is the largest correction: a camera whose battery was out falls back
// to the year of its making.
const MaxShift = 30 * 366 * 24 * time.Hour

// Shift is how much is added to what the camera said.
func (c ClockCorrection) Shift() time.Duration { return time.Duration(c.ShiftSeconds) * time.Second }

// Covers reports whether the correction, undone or not, is about a claim of this
// camera.
func (c ClockCorrection) Covers(camera string, claimed time.Time) bool {
	return c.Camera != "" && c.Camera == camera &&
		(c.From.IsZero() || !claimed.Before(c.From)) && (c.To.IsZero() || !claimed.After(c.To))
}

// Validate checks what a person can enter, field by field.
func (c ClockCorrection) Validate() error {
	bad := Problems{}
	if c.Camera == "" {
		bad.Add("camera", "Please choose the camera.")
	}
	if c.ShiftSeconds == 0 {
		bad.Add("shift", "The two times are the same, so there is nothing to correct.")
	}
	if s := c.Shift(); s > MaxShift || s < -MaxShift {
		bad.Add("shift", "A clock cannot be off by more than 30 years here; please check both times.")
	}
	if !c.From.IsZero() && !c.To.IsZero() && c.To.Before(c.From) {
		bad.Add("to", "The last photo lies before the first.")
	}
	CheckLine(bad, "why", c.Why, 1, 200, "Please say in one line of at most 200 characters how you know.")
	return bad.Err()
}

// Corrected returns the photo with its capture time as the corrections in force
// have it: the one made last among those that cover its claim. Only times that
// come from the camera's own clock are corrected; a satellite's, and the time of
// receipt, are not.
//
// doubt says what speaks against a corrected time, "" if nothing; what the file
// itself raises goes with the file's own time.
func (p Photo) Corrected(corrections []ClockCorrection, doubt func(time.Time) string) Photo {
	p.CapturedAt, p.CapturedDoubt, p.CorrectionID = p.ClaimedAt, p.ClaimedDoubt, ""
	if !p.FromClock {
		return p
	}
	var last *ClockCorrection
	for i, c := range corrections {
		if c.UndoneAt.IsZero() && c.Covers(p.Camera, p.ClaimedAt) && (last == nil || !c.At.Before(last.At)) {
			last = &corrections[i]
		}
	}
	if last != nil {
		p.CapturedAt = p.ClaimedAt.Add(last.Shift())
		p.CapturedDoubt, p.CorrectionID = doubt(p.CapturedAt), last.ID
	}
	return p
}
