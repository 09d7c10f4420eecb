package signoff

import (
	"fmt"
	"time"

	"farbay/journal"
)

// Kind is what a paper is about.
type Kind string

// ChangeOrder is the paper for a scope change.
const ChangeOrder Kind = "change order"

// State is where a paper stands.
type State string

const (
	// Draft: only the shop sees it.
	Draft State = "draft"
	// Sent: its last revision waits for the owner.
	Sent State = "sent"
	// Signed and Declined are final.
	Signed   State = "signed"
	Declined State = "declined"
	// Recalled: the shop took it back before a decision; it can be edited and
	// sent again.
	Recalled State = "recalled"
)

// Paper is one paper over all its revisions.
type Paper struct {
	ID        journal.PaperID
	BuildID   journal.BuildID
	Kind      Kind
	Number    int // 1, 2, 3 ... per build and kind, given at the first sending; 0 before
	State     State
	Draft     Change          // what the shop is working on; the last revision may differ from it
	Revision  int             // the last one frozen; 0 before the first sending
	EntryID   journal.EntryID // the find it comes from, if any
	CreatedBy journal.PersonID
	CreatedAt time.Time
	Version   int
}

// Change is the content of a change order while the shop works on it.
type Change struct {
	Title   string
	Reason  string
	Photos  []Evidence
	StageID journal.StageID // which bears it
	Lines   []Line
	Days    int // working days added to the agreed date; may be negative
}

// Evidence is a photo shown in a paper.
type Evidence struct {
	PhotoID journal.PhotoID
	SHA256  string // of the original
	Caption string
}

// Line is one line of a change order. A labour line has minutes and an hourly
// rate, and its amount follows from them.
type Line struct {
	Kind    journal.LineKind
	Text    string
	Minutes int           // labour only; negative takes hours off
	Rate    journal.Cents // labour only, per hour
	Amount  journal.Cents
}

// LabourAmount returns minutes x rate / 60, rounded half away from zero to a
// cent.
func LabourAmount(minutes int, rate journal.Cents) journal.Cents {
	return rate.MulDiv(int64(minutes), 60)
}

// Delta returns the lines' amounts by kind, before tax.
func (c Change) Delta() journal.Split {
	var s journal.Split
	for _, l := range c.Lines {
		s = s.Plus(l.Kind, l.Amount)
	}
	return s
}

// MaxLines and MaxEvidence bound a change order.
const (
	MaxLines    = 60
	MaxEvidence = 24
)

// Validate checks what a person can enter, field by field; a line's fields are
// named "lines.0.text" and so on. A change with neither lines nor days is
// refused: there would be nothing to agree to.
func (c Change) Validate() error {
	bad := journal.Problems{}
	journal.CheckLine(bad, "title", c.Title, 1, 120, "Please name the change in a few words, at most 120 characters.")
	journal.CheckText(bad, "reason", c.Reason, 1, 4000, "Please say why, so that the owner can decide; at most 4,000 characters.")
	if c.StageID == "" {
		bad.Add("stage", "Please choose the stage that bears this change.")
	}
	if c.Days < -400 || c.Days > 400 {
		bad.Add("days", "Please add at most 400 working days.")
	}
	if len(c.Lines) == 0 && c.Days == 0 {
		bad.Add("lines", "Please add at least one line, or working days.")
	}
	if len(c.Lines) > MaxLines {
		bad.Add("lines", "A change order takes at most %d lines.", MaxLines)
	}
	if len(c.Photos) > MaxEvidence {
		bad.Add("photos", "A change order takes at most %d photos.", MaxEvidence)
	}
	for i, l := range c.Lines {
		l.check(bad, i)
	}
	return bad.Err()
}

func (l Line) check(bad journal.Problems, i int) {
	field := fmt.Sprintf("lines.%d.", i)
	journal.CheckLine(bad, field+"text", l.Text, 1, 200, "Please say what this line is for, at most 200 characters.")
	if !l.Kind.Valid() {
		bad.Add(field+"kind", "Please choose what kind of line this is.")
	}
	if l.Amount > journal.MaxCents || l.Amount < -journal.MaxCents {
		bad.Add(field+"amount", "A line's amount cannot be above %s.", journal.MaxCents)
	}
	if l.Kind == journal.Labour {
		if l.Minutes == 0 || l.Minutes > 600_000 || l.Minutes < -600_000 {
			bad.Add(field+"hours", "Please type the hours, such as 18 or 7.5, at most 10,000.")
		}
		if l.Rate < 0 || l.Rate > journal.MaxCents/1000 {
			bad.Add(field+"rate", "Please type the rate of an hour, such as 95.00.")
		}
		return
	}
	if l.Minutes != 0 || l.Rate != 0 {
		bad.Add(field+"hours", "Only labour lines have hours and a rate.")
	}
	if l.Amount == 0 {
		bad.Add(field+"amount", "Please type what this line costs; a minus takes it off.")
	}
}
