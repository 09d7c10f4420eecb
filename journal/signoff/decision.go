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

	Manner     Manner
	HappenedAt time.Time        // when the person decided, where the shop recorded it later; else zero
	RecordedBy journal.PersonID // who in the office recorded it; "" on its page
	Phone      string           // by phone: the number called
	SpokeWith  string           // by phone: who spoke for the shop
	ScanID     journal.ScanID   // on paper: the scan of the signed sheet
	// Passkey is the assertion of a passkey that confirmed the act, as JSON; ""
	// if none was used.
	Passkey string
}

// DecidedAt is when the person decided.
func (d Decision) DecidedAt() time.Time {
	if d.HappenedAt.IsZero() {
		return d.At
	}
	return d.HappenedAt
}

// Manner is how a decision was made.
type Manner string

const (
	// OnPage: by the person, on the paper's page.
	OnPage Manner = "on its page"
	// ByPhone: said to the shop, which recorded it; the person is asked to
	// confirm it.
	ByPhone Manner = "by phone"
	// OnPaper: signed by hand on the printed paper, which came back by post.
	OnPaper Manner = "on paper"
)

// Confirmation is what the owner's side says to a paper that was agreed by
// phone. It is never changed.
type Confirmation struct {
	PaperID       journal.PaperID
	Confirmed     bool // false: disputed
	PersonID      journal.PersonID
	TypedName     string
	Sentence      string // the act's wording
	Text          string // of a dispute
	At            time.Time
	Authenticated string
	Address       string
	UserAgent     string
}

// Sentences of confirming and disputing, shown beside the buttons and kept.
const (
	ConfirmSentence = "I agreed to this paper by phone, as it is recorded here, and I confirm it."
	DisputeSentence = "I did not agree to this paper by phone as it is recorded here."
)

// Scan is a signed sheet that came back by post, as the office scanned it.
type Scan struct {
	ID          journal.ScanID
	PaperID     journal.PaperID
	Revision    int
	Name        string // file name
	ContentType string
	SHA256      string
	Data        []byte
	ByID        journal.PersonID
	At          time.Time
}

// Posting says that a revision goes to a person by post, because they have
// withdrawn their consent to electronic records.
type Posting struct {
	PaperID  journal.PaperID
	Revision int
	PersonID journal.PersonID
	At       time.Time
	PostedOn journal.Date // "" until it was posted
	PostedBy journal.PersonID
}

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
