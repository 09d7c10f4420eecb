package views

import (
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/coating"
)

func clearMix() coating.Mix {
	return coating.Mix{ID: "m1", BuildID: "h", StageID: "sp", Product: "Two-part clear, gloss", Colour: "clear", Lot: "L-2291", For: "doors and hood, second coat", Amount: 5930, At: ago(1),
		Formula: coating.Formula{By: coating.ByVolume, Densities: coating.GramsPerMillilitre, Step: coating.Tenth, Components: []coating.Component{
			{Name: "Clear", Parts: 4000, Density: 1000}, {Name: "Hardener", Parts: 1000, Density: 1060}, {Name: "Reducer", Parts: 1000, Density: 870}}}}
}

func mixing(pours ...coating.Weight) Mixing {
	m := clearMix()
	p := Mixing{Frame: heronFrame("Two-part clear, gloss", "/stages/sp/mix/m1"), Stage: journal.Stage{ID: "sp", Name: "Paint and liner"}, Mix: m, Number: len(pours) + 1, By: "Ines Varga"}
	p.Batch = must(m.Formula.Begin(m.Amount))
	for _, scale := range pours {
		p.Batch = must(p.Batch.Take(coating.Pour{Act: coating.Poured, Component: p.Batch.Steps()[0].Component, Scale: scale}))
	}
	return p
}

func paintRecord(audience journal.Audience, role journal.Role) PaintRecord {
	p := PaintRecord{Frame: heronFrame("Paint record", "/stages/sp/paint"), Stage: journal.Stage{ID: "sp", Name: "Paint and liner"}, Audience: audience,
		Reading: ReadingForm{ID: "r", Coat: "all coats", Substrate: "bare steel", Unit: "mil"}, UsedUp: UsedForm{ID: "u", Unit: "g"}}
	p.Person = &Who{Name: "Ines Varga", Role: role}
	back := BackLine{Words: p.Words, ID: "x1", Action: "/builds/h/stages/sp/paint/x1/back", What: "the reading at left door, centre"}
	gone := BackLine{Words: p.Words, Gone: true, By: "Mara Lind", At: ago(0), Why: "the gauge was not set"}
	refused := back
	mix := back
	mix.ID, mix.Action = "m1", "/builds/h/stages/sp/paint/m1/back"
	refused.ID, refused.Action, refused.Reason, refused.Problems = "x3", "/builds/h/stages/sp/paint/x3/back", "", journal.Problems{"reason": "Please say in one line why it is taken back."}
	p.Mixes = []MixItem{{Mix: clearMix(), Total: 6601, Done: true, By: "Ines Varga", Back: mix, Parts: []InCup{{Name: "Clear", In: 4453}, {Name: "Hardener", In: 1180}, {Name: "Reducer", In: 968}}},
		{Mix: clearMix(), By: "Ines Varga", Back: gone}}
	p.Readings = []ReadingItem{{Reading: coating.Reading{ID: "x1", Place: "left door, centre", Coat: "all coats", Substrate: "bare steel", Film: 4200, Unit: coating.Mil, At: ago(0)}, By: "Tomas Reed", Back: back},
		{Reading: coating.Reading{ID: "x2", Place: "hood", Substrate: "aluminium", Film: 107000, Unit: coating.Micrometre, At: ago(1)}, By: "Tomas Reed", Back: gone}}
	p.Used = []UsedItem{{Used: coating.Used{ID: "x3", Product: "Two-part clear, gloss", Amount: 640_000, Unit: coating.UsedGrams, For: "doors", At: ago(1)}, By: "Ines Varga", Back: refused}}
	return p
}

func paintShown() *PaintShown {
	r := paintRecord(journal.OwnerToo, journal.Office)
	return &PaintShown{Words: givenWords, Coats: []coating.Mix{clearMix()}, Readings: []coating.Reading{r.Readings[0].Reading, r.Readings[1].Reading}}
}

func filmBuild(what, units string, r *FilmResult) FilmBuild {
	return FilmBuild{Frame: heronFrame("How much, how thick?", "/film-build"), Form: FilmForm{What: what, Units: units, Area: "200", Dry: "100"}, Result: r,
		Back: Link{Text: "Paint record of Paint and liner, Heron", Href: "/builds/h/stages/sp/paint"}, BuildID: "h", StageID: "sp"}
}

// paintPages are all pages of mixing, paint records and film build.
func paintPages() map[string]Page {
	return map[string]Page{
		"mix-new": MixNew{Frame: heronFrame("Mix paint", "/stages/sp/mix"), Stage: journal.Stage{ID: "sp", Name: "Paint and liner"}, Earlier: []coating.Mix{clearMix()}, Chosen: "m1",
			Form:     MixForm{ID: "i", Product: "Two-part clear", By: "volume", Densities: "g/mL", Step: "0.1", AskedIn: "mL", Components: []ComponentForm{{"Clear", "4", "1.00"}, {"Hardener", "1", ""}, {}}},
			Problems: journal.Problems{"components.1.density": "Parts by volume can only be weighed with the density; it stands on the data sheet.", "components": "A mix has between 2 and 12 components."}},
		"mixing-begun": mixing(), "mixing-over": mixing(4000, 5180), "mixing-topping": mixing(4000, 5180, 5633), "mixing-done": mixing(4000, 5180, 5633, 6601),
		"mixing-taken-back": func() Mixing {
			p := mixing(4000)
			p.Back, p.BackBy = &coating.Back{Reason: "The cup tipped over."}, "Mara Lind"
			return p
		}(),
		"mixing-refused": func() Mixing {
			p := mixing(4000)
			p.Scale, p.Problems = "390", journal.Problems{"scale": "The scale showed 400.0 g before, so it shows more now."}
			return p
		}(),
		"paint-record": paintRecord(journal.ShopOnly, journal.Office), "paint-record-shared": paintRecord(journal.OwnerToo, journal.Floor),
		"paint-record-empty": PaintRecord{Frame: heronFrame("Paint record", "/stages/sp/paint"), Stage: journal.Stage{ID: "sp", Name: "Paint and liner"}},
		"film-build":         filmBuild("liner", "us", &FilmResult{Litres: 47.2, Wet: 2540, Spread: 0.394, Kilograms: 52, Makes: 2400}),
		"film-build-metric":  filmBuild("paint", "metric", &FilmResult{Litres: 2, Thinner: .2, Wet: 200, Spread: 6}),
		"film-build-powder":  filmBuild("powder", "us", &FilmResult{Kilograms: 2, Spread: 12}),
		"film-build-empty":   FilmBuild{Frame: heronFrame("How much, how thick?", "/film-build"), Form: FilmForm{What: "paint", Units: "us"}, Problems: journal.Problems{"area": "Please type the area, more than 0."}},
	}
}

var _ = sample("stage-paint", func() Stage { s := givenStage(); s.Paint = paintShown(); return s }())

func rendered(t *testing.T, page Page) string {
	t.Helper()
	return render(t, mustNew(t), page)
}

func TestMixing_ShowsReadingsNotPours(t *testing.T) {
	body := rendered(t, mixing(4000))
	for _, want := range []string{"Pour Hardener", "506.0<small> g</small>", `name="scale" value="506.0"`, "That is 106.0\u00a0g of it", "593.0<small> g</small>"} {
		if !strings.Contains(body, want) {
			t.Errorf("the page beside the scale lacks %q", want)
		}
	}
	over := rendered(t, mixing(4000, 5180))
	for _, want := range []string{"12.0\u00a0g too much Hardener", "Add more Clear", "563.3<small> g</small>", "660.1\u00a0g", "11.3\u00a0% more than the formula asks"} {
		if !strings.Contains(over, want) {
			t.Errorf("the correction lacks %q", want)
		}
	}
	if !strings.Contains(rendered(t, paintPages()["mixing-done"]), "Take the last one back") {
		t.Error("a complete mix cannot be mended")
	}
}

func TestPaintCautionsStandBesideMixingAndReckoning(t *testing.T) {
	for _, page := range []Page{paintPages()["mix-new"], paintPages()["mixing-begun"], paintPages()["film-build"]} {
		if body := rendered(t, page); !strings.Contains(body, "isocyanates") || !strings.Contains(body, "data sheet") || !strings.Contains(body, "licensed practice") {
			t.Errorf("%T says nothing of the danger", page)
		}
	}
}

func TestPaintWords(t *testing.T) {
	for _, test := range []struct{ got, want string }{
		{off(1180, 1060), "11.3\u00a0% more than the formula asks"}, {off(1050, 1060), "0.9\u00a0% less than the formula asks"},
		{off(1060, 1060), "as the formula asks"}, {off(100_001, 100_000), "as the formula asks"}, {off(0, 0), "as the formula asks"},
		{Thickness(coating.Reading{Film: 4200, Unit: coating.Mil}), "4.2\u00a0mil (107\u00a0µm)"},
		{Thickness(coating.Reading{Film: 100_000, Unit: coating.Micrometre}), "100\u00a0µm (3.94\u00a0mil)"},
		{filmBuild("liner", "us", nil).Volume(47.2), "12.5\u00a0gal (47.2\u00a0L)"},
		{filmBuild("liner", "metric", nil).Volume(47.2), "47.2\u00a0L (12.5\u00a0gal)"},
		{PaintPart{}.Say(), "Nothing is recorded of paint on this stage."},
		{PaintPart{Mixes: 2, Readings: 1}.Say(), "Two mixes, 1\u00a0film reading and 0\u00a0amounts used are recorded, for the shop only."},
	} {
		if test.got != test.want {
			t.Errorf("%q, want %q", test.got, test.want)
		}
	}
}
