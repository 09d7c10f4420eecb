package flow

import (
	"context"
	"time"

	"farbay/journal"
	"farbay/journal/billing"
)

// StatementUntil is a build's statement as the record had it at the end of an
// instant.
func (s *Steps) StatementUntil(ctx context.Context, build journal.BuildID, until time.Time) (st billing.Statement, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		b, err := r.Build(build)
		if err != nil {
			return err
		}
		acc, err := s.accountUntil(r, b, until)
		st = billing.StatementOf(acc)
		return err
	})
	return st, err
}
