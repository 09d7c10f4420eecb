package store

import (
	"context"
	"fmt"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/prooflog"
)

type nodeRow struct {
	Place int64 `gorm:"primaryKey;autoIncrement:false"`
	Hash  []byte
}

func (nodeRow) TableName() string { return "log_nodes" }

type logKeyRow struct {
	Added  int64 `gorm:"primaryKey"`
	Public string
	Size   int64
	Why    string
	At     instant
}

func (logKeyRow) TableName() string { return "log_keys" }

func toLogKeyRow(k flow.LogKey) logKeyRow {
	return logKeyRow{Public: k.Public, Size: k.Size, Why: k.Why, At: at(k.At)}
}

func (r logKeyRow) logKey() flow.LogKey {
	return flow.LogKey{Public: r.Public, Size: r.Size, Why: r.Why, At: r.At.Time}
}

type checkpointRow struct {
	Size int64 `gorm:"primaryKey;autoIncrement:false"`
	Note string
	At   instant
}

func (checkpointRow) TableName() string { return "checkpoints" }

func toCheckpointRow(c flow.SignedCheckpoint) checkpointRow {
	return checkpointRow{Size: c.Size, Note: string(c.Note), At: at(c.At)}
}

func (r checkpointRow) checkpoint() flow.SignedCheckpoint {
	return flow.SignedCheckpoint{Size: r.Size, Note: []byte(r.Note), At: r.At.Time}
}

const noCheckpoint = "There is no such checkpoint."

// logEntry is an event as it stands in the proof log.
func logEntry(e journal.Event) prooflog.Entry {
	return prooflog.Entry{
		Seq: e.Seq, At: e.At, Build: string(e.BuildID), Person: string(e.PersonID), Kind: e.Kind, Subject: e.Subject, Detail: e.Detail,
	}
}

// logged adds an event to the tree. The event is in its table already.
func (t *tx) logged(e journal.Event) error {
	const op = "AddEvent"
	b, err := logEntry(e).Bytes()
	if err != nil {
		return t.fail(op, err, "", "")
	}
	nodes, err := prooflog.Grow(e.Seq-1, b, t.LogHashes())
	if err != nil {
		return t.fail(op, err, "", "")
	}
	rows := make([]nodeRow, len(nodes))
	for i, h := range nodes {
		rows[i] = nodeRow{Place: prooflog.Stored(e.Seq-1) + int64(i), Hash: h[:]}
	}
	return t.add(op, "", &rows)
}

// hashes reads nodes within one transaction.
type hashes struct{ r *reads }

// LogHashes implements [flow.Reads].
func (r *reads) LogHashes() prooflog.Hashes { return hashes{r} }

// ReadHashes implements [prooflog.Hashes].
func (h hashes) ReadHashes(places []int64) ([]prooflog.Hash, error) {
	out := make([]prooflog.Hash, len(places))
	for i, place := range places {
		var row nodeRow
		if err := h.r.q().Where("place = ?", place).Take(&row).Error; err != nil {
			return nil, fmt.Errorf("store.LogHashes: node %d: %w", place, err)
		}
		copy(out[i][:], row.Hash)
	}
	return out, nil
}

// LogSize implements [flow.Reads].
func (r *reads) LogSize() (n int64, err error) {
	err = r.scan("LogSize", &n, "SELECT coalesce(max(seq), 0) FROM events")
	return n, err
}

// LogEntry implements [flow.Reads].
func (r *reads) LogEntry(seq int64) (prooflog.Entry, error) {
	return take(r, "LogEntry", "There is no such entry in the proof log.", r.q().Where("seq = ?", seq), func(row eventRow) prooflog.Entry {
		return logEntry(row.event())
	})
}

// EachLogEntry implements [flow.Reads].
func (r *reads) EachLogEntry(f func(prooflog.Entry) error) error {
	const page = 500
	for last := int64(0); ; last += page {
		events, err := find(r, "EachLogEntry", r.q().Where("seq > ? AND seq <= ?", last, last+page).Order("seq"), eventRow.event)
		if err != nil {
			return err
		}
		for _, e := range events {
			if err := f(logEntry(e)); err != nil {
				return err
			}
		}
		if len(events) == 0 {
			return nil
		}
	}
}

// LogKeys implements [flow.Reads].
func (r *reads) LogKeys() ([]flow.LogKey, error) {
	return find(r, "LogKeys", r.q().Order("added"), logKeyRow.logKey)
}

// Checkpoints implements [flow.Reads].
func (r *reads) Checkpoints() ([]flow.SignedCheckpoint, error) {
	return find(r, "Checkpoints", r.q().Order("size"), checkpointRow.checkpoint)
}

// CheckpointFrom implements [flow.Reads].
func (r *reads) CheckpointFrom(size int64) (flow.SignedCheckpoint, error) {
	return take(r, "CheckpointFrom", noCheckpoint, r.q().Where("size >= ?", size).Order("size"), checkpointRow.checkpoint)
}

// AddLogKey implements [flow.Tx].
func (t *tx) AddLogKey(k flow.LogKey) error {
	row := toLogKeyRow(k)
	return t.add("AddLogKey", "This key is in use already.", &row)
}

// AddCheckpoint implements [flow.Tx].
func (t *tx) AddCheckpoint(c flow.SignedCheckpoint) error {
	row := toCheckpointRow(c)
	return t.add("AddCheckpoint", "There is a checkpoint of this size already.", &row)
}

// growLog adds to the tree the events that an older program recorded without
// it.
func (s *Store) growLog(ctx context.Context) error {
	return within(ctx, "Open", s.writer, func(r *reads) error {
		t := &tx{r}
		var nodes int64
		if err := t.scan("Open", &nodes, "SELECT count(*) FROM log_nodes"); err != nil {
			return err
		}
		var logged int64
		for prooflog.Stored(logged) < nodes {
			logged++
		}
		size, err := t.LogSize()
		for seq := logged + 1; err == nil && seq <= size; seq++ {
			var e journal.Event
			if e, err = take(r, "Open", "", r.q().Where("seq = ?", seq), eventRow.event); err == nil {
				err = t.logged(e)
			}
		}
		return err
	})
}
