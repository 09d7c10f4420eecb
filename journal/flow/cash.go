package flow

import (
	"context"

	"farbay/journal"
	"farbay/journal/billing"
)

// BuildCash is what is expected to come in on one build.
type BuildCash struct {
	Build  journal.Build
	Stages []journal.Stage
	Coming []billing.Coming
}

// CashExpected forecasts what will come in on every agreed build, from the days
// planned for its stages, its terms and the day it is to be ready. Builds on which
// nothing is expected are left out. On a build that was ended early no stage
// closes any more. Office only.
func (s *Steps) CashExpected(ctx context.Context, a Actor) (expected []BuildCash, err error) {
	if err := asOffice(a); err != nil {
		return nil, err
	}
	err = s.Store.Read(ctx, func(r Reads) error {
		builds, err := r.Builds()
		if err != nil {
			return err
		}
		today := s.today(r)
		for _, b := range builds {
			if b.State == journal.Scoping {
				continue
			}
			one, err := s.cashOf(r, b, today)
			if err != nil {
				return err
			}
			if len(one.Coming) > 0 {
				expected = append(expected, one)
			}
		}
		return nil
	})
	return expected, err
}

func (s *Steps) cashOf(r Reads, b journal.Build, today journal.Date) (c BuildCash, err error) {
	c.Build = b
	acc, err := s.account(r, b)
	if err != nil {
		return c, err
	}
	if c.Stages, err = r.Stages(b.ID); err != nil {
		return c, err
	}
	var closings []billing.Closing
	for _, st := range c.Stages {
		if st.State != journal.Closed && b.State != journal.Stopped {
			closings = append(closings, billing.Closing{StageID: string(st.ID), On: st.PlannedTo})
		}
	}
	c.Coming, err = billing.Cash(acc, closings, b.ReadyOn, today)
	return c, err
}
