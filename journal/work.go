package journal

import (
	"time"
)

// Work is one thing logged on a stage: a person's hours on a day, a part bought,
// or outside work. On a stage agreed by time and materials it is what is billed.
// It is never changed: a wrong one is taken back by a second that names it in
// TakesBack and has the opposite figures.
type Work struct {
	ID      WorkID
	BuildID BuildID
	StageID StageID
	Kind    LineKind // labour, parts or outside work
	Day     Date     // on which it was done or bought
	Text    string
	// Labour: who worked how long, at what rate an hour.
	PersonID PersonID
	Minutes  int
	Rate     Cents
	// Parts and outside work: what the shop paid, before tax, and its mark-up.
	Cost   Cents
	MarkUp BasisPoints
	Amount Cents // what it comes to; see [Work.Reckon]
	// The supplier's invoice, which outside work must have; "" for none.
	FileName   string
	FileSHA256 string
	TakesBack  WorkID
	Reason     string // of taking back
	ByID       PersonID
	At         time.Time
}

// Reckon returns what the work comes to, before tax: minutes x rate / 60 for
// labour, cost x (1 + mark-up) for the rest, each rounded half away from zero to
// a cent.
func (w Work) Reckon() Cents {
	if w.Kind == Labour {
		return w.Rate.MulDiv(int64(w.Minutes), 60)
	}
	return w.Cost + w.Cost.MulDiv(int64(w.MarkUp), 10_000)
}

// WorkFile is the supplier's invoice of logged work, as it was uploaded.
type WorkFile struct {
	WorkID      WorkID
	Name        string
	ContentType string
	SHA256      string
	Data        []byte
}

// Reminder says that the owners were reminded of an invoice.
type Reminder struct {
	InvoiceID InvoiceID
	Step      int // one of [Shop.ReminderDays]: days from the due date
	At        time.Time
}
