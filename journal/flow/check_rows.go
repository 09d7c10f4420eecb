package flow

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"strings"

	"farbay/journal"
	"farbay/journal/prooflog"
	"farbay/journal/signoff"
)

// said is what the record of events says of things that stand in other tables
// too. The events are held by the proof log; these tables are not, so each of
// their rows is compared with the event of the act that made it.
type said struct {
	sent     map[journal.PaperID][]telling // of each revision
	decided  map[journal.PaperID][]telling
	papers   map[journal.PaperID]telling // the last act that moved the paper
	phoned   map[journal.PaperID]telling // what the owner said to an agreement by phone
	issued   map[journal.InvoiceID]telling
	paid     map[journal.PaymentID]telling
	turned   map[journal.StageID][]telling
	reminded map[journal.InvoiceID][]telling
	stopped  map[journal.BuildID]telling // the last end of a build
	used     map[journal.UseID]telling
	worked   map[journal.WorkID]telling
	owned    map[journal.EntryID][]telling // all that was asked, answered and done about a belonging
	scanned  map[journal.ScanID]telling
	painted  map[paintAct][]telling // all acts on paint records
	added    map[string]telling     // passkeys, by the credential's id
	keyed    map[string]telling     // keys of the log, by their public text
	keys     map[string]LogKey      // the same, as they stand in their table

	money map[journal.BuildID][]journal.Event // what goes into the account of each build
}

func newSaid() *said {
	return &said{
		sent: map[journal.PaperID][]telling{}, decided: map[journal.PaperID][]telling{}, papers: map[journal.PaperID]telling{},
		phoned: map[journal.PaperID]telling{}, issued: map[journal.InvoiceID]telling{}, paid: map[journal.PaymentID]telling{},
		turned: map[journal.StageID][]telling{}, reminded: map[journal.InvoiceID][]telling{}, stopped: map[journal.BuildID]telling{}, used: map[journal.UseID]telling{}, worked: map[journal.WorkID]telling{}, owned: map[journal.EntryID][]telling{},
		scanned: map[journal.ScanID]telling{}, added: map[string]telling{}, keyed: map[string]telling{}, keys: map[string]LogKey{},
		painted: map[paintAct][]telling{},
		money:   map[journal.BuildID][]journal.Event{},
	}
}

// telling is one event and its detail, value by value.
type telling struct {
	prooflog.Entry
	detail map[string]json.RawMessage
}

// stateAfter is how a paper stands after an act on it.
var stateAfter = map[string]signoff.State{
	"paper sent": signoff.Sent, "paper recalled": signoff.Recalled, "paper signed": signoff.Signed, "paper declined": signoff.Declined,
}

// turnOf is what an act makes of a stage.
var turnOf = map[string]journal.StageState{
	"stage opened": journal.UnderWay, "stage closed": journal.Closed, "stage reopened": journal.UnderWay,
}

// hear takes in an event, if it is of a kind that is compared. A detail that is
// no JSON has nothing to compare; that it was recorded so, the tree holds.
func (s *said) hear(e prooflog.Entry) {
	if build := journal.BuildID(e.Build); ofMoney(e.Kind) {
		s.money[build] = append(s.money[build], journal.Event{Seq: e.Seq, At: e.At, Kind: e.Kind, Subject: e.Subject, Detail: e.Detail})
	}
	paper := journal.PaperID(e.Subject)
	switch e.Kind {
	case "paper sent":
		s.sent[paper] = append(s.sent[paper], telling{Entry: e})
	case "paper signed", "paper declined":
		s.decided[paper] = append(s.decided[paper], telling{Entry: e})
	case "paper recalled":
	case "phone agreement confirmed", "phone agreement disputed":
		s.phoned[paper] = telling{Entry: e}
	case "invoice issued", "credit memo issued", "holdback release issued":
		s.issued[journal.InvoiceID(e.Subject)] = telling{Entry: e}
	case "deposit received", "payment received", "deposit reversed", "payment reversed", "refund sent", "refund reversed":
		s.paid[journal.PaymentID(e.Subject)] = telling{Entry: e}
	case "invoice reminded":
		invoice := journal.InvoiceID(e.Subject)
		s.reminded[invoice] = append(s.reminded[invoice], telling{Entry: e})
	case "stage opened", "stage closed", "stage reopened":
		stage := journal.StageID(e.Subject)
		s.turned[stage] = append(s.turned[stage], telling{Entry: e})
	case "build stopped":
		s.stopped[journal.BuildID(e.Subject)] = telling{Entry: e}
	case "allowance used":
		s.used[journal.UseID(e.Subject)] = telling{Entry: e}
	case "work logged", "work taken back":
		s.worked[journal.WorkID(e.Subject)] = telling{Entry: e}
	case "belonging asked", "belonging answered", "belonging done":
		entry := journal.EntryID(e.Subject)
		s.owned[entry] = append(s.owned[entry], telling{Entry: e})
	case "scan kept":
		t := telling{Entry: e}
		var id journal.ScanID
		if t.open() == nil && json.Unmarshal(t.detail["scan"], &id) == nil {
			s.scanned[id] = t
		}
	case "passkey added":
		s.added[e.Subject] = telling{Entry: e}
	case "log key made":
		s.keyed[e.Subject] = telling{Entry: e}
	}
	if paintKinds[e.Kind] {
		key := paintAct{e.Kind, e.Subject}
		s.painted[key] = append(s.painted[key], telling{Entry: e})
	}
	if _, moves := stateAfter[e.Kind]; moves {
		s.papers[paper] = telling{Entry: e}
	}
}

// rowCheck compares the rows of one build with what the events say of them.
type rowCheck struct {
	r     Reads
	said  *said
	build journal.BuildID
	add   func(journal.BuildID, string, string, ...any)
}

// compare compares values of a row with those of its event. What an event of an
// older program does not say is not compared. It tells the first that differs.
func (c rowCheck) compare(what, subject string, s telling, values []value) {
	if err := s.open(); err != nil {
		c.add(c.build, subject, "%s cannot be compared with %s, whose detail cannot be read: %v.", what, named(s.Entry), err)
		return
	}
	for _, v := range values {
		recorded, says := s.detail[v.name]
		if !says {
			continue
		}
		now, err := json.Marshal(v.now)
		if err != nil || !bytes.Equal(now, recorded) {
			c.add(c.build, subject, "%s was changed: its %s is %s, and %s says %s.", what, v.name, now, named(s.Entry), recorded)
			return
		}
	}
}

// value is a value of a row, under its name in the event's detail.
type value struct {
	name string
	now  any
}

// open reads the event's detail.
func (s *telling) open() error {
	if s.detail != nil {
		return nil
	}
	s.detail = map[string]json.RawMessage{}
	return json.Unmarshal([]byte(s.Detail), &s.detail)
}

func (c rowCheck) unsaid(what, subject string) {
	c.add(c.build, subject, "%s is in its table, and no event of the record says so: the row was put in past the program.", what)
}

func (c rowCheck) gone(what, subject string, s telling) {
	c.add(c.build, subject, "%s of %s is missing from its table.", what, named(s.Entry))
}

// checkRows compares the rows of a build, and takes off what it has seen from
// what the events say.
func checkRows(r Reads, said *said, build journal.BuildID, add func(journal.BuildID, string, string, ...any)) error {
	c := rowCheck{r, said, build, add}
	papers, err := r.Papers(build)
	if err != nil {
		return err
	}
	for _, p := range papers {
		if err := c.paper(p); err != nil {
			return err
		}
	}
	for _, check := range []func() error{c.end, c.invoices, c.payments, c.reminders, c.stages, c.uses, c.works, c.belongings, c.paint} {
		if err := check(); err != nil {
			return err
		}
	}
	return nil
}

// checkGone tells of what the events speak of and no build has any more.
func checkGone(said *said, add func(journal.BuildID, string, string, ...any)) {
	var gone []telling
	for _, list := range said.sent {
		gone = append(gone, list...)
	}
	for _, list := range said.decided {
		gone = append(gone, list...)
	}
	for _, list := range said.turned {
		gone = append(gone, list...)
	}
	for _, list := range said.reminded {
		gone = append(gone, list...)
	}
	for _, list := range said.owned {
		gone = append(gone, list...)
	}
	for _, list := range said.painted {
		gone = append(gone, list...)
	}
	gone = append(gone, leftOf(said.phoned)...)
	gone = append(gone, leftOf(said.issued)...)
	gone = append(gone, leftOf(said.paid)...)
	gone = append(gone, leftOf(said.used)...)
	gone = append(gone, leftOf(said.worked)...)
	gone = append(gone, leftOf(said.scanned)...)
	slices.SortFunc(gone, func(a, b telling) int { return int(a.Seq - b.Seq) })
	for _, s := range gone {
		rowCheck{add: add, build: journal.BuildID(s.Build)}.gone("the row", s.Subject, s)
	}
}

// checkKeys compares the keys of the proof log with the events of their making.
func checkKeys(said *said, add func(journal.BuildID, string, string, ...any)) {
	c := rowCheck{add: add}
	for _, public := range slices.Sorted(maps.Keys(said.keys)) {
		k := said.keys[public]
		if s, ok := said.keyed[public]; ok {
			c.compare("a key of the proof log", public, s, []value{{"why", k.Why}})
			delete(said.keyed, public)
		} else {
			c.unsaid("a key of the proof log", public)
		}
	}
	for _, public := range slices.Sorted(maps.Keys(said.keyed)) {
		c.gone("the proof log's key", public, said.keyed[public])
	}
}

func leftOf[K comparable](m map[K]telling) (left []telling) {
	return slices.AppendSeq(left, maps.Values(m))
}

// end compares whether the build was stopped, and when.
func (c rowCheck) end() error {
	b, err := c.r.Build(c.build)
	if err != nil {
		return err
	}
	s, ok := c.said.stopped[c.build]
	delete(c.said.stopped, c.build)
	switch is := b.State == journal.Stopped; {
	case is && !ok:
		c.unsaid("the early end of "+b.Nickname, string(c.build))
	case !is && ok:
		c.add(c.build, string(c.build), "%s stands as %s, and %s says that it was stopped.", b.Nickname, b.State, named(s.Entry))
	case is:
		c.compare("the early end of "+b.Nickname, string(c.build), s, []value{{"stopped_on", b.StoppedOn}})
	}
	return nil
}

func (c rowCheck) invoices() error {
	invoices, err := c.r.Invoices(c.build)
	if err != nil {
		return err
	}
	for _, inv := range invoices {
		d := inv.Document
		s, ok := c.said.issued[inv.ID]
		if !ok {
			c.unsaid(d.Name(), string(inv.ID))
			continue
		}
		delete(c.said.issued, inv.ID)
		if s.Kind != string(d.Kind)+" issued" || s.Build != string(c.build) {
			c.add(c.build, string(inv.ID), "%s was changed: %s says otherwise.", d.Name(), named(s.Entry))
		}
		c.compare(d.Name(), string(inv.ID), s, valuesOf(invoiceDetail(inv)))
	}
	return nil
}

// stages compares each stage's turns with its events, in order: each close that
// billed it among them.
func (c rowCheck) stages() error {
	stages, err := c.r.Stages(c.build)
	if err != nil {
		return err
	}
	turns, err := c.r.Turns(c.build)
	if err != nil {
		return err
	}
	for _, st := range stages {
		events := c.said.turned[st.ID]
		delete(c.said.turned, st.ID)
		state, n := journal.NotStarted, 0
		for _, turn := range turns {
			if turn.StageID != st.ID {
				continue
			}
			what := fmt.Sprintf("turn %d of %s, to %s,", n+1, st.Name, turn.To)
			state = turn.To
			if n++; n > len(events) {
				c.unsaid(what, string(st.ID))
				continue
			}
			e := events[n-1]
			if turnOf[e.Kind] != turn.To || e.Person != string(turn.ByID) {
				c.add(c.build, string(st.ID), "%s was changed: %s says otherwise.", what, named(e.Entry))
			}
			c.compare(what, string(st.ID), e, []value{{"reason", turn.Reason}})
		}
		if n < len(events) {
			c.gone(fmt.Sprintf("turn %d of %s", n+1, st.Name), string(st.ID), events[n])
		}
		if n == len(events) && st.State != state {
			c.add(c.build, string(st.ID), "%s stands as %s, and its last turn is to %s.", st.Name, st.State, state)
		}
	}
	return nil
}

func (c rowCheck) uses() error {
	uses, err := c.r.Uses(c.build)
	if err != nil {
		return err
	}
	for _, u := range uses {
		what := fmt.Sprintf("use %d of the standing allowance", u.Number)
		s, ok := c.said.used[u.ID]
		if !ok {
			c.unsaid(what, string(u.ID))
			continue
		}
		delete(c.said.used, u.ID)
		c.compare(what, string(u.ID), s, []value{
			{"allowance", u.AllowanceID}, {"number", u.Number}, {"entry", u.EntryID}, {"stage", u.StageID}, {"title", u.Title},
			{"amount", u.Amount}, {"tax", u.Tax}, {"month", u.Month},
		})
	}
	return nil
}

// belongings compares what was asked about each belonging, answered and done,
// with its events, in order.
func (c rowCheck) belongings() error {
	belongings, err := c.r.Belongings(c.build)
	if err != nil {
		return err
	}
	for _, b := range belongings {
		what := fmt.Sprintf("the belonging %q", b.What)
		acts := []act{{"belonging asked", b.AskedBy, []value{{"what", b.What}}}}
		for _, a := range b.Answers {
			acts = append(acts, act{"belonging answered", a.PersonID, []value{{"answer", a.Answer}, {"note", a.Note}, {"authenticated", a.Authenticated}}})
		}
		if !b.DoneAt.IsZero() {
			acts = append(acts, act{"belonging done", b.DoneBy, nil})
		}
		events := c.said.owned[b.EntryID]
		delete(c.said.owned, b.EntryID)
		for i, a := range acts {
			if i >= len(events) {
				c.unsaid(what+" as "+strings.TrimPrefix(a.kind, "belonging "), string(b.EntryID))
				break
			}
			if e := events[i]; e.Kind != a.kind || e.Person != string(a.by) {
				c.add(c.build, string(b.EntryID), "%s was changed: it was %s by person %s, and %s by person %s says otherwise.", what, strings.TrimPrefix(a.kind, "belonging "), a.by, named(e.Entry), e.Person)
				break
			}
			c.compare(what, string(b.EntryID), events[i], a.values)
		}
		if len(events) > len(acts) {
			c.gone(what+", the row", string(b.EntryID), events[len(acts)])
		}
	}
	return nil
}

// act is what a row says was done to a belonging.
type act struct {
	kind   string
	by     journal.PersonID
	values []value
}

// valuesOf are the values of a detail, in the order of their names.
func valuesOf(detail map[string]any) []value {
	var values []value
	for _, name := range slices.Sorted(maps.Keys(detail)) {
		values = append(values, value{name, detail[name]})
	}
	return values
}
