package views

import (
	"time"

	"farbay/journal"
)

// PasskeySection is what the account page says of passkeys, piece "passkeys". Its
// forms post to /account/passkeys, after a script asked the device for one, and
// to each line's EndURL.
type PasskeySection struct {
	Lines    []PasskeyLine // oldest first
	Fit      bool          // browsers make passkeys for this address
	Most     int           // how many there can be
	Name     string        // typed for a new one, kept
	Problems journal.Problems
}

// Room reports whether another can be added.
func (s PasskeySection) Room() bool { return s.Fit && len(s.Lines) < s.Most }

// PasskeyLine is one passkey that can be used.
type PasskeyLine struct {
	ID      string
	Name    string
	AddedAt time.Time
	UsedAt  time.Time // zero until it was used
}

// EndURL is where removing it is posted to.
func (p PasskeyLine) EndURL() string { return "/account/passkeys/" + p.ID + "/end" }

// ConfirmedWith names the passkey that confirmed the decision, in quotation
// marks; "" if none did. A kept answer that cannot be read is said to be one.
func (v DecisionView) ConfirmedWith() string {
	proof, ok, err := v.Decision.PasskeyProof()
	switch {
	case err != nil:
		return "whose answer is kept and cannot be read"
	case !ok:
		return ""
	}
	return "“" + proof.Name + "”"
}
