package journal

import (
	"net/mail"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
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
	s.checkReminders(bad)
	for _, c := range s.Closures {
		CheckLine(bad, "closures", c.Name, 0, 120, "Please keep the name of each day to 120 characters.")
	}
	return bad.Err()
}

// MaxReminders is how many reminders of one invoice there can be at most, and
// MaxReminderDay how far from its due day one can lie. Both are our own choice.
const (
	MaxReminders   = 10
	MaxReminderDay = 365
)

func (s Shop) checkReminders(bad Problems) {
	if len(s.ReminderDays) > MaxReminders {
		bad.Add("reminder_days", "Please type at most %d reminders.", MaxReminders)
	}
	for i, day := range s.ReminderDays {
		if day < -MaxReminderDay || day > MaxReminderDay || i > 0 && day <= s.ReminderDays[i-1] {
			bad.Add("reminder_days", "Please type whole days between -%d and %d, each once, such as: -3, 1, 14, 30.", MaxReminderDay, MaxReminderDay)
		}
	}
}

// ParseReminderDays reads days as they are typed: "-3, 1, 14, 30", with commas or
// blanks between them, and returns them ascending; nothing typed is none. It
// returns an [Invalid] error for anything else, and for a day typed twice.
func ParseReminderDays(text string) ([]int, error) {
	refuse := Errorf(Invalid, "Please type whole days between -%d and %d, each once, such as: -3, 1, 14, 30.", MaxReminderDay, MaxReminderDay)
	words := strings.FieldsFunc(strings.ReplaceAll(text, "\u2212", "-"), func(r rune) bool { return r == ',' || r == ';' || unicode.IsSpace(r) })
	var days []int
	for _, word := range words {
		day, err := strconv.Atoi(word)
		if err != nil || day < -MaxReminderDay || day > MaxReminderDay || slices.Contains(days, day) {
			return nil, refuse
		}
		days = append(days, day)
	}
	slices.Sort(days)
	return days, nil
}

// FormatReminderDays writes days as [ParseReminderDays] reads them.
func FormatReminderDays(days []int) string {
	words := make([]string, len(days))
	for i, day := range days {
		words[i] = strconv.Itoa(day)
	}
	return strings.Join(words, ", ")
}

// Location returns the shop's time zone; UTC if its name is not known here,
// which Validate excludes.
func (s Shop) Location() *time.Location {
	if zone, err := time.LoadLocation(s.Zone); err == nil {
		return zone
	}
	return time.UTC
}
