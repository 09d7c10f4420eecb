package flow

import (
	"context"

	"farbay/journal"
	"farbay/journal/signoff"
)

// NewPaper begins a change order, from a find when entry is not "".
func (s *Steps) NewPaper(ctx context.Context, a Actor, build journal.BuildID, entry journal.EntryID) (p signoff.Paper, err error) {
	err = s.asOfficeOn(ctx, a, build, func(tx Tx, b journal.Build) error {
		if b.State == journal.Scoping {
			return journal.Errorf(journal.Conflict, "The agreement of %s is not recorded yet; until then, change the stage values in its scope.", b.Nickname)
		}
		p = signoff.Paper{
			ID: journal.PaperID(s.NewID()), BuildID: build, Kind: signoff.ChangeOrder, State: signoff.Draft,
			EntryID: entry, CreatedBy: a.Person.ID, CreatedAt: s.at(), Version: firstVersion,
		}
		if entry != "" {
			e, err := tx.Entry(build, entry)
			if err != nil {
				return err
			}
			p.Draft.Reason, p.Draft.StageID = e.Text, e.StageID
			photos, err := tx.Photos(build, photoIDs(e.Photos))
			if err != nil {
				return err
			}
			for _, ph := range e.Photos {
				if photos[ph.PhotoID].Video() {
					continue // a paper has pictures only
				}
				p.Draft.Photos = append(p.Draft.Photos, signoff.Evidence{PhotoID: ph.PhotoID, Caption: ph.Caption})
			}
			if len(p.Draft.Photos) > signoff.MaxEvidence {
				p.Draft.Photos = p.Draft.Photos[:signoff.MaxEvidence]
			}
			if err := fillHashes(tx, build, &p.Draft); err != nil {
				return err
			}
		}
		if err := tx.AddPaper(p); err != nil {
			return err
		}
		return s.record(tx, a, build, "paper begun", string(p.ID), map[string]any{"entry": entry})
	})
	return p, err
}

// SavePaper keeps what the office typed, complete or not; version is the one
// the form was made from. A sent revision stands until the paper is sent again.
// Decided papers are refused with [journal.Conflict].
func (s *Steps) SavePaper(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, version int, change signoff.Change) (p signoff.Paper, err error) {
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
			return staleDraft()
		}
		if err := settle(tx, build, &change); err != nil {
			return err
		}
		p.Draft = change
		if err := tx.SavePaper(p); err != nil {
			return err
		}
		p.Version++
		return nil
	})
	return p, err
}

// settle completes a change from the database: the photos' hashes and the
// labour lines' amounts. The stage and the photos must be this build's.
func settle(r Reads, build journal.BuildID, c *signoff.Change) error {
	if c.StageID != "" {
		if _, err := r.Stage(build, c.StageID); err != nil {
			return journal.Problems{"stage": "Please choose one of this build's stages."}.Err()
		}
	}
	for i, l := range c.Lines {
		if l.Kind == journal.Labour {
			c.Lines[i].Amount = signoff.LabourAmount(l.Minutes, l.Rate)
		}
	}
	return fillHashes(r, build, c)
}

func fillHashes(r Reads, build journal.BuildID, c *signoff.Change) error {
	var ids []journal.PhotoID
	for _, e := range c.Photos {
		ids = append(ids, e.PhotoID)
	}
	photos, err := r.Photos(build, ids)
	if err != nil {
		return err
	}
	for i, e := range c.Photos {
		photo, ok := photos[e.PhotoID]
		if !ok {
			return journal.Problems{"photos": "One of these photos is not in this build; please choose again."}.Err()
		}
		if photo.Video() {
			return journal.Problems{"photos": "A video cannot stand on a paper, which is read without playing anything; please choose photos only."}.Err()
		}
		c.Photos[i].SHA256 = photo.SHA256
	}
	return nil
}

func staleDraft() error {
	return journal.Errorf(journal.Conflict, "Somebody else saved this paper while you were working on it. What you typed is still here; please compare before saving again.")
}

// paperOf returns a paper the actor may see: the shop all of them, the owner's
// side those that were sent at least once.
func (s *Steps) paperOf(r Reads, a Actor, build journal.BuildID, paper journal.PaperID) (signoff.Paper, error) {
	if _, _, err := readable(r, a, build); err != nil {
		return signoff.Paper{}, err
	}
	p, err := r.Paper(build, paper)
	if err == nil && p.Revision == 0 && !a.Person.Role.Staff() {
		return signoff.Paper{}, journal.Errorf(journal.NotFound, "There is no such paper.")
	}
	return p, err
}

// sheetOf reads the last frozen revision of a paper.
func sheetOf(r Reads, p signoff.Paper) (signoff.Sheet, error) {
	rev, err := r.Revision(p.ID, p.Revision)
	if err != nil {
		return signoff.Sheet{}, err
	}
	return signoff.ParseSheet(rev.Bytes)
}

// undecided refuses papers that are signed or declined.
func undecided(r Reads, p signoff.Paper) error {
	d, decided, err := absent(r.Decision(p.ID))
	if err != nil {
		return err
	}
	if !decided {
		return nil
	}
	return journal.Errorf(journal.Conflict, "This paper was %s by %s and can no longer be changed. For anything further, please begin a new change order.", d.Outcome, d.TypedName)
}
