package signoff

import (
	"time"

	"farbay/journal"
)

// Allowance is what an owner has agreed in writing that the shop may spend on
// finds without asking. One is in force for a build at most.
type Allowance struct {
	ID      journal.AllowanceID
	BuildID journal.BuildID
	PaperID journal.PaperID // the signed paper that set it
	Limits  Limits
	FromAt  time.Time
	EndedAt time.Time // zero while in force
	EndedBy journal.PersonID
}

// Use is one booked use of an allowance. It is never changed.
type Use struct {
	ID          journal.UseID
	BuildID     journal.BuildID
	AllowanceID journal.AllowanceID
	Number      int // 1, 2, 3 ... per build
	EntryID     journal.EntryID
	StageID     journal.StageID // which bears it
	Title       string
	Reason      string
	Lines       []Line
	Photos      []Evidence
	Amount      journal.Cents // of the lines, before tax
	Tax         journal.Cents // that it adds to the build's
	Month       string        // "2026-04": the shop's calendar month it counts in
	ByID        journal.PersonID
	At          time.Time
}

// WithTax returns what the use takes from the allowance.
func (u Use) WithTax() journal.Cents { return u.Amount + u.Tax }

// Split returns the use by line kind, before tax.
func (u Use) Split() journal.Split {
	var s journal.Split
	for _, l := range u.Lines {
		s = s.Plus(l.Kind, l.Amount)
	}
	return s
}

// Left returns what may still be spent on a find and in a month, tax included:
// the smaller of the two limits less what was used of each. Uses of allowances
// before this one count in their month as well, for the owner gave one month's
// money once. find "" asks for the month alone.
func (a Allowance) Left(uses []Use, find journal.EntryID, month string) journal.Cents {
	left, ofFind := a.Limits.PerMonth, a.Limits.PerFind
	for _, u := range uses {
		if u.Month == month {
			left -= u.WithTax()
		}
		if find != "" && u.EntryID == find {
			ofFind -= u.WithTax()
		}
	}
	if find != "" {
		left = min(left, ofFind)
	}
	return max(left, 0)
}

// MonthOf returns the calendar month of a day, "2026-04".
func MonthOf(d journal.Date) string { return string(d[:7]) }
