package flow

import (
	"context"
	"time"

	"farbay/journal"
)

// HandOut lets the owner's side have the original of a photo, which tells where
// and with what it was taken, or takes that back. Whoever has saved it has it.
// Doing it twice changes nothing. Office only.
func (s *Steps) HandOut(ctx context.Context, a Actor, build journal.BuildID, id journal.PhotoID, give bool) error {
	return s.asOfficeOn(ctx, a, build, func(tx Tx, _ journal.Build) error {
		p, err := tx.Photo(build, id)
		if err != nil || give == !p.HandedOutAt.IsZero() {
			return err
		}
		kind := "original taken back"
		p.HandedOutAt, p.HandedOutBy = time.Time{}, ""
		if give {
			kind = "original handed out"
			p.HandedOutAt, p.HandedOutBy = s.at(), a.Person.ID
		}
		if err := tx.SavePhotoHandedOut(p); err != nil {
			return err
		}
		return s.record(tx, a, build, kind, string(id), map[string]any{"sha256": p.SHA256})
	})
}

// PhotoOriginalAllowed returns the photo if the actor may have its original,
// which tells where and with what it was taken: the shop always, the owner's
// side when the office has handed it out, and then only while the photo is not
// cropped. [journal.Forbidden] otherwise, [journal.NotFound] for a photo that the
// actor may not see.
func (s *Steps) PhotoOriginalAllowed(ctx context.Context, a Actor, build journal.BuildID, id journal.PhotoID) (journal.Photo, error) {
	p, err := s.PhotoFileAllowed(ctx, a, build, id)
	switch {
	case err != nil:
		return journal.Photo{}, err
	case a.Person.Role.Staff():
		return p, asStaff(a)
	case p.HandedOutAt.IsZero():
		return journal.Photo{}, journal.Errorf(journal.Forbidden, "The shop keeps the originals of photos. Please ask the office if you need this one; the photo itself can be saved from its page.")
	case p.Layer.Crop != (journal.Crop{}):
		return journal.Photo{}, journal.Errorf(journal.Forbidden, "The shop shows only a part of this photo, so its original is not handed out.")
	}
	return p, nil
}
