package flow

import (
	"context"
	"slices"

	"farbay/journal"
)

// comparePick is the most photos of a stage that are offered to compare with.
const comparePick = 120

// ComparePhoto is one side of a comparison.
type ComparePhoto struct {
	Photo   journal.Photo
	Caption string          // in the newest entry that shows it and the actor may see
	StageID journal.StageID // of that entry; "" when it is in none
}

// CompareView is two photos of a build side by side, or, while one is still to
// be chosen, the photos of a stage to choose it from.
type CompareView struct {
	Build   journal.Build
	Stages  []journal.Stage
	A, B    *ComparePhoto // nil until chosen
	StageID journal.StageID
	Pick    []journal.Photo // in the order of capture, when A or B is nil
}

// Compare returns two photos of a build that the actor may see. With second ""
// it returns, for choosing it, the photos of a stage that have sizes to show: of
// stage, or of the first one's stage, or of the one begun last. With first ""
// likewise. [journal.NotFound] for a photo or stage that the actor may not see;
// [journal.Invalid] for one photo twice.
func (s *Steps) Compare(ctx context.Context, a Actor, build journal.BuildID, first, second journal.PhotoID, stage journal.StageID) (v CompareView, err error) {
	if first != "" && first == second {
		return v, journal.Errorf(journal.Invalid, "These are one photo twice. Please choose two.")
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Build, _, err = readable(r, a, build); err != nil {
			return err
		}
		if v.Stages, err = r.Stages(build); err != nil {
			return err
		}
		if v.A, err = comparePhoto(r, a, build, first); err != nil {
			return err
		}
		if v.B, err = comparePhoto(r, a, build, second); err != nil {
			return err
		}
		if v.A != nil && v.B != nil {
			return nil
		}
		return v.offer(r, a, stage)
	})
	if err != nil {
		return CompareView{}, err
	}
	return v, nil
}

func comparePhoto(r Reads, a Actor, build journal.BuildID, id journal.PhotoID) (*ComparePhoto, error) {
	if id == "" {
		return nil, nil
	}
	p, err := photoAllowed(r, a, build, id)
	if err != nil {
		return nil, err
	}
	c := &ComparePhoto{Photo: photoSeen(a, p)}
	entries, err := r.EntriesOfPhoto(build, id)
	for _, e := range entries {
		if !e.Visible(a.Person.Role.Staff()) {
			continue
		}
		c.StageID = e.StageID
		for _, in := range e.Photos {
			if in.PhotoID == id {
				c.Caption = in.Caption
			}
		}
		break
	}
	return c, err
}

// offer fills in the photos to choose from.
func (v *CompareView) offer(r Reads, a Actor, stage journal.StageID) error {
	has := func(id journal.StageID) bool {
		return slices.ContainsFunc(v.Stages, func(st journal.Stage) bool { return st.ID == id })
	}
	switch {
	case stage != "" && !has(stage):
		return journal.Errorf(journal.NotFound, "There is no such stage.")
	case stage != "":
		v.StageID = stage
	case v.A != nil && v.A.StageID != "":
		v.StageID = v.A.StageID
	case v.B != nil && v.B.StageID != "":
		v.StageID = v.B.StageID
	default:
		for _, st := range v.Stages {
			if v.StageID == "" || st.State != journal.NotStarted {
				v.StageID = st.ID
			}
		}
	}
	photos, err := r.StagePhotos(v.Build.ID, v.StageID, a.Person.Role.Staff(), comparePick)
	for _, p := range photos {
		chosen := v.A != nil && v.A.Photo.ID == p.ID || v.B != nil && v.B.Photo.ID == p.ID
		if p.Pictured() && !chosen {
			v.Pick = append(v.Pick, photoSeen(a, p))
		}
	}
	return err
}
