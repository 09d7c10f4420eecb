package server

import (
	"net/http"

	"github.com/labstack/echo/v4"

	"farbay/journal"
	"farbay/journal/coating"
	"farbay/views"
)

// filmBuild reckons how much of a coating an area takes, and how thick an amount
// comes out. It keeps nothing; what is typed stands in the address. GET /film-build
func (a *App) filmBuild(c echo.Context) error {
	f := formOf(c.QueryParams())
	typed := views.FilmForm{
		What: f.raw("what"), Units: f.raw("units"), Area: f.raw("area"), Dry: f.raw("dry"), Solids: f.raw("solids"),
		Transfer: f.raw("transfer"), Thinner: f.raw("thinner"), Density: f.raw("density"), Have: f.raw("have"),
	}
	frame, err := a.frame(c, "How much, how thick?")
	if err != nil {
		return err
	}
	page := views.FilmBuild{Frame: frame, Form: typed}
	if build, stage := f.line("build"), f.line("stage"); build != "" && stage != "" {
		v, err := a.steps.PaintOf(c.Request().Context(), actor(c), journal.BuildID(build), journal.StageID(stage))
		if err != nil {
			return err
		}
		page.BuildID, page.StageID = v.Build.ID, v.Stage.ID
		page.Back = views.Link{Text: "Paint record of " + v.Stage.Name + ", " + v.Build.Nickname, Href: paintPath(v.Build.ID, v.Stage.ID)}
	}
	if !f.has("what") {
		page.Form.What, page.Form.Units = "paint", "us"
		return a.show(c, http.StatusOK, page)
	}
	result := f.film(typed)
	if page.Problems = f.bad; len(f.bad) > 0 {
		return a.show(c, http.StatusUnprocessableEntity, page)
	}
	page.Result = &result
	return a.show(c, http.StatusOK, page)
}

// share reads a per cent between above least and most, or absent when nothing was
// typed.
func (f *form) share(name string, absent, least, most float64, sentence string) float64 {
	if f.line(name) == "" {
		return absent
	}
	n := f.milli(name).Float()
	if n <= least || n > most {
		f.bad.Add(name, "%s", sentence)
	}
	return n / 100
}

// film reads the calculator's form and reckons.
func (f *form) film(typed views.FilmForm) views.FilmResult {
	if typed.What != "paint" && typed.What != "liner" && typed.What != "powder" {
		f.bad.Add("what", "Please choose the coating.")
	}
	if typed.Units != "us" && typed.Units != "metric" {
		f.bad.Add("units", "Please choose the units of what you type.")
	}
	metres, micrometres, litres, kilograms := coating.SquareMetresPerFt, coating.MicrometresPerMil, coating.LitresPerGallon, coating.KilogramsPerPound
	perLitre := kilograms / litres // lb/gal in kg/L
	if typed.Metric() {
		metres, micrometres, litres, kilograms, perLitre = 1, 1, 1, 1, 1
	}
	area, dry := f.milli("area").Float()*metres, f.milli("dry").Float()*micrometres
	if area <= 0 {
		f.bad.Add("area", "Please type the area, more than 0.")
	}
	if dry <= 0 || dry > 25_400 {
		f.bad.Add("dry", "Please type the dry film, more than 0 and at most an inch; the data sheet names it.")
	}
	transfer := f.share("transfer", 1, 0, 100, "What reaches the work is more than 0 and at most 100 %.")
	density, have := f.milli("density").Float(), f.milli("have").Float()
	if typed.What == "powder" {
		if density < 0.5 || density > 8 {
			f.bad.Add("density", "Please type the powder's specific gravity, such as 1.6; it stands on its data sheet.")
		}
		p := coating.Powder{Gravity: density, Transfer: transfer}
		if len(f.bad) > 0 {
			return views.FilmResult{}
		}
		return views.FilmResult{Kilograms: p.Need(area, dry), Spread: p.Spread(dry), Makes: p.Makes(have*kilograms, area)}
	}
	solids := f.share("solids", 1, 0, 100, "Solids by volume are more than 0 and at most 100 %.")
	if typed.What == "paint" && f.line("solids") == "" {
		f.bad.Add("solids", "Please type the solids by volume; they stand on the data sheet.")
	}
	p := coating.Paint{Solids: solids, Transfer: transfer, Thinner: f.share("thinner", 0, -1, 200, "Thinner is at most 200 % of the paint.")}
	if density *= perLitre; f.line("density") != "" && (density < 0.3 || density > 8) {
		f.bad.Add("density", "No paint weighs that; please look at the density and its unit.")
	}
	if len(f.bad) > 0 {
		return views.FilmResult{}
	}
	r := views.FilmResult{Wet: p.Wet(dry), Spread: p.Spread(dry), Makes: p.Makes(have*litres, area)}
	r.Litres, r.Thinner = p.Need(area, dry)
	r.Kilograms = r.Litres * density
	return r
}
