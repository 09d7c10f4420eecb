package flow

import (
	"context"
	"slices"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// JournalView is one page of a build's journal.
type JournalView struct {
	Build   journal.Build
	Stages  []journal.Stage
	Entries []journal.Entry // newest first
	Photos  map[journal.PhotoID]journal.Photo
	Authors map[journal.PersonID]string // names
	Next    EntryCursor                 // where the next page begins; zero when this is the last
}

// Entries of a journal page, when a query says nothing, and at most. A page that
// was asked for without a limit also ends with the entry that brings it to
// journalPhotos photos, so that it opens as quickly on a long build as on a
// short one.
const (
	journalPage    = 20
	maxJournalPage = 200
	journalPhotos  = 30
)

// JournalPage returns the entries that q asks for and the actor may see, with
// their photos. q.Staff is set here; q.Limit 0 is a page of 20. For anyone who
// may read the build; [journal.NotFound] otherwise.
func (s *Steps) JournalPage(ctx context.Context, a Actor, build journal.BuildID, q EntryQuery) (v JournalView, err error) {
	q.Staff = a.Person.Role.Staff()
	short := q.Limit <= 0
	if short {
		q.Limit = journalPage
	}
	q.Limit = min(q.Limit, maxJournalPage)
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Build, _, err = readable(r, a, build); err != nil {
			return err
		}
		if v.Stages, err = r.Stages(build); err != nil {
			return err
		}
		if v.Entries, err = journalEntries(r, build, q, short); err != nil {
			return err
		}
		end := min(len(v.Entries), q.Limit)
		if short {
			end = min(end, enoughPhotos(v.Entries))
		}
		if len(v.Entries) > end {
			v.Entries = v.Entries[:end]
			v.Next = placeOf(v.Entries[end-1])
		}
		var photos []journal.EntryPhoto
		v.Authors = map[journal.PersonID]string{}
		for _, e := range v.Entries {
			photos = append(photos, e.Photos...)
			if err := nameAll(r, v.Authors, []journal.PersonID{e.AuthorID}); err != nil {
				return err
			}
		}
		v.Photos, err = photosSeen(r, a, build, photos)
		return err
	})
	return v, err
}

// journalEntries reads a page's entries, and one more when there is one, to know
// whether a page follows. For a short page it reads a few at a time and stops
// when they have enough photos.
func journalEntries(r Reads, build journal.BuildID, q EntryQuery, short bool) (entries []journal.Entry, err error) {
	const few = 6
	for want := q.Limit + 1; len(entries) < want; {
		q.Limit = want - len(entries)
		if short {
			q.Limit = min(q.Limit, few)
		}
		more, err := r.Entries(build, q)
		entries = append(entries, more...)
		if err != nil || len(more) < q.Limit || short && enoughPhotos(entries) < len(entries) {
			return entries, err
		}
		q.Before = placeOf(entries[len(entries)-1])
	}
	return entries, nil
}

// enoughPhotos is how many of the entries it takes to reach journalPhotos
// photos; all when they have fewer.
func enoughPhotos(entries []journal.Entry) int {
	photos := 0
	for i, e := range entries {
		if photos += len(e.Photos); photos >= journalPhotos {
			return i + 1
		}
	}
	return len(entries)
}

// IsNew reports whether an entry is new to a reader since their last visit:
// for the shop by its posting, for the owner's side by when they could first
// see it. Nothing is new on a first visit, when since is zero.
func IsNew(e journal.Entry, since time.Time, staff bool) bool {
	at := e.SharedAt
	if staff {
		at = e.PostedAt
	}
	return !since.IsZero() && at.After(since)
}

// EntryView is everything an entry's page shows.
type EntryView struct {
	Build   journal.Build
	Stages  []journal.Stage
	Entry   journal.Entry
	History []journal.EntryEdit // oldest first; for the shop only
	Photos  map[journal.PhotoID]journal.Photo
	Names   map[journal.PersonID]string // author and editors
	MayEdit bool                        // whether the actor may edit or withdraw it
	// Belonging is what stands about a find that is somebody's property; nil when
	// nobody was asked.
	Belonging *BelongingView
	Uses      []signoff.Use // of the standing allowance, booked for it
	CanBook   bool          // the actor may book it on the standing allowance
}

// addFind adds what only a find has.
func (v *EntryView) addFind(r Reads, a Actor, member *journal.Member) (err error) {
	if v.Belonging, err = belongingOf(r, a, member, v.Build.ID, v.Entry.ID); err != nil {
		return err
	}
	uses, err := r.Uses(v.Build.ID)
	if err != nil {
		return err
	}
	for _, u := range uses {
		if u.EntryID == v.Entry.ID {
			v.Uses = append(v.Uses, u)
		}
	}
	_, inForce, err := absent(r.Allowance(v.Build.ID))
	v.CanBook = inForce && a.Person.Role == journal.Office && v.Entry.WithdrawnAt.IsZero()
	return err
}

// EntryShow returns one entry that the actor may see, for the shop with its
// history; [journal.NotFound] otherwise. The shop sees withdrawn ones too.
func (s *Steps) EntryShow(ctx context.Context, a Actor, build journal.BuildID, id journal.EntryID) (v EntryView, err error) {
	staff := a.Person.Role.Staff()
	err = s.Store.Read(ctx, func(r Reads) error {
		var member *journal.Member
		if v.Build, member, err = readable(r, a, build); err != nil {
			return err
		}
		if v.Entry, err = r.Entry(build, id); err != nil {
			return err
		}
		if !staff && !v.Entry.Visible(false) {
			return journal.Errorf(journal.NotFound, "There is no such entry.")
		}
		if v.Stages, err = r.Stages(build); err != nil {
			return err
		}
		if v.Entry.Kind == journal.KindFind {
			if err := v.addFind(r, a, member); err != nil {
				return err
			}
		}
		photos, people := v.Entry.Photos, []journal.PersonID{v.Entry.AuthorID}
		if staff {
			if v.History, err = r.EntryEdits(id); err != nil {
				return err
			}
			for _, edit := range v.History {
				photos, people = append(slices.Clip(photos), edit.Photos...), append(people, edit.ByID)
			}
		}
		v.Names = map[journal.PersonID]string{}
		if err := nameAll(r, v.Names, people); err != nil {
			return err
		}
		v.Photos, err = photosSeen(r, a, build, photos)
		return err
	})
	if err != nil {
		return EntryView{}, err
	}
	v.MayEdit = mayEdit(a, v.Entry) && v.Entry.WithdrawnAt.IsZero()
	return v, nil
}

func placeOf(e journal.Entry) EntryCursor { return EntryCursor{At: e.HappenedAt, ID: e.ID} }

// photosSeen reads photos as the actor may see them.
func photosSeen(r Reads, a Actor, build journal.BuildID, photos []journal.EntryPhoto) (map[journal.PhotoID]journal.Photo, error) {
	found, err := r.Photos(build, photoIDs(photos))
	if err != nil {
		return nil, err
	}
	for id, p := range found {
		found[id] = photoSeen(a, p)
	}
	return found, nil
}

// photoSeen is a photo as the actor may know it: outside the shop without its
// file name, camera and place.
func photoSeen(a Actor, p journal.Photo) journal.Photo {
	if !a.Person.Role.Staff() {
		p.FileName, p.Camera = "", ""
		p.Latitude, p.Longitude, p.Located = 0, 0, false
		if p.Fault != "" {
			p.Fault = "This photo cannot be shown." // what to do about it is the shop's
		}
	}
	return p
}
