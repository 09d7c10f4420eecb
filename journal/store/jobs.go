package store

import (
	"time"

	"farbay/journal"
)

type jobRow struct {
	ID         int64 `gorm:"primaryKey"`
	Kind       string
	Subject    string
	CreatedAt  instant
	RunAt      instant
	LeaseUntil instant
	Tries      int
	DoneAt     instant
	Fault      string
}

func (jobRow) TableName() string { return "jobs" }

func (r jobRow) job() journal.Job {
	return journal.Job{
		ID: r.ID, Kind: journal.JobKind(r.Kind), Subject: r.Subject, CreatedAt: r.CreatedAt.Time, RunAt: r.RunAt.Time,
		LeaseUntil: r.LeaseUntil.Time, Tries: r.Tries, DoneAt: r.DoneAt.Time, Fault: r.Fault,
	}
}

func (r *reads) PendingJobs(kind journal.JobKind) (int, error) {
	var n int
	err := r.scan("PendingJobs", &n, "SELECT count(*) FROM jobs WHERE done_at = '' AND kind = ?", string(kind))
	return n, err
}

// AddJob implements [flow.Tx]. The job's CreatedAt is the time it was first to
// run.
func (t *tx) AddJob(kind journal.JobKind, subject string, runAt time.Time) error {
	row := jobRow{Kind: string(kind), Subject: subject, CreatedAt: at(runAt), RunAt: at(runAt)}
	return t.add("AddJob", "", &row)
}

// ClaimJob implements [flow.Tx]. Claiming counts as a try, so that a job that
// brings the program down is counted too. A lease has run out at its end.
func (t *tx) ClaimJob(now time.Time, lease time.Duration) (journal.Job, bool, error) {
	var rows []jobRow
	err := t.q().Raw(`UPDATE jobs SET lease_until = @until, tries = tries + 1 WHERE id = (
			SELECT id FROM jobs WHERE done_at = '' AND run_at <= @now AND lease_until <= @now ORDER BY run_at, id LIMIT 1
		) RETURNING *`, map[string]any{"now": at(now), "until": at(now.Add(lease))}).Scan(&rows).Error
	if err != nil || len(rows) == 0 {
		return journal.Job{}, false, t.fail("ClaimJob", err, "", "")
	}
	return rows[0].job(), true, nil
}

// FinishJob, EndJob and DelayJob implement [flow.Tx]. A job that is done
// already, by a claimer whose lease had run out, stays as it is.

func (t *tx) FinishJob(id int64, when time.Time) error {
	return t.settle("FinishJob", id, "done_at = ?, lease_until = '', fault = ''", at(when))
}

func (t *tx) EndJob(id int64, when time.Time, fault string) error {
	return t.settle("EndJob", id, "done_at = ?, lease_until = '', fault = ?", at(when), fault)
}

func (t *tx) DelayJob(id int64, runAt time.Time, fault string) error {
	return t.settle("DelayJob", id, "run_at = ?, lease_until = '', fault = ?", at(runAt), fault)
}

func (t *tx) settle(op string, id int64, change string, args ...any) error {
	n, err := t.exec(op, "UPDATE jobs SET "+change+" WHERE id = ? AND done_at = ''", append(args, id)...)
	if err != nil || n == 1 {
		return err
	}
	_, err = take(t.reads, op, "There is no such job.", t.q().Where("id = ?", id), jobRow.job)
	return err
}
