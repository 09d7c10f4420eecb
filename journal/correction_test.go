package journal

import (
	"strings"
	"testing"
	"time"
)

func TestPhoto_Corrected(t *testing.T) {
	claim := time.Date(2026, 3, 29, 1, 30, 0, 0, time.UTC)
	one := ClockCorrection{ID: "one", Camera: "Ostler One", From: claim, To: claim, ShiftSeconds: 3600, At: claim}
	later := one
	later.ID, later.ShiftSeconds, later.At = "later", -90, claim.Add(time.Hour)
	undone := later
	undone.UndoneAt = claim
	before, other := one, one
	before.From, before.To = time.Time{}, claim.Add(-time.Second)
	other.Camera = "Ostler Two"
	open := ClockCorrection{ID: "open", Camera: "Ostler One", ShiftSeconds: 60}
	for _, c := range []struct {
		name  string
		all   []ClockCorrection
		photo Photo
		want  time.Duration
		by    CorrectionID
	}{
		{"none", nil, Photo{Camera: "Ostler One", FromClock: true}, 0, ""},
		{"its bounds belong to it", []ClockCorrection{one}, Photo{Camera: "Ostler One", FromClock: true}, time.Hour, "one"},
		{"no bounds", []ClockCorrection{open}, Photo{Camera: "Ostler One", FromClock: true}, time.Minute, "open"},
		{"the one made last", []ClockCorrection{later, one}, Photo{Camera: "Ostler One", FromClock: true}, -90 * time.Second, "later"},
		{"undone", []ClockCorrection{one, undone}, Photo{Camera: "Ostler One", FromClock: true}, time.Hour, "one"},
		{"another time", []ClockCorrection{before}, Photo{Camera: "Ostler One", FromClock: true}, 0, ""},
		{"another camera", []ClockCorrection{other}, Photo{Camera: "Ostler One", FromClock: true}, 0, ""},
		{"satellite time", []ClockCorrection{one}, Photo{Camera: "Ostler One"}, 0, ""},
		{"no camera named", []ClockCorrection{{ID: "x", ShiftSeconds: 5}}, Photo{FromClock: true}, 0, ""},
	} {
		c.photo.ClaimedAt, c.photo.ClaimedDoubt = claim, "claimed"
		c.photo.CapturedAt, c.photo.CapturedDoubt, c.photo.CorrectionID = claim.Add(77), "stale", "stale"
		got := c.photo.Corrected(c.all, func(at time.Time) string { return "as of " + at.Format("15:04:05") })
		doubt := "claimed"
		if c.by != "" {
			doubt = "as of " + claim.Add(c.want).Format("15:04:05")
		}
		if !got.CapturedAt.Equal(claim.Add(c.want)) || got.CorrectionID != c.by || got.CapturedDoubt != doubt {
			t.Errorf("%s: %v by %q, doubt %q", c.name, got.CapturedAt.Sub(claim), got.CorrectionID, got.CapturedDoubt)
		}
	}
}

func TestClockCorrection_Validate(t *testing.T) {
	good := ClockCorrection{Camera: "Ostler One", ShiftSeconds: 1, Why: "wall clock"}
	at := time.Date(2026, 1, 2, 3, 4, 5, 0, time.UTC)
	for field, spoil := range map[string]func(*ClockCorrection){
		"":       func(*ClockCorrection) {},
		"camera": func(c *ClockCorrection) { c.Camera = "" },
		"shift":  func(c *ClockCorrection) { c.ShiftSeconds = 0 },
		"to":     func(c *ClockCorrection) { c.From, c.To = at, at.Add(-1) },
		"why":    func(c *ClockCorrection) { c.Why = strings.Repeat("x", 201) },
	} {
		c := good
		spoil(&c)
		bad := problemsIn(c.Validate())
		if _, found := bad[field]; field == "" && len(bad) > 0 || field != "" && !found {
			t.Errorf("%q: %v", field, bad)
		}
	}
	far := good
	far.ShiftSeconds = int(MaxShift/time.Second) + 1
	if len(problemsIn(far.Validate())) == 0 {
		t.Error("a clock off by more than MaxShift passes")
	}
}

func TestStageAt(t *testing.T) {
	at := func(h int) time.Time { return time.Date(2026, 4, 1, h, 0, 0, 0, time.UTC) }
	turns := []Turn{
		{StageID: "teardown", To: UnderWay, At: at(1)},
		{StageID: "frame", To: UnderWay, At: at(3)},
		{StageID: "body", To: UnderWay, At: at(3)},
		{StageID: "body", To: Closed, At: at(5)},
		{StageID: "teardown", To: Closed, At: at(6)},
		{StageID: "teardown", To: UnderWay, At: at(7)}, // reopened
		{StageID: "frame", To: Closed, At: at(8)},
		{StageID: "teardown", To: Closed, At: at(9)},
	}
	for h, want := range map[int]StageID{
		0: "", 1: "teardown", 2: "teardown", 3: "body", 4: "body", 5: "frame", 6: "frame", 7: "teardown", 8: "teardown", 9: "", 10: "",
	} {
		if got := StageAt(turns, at(h)); got != want {
			t.Errorf("at %d: %q, want %q", h, got, want)
		}
	}
}
