package views

import (
	"strconv"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/signoff"
)

// Fact is one term of an agreement, in words.
type Fact struct {
	Name string
	Says string
}

// TermsTitle is the heading over [SheetView.AgreedTerms].
func (v SheetView) TermsTitle() string {
	if a := v.Sheet.Agreement; a.Transport+a.DeliverTo != "" {
		return "Terms of payment, and transport"
	}
	return "Terms of payment"
}

// AgreedTerms says the terms of an agreement, on the page and in print alike.
func (v SheetView) AgreedTerms() ([]Fact, error) {
	var all []Fact
	for _, term := range []func(signoff.SheetAgreement) (Fact, error){
		v.fixedTerm, v.meteredTerm, v.depositTerm, holdbackTerm, dueTerm, v.taxTerm, lateTerm, transportTerm,
	} {
		f, err := term(*v.Sheet.Agreement)
		if err != nil {
			return nil, err
		}
		if f.Says != "" {
			all = append(all, f)
		}
	}
	return all, nil
}

func (v SheetView) fixedTerm(a signoff.SheetAgreement) (Fact, error) {
	name := "Each stage"
	if a.Metered() {
		name = "A stage with a fixed price"
	}
	for _, st := range a.Stages {
		if !st.Metered {
			return Fact{name, "is billed when it closes, at its value and what was signed for it since"}, nil
		}
	}
	return Fact{}, nil
}

func (v SheetView) meteredTerm(a signoff.SheetAgreement) (Fact, error) {
	var most []string
	for _, st := range a.Stages {
		if !st.Metered {
			continue
		}
		value, err := v.Money(journal.Split(st.Value).Total())
		if err != nil {
			return Fact{}, err
		}
		most = append(most, value+" for "+st.Name)
	}
	if len(most) == 0 {
		return Fact{}, nil
	}
	hour := "An hour costs what the shop takes on the day it is worked."
	if a.HourRate != 0 {
		rate, err := v.Money(a.HourRate)
		if err != nil {
			return Fact{}, err
		}
		hour = "An hour costs " + rate + "."
	}
	says := "You pay the hours, parts and outside work logged, never more than " + List(most) + ", before tax, unless you sign a change order. " + hour + " Parts and outside work are charged at what the shop paid for them"
	if a.MarkUp != 0 {
		says += ", with a mark-up of " + Percent(a.MarkUp)
	}
	says += ". What is logged is billed "
	if len(a.BillDays) > 0 {
		says += "on the " + MonthDays(a.BillDays) + " of each month, and "
	}
	return Fact{"Time and materials", says + "when the stage closes."}, nil
}

func (v SheetView) depositTerm(a signoff.SheetAgreement) (Fact, error) {
	if a.Deposit == 0 {
		return Fact{"Deposit", "none"}, nil
	}
	amount, err := v.Money(a.Deposit)
	if err != nil {
		return Fact{}, err
	}
	says := amount + ", asked before work starts and credited " + a.Crediting
	if a.DepositShare != 0 {
		says += ": " + Percent(a.DepositShare) + " of what each bills before tax and holdback"
	}
	if a.RefillFloor != 0 {
		floor, err := v.Money(a.RefillFloor)
		if err != nil {
			return Fact{}, err
		}
		says += ": once no more than " + floor + " is left"
	}
	return Fact{"Deposit", says}, nil
}

func holdbackTerm(a signoff.SheetAgreement) (Fact, error) {
	if a.HoldbackRate == 0 {
		return Fact{"Holdback", "none"}, nil
	}
	says := Percent(a.HoldbackRate) + " of what is billed before tax, until delivery is accepted"
	if l := a.HoldbackLimit; l != nil {
		says += "; never more than " + LimitWords(l.OfPayment, l.OfPrice) + ", the limit chosen (" + l.Name + ")"
	}
	return Fact{"Holdback", says}, nil
}

func dueTerm(a signoff.SheetAgreement) (Fact, error) {
	if a.DueDays == 0 {
		return Fact{"To pay", "on receipt of the invoice"}, nil
	}
	return Fact{"To pay", "within " + Plural(a.DueDays, "day", "days") + " of the invoice"}, nil
}

func (v SheetView) taxTerm(a signoff.SheetAgreement) (Fact, error) {
	if len(v.Sheet.TaxRates) == 0 {
		return Fact{"Tax", "none at the rates of today"}, nil
	}
	per := "per invoice"
	if a.TaxPerLine {
		per = "per line"
	}
	says := v.RateWords() + ", rounded " + per + "; at the rates of the day of the invoice"
	if a.Metered() {
		says += "; on a stage by time and materials it goes by what is logged"
	}
	return Fact{"Tax", says}, nil
}

// lateSentence is the rule for late invoices in an owner's words.
const lateSentence = "While an invoice is late, the next stage opens only after the office has confirmed it."

func lateTerm(a signoff.SheetAgreement) (Fact, error) {
	if !a.LateAsks {
		return Fact{}, nil
	}
	return Fact{"A late invoice", lateSentence}, nil
}

func transportTerm(a signoff.SheetAgreement) (Fact, error) {
	return Fact{"Transport", TransportWords(billing.Transport(a.Transport), a.DeliverTo)}, nil
}

// TransportWords says who brings the truck to its owner, and where to; "" where
// nothing is agreed about it.
func TransportWords(t billing.Transport, to string) string {
	switch {
	case t == billing.NotSettled && to == "":
		return ""
	case t == billing.NotSettled:
		return "to " + to + "; who brings the truck there is not settled"
	case to != "":
		return UpperFirst(string(t)) + ", to " + to
	}
	return UpperFirst(string(t))
}

// LimitWords says the bounds of a limit on holdback: "5 % of an invoice, and
// 5 % of the agreed price in all, before tax".
func LimitWords(ofPayment, ofPrice journal.BasisPoints) string {
	switch {
	case ofPrice == 0:
		return Percent(ofPayment) + " of an invoice before tax"
	case ofPayment == 0:
		return Percent(ofPrice) + " of the agreed price before tax"
	}
	return Percent(ofPayment) + " of an invoice, and " + Percent(ofPrice) + " of the agreed price in all, before tax"
}

// MonthDays says days of the month: "1st and 15th".
func MonthDays(days []int) string {
	var all []string
	for _, day := range days {
		all = append(all, strconv.Itoa(day)+ordinal(day))
	}
	return List(all)
}

// ordinal returns what makes a day of the month its ordinal number, in English.
func ordinal(day int) string {
	if day >= 11 && day <= 13 {
		return "th"
	}
	switch day % 10 {
	case 1:
		return "st"
	case 2:
		return "nd"
	case 3:
		return "rd"
	}
	return "th"
}
