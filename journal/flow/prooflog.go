package flow

import (
	"context"
	"crypto/rand"
	"fmt"
	"strings"
	"time"

	"farbay/journal"
	"farbay/journal/prooflog"
	"farbay/journal/signoff"
)

// LogKey is a key that signs the proof log's checkpoints. Its secret is not in
// the database, so that a copy of the database signs nothing.
type LogKey struct {
	Public string
	Size   int64  // entries in the log when it was made
	Why    string // why there is a new one; "" for the first
	At     time.Time
}

// SignedCheckpoint is a checkpoint as it was given out.
type SignedCheckpoint struct {
	Size int64
	Note []byte
	At   time.Time
}

// NewLogKey makes the key that signs from now on and records it. keep is called
// with its public and secret texts before that; the secret must be stored durably
// when it returns, or the key is not taken into use.
//
// why says what became of the key before; it must not be "" if there was one,
// and [journal.Invalid] is returned if it does not fit. The name of the log stays.
func (s *Steps) NewLogKey(ctx context.Context, a Actor, why string, keep func(public, secret string) error) (key prooflog.Key, err error) {
	if err := asOffice(a); err != nil {
		return key, err
	}
	why = journal.CleanLine(why)
	err = s.write(ctx, func(tx Tx) error {
		before, err := tx.LogKeys()
		if err != nil {
			return err
		}
		bad := journal.Problems{}
		name := "farbay/" + strings.ToLower(rand.Text()[:16])
		if len(before) > 0 {
			journal.CheckLine(bad, "why", why, 1, 200, "Please say why there is to be a new key, in one line of at most 200 characters.")
			name, _, _ = strings.Cut(before[0].Public, "+")
		}
		if err := bad.Err(); err != nil {
			return err
		}
		var secret string
		if secret, key, err = prooflog.NewKey(rand.Reader, name); err != nil {
			return err
		}
		size, err := tx.LogSize()
		if err != nil {
			return err
		}
		if err := tx.AddLogKey(LogKey{Public: key.Public(), Size: size, Why: why, At: s.at()}); err != nil {
			return err
		}
		if err := s.record(tx, a, "", "log key made", key.Public(), map[string]any{"why": why}); err != nil {
			return err
		}
		return keep(key.Public(), secret)
	})
	return key, err
}

// checkpoint signs the log as it stands in the transaction, unless that was done
// already, and returns the signed checkpoint.
func (s *Steps) checkpoint(tx Tx) (SignedCheckpoint, error) {
	size, err := tx.LogSize()
	if err != nil {
		return SignedCheckpoint{}, err
	}
	c, there, err := absent(tx.CheckpointFrom(size))
	if err != nil || there {
		return c, err
	}
	head, err := prooflog.Head(s.LogKey.Name(), size, tx.LogHashes())
	if err != nil {
		return SignedCheckpoint{}, err
	}
	c = SignedCheckpoint{Size: size, At: s.at()}
	if c.Note, err = head.Sign(s.LogKey); err != nil {
		return SignedCheckpoint{}, err
	}
	return c, tx.AddCheckpoint(c)
}

// receipt proves the entry with this number by a checkpoint made now.
func (s *Steps) receipt(tx Tx, seq int64) ([]byte, error) {
	c, err := s.checkpoint(tx)
	if err != nil {
		return nil, err
	}
	return receiptUnder(tx, seq, c)
}

func receiptUnder(r Reads, seq int64, c SignedCheckpoint) ([]byte, error) {
	e, err := r.LogEntry(seq)
	if err != nil {
		return nil, err
	}
	b, err := e.Bytes()
	if err != nil {
		return nil, err
	}
	return prooflog.NewReceipt(b, c.Size, c.Note, r.LogHashes())
}

// ReceiptName is the file name of the receipt of a paper's decision.
func ReceiptName(p signoff.Paper) string {
	return fmt.Sprintf("%s-%d-receipt.txt", p.Kind.Slug(), p.Number)
}

// RecordName is the file name of a revision's bytes.
func RecordName(p signoff.Paper, revision int) string {
	return fmt.Sprintf("%s-%d-revision-%d.json", p.Kind.Slug(), p.Number, revision)
}

// DecisionReceipt returns the receipt of a paper's decision: by the first
// checkpoint given out after it, so that it is the same whenever it is asked
// for. [journal.NotFound] if there is no decision, or no such paper for the
// actor.
func (s *Steps) DecisionReceipt(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID) (p signoff.Paper, receipt []byte, err error) {
	var seq int64
	err = s.Store.Read(ctx, func(r Reads) error {
		if _, _, err := readable(r, a, build); err != nil {
			return err
		}
		if p, err = s.paperOf(r, a, build, paper); err != nil {
			return err
		}
		events, err := r.Events(build)
		if err != nil {
			return err
		}
		for _, e := range events {
			if e.Subject == string(paper) && (e.Kind == "paper signed" || e.Kind == "paper declined") {
				seq = e.Seq
			}
		}
		if seq == 0 {
			return journal.Errorf(journal.NotFound, "There is no decision on this paper yet, so there is no receipt.")
		}
		c, given, err := absent(r.CheckpointFrom(seq))
		if err == nil && given {
			receipt, err = receiptUnder(r, seq, c)
		}
		return err
	})
	if err != nil || receipt != nil {
		return p, receipt, err
	}
	err = s.write(ctx, func(tx Tx) error {
		receipt, err = s.receipt(tx, seq)
		return err
	})
	return p, receipt, err
}

// PublishedLog is what everybody may know of the proof log.
type PublishedLog struct {
	Keys       []LogKey
	Checkpoint SignedCheckpoint
}

// PublishLog returns the log's keys and a checkpoint of the log as it stands,
// signed now if need be. For everybody.
func (s *Steps) PublishLog(ctx context.Context) (p PublishedLog, err error) {
	current := false
	err = s.Store.Read(ctx, func(r Reads) error {
		if p.Keys, err = r.LogKeys(); err != nil {
			return err
		}
		size, err := r.LogSize()
		if err != nil {
			return err
		}
		p.Checkpoint, current, err = absent(r.CheckpointFrom(size))
		return err
	})
	if err != nil || current {
		return p, err
	}
	err = s.write(ctx, func(tx Tx) error {
		p.Checkpoint, err = s.checkpoint(tx)
		return err
	})
	return p, err
}
