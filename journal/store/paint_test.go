package store

import (
	"testing"

	"farbay/journal"
	"farbay/journal/coating"
	"farbay/journal/flow"
)

func TestRoundTrip_Paint(t *testing.T) {
	s, f := yard(t), &filler{}
	mix := fill(t, f, func(m *coating.Mix) { m.ID, m.BuildID, m.StageID, m.ByID = "mix", heron, teardown, jory })
	pour := fill(t, f, func(p *coating.PourRow) { p.MixID, p.Number, p.Pour.Act, p.ByID = "mix", 1, coating.Left, jory })
	reading := fill(t, f, func(r *coating.Reading) {
		r.ID, r.BuildID, r.StageID, r.Unit, r.ByID = "reading", heron, teardown, coating.Micrometre, jory
	})
	used := fill(t, f, func(u *coating.Used) {
		u.ID, u.BuildID, u.StageID, u.MixID, u.ByID = "used", heron, teardown, "mix", jory
	})
	back := fill(t, f, func(b *coating.Back) { b.OfID, b.BuildID, b.StageID, b.ByID = "used", heron, teardown, pat })
	shown := fill(t, f, func(v *coating.Shown) {
		v.BuildID, v.StageID, v.Audience, v.ByID = heron, teardown, journal.OwnerToo, pat
	})
	write(t, s, func(tx flow.Tx) error {
		for _, err := range []error{tx.AddMix(mix), tx.AddPour(pour), tx.AddReading(reading), tx.AddUsed(used), tx.AddPaintBack(back), tx.AddPaintShown(shown)} {
			if err != nil {
				return err
			}
		}
		return nil
	})
	same(t, []coating.Mix{mix}, get(t, s, func(r flow.Reads) ([]coating.Mix, error) { return r.Mixes(heron) }))
	same(t, []coating.PourRow{pour}, get(t, s, func(r flow.Reads) ([]coating.PourRow, error) { return r.PaintPours(heron) }))
	same(t, []coating.Reading{reading}, get(t, s, func(r flow.Reads) ([]coating.Reading, error) { return r.FilmReadings(heron) }))
	same(t, []coating.Used{used}, get(t, s, func(r flow.Reads) ([]coating.Used, error) { return r.PaintUsed(heron) }))
	same(t, []coating.Back{back}, get(t, s, func(r flow.Reads) ([]coating.Back, error) { return r.PaintBacks(heron) }))
	same(t, []coating.Shown{shown}, get(t, s, func(r flow.Reads) ([]coating.Shown, error) { return r.PaintShown(heron) }))
	if none := get(t, s, func(r flow.Reads) ([]coating.Mix, error) { return r.Mixes("elsewhere") }); len(none) != 0 {
		t.Errorf("another build has %v", none)
	}

	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddMix(mix) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddPour(pour) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddPaintBack(back) })
}

// The database itself keeps pours without gaps, and lets be taken back only what is
// recorded on the same stage.
func TestPaint_Guards(t *testing.T) {
	s := yard(t)
	write(t, s, func(tx flow.Tx) error {
		return tx.AddMix(coating.Mix{ID: "mix", BuildID: heron, StageID: teardown, Product: "primer", Amount: 1000, ByID: jory, At: noon})
	})
	for name, act := range map[string]func(flow.Tx) error{
		"a gap": func(tx flow.Tx) error {
			return tx.AddPour(coating.PourRow{MixID: "mix", Number: 2, Pour: coating.Pour{Act: coating.Poured, Scale: 1}, ByID: jory, At: noon})
		},
		"an act of none": func(tx flow.Tx) error {
			return tx.AddPour(coating.PourRow{MixID: "mix", Number: 1, Pour: coating.Pour{Act: "spilt"}, ByID: jory, At: noon})
		},
		"taking back nothing": func(tx flow.Tx) error {
			return tx.AddPaintBack(coating.Back{OfID: "other", BuildID: heron, StageID: teardown, Reason: "r", ByID: jory, At: noon})
		},
	} {
		if err := s.Write(t.Context(), act); err == nil {
			t.Errorf("%s went through", name)
		}
	}
}
