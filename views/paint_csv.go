package views

import (
	"io"
	"time"

	"farbay/journal"
	"farbay/journal/coating"
)

// PaintLine is one line of a paint record as a table: a component of a mix, a film
// reading, or an amount used.
type PaintLine struct {
	Kind    string // "mix", "film reading", "used"
	At      time.Time
	By      string
	Mix     coating.Mix
	Of      string         // the component's name
	Wanted  coating.Weight // by the formula, of all that is or will be in the cup
	Poured  coating.Weight
	Reading coating.Reading
	Used    coating.Used
	Back    *coating.Back // nil while it stands
	BackBy  string
}

// paintColumns are the columns of a paint record as a table, in the shop's zone.
func paintColumns(zone *time.Location) []bookColumn[PaintLine] {
	either := func(a, b string) string {
		if a == "" {
			a = b
		}
		return cellText(a)
	}
	grams := func(l PaintLine, w coating.Weight) string {
		if l.Of == "" {
			return ""
		}
		return w.In(coating.Tenth)
	}
	number := func(m coating.Milli) string {
		if m == 0 {
			return ""
		}
		return m.String()
	}
	return []bookColumn[PaintLine]{
		{"record", "", func(l PaintLine) string { return l.Kind }},
		{"recorded", "", func(l PaintLine) string { return l.At.In(zone).Format(time.RFC3339) }},
		{"by", "", func(l PaintLine) string { return cellText(l.By) }},
		{"product", "", func(l PaintLine) string { return either(l.Mix.Product, l.Used.Product) }},
		{"colour", "", func(l PaintLine) string { return cellText(l.Mix.Colour) }},
		{"batch_number", "", func(l PaintLine) string { return cellText(l.Mix.Lot) }},
		{"for", "", func(l PaintLine) string { return either(l.Mix.For, l.Used.For) }},
		{"component", "", func(l PaintLine) string { return cellText(l.Of) }},
		{"wanted_g", "", func(l PaintLine) string { return grams(l, l.Wanted) }},
		{"poured_g", "", func(l PaintLine) string { return grams(l, l.Poured) }},
		{"place", "", func(l PaintLine) string { return cellText(l.Reading.Place) }},
		{"coat", "", func(l PaintLine) string { return cellText(l.Reading.Coat) }},
		{"substrate", "", func(l PaintLine) string { return l.Reading.Substrate }},
		{"film", "", func(l PaintLine) string { return number(l.Reading.Film) }},
		{"amount", "", func(l PaintLine) string { return number(l.Used.Amount) }},
		{"unit", "", func(l PaintLine) string { return either(string(l.Reading.Unit), string(l.Used.Unit)) }},
		{"taken_back", "", func(l PaintLine) string {
			if l.Back == nil {
				return ""
			}
			return l.Back.At.In(zone).Format(time.RFC3339)
		}},
		{"taken_back_by", "", func(l PaintLine) string { return cellText(l.BackBy) }},
		{"reason", "", func(l PaintLine) string {
			if l.Back == nil {
				return ""
			}
			return cellText(l.Back.Reason)
		}},
	}
}

// CellText makes a text fit for a cell of a table: one line, and nothing that a
// spreadsheet would take for a formula.
func CellText(s string) string { return cellText(s) }

// WritePaintTable writes a stage's paint record as CSV in UTF-8, with a byte order
// mark so that spreadsheets read µm as it is meant; times with the zone's offset.
func WritePaintTable(w io.Writer, zone *time.Location, lines []PaintLine) error {
	if _, err := io.WriteString(w, "\ufeff"); err != nil {
		return err
	}
	return writeTable(w, paintColumns(zone), lines)
}

// TakenBack returns the line as taken back by somebody.
func (l PaintLine) TakenBack(b coating.Back, names map[journal.PersonID]string) PaintLine {
	l.Back, l.BackBy = &b, names[b.ByID]
	return l
}
