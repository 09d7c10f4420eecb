package server

import (
	"fmt"
	"strconv"
	"strings"

	"farbay/journal"
	"farbay/journal/signoff"
	"farbay/views"
)

// filledPaper fills the form from a draft. rate is offered for lines that have
// none.
func filledPaper(p signoff.Paper, rate journal.Cents) views.PaperForm {
	d := p.Draft
	form := views.PaperForm{
		Title: d.Title, Reason: d.Reason, Stage: string(d.StageID), Days: strconv.Itoa(d.Days), ReadyOn: string(d.ReadyOn),
		Destroyed: strings.Join(d.Destroyed, "\n"), Reassembly: d.Reassembly.String(), ReassemblyDays: strconv.Itoa(d.ReassemblyDays),
		HandedOver: strings.Join(d.HandedOver, "\n"), OpenPoints: strings.Join(d.OpenPoints, "\n"), DeliveredOn: string(d.DeliveredOn),
		Version: p.Version,
	}
	if d.ReEstimate {
		form.ReEstimate = "yes"
	}
	if d.Odometer != 0 {
		form.Odometer = strconv.Itoa(d.Odometer)
	}
	if g := d.Delegate; g != nil {
		form.DelegateName, form.DelegateEmail, form.DelegatePhone = g.Name, g.Email, g.Phone
	}
	if a := d.Allowance; a != nil {
		form.PerFind, form.PerMonth = a.PerFind.String(), a.PerMonth.String()
	}
	for _, l := range d.Lines {
		line := views.LineForm{Kind: string(l.Kind), Text: l.Text, Rate: rate.String(), Stage: string(l.StageID)}
		if l.Kind == journal.Labour {
			line.Hours, line.Rate = hoursOf(l.Minutes), l.Rate.String()
		} else {
			line.Amount = l.Amount.String()
		}
		form.Lines = append(form.Lines, line)
	}
	return form
}

// hoursOf writes minutes as hours: 450 is "7.5".
func hoursOf(minutes int) string {
	sign := ""
	if minutes < 0 {
		sign, minutes = "-", -minutes
	}
	text := fmt.Sprintf("%d.%02d", minutes/60, minutes%60*100/60)
	return sign + strings.TrimSuffix(strings.TrimRight(text, "0"), ".")
}

// paperForm gives back what was typed.
func paperForm(f *form, version int) views.PaperForm {
	form := views.PaperForm{
		Title: f.raw("title"), Reason: f.raw("reason"), Stage: f.raw("stage"), Days: f.raw("days"), ReEstimate: f.raw("re_estimate"), ReadyOn: f.raw("ready_on"),
		Destroyed: f.raw("destroyed"), Reassembly: f.raw("reassembly"), ReassemblyDays: f.raw("reassembly_days"),
		HandedOver: f.raw("handed_over"), OpenPoints: f.raw("open_points"), DeliveredOn: f.raw("delivered_on"), Odometer: f.raw("odometer"),
		DelegateName: f.raw("delegate_name"), DelegateEmail: f.raw("delegate_email"), DelegatePhone: f.raw("delegate_phone"),
		PerFind: f.raw("per_find"), PerMonth: f.raw("per_month"), Version: version,
	}
	for i := range f.indexed("lines", signoff.MaxLines) {
		form.Lines = append(form.Lines, views.LineForm{
			Kind: f.raw(at("lines", i, "kind")), Text: f.raw(at("lines", i, "text")), Hours: f.raw(at("lines", i, "hours")),
			Rate: f.raw(at("lines", i, "rate")), Amount: f.raw(at("lines", i, "amount")), Stage: f.raw(at("lines", i, "stage")),
		})
	}
	return form
}

// draft reads a paper of a kind from the form; see [views.PaperForm].
func (f *form) draft(kind signoff.Kind) signoff.Draft {
	d := signoff.Draft{Title: f.line("title"), Reason: f.text("reason")}
	switch kind {
	case signoff.BuildAgreement:
		d.ReadyOn = f.date("ready_on")
		f.powers(&d)
	case signoff.Teardown:
		d.StageID, d.Destroyed = formID[journal.StageID](f, "stage"), f.lines("destroyed")
		d.Reassembly, d.ReassemblyDays = f.cents("reassembly"), f.number("reassembly_days", 0, 0, 400)
	case signoff.ChangeOrder:
		d.StageID, d.Days, d.ReEstimate = formID[journal.StageID](f, "stage"), f.number("days", 0, -400, 400), f.line("re_estimate") == "yes"
		d.Lines = f.changeLines()
		f.powers(&d)
	case signoff.DateChange:
		d.Days = f.number("days", 0, -400, 400)
	case signoff.DeliveryAcceptance:
		d.HandedOver, d.OpenPoints = f.lines("handed_over"), f.lines("open_points")
		d.DeliveredOn, d.Odometer = f.date("delivered_on"), f.number("odometer", 0, 0, 9_999_999)
	}
	return d
}

// powers reads delegate and allowance; none where nothing is typed.
func (f *form) powers(d *signoff.Draft) {
	g := signoff.Delegate{Name: f.line("delegate_name"), Email: journal.NormalEmail(f.raw("delegate_email")), Phone: f.line("delegate_phone")}
	if g != (signoff.Delegate{}) {
		d.Delegate = &g
	}
	if f.line("per_find") != "" || f.line("per_month") != "" {
		d.Allowance = &signoff.Limits{PerFind: f.cents("per_find"), PerMonth: f.cents("per_month")}
	}
}

// changeLines reads the lines of a change order. Problems are recorded under the
// form's own line numbers, so lines left out in between are noticed by Validate
// only later.
func (f *form) changeLines() []signoff.Line {
	var lines []signoff.Line
	for i := range f.indexed("lines", signoff.MaxLines) {
		text, hours, amount := at("lines", i, "text"), at("lines", i, "hours"), at("lines", i, "amount")
		if f.line(text) == "" && f.line(hours) == "" && f.line(amount) == "" {
			continue
		}
		line := signoff.Line{Kind: formID[journal.LineKind](f, at("lines", i, "kind")), Text: f.line(text), StageID: formID[journal.StageID](f, at("lines", i, "stage"))}
		if line.Kind == "" {
			line.Kind = journal.Labour
		}
		if line.Kind == journal.Labour {
			line.Minutes, line.Rate = f.minutes(hours), f.cents(at("lines", i, "rate"))
		} else {
			line.Amount = f.cents(amount)
		}
		lines = append(lines, line)
	}
	return lines
}
