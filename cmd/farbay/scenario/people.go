package scenario

import "farbay/journal"

// who names a person of the story.
type who string

const (
	wilma who = "wilma"
	odd   who = "odd"
	pilar who = "pilar"
	ida   who = "ida"
	tomas who = "tomas"
	renny who = "renny"
	bodil who = "bodil"
	casey who = "casey"
)

// Password is the demo staff's password.
const Password = "quarry-road-four"

// Emails of the demo's people, for the sign-in links it prints.
const (
	OfficeEmail = "wilma@ternhollow.example"
	FloorEmail  = "odd@ternhollow.example"
	OwnerEmail  = "ida.marsh@post.example"
)

var shop = journal.Shop{
	Name: "Tern Hollow Truck Works", Address: "4 Quarry Road\nTern Hollow", Phone: "555 0142",
	Email: "office@ternhollow.example", Zone: "America/Denver", Currency: "USD", LabourRate: 9500, QuietDays: 7,
}

var people = []struct {
	key    who
	person journal.Person
}{
	{wilma, journal.Person{Name: "Wilma Tarn", Email: OfficeEmail, Phone: "555 0142", Role: journal.Office}},
	{odd, journal.Person{Name: "Odd Lindqvist", Email: FloorEmail, Role: journal.Floor}},
	{pilar, journal.Person{Name: "Pilar Vance", Email: "pilar@ternhollow.example", Role: journal.Floor}},
	{ida, journal.Person{Name: "Ida Marsh", Email: OwnerEmail, Phone: "555 0177", Role: journal.Owner}},
	{tomas, journal.Person{Name: "Tomas Marsh", Email: "tomas.marsh@post.example", Role: journal.Owner}},
	{renny, journal.Person{Name: "Renny Okafor", Email: "renny@post.example", Phone: "555 0163", Role: journal.Owner}},
	{bodil, journal.Person{Name: "Bodil Strand", Email: "bodil.strand@post.example", Role: journal.Owner}},
	{casey, journal.Person{Name: "Casey Whitlow", Email: "casey.w@post.example", Phone: "555 0118", Role: journal.Owner}},
}
