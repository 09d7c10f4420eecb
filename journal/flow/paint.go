package flow

import (
	"context"
	"reflect"
	"slices"

	"farbay/journal"
	"farbay/journal/coating"
)

// MixView is a mix with what was done beside the scale so far.
type MixView struct {
	Mix   coating.Mix
	Pours []coating.PourRow // by number
	Batch coating.Batch
}

// PaintView is a stage's paint record. Owners get it only when the office shares it,
// and then of it the complete mixes with nothing but product, colour and batch number,
// and the readings, none of what was taken back.
type PaintView struct {
	Build    journal.Build
	Stage    journal.Stage
	Audience journal.Audience
	Mixes    []MixView // in the order recorded, as the two below
	Readings []coating.Reading
	Used     []coating.Used
	Backs    map[journal.PaintID]coating.Back // of what was taken back
	Names    map[journal.PersonID]string      // of everybody named in it; the shop's only
	// Formulas are the mixes whose formula was used last on this build, one for each
	// product and colour, newest first; the shop's only.
	Formulas []coating.Mix
}

// Empty reports whether nothing is recorded.
func (v PaintView) Empty() bool { return len(v.Mixes)+len(v.Readings)+len(v.Used) == 0 }

// PaintOf gathers a stage's paint record. To an owner a record that is not shared is
// an empty one.
func (s *Steps) PaintOf(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID) (v PaintView, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		if v.Build, _, err = readable(r, a, build); err != nil {
			return err
		}
		if v.Stage, err = r.Stage(build, stage); err != nil {
			return err
		}
		if v.Audience, err = paintAudience(r, build, stage); err != nil {
			return err
		}
		if !a.Person.Role.Staff() && v.Audience != journal.OwnerToo {
			return nil
		}
		if err := v.gather(r); err != nil {
			return err
		}
		if !a.Person.Role.Staff() {
			v = v.forOwner()
		}
		return nil
	})
	return v, err
}

func paintAudience(r Reads, build journal.BuildID, stage journal.StageID) (journal.Audience, error) {
	audience := journal.ShopOnly
	shown, err := r.PaintShown(build)
	for _, row := range shown {
		if row.StageID == stage {
			audience = row.Audience
		}
	}
	return audience, err
}

// gather reads the whole record of the view's stage.
func (v *PaintView) gather(r Reads) error {
	stage := v.Stage.ID
	mixes, err := r.Mixes(v.Build.ID)
	if err != nil {
		return err
	}
	pours, err := r.PaintPours(v.Build.ID)
	if err != nil {
		return err
	}
	if v.Readings, err = r.FilmReadings(v.Build.ID); err != nil {
		return err
	}
	if v.Used, err = r.PaintUsed(v.Build.ID); err != nil {
		return err
	}
	backs, err := r.PaintBacks(v.Build.ID)
	if err != nil {
		return err
	}
	v.Readings = slices.DeleteFunc(v.Readings, func(x coating.Reading) bool { return x.StageID != stage })
	v.Used = slices.DeleteFunc(v.Used, func(x coating.Used) bool { return x.StageID != stage })
	v.Backs, v.Names = map[journal.PaintID]coating.Back{}, map[journal.PersonID]string{}
	var people []journal.PersonID
	for _, b := range backs {
		v.Backs[b.OfID] = b
		people = append(people, b.ByID)
	}
	for _, m := range mixes {
		if m.StageID != stage {
			continue
		}
		x := MixView{Mix: m, Pours: slices.DeleteFunc(slices.Clone(pours), func(p coating.PourRow) bool { return p.MixID != m.ID })}
		if x.Batch, err = m.Formula.Replay(m.Amount, coating.Pours(x.Pours)); err != nil {
			return err
		}
		v.Mixes = append(v.Mixes, x)
		people = append(people, m.ByID)
		for _, p := range x.Pours {
			people = append(people, p.ByID)
		}
	}
	for _, x := range v.Readings {
		people = append(people, x.ByID)
	}
	for _, x := range v.Used {
		people = append(people, x.ByID)
	}
	v.Formulas = formulasOf(mixes, v.Backs)
	return nameAll(r, v.Names, people)
}

// formulasOf are the mixes not taken back whose formulas were used last, one for each
// product and colour, newest first.
func formulasOf(mixes []coating.Mix, backs map[journal.PaintID]coating.Back) []coating.Mix {
	var last []coating.Mix
	for _, m := range slices.Backward(mixes) {
		_, gone := backs[m.ID]
		same := func(old coating.Mix) bool { return old.Product == m.Product && old.Colour == m.Colour }
		if !gone && !slices.ContainsFunc(last, same) {
			last = append(last, m)
		}
	}
	return last
}

// forOwner leaves what the owner's side may see.
func (v PaintView) forOwner() PaintView {
	seen := PaintView{Build: v.Build, Stage: v.Stage, Audience: v.Audience}
	for _, m := range v.Mixes {
		if _, gone := v.Backs[m.Mix.ID]; !gone && m.Batch.Done() {
			seen.Mixes = append(seen.Mixes, MixView{Mix: coating.Mix{
				ID: m.Mix.ID, BuildID: m.Mix.BuildID, StageID: m.Mix.StageID, Product: m.Mix.Product, Colour: m.Mix.Colour, Lot: m.Mix.Lot, At: m.Mix.At,
			}})
		}
	}
	for _, r := range v.Readings {
		if _, gone := v.Backs[r.ID]; !gone {
			r.ByID = ""
			seen.Readings = append(seen.Readings, r)
		}
	}
	return seen
}

// MixOf returns one mix of a stage, for the shop, with the rest of the record.
func (s *Steps) MixOf(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID, mix journal.PaintID) (MixView, PaintView, error) {
	if err := asStaff(a); err != nil {
		return MixView{}, PaintView{}, err
	}
	v, err := s.PaintOf(ctx, a, build, stage)
	if err != nil {
		return MixView{}, v, err
	}
	i := slices.IndexFunc(v.Mixes, func(m MixView) bool { return m.Mix.ID == mix })
	if i < 0 {
		return MixView{}, v, journal.Errorf(journal.NotFound, "There is no such mix on this stage.")
	}
	return v.Mixes[i], v, nil
}

const lostNumber = "This form has lost its number; please open it again and type it once more."

// onStage runs f in one write transaction for the shop, with a stage of a build.
func (s *Steps) onStage(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID, f func(Tx) error) error {
	if err := asStaff(a); err != nil {
		return err
	}
	return s.onBuild(ctx, a, build, func(tx Tx, _ journal.Build) error {
		if _, err := tx.Stage(build, stage); err != nil {
			return err
		}
		return f(tx)
	})
}

// sentTwice reports whether the same thing is among what is recorded under its form's
// id; another one under it is a conflict. id names a thing, plain takes from it what
// the second sending cannot know.
func sentTwice[T any](all []T, one T, id func(T) journal.PaintID, plain func(T) T) (bool, error) {
	for _, old := range all {
		if id(old) != id(one) {
			continue
		}
		if reflect.DeepEqual(plain(old), plain(one)) {
			return true, nil
		}
		return false, journal.Errorf(journal.Conflict, "This form was sent before with something else, which is recorded. Please open a new form for another one.")
	}
	return false, nil
}

// StartMix records a mix about to be poured, on the stage that m names. m.ID comes
// from the form: sending it twice records one. Staff only.
//
// It returns [journal.Invalid] beside the fields of [coating.Mix.Validate].
func (s *Steps) StartMix(ctx context.Context, a Actor, m coating.Mix) error {
	if !isFormID(string(m.ID)) {
		return journal.Errorf(journal.Invalid, lostNumber)
	}
	m.ByID = a.Person.ID
	return s.onStage(ctx, a, m.BuildID, m.StageID, func(tx Tx) error {
		mixes, err := tx.Mixes(m.BuildID)
		if err != nil {
			return err
		}
		again, err := sentTwice(mixes, m, func(m coating.Mix) journal.PaintID { return m.ID }, func(m coating.Mix) coating.Mix { m.At = s.at(); return m })
		if again || err != nil {
			return err
		}
		if err := m.Validate(); err != nil {
			return err
		}
		m.At = s.at()
		if err := tx.AddMix(m); err != nil {
			return err
		}
		return s.record(tx, a, m.BuildID, mixStarted, string(m.ID), mixDetail(m))
	})
}

// Pour records one act beside the scale. number is the act's, as the page that shows
// what to do next gave it: sent twice it is recorded once, and when somebody else was
// faster it is [journal.Conflict]. Staff only.
//
// It returns [journal.Invalid] and [journal.Conflict] as [coating.Batch.Take] does.
func (s *Steps) Pour(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID, mix journal.PaintID, number int, p coating.Pour) error {
	return s.onStage(ctx, a, build, stage, func(tx Tx) error {
		v := PaintView{Build: journal.Build{ID: build}, Stage: journal.Stage{ID: stage}}
		if err := v.gather(tx); err != nil {
			return err
		}
		i := slices.IndexFunc(v.Mixes, func(m MixView) bool { return m.Mix.ID == mix })
		if i < 0 {
			return journal.Errorf(journal.NotFound, "There is no such mix on this stage.")
		}
		x := v.Mixes[i]
		row := coating.PourRow{MixID: mix, Number: number, Pour: p, ByID: a.Person.ID, At: s.at()}
		if _, gone := v.Backs[mix]; gone {
			return journal.Errorf(journal.Conflict, "This mix was taken back; please start a new one.")
		}
		switch n := len(x.Pours); {
		case number >= 1 && number <= n && x.Pours[number-1].Pour == p && x.Pours[number-1].ByID == row.ByID:
			return nil
		case number != n+1:
			return journal.Errorf(journal.Conflict, "Something was poured into this mix since your page was shown. Please look at the scale and the list again.")
		}
		if _, err := x.Batch.Take(p); err != nil {
			return err
		}
		if err := tx.AddPour(row); err != nil {
			return err
		}
		return s.record(tx, a, build, mixPoured, string(mix), pourDetail(row))
	})
}

// AddReading records a film reading on the stage that x names. x.ID comes from the
// form: sending it twice records one. Staff only.
//
// It returns [journal.Invalid] beside the fields of [coating.Reading.Validate].
func (s *Steps) AddReading(ctx context.Context, a Actor, x coating.Reading) error {
	if !isFormID(string(x.ID)) {
		return journal.Errorf(journal.Invalid, lostNumber)
	}
	x.ByID, x.At = a.Person.ID, s.at()
	return s.onStage(ctx, a, x.BuildID, x.StageID, func(tx Tx) error {
		all, err := tx.FilmReadings(x.BuildID)
		if err != nil {
			return err
		}
		again, err := sentTwice(all, x, func(x coating.Reading) journal.PaintID { return x.ID }, func(old coating.Reading) coating.Reading { old.At = x.At; return old })
		if again || err != nil {
			return err
		}
		if err := x.Validate(); err != nil {
			return err
		}
		if err := tx.AddReading(x); err != nil {
			return err
		}
		return s.record(tx, a, x.BuildID, filmRead, string(x.ID), readingDetail(x))
	})
}

// AddUsed records an amount used on the stage that x names; of a mix of that stage
// when x.MixID says so, whose product it then takes. x.ID comes from the form: sending
// it twice records one. Staff only.
//
// It returns [journal.Invalid] beside "mix" and the fields of [coating.Used.Validate].
func (s *Steps) AddUsed(ctx context.Context, a Actor, x coating.Used) error {
	if !isFormID(string(x.ID)) {
		return journal.Errorf(journal.Invalid, lostNumber)
	}
	x.ByID, x.At = a.Person.ID, s.at()
	return s.onStage(ctx, a, x.BuildID, x.StageID, func(tx Tx) error {
		if x.MixID != "" {
			mixes, err := tx.Mixes(x.BuildID)
			if err != nil {
				return err
			}
			i := slices.IndexFunc(mixes, func(m coating.Mix) bool { return m.ID == x.MixID && m.StageID == x.StageID })
			if i < 0 {
				return journal.Problems{"mix": "Please choose a mix of this stage, or none."}.Err()
			}
			x.Product = mixes[i].Product
		}
		all, err := tx.PaintUsed(x.BuildID)
		if err != nil {
			return err
		}
		again, err := sentTwice(all, x, func(x coating.Used) journal.PaintID { return x.ID }, func(old coating.Used) coating.Used { old.At = x.At; return old })
		if again || err != nil {
			return err
		}
		if err := x.Validate(); err != nil {
			return err
		}
		if err := tx.AddUsed(x); err != nil {
			return err
		}
		return s.record(tx, a, x.BuildID, paintUsed, string(x.ID), usedDetail(x))
	})
}

// TakeBackPaint takes back a mix, a reading or an amount used that was recorded
// wrongly; the record keeps it, struck out, with the reason. For who recorded it, and
// the office; once.
//
// It returns [journal.Invalid] beside "reason".
func (s *Steps) TakeBackPaint(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID, id journal.PaintID, reason string) error {
	return s.onStage(ctx, a, build, stage, func(tx Tx) error {
		v := PaintView{Build: journal.Build{ID: build}, Stage: journal.Stage{ID: stage}}
		if err := v.gather(tx); err != nil {
			return err
		}
		by, there := v.recordedBy(id)
		if !there {
			return journal.Errorf(journal.NotFound, "There is no such record on this stage.")
		}
		if by != a.Person.ID && a.Person.Role != journal.Office {
			return journal.Errorf(journal.Forbidden, "Only who recorded it can take it back, or the office.")
		}
		if _, gone := v.Backs[id]; gone {
			return journal.Errorf(journal.Conflict, "This was taken back before.")
		}
		bad := journal.Problems{}
		journal.CheckLine(bad, "reason", reason, 1, 200, "Please say in one line why it is taken back.")
		if err := bad.Err(); err != nil {
			return err
		}
		b := coating.Back{OfID: id, BuildID: build, StageID: stage, Reason: reason, ByID: a.Person.ID, At: s.at()}
		if err := tx.AddPaintBack(b); err != nil {
			return err
		}
		return s.record(tx, a, build, paintTakenBack, string(id), backDetail(b))
	})
}

// recordedBy returns who recorded a thing of the view; false if it has no such thing.
func (v PaintView) recordedBy(id journal.PaintID) (journal.PersonID, bool) {
	for _, x := range v.Mixes {
		if x.Mix.ID == id {
			return x.Mix.ByID, true
		}
	}
	for _, x := range v.Readings {
		if x.ID == id {
			return x.ByID, true
		}
	}
	for _, x := range v.Used {
		if x.ID == id {
			return x.ByID, true
		}
	}
	return "", false
}

// ShowPaint says whether the owner's side sees a stage's paint record, what is added
// later included. Office only; the same again changes nothing.
func (s *Steps) ShowPaint(ctx context.Context, a Actor, build journal.BuildID, stage journal.StageID, audience journal.Audience) error {
	if err := asOffice(a); err != nil {
		return err
	}
	if audience != journal.ShopOnly && audience != journal.OwnerToo {
		return journal.Errorf(journal.Invalid, "Please say whether the owner may see it.")
	}
	return s.onStage(ctx, a, build, stage, func(tx Tx) error {
		now, err := paintAudience(tx, build, stage)
		if err != nil || now == audience {
			return err
		}
		row := coating.Shown{BuildID: build, StageID: stage, Audience: audience, ByID: a.Person.ID, At: s.at()}
		if err := tx.AddPaintShown(row); err != nil {
			return err
		}
		return s.record(tx, a, build, paintShown, string(stage), shownDetail(row))
	})
}
