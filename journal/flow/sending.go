package flow

import (
	"context"
	"fmt"

	"farbay/journal"
	"farbay/journal/signoff"
)

// PreviewPaper returns the sheet as sending it now would freeze it. missing
// holds what must be completed first.
func (s *Steps) PreviewPaper(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID) (p signoff.Paper, sheet signoff.Sheet, missing error, err error) {
	if err := asOffice(a); err != nil {
		return p, sheet, nil, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if p, err = s.paperOf(r, a, build, paper); err != nil {
			return err
		}
		missing = s.readyToSend(r, p)
		sheet, err = s.freeze(r, a.Person.Name, p, p.Draft)
		return err
	})
	return p, sheet, missing, err
}

// SendPaper freezes the draft as the next revision and tells the owners.
// version is the one the office saw in the preview, so that what is sent is
// what was looked at, and a double tap sends once.
func (s *Steps) SendPaper(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, version int) (p signoff.Paper, err error) {
	if err := asOffice(a); err != nil {
		return p, err
	}
	err = s.write(ctx, func(tx Tx) error {
		if p, err = s.paperOf(tx, a, build, paper); err != nil {
			return err
		}
		if err := undecided(tx, p); err != nil {
			return err
		}
		if p.Version != version {
			return journal.Errorf(journal.Conflict, "This paper was changed or sent a moment ago. Please look at it again before sending.")
		}
		if err := s.readyToSend(tx, p); err != nil {
			return err
		}
		if p.Number == 0 {
			if p.Number, err = nextPaperNumber(tx, p); err != nil {
				return err
			}
		}
		p, err = s.sendRevision(tx, a, p, p.Draft, "")
		return err
	})
	return p, err
}

func nextPaperNumber(r Reads, p signoff.Paper) (int, error) {
	papers, err := r.Papers(p.BuildID)
	if err != nil {
		return 0, err
	}
	last := 0
	for _, other := range papers {
		if other.Kind == p.Kind {
			last = max(last, other.Number)
		}
	}
	return last + 1, nil
}

// sendRevision freezes draft as the paper's next revision and tells the
// owners. renewed says why when nobody asked for it.
func (s *Steps) sendRevision(tx Tx, a Actor, p signoff.Paper, draft signoff.Draft, renewed string) (signoff.Paper, error) {
	// freeze counts one revision on from p.Revision.
	sentBy := a.Person.Name
	if renewed != "" {
		before, err := sheetOf(tx, p)
		if err != nil {
			return p, err
		}
		sentBy = before.SentBy
	}
	sheet, err := s.freeze(tx, sentBy, p, draft)
	if err != nil {
		return p, err
	}
	text, err := sheet.Bytes()
	if err != nil {
		return p, err
	}
	rev := signoff.Revision{PaperID: p.ID, Number: sheet.Revision, Bytes: text, SHA256: signoff.Hash(text), SentAt: s.at(), SentBy: a.Person.ID}
	if renewed != "" {
		rev.SentBy = ""
	}
	if err := tx.AddRevision(rev); err != nil {
		return p, err
	}
	p.Revision, p.State = rev.Number, signoff.Sent
	if err := tx.SavePaper(p); err != nil {
		return p, err
	}
	p.Version++
	err = s.record(tx, a, p.BuildID, "paper sent", string(p.ID), map[string]any{
		"kind": p.Kind, "number": p.Number, "revision": rev.Number, "sha256": rev.SHA256, "renewed": renewed,
	})
	if err != nil {
		return p, err
	}
	owners, members, err := ownersOf(tx, p.BuildID)
	if err != nil {
		return p, err
	}
	for i, owner := range owners {
		if members[i].As != journal.AsOwner && sheet.OwnerOnly() {
			continue
		}
		post, err := byPost(tx, owner.ID)
		if err != nil {
			return p, err
		}
		if post {
			if err := s.toPost(tx, a, p, owner.ID); err != nil {
				return p, err
			}
			continue
		}
		letter := PaperSentLetter{ShopName: sheet.Shop.Name, To: owner, Sheet: sheet, Path: paperPath(p), Renewed: renewed}
		if _, err := s.post(tx, p.BuildID, owner, letter); err != nil {
			return p, err
		}
	}
	return p, nil
}

func paperPath(p signoff.Paper) string {
	return fmt.Sprintf("/builds/%s/papers/%s", p.BuildID, p.ID)
}

// RecallPaper takes a sent paper back before it is decided.
func (s *Steps) RecallPaper(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID) error {
	if err := asOffice(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		p, err := s.paperOf(tx, a, build, paper)
		if err != nil {
			return err
		}
		if p.State == signoff.Recalled {
			return nil
		}
		if err := undecided(tx, p); err != nil {
			return err
		}
		if p.State != signoff.Sent {
			return journal.Errorf(journal.Conflict, "This paper is not out for sign-off.")
		}
		return s.recall(tx, a, p)
	})
}

func (s *Steps) recall(tx Tx, a Actor, p signoff.Paper) error {
	p.State = signoff.Recalled
	if err := tx.SavePaper(p); err != nil {
		return err
	}
	return s.record(tx, a, p.BuildID, "paper recalled", string(p.ID), map[string]any{"number": p.Number, "revision": p.Revision})
}
