package signoff

import (
	"fmt"

	"farbay/journal"
)

// NewStage is a stage that a change order adds to a build.
type NewStage struct {
	ID      journal.StageID // made with the draft; "" until it is saved
	Name    string
	Days    int             // planned working days
	After   journal.StageID // in the order of work; "" for the first
	Metered bool            // by time and materials: its lines are its ceiling
}

// checkStages checks what a change order adds and drops.
func (d Draft) checkStages(bad journal.Problems) {
	if a := d.Adds; a != nil {
		journal.CheckLine(bad, "adds_name", a.Name, 1, 60, "Please name the new stage, at most 60 characters.")
		if a.Days < 1 || a.Days > 400 {
			bad.Add("adds_days", "Please plan between 1 and 400 working days for the new stage.")
		}
	}
	if d.Drops == "" {
		return
	}
	const sentence = "This stage is dropped by the same paper, so it cannot bear a line; please choose another."
	for i, l := range d.Lines {
		if l.StageID == d.Drops {
			bad.Add(fmt.Sprintf("lines.%d.stage", i), sentence)
		}
	}
	if d.StageID == d.Drops {
		bad.Add("stage", sentence)
	}
	if d.Adds != nil && d.Adds.After == d.Drops {
		bad.Add("adds_after", "This stage is dropped by the same paper; please let the new one follow another.")
	}
}

// Bearing returns the stage that bears a line of the draft.
func (d Draft) Bearing(l Line) journal.StageID {
	if l.StageID != "" {
		return l.StageID
	}
	return d.StageID
}

// SheetAdded is a stage that signing a change order adds.
type SheetAdded struct {
	ID      journal.StageID `json:"id"`
	Name    string          `json:"name"`
	Days    int             `json:"days"`            // planned working days
	After   *SheetStage     `json:"after,omitempty"` // in the order of work; left out for the first
	Metered bool            `json:"metered"`
}
