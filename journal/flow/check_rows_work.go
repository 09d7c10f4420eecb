package flow

import (
	"fmt"

	"farbay/journal"
	"farbay/journal/signoff"
)

// works compares logged work, and the suppliers' invoices kept with it, with what
// the events say.
func (c rowCheck) works() error {
	works, err := c.r.Works(c.build)
	if err != nil {
		return err
	}
	for _, w := range works {
		what := fmt.Sprintf("the %s logged for %s", w.Kind, w.Day)
		kind := "work logged"
		if w.TakesBack != "" {
			kind = "work taken back"
		}
		s, ok := c.said.worked[w.ID]
		if !ok {
			c.unsaid(what, string(w.ID))
			continue
		}
		delete(c.said.worked, w.ID)
		if s.Kind != kind || s.Build != string(c.build) || s.Person != string(w.ByID) {
			c.add(c.build, string(w.ID), "%s was changed: %s says otherwise.", what, named(s.Entry))
		}
		c.compare(what, string(w.ID), s, valuesOf(workDetail(w)))
		if err := c.workFile(what, w); err != nil {
			return err
		}
	}
	return nil
}

// workFile checks that the supplier's invoice is there and is the one logged.
func (c rowCheck) workFile(what string, w journal.Work) error {
	f, there, err := absent(c.r.WorkFileOf(c.build, w.ID))
	switch {
	case err != nil:
		return err
	case !there && w.FileSHA256 != "":
		c.add(c.build, string(w.ID), "the file of %s is missing.", what)
	case there && (f.SHA256 != w.FileSHA256 || signoff.Hash(f.Data) != w.FileSHA256):
		c.add(c.build, string(w.ID), "the file of %s is not the one that was logged.", what)
	}
	return nil
}
