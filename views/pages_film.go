package views

import (
	"farbay/journal"
	"farbay/journal/coating"
)

// FilmForm is what was typed into the film-build calculator: "what" ("paint",
// "liner", "powder"), "units" ("us", "metric"), "area", "dry", "solids", "transfer",
// "thinner", "density", "have".
type FilmForm struct{ What, Units, Area, Dry, Solids, Transfer, Thinner, Density, Have string }

// Metric reports whether what is typed is in metric units.
func (f FilmForm) Metric() bool { return f.Units == "metric" }

// FilmResult is what the calculator found, in metric units; 0 for what does not
// apply or was not asked for.
type FilmResult struct {
	Litres    float64 // of paint, before thinning
	Thinner   float64 // litres
	Kilograms float64
	Wet       float64 // micrometres on the comb
	Spread    float64 // m2 a litre, or a kilogram of powder
	Makes     float64 // micrometres that the amount at hand makes
}

// FilmBuild is the film-build calculator. Its form is got from /film-build.
type FilmBuild struct {
	Frame
	Form     FilmForm
	Result   *FilmResult // nil until asked
	Back     Link        // the stage it was opened from; Href "" for none
	BuildID  journal.BuildID
	StageID  journal.StageID // of Back
	Problems journal.Problems
}

// Template names the page's template.
func (FilmBuild) Template() string { return "floor/film_build" }

// Kinds are the coatings to choose from.
func (FilmBuild) Kinds() []Option {
	return []Option{{Value: "paint", Text: "Paint or primer"}, {Value: "liner", Text: "Sprayed liner", Help: "100 % solids unless you type less"}, {Value: "powder", Text: "Powder"}}
}

// UnitSystems are the units to choose from.
func (FilmBuild) UnitSystems() []Option {
	return []Option{{Value: "us", Text: "US", Help: "ft², mil, gallons, pounds, lb/gal"}, {Value: "metric", Text: "Metric", Help: "m², µm, litres, kilograms, kg/L"}}
}

// both says a quantity in both units, the one that was typed in first.
func (f FilmForm) both(metric float64, unit string, us float64, usUnit string) string {
	a, b := significant(us)+nbsp+usUnit, significant(metric)+nbsp+unit
	if f.Metric() {
		a, b = b, a
	}
	return a + " (" + b + ")"
}

// Film says a thickness.
func (p FilmBuild) Film(um float64) string {
	return p.Form.both(um, "µm", um/coating.MicrometresPerMil, "mil")
}

// Volume says litres.
func (p FilmBuild) Volume(litres float64) string {
	return p.Form.both(litres, "L", litres/coating.LitresPerGallon, "gal")
}

// Mass says kilograms.
func (p FilmBuild) Mass(kilograms float64) string {
	return p.Form.both(kilograms, "kg", kilograms/coating.KilogramsPerPound, "lb")
}

// Covers says what a unit of the coating covers.
func (p FilmBuild) Covers(spread float64) string {
	if p.Form.What == "powder" {
		return p.Form.both(spread, "m²/kg", spread*coating.KilogramsPerPound/coating.SquareMetresPerFt, "ft²/lb")
	}
	return p.Form.both(spread, "m²/L", spread*coating.LitresPerGallon/coating.SquareMetresPerFt, "ft²/gal")
}

var _ = declare(FilmBuild{})
