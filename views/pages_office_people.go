package views

import (
	"regexp"
	"time"

	"farbay/journal"
)

// PersonForm is what was typed about a person. The field names are "name",
// "email", "phone" and "role".
type PersonForm struct {
	Name   string
	Email  string
	Phone  string
	Postal string
	Role   string // a [journal.Role]
}

// PersonLine is a person in a list.
type PersonLine struct {
	Person   journal.Person
	Builds   []string  // nicknames, of owners and delegates
	LastSeen time.Time // zero if never signed in
}

// People is the list of all people, with the form that adds one. It posts to
// /people.
type People struct {
	Frame
	Staff    []PersonLine
	Owners   []PersonLine
	Ended    []PersonLine
	Form     PersonForm
	Problems journal.Problems
}

// Person is one person's account. Its forms post to /people/ID, and to .../link
// (send a link), .../sessions/end and .../end.
type Person struct {
	Frame
	Stored   journal.Person // the account as stored
	Self     bool           // whether it is the reader
	Builds   []journal.Build
	Sessions []journal.Session // live ones, newest first
	Form     PersonForm
	Problems journal.Problems
	// ConsentAt is when an owner agreed to electronic records; zero when that is not
	// in force. That they withdrew it posts to .../consent/end with "how".
	ConsentAt time.Time
	How       string // as typed
}

// ShopForm is what was typed about the shop. The field names are "name",
// "address", "phone", "email", "zone", "currency", "labour_rate", "quiet_days",
// "closures" (one a line: the day, then its name) and "version".
type ShopForm struct {
	Name       string
	Address    string
	Phone      string
	Email      string
	Zone       string
	Currency   string
	LabourRate string
	QuietDays  string
	// ReminderDays are days with commas between, named "reminder_days".
	ReminderDays string
	Closures     string
	Version      int
}

// Shop is the form for the shop's settings. It posts to /shop.
type Shop struct {
	Frame
	Form     ShopForm
	Zones    []string // offered while typing
	Problems journal.Problems
}

// Outbox is the list of letters, newest first.
type Outbox struct {
	Frame
	Letters []LetterLine
	Waiting int  // letters still to be sent
	ByMail  bool // whether letters leave by mail; false: they are only kept here
}

// LetterLine is a letter in a list.
type LetterLine struct {
	Letter journal.Letter
	Build  string // nickname; "" for sign-in links and the like
}

// LetterPage is one e-mail as it was sent.
type LetterPage struct {
	Frame
	Letter   journal.Letter
	Nickname string // of the build; "" for sign-in links and the like
	ByMail   bool   // whether letters leave by mail
}

// LetterPart is a stretch of a letter's text, or an address of this house in
// it.
type LetterPart struct {
	Text string
	Href string // "" for text
}

// webAddress finds web addresses in a letter's text. A full stop or bracket at
// the end belongs to the sentence.
var webAddress = regexp.MustCompile(`https?://[^\s<>"]*[^\s<>".,;:!?)]`)

// Parts returns the letter's text with its addresses apart, so that they can be
// followed from the page.
func (p LetterPage) Parts() []LetterPart {
	var parts []LetterPart
	from := 0
	for _, at := range webAddress.FindAllStringIndex(p.Letter.Text, -1) {
		if at[0] > from {
			parts = append(parts, LetterPart{Text: p.Letter.Text[from:at[0]]})
		}
		address := p.Letter.Text[at[0]:at[1]]
		parts = append(parts, LetterPart{Text: address, Href: address})
		from = at[1]
	}
	if from < len(p.Letter.Text) {
		parts = append(parts, LetterPart{Text: p.Letter.Text[from:]})
	}
	return parts
}

// PeopleList is people in a list, piece "people-list".
type PeopleList struct {
	Words
	Lines []PersonLine
}

// List returns people ready to be shown.
func (p People) List(lines []PersonLine) PeopleList { return PeopleList{Words: p.Words, Lines: lines} }

// PersonFields is the part that the forms for a new and a known person share,
// piece "person-fields".
type PersonFields struct {
	Form     PersonForm
	Problems journal.Problems
}

// Fields returns the shared part of the form.
func (p People) Fields() PersonFields { return PersonFields{p.Form, p.Problems} }

// Fields returns the shared part of the form.
func (p Person) Fields() PersonFields { return PersonFields{p.Form, p.Problems} }

// URL returns the account's address.
func (p Person) URL() string { return "/people/" + string(p.Stored.ID) }
