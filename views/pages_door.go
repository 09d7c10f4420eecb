package views

import (
	"time"

	"farbay/journal"
)

// SignIn is the way in. Owners ask for a link with one form (POST
// /sign-in/link: email, next), the shop signs in with the other (POST /sign-in:
// email, password, next).
type SignIn struct {
	Frame
	Email    string           // kept
	Next     string           // path to go to afterwards; "" for the start page
	Staff    bool             // the shop's form is the one that came back, so it is open
	Problems journal.Problems // fields "email", "password"; "form" for the whole
	Notice   string           // such as why a link no longer works; "" for none
}

// Template names the page's template.
func (SignIn) Template() string { return "door/sign_in" }

// LinkSent says that a link is on its way if the address is known; it says the
// same for every address.
type LinkSent struct {
	Frame
	Email   string // as typed
	Minutes int    // how long a link works
}

// Template names the page's template.
func (LinkSent) Template() string { return "door/link_sent" }

// Enter asks for one press of a button before a link is used up, because mail
// scanners open links too. It posts to Action.
type Enter struct {
	Frame
	Action string // "/enter/TOKEN"
	Name   string // whose link it is
}

// Template names the page's template.
func (Enter) Template() string { return "door/enter" }

// SetPassword lets a person of the shop choose a password. It posts "password"
// to Action. With SetUp it makes the first office account and posts "name" and
// "email" too.
type SetPassword struct {
	Frame
	Action    string // "/set-password/TOKEN"
	Email     string // whose; with SetUp, as typed
	Name      string // with SetUp, as typed
	SetUp     bool   // no office account exists yet
	MinLength int    // of a password, in characters
	Problems  journal.Problems
}

// Template names the page's template.
func (SetPassword) Template() string { return "door/set_password" }

// SignedOutKept answers a POST whose session had run out: nothing was recorded,
// what was typed is kept, and signing in brings it back.
type SignedOutKept struct {
	Frame
	Next string // path to go back to after signing in
	// Kept reports whether the server kept the form; without it, Text is what
	// to copy.
	Kept bool
	Text string // what was typed, to be copied; may be ""
}

// Template names the page's template.
func (SignedOutKept) Template() string { return "door/signed_out" }

// SessionLine is one of a person's signed-in browsers.
type SessionLine struct {
	How        string // how they proved who they are
	Address    string
	UserAgent  string
	CreatedAt  time.Time
	LastSeenAt time.Time
	This       bool // the one being used
}

// Account is a person's own page. Its forms post to /account/sessions/end and,
// to withdraw consent, to /consent with withdraw=yes.
type Account struct {
	Frame
	Email          string
	Phone          string
	Sessions       []SessionLine // live ones, the present one first
	ConsentVersion string        // in force; "" for none; owners only
	ConsentAt      time.Time
	Passkeys       PasskeySection // shown to owners only
}

// Template names the page's template.
func (Account) Template() string { return "door/account" }

// Owner reports whether the person signs papers here.
func (a Account) Owner() bool { return a.Person != nil && a.Person.Role == journal.Owner }

// Others counts the person's other sessions.
func (a Account) Others() int {
	n := 0
	for _, s := range a.Sessions {
		if !s.This {
			n++
		}
	}
	return n
}

// Consent shows the disclosures on electronic records and asks for the word of
// the test record. It posts version, sha256, word and next to /consent.
type Consent struct {
	Frame
	Next     string // path to go to afterwards, such as a paper
	Word     string // as typed, kept
	Given    bool   // consent is in force already
	GivenAt  time.Time
	Version  string // always [ConsentVersion]; kept in the record
	SHA256   string // always [ConsentSHA256]
	Problems journal.Problems
}

// NewConsent fills in the disclosures shown now.
func NewConsent(f Frame, next string) Consent {
	return Consent{Frame: f, Next: next, Version: ConsentVersion, SHA256: ConsentSHA256()}
}

// Template names the page's template.
func (Consent) Template() string { return "door/consent" }

// TestRecord is the record a person opens to show that they can read records
// here.
type TestRecord struct {
	Frame
	Word string
}

// Template names the page's template.
func (TestRecord) Template() string { return "door/test_record" }

var _ = declare(SignIn{}, LinkSent{}, Enter{}, SetPassword{}, SignedOutKept{}, Account{}, Consent{}, TestRecord{})
