package store

import (
	"bufio"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/prooflog"
)

// longDetail is as long as the detail of a decision.
const longDetail = `{"as":"owner","authenticated":"link by e-mail","consent_at":"2026-04-14T21:12:00Z","consent_version":"1","happened_at":"2026-04-14T21:12:00Z","kind":"change order","manner":"on the page","name":"Ada Finch","number":1,"parts_back":true,"phone":"","reason":"","revision":1,"sentence":"I have read this change order and agree to it.","sha256":"ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad","zone":"America/Denver"}`

func longEvent(seq int64) journal.Event {
	return journal.Event{
		Seq: seq, At: noon.Add(time.Duration(seq) * time.Minute), BuildID: heron, PersonID: ada,
		Kind: "paper signed", Subject: fmt.Sprintf("paper%016d", seq), Detail: longDetail,
	}
}

// memoryLog keeps nodes while a long log is made.
type memoryLog []prooflog.Hash

func (m *memoryLog) ReadHashes(places []int64) ([]prooflog.Hash, error) {
	out := make([]prooflog.Hash, len(places))
	for i, place := range places {
		out[i] = (*m)[place]
	}
	return out, nil
}

// longLog makes a yard with a log of n events, written past the door in one
// transaction, and a file with the bytes of all entries.
func longLog(b *testing.B, n int64) (s *Store, entries string) {
	b.Helper()
	s = yard(b)
	entries = filepath.Join(b.TempDir(), "entries")
	file, err := os.Create(entries)
	ok(b, err)
	w := bufio.NewWriterSize(file, 1<<20)
	db, err := s.writer.DB()
	ok(b, err)
	tx, err := db.Begin()
	ok(b, err)
	event, err := tx.Prepare("INSERT INTO events (seq, at, build_id, person_id, kind, subject, detail) VALUES (?, ?, ?, ?, ?, ?, ?)")
	ok(b, err)
	node, err := tx.Prepare("INSERT INTO log_nodes (place, hash) VALUES (?, ?)")
	ok(b, err)
	nodes := &memoryLog{}
	for seq := int64(1); seq <= n; seq++ {
		e := longEvent(seq)
		text, err := logEntry(e).Bytes()
		ok(b, err)
		_, err = w.Write(text)
		ok(b, err)
		_, err = event.Exec(e.Seq, at(e.At).text(), e.BuildID, e.PersonID, e.Kind, e.Subject, e.Detail)
		ok(b, err)
		more, err := prooflog.Grow(seq-1, text, nodes)
		ok(b, err)
		for i, h := range more {
			_, err := node.Exec(len(*nodes)+i, h[:])
			ok(b, err)
		}
		*nodes = append(*nodes, more...)
	}
	ok(b, tx.Commit())
	ok(b, w.Flush())
	ok(b, file.Close())
	return s, entries
}

func ok(tb testing.TB, err error) {
	tb.Helper()
	if err != nil {
		tb.Fatal(err)
	}
}

// BenchmarkProofLog compares a log of 1,000 entries with one of 1,000,000.
// "append" and "receipt" run within one transaction, so that they show the work
// and not the disk's fsync; "decision" is both with a checkpoint, and a commit of
// its own, as a decision has it. "check" re-reads the whole log; "sha256" is a
// plain pass over the same bytes, read from a file.
func BenchmarkProofLog(b *testing.B) {
	ctx := context.Background()
	_, key, err := prooflog.NewKey(rand.Reader, "log")
	ok(b, err)
	for _, n := range []int64{1_000, 1_000_000} {
		s, entries := longLog(b, n)
		add := func(tx flow.Tx) (int64, error) {
			e, err := tx.AddEvent(longEvent(0))
			return e.Seq, err
		}
		prove := func(tx flow.Tx, seq int64, keep bool) error {
			head, err := prooflog.Head("log", seq, tx.LogHashes())
			if err != nil {
				return err
			}
			note, err := head.Sign(key)
			if err != nil {
				return err
			}
			if keep {
				if err := tx.AddCheckpoint(flow.SignedCheckpoint{Size: seq, Note: note, At: noon}); err != nil {
					return err
				}
			}
			e, err := tx.LogEntry(seq/2 + 1)
			if err != nil {
				return err
			}
			text, err := e.Bytes()
			if err != nil {
				return err
			}
			_, err = prooflog.NewReceipt(text, seq, note, tx.LogHashes())
			return err
		}
		check := func(b *testing.B) {
			for b.Loop() {
				faults, checked, err := (&flow.Steps{Store: s}).CheckLog(ctx)
				ok(b, err)
				if len(faults) > 0 || int64(checked.Events) != n {
					b.Fatalf("%+v: %v", checked, faults)
				}
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "leaves/s")
		}
		// First, while the log is as it was made.
		b.Run(fmt.Sprintf("check/%d", n), check)
		b.Run(fmt.Sprintf("sha256/%d", n), func(b *testing.B) {
			for b.Loop() {
				file, err := os.Open(entries)
				ok(b, err)
				_, err = io.Copy(sha256.New(), file)
				ok(b, err)
				ok(b, file.Close())
			}
			b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds(), "leaves/s")
		})
		b.Run(fmt.Sprintf("append/%d", n), func(b *testing.B) {
			ok(b, s.Write(ctx, func(tx flow.Tx) error {
				for b.Loop() {
					if _, err := add(tx); err != nil {
						return err
					}
				}
				return nil
			}))
		})
		b.Run(fmt.Sprintf("receipt/%d", n), func(b *testing.B) {
			ok(b, s.Write(ctx, func(tx flow.Tx) error {
				for b.Loop() {
					if err := prove(tx, n, false); err != nil {
						return err
					}
				}
				return nil
			}))
		})
		b.Run(fmt.Sprintf("decision/%d", n), func(b *testing.B) {
			for b.Loop() {
				ok(b, s.Write(ctx, func(tx flow.Tx) error {
					seq, err := add(tx)
					if err != nil {
						return err
					}
					return prove(tx, seq, true)
				}))
			}
		})
	}
}
