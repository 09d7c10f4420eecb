package flow

import (
	"context"
	"fmt"
	"slices"
	"time"

	"farbay/journal"
)

// PhotoMove takes photos out of one entry and puts them into another of the same
// build.
type PhotoMove struct {
	From    journal.EntryID
	Version int // of From, as read
	Photos  []journal.PhotoID
	To      journal.EntryID // "" for a new entry in StageID
	StageID journal.StageID
	// Show lets the owner see photos that were for the shop only.
	Show bool
}

// MovePhotos moves photos between entries, with their captions, and keeps what
// both entries were. A photo that is in the other entry already is only taken
// out. A new entry is a part of the old one: it has its author, kind, audience and
// times, and no text. An old one that has neither text nor photos left is
// withdrawn. Both are dated anew by their photos. Papers are not touched: what
// was sent keeps its photos, and so does the owner's sight of them. The floor
// moves between its own entries, the office between all.
//
// It returns the entry that the photos are in now; [journal.Invalid] beside
// photos, to, stage, and show (when the owner would see what was for the shop
// only); [journal.Forbidden] for somebody else's entry; [journal.Conflict] when
// either was withdrawn, or the first changed meanwhile.
func (s *Steps) MovePhotos(ctx context.Context, a Actor, build journal.BuildID, m PhotoMove) (to journal.Entry, err error) {
	err = s.changeEntry(ctx, a, build, m.From, m.Version, func(tx Tx, was journal.Entry) (string, error) {
		from := was
		var moved []journal.EntryPhoto
		from.Photos = nil
		for _, p := range was.Photos {
			if slices.Contains(m.Photos, p.PhotoID) {
				moved = append(moved, p)
			} else {
				from.Photos = append(from.Photos, p)
			}
		}
		bad := journal.Problems{}
		if len(moved) == 0 || len(moved) < len(m.Photos) {
			bad.Add("photos", "Please choose photos of this entry.")
		}
		if m.To == m.From {
			bad.Add("to", "Please choose another entry.")
		}
		if err := bad.Err(); err != nil {
			return "", err
		}
		hidden, err := hiddenPhotos(tx, build, moved)
		if err != nil {
			return "", err
		}
		if to, err = s.putInto(tx, a, was, m, moved); err != nil {
			return "", err
		}
		if hidden > 0 && to.Audience == journal.OwnerToo && !m.Show {
			bad.Add("show", "The owner sees that entry, and %s for the shop only until now. Please tick that the owner may see them.",
				plural(hidden, "photo was", "photos were"))
			return "", bad.Err()
		}
		if from.Text == "" && len(from.Photos) == 0 {
			from.WithdrawnAt, from.WithdrawnWhy = s.at(), "All its photos were moved to another entry."
		}
		return "photos moved", s.saveMoved(tx, a, from, was)
	})
	if err != nil {
		return journal.Entry{}, err
	}
	return to, nil
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// hiddenPhotos counts the photos that the owner's side cannot see.
func hiddenPhotos(r Reads, build journal.BuildID, photos []journal.EntryPhoto) (n int, err error) {
	for _, p := range photos {
		shared, err := r.PhotoShared(build, p.PhotoID)
		if err != nil {
			return n, err
		}
		if !shared {
			n++
		}
	}
	return n, nil
}

// putInto puts moved photos into the entry that a move names, or into a new one,
// and returns it as it is then. A new one begins without photos, so that its
// history tells when they came and by whom.
func (s *Steps) putInto(tx Tx, a Actor, from journal.Entry, m PhotoMove, moved []journal.EntryPhoto) (journal.Entry, error) {
	was, err := moveTarget(tx, s.NewID, a, from, m)
	if err != nil {
		return was, err
	}
	to := was
	to.Photos = slices.Clone(was.Photos)
	for _, p := range moved {
		if !has(to.Photos, p.PhotoID) {
			to.Photos = append(to.Photos, p)
		}
	}
	if len(to.Photos) == len(was.Photos) {
		return to, nil // it has them all
	}
	if _, err := checkEntry(tx, to); err != nil {
		return to, err
	}
	if m.To == "" {
		if err := tx.AddEntry(was); err != nil {
			return to, err
		}
	}
	if err := s.saveMoved(tx, a, to, was); err != nil {
		return to, err
	}
	return to, s.record(tx, a, to.BuildID, "photos moved in", string(to.ID), map[string]any{
		"from": string(from.ID), "photos": len(to.Photos) - len(was.Photos), "stage": string(to.StageID),
	})
}

// moveTarget is the entry that a move names as it is before, or a new one that
// is not stored yet.
func moveTarget(r Reads, newID func() string, a Actor, from journal.Entry, m PhotoMove) (journal.Entry, error) {
	if m.To != "" {
		was, found, err := absent(editable(r, a, from.BuildID, m.To))
		if err == nil && !found {
			bad := journal.Problems{}
			bad.Add("to", "Please choose an entry of this build.")
			err = bad.Err()
		}
		return was, err
	}
	e := journal.Entry{
		ID: journal.EntryID(newID()), BuildID: from.BuildID, StageID: m.StageID, AuthorID: from.AuthorID, Kind: from.Kind,
		Audience: from.Audience, HappenedAt: from.PostedAt, PostedAt: from.PostedAt, Version: firstVersion,
	}
	if e.Audience == journal.OwnerToo {
		e.SharedAt = from.SharedAt
	}
	return e, nil
}

// saveMoved stores an entry whose photos have changed, dated by them, and keeps
// what it was.
func (s *Steps) saveMoved(tx Tx, a Actor, e, was journal.Entry) error {
	photos, err := tx.Photos(e.BuildID, photoIDs(e.Photos))
	if err != nil {
		return err
	}
	e.HappenedAt, e.EditedAt = happenedAt(photos, e.PostedAt), s.at()
	return tx.SaveEntry(e, s.replaced(a, was))
}

// MoveView is what the page that moves photos out of an entry shows.
type MoveView struct {
	Build   journal.Build
	Stages  []journal.Stage
	Entry   journal.Entry
	Photos  map[journal.PhotoID]journal.Photo
	Hidden  int             // of its photos, those that the owner's side cannot see
	Targets []journal.Entry // the actor may put photos into them, newest first
}

// maxTargets bounds the entries offered to move photos into.
const maxTargets = 200

// MoveShow gathers the page that moves photos out of an entry which the actor may
// edit. Errors as [Steps.EditEntry].
func (s *Steps) MoveShow(ctx context.Context, a Actor, build journal.BuildID, id journal.EntryID) (v MoveView, err error) {
	if err := asStaff(a); err != nil {
		return v, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Entry, err = editable(r, a, build, id); err != nil {
			return err
		}
		if v.Build, err = r.Build(build); err != nil {
			return err
		}
		if v.Stages, err = r.Stages(build); err != nil {
			return err
		}
		if v.Photos, err = r.Photos(build, photoIDs(v.Entry.Photos)); err != nil {
			return err
		}
		if v.Hidden, err = hiddenPhotos(r, build, v.Entry.Photos); err != nil {
			return err
		}
		entries, err := r.Entries(build, EntryQuery{Staff: true, Limit: maxTargets})
		v.Targets = slices.DeleteFunc(entries, func(e journal.Entry) bool {
			return e.ID == id || !e.WithdrawnAt.IsZero() || !mayEdit(a, e)
		})
		return err
	})
	return v, err
}

// PhotoStep is one step of a photo's way through the entries of its build.
type PhotoStep struct {
	At time.Time
	By string // name of who did it
	// From and To are the entry as it was before and as it was after; an entry
	// without an id stands for none: the photo came in from outside, or was
	// taken out. With the same id in both, the entry itself went to another
	// stage, or was withdrawn with the photo in it.
	From, To PhotoStand
}

// PhotoStand is an entry that shows a photo, at some time.
type PhotoStand struct {
	EntryID   journal.EntryID
	Stage     string // name
	Withdrawn bool
}

// PhotoHistory returns how a photo went from entry to entry and from stage to
// stage, oldest first; that it was posted at first, or appended, is no step. What
// is taken out of one entry and put into another by one act is one step. Staff
// only.
func (s *Steps) PhotoHistory(ctx context.Context, a Actor, build journal.BuildID, id journal.PhotoID) (steps []PhotoStep, err error) {
	if err := asStaff(a); err != nil {
		return nil, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		steps, err = photoSteps(r, build, id)
		return err
	})
	return steps, err
}

func photoSteps(r Reads, build journal.BuildID, id journal.PhotoID) ([]PhotoStep, error) {
	now, err := r.EntriesOfPhoto(build, id)
	if err != nil {
		return nil, err
	}
	edits, err := r.EditsOfPhoto(build, id)
	if err != nil {
		return nil, err
	}
	seen := map[journal.EntryID]bool{}
	for _, e := range now {
		seen[e.ID] = true
	}
	for _, edit := range edits {
		if seen[edit.EntryID] {
			continue
		}
		seen[edit.EntryID] = true
		e, err := r.Entry(build, edit.EntryID)
		if err != nil {
			return nil, err
		}
		now = append(now, e)
	}
	stages, err := r.Stages(build)
	if err != nil {
		return nil, err
	}
	stageNames := map[journal.StageID]string{}
	for _, st := range stages {
		stageNames[st.ID] = st.Name
	}
	people := map[journal.PersonID]string{}
	var steps []PhotoStep
	for _, e := range now {
		history, err := r.EntryEdits(e.ID)
		if err != nil {
			return nil, err
		}
		for i, edit := range history {
			before, after := stand(e.ID, edit.StageID, edit.Photos, id, stageNames), PhotoStand{}
			if i+1 < len(history) {
				after = stand(e.ID, history[i+1].StageID, history[i+1].Photos, id, stageNames)
			} else {
				after = stand(e.ID, e.StageID, e.Photos, id, stageNames)
				after.Withdrawn = after.EntryID != "" && !e.WithdrawnAt.IsZero()
			}
			if before == after {
				continue
			}
			if err := nameAll(r, people, []journal.PersonID{edit.ByID}); err != nil {
				return nil, err
			}
			steps = append(steps, PhotoStep{At: edit.At, By: people[edit.ByID], From: before, To: after})
		}
	}
	return joined(steps), nil
}

func stand(entry journal.EntryID, stage journal.StageID, photos []journal.EntryPhoto, id journal.PhotoID, names map[journal.StageID]string) PhotoStand {
	if !has(photos, id) {
		return PhotoStand{}
	}
	return PhotoStand{EntryID: entry, Stage: names[stage]}
}

// joined puts steps in the order of time, and makes one of leaving an entry and
// coming into another by one act.
func joined(steps []PhotoStep) []PhotoStep {
	slices.SortStableFunc(steps, func(a, b PhotoStep) int { return a.At.Compare(b.At) })
	var all []PhotoStep
	for _, step := range steps {
		left := step.To == PhotoStand{}
		other := slices.IndexFunc(all, func(before PhotoStep) bool {
			if !before.At.Equal(step.At) || before.By != step.By {
				return false
			}
			if left {
				return before.From == PhotoStand{}
			}
			return step.From == PhotoStand{} && before.To == PhotoStand{}
		})
		switch {
		case other < 0:
			all = append(all, step)
		case left:
			all[other].From = step.From
		default:
			all[other].To = step.To
		}
	}
	return all
}
