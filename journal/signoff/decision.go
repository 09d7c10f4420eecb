package signoff

import (
	"time"

	"farbay/journal"
)

// Revision is one frozen form of a paper.
type Revision struct {
	PaperID journal.PaperID
	Number  int    // 1, 2, 3 ...
	Bytes   []byte // the canonical byte form
	SHA256  string
	SentAt  time.Time
	SentBy  journal.PersonID // "" when the program renewed it after another paper was signed
}

// Outcome is what was decided.
type Outcome string

const (
	OutcomeSigned   Outcome = "signed"
	OutcomeDeclined Outcome = "declined"
)

// Decision is the one recorded decision on a paper. It is never changed.
type Decision struct {
	PaperID        journal.PaperID
	Revision       int
	SHA256         string // of the bytes that were shown
	Outcome        Outcome
	PersonID       journal.PersonID
	As             journal.MemberAs // owner, or delegate
	TypedName      string
	Sentence       string // the act's wording, as the person saw it
	Reason         string // when declined
	PartsBack      bool   // whether replaced parts are wanted back
	At             time.Time
	Zone           string // the shop's zone at that time
	Authenticated  string // how the person had proved who they are
	Address        string
	UserAgent      string
	ConsentVersion string
	ConsentAt      time.Time
	CopyTo         string           // e-mail address the copy went to
	CopyLetterID   journal.LetterID // the letter with the copy
}

// Sentences of the two acts, shown beside the buttons and kept with the
// decision.
const (
	SignSentence    = "I have read this change order and I agree to it, with its cost, the new total and the new date."
	DeclineSentence = "I have read this change order and I decline it. Nothing in it is to be done or billed."
)

// Question is asked about a paper and answered under it. It is no decision and
// never part of the frozen bytes.
type Question struct {
	ID         journal.QuestionID
	PaperID    journal.PaperID
	Revision   int
	AskedBy    journal.PersonID
	Text       string
	AskedAt    time.Time
	Answer     string
	AnsweredBy journal.PersonID
	AnsweredAt time.Time // zero until answered
}

// Consent is a person's agreement to receive and sign records electronically.
type Consent struct {
	PersonID  journal.PersonID
	Version   string // of the disclosures, e.g. "1"
	SHA256    string // of the disclosures' text as shown
	Word      string // what they read in the test record and typed back
	At        time.Time
	Address   string
	UserAgent string
	EndedAt   time.Time // zero unless withdrawn
}
