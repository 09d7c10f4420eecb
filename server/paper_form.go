package server

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"farbay/journal"
	"farbay/journal/flow"
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
	if x := d.Adds; x != nil {
		form.AddsName, form.AddsDays, form.AddsAfter = x.Name, strconv.Itoa(x.Days), string(x.After)
		if x.Metered {
			form.AddsMetered = "yes"
		}
		form.Stage = formStage(d, d.StageID)
	}
	form.Drops = string(d.Drops)
	if x := d.Stop; x != nil {
		form.StopBy, form.StopOn, form.StopTruck, form.StopParts = string(x.By), string(x.On), x.Truck, strings.Join(x.Parts, "\n")
		for _, e := range x.Earned {
			form.Earned = append(form.Earned, views.EarnedForm{Stage: string(e.StageID), Amount: e.Amount.String()})
		}
	}
	for _, l := range d.Lines {
		line := views.LineForm{Kind: string(l.Kind), Text: l.Text, Rate: rate.String(), Stage: formStage(d, l.StageID)}
		if l.Kind == journal.Labour {
			line.Hours, line.Rate = hoursOf(l.Minutes), l.Rate.String()
		} else {
			line.Amount = l.Amount.String()
		}
		form.Lines = append(form.Lines, line)
	}
	return form
}

// formStage is a stage as a form names it: the one that the draft adds as such.
func formStage(d signoff.Draft, stage journal.StageID) string {
	if d.Adds != nil && stage != "" && stage == d.Adds.ID {
		return string(flow.AddedStage)
	}
	return string(stage)
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
		AddsName: f.raw("adds_name"), AddsDays: f.raw("adds_days"), AddsAfter: f.raw("adds_after"), AddsMetered: f.raw("adds_metered"), Drops: f.raw("drops"),
		StopBy: f.raw("stop_by"), StopOn: f.raw("stop_on"), StopTruck: f.raw("stop_truck"), StopParts: f.raw("stop_parts"),
	}
	for _, stage := range f.earned() {
		form.Earned = append(form.Earned, views.EarnedForm{Stage: string(stage), Amount: f.raw(signoff.EarnedField(stage))})
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
		d.Adds, d.Drops = f.addedStage(), formID[journal.StageID](f, "drops")
		f.powers(&d)
	case signoff.DateChange:
		d.Days = f.number("days", 0, -400, 400)
	case signoff.DeliveryAcceptance:
		d.HandedOver, d.OpenPoints = f.lines("handed_over"), f.lines("open_points")
		d.DeliveredOn, d.Odometer = f.date("delivered_on"), f.number("odometer", 0, 0, 9_999_999)
	case signoff.EarlyStop:
		d.Lines = f.changeLines()
		d.Stop = &signoff.Stop{
			By: formID[signoff.Wish](f, "stop_by"), On: f.date("stop_on"), Truck: f.line("stop_truck"), Parts: f.lines("stop_parts"),
		}
		for _, stage := range f.earned() {
			if field := signoff.EarnedField(stage); f.line(field) != "" {
				d.Stop.Earned = append(d.Stop.Earned, signoff.Earned{StageID: stage, Amount: f.cents(field)})
			}
		}
	}
	return d
}

// earned are the stages for which the form has a field of what is earned.
func (f *form) earned() []journal.StageID {
	var stages []journal.StageID
	for name := range f.values {
		if stage, ok := strings.CutPrefix(name, signoff.EarnedField("")); ok && stage != "" {
			stages = append(stages, journal.StageID(stage))
		}
	}
	slices.Sort(stages)
	return stages
}

// addedStage reads the stage that a change order adds; nil where nothing is typed.
func (f *form) addedStage() *signoff.NewStage {
	if f.line("adds_name") == "" && f.line("adds_days") == "" {
		return nil
	}
	return &signoff.NewStage{
		Name: f.line("adds_name"), Days: f.number("adds_days", 0, 1, 400), After: formID[journal.StageID](f, "adds_after"), Metered: f.line("adds_metered") == "yes",
	}
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
