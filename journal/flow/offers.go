package flow

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"slices"
	"time"

	"farbay/journal"
)

// EntryOffers are the photos that a form for an entry offers, with what is known
// of where they belong.
type EntryOffers struct {
	Loose  []journal.Photo                   // the actor's that are in no entry, oldest first
	Photos map[journal.PhotoID]journal.Photo // those asked for, and the loose ones
	// Stages are those that were under way when a photo was taken; a photo of
	// which that is not known has none.
	Stages map[journal.PhotoID]journal.StageID
	// Posted are loose photos that look like shots of the same moment as one
	// that an entry shows already.
	Posted map[journal.PhotoID]bool
}

// postedLook bounds the entries that loose photos are compared with.
const postedLook = 20

// EntryOffers gathers what a form for an entry offers: the chosen photos, as far
// as the build has them, and the actor's loose ones. Staff only.
func (s *Steps) EntryOffers(ctx context.Context, a Actor, build journal.BuildID, chosen []journal.PhotoID) (o EntryOffers, err error) {
	if err := asStaff(a); err != nil {
		return o, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		if o.Photos, err = r.Photos(build, chosen); err != nil {
			return err
		}
		if o.Loose, err = r.LoosePhotos(build, a.Person.ID); err != nil {
			return err
		}
		for _, p := range o.Loose {
			o.Photos[p.ID] = p
		}
		turns, err := r.Turns(build)
		if err != nil {
			return err
		}
		o.Stages = map[journal.PhotoID]journal.StageID{}
		for id, p := range o.Photos {
			if stage := journal.StageAt(turns, p.CapturedAt); p.Dated() && stage != "" {
				o.Stages[id] = stage
			}
		}
		o.Posted, err = likePosted(r, build, o.Loose)
		return err
	})
	return o, err
}

// likePosted finds the loose photos that are of the same burst as a posted one.
func likePosted(r Reads, build journal.BuildID, loose []journal.Photo) (map[journal.PhotoID]bool, error) {
	var latest time.Time
	for _, p := range loose {
		if p.Hash != "" && p.CapturedAt.After(latest) {
			latest = p.CapturedAt
		}
	}
	if latest.IsZero() {
		return nil, nil
	}
	// An entry is dated by the earliest of its photos, so it stands below them.
	near := EntryQuery{Staff: true, Limit: postedLook, Before: EntryCursor{At: latest.Add(journal.BurstGap + time.Second)}}
	entries, err := r.Entries(build, near)
	if err != nil {
		return nil, err
	}
	var shown []journal.PhotoID
	for _, e := range entries {
		shown = append(shown, photoIDs(e.Photos)...)
	}
	posted, err := r.Photos(build, shown)
	if err != nil {
		return nil, err
	}
	like := map[journal.PhotoID]bool{}
	for _, p := range loose {
		for _, q := range posted {
			if journal.SameBurst(p, q) {
				like[p.ID] = true
			}
		}
	}
	return like, nil
}

// SpreadOf says how an entry's photos would be divided over the stages that were
// under way when they were taken; see [journal.Spread]. Nothing is recorded. It
// is one share or none when there is nothing to divide, and none when the entry
// has been posted already. Errors as [Steps.PostEntry].
func (s *Steps) SpreadOf(ctx context.Context, a Actor, build journal.BuildID, n NewEntry) (shares []journal.StageShare, err error) {
	if err := asStaff(a); err != nil {
		return nil, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		e := s.newEntry(a, build, n)
		if _, sent, err := sentBefore(r, a, e); err != nil || sent {
			return err
		}
		shares, err = spreadOf(r, e)
		return err
	})
	return shares, err
}

func spreadOf(r Reads, e journal.Entry) ([]journal.StageShare, error) {
	photos, err := checkEntry(r, e)
	if err != nil {
		return nil, err
	}
	turns, err := r.Turns(e.BuildID)
	if err != nil {
		return nil, err
	}
	return journal.Spread(turns, e.StageID, e.Photos, photos), nil
}

// PostSpread posts an entry divided: one entry for each stage that was under way
// when its photos were taken, all with the same text, kind and audience, all or
// none. They are in the order of their first photos. The one in the chosen stage,
// or else the first, has the form's identifier; the others have identifiers made
// from it and their stage, so that sending the form twice posts each once: the
// second time those are returned that stand. Errors as [Steps.PostEntry].
func (s *Steps) PostSpread(ctx context.Context, a Actor, build journal.BuildID, n NewEntry) (posted []journal.Entry, err error) {
	if err := asStaff(a); err != nil {
		return nil, err
	}
	whole := s.newEntry(a, build, n)
	err = s.onBuild(ctx, a, build, func(tx Tx, _ journal.Build) error {
		posted = nil
		again, sent, err := sentBefore(tx, a, whole)
		if err != nil {
			return err
		}
		if sent {
			posted, err = sentWith(tx, a, again)
			return err
		}
		shares, err := spreadOf(tx, whole)
		if err != nil {
			return err
		}
		if len(shares) == 0 {
			shares = []journal.StageShare{{StageID: whole.StageID}}
		}
		first := max(0, slices.IndexFunc(shares, func(share journal.StageShare) bool { return share.StageID == whole.StageID }))
		for i, share := range shares {
			e := whole
			e.StageID, e.Photos = share.StageID, share.Photos
			if i != first {
				e.ID = SpreadID(whole.ID, share.StageID)
			}
			if e, err = s.postEntry(tx, a, e); err != nil {
				return err
			}
			posted = append(posted, e)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return posted, nil
}

// SpreadID is the identifier of the part of a divided entry that goes to a stage:
// the first 32 digits of the SHA-256, in lower-case hex, of the form's
// identifier, a slash and the stage's, as "printf %s/%s FORM STAGE | sha256sum"
// prints it.
func SpreadID(form journal.EntryID, stage journal.StageID) journal.EntryID {
	sum := sha256.Sum256([]byte(string(form) + "/" + string(stage)))
	return journal.EntryID(hex.EncodeToString(sum[:])[:32])
}

// sentWith returns a posted entry and the other parts that it was divided into,
// in the order of stages.
func sentWith(r Reads, a Actor, e journal.Entry) ([]journal.Entry, error) {
	all := []journal.Entry{e}
	stages, err := r.Stages(e.BuildID)
	if err != nil {
		return nil, err
	}
	for _, st := range stages {
		part := e
		part.ID = SpreadID(e.ID, st.ID)
		part, sent, err := sentBefore(r, a, part)
		if err != nil {
			return nil, err
		}
		if sent {
			all = append(all, part)
		}
	}
	return all, nil
}

// KeepOfBurst keeps one shot of a burst in an entry and takes the others out; they
// stay stored, and the entry's history keeps where they were. When the kept one
// has no caption it gets the first that another had. version is the entry's as
// read. It returns how many were taken out.
//
// It returns [journal.Conflict] when the photo is no longer one of a burst there;
// otherwise the errors of [Steps.EditEntry].
func (s *Steps) KeepOfBurst(ctx context.Context, a Actor, build journal.BuildID, id journal.EntryID, version int, keep journal.PhotoID) (out int, err error) {
	err = s.changeEntry(ctx, a, build, id, version, func(tx Tx, was journal.Entry) (string, error) {
		photos, err := tx.Photos(build, photoIDs(was.Photos))
		if err != nil {
			return "", err
		}
		others := burstWith(photos, keep)
		if len(others) == 0 {
			return "", journal.Errorf(journal.Conflict, "This photo is not one of several that look alike in this entry. Please look at the entry again.")
		}
		e := was
		e.Photos = nil
		caption := ""
		for _, p := range was.Photos {
			if !others[p.PhotoID] {
				e.Photos = append(e.Photos, p)
			} else if caption == "" {
				caption = p.Caption
			}
		}
		for i, p := range e.Photos {
			if p.PhotoID == keep && p.Caption == "" {
				e.Photos[i].Caption = caption
			}
		}
		out = len(others)
		return "photos taken out", s.saveMoved(tx, a, e, was)
	})
	return out, err
}

// burstWith are the other photos of the burst that a photo is in.
func burstWith(photos map[journal.PhotoID]journal.Photo, keep journal.PhotoID) map[journal.PhotoID]bool {
	all := make([]journal.Photo, 0, len(photos))
	for _, p := range photos {
		all = append(all, p)
	}
	others := map[journal.PhotoID]bool{}
	for _, group := range journal.Bursts(all) {
		if !slices.ContainsFunc(group, func(p journal.Photo) bool { return p.ID == keep }) {
			continue
		}
		for _, p := range group {
			if p.ID != keep {
				others[p.ID] = true
			}
		}
	}
	return others
}
