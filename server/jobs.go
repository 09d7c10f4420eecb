package server

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"runtime/debug"
	"sync"
	"sync/atomic"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
)

const (
	// jobLease is how long a claimed job is left to its worker. A worker that
	// takes longer is cut off before, so that no job runs twice at once.
	jobLease = 10 * time.Minute
	jobTime  = jobLease - time.Minute
	// jobPoll is how often the database is asked for work that nobody announced:
	// jobs put back for later, and those of a crashed process.
	jobPoll = 5 * time.Second
	// recordTime bounds writing down how a job ended, also while stopping.
	recordTime = 10 * time.Second
)

// jobRule says how jobs of one kind are done.
type jobRule struct {
	// run does the job. An error means: once more, unless it was made by
	// [hopeless]. It may be called again for a job that was done before.
	run func(ctx context.Context, subject string) error
	// tries is how often a job is tried before it is given up.
	tries int
	// wait is how long to wait after the given try, counted from 1.
	wait func(try int) time.Duration
	// gaveUp notes on the subject that nothing more will be tried. May be nil.
	gaveUp func(ctx context.Context, subject string, cause error) error
}

// hopelessError is a failure that trying again cannot cure.
type hopelessError struct{ error }

func (e hopelessError) Unwrap() error { return e.error }

// hopeless marks a job's failure as final.
func hopeless(err error) error { return hopelessError{err} }

// jobs runs what waits in the database: several workers, each claiming one job
// at a time. A job that is cut off by a stop is put back; one whose process
// died is claimed again when its lease has run out. A job is done at least
// once, and seldom twice.
type jobs struct {
	store flow.Store
	now   func() time.Time
	log   *slog.Logger
	rules map[journal.JobKind]jobRule
	wake  chan struct{}
	busy  atomic.Int64 // workers between claiming a job and writing down its end
}

func newJobs(store flow.Store, now func() time.Time, log *slog.Logger) *jobs {
	return &jobs{store: store, now: now, log: log, rules: map[journal.JobKind]jobRule{}, wake: make(chan struct{}, 1)}
}

// handle says how jobs of a kind are done. To be called before run.
func (j *jobs) handle(kind journal.JobKind, rule jobRule) { j.rules[kind] = rule }

// nudge wakes a worker. It never waits.
func (j *jobs) nudge() {
	select {
	case j.wake <- struct{}{}:
	default: // one is being woken already
	}
}

// run works until ctx ends, and returns when all workers have stopped and what
// they had in hand is written down.
func (j *jobs) run(ctx context.Context, workers int) {
	var all sync.WaitGroup
	for range workers {
		all.Go(func() { j.work(ctx) })
	}
	all.Wait()
}

func (j *jobs) work(ctx context.Context) {
	poll := time.NewTicker(jobPoll)
	defer poll.Stop()
	for ctx.Err() == nil {
		did, err := j.step(ctx)
		if err != nil && ctx.Err() == nil {
			j.log.ErrorContext(ctx, "jobs cannot be read or written", "error", err)
		}
		if did && err == nil {
			continue
		}
		select {
		case <-ctx.Done():
		case <-j.wake:
		case <-poll.C:
		}
	}
}

// runDue does all jobs that are due now and returns how many it took in hand.
func (j *jobs) runDue(ctx context.Context) (int, error) {
	for n := 0; ; n++ {
		did, err := j.step(ctx)
		if err != nil || !did {
			return n, err
		}
	}
}

// step claims one job and does it; did is false when there is none. The error
// is of the database, not of the job.
func (j *jobs) step(ctx context.Context) (did bool, err error) {
	j.busy.Add(1)
	defer j.busy.Add(-1)
	var job journal.Job
	err = j.store.Write(ctx, func(tx flow.Tx) (err error) {
		job, did, err = tx.ClaimJob(j.now(), jobLease)
		return err
	})
	if err != nil || !did {
		return false, err
	}
	j.nudge() // there may be more: let another worker look
	cause := j.do(ctx, job)
	return true, j.settle(ctx, job, cause)
}

// do runs the job's rule within its time. A panic is a failure of the job.
func (j *jobs) do(ctx context.Context, job journal.Job) (cause error) {
	rule, known := j.rules[job.Kind]
	if !known {
		return hopeless(fmt.Errorf("server: no rule for jobs of kind %q", job.Kind))
	}
	if job.Tries > rule.tries {
		// Claimed too often and never settled: it may be what brings the
		// program down.
		return hopeless(fmt.Errorf("server: job %s %s was begun %d times and never ended", job.Kind, job.Subject, job.Tries-1))
	}
	ctx, stop := context.WithTimeout(ctx, jobTime)
	defer stop()
	defer func() {
		if p := recover(); p != nil {
			cause = fmt.Errorf("server: job %s %s: panic: %v\n%s", job.Kind, job.Subject, p, debug.Stack())
		}
	}()
	return rule.run(ctx, job.Subject)
}

// settle writes down how a job ended, even when ctx has ended.
func (j *jobs) settle(ctx context.Context, job journal.Job, cause error) error {
	stopping := ctx.Err() != nil
	ctx, stop := context.WithTimeout(context.WithoutCancel(ctx), recordTime)
	defer stop()
	now := j.now()
	if cause == nil {
		return j.store.Write(ctx, func(tx flow.Tx) error { return tx.FinishJob(job.ID, now) })
	}
	if stopping {
		return j.store.Write(ctx, func(tx flow.Tx) error {
			return tx.DelayJob(job.ID, now, "stopped with the program")
		})
	}
	rule := j.rules[job.Kind]
	var final hopelessError
	if !errors.As(cause, &final) && job.Tries < rule.tries {
		wait := rule.wait(job.Tries)
		j.log.WarnContext(ctx, "a job failed and is tried again", "kind", job.Kind, "subject", job.Subject,
			"try", job.Tries, "again_in", wait, "error", cause)
		return j.store.Write(ctx, func(tx flow.Tx) error { return tx.DelayJob(job.ID, now.Add(wait), cause.Error()) })
	}
	j.log.ErrorContext(ctx, "a job is given up", "kind", job.Kind, "subject", job.Subject, "try", job.Tries, "error", cause)
	if rule.gaveUp != nil {
		if err := rule.gaveUp(ctx, job.Subject, cause); err != nil {
			// Leave the job leased: it comes back and is given up again.
			return fmt.Errorf("server: giving up job %d: %w", job.ID, err)
		}
	}
	return j.store.Write(ctx, func(tx flow.Tx) error { return tx.EndJob(job.ID, now, cause.Error()) })
}

// doubling returns a wait that begins with first and doubles with each try, up
// to most.
func doubling(first, most time.Duration) func(int) time.Duration {
	return func(try int) time.Duration {
		wait := first
		for i := 1; i < try && wait < most; i++ {
			wait *= 2
		}
		return min(wait, most)
	}
}

const (
	sweepEvery = time.Hour
	// sweepAfter is how long ended sessions, links and kept forms stay, so that
	// an old session is still told from a made-up one.
	sweepAfter = 90 * 24 * time.Hour
)

// sweep forgets what has long ended, now and then, until ctx ends.
func (a *App) sweep(ctx context.Context) {
	tick := time.NewTicker(sweepEvery)
	defer tick.Stop()
	for {
		err := a.store.Write(ctx, func(tx flow.Tx) error { return tx.Sweep(a.now().Add(-sweepAfter)) })
		if err != nil && ctx.Err() == nil {
			a.log.WarnContext(ctx, "old sessions could not be swept", "error", err)
		}
		// The age of a file is told by the machine's clock, not by the shop's.
		if _, err := a.Intake().Sweep(ctx, time.Now().Add(-24*time.Hour)); err != nil && ctx.Err() == nil {
			a.log.WarnContext(ctx, "originals of no photo could not be swept", "error", err)
		}
		if err := a.resumable.recover(ctx); err != nil && ctx.Err() == nil {
			a.log.WarnContext(ctx, "uploads under way could not be looked after", "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// remindEvery is how often it is looked whether a reminder is due. Each is written
// once, so that looking more often than daily does no harm.
const remindEvery = 30 * time.Minute

// remind writes the reminders that are due, again and again, until ctx ends.
func (a *App) remind(ctx context.Context) {
	tick := time.NewTicker(remindEvery)
	defer tick.Stop()
	for {
		if _, err := a.steps.RemindDue(ctx); err != nil && ctx.Err() == nil {
			a.log.WarnContext(ctx, "reminders of invoices could not be written", "error", err)
		}
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
	}
}

// addJobs says how every kind of job is done.
func (a *App) addJobs() {
	a.jobs.handle(journal.JobMail, a.mailRule())
	a.jobs.handle(journal.JobDerive, a.deriveRule())
}

// deriveTries: what cannot be decoded ends at the first try as a failed photo;
// what is tried again is a fault of the disk or the database.
const deriveTries = 8

func (a *App) deriveRule() jobRule {
	return jobRule{
		tries: deriveTries, wait: doubling(15*time.Second, time.Hour),
		run: func(ctx context.Context, subject string) error {
			photo, err := a.steps.PhotoOfJob(ctx, subject)
			if journal.CodeOf(err) == journal.NotFound {
				return hopeless(err)
			}
			if err != nil {
				return err
			}
			return a.Intake().Derive(ctx, photo)
		},
		gaveUp: func(ctx context.Context, subject string, _ error) error {
			photo, err := a.steps.PhotoOfJob(ctx, subject)
			if journal.CodeOf(err) == journal.NotFound {
				return nil // nothing to note it on
			}
			if err != nil {
				return err
			}
			return a.steps.PhotoFailed(ctx, photo, "The sizes to show could not be made.")
		},
	}
}
