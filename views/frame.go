package views

import (
	"strings"

	"farbay/journal"
)

// Frame is what every page has around its content. Page structs embed it.
type Frame struct {
	Words
	ShopName string
	Title    string    // of the page, such as "Heron"; the shop's name is added
	Person   *Who      // nil when nobody is signed in
	Build    *BuildRef // the build the page belongs to; nil for none
	Flash    string    // a whole sentence on what was just done; "" for none
	Refused  string    // whole sentences on why what was sent was not done; "" for none
	Demo     bool      // the shop is invented; every page says so
	Path     string    // of the request, such as "/builds/b1/money"
}

// Who is the signed-in person.
type Who struct {
	Name string
	Role journal.Role
}

// Staff reports whether the person belongs to the shop.
func (w Who) Staff() bool { return w.Role.Staff() }

// Office reports whether the person may price, send, close and bill.
func (w Who) Office() bool { return w.Role == journal.Office }

// BuildRef names a build in head lines and addresses.
type BuildRef struct {
	ID       journal.BuildID
	Nickname string
}

// URL returns the build's address, "/builds/b1".
func (b BuildRef) URL() string { return "/builds/" + string(b.ID) }

func (f Frame) frame() Frame { return f }

// Link is one address with its words.
type Link struct {
	Text    string
	Href    string
	Current bool // it is the page being shown, or the part of the house it is in
}

// HouseNav returns the links to the parts of the house the person may enter.
// An owner with one build has none: the build is the house.
func (f Frame) HouseNav() []Link {
	if f.Person == nil {
		return nil
	}
	var links []Link
	switch f.Person.Role {
	case journal.Office:
		links = []Link{{Text: "What waits", Href: "/"}, {Text: "Builds", Href: "/builds"}, {Text: "Money", Href: "/receivables", Current: f.MoneyNav() != nil}, {Text: "People", Href: "/people"},
			{Text: "Plans", Href: "/plans"}, {Text: "Shop", Href: "/shop"}, {Text: "Clocks", Href: "/clocks"}, {Text: "Letters", Href: "/outbox"}}
	case journal.Floor:
		links = []Link{{Text: "My day", Href: "/"}, {Text: "Builds", Href: "/builds"}}
	case journal.Owner:
		links = []Link{{Text: "My trucks", Href: "/"}}
	}
	return f.mark(links)
}

// MoneyNav returns the links between the pages about the money of all builds, on
// each of them; none elsewhere, and for nobody but the office.
func (f Frame) MoneyNav() []Link {
	if f.Person == nil || !f.Person.Office() {
		return nil
	}
	links := f.mark([]Link{{Text: "Receivables", Href: "/receivables"}, {Text: "What will come in", Href: "/cash"}, {Text: "Books", Href: "/books"}})
	for _, l := range links {
		if l.Current {
			return links
		}
	}
	return nil
}

// BuildNav returns the links to the pages of the build, as far as the person
// may enter them.
func (f Frame) BuildNav() []Link {
	if f.Build == nil || f.Person == nil {
		return nil
	}
	at := f.Build.URL()
	links := []Link{{Text: f.Build.Nickname, Href: at}, {Text: "Journal", Href: at + "/journal"},
		{Text: "Papers", Href: at + "/papers"}, {Text: "Money", Href: at + "/money"}}
	if f.Person.Office() {
		links = append(links, Link{Text: "Scope", Href: at + "/scope"}, Link{Text: "Terms", Href: at + "/terms"},
			Link{Text: "Owners", Href: at + "/people"}, Link{Text: "Truck", Href: at + "/edit"})
	}
	return f.mark(links)
}

// mark sets Current on the link whose address is the longest beginning of the
// page's path.
func (f Frame) mark(links []Link) []Link {
	best, length := -1, 0
	for i, l := range links {
		within := f.Path == l.Href || (l.Href != "/" && strings.HasPrefix(f.Path, l.Href+"/"))
		if within && len(l.Href) > length {
			best, length = i, len(l.Href)
		}
	}
	if best >= 0 {
		links[best].Current = true
	}
	return links
}

// Failure is the page shown instead of the one asked for.
type Failure struct {
	Frame
	Code     int    // HTTP status
	Heading  string // "This page is not here."
	Sentence string // what happened, in a whole sentence
	Do       string // what to do now, in a whole sentence
	Kept     string // text a person had typed and that could not be recorded, to be copied; "" for none
	Back     Link   // the one way on; Href "" for none
}

// Template names the page's template.
func (Failure) Template() string { return "door/failure" }

var _ = declare(Failure{})
