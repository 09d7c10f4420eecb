package flow

import (
	"context"
	"slices"

	"farbay/journal"
	"farbay/journal/signoff"
)

// LayerLine is one setting of a photo's layer, with who made it.
type LayerLine struct {
	Set journal.LayerSet
	By  string
}

// LayerView is everything the page for marking, cropping and turning a photo
// shows.
type LayerView struct {
	Build   journal.Build
	Photo   journal.Photo
	History []LayerLine     // by number
	Papers  []signoff.Paper // that are out or decided and show it, as it was when they were sent
}

// mayMark reports whether the actor may set a photo's layer: the office may for
// all, the floor for photos they posted or that stand in an entry of theirs.
func mayMark(a Actor, p journal.Photo, in []journal.Entry) bool {
	if !a.Person.Active() || !a.Person.Role.Staff() {
		return false
	}
	return a.Person.Role == journal.Office || p.ByID == a.Person.ID ||
		slices.ContainsFunc(in, func(e journal.Entry) bool { return mayEdit(a, e) && e.WithdrawnAt.IsZero() })
}

// markable says what stands against laying anything over a photo.
func markable(p journal.Photo) error {
	switch {
	case p.Video():
		return journal.Errorf(journal.Conflict, "A video takes no marks; please mark a photo instead.")
	case p.State == journal.PhotoFailed:
		return journal.Errorf(journal.Conflict, "This photo cannot be shown, so it cannot be marked. Please post another copy.")
	case p.Tone == "":
		return journal.Errorf(journal.Conflict, "This photo is being made ready. Please mark it in a minute.")
	}
	return nil
}

// markablePhoto returns a photo whose layer the actor may set.
func markablePhoto(r Reads, a Actor, build journal.BuildID, id journal.PhotoID) (journal.Photo, error) {
	if err := asStaff(a); err != nil {
		return journal.Photo{}, err
	}
	if _, _, err := readable(r, a, build); err != nil {
		return journal.Photo{}, err
	}
	p, err := r.Photo(build, id)
	if err != nil {
		return p, err
	}
	entries, err := r.EntriesOfPhoto(build, id)
	if err != nil {
		return p, err
	}
	if !mayMark(a, p, entries) {
		return p, journal.Errorf(journal.Forbidden, "Only whoever posted this photo, or the office, can mark, crop or turn it.")
	}
	return p, markable(p)
}

// LayerShow returns a photo whose layer the actor may set, with all its
// settings. Errors: [journal.NotFound]; [journal.Forbidden] for those who may
// not; [journal.Conflict] for a photo that takes no layer, such as a video.
func (s *Steps) LayerShow(ctx context.Context, a Actor, build journal.BuildID, id journal.PhotoID) (v LayerView, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Photo, err = markablePhoto(r, a, build, id); err != nil {
			return err
		}
		if v.Build, err = r.Build(build); err != nil {
			return err
		}
		sets, err := r.Layers(build, id)
		if err != nil {
			return err
		}
		names := map[journal.PersonID]string{}
		for _, set := range sets {
			if err := nameAll(r, names, []journal.PersonID{set.ByID}); err != nil {
				return err
			}
			v.History = append(v.History, LayerLine{set, names[set.ByID]})
		}
		return eachShowing(r, build, id, func(p signoff.Paper, _ signoff.SheetPhoto) bool {
			if !slices.ContainsFunc(v.Papers, func(there signoff.Paper) bool { return there.ID == p.ID }) {
				v.Papers = append(v.Papers, p)
			}
			return true
		})
	})
	if err != nil {
		return LayerView{}, err
	}
	return v, nil
}

// eachShowing calls f for each time that a revision of a paper which is out or
// decided shows the photo, until f returns false.
func eachShowing(r Reads, build journal.BuildID, id journal.PhotoID, f func(signoff.Paper, signoff.SheetPhoto) bool) error {
	papers, err := r.Papers(build)
	if err != nil {
		return err
	}
	for _, p := range papers {
		if p.State != signoff.Sent && p.State != signoff.Signed && p.State != signoff.Declined {
			continue
		}
		revisions, err := r.Revisions(p.ID)
		if err != nil {
			return err
		}
		for _, rev := range revisions {
			sheet, err := signoff.ParseSheet(rev.Bytes)
			if err != nil {
				return err
			}
			for _, photo := range sheet.Photos {
				if photo.ID == id && !f(p, photo) {
					return nil
				}
			}
		}
	}
	return nil
}

// SetLayer puts a layer over a photo, in place of the one with the number read,
// and keeps that in the history; l.Number is set here. When the view changes,
// the photo is pending until the sizes of the new view are made. Setting what is
// in force already changes nothing. The office marks all photos, the floor those
// they posted or that stand in an entry of theirs.
//
// It returns [journal.Invalid] beside turn, crop and marks, the errors of
// [Steps.LayerShow], and [journal.Conflict] when somebody else set a layer in
// between.
func (s *Steps) SetLayer(ctx context.Context, a Actor, build journal.BuildID, id journal.PhotoID, read int, l journal.Layer) error {
	l = cleanLayer(l)
	if err := l.Validate(); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		p, err := markablePhoto(tx, a, build, id)
		if err != nil {
			return err
		}
		return s.layOver(tx, a, p, read, l)
	})
}

// RestoreLayer puts an earlier layer of a photo in force again, by its number;
// 0 shows the photo as it was taken. It is a setting like any other. Errors as
// [Steps.SetLayer], and [journal.NotFound] for a number that was never set.
func (s *Steps) RestoreLayer(ctx context.Context, a Actor, build journal.BuildID, id journal.PhotoID, read, number int) error {
	return s.write(ctx, func(tx Tx) error {
		p, err := markablePhoto(tx, a, build, id)
		if err != nil {
			return err
		}
		l, err := layerNumbered(tx, p, number)
		if err != nil {
			return err
		}
		return s.layOver(tx, a, p, read, l)
	})
}

// layerNumbered is a photo's layer by its number; 0 is the plain one.
func layerNumbered(r Reads, p journal.Photo, number int) (journal.Layer, error) {
	if number == 0 {
		return journal.Layer{}, nil
	}
	sets, err := r.Layers(p.BuildID, p.ID)
	if err != nil {
		return journal.Layer{}, err
	}
	if number < 0 || number > len(sets) {
		return journal.Layer{}, journal.Errorf(journal.NotFound, "This photo was never shown like that.")
	}
	return sets[number-1].Layer, nil
}

func (s *Steps) layOver(tx Tx, a Actor, p journal.Photo, read int, l journal.Layer) error {
	if p.Layer.Number != read {
		return changedMeanwhile("photo’s marks")
	}
	was := p.Layer
	l.Number = was.Number
	if sameLayer(l, was) {
		return nil
	}
	l.Number++
	if err := tx.AddLayer(journal.LayerSet{BuildID: p.BuildID, PhotoID: p.ID, Layer: l, ByID: a.Person.ID, At: s.at()}); err != nil {
		return err
	}
	p.Layer = l
	if l.View() != was.View() {
		p.State = journal.PhotoPending
		if err := tx.SavePhoto(p); err != nil {
			return err
		}
		if err := tx.AddJob(journal.JobDerive, deriveSubject(p), s.at()); err != nil {
			return err
		}
	}
	return s.record(tx, a, p.BuildID, "photo marked", string(p.ID), map[string]any{
		"number": l.Number, "view": l.View(), "marks": len(l.Marks),
	})
}

func sameLayer(a, b journal.Layer) bool {
	return a.View() == b.View() && slices.Equal(a.Marks, b.Marks)
}

// cleanLayer tidies what was typed, drops what a text mark does not use, and
// makes a crop to the whole none.
func cleanLayer(l journal.Layer) journal.Layer {
	marks := make([]journal.Mark, 0, len(l.Marks))
	for _, m := range l.Marks {
		m.Text = journal.CleanLine(m.Text)
		if m.Shape == journal.MarkText {
			m.X2, m.Y2 = m.X, m.Y
		}
		marks = append(marks, m)
	}
	l.Marks = marks
	if l.Crop == (journal.Crop{W: journal.Full, H: journal.Full}) {
		l.Crop = journal.Crop{}
	}
	return l
}

// PhotoViewAllowed returns the photo if the actor may have one view of it,
// quickly, for requests for images. The owner's side gets the view in force, and
// those that a paper which is out or decided has frozen: what was signed is what
// was shown. A photo that was cropped is not shown uncropped to them, except by
// such a paper. The shop gets the plain photo too, and every view ever set.
// [journal.NotFound] otherwise.
func (s *Steps) PhotoViewAllowed(ctx context.Context, a Actor, build journal.BuildID, id journal.PhotoID, view string) (p journal.Photo, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		if p, err = photoAllowed(r, a, build, id); err != nil || view == p.Layer.View() {
			return err
		}
		found := false
		if a.Person.Role.Staff() {
			found, err = everSet(r, p, view)
		} else {
			err = eachShowing(r, build, id, func(_ signoff.Paper, shown signoff.SheetPhoto) bool {
				found = found || shown.Layer().View() == view
				return !found
			})
		}
		if err == nil && !found {
			err = journal.Errorf(journal.NotFound, "This photo is no longer shown like that. Please look at its page.")
		}
		return err
	})
	if err != nil {
		return journal.Photo{}, err
	}
	return photoSeen(a, p), nil
}

func everSet(r Reads, p journal.Photo, view string) (bool, error) {
	if view == "" {
		return true, nil
	}
	sets, err := r.Layers(p.BuildID, p.ID)
	return slices.ContainsFunc(sets, func(set journal.LayerSet) bool { return set.Layer.View() == view }), err
}
