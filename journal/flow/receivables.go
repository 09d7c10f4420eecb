package flow

import (
	"context"

	"farbay/journal"
	"farbay/journal/billing"
)

// Receivable is what is open on one build.
type Receivable struct {
	Build  journal.Build
	Owners []string // names of current owners and delegates, owners first
	Aging  billing.Aging
}

// Receivables are what is open on all builds on one day.
type Receivables struct {
	On     journal.Date
	Builds []Receivable // those with something open or in the owner's favour; undelivered first, then by nickname
	Total  billing.Aging
}

// Receivables returns what is open today on all builds, by how long it is past due.
// Office only.
func (s *Steps) Receivables(ctx context.Context, a Actor) (all Receivables, err error) {
	if err := asOffice(a); err != nil {
		return all, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		all.On = s.today(r)
		builds, err := r.Builds()
		if err != nil {
			return err
		}
		for _, b := range builds {
			acc, err := s.account(r, b)
			if err != nil {
				return err
			}
			aging := billing.AgingOf(acc, all.On)
			if aging.Total() == 0 && aging.Favour == 0 {
				continue
			}
			owners, _, err := ownersOf(r, b.ID)
			if err != nil {
				return err
			}
			all.Builds = append(all.Builds, Receivable{b, namesOf(owners), aging})
			all.Total = all.Total.Plus(aging)
		}
		return nil
	})
	return all, err
}
