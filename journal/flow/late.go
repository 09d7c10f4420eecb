package flow

import (
	"fmt"

	"farbay/journal"
)

// lateOf returns what is open past its due day, in order of issue.
func lateOf(open []OpenInvoice) []OpenInvoice {
	var late []OpenInvoice
	for _, o := range open {
		if o.Late > 0 {
			late = append(late, o)
		}
	}
	return late
}

// lateAsked returns a build's late invoices if its terms ask the office about them
// before a stage opens.
func (s *Steps) lateAsked(r Reads, build journal.BuildID) ([]OpenInvoice, error) {
	b, err := r.Build(build)
	if err != nil {
		return nil, err
	}
	acc, err := s.account(r, b)
	if err != nil || !acc.Terms.LateAsks {
		return nil, err
	}
	open, err := openInvoices(r, build, acc, s.today(r))
	return lateOf(open), err
}

// lateSentence names late invoices, without a full stop: "Invoice 31 is 12 days late".
func lateSentence(late []OpenInvoice) string {
	if len(late) == 1 {
		name := late[0].Invoice.Document.Name()
		days := fmt.Sprintf("%d days", late[0].Late)
		if late[0].Late == 1 {
			days = "a day"
		}
		return fmt.Sprintf("I%s is %s late", name[1:], days)
	}
	return fmt.Sprintf("%s late", counted(len(late), "invoice is", "invoices are"))
}

// turnThough opens a stage in spite of late invoices, and records them.
func (s *Steps) turnThough(tx Tx, a Actor, st journal.Stage, late []OpenInvoice, reason string) error {
	st.State = journal.UnderWay
	if err := tx.SaveStage(st); err != nil {
		return err
	}
	if err := tx.AddTurn(journal.Turn{StageID: st.ID, To: journal.UnderWay, Reason: reason, ByID: a.Person.ID, At: s.at()}); err != nil {
		return err
	}
	var invoices []map[string]any
	for _, o := range late {
		invoices = append(invoices, map[string]any{"invoice": o.Invoice.ID, "open": o.Open, "due_on": o.Invoice.Document.DueOn})
	}
	return s.record(tx, a, st.BuildID, "stage opened", string(st.ID), map[string]any{"stage": st.Name, "reason": reason, "late": invoices})
}
