package coating

import (
	"slices"
	"time"

	"farbay/journal"
)

// Mix is a batch mixed on a stage, as it is recorded. It is never changed; what is
// done beside the scale is added as [PourRow]s.
type Mix struct {
	ID      journal.PaintID
	BuildID journal.BuildID
	StageID journal.StageID
	Product string // "two-part topcoat, gloss"
	Colour  string // with its code; "" for a clear or a primer of no colour
	Lot     string // the maker's batch number, from the tin
	For     string // "doors and hood, first coat"
	Formula Formula
	Amount  Weight // asked for
	ByID    journal.PersonID
	At      time.Time
}

// Validate checks what a person enters, field by field: "product", "colour", "lot",
// "for", "amount", and those of [Formula.Validate].
func (m Mix) Validate() error {
	bad := journal.ProblemsOf(m.Formula.Validate())
	journal.CheckLine(bad, "product", m.Product, 1, 80, "Please name the product as its tin does, at most 80 characters.")
	journal.CheckLine(bad, "colour", m.Colour, 0, 60, "Please keep the colour to one line of at most 60 characters.")
	journal.CheckLine(bad, "lot", m.Lot, 0, 60, "Please keep the batch number to at most 60 characters.")
	journal.CheckLine(bad, "for", m.For, 1, 120, "Please say what it is for, such as: doors and hood, first coat.")
	if len(bad) > 0 {
		return bad.Err()
	}
	_, err := m.Formula.Pours(m.Amount)
	return err
}

// PourRow is one act beside the scale, as it is recorded.
type PourRow struct {
	MixID  journal.PaintID
	Number int // 1, 2, 3 ...
	Pour   Pour
	ByID   journal.PersonID
	At     time.Time
}

// Pours are the acts of rows.
func Pours(rows []PourRow) []Pour {
	var pours []Pour
	for _, r := range rows {
		pours = append(pours, r.Pour)
	}
	return pours
}

// Unit is a unit of a recorded figure.
type Unit string

// Units of film readings, and of amounts used.
const (
	Mil         Unit = "mil"
	Micrometre  Unit = "µm"
	UsedGrams   Unit = "g"
	UsedKilos   Unit = "kg"
	UsedPounds  Unit = "lb"
	UsedMillis  Unit = "mL"
	UsedLitres  Unit = "L"
	UsedOunces  Unit = "fl oz"
	UsedQuarts  Unit = "qt"
	UsedGallons Unit = "gal"
)

// FilmUnits and AmountUnits are the units to choose from.
var (
	FilmUnits   = []Unit{Mil, Micrometre}
	AmountUnits = []Unit{UsedGrams, UsedKilos, UsedMillis, UsedLitres, UsedOunces, UsedQuarts, UsedGallons, UsedPounds}
)

// Substrates are what a film can lie on; a gauge is set for one of them.
var Substrates = []string{"bare steel", "galvanised steel", "aluminium", "fibreglass or plastic", "old paint or filler"}

// Reading is a film reading taken on a stage.
type Reading struct {
	ID        journal.PaintID
	BuildID   journal.BuildID
	StageID   journal.StageID
	Place     string // "left door, centre"
	Coat      string // what was measured: "primer", "all coats"; may be ""
	Substrate string // one of [Substrates]
	Film      Milli
	Unit      Unit // one of [FilmUnits]
	ByID      journal.PersonID
	At        time.Time
}

// thickest bounds a reading: 10 mm, which is above any liner.
const thickest = 10_000.0 // micrometres

// Validate checks a reading: "place", "coat", "substrate", "film", "unit".
func (r Reading) Validate() error {
	bad := journal.Problems{}
	journal.CheckLine(bad, "place", r.Place, 1, 80, "Please say where it was taken, such as: left door, centre.")
	journal.CheckLine(bad, "coat", r.Coat, 0, 60, "Please keep the coat to at most 60 characters.")
	if !slices.Contains(Substrates, r.Substrate) {
		bad.Add("substrate", "Please choose what is under the paint; the gauge is set for it.")
	}
	um := r.Film.Float()
	if r.Unit == Mil {
		um *= MicrometresPerMil
	}
	switch {
	case !slices.Contains(FilmUnits, r.Unit):
		bad.Add("unit", "Please choose the unit the gauge shows.")
	case r.Film <= 0 || um > thickest:
		bad.Add("film", "A reading is more than 0 and at most 10 mm; please look at the figure and its unit.")
	}
	return bad.Err()
}

// Used is an amount of a product used up on a stage.
type Used struct {
	ID      journal.PaintID
	BuildID journal.BuildID
	StageID journal.StageID
	MixID   journal.PaintID // the mix it was of; "" for none
	Product string
	Amount  Milli
	Unit    Unit // one of [AmountUnits]
	For     string
	ByID    journal.PersonID
	At      time.Time
}

// Validate checks an amount used: "product", "used", "used_unit", "for".
func (u Used) Validate() error {
	bad := journal.Problems{}
	journal.CheckLine(bad, "product", u.Product, 1, 80, "Please name the product, or choose the mix it was of.")
	journal.CheckLine(bad, "for", u.For, 1, 120, "Please say what it was used for, such as: inside of the tub.")
	if u.Amount <= 0 {
		bad.Add("used", "Please type how much was used.")
	}
	if !slices.Contains(AmountUnits, u.Unit) {
		bad.Add("used_unit", "Please choose the unit of the amount.")
	}
	return bad.Err()
}

// Back takes a mix, a reading or an amount used back: it was recorded wrongly.
type Back struct {
	OfID    journal.PaintID
	BuildID journal.BuildID
	StageID journal.StageID
	Reason  string
	ByID    journal.PersonID
	At      time.Time
}

// Shown says who sees a stage's paint record from then on; the last one counts, and
// before the first it is [journal.ShopOnly].
type Shown struct {
	BuildID  journal.BuildID
	StageID  journal.StageID
	Audience journal.Audience
	ByID     journal.PersonID
	At       time.Time
}
