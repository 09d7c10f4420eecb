package flow

import (
	"context"

	"farbay/journal"
)

// ContactSheet is every photo of a stage that the actor may see.
type ContactSheet struct {
	Build  journal.Build
	Stage  journal.Stage
	Shop   journal.Shop
	Photos []ContactPhoto // in the order of capture
}

// ContactPhoto is one of them, with its caption in the first entry of the stage
// that shows it and the actor may see. One that was withdrawn does not count.
type ContactPhoto struct {
	Photo   journal.Photo
	EntryID journal.EntryID
	Caption string
}

// ContactSheet returns all photos of a stage. For anyone who may read the build;
// [journal.NotFound] otherwise.
func (s *Steps) ContactSheet(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID) (v ContactSheet, err error) {
	staff := a.Person.Role.Staff()
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Build, _, err = readable(r, a, build); err != nil {
			return err
		}
		if v.Stage, err = r.Stage(build, stage); err != nil {
			return err
		}
		if v.Shop, err = r.Shop(); err != nil {
			return err
		}
		photos, err := r.StagePhotos(build, stage, staff, 0)
		if err != nil {
			return err
		}
		places, err := firstPlaces(r, build, stage, staff)
		if err != nil {
			return err
		}
		v.Photos = make([]ContactPhoto, len(photos))
		for i, p := range photos {
			v.Photos[i] = places[p.ID]
			v.Photos[i].Photo = photoSeen(a, p)
		}
		return nil
	})
	if err != nil {
		return ContactSheet{}, err
	}
	return v, nil
}

// firstPlaces finds the earliest standing entry of the stage for each photo.
func firstPlaces(r Reads, build journal.BuildID, stage journal.StageID, staff bool) (map[journal.PhotoID]ContactPhoto, error) {
	places := map[journal.PhotoID]ContactPhoto{}
	q := EntryQuery{StageID: stage, Staff: staff, Limit: maxJournalPage}
	for {
		entries, err := r.Entries(build, q)
		if err != nil {
			return nil, err
		}
		for _, e := range entries { // the newest first, so that the earliest is left
			if !e.WithdrawnAt.IsZero() {
				continue
			}
			for _, p := range e.Photos {
				places[p.PhotoID] = ContactPhoto{EntryID: e.ID, Caption: p.Caption}
			}
		}
		if len(entries) < q.Limit {
			return places, nil
		}
		q.Before = placeOf(entries[len(entries)-1])
	}
}

// StagePhotosSize returns how many photos of a stage the actor may see, and the
// bytes of their originals. For anyone who may read the build;
// [journal.NotFound] otherwise.
func (s *Steps) StagePhotosSize(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID) (photos int, bytes int64, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		if _, err := r.Stage(build, stage); err != nil {
			return err
		}
		photos, bytes, err = r.StagePhotosSize(build, stage, a.Person.Role.Staff())
		return err
	})
	return photos, bytes, err
}
