package journal

import "time"

// StageState is where one stage stands.
type StageState string

const (
	NotStarted StageState = "not started"
	UnderWay   StageState = "under way"
	Closed     StageState = "closed"
)

// Gate is what a stage needs before it can close. What every stage needs (no
// paper out for sign-off that puts cost on it) is not listed.
type Gate struct {
	Photos int      // photos the owner can see, at least
	Checks []string // each ticked by a person
}

// Stage is one step of a build.
type Stage struct {
	ID          StageID
	BuildID     BuildID
	Position    int // 1, 2, 3 ... in the order of work
	Name        string
	Value       Split // agreed, before tax and changes
	Metered     bool  // by time and materials: logged work is billed, up to the value and signed changes as its ceiling
	PlannedDays int   // working days
	PlannedFrom Date
	PlannedTo   Date
	LeadID      PersonID
	Gate        Gate
	Cautions    []string
	Teardown    bool // it takes the truck apart: opens only with a signed teardown authorization
	State       StageState
	OpenedAt    time.Time // first opening
	ClosedAt    time.Time // last closing; zero unless closed
	DroppedBy   PaperID   // the signed change order that took it out of the scope; it is closed then
	Version     int
}

// Check is one gate check of a stage, ticked.
type Check struct {
	StageID  StageID
	Text     string
	PersonID PersonID
	At       time.Time
}

// Plan is a stage plan that new builds start from.
type Plan struct {
	ID      PlanID
	Name    string
	Stages  []PlanStage
	Version int
}

// PlanStage is one stage of a plan.
type PlanStage struct {
	Name        string
	PlannedDays int
	Gate        Gate
	Cautions    []string
	Teardown    bool // see [Stage]
}

// Validate checks a plan, field by field; a stage's fields are named
// "stages.2.name" and so on, counted from 0.
func (p Plan) Validate() error {
	bad := Problems{}
	CheckLine(bad, "name", p.Name, 1, 80, "Please give the plan a name, at most 80 characters.")
	if len(p.Stages) < 1 || len(p.Stages) > 40 {
		bad.Add("stages", "A plan has between 1 and 40 stages.")
	}
	for i, s := range p.Stages {
		field := "stages." + pad(uint64(i), 1) + "."
		CheckLine(bad, field+"name", s.Name, 1, 60, "Please name this stage, at most 60 characters.")
		if s.PlannedDays < 1 || s.PlannedDays > 400 {
			bad.Add(field+"days", "Please plan between 1 and 400 working days.")
		}
		checkGate(bad, field, s.Gate)
		checkCautions(bad, field, s.Cautions)
	}
	return bad.Err()
}

// Validate checks what a person can enter for a stage, field by field.
func (s Stage) Validate() error {
	bad := Problems{}
	CheckLine(bad, "name", s.Name, 1, 60, "Please name this stage, at most 60 characters.")
	if s.PlannedDays < 1 || s.PlannedDays > 400 {
		bad.Add("days", "Please plan between 1 and 400 working days.")
	}
	CheckDay(bad, "from", s.PlannedFrom)
	CheckDay(bad, "to", s.PlannedTo)
	if !s.PlannedFrom.IsZero() && !s.PlannedTo.IsZero() && s.PlannedTo < s.PlannedFrom {
		bad.Add("to", "The planned end lies before the planned start.")
	}
	for _, k := range LineKinds {
		if c := s.Value.Of(k); c < 0 || c > MaxCents {
			bad.Add("value", "A stage's value cannot be below zero or above %s.", MaxCents)
		}
	}
	checkGate(bad, "", s.Gate)
	checkCautions(bad, "", s.Cautions)
	return bad.Err()
}

func checkCautions(bad Problems, prefix string, cautions []string) {
	if len(cautions) > 20 {
		bad.Add(prefix+"cautions", "A stage has at most 20 cautions.")
	}
	for _, c := range cautions {
		CheckLine(bad, prefix+"cautions", c, 1, 400, "Please keep each caution to one line of at most 400 characters.")
	}
}

func checkGate(bad Problems, prefix string, g Gate) {
	if g.Photos < 0 || g.Photos > 500 {
		bad.Add(prefix+"photos", "Please ask for between 0 and 500 photos.")
	}
	if len(g.Checks) > 40 {
		bad.Add(prefix+"checks", "A gate has at most 40 checks.")
	}
	seen := map[string]bool{}
	for _, c := range g.Checks {
		CheckLine(bad, prefix+"checks", c, 1, 200, "Please keep each check to one line of at most 200 characters.")
		if seen[c] {
			bad.Add(prefix+"checks", "The check %q is listed twice.", c)
		}
		seen[c] = true
	}
}

// Turn is one opening, closing or reopening of a stage.
type Turn struct {
	StageID StageID
	To      StageState
	Reason  string // of a reopening, or of a closing that no gate allowed
	ByID    PersonID
	At      time.Time
}
