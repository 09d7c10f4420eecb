package coating

import (
	"math/big"
	"strconv"

	"farbay/journal"
)

// By says what the parts of a formula are parts of.
type By string

const (
	ByWeight By = "weight"
	ByVolume By = "volume" // each component then has its density
)

// DensityUnit is the unit of a formula's densities.
type DensityUnit string

const (
	GramsPerMillilitre DensityUnit = "g/mL" // the same figure as kg/L, and specific gravity
	PoundsPerGallon    DensityUnit = "lb/gal"
)

// Component is one thing poured into a mix.
type Component struct {
	Name    string
	Parts   Milli
	Density Milli // by volume; 0 by weight
}

// Formula is a mix by parts, in the order of pouring.
type Formula struct {
	By         By
	Densities  DensityUnit // by volume
	Step       Weight      // of the scale: [Tenth] or [Gram]
	Components []Component // 2 to MaxComponents
}

// MaxComponents is the most a formula has.
const MaxComponents = 12

// Bounds of what a formula may name.
const (
	maxParts      Milli = 100_000_000 // 100,000
	minDensityGML Milli = 300         // 0.3 g/mL, below any solvent
	maxDensityGML Milli = 8_000       // 8 g/mL, above any zinc-rich primer
	minDensityLb  Milli = 2_500       // 2.5 lb/gal
	maxDensityLb  Milli = 67_000      // 67 lb/gal
)

// Validate checks a formula, field by field: "by", "densities", "step",
// "components", and with N counted from 0 "components.N.name", ".parts" and
// ".density".
func (f Formula) Validate() error {
	bad := journal.Problems{}
	if f.By != ByWeight && f.By != ByVolume {
		bad.Add("by", "Please say whether the parts are by weight or by volume; the product's data sheet tells.")
	}
	if f.By == ByVolume && f.Densities != GramsPerMillilitre && f.Densities != PoundsPerGallon {
		bad.Add("densities", "Please choose the unit of the densities.")
	}
	if f.Step != Tenth && f.Step != Gram {
		bad.Add("step", "Please choose the step of your scale.")
	}
	if len(f.Components) < 2 || len(f.Components) > MaxComponents {
		bad.Add("components", "A mix has between 2 and %d components; please name them in the order they are poured.", MaxComponents)
	}
	seen := map[string]bool{}
	for i, c := range f.Components {
		field := "components." + strconv.Itoa(i) + "."
		journal.CheckLine(bad, field+"name", c.Name, 1, 60, "Please name this component, at most 60 characters.")
		if seen[c.Name] {
			bad.Add(field+"name", "%q is there twice; please put all of it into one pour, or tell the two apart.", c.Name)
		}
		seen[c.Name] = true
		if c.Parts <= 0 || c.Parts > maxParts {
			bad.Add(field+"parts", "Please type its parts, more than 0 and at most 100,000.")
		}
		if f.By == ByVolume {
			f.checkDensity(bad, field+"density", c.Density)
		}
	}
	return bad.Err()
}

func (f Formula) checkDensity(bad journal.Problems, field string, density Milli) {
	least, most := minDensityGML, maxDensityGML
	if f.Densities == PoundsPerGallon {
		least, most = minDensityLb, maxDensityLb
	}
	switch {
	case density == 0:
		bad.Add(field, "Parts by volume can only be weighed with the density; it stands on the data sheet.")
	case density < least || density > most:
		bad.Add(field, "No paint weighs %s %s; please look at the figure and its unit.", density, f.Densities)
	}
}

// shares returns each component's share by weight and their sum, in a common unit
// of no meaning.
func (f Formula) shares() (each []*big.Int, sum *big.Int) {
	sum = new(big.Int)
	for _, c := range f.Components {
		share := big.NewInt(int64(c.Parts))
		if f.By == ByVolume {
			share.Mul(share, big.NewInt(int64(c.Density)))
		}
		each = append(each, share)
		sum.Add(sum, share)
	}
	return each, sum
}

// toStep rounds num / den tenths of a gram to a step of the scale, half up.
func (f Formula) toStep(num, den *big.Int) Weight {
	one := new(big.Int).Mul(den, big.NewInt(int64(f.Step)))
	steps := new(big.Int).Lsh(num, 1)
	steps.Add(steps, one)
	steps.Quo(steps, new(big.Int).Lsh(one, 1))
	return Weight(steps.Int64()) * f.Step
}

// Pours divides the amount over the components: what to pour of each, in order.
// The cumulative weights are rounded to the scale's step, and the pours are their
// differences, so that they sum to exactly the amount.
//
// It returns [journal.Invalid] beside "amount" when the amount is nothing, beyond
// [MaxWeight], no whole number of steps, or so little that a component would be less
// than a step of the scale. The formula must be valid.
func (f Formula) Pours(amount Weight) ([]Weight, error) {
	bad := journal.Problems{}
	switch {
	case amount <= 0 || amount > MaxWeight:
		bad.Add("amount", "Please ask for more than 0 g and at most 100 kg.")
	case amount%f.Step != 0:
		bad.Add("amount", "Your scale shows whole grams; please ask for whole grams.")
	}
	if err := bad.Err(); err != nil {
		return nil, err
	}
	each, sum := f.shares()
	var pours []Weight
	so, before := new(big.Int), Weight(0)
	for i, share := range each {
		so.Add(so, share)
		reading := f.toStep(new(big.Int).Mul(so, big.NewInt(int64(amount))), sum)
		if reading == before {
			bad.Add("amount", "There would be less %s than a step of your scale, %s g. Please mix more, or use a finer scale.", f.Components[i].Name, f.Step.In(Tenth))
		}
		pours = append(pours, reading-before)
		before = reading
	}
	return pours, bad.Err()
}

// AmountUnit is a unit in which the amount of a mix is asked for.
type AmountUnit string

const (
	InGrams       AmountUnit = "g"
	InMillilitres AmountUnit = "mL"
	InFluidOunces AmountUnit = "fl oz" // of the United States
)

// Weigh returns what an amount of the mix weighs, rounded to a step of the scale.
// Volumes need the densities: the formula must be by volume.
//
// It returns [journal.Invalid] beside "amount" or "unit".
func (f Formula) Weigh(amount Milli, unit AmountUnit) (Weight, error) {
	bad := journal.Problems{}
	num, den := big.NewInt(int64(amount)), big.NewInt(100) // thousandths to tenths
	switch {
	case unit == InGrams:
		if int64(amount)%(100*int64(f.Step)) != 0 {
			bad.Add("amount", "Your scale shows steps of %s g; please ask for no finer amount.", f.Step.In(Tenth))
		}
	case unit != InMillilitres && unit != InFluidOunces:
		bad.Add("unit", "Please choose the unit of the amount.")
	case f.By != ByVolume:
		bad.Add("unit", "A formula by weight has no densities, so its amount can only be in grams.")
	default:
		volumes := new(big.Int)
		for _, c := range f.Components {
			volumes.Add(volumes, big.NewInt(int64(c.Parts)))
		}
		_, sum := f.shares() // thousandths of parts x thousandths of a density
		num.Mul(num, sum)
		den.Mul(den, volumes).Mul(den, big.NewInt(1000))
		if f.Densities == PoundsPerGallon {
			num.Mul(num, big.NewInt(453_592_370))
			den.Mul(den, big.NewInt(3_785_411_784))
		}
		if unit == InFluidOunces {
			num.Mul(num, big.NewInt(295_735_295_625))
			den.Mul(den, big.NewInt(10_000_000_000))
		}
	}
	if err := bad.Err(); err != nil {
		return 0, err
	}
	if new(big.Int).Quo(num, den).Cmp(big.NewInt(int64(MaxWeight))) > 0 {
		bad.Add("amount", "That weighs more than 100 kg; please look at the figure and its unit.")
		return 0, bad.Err()
	}
	return f.toStep(num, den), nil
}
