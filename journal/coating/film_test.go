package coating_test

import (
	"fmt"
	"math"
	"testing"

	"farbay/journal/coating"
)

// perGallon and perPound are the spreads as American sheets print them.
func perGallon(p coating.Paint, mil float64) float64 {
	return p.Spread(mil*coating.MicrometresPerMil) * coating.LitresPerGallon / coating.SquareMetresPerFt
}

func perPound(p coating.Powder, mil float64) float64 {
	return p.Spread(mil*coating.MicrometresPerMil) * coating.KilogramsPerPound / coating.SquareMetresPerFt
}

func gallons(p coating.Paint, ft2, mil float64) float64 {
	litres, _ := p.Need(ft2*coating.SquareMetresPerFt, mil*coating.MicrometresPerMil)
	return litres / coating.LitresPerGallon
}

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > within {
		t.Errorf("%s: %.4f, want %.4f within %g", what, got, want, within)
	}
}

// solid is a paint that leaves all of itself on the work.
var solid = coating.Paint{Solids: 1, Transfer: 1}

func TestFilm_PublishedFigures(t *testing.T) {
	tests := []struct {
		name   string
		got    float64
		want   float64
		within float64 // what the source's own rounding explains
		source string
	}{
		{"a gallon at 1 mil, ft2", perGallon(solid, 1), 231.0 * 1000 / 144, 1e-9, "1 gal = 231 in3 (NIST Handbook 44, appendix C); 1,604 printed by ronjoseph.com H1002"},
		{"the same from cubic feet", perGallon(solid, 1), 0.13368 * 12_000, 0.02, "geionline.com: 0.13368 ft3 to the gallon"},
		{"a litre at 1 um, m2", solid.Spread(1), 1000, 1e-9, "scribd.com 343849341, in words"},
		{"65 % at 5 mil, ft2/gal", perGallon(coating.Paint{Solids: .65, Transfer: 1}, 5), 208.52, 0.03, "scribd.com 343849341, reckoned with 1,604"},
		{"65 % at 125 um, m2/L", coating.Paint{Solids: .65, Transfer: 1}.Spread(125), 5.2, 1e-9, "scribd.com 343849341, example"},
		{"52 %, 35 % transfer, 1.5 mil", perGallon(coating.Paint{Solids: .52, Transfer: .35}, 1.5), 194.6, 0.1, "setup of ronjoseph.com H1002, result recomputed"},
		{"10 mil wet, ft2/gal", perGallon(solid, 10), 160.417, 0.001, "ronjoseph.com H1002"},
		{"100 less 30 % loss", coating.Paint{Solids: 1, Transfer: .7}.Spread(10), 70, 1e-9, "corrosionpedia.com: practical = theoretical x (1 - loss)"},
		{"wet for 2.8 mil dry of 35 %", coating.Paint{Solids: .35, Transfer: 1}.Wet(2.8), 8, 1e-9, "scribd.com 104802451, unthinned"},
		{"wet when thinned 10 %", coating.Paint{Solids: .35, Transfer: 1, Thinner: .1}.Wet(2.8), 8.8, 1e-9, "own derivation"},
		{"dry of 8 mil wet thinned 10 %", coating.Paint{Solids: .35, Transfer: 1, Thinner: .1}.DryOf(8), 2.545, 0.005, "own derivation"},
		{"liner: 200 ft2 at 100 mil, gal", gallons(solid, 200, 100), 12.47, 0.005, "spray-lining.net"},
		{"the same of 60 % solids", gallons(coating.Paint{Solids: .6, Transfer: 1}, 200, 100), 20.8, 0.05, "spray-lining.net, from 12.5"},
		{"liner at 63 mil, ft2/gal", perGallon(solid, 63), 25.46, 0.01, "sprayliningandcoatings.com"},
		{"liner at 40 mil, ft2/gal", perGallon(solid, 40), 40.1, 0.01, "sprayliningandcoatings.com"},
		{"a bed of 65 ft2 at 63 mil, gal", gallons(solid, 65, 63), 2.55, 0.005, "own derivation on the trade's bed of some 65 ft2"},
		{"a bed of 65 ft2 at 125 mil, gal", gallons(solid, 65, 125), 5.07, 0.006, "the same, reckoned with 1,604"},
		{"powder of 1.6 at 2 mil, ft2/lb", perPound(coating.Powder{Gravity: 1.6, Transfer: 1}, 2), 60.1, 0.05, "powdercoatingonline.com"},
		{"the same at half transfer", perPound(coating.Powder{Gravity: 1.6, Transfer: .5}, 2), 30.05, 0.025, "powdercoatingonline.com"},
		{"powder of 1 at 1 mil, ft2/lb", perPound(coating.Powder{Gravity: 1, Transfer: 1}, 1), 192.22, 0.005, "own derivation from exact units; coatechcoatings.com prints 192.3 (12,000 / 62.4)"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) { near(t, test.source, test.got, test.want, test.within) })
	}
}

// A published table of theoretical spreading rates, ft2/gal, by volume solids and dry
// film; 1604 x solids / mil. Source: scribd.com 104802451.
var (
	tableSolids = []int{30, 35, 40, 45, 50, 55, 60, 65, 70, 72, 74, 76, 78, 80, 82, 84, 86, 88, 90, 92, 94, 96, 98, 100}
	tableMils   = []int{1, 2, 3, 4, 5, 6, 8, 10}
	tablePrints = [][]int{
		{481, 561, 642, 722, 802, 882, 962, 1043, 1123, 1155, 1187, 1219, 1251, 1283, 1315, 1347, 1379, 1412, 1444, 1476, 1508, 1540, 1572, 1604},
		{241, 281, 321, 361, 401, 441, 481, 521, 561, 527, 593, 610, 626, 642, 658, 674, 690, 706, 722, 738, 754, 770, 786, 802},
		{160, 187, 214, 241, 267, 294, 321, 348, 374, 385, 396, 406, 417, 428, 438, 449, 460, 471, 481, 492, 503, 513, 524, 535},
		{120, 140, 160, 180, 201, 221, 241, 261, 281, 289, 297, 305, 313, 321, 329, 337, 345, 353, 361, 369, 377, 385, 393, 401},
		{96, 112, 128, 144, 160, 176, 192, 209, 225, 231, 237, 244, 250, 257, 263, 269, 276, 282, 289, 295, 302, 308, 314, 321},
		{80, 94, 107, 120, 134, 147, 160, 174, 187, 192, 198, 203, 209, 214, 219, 225, 230, 235, 241, 246, 251, 257, 262, 267},
		{60, 70, 80, 90, 100, 110, 120, 130, 140, 144, 148, 152, 156, 160, 164, 168, 172, 176, 180, 184, 188, 192, 196, 201},
		{48, 56, 64, 72, 80, 88, 96, 104, 112, 115, 119, 122, 125, 128, 132, 135, 138, 141, 144, 148, 151, 154, 157, 160},
	}
)

func TestFilm_PublishedTable(t *testing.T) {
	cells, misprints := 0, ""
	for i, mil := range tableMils {
		if len(tablePrints[i]) != len(tableSolids) {
			t.Fatalf("the row of %d mil has %d cells", mil, len(tablePrints[i]))
		}
		for j, solids := range tableSolids {
			cells++
			got := perGallon(coating.Paint{Solids: float64(solids) / 100, Transfer: 1}, float64(mil))
			got *= 1604 / perGallon(solid, 1) // the table is reckoned with 1604
			if printed := float64(tablePrints[i][j]); math.Abs(got-printed) > 0.505 {
				misprints += fmt.Sprintf("%d %% at %d mil: %.0f printed as %.0f. ", solids, mil, got, printed)
			}
		}
	}
	if want := "72 % at 2 mil: 577 printed as 527. "; cells != 192 || misprints != want {
		t.Errorf("of %d cells these differ: %q, want %q", cells, misprints, want)
	}
}

// What is printed wrongly must not be what we answer.
func TestFilm_Misprints(t *testing.T) {
	const grams, lbPerGallon, mil = 500.0, 10.0, 2.25
	litres := grams / 1000 / coating.KilogramsPerPound / lbPerGallon * coating.LitresPerGallon
	spread := 120_000 * coating.SquareMetresPerFt
	pounds := func(gravity float64) float64 {
		return coating.Powder{Gravity: gravity, Transfer: 1}.Need(spread, mil*coating.MicrometresPerMil) / coating.KilogramsPerPound
	}
	tests := []struct {
		name            string
		got, right, not float64
		within          float64
		source          string
	}{
		{"metric spread", coating.Paint{Solids: .65, Transfer: 1}.Spread(125), 5.2, 100 * .65 / 125, 1e-9, "scribd.com 343849341 prints 100 x solids in its formula, for 1,000"},
		{"wet film when thinned", coating.Paint{Solids: .35, Transfer: 1, Thinner: .1}.Wet(2.8), 8.8, 3.8, 1e-9, "scribd.com 104802451 prints 3.8 for it"},
		{"dry film when thinned", coating.Paint{Solids: .35, Transfer: 1, Thinner: .1}.DryOf(8), 2.545, 2.8, 0.001, "scribd.com 104802451 prints 2.8, the unthinned figure"},
		{"500 g of 10 lb/gal and 50 % on 10 ft2, mil", coating.Paint{Solids: .5, Transfer: 1}.Makes(litres, 10*coating.SquareMetresPerFt) / coating.MicrometresPerMil, 8.84,
			8.84 * 453.6 * 453.6, 0.005, "paintcenter.org, December 2007, multiplies by 453.6 to make grams pounds; it must divide"},
		{"powder saved by a lighter one, lb", pounds(1.68) - pounds(1.28), 561.6, 576, 0.5, "tcipowder.net prints 576; recomputed with 192.3 it is 561.6 at full transfer"},
		{"money saved by it", pounds(1.68)*2.28 - pounds(1.28)*2.58, 741.34, 778, 0.5, "tcipowder.net prints 778; recomputed 741.34, at 2.28 and 2.58 a pound"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			near(t, test.source, test.got, test.right, test.within)
			if math.Abs(test.got-test.not) < 10*test.within {
				t.Errorf("it is the misprint %g (%s)", test.not, test.source)
			}
		})
	}
}

// Six gallons of sprayed liner are more than enough for the tubs of two trucks at
// heavy build: common practice, no source. A tub is taken as the trade's bed of 65
// ft2 and heavy build as 63 mil, the higher of two minimums that trade pages name.
func TestFilm_SixGallonsLineTwoTubs(t *testing.T) {
	if need := gallons(solid, 2*65, 63); need >= 6 || need < 4.5 {
		t.Errorf("two tubs take %.2f gallons", need)
	}
}

// What Need says, Makes gives back, thinned or not, in paint and powder.
func TestFilm_ThereAndBack(t *testing.T) {
	for _, p := range []coating.Paint{{Solids: .37, Transfer: .6, Thinner: .2}, {Solids: 1, Transfer: 1}} {
		litres, thinner := p.Need(12.5, 60)
		near(t, "film of what is needed", p.Makes(litres, 12.5), 60, 1e-9)
		near(t, "thinner", thinner, litres*p.Thinner, 1e-12)
		near(t, "dry of wet", p.DryOf(p.Wet(60)), 60, 1e-9)
	}
	powder := coating.Powder{Gravity: 1.45, Transfer: .55}
	near(t, "film of the powder needed", powder.Makes(powder.Need(3, 70), 3), 70, 1e-9)
}

func TestRound(t *testing.T) {
	for x, want := range map[float64]float64{12.468: 12.5, 0.019949: 0.0199, 208.54: 209, 5: 5, 99950: 100000, 0: 0, -3: -3} {
		if got := coating.Round(x); math.Abs(got-want) > 1e-12 {
			t.Errorf("Round(%v) = %v, want %v", x, got, want)
		}
	}
	if !math.IsInf(coating.Round(math.Inf(1)), 1) || !math.IsNaN(coating.Round(math.NaN())) {
		t.Error("what is not finite was changed")
	}
}
