package journal

import "time"

// JobKind says what a job does.
type JobKind string

const (
	// JobDerive makes the sizes of the photo named by Subject.
	JobDerive JobKind = "derive"
	// JobMail sends the letter named by Subject.
	JobMail JobKind = "mail"
)

// Job is work to be done outside a request. It lives in the database so that a
// crash forgets none. A claimed job whose lease has run out is claimed again.
type Job struct {
	ID         int64
	Kind       JobKind
	Subject    string
	CreatedAt  time.Time
	RunAt      time.Time // not before
	LeaseUntil time.Time // zero while unclaimed
	Tries      int
	DoneAt     time.Time // finished, or given up
	Fault      string    // the last failure; with DoneAt: given up
}
