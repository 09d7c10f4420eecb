package store

import (
	"farbay/journal"
	"farbay/journal/coating"
)

type mixRow struct {
	Added   int64 `gorm:"primaryKey"`
	ID      string
	BuildID string
	StageID string
	Product string
	Colour  string
	Lot     string
	UsedFor string
	Formula object[formulaJSON]
	Amount  int64
	ByID    string
	At      instant
}

func (mixRow) TableName() string { return "mixes" }

// formulaJSON is a formula inside a JSON column: parts and densities in
// thousandths, the step in tenths of a gram.
type formulaJSON struct {
	By         coating.By          `json:"by"`
	Densities  coating.DensityUnit `json:"densities,omitempty"`
	Step       coating.Weight      `json:"step"`
	Components []componentJSON     `json:"components"`
}

type componentJSON struct {
	Name    string        `json:"name"`
	Parts   coating.Milli `json:"parts"`
	Density coating.Milli `json:"density,omitempty"`
}

func toMixRow(m coating.Mix) mixRow {
	formula := formulaJSON{
		By: m.Formula.By, Densities: m.Formula.Densities, Step: m.Formula.Step,
		Components: each(m.Formula.Components, func(c coating.Component) componentJSON { return componentJSON(c) }),
	}
	return mixRow{
		ID: string(m.ID), BuildID: string(m.BuildID), StageID: string(m.StageID), Product: m.Product, Colour: m.Colour, Lot: m.Lot, UsedFor: m.For,
		Formula: object[formulaJSON]{formula}, Amount: int64(m.Amount), ByID: string(m.ByID), At: at(m.At),
	}
}

func (r mixRow) mix() coating.Mix {
	return coating.Mix{
		ID: journal.PaintID(r.ID), BuildID: journal.BuildID(r.BuildID), StageID: journal.StageID(r.StageID), Product: r.Product, Colour: r.Colour, Lot: r.Lot, For: r.UsedFor,
		Formula: coating.Formula{
			By: r.Formula.V.By, Densities: r.Formula.V.Densities, Step: r.Formula.V.Step,
			Components: each(r.Formula.V.Components, func(c componentJSON) coating.Component { return coating.Component(c) }),
		},
		Amount: coating.Weight(r.Amount), ByID: journal.PersonID(r.ByID), At: r.At.Time,
	}
}

type pourRow struct {
	MixID     string `gorm:"primaryKey"`
	Number    int    `gorm:"primaryKey;autoIncrement:false"`
	Act       string
	Component int
	Scale     int64
	ByID      string
	At        instant
}

func (pourRow) TableName() string { return "pours" }

func (r pourRow) pour() coating.PourRow {
	return coating.PourRow{
		MixID: journal.PaintID(r.MixID), Number: r.Number, Pour: coating.Pour{Act: coating.Act(r.Act), Component: r.Component, Scale: coating.Weight(r.Scale)},
		ByID: journal.PersonID(r.ByID), At: r.At.Time,
	}
}

type readingRow struct {
	Added     int64 `gorm:"primaryKey"`
	ID        string
	BuildID   string
	StageID   string
	Place     string
	Coat      string
	Substrate string
	Film      int64
	Unit      string
	ByID      string
	At        instant
}

func (readingRow) TableName() string { return "film_readings" }

func (r readingRow) reading() coating.Reading {
	return coating.Reading{
		ID: journal.PaintID(r.ID), BuildID: journal.BuildID(r.BuildID), StageID: journal.StageID(r.StageID), Place: r.Place, Coat: r.Coat,
		Substrate: r.Substrate, Film: coating.Milli(r.Film), Unit: coating.Unit(r.Unit), ByID: journal.PersonID(r.ByID), At: r.At.Time,
	}
}

type usedRow struct {
	Added   int64 `gorm:"primaryKey"`
	ID      string
	BuildID string
	StageID string
	MixID   ref
	Product string
	Amount  int64
	Unit    string
	UsedFor string
	ByID    string
	At      instant
}

func (usedRow) TableName() string { return "paint_used" }

func (r usedRow) used() coating.Used {
	return coating.Used{
		ID: journal.PaintID(r.ID), BuildID: journal.BuildID(r.BuildID), StageID: journal.StageID(r.StageID), MixID: journal.PaintID(r.MixID), Product: r.Product,
		Amount: coating.Milli(r.Amount), Unit: coating.Unit(r.Unit), For: r.UsedFor, ByID: journal.PersonID(r.ByID), At: r.At.Time,
	}
}

type paintBackRow struct {
	OfID    string `gorm:"primaryKey"`
	BuildID string
	StageID string
	Reason  string
	ByID    string
	At      instant
}

func (paintBackRow) TableName() string { return "paint_backs" }

func (r paintBackRow) back() coating.Back {
	return coating.Back{
		OfID: journal.PaintID(r.OfID), BuildID: journal.BuildID(r.BuildID), StageID: journal.StageID(r.StageID), Reason: r.Reason, ByID: journal.PersonID(r.ByID), At: r.At.Time,
	}
}

type paintShownRow struct {
	Added    int64 `gorm:"primaryKey"`
	BuildID  string
	StageID  string
	Audience string
	ByID     string
	At       instant
}

func (paintShownRow) TableName() string { return "paint_shown" }

func (r paintShownRow) shown() coating.Shown {
	return coating.Shown{
		BuildID: journal.BuildID(r.BuildID), StageID: journal.StageID(r.StageID), Audience: journal.Audience(r.Audience), ByID: journal.PersonID(r.ByID), At: r.At.Time,
	}
}

// Mixes implements [flow.Reads].
func (r *reads) Mixes(build journal.BuildID) ([]coating.Mix, error) {
	return find(r, "Mixes", r.q().Where("build_id = ?", string(build)).Order("added"), mixRow.mix)
}

// PaintPours implements [flow.Reads].
func (r *reads) PaintPours(build journal.BuildID) ([]coating.PourRow, error) {
	q := r.q().Where("mix_id IN (SELECT id FROM mixes WHERE build_id = ?)", string(build))
	return find(r, "PaintPours", q.Order("mix_id, number"), pourRow.pour)
}

// FilmReadings implements [flow.Reads].
func (r *reads) FilmReadings(build journal.BuildID) ([]coating.Reading, error) {
	return find(r, "FilmReadings", r.q().Where("build_id = ?", string(build)).Order("added"), readingRow.reading)
}

// PaintUsed implements [flow.Reads].
func (r *reads) PaintUsed(build journal.BuildID) ([]coating.Used, error) {
	return find(r, "PaintUsed", r.q().Where("build_id = ?", string(build)).Order("added"), usedRow.used)
}

// PaintBacks implements [flow.Reads].
func (r *reads) PaintBacks(build journal.BuildID) ([]coating.Back, error) {
	return find(r, "PaintBacks", r.q().Where("build_id = ?", string(build)).Order("at, of_id"), paintBackRow.back)
}

// PaintShown implements [flow.Reads].
func (r *reads) PaintShown(build journal.BuildID) ([]coating.Shown, error) {
	return find(r, "PaintShown", r.q().Where("build_id = ?", string(build)).Order("added"), paintShownRow.shown)
}

const samePaint = "This is recorded already."

// AddMix implements [flow.Tx].
func (t *tx) AddMix(m coating.Mix) error {
	row := toMixRow(m)
	return t.add("AddMix", samePaint, &row)
}

// AddPour implements [flow.Tx].
func (t *tx) AddPour(p coating.PourRow) error {
	row := pourRow{MixID: string(p.MixID), Number: p.Number, Act: string(p.Pour.Act), Component: p.Pour.Component, Scale: int64(p.Pour.Scale), ByID: string(p.ByID), At: at(p.At)}
	return t.add("AddPour", "Somebody else has poured into this mix meanwhile.", &row)
}

// AddReading implements [flow.Tx].
func (t *tx) AddReading(r coating.Reading) error {
	row := readingRow{
		ID: string(r.ID), BuildID: string(r.BuildID), StageID: string(r.StageID), Place: r.Place, Coat: r.Coat, Substrate: r.Substrate,
		Film: int64(r.Film), Unit: string(r.Unit), ByID: string(r.ByID), At: at(r.At),
	}
	return t.add("AddReading", samePaint, &row)
}

// AddUsed implements [flow.Tx].
func (t *tx) AddUsed(u coating.Used) error {
	row := usedRow{
		ID: string(u.ID), BuildID: string(u.BuildID), StageID: string(u.StageID), MixID: ref(u.MixID), Product: u.Product,
		Amount: int64(u.Amount), Unit: string(u.Unit), UsedFor: u.For, ByID: string(u.ByID), At: at(u.At),
	}
	return t.add("AddUsed", samePaint, &row)
}

// AddPaintBack implements [flow.Tx].
func (t *tx) AddPaintBack(b coating.Back) error {
	row := paintBackRow{OfID: string(b.OfID), BuildID: string(b.BuildID), StageID: string(b.StageID), Reason: b.Reason, ByID: string(b.ByID), At: at(b.At)}
	return t.add("AddPaintBack", "This was taken back before.", &row)
}

// AddPaintShown implements [flow.Tx].
func (t *tx) AddPaintShown(s coating.Shown) error {
	row := paintShownRow{BuildID: string(s.BuildID), StageID: string(s.StageID), Audience: string(s.Audience), ByID: string(s.ByID), At: at(s.At)}
	return t.add("AddPaintShown", "", &row)
}
