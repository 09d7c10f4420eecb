package views

import (
	"cmp"
	"slices"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
)

// Books are the records of money of all builds for a period, as the accountant
// gets them: [WriteBooks] makes the ZIP of them, [BooksPage] shows them.
type Books struct {
	ShopName string
	Currency string // ISO 4217
	Zone     *time.Location
	From, To journal.Date // both days within
	MadeAt   time.Time
	Builds   []BookBuild
}

// BookBuild is one build in the books.
type BookBuild struct {
	ID       journal.BuildID
	Nickname string
	// Entries are those of all days up to To, as [billing.Entries] has them.
	Entries []billing.Entry
	// Documents tell more of each document, by its id, those after To too.
	Documents map[string]BookDocument
	Stages    map[string]string           // names, by id
	Names     map[journal.PersonID]string // of those who recorded payments
	// Standing is what the statement says stands at the end of To.
	Standing []billing.Posting
}

// BookDocument is what is told of a document beside its figures.
type BookDocument struct {
	Name   string // "invoice 12"
	Stage  string // whose close issued it; "" otherwise
	BillTo string // the owners' names when it was issued
	Tax    []billing.TaxShare
}

// Booked is one entry of a build.
type Booked struct {
	Build *BookBuild
	billing.Entry
}

// Entries returns the entries of the period, by day and then in the order
// recorded.
func (b Books) Entries() []Booked {
	return b.booked(func(e billing.Entry) bool { return e.On() >= b.From })
}

// Late returns the payments dated before the period that were recorded in it. They
// are not among [Books.Entries]: they belong to a period before.
func (b Books) Late() []Booked {
	return b.booked(func(e billing.Entry) bool {
		return e.On() < b.From && b.day(e.RecordedAt) >= b.From && b.day(e.RecordedAt) <= b.To
	})
}

// After returns the entries of the period that were recorded after its last day:
// books made before have not got them.
func (b Books) After() []Booked {
	return b.booked(func(e billing.Entry) bool { return e.On() >= b.From && b.day(e.RecordedAt) > b.To })
}

func (b Books) day(at time.Time) journal.Date { return journal.DateOf(at, b.Zone) }

func (b Books) booked(wanted func(billing.Entry) bool) []Booked {
	var all []Booked
	for i := range b.Builds {
		for _, e := range b.Builds[i].Entries {
			if wanted(e) {
				all = append(all, Booked{&b.Builds[i], e})
			}
		}
	}
	slices.SortStableFunc(all, func(x, y Booked) int {
		return cmp.Or(cmp.Compare(x.On(), y.On()), x.RecordedAt.Compare(y.RecordedAt))
	})
	return all
}

// BookTotal is what happened on one account in the period, in the sign of the
// books: debits positive. Opening + Debits - Credits = Closing.
type BookTotal struct {
	Place            billing.Place
	Opening, Closing journal.Cents
	Debits, Credits  journal.Cents // both 0 or more
}

// Totals returns the accounts that have anything on them, over all builds.
func (b Books) Totals() []BookTotal {
	sums := map[billing.Place]*BookTotal{}
	for i := range b.Builds {
		b.add(sums, &b.Builds[i])
	}
	return inOrder(sums)
}

// TotalsOf returns the same for one build.
func (b Books) TotalsOf(build *BookBuild) []BookTotal {
	sums := map[billing.Place]*BookTotal{}
	b.add(sums, build)
	return inOrder(sums)
}

func (b Books) add(sums map[billing.Place]*BookTotal, build *BookBuild) {
	for _, e := range build.Entries {
		for _, p := range e.Postings {
			t := sums[p.Place]
			if t == nil {
				t = &BookTotal{Place: p.Place}
				sums[p.Place] = t
			}
			switch {
			case e.On() < b.From:
				if !p.Place.Lasting() {
					continue
				}
				t.Opening += p.Amount
			case p.Amount > 0:
				t.Debits += p.Amount
			default:
				t.Credits -= p.Amount
			}
			t.Closing += p.Amount
		}
	}
}

func inOrder(sums map[billing.Place]*BookTotal) []BookTotal {
	var totals []BookTotal
	for _, place := range billing.Places() {
		if t := sums[place]; t != nil && *t != (BookTotal{Place: place}) {
			totals = append(totals, *t)
		}
	}
	return totals
}

// TaxTotals adds up the tax of the period by line kind and rate.
func (b Books) TaxTotals() []billing.TaxShare {
	var totals []billing.TaxShare
	for _, e := range b.Entries() {
		for _, s := range e.Build.Documents[e.Document.ID].Tax {
			i := slices.IndexFunc(totals, func(t billing.TaxShare) bool { return t.Kind == s.Kind && t.Rate == s.Rate })
			if i < 0 {
				totals = append(totals, s)
				continue
			}
			totals[i].Base += s.Base
			totals[i].Tax += s.Tax
		}
	}
	slices.SortStableFunc(totals, func(x, y billing.TaxShare) int {
		return cmp.Or(cmp.Compare(slices.Index(journal.LineKinds, x.Kind), slices.Index(journal.LineKinds, y.Kind)), cmp.Compare(x.Rate, y.Rate))
	})
	return totals
}
