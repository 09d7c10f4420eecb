package views

import (
	"strconv"
	"strings"

	"farbay/journal"
	"farbay/journal/signoff"
)

// Say returns what is going on in the shop, in plain sentences.
func (p WhatWaits) Say() (string, error) {
	if len(p.Rows) == 0 {
		return "No build is under way. Begin one when the next truck arrives.", nil
	}
	var said []string
	underWay := 0
	for _, r := range p.Rows {
		if !r.Build.Over() {
			underWay++
		}
	}
	said = append(said, Count(underWay, "build is under way.", "builds are under way."), p.sayWaits())
	rows := p.WorstFirst()
	if late, _ := rows[0].worst(); late > 0 {
		w := rows[0].WorstFirst()[0]
		what, err := w.What()
		if err != nil {
			return "", err
		}
		said = append(said, "Most pressing is "+rows[0].Build.Nickname+": "+what+", "+w.LateBy()+".")
	}
	return strings.Join(append(said, sayQuiet(rows)...), " "), nil
}

// sayWaits counts the builds that wait on each side.
func (p WhatWaits) sayWaits() string {
	count := func(on WaitsOn) (n int) {
		for _, r := range p.Rows {
			for _, w := range r.Waits {
				if w.On == on {
					n++
					break
				}
			}
		}
		return n
	}
	var parts []string
	for _, side := range []struct {
		on        WaitsOn
		one, many string
	}{
		{OnUs, "waits on us", "wait on us"},
		{OnOwner, "waits on its owner", "wait on their owners"},
		{OnPayment, "waits on a payment", "wait on payments"},
	} {
		if n := count(side.on); n > 0 {
			parts = append(parts, counted(n, side.one, side.many))
		}
	}
	if len(parts) == 0 {
		return "Nothing waits on anybody."
	}
	return UpperFirst(List(parts)) + "."
}

// sayQuiet names the builds whose owners have had no news for too long.
func sayQuiet(rows []BoardRow) []string {
	var quiet []BoardRow
	for _, r := range rows {
		if r.Quiet {
			quiet = append(quiet, r)
		}
	}
	switch {
	case len(quiet) == 0:
		return nil
	case len(quiet) > 2:
		return []string{Count(len(quiet), "owner has", "owners have") + " had no news for too long."}
	}
	var said []string
	for _, r := range quiet {
		said = append(said, r.Build.Nickname+" has been quiet for "+Plural(r.QuietDays, "day", "days")+".")
	}
	return said
}

// Say returns where the build stands, in plain sentences.
func (p StaffBuild) Say() string {
	var open []string
	closed := 0
	for _, s := range p.Stages {
		switch s.Stage.State {
		case journal.UnderWay:
			open = append(open, s.Stage.Name)
		case journal.Closed:
			closed++
		}
	}
	var said []string
	switch {
	case p.Stored.State == journal.Delivered:
		said = append(said, p.Stored.Nickname+" is delivered.")
	case p.Stored.State == journal.Stopped:
		said = append(said, p.Stored.Nickname+" was stopped: the build ended early.")
	case len(open) == 0 && closed == 0:
		said = append(said, "No stage is under way yet.")
	case len(open) == 0:
		said = append(said, "No stage is under way; "+counted(closed, "stage is", "stages are")+" closed.")
	case len(open) == 1:
		said = append(said, open[0]+" is under way.")
	default:
		said = append(said, List(open)+" are under way.")
	}
	if p.Stored.State == journal.Scoping {
		said = append(said, "The build is still being scoped: nothing can be billed before the agreement is recorded.")
	}
	if n := len(p.Out); n > 0 {
		said = append(said, Count(n, "paper waits", "papers wait")+" for the owner.")
	}
	if p.Quiet > 0 && !p.Stored.Over() {
		said = append(said, "The owner has had no news for "+Plural(p.Quiet, "day", "days")+".")
	}
	return strings.Join(said, " ")
}

// Say returns where the stage stands, in plain sentences.
func (p StaffStage) Say() string {
	switch p.Stage.State {
	case journal.Closed:
		if p.Dropped != "" {
			return p.Stage.Name + " was dropped by " + p.Dropped + ". It is not done any more."
		}
		return p.Stage.Name + " is closed."
	case journal.NotStarted:
		return p.Stage.Name + " has not been started. Open it when work begins."
	}
	if len(p.Missing) == 0 {
		return p.Stage.Name + " is under way, and its gate has all it needs."
	}
	return p.Stage.Name + " is under way. Its gate still needs " + counted(len(p.Missing), "thing", "things") + "."
}

// Say returns where the paper stands, in a plain sentence.
func (p StaffPaper) Say() string {
	switch p.Paper.State {
	case signoff.Drafted:
		return "This is a draft. Only the shop sees it."
	case signoff.Sent:
		n := 0
		for _, q := range p.Questions {
			if !q.Answered() {
				n++
			}
		}
		said := "Revision " + strconv.Itoa(p.Paper.Revision) + " waits for the owner."
		if n > 0 {
			said += " They have asked " + counted(n, "question", "questions") + " and wait for the answer."
		}
		return said
	case signoff.Signed:
		how := "Signed. "
		if p.Decision != nil && p.Decision.Spoken() {
			how = "Agreed by phone. "
		}
		done, err := p.Sheet.Done()
		if err != nil {
			return how
		}
		return how + done
	case signoff.Declined:
		return "Declined. " + p.Sheet.Undone()
	}
	return "Taken back before a decision. It can be edited and sent again."
}

// counted is Count for the middle of a sentence.
func counted(n int, one, many string) string { return strings.ToLower(Count(n, one, many)) }
