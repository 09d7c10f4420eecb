package store

import (
	"context"
	"fmt"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
)

func claim(t testing.TB, s *Store, now time.Time, lease time.Duration) (job journal.Job, ok bool) {
	t.Helper()
	write(t, s, func(tx flow.Tx) (err error) {
		job, ok, err = tx.ClaimJob(now, lease)
		return err
	})
	return job, ok
}

func TestJobs(t *testing.T) {
	s := yard(t)
	pending := func() int {
		return get(t, s, func(r flow.Reads) (int, error) { return r.PendingJobs(journal.JobDerive) })
	}
	if _, ok := claim(t, s, noon, time.Minute); ok {
		t.Error("a job was claimed where there is none")
	}
	write(t, s, func(tx flow.Tx) error {
		for i, subject := range []string{"later", "second", "third", "first"} {
			if err := tx.AddJob(journal.JobDerive, subject, hours([]int{9, 2, 2, 1}[i])); err != nil {
				return err
			}
		}
		return tx.AddJob(journal.JobMail, "letter", hours(9))
	})
	if n := pending(); n != 4 {
		t.Errorf("%d jobs wait, want 4 of the kind", n)
	}
	if _, ok := claim(t, s, hours(1).Add(-1), time.Hour); ok {
		t.Error("a job was claimed before it is due")
	}
	var got string
	var first journal.Job
	for range 5 { // more than there are
		job, ok := claim(t, s, hours(3), time.Hour)
		if !ok {
			break
		}
		if got += job.Subject + " "; job.Subject == "first" {
			first = job
		}
	}
	if got != "first second third " {
		t.Errorf("claimed %q, want the due ones, oldest first", got)
	}
	if want := (journal.Job{ID: first.ID, Kind: journal.JobDerive, Subject: "first", CreatedAt: hours(1), RunAt: hours(1), LeaseUntil: hours(4), Tries: 1}); first != want {
		t.Errorf("claimed %+v, want %+v", first, want)
	}
	if n := pending(); n != 4 {
		t.Errorf("%d jobs are not done, want 4: claimed is not done", n)
	}

	// The lease runs out, and another claims it; both report.
	if _, ok := claim(t, s, hours(4).Add(-1), time.Hour); ok {
		t.Error("a job was claimed while its lease ran")
	}
	again, ok := claim(t, s, hours(4), time.Hour)
	if !ok || again.ID != first.ID || again.Tries != 2 {
		t.Errorf("got %+v, want the first job again, on its second try", again)
	}
	write(t, s, func(tx flow.Tx) error { return tx.FinishJob(first.ID, hours(4)) })
	write(t, s, func(tx flow.Tx) error { return tx.DelayJob(first.ID, hours(5), "late") }) // done stays done
	write(t, s, func(tx flow.Tx) error { return tx.EndJob(first.ID, hours(5), "late") })
	if n := pending(); n != 3 {
		t.Errorf("%d jobs are not done, want 3", n)
	}

	second, ok := claim(t, s, hours(4), time.Hour)
	if !ok || second.Subject != "second" {
		t.Fatalf("claimed %+v, want the second", second)
	}
	write(t, s, func(tx flow.Tx) error { return tx.DelayJob(second.ID, hours(6), "no room") })
	third, ok := claim(t, s, hours(4), time.Hour)
	if !ok || third.Subject != "third" {
		t.Fatalf("claimed %+v, want the third: the second was put off", third)
	}
	write(t, s, func(tx flow.Tx) error { return tx.EndJob(third.ID, hours(5), "not a picture") })
	if _, ok := claim(t, s, hours(6).Add(-1), time.Hour); ok {
		t.Error("a job was claimed before the time it was put off to")
	}
	second, ok = claim(t, s, hours(6), time.Hour)
	if !ok || second.Subject != "second" || second.Tries != 3 || second.Fault != "no room" {
		t.Errorf("claimed %+v, want the second on its third try, with its fault", second)
	}
	for _, f := range []func(flow.Tx) error{
		func(tx flow.Tx) error { return tx.FinishJob(99, noon) },
		func(tx flow.Tx) error { return tx.EndJob(99, noon, "x") },
		func(tx flow.Tx) error { return tx.DelayJob(99, noon, "x") },
	} {
		refused(t, s, journal.NotFound, f)
	}
	var row jobRow
	if err := s.reader.Take(&row, third.ID).Error; err != nil || row.Fault != "not a picture" || !row.DoneAt.Equal(hours(5)) {
		t.Errorf("the job given up is %+v (%v)", row, err)
	}
}

// TestClaimJob_Once: several workers, one of them in another process' place,
// share out the jobs.
func TestClaimJob_Once(t *testing.T) {
	s := yard(t)
	other, err := Open(s.path)
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	const jobs = 100
	write(t, s, func(tx flow.Tx) error {
		for i := range jobs {
			if err := tx.AddJob(journal.JobDerive, fmt.Sprint(i), noon); err != nil {
				return err
			}
		}
		return nil
	})
	var mu sync.Mutex
	claimed := map[string]int{}
	var wg sync.WaitGroup
	for _, worker := range []*Store{s, s, s, other} {
		wg.Go(func() {
			for range 2 * jobs { // more than there are
				var job journal.Job
				var ok bool
				err := worker.Write(context.Background(), func(tx flow.Tx) (err error) {
					job, ok, err = tx.ClaimJob(hours(1), time.Hour)
					return err
				})
				if err != nil {
					t.Error(err)
					return
				}
				if !ok {
					return
				}
				mu.Lock()
				claimed[job.Subject]++
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	if len(claimed) != jobs {
		t.Errorf("%d jobs were claimed, want %d", len(claimed), jobs)
	}
	for subject, n := range claimed {
		if n != 1 {
			t.Errorf("job %s was claimed %d times", subject, n)
		}
	}
}

func TestLetters(t *testing.T) {
	s := yard(t)
	write(t, s, func(tx flow.Tx) error {
		for i, id := range []journal.LetterID{"b", "a", "c"} {
			l := journal.Letter{ID: id, To: "ada@example.org", CreatedAt: hours([]int{2, 2, 1}[i])}
			if id != "c" {
				l.Files = []journal.LetterFile{{Name: "of " + string(id), Data: []byte("x")}, {Name: "two"}}
			}
			if err := tx.AddLetter(l); err != nil {
				return err
			}
		}
		return nil
	})
	letters := get(t, s, func(r flow.Reads) ([]journal.Letter, error) { return r.Letters(2) })
	if got := names(letters, func(l journal.Letter) string { return string(l.ID) }); got != "a b " {
		t.Errorf("letters come as %q, want the newest two, the last added first", got)
	}
	if len(letters[0].Files) != 2 || letters[0].Files[0].Name != "of a" || letters[1].Files[0].Name != "of b" {
		t.Errorf("files are %+v", letters)
	}
	if all := get(t, s, func(r flow.Reads) ([]journal.Letter, error) { return r.Letters(0) }); len(all) != 3 {
		t.Errorf("without a limit %d letters come, want 3", len(all))
	}
	write(t, s, func(tx flow.Tx) error {
		for _, l := range []journal.Letter{
			{ID: "a", Fault: "no such mailbox", Tries: 1},
			{ID: "b", Fault: "mailbox full", Tries: 2, SentAt: hours(3)}, // at the second try
		} {
			if err := tx.SaveLetter(l); err != nil {
				return err
			}
		}
		return nil
	})
	if n := get(t, s, flow.Reads.FailedLetters); n != 1 {
		t.Errorf("%d letters failed, want the one that is not sent", n)
	}
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.Letter("x"); return err })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.SaveLetter(journal.Letter{ID: "x"}) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddLetter(journal.Letter{ID: "a", CreatedAt: noon}) })
}

func TestEvents(t *testing.T) {
	s := yard(t)
	add := func(b journal.BuildID, kind string) (e journal.Event) {
		write(t, s, func(tx flow.Tx) (err error) {
			e, err = tx.AddEvent(journal.Event{At: noon, BuildID: b, Kind: kind})
			return err
		})
		return e
	}
	add(heron, "a")
	add(juniper, "b")
	refused(t, s, journal.Internal, func(tx flow.Tx) error { // undone with its transaction: no gap
		if _, err := tx.AddEvent(journal.Event{At: noon, Kind: "undone"}); err != nil {
			return err
		}
		_, err := tx.AddEvent(journal.Event{At: noon, Kind: "x", Detail: "not JSON"})
		return err
	})
	if e := add("", "of no build"); e.Seq != 3 {
		t.Errorf("the third event has Seq %d", e.Seq)
	}
	if e := add(heron, "c"); e.Seq != 4 {
		t.Errorf("the fourth event has Seq %d", e.Seq)
	}
	events := get(t, s, func(r flow.Reads) ([]journal.Event, error) { return r.Events(heron) })
	if got := names(events, func(e journal.Event) string { return fmt.Sprintf("%d:%s", e.Seq, e.Kind) }); got != "1:a 4:c " {
		t.Errorf("Heron's events are %q", got)
	}
	last := get(t, s, func(r flow.Reads) (journal.Event, error) { return r.LastEvent(heron, events[1].At) })
	if last != events[1] {
		t.Errorf("the last of heron's events is %+v", last)
	}
	read(t, s, func(r flow.Reads) error {
		_, err := r.LastEvent(heron, events[0].At.Add(-time.Millisecond))
		if journal.CodeOf(err) != journal.NotFound {
			t.Errorf("before the first event: %v", err)
		}
		return nil
	})
	ofNone := get(t, s, func(r flow.Reads) ([]journal.Event, error) { return r.Events("") })
	if len(ofNone) != 1 || ofNone[0].Seq != 3 {
		t.Errorf("events of no build are %+v", ofNone)
	}
}

func TestLastNews(t *testing.T) {
	s := yard(t)
	news := func(b journal.BuildID) time.Time {
		return get(t, s, func(r flow.Reads) (time.Time, error) { return r.LastNews(b) })
	}
	if !news(heron).IsZero() {
		t.Errorf("news at %v where there was none", news(heron))
	}
	expect := func(what string, n int) {
		t.Helper()
		if got := news(heron); !got.Equal(hours(n)) {
			t.Errorf("%s: last news at %v, want hour %d", what, got, n)
		}
	}
	sendPaper(t, s, "paper")
	expect("a paper sent", 0)
	addEntries(t, s, entry(heron, teardown, 2, journal.OwnerToo), entry(heron, teardown, 3, journal.ShopOnly), entry(juniper, tearJun, 9, journal.OwnerToo))
	expect("an entry shared", 2)
	inv := invoice("invoice", heron, 1, "stage:a")
	inv.IssuedAt = hours(4)
	write(t, s, func(tx flow.Tx) error { return tx.AddInvoice(inv) })
	expect("an invoice issued", 4)
	saveEntry(t, s, "heron-entry003", func(e *journal.Entry) { e.Audience, e.SharedAt = journal.OwnerToo, hours(6) })
	expect("an older entry shared now", 6)
	saveEntry(t, s, "heron-entry003", withdraw)
	expect("and withdrawn", 4)
}
