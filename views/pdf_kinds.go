package views

import (
	"fmt"
	"strings"

	"farbay/journal/signoff"
)

// What follows says in print what piece "sheet" shows.

// letterhead is the shop's head on the first page.
func (d *pdfDoc) letterhead() {
	const address, gap, pad = 150.0, 20.0, 9.0
	shop := d.v.Sheet.Shop
	name := d.body()
	name.font, name.size = d.fonts.forHeading(d.fonts.printable(shop.Name)), 20
	left := d.lines(shop.Name, name, pdfMeasure-address-gap)
	tag := d.root.under("P")
	small := d.small()
	small.right = true
	height := 0.0
	var right []pdfLines
	for _, line := range append(strings.Split(shop.Address, "\n"), shop.Phone) {
		if strings.TrimSpace(line) != "" {
			right = append(right, d.lines(line, small, address))
			height += right[len(right)-1].height()
		}
	}
	reach := d.root.under("P")
	whole := max(height, left.height())
	d.add(pdfBlock{height: whole + pad, after: 18, draw: func(top float64) {
		left.draw(tag, pdfLeft, top-(whole-left.height()))
		down := whole - height
		for _, l := range right {
			l.draw(reach, pdfLeft+pdfMeasure-address, top-down)
			down += l.height()
		}
		p := d.page()
		p.artifact(func() { p.line(pdfLeft, top-whole-pad, pdfLeft+pdfMeasure, top-whole-pad, 2.2, toneInk) })
	}})
}

// opening names the paper, the build and the reason.
func (d *pdfDoc) opening() {
	sheet := d.v.Sheet
	sent := fmt.Sprintf("%s, revision %d, sent %s", d.v.Name(), sheet.Revision, d.said(d.v.Sent()))
	if sheet.SentBy != "" {
		sent += " by " + sheet.SentBy
	}
	small := d.small()
	small.size, small.after = 9, 6
	d.text(sent, small)
	d.heading(sheet.Title, "H1", 22, toneInk)
	build := "For " + sheet.Build.Nickname
	if sheet.Build.Truck != "" {
		build += ", " + sheet.Build.Truck
	}
	if sheet.Build.Serial != "" {
		build += ", serial " + sheet.Build.Serial
	}
	if n := len(sheet.Build.Owners); n > 0 {
		build += ". Owner"
		if n > 1 {
			build += "s"
		}
		build += ": " + List(sheet.Build.Owners)
	}
	small.after = 13
	d.text(build+".", small)
	reason := d.body()
	reason.size, reason.after = 10.5, 8
	d.typed(sheet.Reason, reason)
	d.space(4)
}

// content is what the kind of paper is about, and what every kind may have.
func (d *pdfDoc) content() {
	sheet := d.v.Sheet
	switch {
	case sheet.Agreement != nil:
		d.agreement()
	case sheet.Teardown != nil:
		d.teardown(*sheet.Teardown)
	case sheet.Acceptance != nil:
		d.acceptance(*sheet.Acceptance)
	case sheet.Stop != nil:
		d.stop(*sheet.Stop)
	case len(sheet.Lines) > 0:
		d.change()
	case sheet.Kind == signoff.DateChange:
		d.say("This costs nothing; it moves the date.")
	case sheet.ReEstimate:
		d.say("Nothing changes: the estimate of the agreement stands after the teardown.")
	case sheet.Days != 0:
		d.say("This change costs nothing; it moves the date.")
	}
	if sheet.Adds != nil {
		d.section("A stage is added")
		d.say(d.v.AddedSays())
	}
	if sheet.Drops != nil {
		d.section("A stage is dropped")
		d.say(d.v.DroppedSays())
	}
	d.powers()
	if d.v.ShowsDate() {
		d.becomes()
	}
	if st := sheet.Standing; st != nil {
		d.say(fmt.Sprintf("Standing allowance: %s of %s is left for %s. This paper takes nothing from it.",
			d.said(d.v.Money(st.Left)), d.said(d.v.Money(st.PerMonth)), d.said(d.v.MonthName())))
	}
	if len(sheet.Lines) > 0 && sheet.Stop == nil {
		stages := "stage "
		if d.v.Several() {
			stages = "stages "
		}
		if says := d.v.MeteredWords(); says != "" {
			d.say(says)
		}
		d.say("Borne by the " + stages + d.v.BearingStages() + " of " + sheet.Build.Nickname + ".")
	} else if sheet.Teardown != nil {
		d.say("For the stage " + sheet.Stage.Name + " of " + sheet.Build.Nickname + ".")
	}
	for _, n := range d.v.OwnNotices() {
		d.say(n)
	}
	if n := d.v.LastNotice(); n != "" {
		d.text(n, d.small())
	}
}

// change is what a change order costs.
func (d *pdfDoc) change() {
	var rows []pdfRow
	for _, l := range d.v.Sheet.Lines {
		help := UpperFirst(string(l.Kind))
		if l.Minutes != 0 {
			help = Hours(l.Minutes) + " of labour at " + d.said(d.v.Money(l.Rate)) + " an hour"
		}
		if d.v.Several() {
			help += ", " + d.v.Sheet.Bearing(l).Name
		}
		rows = append(rows, pdfRow{what: l.Text, help: help, figure: d.said(d.v.Money(l.Amount))})
	}
	if d.v.Taxed() {
		rows = append(rows, pdfRow{what: d.v.TaxWords(), figure: d.said(d.v.Money(d.v.Sheet.DeltaTax))})
	}
	rows = append(rows, pdfRow{what: "This change", figure: d.said(d.v.Signed(d.v.Sheet.DeltaWithTax)), strong: true})
	d.table([2]string{"What", "Cost"}, rows)
}

func (d *pdfDoc) becomes() {
	date := big{label: "The agreed date becomes", figure: d.said(d.v.NewDate()), below: []string{d.said(d.v.DateMove())}}
	if !d.v.ShowsTotal() {
		d.bigs(date)
		return
	}
	sheet := d.v.Sheet
	total := big{label: "The build becomes", figure: d.said(d.v.Money(sheet.TotalAfter)), below: []string{"from " + d.said(d.v.Money(sheet.TotalBefore))}}
	if d.v.Taxed() {
		total.label = "The build becomes, with tax,"
		total.below = append(total.below, "Before tax: "+d.said(d.v.Money(sheet.AgreedAfter))+", from "+d.said(d.v.Money(sheet.AgreedBefore)))
	}
	d.bigs(total, date)
}

func (d *pdfDoc) agreement() {
	var rows []pdfRow
	for _, st := range d.v.AgreedRows() {
		help := WorkingDays(st.Days)
		if !st.From.IsZero() {
			help += ", planned " + d.said(d.v.ShortDay(st.From))
			if !st.To.IsZero() {
				help += " to " + d.said(d.v.ShortDay(st.To))
			}
		}
		for _, k := range st.Kinds {
			help += "; " + string(k.Kind) + " " + d.said(d.v.Money(k.Amount))
		}
		figure := d.said(d.v.Money(st.Total))
		if st.Metered {
			figure = "up to " + figure
			help += "; by time and materials"
		}
		rows = append(rows, pdfRow{what: st.Name, help: help, figure: figure})
	}
	whole, comes, before := "The whole build", "The build comes to", "Before tax"
	if d.v.AtMost() {
		before += ", at most"
	}
	if d.v.AtMost() && !d.v.Taxed() {
		whole, comes = whole+" at most", comes+" at most"
	}
	if d.v.Taxed() {
		rows = append(rows, pdfRow{what: before, figure: d.said(d.v.Money(d.v.Sheet.AgreedAfter))},
			pdfRow{what: d.v.TaxWords(), figure: d.said(d.v.Money(d.v.Sheet.DeltaTax))})
		whole, comes = whole+", with tax", comes+", with tax,"
	}
	total := d.said(d.v.Money(d.v.Sheet.TotalAfter))
	rows = append(rows, pdfRow{what: whole, figure: total, strong: true})
	d.table([2]string{"Stage", "Value"}, rows)
	d.bigs(big{label: comes, figure: total}, big{label: "It is to be ready on", figure: d.said(d.v.NewDate())})
	d.section(d.v.TermsTitle())
	terms, err := d.v.AgreedTerms()
	d.said("", err)
	var facts [][2]string
	for _, f := range terms {
		facts = append(facts, [2]string{f.Name, f.Says})
	}
	d.facts(facts)
}

func (d *pdfDoc) teardown(t signoff.SheetTeardown) {
	back := "at no charge"
	if t.Reassembly != 0 {
		back = d.said(d.v.Money(t.Reassembly)) + " before tax"
	}
	if t.ReassemblyDays != 0 {
		back += ", " + WorkingDays(t.ReassemblyDays)
	}
	d.facts([][2]string{
		{"Taking it apart", d.said(d.v.TeardownCost()) + ". It is part of the agreement, not added to it."},
		{"Putting it back together, should you stop", back},
	})
	d.section("Parts that taking it apart normally destroys")
	d.items(t.Destroyed)
}

func (d *pdfDoc) acceptance(a signoff.SheetAcceptance) {
	truck := d.v.Sheet.Build.Truck
	if truck == "" {
		truck = "The truck"
	}
	if d.v.Sheet.Build.Serial != "" {
		truck += ", serial " + d.v.Sheet.Build.Serial
	}
	if a.Odometer != 0 {
		truck += ", at " + grouped(a.Odometer) + " " + a.Unit
	}
	d.section("Handed over on " + d.said(d.v.PlainDay(a.DeliveredOn)))
	d.items(append([]string{truck}, a.HandedOver...))
	if len(a.OpenPoints) > 0 {
		d.section("Still to be put right by the shop")
		d.items(a.OpenPoints)
	} else {
		d.say("Nothing is left open.")
	}
	rows := []pdfRow{
		{what: "Billed, with tax", figure: d.said(d.v.Money(a.Billed))},
		{what: "Paid, the deposit counted in", figure: d.said(d.v.Money(a.Paid))},
	}
	if a.HeldBack != 0 {
		rows = append(rows, pdfRow{what: "Held back, released by your signature once every stage is closed", figure: d.said(d.v.Money(a.HeldBack))})
	}
	rows = append(rows, pdfRow{what: "Due now", figure: d.said(d.v.Money(a.Due)), strong: true})
	d.section("Money as it stands")
	d.table([2]string{"What", "Amount"}, rows)
}

func (d *pdfDoc) stop(x signoff.SheetStop) {
	ends := big{label: "The build ends on", figure: d.said(d.v.PlainDay(x.On)), below: []string{"at the wish of " + string(x.By)}}
	end := big{label: "In the end", figure: "nobody owes anything"}
	if x.Owed != 0 {
		end = big{label: "In the end " + strings.ToLower(d.v.Owes()[:1]) + d.v.Owes()[1:], figure: d.said(d.v.Money(d.v.OwedAmount())), below: []string{"with tax; how it comes about stands below"}}
	}
	d.bigs(ends, end)
	d.section("What is done, and what is not")
	var rows []pdfRow
	for _, st := range x.Stages {
		rows = append(rows, pdfRow{what: st.Name, help: d.said(d.v.StoppedSays(st)), figure: d.said(d.v.MoneyOrNothing(st.Earned))})
	}
	for _, l := range d.v.Sheet.Lines {
		help := UpperFirst(string(l.Kind))
		if l.Minutes != 0 {
			help = Hours(l.Minutes) + " of labour at " + d.said(d.v.Money(l.Rate)) + " an hour"
		}
		rows = append(rows, pdfRow{what: l.Text, help: help + ", " + d.v.Sheet.Bearing(l).Name, figure: d.said(d.v.Money(l.Amount))})
	}
	sum := d.v.StopSums()
	rows = append(rows, pdfRow{what: "In all, before tax", help: d.said(d.v.StoppedSays(sum)), figure: d.said(d.v.Money(sum.Earned)), strong: true})
	d.table([2]string{"Stage", "Billed by signing"}, rows)
	for _, doc := range x.Documents {
		d.section(d.v.StopDocument(doc))
		d.sums(d.v.StopDocumentLines(doc))
	}
	if len(x.Documents) == 0 {
		d.say("Nothing more is billed.")
	}
	d.section("In the end")
	d.sums(d.v.StopEnd())
	d.section("Where the truck and its parts go")
	d.items(append([]string{x.Truck}, x.Parts...))
}

func (d *pdfDoc) sums(lines []StopLine) {
	var rows []pdfRow
	for _, l := range lines {
		rows = append(rows, pdfRow{what: l.Text, figure: d.said(d.v.Money(l.Amount)), strong: l.Strong})
	}
	d.table([2]string{"What", "Amount"}, rows)
}

func (d *pdfDoc) powers() {
	if g := d.v.Sheet.Delegate; g != nil {
		reach := g.Email
		if g.Phone != "" {
			reach += ", " + g.Phone
		}
		d.section("Somebody decides for you")
		d.say("By signing you name " + g.Name + " (" + reach + ") to read this build and decide its papers in your place, until you end it, which you can do at any time on your build’s page. A delegate cannot name others, and cannot give or raise an allowance.")
	}
	if l := d.v.Sheet.Allowance; l != nil {
		d.section("Standing allowance")
		d.say("By signing you let the shop spend on finds without asking you first: up to " + d.said(d.v.Money(l.PerFind)) + " for one find and " + d.said(d.v.Money(l.PerMonth)) + " in one calendar month, tax included. You are told of each use at once, with its photos. You can end it at any time.")
	}
}
