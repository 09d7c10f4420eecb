package flow

import (
	"fmt"

	"farbay/journal"
	"farbay/journal/coating"
)

// The kinds of events of paint records.
const (
	mixStarted     = "paint mix started"
	mixPoured      = "paint poured"
	filmRead       = "film read"
	paintUsed      = "paint used"
	paintTakenBack = "paint record taken back"
	paintShown     = "paint record shown"
)

// paintKinds are the kinds of events that have rows of paint records.
var paintKinds = map[string]bool{mixStarted: true, mixPoured: true, filmRead: true, paintUsed: true, paintTakenBack: true, paintShown: true}

// paintAct names the rows of one kind about one thing.
type paintAct struct{ kind, subject string }

func mixDetail(m coating.Mix) map[string]any {
	var components []map[string]any
	for _, c := range m.Formula.Components {
		components = append(components, map[string]any{"name": c.Name, "parts": c.Parts, "density": c.Density})
	}
	return map[string]any{
		"stage": m.StageID, "product": m.Product, "colour": m.Colour, "lot": m.Lot, "for": m.For, "amount": m.Amount,
		"by": m.Formula.By, "densities": m.Formula.Densities, "step": m.Formula.Step, "components": components,
	}
}

func pourDetail(p coating.PourRow) map[string]any {
	return map[string]any{"number": p.Number, "act": p.Pour.Act, "component": p.Pour.Component, "scale": p.Pour.Scale}
}

func readingDetail(x coating.Reading) map[string]any {
	return map[string]any{"stage": x.StageID, "place": x.Place, "coat": x.Coat, "substrate": x.Substrate, "film": x.Film, "unit": x.Unit}
}

func usedDetail(x coating.Used) map[string]any {
	return map[string]any{"stage": x.StageID, "mix": x.MixID, "product": x.Product, "amount": x.Amount, "unit": x.Unit, "for": x.For}
}

func backDetail(b coating.Back) map[string]any {
	return map[string]any{"stage": b.StageID, "reason": b.Reason}
}

func shownDetail(row coating.Shown) map[string]any {
	return map[string]any{"audience": row.Audience}
}

// paint compares a build's paint records with their events, in order.
func (c rowCheck) paint() error {
	mixes, err := c.r.Mixes(c.build)
	if err != nil {
		return err
	}
	for _, m := range mixes {
		c.painted(fmt.Sprintf("the mix of %s", m.Product), mixStarted, string(m.ID), m.ByID, mixDetail(m))
	}
	pours, err := c.r.PaintPours(c.build)
	if err != nil {
		return err
	}
	for _, p := range pours {
		c.painted(fmt.Sprintf("pour %d of a mix", p.Number), mixPoured, string(p.MixID), p.ByID, pourDetail(p))
	}
	readings, err := c.r.FilmReadings(c.build)
	if err != nil {
		return err
	}
	for _, x := range readings {
		c.painted(fmt.Sprintf("the film reading at %s", x.Place), filmRead, string(x.ID), x.ByID, readingDetail(x))
	}
	used, err := c.r.PaintUsed(c.build)
	if err != nil {
		return err
	}
	for _, x := range used {
		c.painted(fmt.Sprintf("the amount of %s used", x.Product), paintUsed, string(x.ID), x.ByID, usedDetail(x))
	}
	backs, err := c.r.PaintBacks(c.build)
	if err != nil {
		return err
	}
	for _, b := range backs {
		c.painted("the taking back of a paint record", paintTakenBack, string(b.OfID), b.ByID, backDetail(b))
	}
	shown, err := c.r.PaintShown(c.build)
	if err != nil {
		return err
	}
	for _, row := range shown {
		c.painted("who sees a stage's paint record", paintShown, string(row.StageID), row.ByID, shownDetail(row))
	}
	return nil
}

// painted compares one row with the first of its events that is not taken off yet.
func (c rowCheck) painted(what, kind, subject string, by journal.PersonID, detail map[string]any) {
	key := paintAct{kind, subject}
	events := c.said.painted[key]
	if len(events) == 0 {
		c.unsaid(what, subject)
		return
	}
	s := events[0]
	if c.said.painted[key] = events[1:]; len(events) == 1 {
		delete(c.said.painted, key)
	}
	if s.Person != string(by) || s.Build != string(c.build) {
		c.add(c.build, subject, "%s was changed: %s says otherwise.", what, named(s.Entry))
	}
	c.compare(what, subject, s, valuesOf(detail))
}
