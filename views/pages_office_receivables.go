package views

import (
	"farbay/journal"
	"farbay/journal/billing"
)

// Receivables is what is open on all builds, by how long it is past due.
type Receivables struct {
	Frame
	On      journal.Date
	Rows    []ReceivableRow
	Total   billing.Aging
	Columns []Column // of the table that can be downloaded
}

// ReceivableRow is one build with something open or in the owner's favour.
type ReceivableRow struct {
	Ref    BuildRef
	Owners []string
	Aging  billing.Aging
}

// Column is one column of a table that can be downloaded.
type Column struct {
	Name string
	What string // what stands in it
}

// Template names the page's template.
func (Receivables) Template() string { return "office/receivables" }

// AgeColumns name the columns of what is open, in order.
func (Receivables) AgeColumns() []string {
	return []string{"Not late", "1 to 30 days", "31 to 60 days", "61 to 90 days", "Over 90 days"}
}

// Late returns what is open past its due day.
func (p Receivables) Late() journal.Cents { return p.Total.Total() - p.Total.Open[billing.NotLate] }

// Say returns how much is open and how much of it is late.
func (p Receivables) Say() (string, error) {
	if p.Total.Total() == 0 {
		return "Nothing is open on any build.", nil
	}
	open, err := p.Money(p.Total.Total())
	if err != nil {
		return "", err
	}
	if p.Late() == 0 {
		return open + " is open, and nothing of it is late.", nil
	}
	late, err := p.Money(p.Late())
	return open + " is open, and " + late + " of it is late.", err
}

// Name returns how a document is named in a row: "Invoice 31".
func (Receivables) Name(d billing.Document) string { return UpperFirst(d.Name()) }

var _ = declare(Receivables{})
