package flow

import (
	"fmt"
	"strings"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// Phrases say amounts and days the shop's way, as package views does.
type Phrases interface {
	Money(journal.Cents) (string, error)     // "$2,339.00"
	PaperDoes(signoff.Sheet) (string, error) // "+ $2,339.00 and 6 working days"
	Day(journal.Date) (string, error)        // "Tuesday 14 April"
	Since(time.Time) (string, error)         // "yesterday", "Sunday", "Tuesday 14 April"
}

// Say tells the owner in plain sentences what is under way, what waits on
// them, and what is new: "Body metal is under way. One paper waits for you:
// Both front floor pans, + $2,339.00 and 6 working days." It fails only if p
// does.
func (o OwnerOverview) Say(p Phrases) ([]string, error) {
	s := saying{p: p}
	s.state(o)
	s.papers(o.Papers)
	for _, p := range o.ToConfirm {
		s.add("%s was agreed by phone; please confirm it.", p.Sheet.Title)
	}
	s.belongings(o.Belongings)
	s.asked(o)
	s.payments(o)
	if !o.Waits() {
		s.add("Nothing waits for you.")
	}
	if o.New > 0 {
		s.add("%s since your last visit, %s.", counted(o.New, "new entry", "new entries"), s.since(o.Since))
	}
	return s.said, s.err
}

// saying collects sentences, and the first failure of its phrases.
type saying struct {
	p    Phrases
	said []string
	err  error
}

func (s *saying) add(format string, args ...any) {
	s.said = append(s.said, fmt.Sprintf(format, args...))
}

func (s *saying) keep(said string, err error) string {
	if s.err == nil {
		s.err = err
	}
	return said
}

func (s *saying) money(c journal.Cents) string { return s.keep(s.p.Money(c)) }
func (s *saying) day(d journal.Date) string    { return s.keep(s.p.Day(d)) }
func (s *saying) since(at time.Time) string    { return s.keep(s.p.Since(at)) }
func (s *saying) effect(line PaperLine) string {
	return s.keep(s.p.PaperDoes(line.Sheet))
}

// state says what is under way, or what is not.
func (s *saying) state(o OwnerOverview) {
	var open []string
	var next string
	closed := 0
	for _, line := range o.Stages {
		switch line.Stage.State {
		case journal.UnderWay:
			open = append(open, line.Stage.Name)
		case journal.Closed:
			closed++
		case journal.NotStarted:
			if next == "" {
				next = line.Stage.Name
			}
		}
	}
	switch {
	case o.Ending != nil:
		s.ending(o)
		return
	case o.Build.State == journal.Delivered:
		s.add("%s was delivered on %s.", o.Build.Nickname, s.day(o.Build.DeliveredOn))
		return
	case len(open) == 1:
		s.add("%s is under way.", open[0])
	case len(open) > 1:
		s.add("%s are under way.", listed(open, ", ", " and "))
	case closed > 0 && next == "":
		s.add("Every stage is closed; what is left is the delivery.")
	case closed > 0:
		s.add("No stage is under way today; %s comes next.", next)
	case o.Build.ArrivedOn.IsZero():
		s.add("%s has not arrived at the shop yet.", o.Build.Nickname)
	default:
		s.add("%s is in the shop, and no stage has begun yet.", o.Build.Nickname)
	}
	switch {
	case o.Build.State == journal.Scoping:
		s.add("Scope and price are being settled with you; nothing is billed before you agree.")
	case !o.Build.ReadyOn.IsZero():
		s.add("The agreed ready date is %s.", s.day(o.Build.ReadyOn))
	}
}

// ending says how the build ended early, and what of the deposit goes back.
func (s *saying) ending(o OwnerOverview) {
	day := s.day(o.Ending.On)
	if o.Ending.PaperID != "" {
		s.add("The build of %s ended early, on %s, as you signed on %s.", o.Build.Nickname, day, lowerFirst(o.Ending.Paper))
	} else {
		s.add("The shop has recorded that the build of %s ended on %s. Nobody has signed a paper about it, so what was not done is not billed.", o.Build.Nickname, day)
	}
	if back := o.Statement.DepositUnearned; back > 0 {
		s.add("%s of your deposit is not used and is to go back to you.", s.money(back))
	}
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return strings.ToLower(s[:1]) + s[1:]
}

func (s *saying) papers(papers []PaperLine) {
	if len(papers) == 0 {
		return
	}
	each := make([]string, 0, len(papers))
	for _, p := range papers {
		each = append(each, p.Sheet.Title+", "+s.effect(p))
	}
	s.add("%s for you: %s.", counted(len(papers), "paper waits", "papers wait"), listed(each, "; ", "; and "))
}

func (s *saying) belongings(found []journal.Belonging) {
	if len(found) == 0 {
		return
	}
	each := make([]string, 0, len(found))
	for _, b := range found {
		each = append(each, b.What)
	}
	s.add("The shop found %s and asks whether to keep, ship or discard it.", listed(each, ", ", " and "))
}

func (s *saying) asked(o OwnerOverview) {
	for _, a := range o.Answered {
		s.add("Your question about %s is answered.", a.Paper.Sheet.Title)
	}
	if n := len(o.Asked); n > 0 {
		s.add("%s to be answered by the shop.", counted(n, "question of yours is still", "questions of yours are still"))
	}
}

func (s *saying) payments(o OwnerOverview) {
	if o.DepositDue > 0 {
		s.add("%s of the agreed deposit is still to come.", s.money(o.DepositDue))
	}
	for _, open := range o.Invoices {
		d := open.Invoice.Document
		switch {
		case open.Late > 0:
			s.add("%s of %s is open and was due on %s.", s.money(open.Open), d.Name(), s.day(d.DueOn))
		case d.DueOn == d.IssuedOn:
			s.add("%s of %s is open, due on receipt.", s.money(open.Open), d.Name())
		default:
			s.add("%s of %s is open, due on %s.", s.money(open.Open), d.Name(), s.day(d.DueOn))
		}
	}
}

// counted begins a sentence with a count: "One paper waits", "Two papers wait",
// in figures from 13 on.
func counted(n int, one, many string) string {
	words := []string{"No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten", "Eleven", "Twelve"}
	switch {
	case n == 1:
		return words[1] + " " + one
	case n >= 0 && n < len(words):
		return words[n] + " " + many
	}
	return fmt.Sprintf("%d %s", n, many)
}

func listed(items []string, comma, and string) string {
	if len(items) < 2 {
		return strings.Join(items, "")
	}
	last := len(items) - 1
	return strings.Join(items[:last], comma) + and + items[last]
}
