package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
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

// ReadHashes implements [prooflog.Hashes], with one query for all places: a
// proof in a long log needs some forty.
func (h hashes) ReadHashes(places []int64) ([]prooflog.Hash, error) {
	out := make([]prooflog.Hash, len(places))
	if len(places) == 0 {
		return out, nil
	}
	list, err := json.Marshal(places)
	if err != nil {
		return nil, fmt.Errorf("store.LogHashes: %w", err)
	}
	var rows []nodeRow
	if err := h.r.q().Raw("SELECT place, hash FROM log_nodes WHERE place IN (SELECT value FROM json_each(?))", string(list)).Scan(&rows).Error; err != nil {
		return nil, fmt.Errorf("store.LogHashes: %w", err)
	}
	stored := make(map[int64][]byte, len(rows))
	for _, row := range rows {
		stored[row.Place] = row.Hash
	}
	for i, place := range places {
		if copy(out[i][:], stored[place]) != len(out[i]) {
			return nil, fmt.Errorf("store.LogHashes: node %d of the tree is missing", place)
		}
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
func (r *reads) EachLogEntry(f func(e prooflog.Entry, broken error) error) error {
	return r.eachRow("EachLogEntry", "SELECT seq, at, build_id, person_id, kind, subject, detail FROM events ORDER BY seq", func(rows *sql.Rows) error {
		var e prooflog.Entry
		var at string
		var build, person sql.NullString
		if err := rows.Scan(&e.Seq, &at, &build, &person, &e.Kind, &e.Subject, &e.Detail); err != nil {
			return err
		}
		e.Build, e.Person = build.String, person.String
		time, broken := exactInstant(at)
		switch e.At = time.Time; {
		case broken != nil:
		case build.Valid && build.String == "", person.Valid && person.String == "":
			broken = errors.New("an empty identifier is stored as no NULL")
		}
		return f(e, broken)
	})
}

// exactInstant reads an instant that is stored exactly as it is written now.
func exactInstant(stored string) (i instant, err error) {
	if err := i.parse(stored); err != nil {
		return instant{}, err
	}
	if i.text() != stored {
		return instant{}, fmt.Errorf("stored instant %q is not in its form", stored)
	}
	return i, nil
}

// EachLogNode implements [flow.Reads].
func (r *reads) EachLogNode(f func(place int64, hash []byte) error) error {
	return r.eachRow("EachLogNode", "SELECT place, hash FROM log_nodes ORDER BY place", func(rows *sql.Rows) error {
		var place int64
		var hash sql.RawBytes
		if err := rows.Scan(&place, &hash); err != nil {
			return err
		}
		return f(place, hash)
	})
}

// eachRow calls f for each row of the query, until f fails. One query, not
// pages, so that no gap in what is read can end it early.
func (r *reads) eachRow(op, query string, f func(*sql.Rows) error) (err error) {
	rows, err := r.q().Raw(query).Rows()
	if err != nil {
		return r.fail(op, err, "", "")
	}
	for rows.Next() {
		if err := f(rows); err != nil {
			return errors.Join(err, rows.Close())
		}
	}
	return r.fail(op, errors.Join(rows.Err(), rows.Close()), "", "")
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

// NewestCheckpoint implements [flow.Reads].
func (r *reads) NewestCheckpoint() (flow.SignedCheckpoint, error) {
	newest, err := find(r, "NewestCheckpoint", r.q().Order("size DESC").Limit(1), checkpointRow.checkpoint)
	if err != nil || len(newest) == 0 {
		return flow.SignedCheckpoint{}, err
	}
	return newest[0], nil
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

// growLog makes the tree over events that an older program recorded without
// one. A tree that is there is left as it is, even when it does not reach the
// last event: no program leaves it so, and what somebody else did to it is for
// [flow.Steps.Check] to tell, not to be mended unseen.
func (s *Store) growLog(ctx context.Context) error {
	return within(ctx, "Open", s.writer, func(r *reads) error {
		t := &tx{r}
		var begun bool
		if err := t.scan("Open", &begun, "SELECT EXISTS (SELECT 1 FROM log_nodes) OR EXISTS (SELECT 1 FROM checkpoints)"); err != nil || begun {
			return err
		}
		size, err := t.LogSize()
		for seq := int64(1); err == nil && seq <= size; seq++ {
			var e journal.Event
			if e, err = take(r, "Open", "", r.q().Where("seq = ?", seq), eventRow.event); err == nil {
				err = t.logged(e)
			}
		}
		return err
	})
}
