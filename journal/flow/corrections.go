package flow

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"farbay/journal"
)

// NewCorrection is a correction of a camera's clock as the office says it.
type NewCorrection struct {
	// ID is made with the form, so that sending it twice corrects once; see
	// [NewEntry].
	ID       journal.CorrectionID
	Camera   string
	From, To time.Time // bounds of what the photos claim, inclusive; zero for none
	Shift    time.Duration
	Why      string
	BuildID  journal.BuildID // of the photographed clock; "" when the difference was typed
	PhotoID  journal.PhotoID
	// Seen is the [CorrectionEffect].Seen of the effect that was shown before;
	// when the camera's corrections have changed since, it is refused.
	Seen string
}

// CorrectionEffect is what making or undoing a correction does.
type CorrectionEffect struct {
	Correction journal.ClockCorrection
	Photos     int           // that get another time, in all builds
	First      PhotoShift    // of the one earliest taken; zero when there is none
	Last       PhotoShift    // of the one last taken
	Builds     []BuildEffect // that have such photos, by nickname
	Doubtful   int           // photos that become doubtful
	Settled    int           // photos that stop being doubtful
	// Seen stands for the corrections of this camera as they were when the
	// effect was worked out.
	Seen string
}

// PhotoShift is a photo's capture time before and after.
type PhotoShift struct {
	Was, Becomes time.Time
}

// BuildEffect is the part of an effect that is in one build.
type BuildEffect struct {
	Build   journal.Build
	Photos  int
	Entries int // that show such photos
	Dated   int // of these, how many get another place in the journal
}

// retimed is an effect with what is to be stored.
type retimed struct {
	effect  CorrectionEffect
	photos  []journal.Photo // as they become
	entries []journal.Entry // with their new HappenedAt
}

// PreviewCorrection says what [Steps.CorrectClock] would do, and records
// nothing. Office only; errors likewise.
func (s *Steps) PreviewCorrection(ctx context.Context, a Actor, n NewCorrection) (e CorrectionEffect, err error) {
	if err := asOffice(a); err != nil {
		return e, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		done, err := s.corrected(r, a, n)
		e = done.effect
		return err
	})
	return e, err
}

// CorrectClock corrects a camera's clock: the photos of that camera, in every
// build, that claim a time within the bounds by the camera's own clock get the
// shifted time, and the entries that show them are dated anew, all in one
// transaction, with an event for each build. Photos that come later get it when
// they are recorded. Of several corrections the one made last counts. Office
// only.
//
// It returns [journal.Invalid] beside camera, shift, why, to, and photo (when
// the photographed clock is not a photo of this camera), and [journal.Conflict]
// when n.Seen is out of date.
func (s *Steps) CorrectClock(ctx context.Context, a Actor, n NewCorrection) (e CorrectionEffect, err error) {
	if err := asOffice(a); err != nil {
		return e, err
	}
	err = s.write(ctx, func(tx Tx) error {
		again, sent, err := absent(tx.Correction(n.ID))
		if err != nil {
			return err
		}
		if sent && again.ByID == a.Person.ID && n.ID != "" {
			e = CorrectionEffect{Correction: again} // the form came a second time
			return nil
		}
		done, err := s.corrected(tx, a, n)
		if err != nil {
			return err
		}
		if e = done.effect; e.Seen != n.Seen {
			return journal.Errorf(journal.Conflict, "The corrections of this camera have changed meanwhile. Please look at what this one does now, and save it again if it is still right.")
		}
		if err := tx.AddCorrection(e.Correction); err != nil {
			return err
		}
		return s.saveTimes(tx, a, done, "clock corrected")
	})
	return e, err
}

// corrected works out a new correction.
func (s *Steps) corrected(r Reads, a Actor, n NewCorrection) (done retimed, err error) {
	c := journal.ClockCorrection{
		ID: n.ID, Camera: n.Camera, From: n.From, To: n.To, ShiftSeconds: int(n.Shift / time.Second), Why: journal.CleanLine(n.Why),
		BuildID: n.BuildID, PhotoID: n.PhotoID, ByID: a.Person.ID, At: s.at(),
	}
	if !isFormID(string(c.ID)) {
		c.ID = journal.CorrectionID(s.NewID())
	}
	bad := journal.ProblemsOf(c.Validate())
	if c.PhotoID != "" {
		p, found, err := absent(r.Photo(c.BuildID, c.PhotoID))
		switch {
		case err != nil:
			return done, err
		case !found || p.Camera != c.Camera:
			bad.Add("photo", "The photo that shows the clock is not one of this camera.")
		case !p.FromClock:
			bad.Add("photo", "The time of this photo does not come from the camera's clock.")
		}
	}
	if err := bad.Err(); err != nil {
		return done, err
	}
	all, err := r.CorrectionsOf(c.Camera)
	if err != nil {
		return done, err
	}
	// A clock that was set back since must not put an older one behind it.
	for _, before := range all {
		if c.At.Before(before.At) {
			c.At = before.At
		}
	}
	return retime(r, c, all, append(slices.Clone(all), c))
}

// PreviewUndo says what [Steps.UndoCorrection] would do. Office only; errors
// likewise.
func (s *Steps) PreviewUndo(ctx context.Context, a Actor, id journal.CorrectionID) (e CorrectionEffect, err error) {
	if err := asOffice(a); err != nil {
		return e, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		done, err := s.undone(r, a, id)
		e = done.effect
		return err
	})
	return e, err
}

// UndoCorrection ends a correction: its photos get the time that the other
// corrections in force say, or their own. Office only.
//
// It returns [journal.NotFound], and [journal.Conflict] when it is undone
// already.
func (s *Steps) UndoCorrection(ctx context.Context, a Actor, id journal.CorrectionID) (e CorrectionEffect, err error) {
	if err := asOffice(a); err != nil {
		return e, err
	}
	err = s.write(ctx, func(tx Tx) error {
		done, err := s.undone(tx, a, id)
		if err != nil {
			return err
		}
		e = done.effect
		if err := tx.UndoCorrection(id, a.Person.ID, e.Correction.UndoneAt); err != nil {
			return err
		}
		return s.saveTimes(tx, a, done, "clock correction undone")
	})
	return e, err
}

func (s *Steps) undone(r Reads, a Actor, id journal.CorrectionID) (retimed, error) {
	c, err := r.Correction(id)
	if err != nil {
		return retimed{}, err
	}
	if !c.UndoneAt.IsZero() {
		return retimed{}, journal.Errorf(journal.Conflict, "This clock correction has been undone already.")
	}
	all, err := r.CorrectionsOf(c.Camera)
	if err != nil {
		return retimed{}, err
	}
	c.UndoneAt, c.UndoneBy = s.at(), a.Person.ID
	after := slices.Clone(all)
	for i := range after {
		if after[i].ID == id {
			after[i] = c
		}
	}
	return retime(r, c, all, after)
}

// retime works out what the photos of a camera become when its corrections are
// after in place of before.
func retime(r Reads, c journal.ClockCorrection, before, after []journal.ClockCorrection) (retimed, error) {
	done := retimed{effect: CorrectionEffect{Correction: c, Seen: seenOf(before)}}
	shop, err := r.Shop()
	if err != nil {
		return done, err
	}
	photos, err := r.PhotosOfCamera(c.Camera)
	if err != nil {
		return done, err
	}
	builds := map[journal.BuildID]*retimedBuild{}
	for _, p := range photos {
		b := builds[p.BuildID]
		if b == nil {
			b = &retimedBuild{changed: map[journal.PhotoID]journal.Photo{}}
			builds[p.BuildID] = b
			if b.effect.Build, err = r.Build(p.BuildID); err != nil {
				return done, err
			}
		}
		now := p.Corrected(after, func(at time.Time) string { return doubtOfCorrected(p, at, b.effect.Build, shop) })
		if now.CapturedAt.Equal(p.CapturedAt) && now.CapturedDoubt == p.CapturedDoubt && now.CorrectionID == p.CorrectionID {
			continue
		}
		b.changed[now.ID] = now
		done.photos = append(done.photos, now)
		done.effect.count(p, now)
		b.effect.Photos++
	}
	for _, b := range builds {
		if b.effect.Photos == 0 {
			continue
		}
		entries, err := b.dateEntries(r)
		if err != nil {
			return done, err
		}
		done.entries = append(done.entries, entries...)
		done.effect.Builds = append(done.effect.Builds, b.effect)
	}
	slices.SortFunc(done.effect.Builds, func(a, b BuildEffect) int { return strings.Compare(a.Build.Nickname, b.Build.Nickname) })
	return done, nil
}

// seenOf stands for a camera's corrections. They are only added and undone, each
// once, so two numbers tell whether anything happened.
func seenOf(all []journal.ClockCorrection) string {
	undone := 0
	for _, c := range all {
		if !c.UndoneAt.IsZero() {
			undone++
		}
	}
	return fmt.Sprintf("%d-%d", len(all), undone)
}

// count adds a photo to an effect. Photos come in the order of their claims.
func (e *CorrectionEffect) count(was, now journal.Photo) {
	shift := PhotoShift{was.CapturedAt, now.CapturedAt}
	if e.Photos == 0 {
		e.First = shift
	}
	e.Last = shift
	e.Photos++
	switch {
	case was.CapturedDoubt == "" && now.CapturedDoubt != "":
		e.Doubtful++
	case was.CapturedDoubt != "" && now.CapturedDoubt == "":
		e.Settled++
	}
}

// retimedBuild is a build with its photos that get another time.
type retimedBuild struct {
	effect  BuildEffect
	changed map[journal.PhotoID]journal.Photo
}

// dateEntries counts the build's entries that show the changed photos, withdrawn
// ones too, and returns those that are dated otherwise by them, with the new
// time.
func (b *retimedBuild) dateEntries(r Reads) (dated []journal.Entry, err error) {
	entries, err := r.Entries(b.effect.Build.ID, EntryQuery{Staff: true})
	if err != nil {
		return nil, err
	}
	entries = slices.DeleteFunc(entries, func(e journal.Entry) bool {
		return !slices.ContainsFunc(e.Photos, func(p journal.EntryPhoto) bool { _, changed := b.changed[p.PhotoID]; return changed })
	})
	var ids []journal.PhotoID
	for _, e := range entries {
		ids = append(ids, photoIDs(e.Photos)...)
	}
	photos, err := r.Photos(b.effect.Build.ID, ids)
	if err != nil {
		return nil, err
	}
	for id, p := range b.changed {
		photos[id] = p
	}
	for _, e := range entries {
		own := map[journal.PhotoID]journal.Photo{}
		for _, p := range e.Photos {
			own[p.PhotoID] = photos[p.PhotoID]
		}
		b.effect.Entries++
		if at := happenedAt(own, e.PostedAt); !at.Equal(e.HappenedAt) {
			e.HappenedAt = at
			b.effect.Dated++
			dated = append(dated, e)
		}
	}
	return dated, nil
}

// saveTimes stores what was worked out and records it with each build; with no
// build when no photo is concerned yet.
func (s *Steps) saveTimes(tx Tx, a Actor, done retimed, kind string) error {
	for _, p := range done.photos {
		if err := tx.SavePhotoTime(p); err != nil {
			return err
		}
	}
	for _, e := range done.entries {
		if err := tx.DateEntry(e.BuildID, e.ID, e.HappenedAt); err != nil {
			return err
		}
	}
	c, builds := done.effect.Correction, done.effect.Builds
	if len(builds) == 0 {
		builds = []BuildEffect{{}}
	}
	for _, b := range builds {
		err := s.record(tx, a, b.Build.ID, kind, string(c.ID), map[string]any{
			"camera": c.Camera, "shift_seconds": c.ShiftSeconds, "why": c.Why, "photos": b.Photos, "entries": b.Dated,
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// ClocksView is what is known of the shop's cameras and their clocks.
type ClocksView struct {
	Cameras     []CameraUse               // by name
	Corrections []journal.ClockCorrection // newest first, undone ones too
	Names       map[journal.PersonID]string
}

// Clocks returns all cameras and corrections. Office only.
func (s *Steps) Clocks(ctx context.Context, a Actor) (v ClocksView, err error) {
	if err := asOffice(a); err != nil {
		return v, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Cameras, err = r.Cameras(); err != nil {
			return err
		}
		if v.Corrections, err = r.Corrections(); err != nil {
			return err
		}
		slices.Reverse(v.Corrections)
		v.Names = map[journal.PersonID]string{}
		for _, c := range v.Corrections {
			if err := nameAll(r, v.Names, []journal.PersonID{c.ByID, c.UndoneBy}); err != nil {
				return err
			}
		}
		return nil
	})
	return v, err
}

// CorrectionView is one correction with who made and undid it.
type CorrectionView struct {
	Correction journal.ClockCorrection
	By         string
	UndoneBy   string // "" while in force
	// Undo is what undoing it would do; zero when it is undone.
	Undo CorrectionEffect
}

// CorrectionShow returns one correction. Office only.
func (s *Steps) CorrectionShow(ctx context.Context, a Actor, id journal.CorrectionID) (v CorrectionView, err error) {
	if err := asOffice(a); err != nil {
		return v, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Correction, err = r.Correction(id); err != nil {
			return err
		}
		names := map[journal.PersonID]string{}
		if err := nameAll(r, names, []journal.PersonID{v.Correction.ByID, v.Correction.UndoneBy}); err != nil {
			return err
		}
		v.By, v.UndoneBy = names[v.Correction.ByID], names[v.Correction.UndoneBy]
		if v.Correction.UndoneAt.IsZero() {
			done, err := s.undone(r, a, id)
			v.Undo = done.effect
			return err
		}
		return nil
	})
	return v, err
}

// CorrectionOfPhoto returns the correction by which a photo that the actor may
// see has its time, and who made it; nil when it has none. Outside the shop only
// the shift is told.
func (s *Steps) CorrectionOfPhoto(ctx context.Context, a Actor, build journal.BuildID, id journal.PhotoID) (c *journal.ClockCorrection, by string, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		p, err := photoAllowed(r, a, build, id)
		if err != nil || p.CorrectionID == "" {
			return err
		}
		found, err := r.Correction(p.CorrectionID)
		if err != nil {
			return err
		}
		c = &found
		if !a.Person.Role.Staff() {
			c = &journal.ClockCorrection{ShiftSeconds: found.ShiftSeconds}
			return nil
		}
		names := map[journal.PersonID]string{}
		err = nameAll(r, names, []journal.PersonID{found.ByID})
		by = names[found.ByID]
		return err
	})
	return c, by, err
}
