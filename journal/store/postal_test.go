package store

import (
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

func TestRoundTrip_Postal(t *testing.T) {
	s, f := yard(t), &filler{}
	addFind(t, s)
	sendPaper(t, s, "paper", "find-photo")
	scan := fill(t, f, func(v *signoff.Scan) {
		v.ID, v.PaperID, v.Revision, v.ByID, v.SHA256 = "scan", "paper", 1, pat, signoff.Hash(v.Data)
	})
	posting := fill(t, f, func(p *signoff.Posting) {
		p.PaperID, p.Revision, p.PersonID, p.PostedOn, p.PostedBy = "paper", 1, ada, "2026-04-15", pat
	})
	waiting := posting
	waiting.PersonID, waiting.PostedOn, waiting.PostedBy = ben, "", ""
	confirmation := fill(t, f, func(c *signoff.Confirmation) { c.PaperID, c.PersonID = "paper", ada })
	write(t, s, func(tx flow.Tx) error {
		for _, err := range []error{
			tx.AddScan(scan), tx.AddPosting(posting), tx.AddPosting(waiting),
			tx.AddDecision(decision("paper", 1, sheet(t, heron, 1, "find-photo"))), tx.AddConfirmation(confirmation),
		} {
			if err != nil {
				return err
			}
		}
		return nil
	})
	same(t, scan, get(t, s, func(r flow.Reads) (signoff.Scan, error) { return r.ScanOf("paper", "scan") }))
	same(t, confirmation, get(t, s, func(r flow.Reads) (signoff.Confirmation, error) { return r.Confirmation("paper") }))
	if all := get(t, s, func(r flow.Reads) ([]signoff.Posting, error) { return r.Postings("paper") }); len(all) != 2 {
		t.Fatalf("%d postings", len(all))
	}
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.MarkPosted(posting) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddPosting(posting) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddConfirmation(confirmation) })
	waiting.PostedOn, waiting.PostedBy = "2026-04-16", pat
	write(t, s, func(tx flow.Tx) error { return tx.MarkPosted(waiting) })
	all := get(t, s, func(r flow.Reads) ([]signoff.Posting, error) { return r.Postings("paper") })
	for _, p := range all {
		if p.PersonID == ada {
			same(t, posting, p)
		} else {
			same(t, waiting, p)
		}
	}
	for _, query := range []string{
		"UPDATE postings SET posted_on = '2026-01-01'", "DELETE FROM postings", "UPDATE scans SET data = x'00'", "DELETE FROM scans",
		"UPDATE confirmations SET outcome = 'disputed'", "DELETE FROM confirmations",
	} {
		if err := s.writer.Exec(query).Error; err == nil {
			t.Errorf("%s went through", query)
		}
	}
}
