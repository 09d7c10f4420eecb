package store

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"sync"
	"testing"
	"time"

	"github.com/mattn/go-sqlite3"

	"farbay/journal"
	"farbay/journal/flow"
)

// TestWrite_ReadThenWrite: transactions that read first and write what they
// read plus one. With deferred transactions some fail with "database is
// locked", or a count is lost.
func TestWrite_ReadThenWrite(t *testing.T) {
	const goroutines, rounds = 8, 50
	s := yard(t)
	var wg sync.WaitGroup
	for range goroutines {
		wg.Go(func() {
			for range rounds {
				err := s.Write(context.Background(), func(tx flow.Tx) error {
					text, err := tx.Meta("count")
					if err != nil {
						return err
					}
					n := 0
					if text != "" {
						if n, err = strconv.Atoi(text); err != nil {
							return err
						}
					}
					if _, err := tx.AddEvent(journal.Event{At: noon, BuildID: heron, Kind: "count"}); err != nil {
						return err
					}
					return tx.SetMeta("count", strconv.Itoa(n+1))
				})
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	if got := get(t, s, func(r flow.Reads) (string, error) { return r.Meta("count") }); got != strconv.Itoa(goroutines*rounds) {
		t.Errorf("counted to %s, want %d", got, goroutines*rounds)
	}
	events := get(t, s, func(r flow.Reads) ([]journal.Event, error) { return r.Events(heron) })
	for i, e := range events {
		if e.Seq != int64(i)+1 {
			t.Fatalf("event %d has Seq %d", i, e.Seq)
		}
	}
	if len(events) != goroutines*rounds {
		t.Errorf("%d events, want %d", len(events), goroutines*rounds)
	}
}

// TestWrite_TwoStores: two processes on one file, as when a command runs while
// the server does.
func TestWrite_TwoStores(t *testing.T) {
	const rounds = 50
	s := yard(t)
	other, err := Open(s.path)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	var wg sync.WaitGroup
	for i, each := range []*Store{s, other} {
		wg.Go(func() {
			for n := range rounds {
				err := each.Write(context.Background(), func(tx flow.Tx) error {
					_, err := tx.AddEvent(journal.Event{At: noon, BuildID: heron, Kind: fmt.Sprintf("%d/%d", i, n)})
					return err
				})
				if err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	if events := get(t, s, func(r flow.Reads) ([]journal.Event, error) { return r.Events(heron) }); len(events) != 2*rounds {
		t.Errorf("%d events, want %d", len(events), 2*rounds)
	}
}

// TestRead_DuringWrite: a reader neither waits for the writer nor sees what is
// not committed, and sees one state from its first question to its last.
func TestRead_DuringWrite(t *testing.T) {
	s := yard(t)
	meta := func(r flow.Reads) (string, error) { return r.Meta("key") }
	write(t, s, func(tx flow.Tx) error { return tx.SetMeta("key", "old") })
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()

	err := s.Write(ctx, func(tx flow.Tx) error {
		if err := tx.SetMeta("key", "new"); err != nil {
			return err
		}
		// All readers at once, each with a transaction of its own.
		var wg sync.WaitGroup
		inside := make(chan struct{})
		for range readers {
			wg.Go(func() {
				err := s.Read(ctx, func(r flow.Reads) error {
					v, err := meta(r)
					if v != "old" {
						t.Errorf("a reader saw %q while the writer had not committed", v)
					}
					select {
					case inside <- struct{}{}:
					case <-ctx.Done():
					}
					return err
				})
				if err != nil {
					t.Error(err)
				}
			})
		}
		for range readers {
			select {
			case <-inside:
			case <-ctx.Done():
				t.Error("readers waited for the writer")
			}
		}
		wg.Wait()
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}

	err = s.Read(ctx, func(r flow.Reads) error {
		before, err := meta(r)
		if err != nil {
			return err
		}
		write(t, s, func(tx flow.Tx) error { return tx.SetMeta("key", "newer") })
		after, err := meta(r)
		if before != "new" || after != "new" {
			t.Errorf("one transaction read %q and then %q", before, after)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	if v := get(t, s, meta); v != "newer" {
		t.Errorf("the next transaction reads %q", v)
	}
}

// TestRead_CannotWrite: the reading handle refuses, whatever reaches it.
func TestRead_CannotWrite(t *testing.T) {
	s := yard(t)
	// The change itself is sound, so only the handle can be why it is refused.
	const change = "UPDATE builds SET colour = 'changed'"
	var lite sqlite3.Error
	if err := s.reader.Exec(change).Error; !errors.As(err, &lite) || lite.Code != sqlite3.ErrReadonly {
		t.Errorf("the reading handle answered a write with %v, want that it only reads", err)
	}
	if err := s.writer.Exec(change).Error; err != nil {
		t.Fatal(err)
	}
	err := s.Read(context.Background(), func(r flow.Reads) error {
		if _, ok := r.(flow.Tx); ok {
			t.Error("what Read hands out can be used to write")
		}
		return nil
	})
	if err != nil {
		t.Error(err)
	}
}

// TestVersions: the second of two people who read the same version is told so.
func TestVersions(t *testing.T) {
	s := yard(t)
	b := get(t, s, func(r flow.Reads) (journal.Build, error) { return r.Build(heron) })
	const people = 50
	var wg sync.WaitGroup
	results := make(chan error, people)
	for i := range people {
		wg.Go(func() {
			mine := b
			mine.Truck.Colour = fmt.Sprintf("colour %d", i)
			results <- s.Write(context.Background(), func(tx flow.Tx) error { return tx.SaveBuild(mine) })
		})
	}
	wg.Wait()
	close(results)
	saved := 0
	for err := range results {
		switch journal.CodeOf(err) {
		case "":
			saved++
		case journal.Conflict:
		default:
			t.Errorf("got %v, want nil or Conflict", err)
		}
	}
	if now := get(t, s, func(r flow.Reads) (journal.Build, error) { return r.Build(heron) }); saved != 1 || now.Version != b.Version+1 {
		t.Errorf("%d of %d saved, and the version went from %d to %d; want one", saved, people, b.Version, now.Version)
	}
}
