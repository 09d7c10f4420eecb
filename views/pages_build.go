package views

import (
	"fmt"
	"strings"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// BuildCard is one build on an owner's first page.
type BuildCard struct {
	Words
	Ref     BuildRef
	Truck   string
	Said    string // in plain sentences: what is going on, what waits on the reader, what is new
	Coats   []Coat
	Waiting []Waiting
	Photo   *PhotoView
}

// OwnerHome lists an owner's builds. With just one the server leads to it.
type OwnerHome struct {
	Frame
	Builds []BuildCard
}

// Template names the page's template.
func (OwnerHome) Template() string { return "owner/home" }

// BuildSums are the figures at the head of a build.
type BuildSums struct {
	Agreed journal.Cents // with signed changes, before tax
	Billed journal.Cents // with tax
	Paid   journal.Cents
	Due    journal.Cents // open now; negative: in the owner's favour
}

// SumsOf takes the four figures from a statement.
func SumsOf(s billing.Statement) BuildSums {
	return BuildSums{Agreed: s.Agreed, Billed: s.BilledWithTax, Paid: s.Paid, Due: s.Due}
}

// OwnerBuild is a build's page for its owners.
type OwnerBuild struct {
	Frame
	Said      string // in plain sentences: what is going on, what waits on the reader
	Plate     Plate
	State     journal.BuildState
	Photo     *PhotoView  // the newest the owner may see; nil for none
	Coats     []Coat      // all stages in order
	StageAt   []string    // address of each stage's page, as Coats
	Waiting   []Waiting   // what waits on the reader
	Ending    *EndingView // how it ended early; nil otherwise
	Delegates []Party     // who may decide in the reader's place; ending one posts to .../delegates/ID/end
	Sums      BuildSums
	Journal   JournalPiece // the first piece
}

// Template names the page's template.
func (OwnerBuild) Template() string { return "owner/build" }

// sayShare puts the share of a stage's planned days gone by into words. It
// speaks of days, because days are what is known.
func sayShare(done int) string {
	switch {
	case done < 10:
		return ", just begun"
	case done < 30:
		return ", about a quarter of its planned days in"
	case done < 42:
		return ", about a third of its planned days in"
	case done < 59:
		return ", about half of its planned days in"
	case done < 72:
		return ", about two thirds of its planned days in"
	case done < 90:
		return ", about three quarters of its planned days in"
	}
	return ", near the end of its planned days"
}

// Under says which stages are under way, as positions: "7 and 8 of 13".
func (b OwnerBuild) Under() string {
	var at []string
	closed, dropped := 0, 0
	for i, c := range b.Coats {
		switch {
		case c.State == journal.UnderWay:
			at = append(at, fmt.Sprint(i+1))
		case c.Dropped != "":
			dropped++
		case c.State == journal.Closed:
			closed++
		}
	}
	if len(at) == 0 {
		return fmt.Sprintf("%d of %d stages closed", closed, len(b.Coats)-dropped)
	}
	return fmt.Sprintf("Stage %s of %d under way", List(at), len(b.Coats))
}

// StageLink is a coat with its page.
type StageLink struct {
	Coat
	Href string
}

// Stages returns the stages with their addresses.
func (b OwnerBuild) Stages() []StageLink {
	links := make([]StageLink, len(b.Coats))
	for i, c := range b.Coats {
		links[i].Coat = c
		if i < len(b.StageAt) {
			links[i].Href = b.StageAt[i]
		}
	}
	return links
}

// Short returns the state in a few words: "closed", "under way, 35 % of its
// days", "18 days planned".
func (c Coat) Short() string {
	switch c.State {
	case journal.NotStarted:
		return WorkingDays(c.Days) + " planned"
	case journal.UnderWay:
		return strings.TrimPrefix(c.Said(), c.Name+", ")
	}
	return c.stands()
}

// Journal is the journal alone, for owners and staff, with its filters.
type Journal struct {
	Frame
	Entries JournalPiece
	Stages  []Option // value: stage id
	StageID string   // chosen; "" for all
	Kind    string   // chosen; "" for all
	Later   bool     // not the newest entries: there is a way back to those
}

// Template names the page's template.
func (Journal) Template() string { return "owner/journal" }

// Kinds are the kinds of entry to choose from.
func (Journal) Kinds() []Option {
	all := []Option{{Value: "", Text: "Every kind"}}
	for _, k := range journal.EntryKinds {
		all = append(all, Option{Value: string(k), Text: UpperFirst(string(k))})
	}
	return all
}

// AllStages are the stages to choose from.
func (j Journal) AllStages() []Option {
	return append([]Option{{Value: "", Text: "Every stage"}}, j.Stages...)
}

// Filtered reports whether a filter is set.
func (j Journal) Filtered() bool { return j.StageID != "" || j.Kind != "" }

// GateLine is one check of a stage's gate.
type GateLine struct {
	Text string
	Done bool
}

// Stage is a stage's page for the owner's side.
type Stage struct {
	Frame
	ID           journal.StageID
	Coat         Coat
	Position     int
	Of           int // stages of the build
	Lead         string
	PlannedFrom  journal.Date
	PlannedTo    journal.Date
	OpenedAt     time.Time
	ClosedAt     time.Time
	Agreed       bool // the agreement is recorded; before it no money is shown
	Row          billing.StageRow
	PhotosThere  int // photos the owner can see
	PhotosWanted int // by the gate
	Checks       []GateLine
	Papers       []PaperItem // that bear on the stage, not drafts
	Invoices     []InvoiceItem
	Photos       []PhotoView // some of them, in order of capture
	Set          PhotoSet    // the ways to all of them
	Entries      JournalPiece
	Paint        *PaintShown // nil while the office does not share it
	Work         *WorkPiece  // what is logged on it, if it is by time and materials; nil otherwise
}

// Template names the page's template.
func (Stage) Template() string { return "owner/stage" }

// Now says in plain sentences where the stage stands.
func (s Stage) Now() (string, error) {
	switch s.Coat.State {
	case journal.Closed:
		day, err := s.DayOf(s.ClosedAt)
		if s.Coat.Dropped != "" {
			return "Dropped by " + s.Coat.Dropped + ", which was signed on " + day + ". It is not done, and nothing is owed for it.", err
		}
		return "Closed on " + day + ".", err
	case journal.UnderWay:
		day, err := s.DayOf(s.OpenedAt)
		return "Under way since " + day + sayShare(s.Coat.Done) + ".", err
	}
	if s.PlannedFrom.IsZero() {
		return "Not started yet; " + WorkingDays(s.Coat.Days) + " are planned.", nil
	}
	day, err := s.Day(s.PlannedFrom)
	return "Not started yet; planned to begin on " + day + ", for " + WorkingDays(s.Coat.Days) + ".", err
}

// Entry is one entry's page for the owner's side, with all its photos.
type Entry struct {
	Frame
	Entry     EntryView
	Belonging *BelongingView // of a find; nil when nobody was asked
	Uses      []signoff.Use  // of the standing allowance, booked for it
}

// Template names the page's template.
func (Entry) Template() string { return "owner/entry" }

// PhotoFacts are what only the shop sees of a photo.
type PhotoFacts struct {
	FileName  string
	Camera    string
	Bytes     int64
	SHA256    string
	By        string // who posted it
	Received  time.Time
	Located   bool
	Latitude  float64
	Longitude float64
	Original  string    // address of the original
	HandedOut time.Time // when the owner was let have it; zero if not
}

// Photo is the viewer: one photo, with the ways to its neighbours.
type Photo struct {
	Frame
	Photo    PhotoView
	Stage    string // name; "" when it is in no entry
	Position int    // 1, 2, 3 ... in its run
	Of       int    // photos in the run; 0 when it has none
	Previous string // address of the page before; "" at the beginning
	Next     string
	Back     Link // the entry, stage or paper it belongs to
	// MarkAt is where it is marked, cropped and turned; "" for those who may not.
	MarkAt string
	// CompareAt is where it is compared with another; "" while it has no sizes.
	CompareAt string
	Save      string      // address of the full-size file
	Original  string      // address of the original, for an owner who may have it
	HandOut   string      // where the office hands out the original; "" for others
	Facts     *PhotoFacts // staff only; nil for owners
	Time      *PhotoTime  // how its time is known, and where it has been; nil for nothing to say
}

// Template names the page's template.
func (Photo) Template() string { return "owner/photo" }

// Megabytes returns the original's size as "4.2 MB".
func (f PhotoFacts) Megabytes() string {
	tenths := (f.Bytes + 50_000) / 100_000
	return fmt.Sprintf("%d.%d%sMB", tenths/10, tenths%10, nbsp)
}

var _ = declare(OwnerHome{}, OwnerBuild{}, Journal{}, Stage{}, Entry{}, Photo{})
