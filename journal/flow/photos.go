package flow

import (
	"context"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"farbay/journal"
)

// RecordPhoto records an original that is safely stored, and queues the making
// of its sizes, in one transaction. Of p all that is known of the file is
// taken; ID, build, who posts it and state are set here, ReceivedAt if it is
// zero. A capture time before the truck arrived is marked as doubtful; what the
// file claims is kept, and the corrections of its camera's clock are applied.
//
// The same file twice in a build is one photo: duplicate is true and the
// earlier one is returned, as it is. Staff only.
func (s *Steps) RecordPhoto(ctx context.Context, a Actor, build journal.BuildID, p journal.Photo) (photo journal.Photo, duplicate bool, err error) {
	if err := asStaff(a); err != nil {
		return journal.Photo{}, false, err
	}
	p.ID, p.BuildID, p.ByID = journal.PhotoID(s.NewID()), build, a.Person.ID
	p.State, p.Fault, p.Tone, p.Hash, p.Preview = journal.PhotoPending, "", "", "", nil
	p.Layer, p.HandedOutAt, p.HandedOutBy = journal.Layer{}, time.Time{}, ""
	if p.ReceivedAt.IsZero() {
		p.ReceivedAt = s.at()
	}
	if p.CapturedAt.IsZero() {
		p.CapturedAt = p.ReceivedAt
	}
	err = s.onBuild(ctx, a, build, func(tx Tx, b journal.Build) error {
		photo, duplicate, err = absent(tx.PhotoBySHA(build, p.SHA256))
		if err != nil || duplicate {
			return err
		}
		shop, err := tx.Shop()
		if err != nil {
			return err
		}
		corrections, err := tx.CorrectionsOf(p.Camera)
		if err != nil {
			return err
		}
		photo = p
		photo.ClaimedAt, photo.ClaimedDoubt = p.CapturedAt, doubtOf(p, b, shop)
		photo = photo.Corrected(corrections, func(at time.Time) string { return doubtOfCorrected(photo, at, b, shop) })
		if err := tx.AddPhoto(photo); err != nil {
			return err
		}
		return tx.AddJob(journal.JobDerive, deriveSubject(photo), s.at())
	})
	if err != nil {
		return journal.Photo{}, false, err
	}
	return photo, duplicate, nil
}

// doubtOf adds the doubt that only the build can raise to those of the file.
func doubtOf(p journal.Photo, b journal.Build, shop journal.Shop) string {
	if p.CapturedDoubt == "" && beforeArrival(p.CapturedAt, b, shop) {
		return fmt.Sprintf("The camera says %s, and the truck arrived on %s.", journal.DateOf(p.CapturedAt, shop.Location()), b.ArrivedOn)
	}
	return p.CapturedDoubt
}

// doubtOfCorrected says what speaks against a capture time as corrected.
func doubtOfCorrected(p journal.Photo, at time.Time, b journal.Build, shop journal.Shop) string {
	switch {
	case at.After(p.ReceivedAt.Add(2 * time.Minute)):
		return "As corrected, this photo would have been taken after it was received."
	case beforeArrival(at, b, shop):
		return fmt.Sprintf("As corrected, this photo was taken on %s, and the truck arrived on %s.", journal.DateOf(at, shop.Location()), b.ArrivedOn)
	}
	return ""
}

func beforeArrival(at time.Time, b journal.Build, shop journal.Shop) bool {
	return !b.ArrivedOn.IsZero() && journal.DateOf(at, shop.Location()) < b.ArrivedOn
}

// deriveSubject names a photo to the worker, and, unless it is the plain one,
// the layer whose view it is about, by number: "build/photo/3". Ids have no
// slash.
func deriveSubject(p journal.Photo) string {
	subject := string(p.BuildID) + "/" + string(p.ID)
	if !p.Layer.Plain() {
		subject += "/" + strconv.Itoa(p.Layer.Number)
	}
	return subject
}

// PhotoOfJob returns the photo that a [journal.JobDerive] job is about, with the
// layer whose view it is to make, which may be another than the one in force:
// so each view that was ever set is made, also one that a paper has frozen
// since. For the worker; it returns [journal.NotFound] when there is no such
// photo.
func (s *Steps) PhotoOfJob(ctx context.Context, subject string) (p journal.Photo, err error) {
	build, rest, _ := strings.Cut(subject, "/")
	id, number, layered := strings.Cut(rest, "/")
	err = s.Store.Read(ctx, func(r Reads) error {
		if p, err = r.Photo(journal.BuildID(build), journal.PhotoID(id)); err != nil {
			return err
		}
		p.Layer = journal.Layer{}
		if !layered {
			return nil
		}
		n, err := strconv.Atoi(number)
		if err != nil {
			return journal.Errorf(journal.NotFound, "There is no such layer.")
		}
		p.Layer, err = layerNumbered(r, p, n)
		return err
	})
	return p, err
}

// PhotoDerived records that all sizes of a view of a photo are stored: of p its
// build, id, layer, upright width and height in pixels, tone, hash and preview
// are taken. Tone and preview are the view's, and only kept while it is in force;
// the hash is that of the whole photo. For the worker; doing it twice does no
// harm.
func (s *Steps) PhotoDerived(ctx context.Context, p journal.Photo) error {
	return s.settlePhoto(ctx, p, func(now *journal.Photo) {
		now.Width, now.Height = p.Width, p.Height
		if p.Layer.Plain() {
			now.Hash = p.Hash
		}
		if now.Layer.View() == p.Layer.View() {
			now.State, now.Fault, now.Tone, now.Preview = journal.PhotoReady, "", p.Tone, p.Preview
		}
	})
}

// PhotoFailed records that no sizes can be made of the view of a photo that is
// in force, and why, in a sentence for the shop. Its original stays. For the
// worker.
func (s *Steps) PhotoFailed(ctx context.Context, p journal.Photo, fault string) error {
	return s.settlePhoto(ctx, p, func(now *journal.Photo) {
		if now.Layer.View() == p.Layer.View() {
			now.State, now.Fault = journal.PhotoFailed, fault
		}
	})
}

func (s *Steps) settlePhoto(ctx context.Context, p journal.Photo, change func(*journal.Photo)) error {
	return s.write(ctx, func(tx Tx) error {
		now, err := tx.Photo(p.BuildID, p.ID)
		if err != nil {
			return err
		}
		change(&now)
		return tx.SavePhoto(now)
	})
}

// PhotoPlace is a photo as it stands in one entry.
type PhotoPlace struct {
	EntryID journal.EntryID
	PhotoID journal.PhotoID
}

// PhotoView is everything a photo's page shows.
type PhotoView struct {
	Build   journal.Build
	Stages  []journal.Stage
	Photo   journal.Photo
	By      string          // who posted it
	Entries []journal.Entry // those that show it and the actor may see, newest first
	In      journal.Entry   // the entry it is seen in; zero when it is in none
	Caption string          // in that entry
	MayMark bool            // whether the actor may set its layer
	// The photos before and after it in the journal's order, newest first; nil
	// at either end, and for a photo in no entry.
	Prev, Next *PhotoPlace
}

// PhotoShow returns a photo that the actor may see, as it stands in the entry
// in, or in the newest that shows it when in is "" or does not. For an owner
// that is a photo of a shared entry, or one shown in a sent paper;
// [journal.NotFound] otherwise.
func (s *Steps) PhotoShow(ctx context.Context, a Actor, build journal.BuildID, id journal.PhotoID, in journal.EntryID) (v PhotoView, err error) {
	staff := a.Person.Role.Staff()
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Build, _, err = readable(r, a, build); err != nil {
			return err
		}
		if v.Photo, err = photoAllowed(r, a, build, id); err != nil {
			return err
		}
		if v.Stages, err = r.Stages(build); err != nil {
			return err
		}
		by := map[journal.PersonID]string{}
		if err := nameAll(r, by, []journal.PersonID{v.Photo.ByID}); err != nil {
			return err
		}
		v.By = by[v.Photo.ByID]
		entries, err := r.EntriesOfPhoto(build, id)
		if err != nil {
			return err
		}
		v.MayMark = mayMark(a, v.Photo, entries) && markable(v.Photo) == nil
		for _, e := range entries {
			if !e.Visible(staff) {
				continue
			}
			v.Entries = append(v.Entries, e)
			if v.In.ID == "" || e.ID == in {
				v.In = e
			}
		}
		if v.In.ID == "" {
			return nil
		}
		return v.leaf(r, staff)
	})
	if err != nil {
		return PhotoView{}, err
	}
	v.Photo = photoSeen(a, v.Photo)
	return v, nil
}

// leaf finds the photo's caption and neighbours.
func (v *PhotoView) leaf(r Reads, staff bool) error {
	photos := v.In.Photos
	i := slices.IndexFunc(photos, func(p journal.EntryPhoto) bool { return p.PhotoID == v.Photo.ID })
	if i < 0 {
		return fmt.Errorf("flow: entry %s does not list photo %s", v.In.ID, v.Photo.ID)
	}
	v.Caption = photos[i].Caption
	if i > 0 {
		v.Prev = &PhotoPlace{v.In.ID, photos[i-1].PhotoID}
	} else {
		e, found, err := absent(r.EntryBeside(v.Build.ID, placeOf(v.In), true, staff))
		if err != nil {
			return err
		}
		if found {
			v.Prev = &PhotoPlace{e.ID, e.Photos[len(e.Photos)-1].PhotoID}
		}
	}
	if i < len(photos)-1 {
		v.Next = &PhotoPlace{v.In.ID, photos[i+1].PhotoID}
		return nil
	}
	e, found, err := absent(r.EntryBeside(v.Build.ID, placeOf(v.In), false, staff))
	if err != nil {
		return err
	}
	if found {
		v.Next = &PhotoPlace{e.ID, e.Photos[0].PhotoID}
	}
	return nil
}

// PhotoFileAllowed returns the photo if the actor may have its derivatives,
// quickly, for requests for images; [journal.NotFound] otherwise.
func (s *Steps) PhotoFileAllowed(ctx context.Context, a Actor, build journal.BuildID, id journal.PhotoID) (p journal.Photo, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		p, err = photoAllowed(r, a, build, id)
		return err
	})
	return photoSeen(a, p), err
}

// photoAllowed returns a photo of a build that the actor may read, if they may
// see the photo too.
func photoAllowed(r Reads, a Actor, build journal.BuildID, id journal.PhotoID) (journal.Photo, error) {
	p, err := r.Photo(build, id)
	if err != nil || a.Person.Role.Staff() {
		return p, err
	}
	shared, err := r.PhotoShared(build, id)
	if err != nil {
		return journal.Photo{}, err
	}
	if !shared {
		return journal.Photo{}, journal.Errorf(journal.NotFound, "There is no such photo.")
	}
	return p, nil
}

// LoosePhotos returns the photos that the actor has uploaded to a build and put
// into no entry yet, oldest first. Staff only.
func (s *Steps) LoosePhotos(ctx context.Context, a Actor, build journal.BuildID) (photos []journal.Photo, err error) {
	if err := asStaff(a); err != nil {
		return nil, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		photos, err = r.LoosePhotos(build, a.Person.ID)
		return err
	})
	return photos, err
}

// PhotosOf returns photos of a build by id, for the shop; ids it does not have
// are left out.
func (s *Steps) PhotosOf(ctx context.Context, a Actor, build journal.BuildID, ids []journal.PhotoID) (photos map[journal.PhotoID]journal.Photo, err error) {
	if err := asStaff(a); err != nil {
		return nil, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		photos, err = r.Photos(build, ids)
		return err
	})
	return photos, err
}

// StagePhotosOf returns photos of a stage's standing entries in the order of
// capture, at most limit, as the actor may see them.
func (s *Steps) StagePhotosOf(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID, limit int) (photos []journal.Photo, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		photos, err = r.StagePhotos(build, stage, a.Person.Role.Staff(), limit)
		return err
	})
	for i := range photos {
		photos[i] = photoSeen(a, photos[i])
	}
	return photos, err
}
