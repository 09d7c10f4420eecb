package views

import (
	"time"

	"farbay/journal"
)

// FloorHome is the floor's first page: the builds under way, each with its big
// act.
type FloorHome struct {
	Builds []FloorBuild
}

// FloorBuild is one build on the floor's first page.
type FloorBuild struct {
	Build  journal.Build
	Stages []StageLine
	Open   []StageLine // stages under way
	Mine   bool        // the reader leads the build or one of its open stages
	Loose  int         // the reader's photos not in any entry yet
	Wants  []string    // what the open gates still want, in words, without a full stop
}

// PickPhoto is a photo that a form offers or holds. Field names: "photo" (the
// ticked ones' ids, repeated), "caption_ID" and "place_ID".
type PickPhoto struct {
	Photo   journal.Photo
	Caption string // as typed
	Chosen  bool
	Place   string // as typed: its place in the order, "1" first; "" keeps it
	Note    string // where it comes from: "in the find", "Body metal"; "" for none
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
	Build    journal.Build
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
	Build    journal.Build
	Entry    journal.Entry // as stored
	Stages   []journal.Stage
	Form     EntryForm
	Photos   []PickPhoto // those of the entry, in order, then the reader's loose ones
	Problems journal.Problems
	Refused  []string
}

// StaffEntry is one entry as the shop sees it.
type StaffEntry struct {
	Build   journal.Build
	Entry   journal.Entry
	Stage   string // name
	Author  string // name
	Photos  []PickPhoto
	History []EntryWas // newest first
	Papers  []PaperLine
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

// PaperLine is a paper in a list.
type PaperLine struct {
	ID     journal.PaperID
	Name   string // "Change order 4"; "Draft" before the first sending
	Title  string
	State  string // a [signoff.State]
	Delta  journal.Cents
	Days   int       // working days
	SentAt time.Time // of the last revision; zero before
	Ask    int       // questions not answered
}
