package flow

import (
	"context"
	"slices"
	"strings"
	"time"

	"farbay/journal"
)

// NewEntry is what somebody posts to a build's journal.
type NewEntry struct {
	// ID is made with the form, so that sending it twice posts one entry: 16 to
	// 64 letters, digits, "-" and "_". For any other, one is made here.
	ID       journal.EntryID
	StageID  journal.StageID
	Kind     journal.EntryKind
	Audience journal.Audience
	Text     string
	Photos   []journal.EntryPhoto // of this build, in order; at most [journal.MaxEntryPhotos]
}

// PostEntry posts an entry. It is dated by the earliest of its photos whose
// capture time was read from the file and is not doubtful, else by the posting.
// Staff only.
//
// It returns [journal.Invalid] beside text, stage, kind, audience and photos,
// and [journal.NotFound] when there is no such build.
func (s *Steps) PostEntry(ctx context.Context, a Actor, build journal.BuildID, n NewEntry) (e journal.Entry, err error) {
	if err := asStaff(a); err != nil {
		return journal.Entry{}, err
	}
	e = s.newEntry(a, build, n)
	err = s.onBuild(ctx, a, build, func(tx Tx, _ journal.Build) error {
		again, sent, err := sentBefore(tx, a, e)
		if err != nil {
			return err
		}
		if sent {
			e = again // the form came a second time
			return nil
		}
		e, err = s.postEntry(tx, a, e)
		return err
	})
	if err != nil {
		return journal.Entry{}, err
	}
	return e, nil
}

// newEntry is what n becomes when it is posted now by the actor.
func (s *Steps) newEntry(a Actor, build journal.BuildID, n NewEntry) journal.Entry {
	e := journal.Entry{
		ID: n.ID, BuildID: build, StageID: n.StageID, AuthorID: a.Person.ID,
		Kind: n.Kind, Audience: n.Audience, Text: journal.CleanText(n.Text), Photos: cleanCaptions(n.Photos),
		PostedAt: s.at(), Version: firstVersion,
	}
	if !isFormID(string(e.ID)) {
		e.ID = journal.EntryID(s.NewID())
	}
	if e.Audience == journal.OwnerToo {
		e.SharedAt = e.PostedAt
	}
	return e
}

// sentBefore returns the entry that the actor posted under the same id.
func sentBefore(r Reads, a Actor, e journal.Entry) (again journal.Entry, sent bool, err error) {
	again, sent, err = absent(r.Entry(e.BuildID, e.ID))
	return again, sent && again.AuthorID == a.Person.ID, err
}

// postEntry checks an entry, dates it by its photos, and adds and records it.
func (s *Steps) postEntry(tx Tx, a Actor, e journal.Entry) (journal.Entry, error) {
	photos, err := checkEntry(tx, e)
	if err != nil {
		return e, err
	}
	e.HappenedAt = happenedAt(photos, e.PostedAt)
	if err := tx.AddEntry(e); err != nil {
		return e, err
	}
	return e, s.record(tx, a, e.BuildID, "entry posted", string(e.ID), entryDetail(e))
}

// Identifiers that come with a form have at least and at most so many bytes.
const (
	minFormID = 16
	maxFormID = 64
)

// isFormID reports whether an identifier that came with a form can be used in
// addresses and is long enough not to be met by chance.
func isFormID(id string) bool {
	fit := func(c rune) bool {
		return 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || '0' <= c && c <= '9' || c == '-' || c == '_'
	}
	return len(id) >= minFormID && len(id) <= maxFormID && !strings.ContainsFunc(id, func(c rune) bool { return !fit(c) })
}

// EntryChange is an edit of an entry.
type EntryChange struct {
	Version int // as read
	NewEntry
	// Known are the photos that the entry had when the edit was begun. Those
	// that came to it since stay in it, behind those listed. Nil: no photo is
	// to stay but those listed.
	Known []journal.PhotoID
}

// photos are those the entry has after the edit.
func (c EntryChange) photos(was journal.Entry) []journal.EntryPhoto {
	photos := cleanCaptions(c.Photos)
	if c.Known == nil {
		return photos
	}
	for _, p := range was.Photos {
		if !slices.Contains(c.Known, p.PhotoID) && !has(photos, p.PhotoID) {
			photos = append(photos, p)
		}
	}
	return photos
}

func has(photos []journal.EntryPhoto, id journal.PhotoID) bool {
	return slices.ContainsFunc(photos, func(p journal.EntryPhoto) bool { return p.PhotoID == id })
}

// EditEntry stores an edit and keeps what it replaced. Moving an entry back to
// shop only hides it, and those of its photos that are in no sent paper, from
// the owner; when they first saw it stays on record. Other photos date it anew. An
// edit that changes nothing is none. The floor edits its own entries, the office
// all.
//
// It returns the errors of [Steps.PostEntry], [journal.Forbidden] for somebody
// else's entry, and [journal.Conflict] when it was changed or withdrawn
// meanwhile.
func (s *Steps) EditEntry(ctx context.Context, a Actor, build journal.BuildID, id journal.EntryID, c EntryChange) (e journal.Entry, err error) {
	err = s.changeEntry(ctx, a, build, id, c.Version, func(tx Tx, was journal.Entry) (string, error) {
		e = was
		e.StageID, e.Kind, e.Audience = c.StageID, c.Kind, c.Audience
		e.Text, e.Photos = journal.CleanText(c.Text), c.photos(was)
		photos, err := checkEntry(tx, e)
		if err != nil {
			return "", err
		}
		if sameEntry(e, was) {
			return "", nil
		}
		if !slices.Equal(photoIDs(e.Photos), photoIDs(was.Photos)) {
			e.HappenedAt = happenedAt(photos, e.PostedAt)
		}
		e.EditedAt = s.at()
		if e.Audience == journal.OwnerToo && e.SharedAt.IsZero() {
			e.SharedAt = e.EditedAt
		}
		if err := tx.SaveEntry(e, s.replaced(a, was)); err != nil {
			return "", err
		}
		e.Version++
		return "entry edited", nil
	})
	if err != nil {
		return journal.Entry{}, err
	}
	return e, nil
}

// WithdrawEntry takes an entry out of the journal, with a reason; it and its
// history stay on record for the shop. The floor withdraws its own entries, the
// office all.
//
// It returns [journal.Invalid] beside reason; otherwise the errors of
// [Steps.EditEntry].
func (s *Steps) WithdrawEntry(ctx context.Context, a Actor, build journal.BuildID, id journal.EntryID, version int, reason string) error {
	reason = journal.CleanLine(reason)
	return s.changeEntry(ctx, a, build, id, version, func(tx Tx, e journal.Entry) (string, error) {
		bad := journal.Problems{}
		journal.CheckLine(bad, "reason", reason, 1, 300, "Please say why it is withdrawn, in one line of at most 300 characters.")
		if err := bad.Err(); err != nil {
			return "", err
		}
		was := e
		e.WithdrawnAt, e.WithdrawnWhy = s.at(), reason
		return "entry withdrawn", tx.SaveEntry(e, s.replaced(a, was))
	})
}

// changeEntry lets f change a standing entry that the actor may edit. f returns
// the kind of event to record, or "" when nothing changed.
func (s *Steps) changeEntry(ctx context.Context, a Actor, build journal.BuildID, id journal.EntryID, version int,
	f func(Tx, journal.Entry) (kind string, err error)) error {
	if err := asStaff(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		was, err := editable(tx, a, build, id)
		if err != nil {
			return err
		}
		if was.Version != version {
			return changedMeanwhile("entry")
		}
		kind, err := f(tx, was)
		if err != nil || kind == "" {
			return err
		}
		now, err := tx.Entry(build, id)
		if err != nil {
			return err
		}
		return s.record(tx, a, build, kind, string(id), entryDetail(now))
	})
}

// editable returns a standing entry if the actor may edit it.
func editable(r Reads, a Actor, build journal.BuildID, id journal.EntryID) (journal.Entry, error) {
	if _, _, err := readable(r, a, build); err != nil {
		return journal.Entry{}, err
	}
	e, err := r.Entry(build, id)
	if err != nil {
		return journal.Entry{}, err
	}
	if !mayEdit(a, e) {
		return journal.Entry{}, journal.Errorf(journal.Forbidden, "Only whoever posted this entry, or the office, can change it.")
	}
	if !e.WithdrawnAt.IsZero() {
		return journal.Entry{}, journal.Errorf(journal.Conflict, "This entry was withdrawn and can no longer be changed. Please post a new one.")
	}
	return e, nil
}

func mayEdit(a Actor, e journal.Entry) bool {
	return a.Person.Active() && (a.Person.Role == journal.Office || a.Person.Role == journal.Floor && e.AuthorID == a.Person.ID)
}

// AppendPhotos adds photos that arrive after their entry was posted, at its
// end; those it has already are left out. One that was taken earlier than the
// others dates the entry anew, so that the journal's order does not depend on
// the order of arrival. It is no edit. The floor adds to its own entries, the
// office to all.
//
// It returns [journal.Invalid] beside photos when one is not of this build, a
// caption is too long, or there would be more than [journal.MaxEntryPhotos].
func (s *Steps) AppendPhotos(ctx context.Context, a Actor, build journal.BuildID, id journal.EntryID, photos []journal.EntryPhoto) error {
	if err := asStaff(a); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		e, err := editable(tx, a, build, id)
		if err != nil {
			return err
		}
		var added []journal.EntryPhoto
		for _, p := range cleanCaptions(photos) {
			if !has(e.Photos, p.PhotoID) {
				e.Photos, added = append(e.Photos, p), append(added, p)
			}
		}
		if len(added) == 0 {
			return nil
		}
		known, err := checkEntry(tx, e)
		if err != nil {
			return err
		}
		if err := tx.AppendPhotos(build, id, added); err != nil {
			return err
		}
		if at := happenedAt(known, e.PostedAt); at.Before(e.HappenedAt) {
			if err := tx.DateEntry(build, id, at); err != nil {
				return err
			}
		}
		return s.record(tx, a, build, "photos added", string(id), map[string]any{"photos": len(added)})
	})
}

// checkEntry checks an entry's fields, that its stage and photos are of its
// build, and returns the photos.
func checkEntry(r Reads, e journal.Entry) (map[journal.PhotoID]journal.Photo, error) {
	bad := journal.ProblemsOf(e.Validate())
	if _, taken := bad["stage"]; !taken {
		_, found, err := absent(r.Stage(e.BuildID, e.StageID))
		if err != nil {
			return nil, err
		}
		if !found {
			bad.Add("stage", "Please choose a stage of this build.")
		}
	}
	// An absurdly long list has been refused already; it is not looked up.
	if err := bad.Err(); err != nil {
		return nil, err
	}
	photos, err := r.Photos(e.BuildID, photoIDs(e.Photos))
	if err != nil {
		return nil, err
	}
	for _, p := range e.Photos {
		if _, found := photos[p.PhotoID]; !found {
			bad.Add("photos", "One of the photos is not of this build. Please choose the photos again.")
		}
	}
	return photos, bad.Err()
}

// happenedAt is the earliest capture time that a camera gave and nothing speaks
// against, else the time of posting.
func happenedAt(photos map[journal.PhotoID]journal.Photo, posted time.Time) time.Time {
	at := posted
	for _, p := range photos {
		if p.Dated() && p.CapturedAt.Before(at) {
			at = p.CapturedAt
		}
	}
	return at
}

// replaced is the history line of an entry that is about to be replaced.
func (s *Steps) replaced(a Actor, was journal.Entry) journal.EntryEdit {
	return journal.EntryEdit{
		EntryID: was.ID, Version: was.Version, Kind: was.Kind, Audience: was.Audience, StageID: was.StageID,
		Text: was.Text, Photos: was.Photos, ByID: a.Person.ID, At: s.at(),
	}
}

func sameEntry(a, b journal.Entry) bool {
	return a.StageID == b.StageID && a.Kind == b.Kind && a.Audience == b.Audience && a.Text == b.Text &&
		slices.Equal(a.Photos, b.Photos)
}

func cleanCaptions(photos []journal.EntryPhoto) []journal.EntryPhoto {
	clean := make([]journal.EntryPhoto, 0, len(photos))
	for _, p := range photos {
		clean = append(clean, journal.EntryPhoto{PhotoID: p.PhotoID, Caption: journal.CleanLine(p.Caption)})
	}
	return clean
}

func photoIDs(photos []journal.EntryPhoto) []journal.PhotoID {
	ids := make([]journal.PhotoID, 0, len(photos))
	for _, p := range photos {
		ids = append(ids, p.PhotoID)
	}
	return ids
}

// entryDetail is what an event keeps of an entry; its text stays in the entry
// and its history.
func entryDetail(e journal.Entry) map[string]any {
	return map[string]any{
		"stage": string(e.StageID), "kind": string(e.Kind), "audience": string(e.Audience),
		"photos": len(e.Photos), "version": e.Version, "withdrawn_why": e.WithdrawnWhy,
	}
}
