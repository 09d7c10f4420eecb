package journal

import (
	"slices"
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

// WorkKinds lists what can be logged, in the order offered.
var WorkKinds = []LineKind{Labour, Parts, Outside}

// The bounds of one person's hours on a day, in minutes.
const (
	MinWorkMinutes = 6
	MaxWorkMinutes = 24 * 60
)

// Validate checks what a person can enter, field by field: stage, kind, day (from
// since, the day on which the build began, to today), text, person and hours, rate,
// cost, mark_up, and file, which outside work must have. What takes other work back
// is checked for its reason alone. It returns nil or one [Invalid] error. Pure.
func (w Work) Validate(since, today Date) error {
	bad := Problems{}
	if w.TakesBack != "" {
		CheckLine(bad, "reason", w.Reason, 1, 300, "Please say why it is taken back, in one line of at most 300 characters.")
		return bad.Err()
	}
	if !slices.Contains(WorkKinds, w.Kind) {
		bad.Add("kind", "Please choose labour, parts or outside work.")
	}
	switch {
	case w.Day.IsZero():
		bad.Add("day", "Please give the day on which it was done or bought.")
	case w.Day > today:
		bad.Add("day", "That day is still to come; please give the day on which it was done or bought.")
	case w.Day < since:
		bad.Add("day", "The build began on %s; please give a day from then on.", since)
	}
	CheckText(bad, "text", w.Text, 1, 500, "Please say what was done or bought, in at most 500 characters.")
	if w.Kind == Labour {
		w.checkLabour(bad)
	} else {
		w.checkBought(bad)
	}
	return bad.Err()
}

func (w Work) checkLabour(bad Problems) {
	if w.PersonID == "" {
		bad.Add("person", "Please choose who did it.")
	}
	if w.Minutes < MinWorkMinutes || w.Minutes > MaxWorkMinutes {
		bad.Add("hours", "Please give the hours of one day, from 0.1 to 24.")
	}
	if w.Rate < 0 || w.Rate > MaxCents {
		bad.Add("rate", "Please type the rate an hour, from 0 to %s.", MaxCents)
	}
}

func (w Work) checkBought(bad Problems) {
	if w.Cost <= 0 || w.Cost > MaxCents {
		bad.Add("cost", "Please type what the shop paid, before tax, above zero and at most %s.", MaxCents)
	}
	if w.MarkUp < 0 || w.MarkUp > 10_000 {
		bad.Add("mark_up", "A mark-up lies between 0 and 100 per cent.")
	}
	if w.Kind == Outside && w.FileSHA256 == "" {
		bad.Add("file", "Outside work needs the supplier's invoice: please attach it as a PDF, JPEG or PNG.")
	}
}

// TakenBack returns what takes w back: the same with opposite figures. ID, reason,
// by whom and when are left to the caller.
func (w Work) TakenBack() Work {
	back := w
	back.ID, back.TakesBack = "", w.ID
	back.Minutes, back.Cost, back.Amount = -w.Minutes, -w.Cost, -w.Amount
	back.FileName, back.FileSHA256 = "", ""
	return back
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
