package journal

import (
	"net/mail"
	"time"
)

// Shop is who runs this Farbay: what stands at the head of pages, papers and
// invoices, and the defaults for new builds.
type Shop struct {
	Name       string
	Address    string // several lines
	Phone      string
	Email      string
	Zone       string // IANA name, e.g. "America/Denver"
	Currency   string // ISO 4217, e.g. "USD"
	LabourRate Cents  // per hour, offered for new change order lines
	Closures   []Closure
	QuietDays  int // a build is quiet after so many days without news
	// ReminderDays are the days, counted from an invoice's due date (negative:
	// before it), on which owners are reminded of it; ascending.
	ReminderDays []int
	Version      int
}

// Closure is a day on which the shop does not work, besides weekends and
// federal holidays.
type Closure struct {
	Day  Date
	Name string
}

// Validate checks the shop's settings, field by field.
func (s Shop) Validate() error {
	bad := Problems{}
	CheckLine(bad, "name", s.Name, 1, 120, "Please type the shop's name, at most 120 characters.")
	CheckText(bad, "address", s.Address, 0, 400, "Please keep the address to 400 characters.")
	CheckLine(bad, "phone", s.Phone, 0, 40, "Please keep the phone number to 40 characters on one line.")
	if a, err := mail.ParseAddress(s.Email); s.Email != "" && (err != nil || a.Address != s.Email || len(s.Email) > 254) {
		bad.Add("email", "Please type an e-mail address such as office@example.org.")
	}
	if _, err := time.LoadLocation(s.Zone); err != nil || s.Zone == "" || s.Zone == "Local" {
		bad.Add("zone", "Please choose a time zone by its name, such as America/Denver.")
	}
	if len(s.Currency) != 3 {
		bad.Add("currency", "Please type the currency's three letters, such as USD.")
	}
	if s.LabourRate < 0 {
		bad.Add("labour_rate", "An hour's rate cannot be below zero.")
	}
	if s.QuietDays < 1 || s.QuietDays > 365 {
		bad.Add("quiet_days", "Please type between 1 and 365 days.")
	}
	if len(s.Closures) > 400 {
		bad.Add("closures", "Please list at most 400 days.")
	}
	for _, c := range s.Closures {
		CheckLine(bad, "closures", c.Name, 0, 120, "Please keep the name of each day to 120 characters.")
	}
	return bad.Err()
}

// Location returns the shop's time zone; UTC if its name is not known here,
// which Validate excludes.
func (s Shop) Location() *time.Location {
	if zone, err := time.LoadLocation(s.Zone); err == nil {
		return zone
	}
	return time.UTC
}
