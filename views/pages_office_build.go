package views

import (
	"time"

	"farbay/journal"
	"farbay/journal/billing"
)

// BuildForm is what was typed about a build. The field names are "nickname",
// "year", "make", "model", "serial", "odometer", "unit", "colour", "plan",
// "lead", "arrived_on", "ready_on", "delivered_on" and "version".
type BuildForm struct {
	Nickname    string
	Year        string
	Make        string
	Model       string
	Serial      string
	Odometer    string
	Unit        string // "miles" or "km"
	Colour      string
	Plan        string // plan id; new builds only
	Lead        string // person id; "" for none yet
	ArrivedOn   string // 2026-04-14
	ReadyOn     string // while scoping
	DeliveredOn string // once agreed
	Version     int    // of the build as read
}

// BuildNew is the form for a new build. It posts to /builds.
type BuildNew struct {
	Frame
	Form     BuildForm
	Plans    []journal.Plan
	Leads    []journal.Person // active staff
	Problems journal.Problems
}

// BuildEdit is the form that changes a build. It posts to /builds/ID/edit.
type BuildEdit struct {
	Frame
	Stored   journal.Build // the build as stored
	Form     BuildForm
	Leads    []journal.Person
	Problems journal.Problems
}

// Party is a build's owner or delegate with their account.
type Party struct {
	Member journal.Member
	Person journal.Person
}

// StaffBuild is a build as the shop sees it.
type StaffBuild struct {
	Frame
	Stored    journal.Build // the build as stored
	Lead      string        // name; "" until chosen
	Parties   []Party
	Stages    []StageLine
	Waits     []Wait            // in any order; see [WorstFirst]
	Statement billing.Statement // shown to the office only
	Drafts    []PaperItem       // papers the shop works on
	Out       []PaperItem       // papers waiting for the owner
	Loose     int               // the reader's photos in no entry yet
	Photos    int               // all of the build
	NewsAt    time.Time         // when the owner last got something new; zero if never
	Quiet     int               // whole days since then; 0 within a day and once delivered
	Ending    *EndingView       // how it ended early; nil otherwise
	Journal   JournalPiece      // the newest entries
}

// Plate returns the build's data plate.
func (p StaffBuild) Plate() Plate { return NewPlate(p.Words, p.Stored) }

// Coats returns the build's coat strip.
func (p StaffBuild) Coats() []Coat { return coatsOf(p.Stages) }

// Doing says in words what the strip shows.
func (p StaffBuild) Doing() string { return doing(p.Stages) }

// List returns the build's waits ready to be shown.
func (p StaffBuild) List() WaitList {
	return WaitList{Words: p.Words, Waits: WorstFirst(p.Waits)}
}

// ScopeLine is one stage in the scope form, as typed. With N counted from 0, the
// field names are "stages.N.id", "stages.N.version", "stages.N.name",
// "stages.N.labour", "stages.N.parts", "stages.N.outside",
// "stages.N.delivery", "stages.N.other", "stages.N.pricing" (see [PricingOf]),
// "stages.N.days", "stages.N.from", "stages.N.to", "stages.N.lead" and "stages.N.drop" ("yes" when ticked).
type ScopeLine struct {
	ID       string // "" for a stage being added
	Version  int
	Name     string
	Labour   string // amounts before tax
	Parts    string
	Outside  string
	Delivery string
	Other    string
	Pricing  string
	Days     string
	From     string
	To       string
	Lead     string
	Drop     bool
	State    journal.StageState // as stored; only stages not started can be dropped
}

// Scope is a build's stages with values and dates. While the build is being
// scoped it is a form that posts to /builds/ID/scope, with button "do" = "save"
// or "add" (a stage more); afterwards it is read only. The agreement's form
// posts to /builds/ID/agreement.
type Scope struct {
	Frame
	Stored    journal.Build // the build as stored
	Lines     []ScopeLine
	Total     journal.Cents // of the stored values, before tax
	Stages    []StageLine   // as stored, for the coat strip and the read-only table
	Leads     []journal.Person
	Terms     billing.Terms
	Owners    int // current owners; the agreement needs one
	Problems  journal.Problems
	Agreement AgreementForm
	PaperID   journal.PaperID // of the build agreement being worked on; "" for none
	// Unsaved is what was typed when somebody else recorded the agreement
	// first, a line a stage; it can no longer be saved.
	Unsaved []string
}

// AgreementForm is what was typed to record the signed agreement. The field
// names are "agreed_on", "agreed_how", "ready_on", "total" and "version"; what is
// wrong stands in [Scope].Problems.
type AgreementForm struct {
	AgreedOn  string
	AgreedHow string
	ReadyOn   string
	Total     string // before tax, as it stands on the signed paper
	Version   int    // of the build as read
}

// Terms is the form for a build's money terms. It posts to /builds/ID/terms.
type Terms struct {
	Frame
	// Fixed: the agreement is signed; only the tax rates can change.
	Fixed    bool
	Stored   billing.Terms
	Form     TermsForm
	Problems journal.Problems
}

// TermsForm is what was typed about money terms. The field names are "deposit",
// "crediting", "deposit_share", "refill_floor", "holdback_rate", "tax_labour", "tax_parts", "tax_outside",
// "tax_delivery", "tax_other", "tax_basis" ("invoice" or "line"), "due_days",
// "holdback_cap" (the name of a [billing.Limit]), "hour_rate", "mark_up", "bill_days" ("1, 15"),
// "late_asks" ("yes" or "no"), "transport", "deliver_to" and "version". Rates are in
// per cent.
type TermsForm struct {
	Deposit      string
	Crediting    string
	DepositShare string // per cent; of a deposit credited as a share of each invoice
	RefillFloor  string // of a deposit that is filled up again
	HoldbackRate string
	TaxLabour    string
	TaxParts     string
	TaxOutside   string
	TaxDelivery  string
	TaxOther     string
	TaxBasis     string
	DueDays      string
	HoldbackCap  string
	HourRate     string
	MarkUp       string
	BillDays     string
	LateAsks     string
	Transport    string
	DeliverTo    string
	Version      int // of the build as read
}

// BuildPeople are a build's owners and delegates, with the form that adds one.
// It posts to /builds/ID/people with "person" (an id), "as" (a
// [journal.MemberAs]) and "named_by"; ending one posts to
// /builds/ID/people/PERSON/end.
type BuildPeople struct {
	Frame
	Parties  []Party
	Choices  []journal.Person // active owner-role people not on the build
	Chosen   string           // person id, as typed
	As       string           // as typed
	NamedBy  string           // as typed
	Problems journal.Problems
}

// PaperList returns papers of the build ready to be shown.
func (p StaffBuild) PaperList(papers []PaperItem) PaperList {
	return PaperList{Words: p.Words, BuildID: p.Stored.ID, Papers: papers}
}

// TruckFields is the part that the forms for a new and an old build share,
// piece "truck-fields".
type TruckFields struct {
	Form     BuildForm
	Problems journal.Problems
}

// TruckFields returns the shared part of the form.
func (p BuildNew) TruckFields() TruckFields { return TruckFields{p.Form, p.Problems} }

// TruckFields returns the shared part of the form.
func (p BuildEdit) TruckFields() TruckFields { return TruckFields{p.Form, p.Problems} }
