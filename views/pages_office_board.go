package views

import (
	"cmp"
	"slices"
	"strconv"
	"time"

	"farbay/journal"
)

// BoardRow is one build on the office's first page.
type BoardRow struct {
	Build      journal.Build
	Stages     []StageLine
	Waits      []Wait        // in any order; see [WorstFirst]
	Due        journal.Cents // open on all invoices, with tax
	LastNewsAt time.Time     // zero if the owner never got any
	QuietDays  int           // whole days since LastNewsAt, or since arrival
	Quiet      bool          // at or above the shop's quiet days
}

// StageLine is a stage with what is told beside it.
type StageLine struct {
	Stage   journal.Stage
	Dropped string        // the paper that dropped it, "change order 4"; "" otherwise
	Lead    string        // name; "" when none is chosen
	Done    int           // share of its planned days gone by, in per cent, 0 to 100
	Changes journal.Cents // signed changes it bears, before tax
}

// LateInvoices says which invoices are late, in a whole sentence; "" for none.
func (r BoardRow) LateInvoices() (string, error) {
	var late []Wait
	for _, w := range r.Waits {
		if w.For == "invoice" && w.Late > 0 {
			late = append(late, w)
		}
	}
	switch len(late) {
	case 0:
		return "", nil
	case 1:
		what, err := late[0].What()
		return UpperFirst(what) + " is " + late[0].LateBy() + ".", err
	}
	return Count(len(late), "invoice is", "invoices are") + " late.", nil
}

// Stands says where the stage stands: "closed", "dropped by change order 4".
func (l StageLine) Stands() string {
	return Coat{State: l.Stage.State, Dropped: l.Dropped}.stands()
}

// Coats returns the row's coat strip.
func (r BoardRow) Coats() []Coat { return coatsOf(r.Stages) }

// Open returns the row's stages under way.
func (r BoardRow) Open() []StageLine { return underWay(r.Stages) }

// WorstFirst returns the row's waits in the order of [WorstFirst].
func (r BoardRow) WorstFirst() []Wait { return WorstFirst(r.Waits) }

func coatsOf(stages []StageLine) []Coat {
	coats := make([]Coat, len(stages))
	for i, s := range stages {
		coats[i] = Coat{Name: s.Stage.Name, State: s.Stage.State, Dropped: s.Dropped, Days: s.Stage.PlannedDays, Done: s.Done}
	}
	return coats
}

func underWay(stages []StageLine) []StageLine {
	var open []StageLine
	for _, s := range stages {
		if s.Stage.State == journal.UnderWay {
			open = append(open, s)
		}
	}
	return open
}

// worst returns the row's gravest wait: most days late, else waited longest.
func (r BoardRow) worst() (late, days int) {
	for _, w := range r.Waits {
		late, days = max(late, w.Late), max(days, w.Days)
	}
	return late, days
}

// WhatWaits is the office's first page: one build a row.
type WhatWaits struct {
	Frame
	// Rows are the builds not delivered, and those delivered that still wait on
	// something, in any order; see [WhatWaits.WorstFirst].
	Rows      []BoardRow
	Unsent    int // letters that failed and are not sent
	Delivered int // builds delivered or stopped, and settled, not shown
}

// WorstFirst returns the rows, those with something late first (most days
// first), then those gone quiet, then by their longest wait, then by nickname.
func (p WhatWaits) WorstFirst() []BoardRow {
	rows := slices.Clone(p.Rows)
	quiet := func(r BoardRow) int {
		if r.Quiet {
			return 1
		}
		return 0
	}
	slices.SortStableFunc(rows, func(a, b BoardRow) int {
		aLate, aDays := a.worst()
		bLate, bDays := b.worst()
		return cmp.Or(
			cmp.Compare(bLate, aLate), cmp.Compare(quiet(b), quiet(a)), cmp.Compare(bDays, aDays),
			cmp.Compare(a.Build.Nickname, b.Build.Nickname))
	})
	return rows
}

// Builds is the list of all builds, for staff.
type Builds struct {
	Frame
	UnderWay  []BoardRow // Waits may be left empty
	Delivered []journal.Build
	Stopped   []journal.Build // ended early
}

// List returns the row's waits ready to be shown.
func (p WhatWaits) List(r BoardRow) WaitList { return WaitList{Words: p.Words, Waits: r.WorstFirst()} }

// Due returns what is open on all builds shown.
func (p WhatWaits) Due() journal.Cents {
	var due journal.Cents
	for _, r := range p.Rows {
		due += r.Due
	}
	return due
}

// Doing says in words what the strip shows: "Plating and Body metal under way,
// 6 of 13 closed".
func (r BoardRow) Doing() string { return doing(r.Stages) }

func doing(stages []StageLine) string {
	var open []string
	closed, dropped := 0, 0
	for _, s := range stages {
		switch s.Stage.State {
		case journal.UnderWay:
			open = append(open, s.Stage.Name)
		case journal.Closed:
			if s.Dropped != "" {
				dropped++
				continue
			}
			closed++
		}
	}
	said := "Nothing under way"
	if len(open) > 0 {
		said = List(open) + " under way"
	}
	return said + ", " + strconv.Itoa(closed) + " of " + strconv.Itoa(len(stages)-dropped) + " closed"
}
