package store

import (
	"bufio"
	"context"
	"database/sql"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
)

// childPath names the variable that makes the test binary the process to kill.
const childPath = "FARBAY_STORE_TEST_CHILD"

func TestMain(m *testing.M) {
	if path := os.Getenv(childPath); path != "" {
		if err := countForEver(path); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	if told := os.Getenv(closingChild); told != "" {
		if err := closeAndDie(told); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// countForEver writes transactions that each add an event, a photo and an entry
// with it, and count them. It says "begun N" within a transaction, when all is
// written but not committed, and "done N" when Write has returned.
func countForEver(path string) error {
	s, err := Open(path)
	if err != nil {
		return err
	}
	for {
		n := 0
		err := s.Write(context.Background(), func(tx flow.Tx) error {
			text, err := tx.Meta("count")
			if err != nil {
				return err
			}
			if text != "" {
				if n, err = strconv.Atoi(text); err != nil {
					return err
				}
			}
			n++
			if err := tx.SetMeta("count", strconv.Itoa(n)); err != nil {
				return err
			}
			if _, err := tx.AddEvent(journal.Event{At: noon, BuildID: heron, Kind: "count"}); err != nil {
				return err
			}
			p := photo(heron, n)
			if err := tx.AddPhoto(p); err != nil {
				return err
			}
			e := entry(heron, teardown, n, journal.OwnerToo, p.ID)
			e.Text = strings.Repeat("A long day. ", 800) // several pages
			if err := tx.AddEntry(e); err != nil {
				return err
			}
			fmt.Println("begun", n)
			return nil
		})
		if err != nil {
			return err
		}
		fmt.Println("done", n)
	}
}

// TestCrash kills a process that writes, at random points and with nothing left
// to it to tidy up, and looks at what it left.
func TestCrash(t *testing.T) {
	rounds := 20
	if testing.Short() {
		rounds = 5
	}
	s := yard(t)
	seen := 0
	for round := range rounds {
		// #nosec G204 -- the test's own binary
		child := exec.Command(os.Args[0])
		child.Env = append(os.Environ(), childPath+"="+s.path)
		child.Stderr = os.Stderr
		out, err := child.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := child.Start(); err != nil {
			t.Fatal(err)
		}
		promised := 0
		lines := bufio.NewScanner(out)
		for left := 2 + rand.IntN(9); left > 0 && lines.Scan(); left-- {
			if text, ok := strings.CutPrefix(lines.Text(), "done "); ok {
				if promised, err = strconv.Atoi(text); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := child.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		for lines.Scan() { // said before it died
			if text, ok := strings.CutPrefix(lines.Text(), "done "); ok {
				if promised, err = strconv.Atoi(text); err != nil {
					t.Fatal(err)
				}
			}
		}
		if err := child.Wait(); err == nil {
			t.Fatal("the child ended by itself")
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
		if s, err = Open(s.path); err != nil {
			t.Fatalf("round %d: reopening: %v", round, err)
		}

		var count string
		var events []journal.Event
		var photos int
		var entries []journal.Entry
		read(t, s, func(r flow.Reads) (err error) {
			if count, err = r.Meta("count"); err != nil {
				return err
			}
			if events, err = r.Events(heron); err != nil {
				return err
			}
			if photos, err = r.CountPhotos(heron, false); err != nil {
				return err
			}
			entries, err = r.Entries(heron, flow.EntryQuery{})
			return err
		})
		if seen, err = strconv.Atoi("0" + count); err != nil {
			t.Fatal(err)
		}
		if seen < promised {
			t.Errorf("round %d: %d transactions were promised, %d are there", round, promised, seen)
		}
		if len(events) != seen || photos != seen || len(entries) != seen {
			t.Errorf("round %d: half a transaction: count %d, events %d, photos %d, entries %d", round, seen, len(events), photos, len(entries))
		}
		requireSound(t, s)
	}
	if seen == 0 {
		t.Error("no round committed anything, so nothing was tried")
	}
	t.Logf("%d transactions over %d kills", seen, rounds)
	if err := s.Close(); err != nil {
		t.Error(err)
	}
}

// requireSound asks SQLite whether the file is whole.
// Source: https://www.sqlite.org/pragma.html#pragma_integrity_check
func requireSound(t testing.TB, s *Store) {
	t.Helper()
	var report []string
	if err := s.reader.Raw("PRAGMA integrity_check").Scan(&report).Error; err != nil {
		t.Fatal(err)
	}
	if len(report) != 1 || report[0] != "ok" {
		t.Errorf("integrity_check: %v", report)
	}
}

// TestFullDisk limits the database to the pages it has, which SQLite reports as
// it does a full disk (SQLITE_FULL, https://www.sqlite.org/rescode.html#full).
func TestFullDisk(t *testing.T) {
	s := yard(t)
	if err := s.writer.Exec("PRAGMA max_page_count = 1").Error; err != nil { // means: as many as there are
		t.Fatal(err)
	}
	fillUp := func(tx flow.Tx) error {
		if err := tx.SetMeta("first", "small"); err != nil {
			return err
		}
		return tx.SetMeta("second", strings.Repeat("x", 1<<20))
	}
	for _, c := range []struct {
		name string
		f    func(flow.Tx) error
	}{
		{"the step gives up", fillUp},
		{"the step goes on regardless", func(tx flow.Tx) error {
			if fillUp(tx) == nil {
				t.Error("a megabyte went into a full database")
			}
			if tx.SetMeta("third", "small") == nil {
				t.Error("a write went through after the disk was full")
			}
			return nil
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			err := s.Write(context.Background(), c.f)
			if journal.CodeOf(err) != journal.Unavailable || journal.MessageOf(err) != saidFull {
				t.Errorf("got %v, want Unavailable and that the disk is full", err)
			}
			for _, key := range []string{"first", "second", "third"} {
				if v := get(t, s, func(r flow.Reads) (string, error) { return r.Meta(key) }); v != "" {
					t.Errorf("%s was kept", key)
				}
			}
		})
	}
	requireSound(t, s)
	if err := s.writer.Exec("PRAGMA max_page_count = 1000000").Error; err != nil {
		t.Fatal(err)
	}
	write(t, s, fillUp) // room was made
}

// TestLocked: another process holds the write lock for longer than is waited.
func TestLocked(t *testing.T) {
	s := yard(t)
	if err := s.writer.Exec("PRAGMA busy_timeout = 30").Error; err != nil { // not the 5 s of Open
		t.Fatal(err)
	}
	other, err := sql.Open("sqlite3", "file:"+s.path+"?_txlock=immediate")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	hold, err := other.Begin()
	if err != nil {
		t.Fatal(err)
	}
	change := func(tx flow.Tx) error { return tx.SetMeta("key", "value") }
	err = s.Write(context.Background(), change)
	if journal.CodeOf(err) != journal.Unavailable || journal.MessageOf(err) != saidBusy {
		t.Errorf("got %v, want Unavailable and that the database is busy", err)
	}
	if got := get(t, s, flow.Reads.Builds); len(got) != 2 {
		t.Errorf("reading stopped too: %d builds", len(got))
	}
	if err := hold.Rollback(); err != nil {
		t.Fatal(err)
	}
	write(t, s, change)
}
