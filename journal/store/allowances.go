package store

import (
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

type allowanceRow struct {
	Added    int64 `gorm:"primaryKey"`
	ID       string
	BuildID  string
	PaperID  string
	PerFind  int64
	PerMonth int64
	FromAt   instant
	EndedAt  instant
	EndedBy  ref
}

func (allowanceRow) TableName() string { return "allowances" }

func toAllowanceRow(a signoff.Allowance) allowanceRow {
	return allowanceRow{
		ID: string(a.ID), BuildID: string(a.BuildID), PaperID: string(a.PaperID), PerFind: int64(a.Limits.PerFind), PerMonth: int64(a.Limits.PerMonth),
		FromAt: at(a.FromAt), EndedAt: at(a.EndedAt), EndedBy: ref(a.EndedBy),
	}
}

func (r allowanceRow) allowance() signoff.Allowance {
	return signoff.Allowance{
		ID: journal.AllowanceID(r.ID), BuildID: journal.BuildID(r.BuildID), PaperID: journal.PaperID(r.PaperID),
		Limits: signoff.Limits{PerFind: journal.Cents(r.PerFind), PerMonth: journal.Cents(r.PerMonth)},
		FromAt: r.FromAt.Time, EndedAt: r.EndedAt.Time, EndedBy: journal.PersonID(r.EndedBy),
	}
}

func (r *reads) Allowances(build journal.BuildID) ([]signoff.Allowance, error) {
	return find(r, "Allowances", r.q().Where("build_id = ?", string(build)).Order("added"), allowanceRow.allowance)
}

func (r *reads) Allowance(build journal.BuildID) (signoff.Allowance, error) {
	return take(r, "Allowance", "No standing allowance is in force on this build.", r.q().Where("build_id = ? AND ended_at = ''", string(build)), allowanceRow.allowance)
}

func (t *tx) AddAllowance(a signoff.Allowance) error {
	row := toAllowanceRow(a)
	return t.add("AddAllowance", "A standing allowance is in force on this build already.", &row)
}

func (t *tx) EndAllowance(build journal.BuildID, by journal.PersonID, when time.Time) error {
	_, err := t.exec("EndAllowance", "UPDATE allowances SET ended_at = ?, ended_by = ? WHERE build_id = ? AND ended_at = ''", at(when), ref(by), string(build))
	return err
}

type useRow struct {
	Added       int64 `gorm:"primaryKey"`
	ID          string
	BuildID     string
	AllowanceID string
	Number      int
	EntryID     string
	StageID     string
	Title       string
	Reason      string
	Lines       list[lineJSON]
	Photos      list[evidenceJSON]
	Amount      int64
	Tax         int64
	Month       string
	ByID        string
	At          instant
}

func (useRow) TableName() string { return "allowance_uses" }

func toUseRow(u signoff.Use) useRow {
	return useRow{
		ID: string(u.ID), BuildID: string(u.BuildID), AllowanceID: string(u.AllowanceID), Number: u.Number,
		EntryID: string(u.EntryID), StageID: string(u.StageID), Title: u.Title, Reason: u.Reason,
		Lines:  listOf(each(u.Lines, func(l signoff.Line) lineJSON { return lineJSON(l) })),
		Photos: listOf(each(u.Photos, func(e signoff.Evidence) evidenceJSON { return evidenceJSON(e) })),
		Amount: int64(u.Amount), Tax: int64(u.Tax), Month: u.Month, ByID: string(u.ByID), At: at(u.At),
	}
}

func (r useRow) use() signoff.Use {
	return signoff.Use{
		ID: journal.UseID(r.ID), BuildID: journal.BuildID(r.BuildID), AllowanceID: journal.AllowanceID(r.AllowanceID), Number: r.Number,
		EntryID: journal.EntryID(r.EntryID), StageID: journal.StageID(r.StageID), Title: r.Title, Reason: r.Reason,
		Lines:  each(r.Lines.Items, func(l lineJSON) signoff.Line { return signoff.Line(l) }),
		Photos: each(r.Photos.Items, func(e evidenceJSON) signoff.Evidence { return signoff.Evidence(e) }),
		Amount: journal.Cents(r.Amount), Tax: journal.Cents(r.Tax), Month: r.Month, ByID: journal.PersonID(r.ByID), At: r.At.Time,
	}
}

// usePhotoRow notes an evidence photo, which the owner's side sees from then on.
type usePhotoRow struct {
	UseID   string `gorm:"primaryKey"`
	PhotoID string `gorm:"primaryKey"`
	BuildID string
}

func (usePhotoRow) TableName() string { return "use_photos" }

func (r *reads) Uses(build journal.BuildID) ([]signoff.Use, error) {
	return find(r, "Uses", r.q().Where("build_id = ?", string(build)).Order("number"), useRow.use)
}

// AddUse implements [flow.Tx].
func (t *tx) AddUse(u signoff.Use) error {
	const op = "AddUse"
	row := toUseRow(u)
	seen := map[journal.PhotoID]bool{}
	var evidence []usePhotoRow
	for _, p := range u.Photos {
		if !seen[p.PhotoID] {
			seen[p.PhotoID] = true
			evidence = append(evidence, usePhotoRow{UseID: row.ID, PhotoID: string(p.PhotoID), BuildID: row.BuildID})
		}
	}
	return t.whole(op, func() error {
		if err := t.add(op, "There is a use of this number already.", &row); err != nil || len(evidence) == 0 {
			return err
		}
		return t.add(op, "", &evidence)
	})
}
