package coating

import (
	"math"
)

// Exact factors between units; see the package comment.
const (
	MicrometresPerMil = 25.4
	SquareMetresPerFt = 0.3048 * 0.3048
	LitresPerGallon   = 3.785411784
	KilogramsPerPound = 0.45359237
)

// Paint is a paint or liner as it is sprayed. Shares are fractions: 0.65 is 65 %.
type Paint struct {
	Solids   float64 // by volume, above 0 and at most 1
	Transfer float64 // what of it reaches the work, above 0 and at most 1
	Thinner  float64 // volume of thinner for one of paint, 0 or more
}

// Spread returns how many square metres one litre covers at a dry film, in
// micrometres. Thinner does not count: it evaporates.
func (p Paint) Spread(dry float64) float64 { return 1000 * p.Solids * p.Transfer / dry }

// Need returns how many litres an area in square metres takes at a dry film in
// micrometres: of the paint, and of the thinner that goes into it.
func (p Paint) Need(area, dry float64) (paint, thinner float64) {
	paint = area / p.Spread(dry)
	return paint, paint * p.Thinner
}

// Wet returns the wet film that dries to a dry one, both in the same unit.
func (p Paint) Wet(dry float64) float64 { return dry * (1 + p.Thinner) / p.Solids }

// DryOf returns the dry film of a wet one, both in the same unit.
func (p Paint) DryOf(wet float64) float64 { return wet * p.Solids / (1 + p.Thinner) }

// Makes returns the dry film in micrometres that litres of paint, counted before
// thinning, make on an area in square metres.
func (p Paint) Makes(litres, area float64) float64 {
	return 1000 * litres * p.Solids * p.Transfer / area
}

// Powder is a coating powder.
type Powder struct {
	Gravity  float64 // specific gravity, in effect g/cm3
	Transfer float64 // what of it stays on the work, above 0 and at most 1
}

// Spread returns how many square metres one kilogram covers at a film in
// micrometres.
func (p Powder) Spread(film float64) float64 { return 1000 * p.Transfer / (p.Gravity * film) }

// Need returns how many kilograms an area in square metres takes.
func (p Powder) Need(area, film float64) float64 { return area / p.Spread(film) }

// Makes returns the film in micrometres that kilograms make on an area in square
// metres.
func (p Powder) Makes(kilograms, area float64) float64 {
	return 1000 * kilograms * p.Transfer / (p.Gravity * area)
}

// Round returns x to three significant figures, as it is shown; what is not finite
// or not above 0 stays as it is.
func Round(x float64) float64 {
	if x <= 0 || math.IsInf(x, 0) || math.IsNaN(x) {
		return x
	}
	unit := math.Pow(10, 2-math.Floor(math.Log10(x)))
	return math.Round(x*unit) / unit
}
