package journal

import "time"

// Letter is one e-mail, kept as it was sent. The worker sends those with no
// SentAt and tries again after failures.
type Letter struct {
	ID        LetterID
	BuildID   BuildID // "" for sign-in links and the like
	PersonID  PersonID
	To        string // address
	ToName    string
	Subject   string
	Text      string
	Files     []LetterFile
	CreatedAt time.Time
	SentAt    time.Time
	Tries     int
	Fault     string // why the last try failed
	// Reminds is the invoice that the letter reminds of, and RemindsOpen what was
	// open on it when it was written. Before it is sent, that is looked at again.
	Reminds     InvoiceID
	RemindsOpen Cents
	Dropped     string // why it is not sent any more, in a whole sentence; "" otherwise
}

// LetterFile is one attachment.
type LetterFile struct {
	Name        string
	ContentType string
	Data        []byte
}
