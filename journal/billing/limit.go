package billing

import "farbay/journal"

// Limit is a bound that a law or a contract clause puts on holdback. The office
// chooses the one it goes by with its lawyer; the program does not know which law
// applies.
type Limit struct {
	Name      string
	OfPayment journal.BasisPoints // of each invoice before tax; 0: no such bound
	OfPrice   journal.BasisPoints // of the agreed price before tax; 0: no such bound
	Source    string              // where it is stated, and what it is about
}

// Limits lists the bounds offered. All are about construction or federal
// contracts; none was found that is about repairing vehicles.
var Limits = []Limit{
	{"California, private works", 500, 500,
		"California Civil Code 8811, contracts from 2026: at most 5 % of each payment and 5 % of the contract price; construction, with exceptions."},
	{"Federal, construction", 1000, 0,
		"FAR 52.232-5(e), May 2014: at most 10 % of the payment, until progress is satisfactory; federal construction contracts."},
	{"Federal, veterans' affairs", 1000, 0,
		"VAAR 852.232-71: at most 10 %; federal construction contracts."},
	{"New York or Washington, private works", 500, 0,
		"At most 5 % since 2023, by a summary of the law, not its text; construction."},
}

// Limit returns the bound that the terms name; one without bounds for none.
func (t Terms) Limit() Limit {
	for _, l := range Limits {
		if l.Name == t.HoldbackCap {
			return l
		}
	}
	return Limit{}
}

// checkLimit records a problem beside holdback_cap or holdback_rate.
func (t Terms) checkLimit(p journal.Problems) {
	l := t.Limit()
	if l.Name != t.HoldbackCap {
		p.Add("holdback_cap", "Please choose one of the limits listed, or none.")
	}
	if l.OfPayment > 0 && t.HoldbackRate > l.OfPayment {
		p.Add("holdback_rate", "%s %% is more than the %s %% of the limit chosen (%s).", FormatRate(t.HoldbackRate), FormatRate(l.OfPayment), l.Name)
	}
}

// cutOff returns the whole cents of amount x rate, so that a bound is never
// passed by rounding. amount is 0 or more.
func cutOff(amount journal.Cents, rate journal.BasisPoints) journal.Cents {
	cents := amount / journal.Cents(whole) * journal.Cents(rate)
	return cents + amount%journal.Cents(whole)*journal.Cents(rate)/journal.Cents(whole)
}
