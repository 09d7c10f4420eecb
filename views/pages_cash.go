package views

import (
	"cmp"
	"fmt"
	"io"
	"slices"

	"farbay/journal"
	"farbay/journal/billing"
)

// CashPage is the forecast of what will come in, for the office.
type CashPage struct {
	Frame
	Today journal.Date
	Items []CashItem // in any order
}

// Template names the page's template.
func (CashPage) Template() string { return "office/cash" }

var _ = declare(CashPage{})

// CashItem is one sum that is expected.
type CashItem struct {
	Build BuildRef
	Stage string // whose close bills it; "" for none
	billing.Coming
}

// cashWeeks is how many weeks are shown one by one.
const cashWeeks = 8

// CashTime is a week or month of the forecast.
type CashTime struct {
	Name  string
	Items []CashItem // by day; none of nothing
}

// Total returns what is expected in it.
func (t CashTime) Total() journal.Cents { return totalOf(t.Items) }

func totalOf(items []CashItem) (sum journal.Cents) {
	for _, i := range items {
		sum += i.Amount
	}
	return sum
}

// weekEnd is the Sunday on which the n-th of the weeks shown ends.
func (p CashPage) weekEnd(n int) journal.Date {
	return p.Today.AddDays((7-int(p.Today.Time().Weekday()))%7 + 7*n)
}

// Times returns the weeks and months in which anything is expected: what is due
// already, eight weeks, then months, then what has no day.
func (p CashPage) Times() ([]CashTime, error) {
	var times []CashTime
	for _, item := range p.sorted() {
		name, err := p.timeOf(item.On)
		if err != nil {
			return nil, err
		}
		if n := len(times); n == 0 || times[n-1].Name != name {
			times = append(times, CashTime{Name: name})
		}
		last := &times[len(times)-1]
		last.Items = append(last.Items, item)
	}
	return times, nil
}

func (p CashPage) timeOf(on journal.Date) (string, error) {
	switch {
	case on.IsZero():
		return "No day planned", nil
	case on <= p.Today:
		return "Due now", nil
	}
	for n := range cashWeeks {
		end := p.weekEnd(n)
		if on > end {
			continue
		}
		day, err := p.ShortDay(end)
		if n == 0 {
			return "This week, until " + day, err
		}
		return "Week until " + day, err
	}
	name := on.Time().Format("January 2006")
	if month(p.weekEnd(cashWeeks-1)) == month(on) {
		name = "Rest of " + name
	}
	return name, nil
}

// sorted returns what is not nothing, by day, what has no day last.
func (p CashPage) sorted() []CashItem {
	items := slices.DeleteFunc(slices.Clone(p.Items), func(i CashItem) bool { return i.Amount == 0 })
	slices.SortStableFunc(items, func(x, y CashItem) int {
		if x.On.IsZero() != y.On.IsZero() {
			return cmp.Compare(len(y.On), len(x.On))
		}
		return cmp.Or(cmp.Compare(x.On, y.On), cmp.Compare(x.Build.Nickname, y.Build.Nickname))
	})
	return items
}

// CashRow is what is expected on one build.
type CashRow struct {
	Build                    BuildRef
	Now, Weeks, Later, NoDay journal.Cents
	AtMost                   bool
}

// Total returns all of it.
func (r CashRow) Total() journal.Cents { return r.Now + r.Weeks + r.Later + r.NoDay }

// Rows returns the builds by nickname.
func (p CashPage) Rows() []CashRow {
	var rows []CashRow
	for _, item := range p.sorted() {
		i := slices.IndexFunc(rows, func(r CashRow) bool { return r.Build == item.Build })
		if i < 0 {
			i, rows = len(rows), append(rows, CashRow{Build: item.Build})
		}
		p.addTo(&rows[i], item)
	}
	slices.SortFunc(rows, func(x, y CashRow) int { return cmp.Compare(x.Build.Nickname, y.Build.Nickname) })
	return rows
}

// All returns the sums over all builds.
func (p CashPage) All() CashRow {
	var all CashRow
	for _, item := range p.Items {
		p.addTo(&all, item)
	}
	return all
}

func (p CashPage) addTo(r *CashRow, item CashItem) {
	switch {
	case item.On.IsZero():
		r.NoDay += item.Amount
	case item.On <= p.Today:
		r.Now += item.Amount
	case item.On <= p.weekEnd(cashWeeks-1):
		r.Weeks += item.Amount
	default:
		r.Later += item.Amount
	}
	r.AtMost = r.AtMost || item.AtMost
}

// Say tells what is expected, in plain sentences.
func (p CashPage) Say() (string, error) {
	all := p.All()
	if len(p.sorted()) == 0 {
		return "Nothing is expected to come in: no agreed build has anything open or still to bill.", nil
	}
	said := ""
	for _, part := range []struct {
		amount   journal.Cents
		sentence string
	}{
		{all.Now, "%s is due now. "}, {all.Weeks, "%s is expected within eight weeks. "}, {all.Later, "%s is expected after that. "},
		{all.NoDay, "%s has no day, because the stages it comes with have none planned. "},
	} {
		if part.amount == 0 {
			continue
		}
		amount, err := p.Money(part.amount)
		if err != nil {
			return "", err
		}
		said += fmt.Sprintf(part.sentence, amount)
	}
	return said + "This is a forecast, and no promise.", nil
}

// What says what a sum is for.
func (i CashItem) What() string {
	switch i.Kind {
	case billing.ComingDeposit:
		return "deposit, asked and not in yet"
	case billing.ComingOpen:
		if i.Document.Number == 0 {
			return "owed again"
		}
		return i.Document.Name()
	case billing.ComingRelease:
		return "holdback, when the truck is delivered"
	case billing.ComingBack:
		return "to be sent back to the owner"
	}
	switch {
	case i.Stage == "":
		return "work and changes not billed yet"
	case i.StageID == i.Document.ClosesStageID:
		return i.Stage + " closes"
	}
	return i.Stage
}

// Href is where more of it stands.
func (i CashItem) Href() string {
	if i.Document.ID != "" {
		return i.Build.URL() + "/invoices/" + i.Document.ID
	}
	if i.Kind == billing.ComingBilled && i.StageID != "" {
		return i.Build.URL() + "/stages/" + i.StageID
	}
	return i.Build.URL() + "/money"
}

// Late is how many days ago an issued document was due; 0 for others.
func (p CashPage) Late(i CashItem) int {
	if i.Document.ID == "" {
		return 0
	}
	return max(i.On.DaysUntil(p.Today), 0)
}

// WriteCash writes the forecast as a table (RFC 4180), by day.
func WriteCash(w io.Writer, p CashPage) error {
	return writeTable(w, []bookColumn[CashItem]{
		{"due_on", "", func(i CashItem) string { return string(i.On) }},
		{"days_late", "", func(i CashItem) string { return fmt.Sprint(p.Late(i)) }},
		{"build", "", func(i CashItem) string { return cellText(i.Build.Nickname) }},
		{"kind", "", func(i CashItem) string { return string(i.Kind) }},
		{"for", "", func(i CashItem) string { return cellText(i.What()) }},
		{"billed_on", "", func(i CashItem) string { return string(i.Document.IssuedOn) }},
		{"amount", "", func(i CashItem) string { return cellMoney(i.Amount) }},
		{"at_most", "", func(i CashItem) string { return cellYes(i.AtMost) }},
	}, p.sorted())
}
