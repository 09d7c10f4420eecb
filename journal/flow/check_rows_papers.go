package flow

import (
	"fmt"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

func (c rowCheck) paper(p signoff.Paper) error {
	name := paperName(p)
	revisions, err := c.r.Revisions(p.ID)
	if err != nil {
		return err
	}
	sent := c.said.sent[p.ID]
	delete(c.said.sent, p.ID)
	for i, rev := range revisions {
		what := fmt.Sprintf("revision %d of %s", rev.Number, name)
		if i >= len(sent) {
			c.unsaid(what, string(p.ID))
			break
		}
		c.compare(what, string(p.ID), sent[i], []value{{"revision", rev.Number}, {"sha256", rev.SHA256}, {"kind", p.Kind}, {"number", p.Number}})
	}
	if len(sent) > len(revisions) {
		c.gone(fmt.Sprintf("revision %d of %s", len(revisions)+1, name), string(p.ID), sent[len(revisions)])
	}
	if last, moved := c.said.papers[p.ID]; moved && stateAfter[last.Kind] != p.State {
		c.add(c.build, string(p.ID), "%s stands as %s, and the last that happened to it is %s.", name, p.State, named(last.Entry))
	} else if !moved && p.State != signoff.Drafted {
		c.unsaid(fmt.Sprintf("%s as %s", name, p.State), string(p.ID))
	}
	return c.decision(p, name)
}

func (c rowCheck) decision(p signoff.Paper, name string) error {
	what := "the decision on " + name
	d, decided, err := absent(c.r.Decision(p.ID))
	if err != nil {
		return err
	}
	events := c.said.decided[p.ID]
	delete(c.said.decided, p.ID)
	switch {
	case !decided && len(events) == 0:
		return nil
	case !decided:
		c.gone(what, string(p.ID), events[0])
		return nil
	case len(events) == 0:
		c.unsaid(what, string(p.ID))
		return nil
	case len(events) > 1:
		c.add(c.build, string(p.ID), "%s was recorded %d times; the second is %s.", name, len(events), named(events[1].Entry))
	}
	e := events[0]
	if e.Kind != "paper "+string(d.Outcome) {
		c.add(c.build, string(p.ID), "%s was changed: it is %s, and %s says otherwise.", what, d.Outcome, named(e.Entry))
	}
	by := d.PersonID
	if d.Manner != signoff.OnPage {
		by = d.RecordedBy
	}
	if e.Person != string(by) {
		c.add(c.build, string(p.ID), "%s was changed: it is by person %s, and %s by person %s.", what, by, named(e.Entry), e.Person)
	}
	c.compare(what, string(p.ID), e, []value{
		{"revision", d.Revision}, {"sha256", d.SHA256}, {"name", d.TypedName}, {"as", d.As}, {"sentence", d.Sentence}, {"reason", d.Reason},
		{"parts_back", d.PartsBack}, {"zone", d.Zone}, {"manner", d.Manner}, {"authenticated", d.Authenticated},
		{"consent_version", d.ConsentVersion}, {"consent_at", d.ConsentAt.UTC().Format(time.RFC3339)},
		{"happened_at", d.DecidedAt().UTC().Format(time.RFC3339)}, {"phone", d.Phone}, {"spoke_with", d.SpokeWith}, {"scan", d.ScanID},
	})
	if d.ScanID != "" {
		if err := c.scan(p, d.ScanID, name); err != nil {
			return err
		}
	}
	return c.confirmation(p, name)
}

// scan compares the picture of a sheet signed by hand with its hash, and that
// with its event.
func (c rowCheck) scan(p signoff.Paper, id journal.ScanID, name string) error {
	what := "the scan of " + name
	scan, there, err := absent(c.r.ScanOf(p.ID, id))
	if err != nil {
		return err
	}
	s, recorded := c.said.scanned[id]
	switch delete(c.said.scanned, id); {
	case !there && recorded:
		c.gone(what, string(id), s)
	case there && !recorded:
		c.unsaid(what, string(id))
	case there:
		c.compare(what, string(id), s, []value{{"revision", scan.Revision}, {"sha256", scan.SHA256}, {"bytes", len(scan.Data)}})
		if signoff.Hash(scan.Data) != scan.SHA256 {
			c.add(c.build, string(id), "%s was changed: it does not match its hash.", what)
		}
	}
	return nil
}

func (c rowCheck) confirmation(p signoff.Paper, name string) error {
	what := "what the owner said to " + name
	confirmation, there, err := absent(c.r.Confirmation(p.ID))
	if err != nil {
		return err
	}
	s, recorded := c.said.phoned[p.ID]
	delete(c.said.phoned, p.ID)
	switch {
	case there && !recorded:
		c.unsaid(what, string(p.ID))
	case !there && recorded:
		c.gone(what, string(p.ID), s)
	case there:
		if confirmation.Confirmed != (s.Kind == "phone agreement confirmed") || string(confirmation.PersonID) != s.Person {
			c.add(c.build, string(p.ID), "%s was changed: %s says otherwise.", what, named(s.Entry))
		}
		c.compare(what, string(p.ID), s, []value{
			{"name", confirmation.TypedName}, {"sentence", confirmation.Sentence}, {"text", confirmation.Text}, {"authenticated", confirmation.Authenticated},
		})
	}
	return nil
}

// paperName names a paper for people: "change order 3".
func paperName(p signoff.Paper) string { return fmt.Sprintf("%s %d", p.Kind, p.Number) }
