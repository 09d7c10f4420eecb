package flow

import (
	"time"

	"farbay/journal"
	"farbay/journal/billing"
)

// AccountFromLog makes up a build's account of its events alone.
func AccountFromLog(r Reads, build journal.BuildID, until time.Time) (billing.Account, error) {
	events, err := r.Events(build)
	if err != nil {
		return billing.Account{}, err
	}
	return accountFromLog(events, until, keptSheet(r))
}

// Unlike names the first figure in which two statements differ.
var Unlike = unlike
