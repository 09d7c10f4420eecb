package journal

import "time"

// BuildState is where a build stands as a whole.
type BuildState string

const (
	// Scoping: values and dates are being settled; nothing can be billed.
	Scoping BuildState = "scoping"
	// Agreed: the owner's agreement is recorded; stage values are fixed and
	// change only by signed papers.
	Agreed BuildState = "agreed"
	// Delivered: the truck has left.
	Delivered BuildState = "delivered"
	// Stopped: ended early, by a signed paper or by the shop's record.
	Stopped BuildState = "stopped"
)

// Truck describes the vehicle as its data plate and the owner do.
type Truck struct {
	Year     int // model year; 0 when unknown
	Make     string
	Model    string
	Serial   string
	Odometer int    // as read at arrival; 0 when unknown
	Unit     string // "miles" or "km"
	Colour   string // to be painted
}

// Name returns "1971 Ostler Fenman", leaving out what is unknown.
func (t Truck) Name() string {
	s := ""
	if t.Year != 0 {
		s = pad(uint64(t.Year), 4)
	}
	for _, word := range []string{t.Make, t.Model} {
		if word != "" && s != "" {
			s += " "
		}
		s += word
	}
	return s
}

// Build is one truck's restoration.
type Build struct {
	ID          BuildID
	Nickname    string // unique, used on the floor
	Truck       Truck
	PlanName    string // the stage plan it began with
	State       BuildState
	LeadID      PersonID // lead technician; "" until chosen
	ArrivedOn   Date
	ReadyOn     Date   // agreed ready date: the agreement's, moved by signed papers
	AgreedOn    Date   // when the agreement was signed
	AgreedHow   string // how: "signed on paper, in the file", ...
	DeliveredOn Date
	StoppedOn   Date // the day on which it was ended early
	CreatedAt   time.Time
	Version     int // counts changes; a save must name the one it read
}

// Over reports whether work on the build has ended: it was delivered or stopped.
func (b Build) Over() bool { return b.State == Delivered || b.State == Stopped }

// Validate checks what a person can enter, field by field.
func (b Build) Validate() error {
	bad := Problems{}
	CheckLine(bad, "nickname", b.Nickname, 1, 40, "Please give the build a nickname, at most 40 characters.")
	t := b.Truck
	if t.Year != 0 && (t.Year < 1900 || t.Year > 2100) {
		bad.Add("year", "Please type the model year with four digits, such as 1971, or leave it empty.")
	}
	CheckLine(bad, "make", t.Make, 1, 60, "Please type the truck's make, at most 60 characters.")
	CheckLine(bad, "model", t.Model, 0, 80, "Please keep the model to 80 characters.")
	CheckLine(bad, "serial", t.Serial, 0, 60, "Please keep the serial number to 60 characters.")
	CheckLine(bad, "colour", t.Colour, 0, 80, "Please keep the colour to 80 characters.")
	if t.Odometer < 0 || t.Odometer > 9_999_999 {
		bad.Add("odometer", "Please type the odometer as a whole number of at most 7 digits.")
	}
	if t.Unit != "miles" && t.Unit != "km" {
		bad.Add("unit", "Please choose miles or km.")
	}
	CheckDay(bad, "arrived_on", b.ArrivedOn)
	return bad.Err()
}
