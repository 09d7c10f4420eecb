package views

import (
	"farbay/journal"
)

// FloorHome is the floor's first page: the builds under way, each with its big
// act.
type FloorHome struct {
	Frame
	Builds []FloorBuild
}

// FloorBuild is one build on the floor's first page.
type FloorBuild struct {
	Build  journal.Build
	Stages []StageLine
	Mine   bool     // the reader leads the build or one of its open stages
	Loose  int      // the reader's photos not in any entry yet
	Wants  []string // what the open gates still want, in words, without a full stop
}

// Coats returns the build's coat strip.
func (b FloorBuild) Coats() []Coat { return coatsOf(b.Stages) }

// Open returns the stages under way.
func (b FloorBuild) Open() []StageLine { return underWay(b.Stages) }

// Doing says in words what the strip shows.
func (b FloorBuild) Doing() string { return doing(b.Stages) }

// PickPhoto is a photo that a form offers or holds. Field names: "photo" (the
// ticked ones' ids, repeated), "caption_ID" and "place_ID".
type PickPhoto struct {
	View     PhotoView // its Caption is not used
	FileName string    // as the sender named it
	Caption  string    // as typed
	Chosen   bool
	Place    string // as typed: its place in the order, "1" first; "" keeps it
	Note     string // where it comes from: "in the find", "Body metal"; "" for none
}

// EntryForm is what was typed for an entry. The field names are "stage",
// "kind", "audience", "text", "version", and those of [PickPhoto]; new photos
// come in "photos", as files.
type EntryForm struct {
	Stage    string // stage id
	Kind     string // a [journal.EntryKind]; "" when none is chosen
	Audience string // a [journal.Audience]; "" counts as shop only
	Text     string
	Version  int // of the entry as read; 0 for a new one
}

// EntryNew is the form for a new entry. It posts to /builds/ID/entries.
type EntryNew struct {
	Frame
	Stages   []journal.Stage // all, in order; those under way are offered first
	Form     EntryForm
	Loose    []PickPhoto // the reader's photos that are in no entry, oldest first
	Problems journal.Problems
	// Refused are the files that were sent with the form and not taken, one
	// sentence each, the file's name first.
	Refused []string
}

// EntryEdit is the form that changes an entry. It posts to
// /builds/ID/entries/ID/edit.
type EntryEdit struct {
	Frame
	Entry    journal.Entry // as stored
	Stages   []journal.Stage
	Form     EntryForm
	Photos   []PickPhoto // those of the entry, in order, all chosen; then the reader's loose ones
	Problems journal.Problems
	Refused  []string
}

// StaffEntry is one entry as the shop sees it.
type StaffEntry struct {
	Frame
	Entry       journal.Entry
	Shown       EntryView   // with all its photos
	History     []EntryWas  // newest first
	Papers      []PaperItem // those made of this find
	WithdrawnBy string      // name; "" while it stands
	// Problems of the withdraw form, field "reason"; Reason is what was typed.
	Problems journal.Problems
	Reason   string
}

// EntryWas is what an entry was before an edit.
type EntryWas struct {
	Edit  journal.EntryEdit
	By    string // name of who replaced it
	Stage string // name of its stage then
}

// Template names the page's template.
func (FloorHome) Template() string { return "floor/home" }

// Template names the page's template.
func (EntryNew) Template() string { return "floor/entry_new" }

// Template names the page's template.
func (EntryEdit) Template() string { return "floor/entry_edit" }

// Template names the page's template.
func (StaffEntry) Template() string { return "floor/entry" }

// PaperList is papers of one build in a list, piece "paper-list".
type PaperList struct {
	Words
	BuildID journal.BuildID
	Papers  []PaperItem
}
