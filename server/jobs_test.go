package server

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal/flow"
	"farbay/journal/store"
)

// bench is a job queue over a real database, with a clock moved by hand.
type bench struct {
	*jobs
	mu    sync.Mutex
	clock time.Time
}

func (b *bench) pass(d time.Duration) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.clock = b.clock.Add(d)
}

func newBench(t *testing.T, file string) *bench {
	t.Helper()
	db, err := store.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := db.Close(); err != nil {
			t.Error(err)
		}
	})
	b := &bench{clock: time.Date(2026, 4, 14, 15, 0, 0, 0, time.UTC)}
	b.jobs = newJobs(db, func() time.Time {
		b.mu.Lock()
		defer b.mu.Unlock()
		return b.clock
	}, slog.New(slog.NewTextHandler(io.Discard, nil)))
	return b
}

func (b *bench) add(t *testing.T, subject string) {
	t.Helper()
	err := b.store.Write(t.Context(), func(tx flow.Tx) error { return tx.AddJob("test", subject, b.now()) })
	if err != nil {
		t.Fatal(err)
	}
}

func (b *bench) pending(t *testing.T) (n int) {
	t.Helper()
	err := b.store.Read(context.Background(), func(r flow.Reads) (err error) {
		n, err = r.PendingJobs("test")
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func (b *bench) due(t *testing.T) int {
	t.Helper()
	n, err := b.runDue(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return n
}

func TestFailingJobEndsAfterItsTries(t *testing.T) {
	b := newBench(t, filepath.Join(t.TempDir(), "db"))
	runs, given := 0, []string{}
	b.handle("test", jobRule{
		tries: 4, wait: doubling(time.Minute, 3*time.Minute),
		run: func(context.Context, string) error { runs++; return errors.New("broken pipe") },
		gaveUp: func(_ context.Context, subject string, cause error) error {
			given = append(given, subject+": "+cause.Error())
			return nil
		},
	})
	b.add(t, "a")
	// 1 min, 2 min, then 3 min at most.
	for i, wait := range []time.Duration{0, time.Minute, 2 * time.Minute, 3 * time.Minute} {
		if wait > 0 {
			b.pass(wait - time.Second)
			if b.due(t) != 0 {
				t.Fatalf("try %d came before its time", i+1)
			}
			b.pass(time.Second)
		}
		if b.due(t) != 1 || runs != i+1 {
			t.Fatalf("after wait %s: %d runs, want %d", wait, runs, i+1)
		}
	}
	if b.pending(t) != 0 || strings.Join(given, "|") != "a: broken pipe" {
		t.Errorf("%d wait, given up: %q", b.pending(t), given)
	}
	b.pass(1000 * time.Hour)
	if b.due(t) != 0 {
		t.Error("a job that was given up runs again")
	}
}

func TestJobGivenUpAtOnce(t *testing.T) {
	tests := []struct {
		name string
		run  func(context.Context, string) error
		runs int
		ends bool // at the first try
	}{
		{"hopeless", func(context.Context, string) error { return hopeless(errors.New("no such thing")) }, 1, true},
		{"panic is a failure like others", func(context.Context, string) error { panic("boom") }, 1, false},
		{"done", func(context.Context, string) error { return nil }, 1, true},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			b := newBench(t, filepath.Join(t.TempDir(), "db"))
			b.handle("test", jobRule{tries: 3, wait: doubling(time.Minute, time.Minute), run: test.run})
			b.add(t, "a")
			b.due(t)
			if ended := b.pending(t) == 0; ended != test.ends {
				t.Errorf("ended %v, want %v", ended, test.ends)
			}
		})
	}
	t.Run("a kind nobody knows", func(t *testing.T) {
		b := newBench(t, filepath.Join(t.TempDir(), "db"))
		b.add(t, "a")
		if b.due(t) != 1 || b.pending(t) != 0 {
			t.Errorf("%d wait", b.pending(t))
		}
	})
	t.Run("noting it fails, so it comes back", func(t *testing.T) {
		b := newBench(t, filepath.Join(t.TempDir(), "db"))
		fail := errors.New("disk full")
		b.handle("test", jobRule{
			tries: 1, run: func(context.Context, string) error { return errors.New("x") },
			gaveUp: func(context.Context, string, error) error { return fail },
		})
		b.add(t, "a")
		if _, err := b.runDue(t.Context()); !errors.Is(err, fail) {
			t.Fatalf("error is %v", err)
		}
		fail = nil
		b.pass(jobLease)
		if b.due(t) != 1 || b.pending(t) != 0 {
			t.Errorf("%d wait", b.pending(t))
		}
	})
}

// A process that dies with a job in hand leaves it leased; it runs again when
// the lease is over, in another process over the same file.
func TestJobSurvivesACrash(t *testing.T) {
	file := filepath.Join(t.TempDir(), "db")
	first := newBench(t, file)
	first.add(t, "a")
	err := first.store.Write(t.Context(), func(tx flow.Tx) error {
		_, ok, err := tx.ClaimJob(first.now(), jobLease)
		if !ok {
			t.Error("nothing to claim")
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}

	second := newBench(t, file)
	var ran []string
	second.handle("test", jobRule{tries: 3, wait: doubling(time.Minute, time.Minute), run: func(_ context.Context, subject string) error {
		ran = append(ran, subject)
		return nil
	}})
	second.pass(jobLease - time.Second)
	if second.due(t) != 0 {
		t.Fatal("a leased job was taken")
	}
	second.pass(time.Second)
	if second.due(t) != 1 || strings.Join(ran, " ") != "a" || second.pending(t) != 0 {
		t.Errorf("ran %v, %d wait", ran, second.pending(t))
	}
}

// A job whose process died at every try is not tried for ever.
func TestJobThatKillsIsGivenUp(t *testing.T) {
	b := newBench(t, filepath.Join(t.TempDir(), "db"))
	runs := 0
	b.handle("test", jobRule{tries: 2, wait: doubling(time.Minute, time.Minute), run: func(context.Context, string) error {
		runs++
		return nil
	}})
	b.add(t, "a")
	for range 2 {
		err := b.store.Write(t.Context(), func(tx flow.Tx) error {
			_, _, err := tx.ClaimJob(b.now(), jobLease)
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
		b.pass(jobLease)
	}
	if b.due(t) != 1 || runs != 0 || b.pending(t) != 0 {
		t.Errorf("%d runs, %d wait", runs, b.pending(t))
	}
}

// Stopping cuts a job off; it is put back and runs at the next start.
func TestStoppedJobIsTriedAgain(t *testing.T) {
	b := newBench(t, filepath.Join(t.TempDir(), "db"))
	begun := make(chan struct{})
	b.handle("test", jobRule{tries: 1, wait: doubling(time.Minute, time.Minute), run: func(ctx context.Context, _ string) error {
		close(begun)
		<-ctx.Done()
		return ctx.Err()
	}})
	b.add(t, "a")
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { b.run(ctx, 1); close(ended) }()
	<-begun
	stop()
	<-ended
	if b.pending(t) != 1 {
		t.Fatalf("%d wait, want the one that was cut off", b.pending(t))
	}
	done := false
	b.handle("test", jobRule{tries: 2, run: func(context.Context, string) error { done = true; return nil }})
	if b.due(t) != 1 || !done || b.pending(t) != 0 {
		t.Errorf("done %v, %d wait", done, b.pending(t))
	}
}

// Many workers share the work; nothing is left and nothing is done twice.
func TestWorkersShareTheWork(t *testing.T) {
	b := newBench(t, filepath.Join(t.TempDir(), "db"))
	const n = 60
	var mu sync.Mutex
	seen := map[string]int{}
	all := make(chan struct{})
	b.handle("test", jobRule{tries: 1, run: func(_ context.Context, subject string) error {
		mu.Lock()
		defer mu.Unlock()
		seen[subject]++
		if len(seen) == n {
			close(all)
		}
		return nil
	}})
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan struct{})
	go func() { b.run(ctx, 4); close(ended) }()
	for i := range n {
		b.add(t, string(rune('A'+i)))
		b.nudge()
	}
	<-all
	stop()
	<-ended
	for subject, times := range seen {
		if times != 1 {
			t.Errorf("job %s ran %d times", subject, times)
		}
	}
	if b.pending(t) != 0 {
		t.Errorf("%d wait", b.pending(t))
	}
}
