package scenario

import (
	"context"

	"farbay/journal"
	"farbay/journal/coating"
)

// paintStory is what a stage records of one day's paint: a mix poured to the scale's
// readings, and film readings.
type paintStory struct {
	day, hour, minute int
	by                who
	mix               coating.Mix
	scale             []coating.Weight // what the scale showed after the first pours; the others are as the page asks
	readings          []coating.Reading
	shown             bool // the office lets the owner see the stage's record
}

// records writes down a day's paint.
func (b *build) records(ctx context.Context, stage string, told paintStory) error {
	steps, a := b.t.steps, b.t.actors[told.by]
	m := told.mix
	m.ID, m.BuildID, m.StageID = journal.PaintID(steps.NewID()), b.id, b.stages[stage]
	if err := steps.StartMix(ctx, a, m); err != nil {
		return err
	}
	batch, err := m.Formula.Begin(m.Amount)
	if err != nil {
		return err
	}
	for i := 0; !batch.Done(); i++ {
		next := batch.Steps()[0]
		p := coating.Pour{Act: coating.Poured, Component: next.Component, Scale: next.Scale}
		if i < len(told.scale) {
			p.Scale = told.scale[i]
		}
		if err := steps.Pour(ctx, a, b.id, m.StageID, m.ID, i+1, p); err != nil {
			return err
		}
		if batch, err = batch.Take(p); err != nil {
			return err
		}
	}
	for _, r := range told.readings {
		r.ID, r.BuildID, r.StageID = journal.PaintID(steps.NewID()), b.id, m.StageID
		if err := steps.AddReading(ctx, a, r); err != nil {
			return err
		}
	}
	if told.shown {
		return steps.ShowPaint(ctx, b.office(), b.id, m.StageID, journal.OwnerToo)
	}
	return nil
}

// blueGrey is Juniper's colour, by weight; its first kilo had a little too much white
// and was topped up.
var blueGrey = []paintStory{
	{day: 5, hour: 14, minute: 40, by: odd, shown: true,
		mix: coating.Mix{Product: "Two-part topcoat", Colour: "Blue grey, card 3", Lot: "TC-4417", For: "inside of the tub, first coat", Amount: 10_000,
			Formula: coating.Formula{By: coating.ByWeight, Step: coating.Tenth, Components: []coating.Component{
				{Name: "White base", Parts: 520_000}, {Name: "Blue tint", Parts: 146_500}, {Name: "Black tint", Parts: 31_200}, {Name: "Hardener", Parts: 182_000}, {Name: "Reducer", Parts: 120_300}}}},
		scale: []coating.Weight{5260}},
	{day: 2, hour: 13, minute: 5, by: pilar,
		mix: coating.Mix{Product: "Two-part clear, gloss", Lot: "CL-2291", For: "outside of the tub", Amount: 5930,
			Formula: coating.Formula{By: coating.ByVolume, Densities: coating.GramsPerMillilitre, Step: coating.Tenth, Components: []coating.Component{
				{Name: "Clear", Parts: 4000, Density: 1000}, {Name: "Hardener", Parts: 1000, Density: 1060}, {Name: "Reducer", Parts: 1000, Density: 870}}}},
		readings: []coating.Reading{
			{Place: "left side, behind the door", Coat: "primer and colour", Substrate: "bare steel", Film: 4300, Unit: coating.Mil},
			{Place: "right side, behind the door", Coat: "primer and colour", Substrate: "bare steel", Film: 4100, Unit: coating.Mil},
			{Place: "tailgate, centre", Coat: "primer and colour", Substrate: "bare steel", Film: 3900, Unit: coating.Mil},
		}},
}
