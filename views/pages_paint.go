package views

import (
	"fmt"
	"strconv"
	"time"

	"farbay/journal"
	"farbay/journal/coating"
)

// PaintPart is a stage's paint record in a sentence, with the ways to it, on the
// stage's page.
type PaintPart struct {
	At       string // the stage's address
	Mixes    int    // not taken back, as the two below
	Readings int
	Used     int
	Audience journal.Audience
}

// Say says what is recorded.
func (p PaintPart) Say() string {
	if p.Mixes+p.Readings+p.Used == 0 {
		return "Nothing is recorded of paint on this stage."
	}
	said := Count(p.Mixes, "mix", "mixes") + ", " + Plural(p.Readings, "film reading", "film readings") + " and " +
		Plural(p.Used, "amount used", "amounts used") + " are recorded"
	if p.Audience == journal.OwnerToo {
		return said + ". The owner sees product, colour, batch and readings."
	}
	return said + ", for the shop only."
}

// PaintShown is what the owner's side sees of a stage's paint record that is shared;
// piece "paint-shown".
type PaintShown struct {
	Words
	Coats    []coating.Mix // product, colour, batch number and time alone
	Readings []coating.Reading
}

// Thickness says a reading in both units: "4.2 mil (107 µm)".
func Thickness(r coating.Reading) string {
	if r.Unit == coating.Mil {
		return r.Film.String() + nbsp + "mil (" + significant(r.Film.Float()*coating.MicrometresPerMil) + nbsp + "µm)"
	}
	return r.Film.String() + nbsp + "µm (" + significant(r.Film.Float()/coating.MicrometresPerMil) + nbsp + "mil)"
}

// Thick is [Thickness], for templates.
func (PaintShown) Thick(r coating.Reading) string { return Thickness(r) }

// Thick is [Thickness], for templates.
func (PaintRecord) Thick(r coating.Reading) string { return Thickness(r) }

// significant writes three significant figures.
func significant(x float64) string { return strconv.FormatFloat(coating.Round(x), 'f', -1, 64) }

// ComponentForm is one component of a [MixForm].
type ComponentForm struct{ Name, Parts, Density string }

// MixForm is what was typed for a mix: "id" (made with the form, so that sending it
// twice records one), "product", "colour", "lot", "for", "by", "densities", "step",
// "amount", "unit", and with N counted from 0 "components.N.name", ".parts" and
// ".density"; a component without any of the three does not count.
type MixForm struct {
	ID, Product, Colour, Lot, For        string
	By, Densities, Step, Amount, AskedIn string
	Components                           []ComponentForm
}

// MixNew is the form for a mix. It posts to /builds/ID/stages/ID/mix, with the button
// "do" = "start" or "more" (lines).
type MixNew struct {
	Frame
	Stage    journal.Stage
	Form     MixForm
	Earlier  []coating.Mix // whose formulas can be used again, newest first
	Chosen   journal.PaintID
	Problems journal.Problems
}

// Template names the page's template.
func (MixNew) Template() string { return "floor/mix_new" }

// URL returns the form's address.
func (p MixNew) URL() string { return p.Build.URL() + "/stages/" + string(p.Stage.ID) + "/mix" }

// Ways are the choices of the form.
func (MixNew) Ways() []Option {
	return []Option{{Value: "weight", Text: "By weight", Help: "As a formula sheet for the scale gives them"},
		{Value: "volume", Text: "By volume", Help: "Such as 4:1:1; the densities stand on the data sheets"}}
}

// Steps are the steps of a scale to choose from.
func (MixNew) Steps() []Option {
	return []Option{{Value: "0.1", Text: "0.1 g"}, {Value: "1", Text: "1 g"}}
}

// DensityUnits are the units of densities to choose from.
func (MixNew) DensityUnits() []Option {
	return []Option{{Value: "g/mL", Text: "g/mL (same figure as kg/L)"}, {Value: "lb/gal", Text: "lb/gal"}}
}

// AmountUnits are the units an amount can be asked for in.
func (MixNew) AmountUnits() []Option {
	return []Option{{Value: "g", Text: "grams"}, {Value: "mL", Text: "mL"}, {Value: "fl oz", Text: "fl oz (US)"}}
}

// Mixing is the page beside the scale. Its forms post to its own address, with
// "number" (of the act), "do" = "poured" (then "component" and "scale"), "back" or
// "left".
type Mixing struct {
	Frame
	Stage    journal.Stage
	Mix      coating.Mix
	Batch    coating.Batch
	Number   int           // of the next act
	Back     *coating.Back // taken back; nil while it stands
	BackBy   string
	By       string // who began it
	Scale    string // as typed
	Problems journal.Problems
}

// Template names the page's template.
func (Mixing) Template() string { return "floor/mixing" }

// StageURL returns the stage's address.
func (p Mixing) StageURL() string { return p.Build.URL() + "/stages/" + string(p.Stage.ID) }

// URL returns the page's address.
func (p Mixing) URL() string { return p.StageURL() + "/mix/" + string(p.Mix.ID) }

// Grams writes a weight as the scale shows it.
func (p Mixing) Grams(w coating.Weight) string { return p.Plain(w) + nbsp + "g" }

// Plain writes a weight as the scale shows it, without its unit.
func (p Mixing) Plain(w coating.Weight) string { return w.In(p.Mix.Formula.Step) }

// Name names a component.
func (p Mixing) Name(component int) string { return p.Mix.Formula.Components[component].Name }

// Next is the pour to do now; nil when there is none.
func (p Mixing) Next() *coating.Step {
	if steps := p.Batch.Steps(); len(steps) > 0 {
		return &steps[0]
	}
	return nil
}

// Later are the pours after the next.
func (p Mixing) Later() []coating.Step {
	if steps := p.Batch.Steps(); len(steps) > 1 {
		return steps[1:]
	}
	return nil
}

// InCup is one component that is in the cup.
type InCup struct {
	Name string
	In   coating.Weight
	Off  string // how far it is from its share of all that is in the cup; "" until the mix is complete
	Full bool   // nothing more of it belongs in
}

// InCup are the components in the cup so far.
func (p Mixing) InCup() []InCup {
	var all []InCup
	for i, in := range p.Batch.In {
		if in == 0 {
			continue
		}
		c := InCup{Name: p.Name(i), In: in, Full: in >= p.Batch.Targets[i]}
		if p.Batch.Done() {
			c.Off = off(in, p.Batch.Ideal(i))
		}
		all = append(all, c)
	}
	return all
}

// off says how far a weight is from what it should be, in tenths of a per cent.
func off(in, ideal coating.Weight) string {
	if ideal <= 0 || in == ideal {
		return "as the formula asks"
	}
	word, d := "more than the formula asks", in-ideal
	if d < 0 {
		word, d = "less than the formula asks", -d
	}
	tenths := (2000*int64(d)/int64(ideal) + 1) / 2
	if tenths == 0 {
		return "as the formula asks"
	}
	return fmt.Sprintf("%d.%d%s%% %s", tenths/10, tenths%10, nbsp, word)
}

// LeftOff says how far the component that was poured too much would be off when the
// mix is left as it is, against the share it should have.
func (p Mixing) LeftOff() string {
	in := p.Batch.In[p.Batch.Over]
	return off(in, in-p.Batch.Too)
}

// MixItem is one mix in a record.
type MixItem struct {
	Mix   coating.Mix
	Total coating.Weight // what is in the cup
	Done  bool
	By    string
	Parts []InCup
	Back  BackLine
}

// Grams writes a weight as the mix's scale shows it.
func (m MixItem) Grams(w coating.Weight) string { return w.In(m.Mix.Formula.Step) + nbsp + "g" }

// ReadingItem is one film reading in a record.
type ReadingItem struct {
	Reading coating.Reading
	By      string
	Back    BackLine
}

// UsedItem is one amount used in a record.
type UsedItem struct {
	Used coating.Used
	By   string
	Back BackLine
}

// BackLine says that a thing was taken back, or lets it be; piece "paint-back".
type BackLine struct {
	Words
	ID       journal.PaintID
	Action   string // where taking it back posts "reason"; "" for those who may not
	What     string // it, in a few words
	Gone     bool
	By       string // who took it back
	At       time.Time
	Why      string // of what is gone
	Reason   string // as typed
	Problems journal.Problems
}

// Prefix keeps the ids of a page's forms apart.
func (b BackLine) Prefix() string { return string(b.ID) + "-" }

// ReadingForm is what was typed for a film reading: "id", "place", "coat",
// "substrate", "film", "unit".
type ReadingForm struct{ ID, Place, Coat, Substrate, Film, Unit string }

// UsedForm is what was typed for an amount used: "id", "mix", "product", "used",
// "used_unit", "for".
type UsedForm struct{ ID, Mix, Product, Used, Unit, For string }

// PaintRecord is a stage's paint record as the shop sees it. Its forms post to
// .../paint/readings, .../paint/used, .../paint/shown ("audience") and
// .../paint/ID/back ("reason").
type PaintRecord struct {
	Frame
	Stage    journal.Stage
	Audience journal.Audience
	Mixes    []MixItem // newest first, as the two below
	Readings []ReadingItem
	Used     []UsedItem
	Reading  ReadingForm
	UsedUp   UsedForm
	Problems journal.Problems
}

// Template names the page's template.
func (PaintRecord) Template() string { return "floor/paint" }

// StageURL returns the stage's address.
func (p PaintRecord) StageURL() string { return p.Build.URL() + "/stages/" + string(p.Stage.ID) }

// Shared reports whether the owner sees it.
func (p PaintRecord) Shared() bool { return p.Audience == journal.OwnerToo }

// SubstrateOptions are what a film can lie on.
func (PaintRecord) SubstrateOptions() []Option {
	all := []Option{{Text: "Please choose"}}
	for _, s := range coating.Substrates {
		all = append(all, Option{Value: s, Text: UpperFirst(s)})
	}
	return all
}

func unitOptions(units []coating.Unit) []Option {
	var all []Option
	for _, u := range units {
		all = append(all, Option{Value: string(u), Text: string(u)})
	}
	return all
}

// FilmUnits are the units of a reading.
func (PaintRecord) FilmUnits() []Option { return unitOptions(coating.FilmUnits) }

// AmountUnits are the units of an amount used.
func (PaintRecord) AmountUnits() []Option { return unitOptions(coating.AmountUnits) }

// MixOptions are the mixes an amount can have been of.
func (p PaintRecord) MixOptions() []Option {
	all := []Option{{Text: "None of these; I name the product"}}
	for _, m := range p.Mixes {
		if !m.Back.Gone {
			all = append(all, Option{Value: string(m.Mix.ID), Text: m.Mix.Product + ", for " + m.Mix.For})
		}
	}
	return all
}

var _ = declare(MixNew{}, Mixing{}, PaintRecord{})
