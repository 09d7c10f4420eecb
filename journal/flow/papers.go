package flow

import (
	"context"
	"fmt"

	"farbay/journal"
	"farbay/journal/signoff"
)

// PaperStart says which paper is begun, and from what.
type PaperStart struct {
	Kind       signoff.Kind
	EntryID    journal.EntryID // the find that a change order comes from; "" for none
	ReEstimate bool            // a change order that renews the estimate after the teardown
	StageID    journal.StageID // the stage of a change order; "" when not known
}

// NewPaper begins a paper, with what is known already filled in. Office only.
//
// It returns [journal.Conflict] for a kind that has no place where the build
// stands: only a build agreement and a teardown authorization come before the
// agreement, and there is one agreement.
func (s *Steps) NewPaper(ctx context.Context, a Actor, build journal.BuildID, start PaperStart) (p signoff.Paper, err error) {
	err = s.asOfficeOn(ctx, a, build, func(tx Tx, b journal.Build) error {
		if err := placeFor(tx, b, start.Kind); err != nil {
			return err
		}
		p = signoff.Paper{
			ID: journal.PaperID(s.NewID()), BuildID: build, Kind: start.Kind, State: signoff.Drafted,
			EntryID: start.EntryID, CreatedBy: a.Person.ID, CreatedAt: s.at(), Version: firstVersion,
		}
		if p.Draft, err = s.firstDraft(tx, b, start); err != nil {
			return err
		}
		if start.EntryID != "" {
			if err := draftFromFind(tx, build, start.EntryID, &p.Draft); err != nil {
				return err
			}
		}
		if err := tx.AddPaper(p); err != nil {
			return err
		}
		return s.record(tx, a, build, "paper begun", string(p.ID), map[string]any{"kind": p.Kind, "entry": start.EntryID})
	})
	return p, err
}

// placeFor refuses a paper that has no place where the build stands.
func placeFor(r Reads, b journal.Build, kind signoff.Kind) error {
	switch {
	case !kind.Valid():
		return journal.Errorf(journal.Invalid, "Please choose what kind of paper this is to be.")
	case b.State == journal.Stopped:
		return placeAfterStop(r, b, kind)
	case kind == signoff.EarlyStop && b.State == journal.Delivered:
		return journal.Errorf(journal.Conflict, "%s was delivered on %s, so it cannot end early any more.", b.Nickname, b.DeliveredOn)
	case kind == signoff.Teardown:
		return nil
	case kind == signoff.EarlyStop && b.State == journal.Scoping:
		return journal.Errorf(journal.Conflict, "Nothing is agreed on %s yet, so there is nothing to end.", b.Nickname)
	case kind != signoff.BuildAgreement && b.State == journal.Scoping:
		return journal.Errorf(journal.Conflict, "The agreement of %s is not signed yet; until then, change the stage values in its scope.", b.Nickname)
	case kind != signoff.BuildAgreement:
		return nil
	case b.State != journal.Scoping:
		return journal.Errorf(journal.Conflict, "The agreement of %s stands already, since %s. For anything further, please begin a change order.", b.Nickname, b.AgreedOn)
	}
	papers, err := r.Papers(b.ID)
	if err != nil {
		return err
	}
	for _, p := range papers {
		if p.Kind == kind && !p.Decided() {
			return journal.Errorf(journal.Conflict, "An agreement of %s is being worked on already; please go on with that one.", b.Nickname)
		}
	}
	return nil
}

// placeAfterStop lets only an early stop be written of a build that ended without
// one.
func placeAfterStop(r Reads, b journal.Build, kind signoff.Kind) error {
	e, err := endingOf(r, b)
	if err != nil {
		return err
	}
	if kind == signoff.EarlyStop && e.PaperID == "" {
		return nil
	}
	return stoppedAlready(b)
}

// firstDraft fills in what is known when a paper is begun.
func (s *Steps) firstDraft(r Reads, b journal.Build, start PaperStart) (d signoff.Draft, err error) {
	switch start.Kind {
	case signoff.BuildAgreement:
		d.Title, d.ReadyOn = "Restoration of "+b.Nickname, b.ReadyOn
	case signoff.Teardown:
		d.Title = "Taking " + b.Nickname + " apart"
		// Source: 16 CCR 3353 (California) names these as parts that a teardown
		// normally destroys.
		d.Destroyed = []string{"Gaskets", "Seals", "O-rings"}
		stages, err := r.Stages(b.ID)
		if err != nil {
			return d, err
		}
		for _, st := range stages {
			if st.Teardown && d.StageID == "" {
				d.StageID = st.ID
			}
		}
	case signoff.ChangeOrder:
		if start.ReEstimate {
			d.Title, d.ReEstimate = "Re-estimate after the teardown", true
		}
		if start.StageID != "" {
			st, err := r.Stage(b.ID, start.StageID)
			if err != nil {
				return d, err
			}
			d.StageID = st.ID
			if st.Metered {
				d.Title = "Another ceiling for " + st.Name
			}
		}
	case signoff.DateChange:
		d.Title = "Another ready date"
	case signoff.DeliveryAcceptance:
		d.Title, d.DeliveredOn = "Delivery of "+b.Nickname, s.today(r)
	case signoff.EarlyStop:
		d.Title, d.Stop = "Ending the build of "+b.Nickname, s.stopDraft(r, b)
	}
	return d, nil
}

// draftFromFind takes a find's text, stage and pictures over.
func draftFromFind(r Reads, build journal.BuildID, entry journal.EntryID, d *signoff.Draft) error {
	e, err := r.Entry(build, entry)
	if err != nil {
		return err
	}
	d.Reason, d.StageID = e.Text, e.StageID
	photos, err := r.Photos(build, photoIDs(e.Photos))
	if err != nil {
		return err
	}
	for _, ph := range e.Photos {
		if photos[ph.PhotoID].Video() {
			continue // a paper has pictures only
		}
		d.Photos = append(d.Photos, signoff.Evidence{PhotoID: ph.PhotoID, Caption: ph.Caption})
	}
	if len(d.Photos) > signoff.MaxEvidence {
		d.Photos = d.Photos[:signoff.MaxEvidence]
	}
	return fillHashes(r, build, d)
}

// SavePaper keeps what the office typed, complete or not; version is the one
// the form was made from. A sent revision stands until the paper is sent again.
// Decided papers are refused with [journal.Conflict].
func (s *Steps) SavePaper(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, version int, draft signoff.Draft) (p signoff.Paper, err error) {
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
		s.nameAdded(&draft, p.Draft)
		if err := settle(tx, build, &draft); err != nil {
			return err
		}
		p.Draft = draft
		if err := tx.SavePaper(p); err != nil {
			return err
		}
		p.Version++
		return nil
	})
	return p, err
}

// settle completes a draft from the database: the photos' hashes and the labour
// lines' amounts. The stages and the photos must be this build's.
func settle(r Reads, build journal.BuildID, c *signoff.Draft) error {
	if err := settleStages(r, build, c); err != nil {
		return err
	}
	if c.StageID != "" {
		if err := bearable(r, build, *c, c.StageID, "stage"); err != nil {
			return err
		}
	}
	for i, l := range c.Lines {
		if l.StageID == c.StageID {
			c.Lines[i].StageID = ""
		} else if l.StageID != "" {
			if err := bearable(r, build, *c, l.StageID, fmt.Sprintf("lines.%d.stage", i)); err != nil {
				return err
			}
		}
		if l.Kind == journal.Labour {
			c.Lines[i].Amount = signoff.LabourAmount(l.Minutes, l.Rate)
		}
	}
	return fillHashes(r, build, c)
}

func fillHashes(r Reads, build journal.BuildID, c *signoff.Draft) error {
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
	return journal.Errorf(journal.Conflict, "This paper was %s by %s and can no longer be changed. For anything further, please begin a new one.", d.Outcome, d.TypedName)
}
