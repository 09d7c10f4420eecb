package billing

import "farbay/journal"

// Tax holds a rate per line kind, as the office set them: nothing is guessed,
// and the zero value taxes nothing.
type Tax struct {
	Labour, Parts, Outside, Delivery, Other journal.BasisPoints

	// PerLine rounds each line kind of each charge alone (item basis) instead
	// of the tax of a whole document (invoice basis).
	PerLine bool
}

// Rate returns the rate of one line kind; 0 for an unknown kind.
func (t Tax) Rate(k journal.LineKind) journal.BasisPoints {
	switch k {
	case journal.Labour:
		return t.Labour
	case journal.Parts:
		return t.Parts
	case journal.Outside:
		return t.Outside
	case journal.Delivery:
		return t.Delivery
	case journal.Other:
		return t.Other
	}
	return 0
}

// With returns t with another rate of one line kind; t itself for an unknown kind.
func (t Tax) With(k journal.LineKind, rate journal.BasisPoints) Tax {
	switch k {
	case journal.Labour:
		t.Labour = rate
	case journal.Parts:
		t.Parts = rate
	case journal.Outside:
		t.Outside = rate
	case journal.Delivery:
		t.Delivery = rate
	case journal.Other:
		t.Other = rate
	}
	return t
}

// On returns the tax on the given lines, which may be negative. On(-lines) is
// exactly -On(lines).
//
// Rounding: to the third decimal, then up when that digit is 5 or more; once
// for all lines, or with PerLine once for each kind of each line (package
// comment, "Tax").
func (t Tax) On(lines []journal.Split) journal.Cents {
	var total journal.Cents
	var sum exact
	for _, line := range lines {
		for _, k := range journal.LineKinds {
			sum.add(line.Of(k), t.Rate(k))
			if t.PerLine {
				total += sum.round()
				sum = exact{}
			}
		}
	}
	return total + sum.round()
}

// exact is a sum of amounts times rates without rounding: cents plus parts
// ten-thousandths of a cent. Keeping the two apart holds the sum inside int64
// as long as the tax itself is.
type exact struct{ cents, parts int64 }

func (e *exact) add(amount journal.Cents, rate journal.BasisPoints) {
	e.cents += int64(amount) / int64(whole) * int64(rate)
	e.parts += int64(amount) % int64(whole) * int64(rate)
	e.cents += e.parts / int64(whole)
	e.parts %= int64(whole)
}

// round returns the sum to the cent. Its third decimal is the first digit of
// parts, so "5 or more" is parts of at least half a cent.
func (e exact) round() journal.Cents {
	cents, parts := e.cents, e.parts
	if cents > 0 && parts < 0 {
		cents, parts = cents-1, parts+int64(whole)
	}
	if cents < 0 && parts > 0 {
		cents, parts = cents+1, parts-int64(whole)
	}
	switch half := int64(whole) / 2; {
	case parts >= half:
		cents++
	case parts <= -half:
		cents--
	}
	return journal.Cents(cents)
}

// Totals returns the sum of charges before tax, the tax on them as if they were
// billed together, and both added. Invoices round their tax one by one, so what
// is charged in the end may differ from it by cents. The tax of a change order
// is the difference of two such totals, so that on its paper the old total and
// the change add up to the new total.
func Totals(agreed []Charge, tax Tax) (before, taxed, with journal.Cents) {
	lines := make([]journal.Split, 0, len(agreed))
	for _, c := range agreed {
		lines = append(lines, c.Split)
		before += c.Split.Total()
	}
	taxed = tax.On(lines)
	return before, taxed, before + taxed
}
