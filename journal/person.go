package journal

import (
	"net/mail"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// Role is what a person does in Farbay.
type Role string

const (
	// Office scopes, prices, sends, closes, bills.
	Office Role = "office"
	// Floor posts photos and entries and works the stages.
	Floor Role = "floor"
	// Owner owns a truck, or is an owner's delegate: which one is said by the
	// [Member] record of each build.
	Owner Role = "owner"
)

// Valid reports whether r is a known role.
func (r Role) Valid() bool { return r == Office || r == Floor || r == Owner }

// Staff reports whether the role belongs to the shop.
func (r Role) Staff() bool { return r == Office || r == Floor }

// Person is somebody who may sign in.
type Person struct {
	ID           PersonID
	Name         string
	Email        string // lower case, unique
	Phone        string
	Postal       string // postal address, several lines; "" if not known
	Role         Role
	PasswordHash string // encoded argon2id; "" for owners and until one is set
	CreatedAt    time.Time
	EndedAt      time.Time // zero while the account may sign in
}

// Active reports whether the person may sign in.
func (p Person) Active() bool { return p.EndedAt.IsZero() }

// Validate checks name, e-mail, phone and role, field by field.
func (p Person) Validate() error {
	bad := Problems{}
	CheckLine(bad, "name", p.Name, 1, 120, "Please type the person's name, at most 120 characters on one line.")
	if a, err := mail.ParseAddress(p.Email); err != nil || a.Address != p.Email || len(p.Email) > 254 {
		bad.Add("email", "Please type an e-mail address such as jane@example.org.")
	}
	CheckText(bad, "postal", p.Postal, 0, 400, "Please keep the postal address to 400 characters.")
	CheckLine(bad, "phone", p.Phone, 0, 40, "Please keep the phone number to 40 characters on one line.")
	if !p.Role.Valid() {
		bad.Add("role", "Please choose office, floor or owner.")
	}
	return bad.Err()
}

// NormalEmail returns the form in which addresses are stored and compared.
func NormalEmail(s string) string { return strings.ToLower(strings.TrimSpace(s)) }

// MemberAs says in which quality an owner-role person belongs to a build.
type MemberAs string

const (
	AsOwner MemberAs = "owner"
	// AsDelegate: named in writing by an owner to decide in their place.
	AsDelegate MemberAs = "delegate"
)

// Member ties an owner-role person to one build.
type Member struct {
	BuildID  BuildID
	PersonID PersonID
	As       MemberAs
	NamedBy  string  // delegate: where the owner named them, e.g. "letter of 3 March"
	PaperID  PaperID // delegate: the signed paper that named them; "" for one outside the program
	AddedAt  time.Time
	EndedAt  time.Time
	EndedBy  PersonID // who ended it; "" while it stands
}

// unreadable is the sentence for text with characters that no page can show.
const unreadable = "There is a character in here that cannot be shown; please type this anew instead of pasting it."

// CheckLine records the sentence when s is not one line of min to max
// characters (not bytes) without outer blanks, and a sentence of its own when
// it has control characters or bytes that are no UTF-8.
func CheckLine(bad Problems, field, s string, min, max int, sentence string) {
	if n := utf8.RuneCountInString(s); n < min || n > max || strings.TrimSpace(s) != s || strings.ContainsAny(s, "\n\t") {
		bad.Add(field, "%s", sentence)
	}
	if !utf8.ValidString(s) || strings.ContainsFunc(s, unicode.IsControl) {
		bad.Add(field, unreadable)
	}
}

// CheckText is CheckLine for text that may have line breaks, tabs and outer
// blanks.
func CheckText(bad Problems, field, s string, min, max int, sentence string) {
	if n := utf8.RuneCountInString(s); n < min || n > max {
		bad.Add(field, "%s", sentence)
	}
	control := func(r rune) bool { return unicode.IsControl(r) && r != '\n' && r != '\t' }
	if !utf8.ValidString(s) || strings.ContainsFunc(s, control) {
		bad.Add(field, unreadable)
	}
}

// CleanLine prepares one-line text from a form: outer blanks dropped.
func CleanLine(s string) string { return strings.TrimSpace(s) }

// CleanText prepares longer text from a form: line ends become "\n" as browsers
// send "\r\n", and outer blanks are dropped.
func CleanText(s string) string {
	return strings.TrimSpace(strings.ReplaceAll(strings.ReplaceAll(s, "\r\n", "\n"), "\r", "\n"))
}
