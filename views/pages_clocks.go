package views

import (
	"fmt"
	"strings"
	"time"

	"farbay/journal"
)

// Clocks is what the office knows of the cameras and their clocks, with the form
// for a correction. The form goes to /clocks/preview as a query, and from there to
// /clocks.
type Clocks struct {
	Frame
	Cameras     []CameraLine // by name
	Corrections []ClockLine  // newest first
	Typed       ClockForm
	Shown       *ClockPhoto // the photo that shows a clock; nil when the difference is typed
	Problems    journal.Problems
}

// CameraLine is a camera that the shop has photos of.
type CameraLine struct {
	Camera      string
	Photos      int
	First, Last time.Time // as its photos claim
}

// Template names the page's template.
func (Clocks) Template() string { return "office/clocks" }

// ClockForm is what was typed for a correction, by field name: "id", "camera",
// "build" and "photo" (of the photo that shows a clock), "read" (what it shows),
// "days", "hours", "minutes", "seconds" and "was" ("behind" or "ahead"), "from",
// "to", "why". Times are in the shop's zone, as "2026-04-14T15:12:30".
type ClockForm struct {
	ID, Camera                    string
	Build, Photo, Read            string
	Days, Hours, Minutes, Seconds string
	Was                           string
	From, To                      string
	Why                           string
}

// Fields are the form's fields to pass on, those that are empty left out.
func (f ClockForm) Fields() []Hidden {
	var all []Hidden
	for _, h := range []Hidden{{"id", f.ID}, {"camera", f.Camera}, {"build", f.Build}, {"photo", f.Photo}, {"read", f.Read}, {"days", f.Days},
		{"hours", f.Hours}, {"minutes", f.Minutes}, {"seconds", f.Seconds}, {"was", f.Was}, {"from", f.From}, {"to", f.To}, {"why", f.Why}} {
		if h.Value != "" {
			all = append(all, h)
		}
	}
	return all
}

// ClockPhoto is a photo that shows a clock, with the time its camera said.
type ClockPhoto struct {
	Photo PhotoView
	Said  time.Time
}

// CameraOptions offers the cameras.
func (p Clocks) CameraOptions() []Option {
	all := []Option{{Text: "Choose"}}
	for _, use := range p.Cameras {
		all = append(all, Option{Value: use.Camera, Text: use.Camera + ", " + Plural(use.Photos, "photo", "photos")})
	}
	return all
}

// WasOptions offers which way a clock was off.
func (Clocks) WasOptions() []Option {
	return []Option{
		{Value: "behind", Text: "Behind", Help: "It showed an earlier time than it was"},
		{Value: "ahead", Text: "Ahead", Help: "It showed a later time than it was"},
	}
}

// ClockLine is one correction in a list.
type ClockLine struct {
	Words
	Correction journal.ClockCorrection
	By         string // name
	UndoneBy   string // name; "" while in force
}

// InForce reports whether the correction is.
func (l ClockLine) InForce() bool { return l.Correction.UndoneAt.IsZero() }

// Says says how far the clock was off.
func (l ClockLine) Says() string { return SayShift(l.Correction.Shift()) }

// Reason is the reason given, without a full stop.
func (l ClockLine) Reason() string { return strings.TrimSuffix(l.Correction.Why, ".") }

// Bounds says of which photos it is: "all its photos", "photos from Tuesday 14
// April, 3:12 pm at the shop".
func (l ClockLine) Bounds() (string, error) {
	c := l.Correction
	if c.From.IsZero() && c.To.IsZero() {
		return "all its photos", nil
	}
	said := "its photos that say"
	for _, bound := range []struct {
		word string
		at   time.Time
	}{{"from", c.From}, {"until", c.To}} {
		if bound.at.IsZero() {
			continue
		}
		moment, err := l.Moment(bound.at)
		if err != nil {
			return "", err
		}
		said += " " + bound.word + " " + moment
	}
	return said, nil
}

// PhotoPage is the address of the photo that showed the right time; "" for none.
func (l ClockLine) PhotoPage() string {
	if l.Correction.PhotoID == "" {
		return ""
	}
	return fmt.Sprintf("/builds/%s/photos/%s", l.Correction.BuildID, l.Correction.PhotoID)
}

// ClockPreview shows what a correction would do, before it is made. It posts to
// /clocks.
type ClockPreview struct {
	Frame
	Line   ClockLine
	Effect ClockEffect
	Typed  ClockForm
	Change string // address of the form, filled in
}

// Template names the page's template.
func (ClockPreview) Template() string { return "office/clock_preview" }

// Clock is one correction, with what undoing it does. It posts to
// /clocks/ID/undo.
type Clock struct {
	Frame
	Line   ClockLine
	Effect ClockEffect // of undoing it; zero when it is undone
}

// Template names the page's template.
func (Clock) Template() string { return "office/clock" }

// ClockEffect is what making or undoing a correction does, piece "clock-effect".
type ClockEffect struct {
	Words
	Photos      int // that get another time
	First, Last TimeShift
	Builds      []BuildShift // by nickname
	Doubtful    int          // photos that become doubtful
	Settled     int          // photos that stop being doubtful
	Seen        string       // field "seen"
}

// TimeShift is a photo's time before and after.
type TimeShift struct {
	Was, Becomes time.Time
}

// BuildShift is an effect's part in one build.
type BuildShift struct {
	Build           BuildRef
	Photos, Entries int
	Dated           int // entries that get another place in the journal
}

// Say says in whole sentences how many photos get another time.
func (e ClockEffect) Say() (string, error) {
	if e.Photos == 0 {
		return "No photo gets another time by this.", nil
	}
	first, err := e.shift(e.First)
	if err != nil {
		return "", err
	}
	said := Count(e.Photos, "photo gets", "photos get") + " another time."
	if e.Photos == 1 {
		return said + " It goes " + first + ".", nil
	}
	last, err := e.shift(e.Last)
	return said + " The earliest goes " + first + "; the last " + last + ".", err
}

func (e ClockEffect) shift(s TimeShift) (string, error) {
	was, err := e.exact(s.Was)
	if err != nil {
		return "", err
	}
	becomes, err := e.exact(s.Becomes)
	return "from " + was + " to " + becomes, err
}

// exact tells a time with its seconds, which is what some clocks are off by.
func (w Words) exact(at time.Time) (string, error) {
	day, err := w.DayOf(at)
	if err != nil {
		return "", err
	}
	return day + ", " + at.In(w.Zone).Format("3:04:05") + nbsp + at.In(w.Zone).Format("pm"), nil
}

// SayDoubt says how many photos become doubtful or stop being so; "" for none.
func (e ClockEffect) SayDoubt() string {
	var all []string
	if e.Doubtful > 0 {
		all = append(all, Count(e.Doubtful, "photo becomes doubtful", "photos become doubtful")+": the time does not fit the build or its receipt.")
	}
	if e.Settled > 0 {
		all = append(all, Count(e.Settled, "photo stops being doubtful.", "photos stop being doubtful."))
	}
	return strings.Join(all, " ")
}

// Says says what it does: "30 photos in 4 entries, 3 of which move in the
// journal".
func (b BuildShift) Says() string {
	said := Plural(b.Photos, "photo", "photos")
	switch {
	case b.Entries == 0:
		return said + " in no entry"
	case b.Dated == 0:
		return said + " in " + Plural(b.Entries, "entry, which keeps its place", "entries, which keep their places") + " in the journal"
	}
	return said + " in " + Plural(b.Entries, "entry", "entries") + ", " + Plural(b.Dated, "of which moves", "of which move") + " in the journal"
}

// SayShift says how far a clock was off, from what is added to it: "1 hour and 5
// minutes behind".
func SayShift(shift time.Duration) string {
	way := "behind"
	if shift < 0 {
		shift, way = -shift, "ahead"
	}
	seconds := int(shift / time.Second)
	var parts []string
	for _, unit := range []struct {
		seconds   int
		one, many string
	}{{86400, "day", "days"}, {3600, "hour", "hours"}, {60, "minute", "minutes"}, {1, "second", "seconds"}} {
		if n := seconds / unit.seconds; n > 0 {
			parts = append(parts, Plural(n, unit.one, unit.many))
		}
		seconds %= unit.seconds
	}
	return List(parts) + " " + way
}

// PhotoTime is how a photo's time is known, for its page, piece "photo-time".
type PhotoTime struct {
	Words
	// Off says how far the camera's clock was off, when a correction applies.
	Off string
	// For the shop; left zero for owners.
	ForShop   bool
	Claim     string // what the file says, and how it says it
	Doubt     string // what speaks against that, when it was corrected
	Why, By   string // of the correction
	MadeAt    time.Time
	ClockPage string // of the correction; for the office
	// WrongAt is where the office corrects the camera's clock; "" when the time is
	// not the camera's.
	WrongAt string
	History []PhotoStepLine // oldest first
}

// PhotoStepLine is one step of a photo's way through entries.
type PhotoStepLine struct {
	Words
	Build    journal.BuildID
	At       time.Time
	By       string
	From, To PhotoStand // the same id in both: the entry itself changed
}

// PhotoStand is an entry that shows a photo, at some time; none without an id.
type PhotoStand struct {
	EntryID   journal.EntryID
	Stage     string // name
	Withdrawn bool
}

// Says says what was done, without by whom and when.
func (l PhotoStepLine) Says() string {
	from, to := l.From, l.To
	switch {
	case from.EntryID == "":
		return "Put into an entry of " + to.Stage
	case to.EntryID == "":
		return "Taken out of an entry of " + from.Stage
	case to.Withdrawn:
		return "Withdrawn with its entry of " + to.Stage
	case from.EntryID == to.EntryID:
		return "Went with its entry from " + from.Stage + " to " + to.Stage
	case from.Stage == to.Stage:
		return "Moved to another entry of " + to.Stage
	}
	return "Moved from " + from.Stage + " to " + to.Stage
}

// FromURL is the address of the entry it was in; "" for none, or the same.
func (l PhotoStepLine) FromURL() string {
	if l.From.EntryID == l.To.EntryID {
		return ""
	}
	return l.entry(l.From.EntryID)
}

// ToURL is the address of the entry it came into; "" for none.
func (l PhotoStepLine) ToURL() string { return l.entry(l.To.EntryID) }

func (l PhotoStepLine) entry(id journal.EntryID) string {
	if id == "" {
		return ""
	}
	return fmt.Sprintf("/builds/%s/entries/%s", l.Build, id)
}

var _ = declare(Clocks{}, ClockPreview{}, Clock{})
