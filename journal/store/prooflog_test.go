package store

import (
	"bytes"
	"errors"
	"slices"
	"testing"

	"github.com/transparency-dev/merkle/compact"
	"github.com/transparency-dev/merkle/rfc6962"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/prooflog"
)

// addEvents records n events.
func addEvents(t testing.TB, s *Store, n int) {
	t.Helper()
	for i := range n {
		write(t, s, func(tx flow.Tx) error {
			_, err := tx.AddEvent(journal.Event{At: hours(i), BuildID: heron, PersonID: jory, Kind: "stage opened", Subject: "teardown", Detail: `{"n":1}`})
			return err
		})
	}
}

// entriesOfLog returns the bytes of all entries.
func entriesOfLog(t testing.TB, s *Store) (all [][]byte) {
	t.Helper()
	read(t, s, func(r flow.Reads) error {
		return r.EachLogEntry(func(e prooflog.Entry, broken error) error {
			b, err := e.Bytes()
			all = append(all, b)
			return errors.Join(broken, err)
		})
	})
	return all
}

// checkRoot compares the stored tree's root with that of an independent
// implementation of RFC 6962 (github.com/transparency-dev/merkle).
func checkRoot(t testing.TB, s *Store) {
	t.Helper()
	outside := (&compact.RangeFactory{Hash: rfc6962.DefaultHasher.HashChildren}).NewEmptyRange(0)
	all := entriesOfLog(t, s)
	for _, b := range all {
		if err := outside.Append(rfc6962.DefaultHasher.HashLeaf(b), nil); err != nil {
			t.Fatal(err)
		}
	}
	want, err := outside.GetRootHash(nil)
	if err != nil {
		t.Fatal(err)
	}
	head := get(t, s, func(r flow.Reads) (prooflog.Checkpoint, error) {
		return prooflog.Head("log", int64(len(all)), r.LogHashes())
	})
	if !bytes.Equal(head.Root[:], want) {
		t.Errorf("root of %d entries %v, outside %x", len(all), head.Root, want)
	}
}

func TestProofLog(t *testing.T) {
	s := yard(t)
	addEvents(t, s, 13)
	checkRoot(t, s)
	if n := get(t, s, flow.Reads.LogSize); n != 13 {
		t.Errorf("%d entries", n)
	}
	e := get(t, s, func(r flow.Reads) (prooflog.Entry, error) { return r.LogEntry(3) })
	if e.Seq != 3 || !e.At.Equal(hours(2)) || e.Build != "heron" || e.Person != string(jory) || e.Detail != `{"n":1}` {
		t.Errorf("entry 3 is %+v", e)
	}
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.LogEntry(14); return err })
	for _, tamper := range []string{
		"UPDATE log_nodes SET hash = zeroblob(32)", "DELETE FROM log_nodes", "INSERT INTO log_nodes VALUES (99, zeroblob(32))",
		"INSERT OR REPLACE INTO log_nodes VALUES (3, zeroblob(32))",
	} {
		if err := s.writer.Exec(tamper).Error; err == nil {
			t.Errorf("%s went through", tamper)
		}
	}
}

// TestProofLog_grows: events of a program that kept no tree join it when the
// database is opened, and those added later follow.
func TestProofLog_grows(t *testing.T) {
	s := yard(t)
	addEvents(t, s, 6)
	for _, statement := range []string{"DROP TRIGGER log_nodes_keep_delete", "DELETE FROM log_nodes"} {
		if err := s.writer.Exec(statement).Error; err != nil {
			t.Fatal(err)
		}
	}
	if err := s.growLog(t.Context()); err != nil {
		t.Fatal(err)
	}
	checkRoot(t, s)
	addEvents(t, s, 3)
	checkRoot(t, s)
	// A tree that was cut is nothing that a program leaves, and is not mended.
	if err := s.writer.Exec("DELETE FROM log_nodes WHERE place >= 3").Error; err != nil {
		t.Fatal(err)
	}
	if err := s.growLog(t.Context()); err != nil {
		t.Fatal(err)
	}
	if n := get(t, s, func(r flow.Reads) (n int, err error) {
		return n, r.EachLogNode(func(int64, []byte) error { n++; return nil })
	}); n != 3 {
		t.Errorf("a tree cut to 3 nodes has %d after the start", n)
	}
}

func TestRoundTrip_ProofLog(t *testing.T) {
	s, f := yard(t), &filler{}
	var keys []flow.LogKey
	var given []flow.SignedCheckpoint
	for range 2 {
		key := fill(t, f, func(*flow.LogKey) {})
		c := fill(t, f, func(*flow.SignedCheckpoint) {})
		keys, given = append(keys, key), append(given, c)
		write(t, s, func(tx flow.Tx) error {
			if err := tx.AddLogKey(key); err != nil {
				return err
			}
			return tx.AddCheckpoint(c)
		})
	}
	same(t, keys, get(t, s, flow.Reads.LogKeys))
	same(t, given, get(t, s, flow.Reads.Checkpoints))
	same(t, given[1], get(t, s, func(r flow.Reads) (flow.SignedCheckpoint, error) { return r.CheckpointFrom(given[0].Size + 1) }))
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { _, err := tx.CheckpointFrom(given[1].Size + 1); return err })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddCheckpoint(given[0]) })
	if !slices.IsSortedFunc(given, func(a, b flow.SignedCheckpoint) int { return int(a.Size - b.Size) }) {
		t.Fatal("the filler's sizes do not rise")
	}
}
