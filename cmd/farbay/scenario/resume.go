package scenario

import (
	"context"
	"encoding/json"
	"fmt"

	"farbay/cmd/farbay/scenery"
	"farbay/journal"
	"farbay/journal/flow"
)

// kept is a photo still to be drawn, as it is written down for a later start.
type kept struct {
	Build   journal.BuildID
	Entry   journal.EntryID
	By      who
	Caption string
	Shot    scenery.Shot
}

// MarshalJSON writes down the photos that are to be handed in.
func (p *Photos) MarshalJSON() ([]byte, error) {
	all := []kept{}
	for _, one := range p.pending {
		all = append(all, kept{one.build, one.entry, one.by, one.caption, one.shot})
	}
	return json.Marshal(all)
}

// Resume reads photos written down by an earlier start. Those that are in
// already are noticed when they are handed in again.
func Resume(ctx context.Context, s Shop, text []byte) (*Photos, error) {
	var all []kept
	if err := json.Unmarshal(text, &all); err != nil {
		return nil, fmt.Errorf("scenario: photos to be drawn: %w", err)
	}
	t := &teller{Shop: s, zone: shop.Location(), actors: map[who]flow.Actor{}}
	t.end = s.Steps.Now().UTC()
	err := s.Steps.Store.Read(ctx, func(r flow.Reads) error {
		for _, p := range people {
			person, err := r.PersonByEmail(p.person.Email)
			if err != nil {
				return err
			}
			t.actors[p.key] = flow.Actor{Person: person}
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("scenario: the shop's people: %w", err)
	}
	photos := &Photos{t: t}
	for _, one := range all {
		one.Shot.At = one.Shot.At.In(t.zone)
		photos.pending = append(photos.pending, pendingPhoto{one.Build, one.Entry, one.By, one.Caption, one.Shot})
	}
	return photos, nil
}
