package views

import (
	"strconv"
	"strings"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
)

// CheckLine is one check of a stage's gate.
type CheckLine struct {
	Text string
	Done bool
	By   string    // name; "" while not done
	At   time.Time // zero while not done
}

// TurnLine is one opening, closing or reopening, with who did it.
type TurnLine struct {
	Turn  journal.Turn
	By    string
	First bool // the first opening; a later one is a reopening
}

// StaffStage is a stage as the shop sees it. Its forms post to .../open,
// .../close, .../reopen ("reason", "invoices" = "keep" or "credit") and .../check ("text", "done" = "yes" or
// "no").
type StaffStage struct {
	Frame
	Stage    journal.Stage
	Dropped  string // the paper that dropped it, "change order 4"; "" otherwise
	Stopped  bool   // the build ended early, so nothing happens here any more
	Lead     string
	Changes  journal.Cents // signed changes it bears, before tax
	Previous *journal.Stage
	Next     *journal.Stage

	PhotosHave int         // photos of it the owner can see
	Checks     []CheckLine // in the gate's order
	// Missing says in whole sentences what the gate still wants; none when the
	// stage can be closed.
	Missing   []string
	PapersOut []PaperItem // out for sign-off and bearing on this stage
	// NeedsLeave: it takes the truck apart and has not begun, and the owner has
	// not signed the teardown authorization; LeaveOut says that it is out.
	NeedsLeave bool
	LeaveOut   bool
	// AskOffice: it has not begun, and invoices are late, so that by the terms the
	// office has to agree before it opens; it says why in .../open with "though" and
	// "reason". Late are those invoices, for the office only.
	AskOffice bool
	Late      []InvoiceItem

	// Follows is the document that closing now would issue, without a number; nil
	// when nothing would be billed, and for the floor.
	Follows *billing.Document

	Paint  PaintPart
	Photos []PhotoView // in the order of capture, the first few dozen
	Set    PhotoSet    // the ways to all of them
	Turns  []TurnLine  // oldest first
	Work   WorkPiece

	Reason   string // as typed for reopening
	Problems journal.Problems
}

// StageForm is what was typed about a stage. The field names are "name", "days",
// "from", "to", "lead", "photos", "checks" and "cautions" (one a line each),
// "pricing" (see [PricingOf]) while it is not agreed, and "version".
type StageForm struct {
	Name     string
	Days     string
	From     string
	To       string
	Lead     string
	Photos   string
	Checks   string
	Cautions string
	Pricing  string
	Teardown bool
	Version  int
}

// StageEdit is the form that changes a stage. It posts to
// /builds/ID/stages/ID/edit.
type StageEdit struct {
	Frame
	Stage    journal.Stage // as stored
	Fixed    bool          // the agreement is recorded: how it is priced stays
	Form     StageForm
	Leads    []journal.Person
	Problems journal.Problems
}

// PlanForm is what was typed about a plan: "name", "version", and with N counted
// from 0 "stages.N.number", "stages.N.name", "stages.N.days",
// "stages.N.photos", "stages.N.checks", "stages.N.cautions" and
// "stages.N.drop" ("yes" when ticked).
type PlanForm struct {
	Name    string
	Version int
	Stages  []PlanStageForm
}

// PlanStageForm is one stage of a [PlanForm].
type PlanStageForm struct {
	Number   string // its place in the order of work; may have decimals, so that 3.5 goes between 3 and 4
	Name     string
	Days     string
	Photos   string
	Checks   string // one a line
	Cautions string // one a line
	Teardown bool
	Drop     bool
}

// Plans is the list of stage plans. Copying one posts to /plans with "copy" (an
// id) and "name".
type Plans struct {
	Frame
	Plans    []journal.Plan
	Copy     journal.PlanID // whose copy was refused
	Name     string         // as typed for it
	Problems journal.Problems
}

// PlanEdit is the form for a plan. It posts to /plans/ID with button "do" =
// "save" or "add" (a stage more).
type PlanEdit struct {
	Frame
	Plan     journal.Plan // as stored
	Form     PlanForm
	Problems journal.Problems
}

// InvoiceOptions offers what reopening does with what the stage has billed.
func (StaffStage) InvoiceOptions() []Option {
	return []Option{
		{Value: "keep", Text: "Stands", Help: "Closing it again bills only what was signed since"},
		{Value: "credit", Text: "Is taken back", Help: "A credit memo takes each of its invoices back; closing it again bills everything anew"},
	}
}

// URL returns the stage's address.
func (p StaffStage) URL() string { return p.Build.URL() + "/stages/" + string(p.Stage.ID) }

// PhotosThere reports whether the gate has the photos it asks for.
func (p StaffStage) PhotosThere() bool { return p.PhotosHave >= p.Stage.Gate.Photos }

// PhotosSay says how many photos there are and how many are asked for.
func (p StaffStage) PhotosSay() string {
	have := Plural(p.PhotosHave, "photo", "photos") + " the owner can see"
	if p.Stage.Gate.Photos == 0 {
		return have + "; none are asked for."
	}
	return have + "; the gate asks for " + strconv.Itoa(p.Stage.Gate.Photos) + "."
}

// Unfolded reports whether stage i of the form stands open: it is new, or
// something in it wants another look.
func (p PlanEdit) Unfolded(i int) bool {
	if p.Form.Stages[i].Name == "" {
		return true
	}
	for field := range p.Problems {
		if strings.HasPrefix(field, p.Field("stages", i, "")) {
			return true
		}
	}
	return false
}

// CopyForm is the form that copies one plan, piece "copy-form".
type CopyForm struct {
	Plan     journal.Plan
	Name     string
	Problems journal.Problems
}

// CopyOf returns the form that copies a plan.
func (p Plans) CopyOf(plan journal.Plan) CopyForm {
	f := CopyForm{Plan: plan}
	if plan.ID == p.Copy {
		f.Name, f.Problems = p.Name, p.Problems
	}
	return f
}
