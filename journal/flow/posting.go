package flow

import (
	"context"

	"farbay/journal"
	"farbay/journal/signoff"
)

// byPost reports whether papers go to a person by post: they have withdrawn their
// consent to electronic records. Who never consented is asked before the first
// decision, so for them nothing changes.
func byPost(r Reads, person journal.PersonID) (bool, error) {
	c, ever, err := absent(r.LastConsent(person))
	return ever && !c.EndedAt.IsZero(), err
}

// toPost has the office print and post a revision to a person.
func (s *Steps) toPost(tx Tx, a Actor, p signoff.Paper, person journal.PersonID) error {
	if err := tx.AddPosting(signoff.Posting{PaperID: p.ID, Revision: p.Revision, PersonID: person, At: s.at()}); err != nil {
		return err
	}
	return s.record(tx, a, p.BuildID, "paper to post", string(p.ID), map[string]any{"revision": p.Revision, "person": person})
}

// MarkPosted notes the day on which the office posted a printed revision to a
// person. Office only.
//
// It returns [journal.Invalid] beside "posted_on", [journal.NotFound] when the
// revision does not go to them by post, and [journal.Conflict] when it was noted
// before with another day.
func (s *Steps) MarkPosted(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, revision int, person journal.PersonID, on journal.Date) error {
	return s.asOfficeOn(ctx, a, build, func(tx Tx, _ journal.Build) error {
		p, err := s.paperOf(tx, a, build, paper)
		if err != nil {
			return err
		}
		postings, err := tx.Postings(p.ID)
		if err != nil {
			return err
		}
		for _, x := range postings {
			if x.Revision != revision || x.PersonID != person {
				continue
			}
			if x.PostedOn == on && !on.IsZero() {
				return nil // a double tap
			}
			shop, err := tx.Shop()
			if err != nil {
				return err
			}
			switch {
			case on.IsZero():
				return journal.Problems{"posted_on": "Please give the day on which it was posted."}.Err()
			case on > s.today(tx) || on < journal.DateOf(x.At, shop.Location()):
				return journal.Problems{"posted_on": "Please give a day from the sending of the paper to today."}.Err()
			}
			x.PostedOn, x.PostedBy = on, a.Person.ID
			if err := tx.MarkPosted(x); err != nil {
				return err
			}
			return s.record(tx, a, build, "paper posted", string(paper), map[string]any{"revision": revision, "person": person, "on": on})
		}
		return journal.Errorf(journal.NotFound, "This revision does not go to them by post.")
	})
}
