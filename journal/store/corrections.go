package store

import (
	"time"

	"farbay/journal"
)

type correctionRow struct {
	Added        int64 `gorm:"primaryKey"`
	ID           string
	Camera       string
	FromAt       instant
	ToAt         instant
	ShiftSeconds int
	Why          string
	BuildID      ref
	PhotoID      ref
	ByID         string
	At           instant
	UndoneAt     instant
	UndoneBy     ref
}

func (correctionRow) TableName() string { return "clock_corrections" }

func toCorrectionRow(c journal.ClockCorrection) correctionRow {
	return correctionRow{
		ID: string(c.ID), Camera: c.Camera, FromAt: at(c.From), ToAt: at(c.To), ShiftSeconds: c.ShiftSeconds, Why: c.Why,
		BuildID: ref(c.BuildID), PhotoID: ref(c.PhotoID), ByID: string(c.ByID), At: at(c.At), UndoneAt: at(c.UndoneAt), UndoneBy: ref(c.UndoneBy),
	}
}

func (r correctionRow) correction() journal.ClockCorrection {
	return journal.ClockCorrection{
		ID: journal.CorrectionID(r.ID), Camera: r.Camera, From: r.FromAt.Time, To: r.ToAt.Time, ShiftSeconds: r.ShiftSeconds, Why: r.Why,
		BuildID: journal.BuildID(r.BuildID), PhotoID: journal.PhotoID(r.PhotoID), ByID: journal.PersonID(r.ByID), At: r.At.Time,
		UndoneAt: r.UndoneAt.Time, UndoneBy: journal.PersonID(r.UndoneBy),
	}
}

const noCorrection = "There is no such clock correction."

// Corrections implements [flow.Reads].
func (r *reads) Corrections() ([]journal.ClockCorrection, error) {
	return find(r, "Corrections", r.q().Order("added"), correctionRow.correction)
}

// CorrectionsOf implements [flow.Reads].
func (r *reads) CorrectionsOf(camera string) ([]journal.ClockCorrection, error) {
	return find(r, "CorrectionsOf", r.q().Where("camera = ?", camera).Order("added"), correctionRow.correction)
}

// Correction implements [flow.Reads].
func (r *reads) Correction(id journal.CorrectionID) (journal.ClockCorrection, error) {
	return take(r, "Correction", noCorrection, r.q().Where("id = ?", string(id)), correctionRow.correction)
}

// AddCorrection implements [flow.Tx].
func (t *tx) AddCorrection(c journal.ClockCorrection) error {
	row := toCorrectionRow(c)
	return t.add("AddCorrection", "There is such a clock correction already.", &row)
}

// UndoCorrection implements [flow.Tx].
func (t *tx) UndoCorrection(id journal.CorrectionID, by journal.PersonID, when time.Time) error {
	n, err := t.exec("UndoCorrection", "UPDATE clock_corrections SET undone_at = ?, undone_by = ? WHERE id = ? AND undone_at = ''",
		at(when), string(by), string(id))
	if err == nil && n == 0 {
		return journal.Errorf(journal.Conflict, "This clock correction has been undone already.")
	}
	return err
}
