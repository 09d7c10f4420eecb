package coating_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"farbay/journal"
	"farbay/journal/coating"
)

// byVolume is 4:1:1 by volume with densities 1.00, 1.06 and 0.87 g/mL, which is
// 100 : 26.5 : 21.75 by weight (own derivation; no published example with densities
// was found).
func byVolume() coating.Formula {
	return coating.Formula{By: coating.ByVolume, Densities: coating.GramsPerMillilitre, Step: coating.Tenth, Components: []coating.Component{
		{Name: "Clear", Parts: 4000, Density: 1000}, {Name: "Hardener", Parts: 1000, Density: 1060}, {Name: "Reducer", Parts: 1000, Density: 870},
	}}
}

func byWeight(step coating.Weight, parts ...coating.Milli) coating.Formula {
	f := coating.Formula{By: coating.ByWeight, Step: step}
	for i, p := range parts {
		f.Components = append(f.Components, coating.Component{Name: fmt.Sprintf("Component %d", i+1), Parts: p})
	}
	return f
}

func said(weights []coating.Weight, step coating.Weight) string {
	var all []string
	for _, w := range weights {
		all = append(all, w.In(step))
	}
	return strings.Join(all, " ")
}

// readings are the cumulative weights of pours.
func readings(pours []coating.Weight) []coating.Weight {
	var all []coating.Weight
	sum := coating.Weight(0)
	for _, w := range pours {
		sum += w
		all = append(all, sum)
	}
	return all
}

func field(err error, name string) string { return journal.ProblemsOf(err)[name] }

func TestFormula_Pours(t *testing.T) {
	pounds := byVolume()
	pounds.Densities = coating.PoundsPerGallon
	for i, d := range []coating.Milli{8345, 8846, 7260} { // the same densities x 8.3454
		pounds.Components[i].Density = d
	}
	tests := []struct {
		name   string
		f      coating.Formula
		amount coating.Milli
		unit   coating.AmountUnit
		pours  string
		reads  string
		why    string
	}{
		{"600 mL of 4:1:1", byVolume(), 600_000, coating.InMillilitres, "400.0 106.0 87.0", "400.0 506.0 593.0", "own derivation: 400 / 106 / 87 g"},
		{"the same in grams", byVolume(), 593_000, coating.InGrams, "400.0 106.0 87.0", "400.0 506.0 593.0", "593 g are those 600 mL"},
		{"the ratio by weight", byWeight(coating.Tenth, 100_000, 26_500, 21_750), 593_000, coating.InGrams, "400.0 106.0 87.0", "400.0 506.0 593.0", "100 : 26.5 : 21.75 is the same ratio by weight"},
		{"densities in lb/gal", pounds, 20_289, coating.InFluidOunces, "400.0 106.0 87.0", "400.0 506.0 593.0", "600 mL are 20.2884 fl oz of 29.5735 mL"},
		{"4:1 with a tenth of thinner", byWeight(coating.Gram, 4000, 1000, 500), 110_000, coating.InGrams, "80 20 10", "80 100 110", "a tenth of paint and hardener together: 80, 20 and 10 of 110 (askvity.info, in mL)"},
		{"thirds", byWeight(coating.Tenth, 1000, 1000, 1000), 100_000, coating.InGrams, "33.3 33.4 33.3", "33.3 66.7 100.0", "cumulative rounding: each pour alone would give 99.9"},
		{"sevenths in whole grams", byWeight(coating.Gram, 1000, 1000, 1000, 1000, 1000, 1000, 1000), 100_000, coating.InGrams, "14 15 14 14 14 15 14", "14 29 43 57 71 86 100", "each pour alone would give 98"},
		{"half a step", byWeight(coating.Tenth, 1000, 1000), 100, coating.InGrams, "", "", "0.1 g in two halves is no pour at all"},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			if err := test.f.Validate(); err != nil {
				t.Fatal(err)
			}
			amount, err := test.f.Weigh(test.amount, test.unit)
			if err != nil {
				t.Fatal(err)
			}
			pours, err := test.f.Pours(amount)
			if test.pours == "" {
				if field(err, "amount") == "" {
					t.Fatalf("%s: got %v, %v", test.why, pours, err)
				}
				return
			}
			if err != nil || said(pours, test.f.Step) != test.pours || said(readings(pours), test.f.Step) != test.reads {
				t.Errorf("%s: pours %s, readings %s, %v", test.why, said(pours, test.f.Step), said(readings(pours), test.f.Step), err)
			}
		})
	}
}

// The figure of a sheet's column of single weights poured as a cumulative one, or
// the other way round, is another mix: the two must be told apart.
func TestFormula_CumulativeIsNotSingle(t *testing.T) {
	pours, err := byVolume().Pours(5930)
	if err != nil || pours[1] == readings(pours)[1] {
		t.Errorf("the pour and the reading of the second component are the same: %v, %v", pours, err)
	}
}

func TestFormula_Refusals(t *testing.T) {
	change := func(f func(*coating.Formula)) coating.Formula {
		all := byVolume()
		f(&all)
		return all
	}
	for name, test := range map[string]struct {
		f     coating.Formula
		field string
	}{
		"neither weight nor volume": {change(func(f *coating.Formula) { f.By = "" }), "by"},
		"no unit of densities":      {change(func(f *coating.Formula) { f.Densities = "" }), "densities"},
		"no step":                   {change(func(f *coating.Formula) { f.Step = 0 }), "step"},
		"an odd step":               {change(func(f *coating.Formula) { f.Step = 3 }), "step"},
		"one component":             {change(func(f *coating.Formula) { f.Components = f.Components[:1] }), "components"},
		"thirteen components":       {byWeight(coating.Tenth, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1), "components"},
		"no name":                   {change(func(f *coating.Formula) { f.Components[1].Name = "" }), "components.1.name"},
		"a name twice":              {change(func(f *coating.Formula) { f.Components[2].Name = "Clear" }), "components.2.name"},
		"no parts":                  {change(func(f *coating.Formula) { f.Components[1].Parts = 0 }), "components.1.parts"},
		"parts below nothing":       {change(func(f *coating.Formula) { f.Components[1].Parts = -1 }), "components.1.parts"},
		"parts beyond reason":       {change(func(f *coating.Formula) { f.Components[1].Parts = coating.MaxMilli }), "components.1.parts"},
		"no density":                {change(func(f *coating.Formula) { f.Components[0].Density = 0 }), "components.0.density"},
		"lb/gal typed as g/mL":      {change(func(f *coating.Formula) { f.Components[0].Density = 8345 }), "components.0.density"},
		"g/mL typed as lb/gal":      {change(func(f *coating.Formula) { f.Densities = coating.PoundsPerGallon }), "components.0.density"},
	} {
		err := test.f.Validate()
		if journal.CodeOf(err) != journal.Invalid || !strings.HasSuffix(field(err, test.field), ".") {
			t.Errorf("%s: %v", name, err)
		}
	}
	weight := byWeight(coating.Gram, 4000, 1000)
	for name, err := range map[string]error{
		"unit":                    second(weight.Weigh(100_000, coating.InMillilitres)),
		"unit of none":            second(byVolume().Weigh(100_000, "pint")),
		"amount too fine":         second(weight.Weigh(100_500, coating.InGrams)),
		"amount beyond the scale": second(byVolume().Weigh(coating.MaxMilli, coating.InFluidOunces)),
		"amount of nothing":       second(weight.Pours(0)),
		"amount below nothing":    second(weight.Pours(-10)),
		"amount between steps":    second(weight.Pours(1005)),
		"amount past 100 kg":      second(weight.Pours(coating.MaxWeight + 10)),
		"amount too small":        second(byWeight(coating.Gram, 100_000, 1000).Pours(300)),
	} {
		name, _, _ = strings.Cut(name, " ")
		if journal.CodeOf(err) != journal.Invalid || !strings.HasSuffix(field(err, name), ".") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func second[T any](_ T, err error) error { return err }

// any formula a person could type, mostly sensible.
func anyFormula(t *rapid.T) coating.Formula {
	f := coating.Formula{
		By:        rapid.SampledFrom([]coating.By{coating.ByWeight, coating.ByVolume}).Draw(t, "by"),
		Densities: coating.GramsPerMillilitre,
		Step:      rapid.SampledFrom([]coating.Weight{coating.Tenth, coating.Gram}).Draw(t, "step"),
	}
	for i := range rapid.IntRange(2, coating.MaxComponents).Draw(t, "components") {
		c := coating.Component{Name: fmt.Sprint(i), Parts: coating.Milli(rapid.Int64Range(1, 100_000_000).Draw(t, "parts"))}
		if f.By == coating.ByVolume {
			c.Density = coating.Milli(rapid.Int64Range(300, 8000).Draw(t, "density"))
		}
		f.Components = append(f.Components, c)
	}
	return f
}

func anyBatch(t *rapid.T) coating.Batch {
	f := anyFormula(t)
	if err := f.Validate(); err != nil {
		t.Fatal(err)
	}
	b, err := f.Begin(coating.Weight(rapid.Int64Range(1, 10_000).Draw(t, "steps")) * f.Step)
	if err != nil {
		t.Skip("too little of a component for the scale")
	}
	return b
}

// share is component i's exact share of a total, in tenths of a gram.
func share(f coating.Formula, i int, total float64) float64 {
	sum, one := 0.0, 0.0
	for j, c := range f.Components {
		s := float64(c.Parts)
		if f.By == coating.ByVolume {
			s *= float64(c.Density)
		}
		sum += s
		if j == i {
			one = s
		}
	}
	return total * one / sum
}

func TestPours_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBatch(t)
		sum, exact := coating.Weight(0), 0.0
		for i, w := range b.Targets {
			if w <= 0 || w%b.Formula.Step != 0 {
				t.Fatalf("pour %d is %d: the readings do not rise by whole steps", i, w)
			}
			sum += w
			exact += share(b.Formula, i, float64(b.Asked))
			if d := float64(sum) - exact; d > float64(b.Formula.Step)/2+1e-3 || d < -float64(b.Formula.Step)/2-1e-3 {
				t.Fatalf("reading %d is off by %g", i, d)
			}
		}
		if sum != b.Asked {
			t.Fatalf("pours sum to %d of %d", sum, b.Asked)
		}
	})
}

// However badly somebody pours: nothing is ever to be taken out, what is in the cup
// counts, the plan's ratio is within half a step of the formula's after a correction,
// and following the steps ends.
func TestBatch_Properties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := anyBatch(t)
		var done []coating.Pour
		for range rapid.IntRange(1, 30).Draw(t, "acts") {
			steps := b.Steps()
			if len(steps) == 0 {
				break
			}
			p := coating.Pour{Act: coating.Poured, Component: steps[0].Component, Scale: steps[0].Scale}
			switch rapid.IntRange(0, 5).Draw(t, "kind") {
			case 0:
				p.Scale += b.Formula.Step * coating.Weight(rapid.Int64Range(1, 200).Draw(t, "over"))
			case 1:
				p.Scale = max(p.Scale-b.Formula.Step*coating.Weight(rapid.Int64Range(0, 50).Draw(t, "under")), b.Scale()+b.Formula.Step)
			case 2:
				p = coating.Pour{Act: coating.TakenBack}
			case 3:
				p = coating.Pour{Act: coating.Left}
			}
			next, err := b.Take(p)
			if err != nil {
				var refused *journal.Error
				if !errors.As(err, &refused) || refused.Code == journal.Internal {
					t.Fatal(err)
				}
				continue
			}
			done = append(done, p)
			if p.Act == coating.Poured && next.Scale() != p.Scale {
				t.Fatalf("the cup holds %d and the scale shows %d", next.Scale(), p.Scale)
			}
			for i := range next.Targets {
				if next.Targets[i] < next.In[i] {
					t.Fatalf("component %d is to be taken out: %d of %d", i, next.In[i], next.Targets[i])
				}
			}
			if next.Too > 0 {
				corrected(t, next)
			}
			b = next
		}
		again, err := b.Formula.Replay(b.Asked, done)
		if err != nil || fmt.Sprint(again.In, again.Targets, again.Too) != fmt.Sprint(b.In, b.Targets, b.Too) {
			t.Fatalf("the rows replay to something else: %v, %v", again, err)
		}
		for range coating.MaxComponents {
			if steps := b.Steps(); len(steps) > 0 {
				if b, err = b.Take(coating.Pour{Act: coating.Poured, Component: steps[0].Component, Scale: steps[0].Scale}); err != nil {
					t.Fatal(err)
				}
			}
		}
		if !b.Done() || b.Scale() != b.Total() {
			t.Fatalf("following the steps does not end: %v", b.Steps())
		}
	})
}

// corrected: each target is within half a step of its share of the smallest batch
// that contains what is in the cup.
func corrected(t *rapid.T, b coating.Batch) {
	smallest := 0.0
	for i, in := range b.In {
		smallest = max(smallest, float64(in)/share(b.Formula, i, 1))
	}
	for i, target := range b.Targets {
		if d := float64(target) - share(b.Formula, i, smallest); d > float64(b.Formula.Step)/2+1e-2 || d < -float64(b.Formula.Step)/2-1e-2 {
			t.Fatalf("component %d is off its share of the smallest batch by %g", i, d)
		}
	}
}
