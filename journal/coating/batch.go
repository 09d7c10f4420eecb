package coating

import (
	"math/big"

	"farbay/journal"
)

// Act is what was done beside the scale.
type Act string

const (
	// Poured: the scale shows so much after a component.
	Poured Act = "poured"
	// TakenBack: the last pour was typed wrongly; nothing of it counts.
	TakenBack Act = "taken back"
	// Left: too much was poured last, and that is close enough.
	Left Act = "left"
)

// Pour is one act beside the scale.
type Pour struct {
	Act       Act
	Component int    // its place in the formula, counted from 0
	Scale     Weight // what the scale showed after it; 0 unless poured
}

// Batch is a mix under way: what is in the cup and what is to come. It is made of a
// formula, an amount and the pours so far by [Formula.Replay], and never changed.
type Batch struct {
	Formula Formula
	Asked   Weight   // the amount wanted at first
	In      []Weight // what is in the cup, by component
	Targets []Weight // what is to be in it in the end
	// Too is what was poured too much with the last act, and is neither topped up
	// nor left yet: Over says of which component.
	Over int
	Too  Weight

	before *Batch // as it was before the last act that counts; nil at the beginning
}

// Step is what to do next: add so much of a component, until the scale shows so much.
type Step struct {
	Component int
	Add       Weight
	Scale     Weight
}

// Begin returns the batch before anything is poured. Errors as of [Formula.Pours].
func (f Formula) Begin(amount Weight) (Batch, error) {
	targets, err := f.Pours(amount)
	if err != nil {
		return Batch{}, err
	}
	return Batch{Formula: f, Asked: amount, In: make([]Weight, len(targets)), Targets: targets}, nil
}

// Replay returns the batch after the pours. Errors as of [Formula.Begin] and
// [Batch.Take].
func (f Formula) Replay(amount Weight, pours []Pour) (Batch, error) {
	b, err := f.Begin(amount)
	for _, p := range pours {
		if err != nil {
			return b, err
		}
		b, err = b.Take(p)
	}
	return b, err
}

// Scale is what the scale shows now.
func (b Batch) Scale() Weight { return sumOf(b.In) }

// Total is what the batch will weigh.
func (b Batch) Total() Weight { return sumOf(b.Targets) }

// Grown reports whether it will weigh more than was asked for: too much was poured,
// and the others are topped up or it was left.
func (b Batch) Grown() bool { return b.Total() > b.Asked }

// Done reports whether everything is in the cup.
func (b Batch) Done() bool { return len(b.Steps()) == 0 }

// Steps are the pours to come, in the formula's order.
func (b Batch) Steps() []Step {
	var steps []Step
	scale := b.Scale()
	for i, target := range b.Targets {
		if add := target - b.In[i]; add > 0 {
			scale += add
			steps = append(steps, Step{Component: i, Add: add, Scale: scale})
		}
	}
	return steps
}

// Ideal is what of a component belongs to all that is in the cup, to a step of the
// scale: for a batch that is done, what the record is compared with.
func (b Batch) Ideal(component int) Weight {
	each, sum := b.Formula.shares()
	return b.Formula.toStep(new(big.Int).Mul(each[component], big.NewInt(int64(b.Scale()))), sum)
}

// Take returns the batch after one more act; b stays as it was.
//
// It returns [journal.Invalid] beside "scale" for a reading that cannot be: not
// above the last one, between two steps of the scale, or so far beyond that the
// batch would pass [MaxWeight]. It returns [journal.Conflict] for a component that
// is not the next one, for taking back what is not there, and for leaving what is
// not too much.
func (b Batch) Take(p Pour) (Batch, error) {
	switch p.Act {
	case Poured:
		return b.pour(p)
	case TakenBack:
		if b.before == nil {
			return b, journal.Errorf(journal.Conflict, "Nothing is poured yet, so there is nothing to take back.")
		}
		return *b.before, nil
	case Left:
		return b.leave()
	}
	return b, journal.Errorf(journal.Invalid, "Please say what was done: poured, taken back, or left as it is.")
}

func (b Batch) pour(p Pour) (Batch, error) {
	steps := b.Steps()
	if len(steps) == 0 {
		return b, journal.Errorf(journal.Conflict, "This mix is complete; nothing more belongs into it.")
	}
	if p.Component != steps[0].Component {
		return b, journal.Errorf(journal.Conflict, "The next to pour is %s. Please look at the list again.", b.name(steps[0].Component))
	}
	bad := journal.Problems{}
	step, scale := b.Formula.Step, b.Scale()
	switch {
	case p.Scale <= scale:
		bad.Add("scale", "The scale showed %s g before, so it shows more now. If it was set to zero, add up both figures.", scale.In(step))
	case p.Scale%step != 0:
		bad.Add("scale", "This mix is weighed in whole grams; please leave the decimals out.")
	}
	if err := bad.Err(); err != nil {
		return b, err
	}
	old := b
	b.before, b.Over, b.Too = &old, 0, 0
	b.In = append([]Weight(nil), b.In...)
	b.In[p.Component] += p.Scale - scale
	if too := b.In[p.Component] - b.Targets[p.Component]; too > 0 {
		targets, ok := b.topped()
		if !ok {
			bad.Add("scale", "With so much %s the batch would pass 100 kg. Please look at the scale again.", b.name(p.Component))
			return old, bad.Err()
		}
		b.Over, b.Too, b.Targets = p.Component, too, targets
	}
	return b, nil
}

// topped returns what of each component makes the smallest batch of the right
// ratio that contains what is in the cup; false if that passes [MaxWeight].
func (b Batch) topped() ([]Weight, bool) {
	each, sum := b.Formula.shares()
	// The batch weighs num/den, the largest of in x sum / share.
	num, den := new(big.Int), big.NewInt(1)
	for i, in := range b.In {
		n := new(big.Int).Mul(big.NewInt(int64(in)), sum)
		if new(big.Int).Mul(n, den).Cmp(new(big.Int).Mul(num, each[i])) > 0 {
			num, den = n, each[i]
		}
	}
	if new(big.Int).Quo(num, den).Cmp(big.NewInt(int64(MaxWeight))) > 0 {
		return nil, false
	}
	den = new(big.Int).Mul(den, sum)
	var targets []Weight
	for _, share := range each {
		targets = append(targets, b.Formula.toStep(new(big.Int).Mul(num, share), den))
	}
	return targets, true
}

// leave goes on by the plan from before the last pour, with what that poured too
// much.
func (b Batch) leave() (Batch, error) {
	if b.Too == 0 {
		return b, journal.Errorf(journal.Conflict, "Nothing was poured too much with the last pour.")
	}
	old := b
	b.Targets = append([]Weight(nil), b.before.Targets...)
	b.Targets[b.Over] = b.In[b.Over]
	b.before, b.Over, b.Too = &old, 0, 0
	return b, nil
}

func (b Batch) name(component int) string { return b.Formula.Components[component].Name }

func sumOf(weights []Weight) Weight {
	sum := Weight(0)
	for _, w := range weights {
		sum += w
	}
	return sum
}
