package flow_test

import (
	"database/sql"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/prooflog"
)

// tampered opens the yard's database past the program, with all its guards taken
// away.
func (y *yard) tampered() *sql.DB {
	y.t.Helper()
	db := got(sql.Open("sqlite3", "file:"+y.path+"?_busy_timeout=5000&_synchronous=0"))(y.t)
	db.SetMaxOpenConns(1)
	y.t.Cleanup(func() { y.do(db.Close()) })
	rows := got(db.Query("SELECT name FROM sqlite_master WHERE type = 'trigger'"))(y.t)
	var names []string
	for rows.Next() {
		var name string
		y.do(rows.Scan(&name))
		names = append(names, name)
	}
	y.do(rows.Err())
	y.do(rows.Close())
	for _, name := range names {
		y.exec(db, "DROP TRIGGER "+name)
	}
	y.exec(db, "PRAGMA ignore_check_constraints = ON")
	return db
}

func (y *yard) exec(db *sql.DB, statement string, args ...any) {
	y.t.Helper()
	if _, err := db.Exec(statement, args...); err != nil {
		y.t.Fatalf("%s: %v", statement, err)
	}
}

// TestCheckLog_everyBit flips, one at a time, every bit of every value of a small
// log that proves something: events, nodes of the tree, checkpoints, keys. Each is
// found out, and a changed event or leaf by its number. When a checkpoint was
// given out and a key made is told and not proved, so it is not among them.
func TestCheckLog_everyBit(t *testing.T) {
	alone(t)
	y := &yard{ctx: t.Context(), now: time.Date(2026, 4, 14, 21, 12, 0, 0, time.UTC)}
	y.open(t, filepath.Join(t.TempDir(), "farbay.db"), 0)
	t.Cleanup(y.close)
	office := y.person("Al", journal.Office)
	got(y.steps.NewLogKey(y.ctx, office, "", func(public, secret string) error {
		y.steps.LogKey = got(prooflog.OpenKey(secret, public))(t)
		return nil
	}))(t)
	for i := range 4 {
		y.do(y.steps.Store.Write(y.ctx, func(tx flow.Tx) error {
			e := journal.Event{At: y.now.Add(-time.Duration(i) * time.Hour), PersonID: office.Person.ID, Kind: "paper signed", Subject: "p1", Detail: `{"n":2}`}
			if i == 2 {
				e = journal.Event{At: y.now, Kind: "x"}
			}
			_, err := tx.AddEvent(e)
			return err
		}))
		if i%2 == 1 {
			got(y.steps.PublishLog(y.ctx))(t)
		}
	}
	db := y.tampered()
	y.exec(db, "PRAGMA foreign_keys = OFF")
	if faults, n, err := y.steps.CheckLog(y.ctx); err != nil || len(faults) > 0 || n.Events != 5 || n.Checkpoints != 2 {
		t.Fatalf("before: %v, %+v, %v", faults, n, err)
	}
	flips := 0
	for _, c := range []struct{ table, key, value, form string }{
		{"events", "seq", "at", "TEXT"}, {"events", "seq", "person_id", "TEXT"}, {"events", "seq", "kind", "TEXT"},
		{"events", "seq", "subject", "TEXT"}, {"events", "seq", "detail", "TEXT"},
		{"log_nodes", "place", "hash", "BLOB"}, {"checkpoints", "size", "note", "TEXT"}, {"log_keys", "added", "public", "TEXT"},
	} {
		for key, value := range y.valuesOf(db, c.table, c.key, c.value) {
			update := fmt.Sprintf("UPDATE %s SET %s = CAST(? AS %s) WHERE %s = ?", c.table, c.value, c.form, c.key)
			for i := range value {
				for bit := range 8 {
					changed := slices.Clone(value)
					changed[i] ^= 1 << bit
					y.exec(db, update, changed, key)
					y.found(fmt.Sprintf("%s %d, %s, byte %d, bit %d", c.table, key, c.value, i, bit), func(f flow.Fault) bool {
						return c.table != "events" || f.Subject == fmt.Sprint(key) && strings.Contains(f.Text, fmt.Sprintf("vent %d ", key))
					})
					flips++
				}
			}
			y.exec(db, update, value, key)
		}
	}
	for _, c := range []struct{ table, key string }{{"events", "seq"}, {"log_nodes", "place"}, {"checkpoints", "size"}} {
		for key := range y.valuesOf(db, c.table, c.key, c.key) {
			for bit := range 64 {
				update := fmt.Sprintf("UPDATE OR IGNORE %s SET %s = ? WHERE %s = ?", c.table, c.key, c.key)
				result, err := db.Exec(update, key^(1<<bit), key)
				y.do(err)
				if n := got(result.RowsAffected())(t); n == 0 {
					continue // another row has that number
				}
				y.found(fmt.Sprintf("%s %d, bit %d of its number", c.table, key, bit), func(flow.Fault) bool { return true })
				y.exec(db, update, key, key^(1<<bit))
				flips++
			}
		}
	}
	if faults, _, err := y.steps.CheckLog(y.ctx); err != nil || len(faults) > 0 {
		t.Errorf("with every bit flipped back: %v, %v", faults, err)
	}
	t.Logf("%d bits", flips)
}

// found wants the check of the log to find a fault first that fits.
func (y *yard) found(what string, fits func(flow.Fault) bool) {
	y.t.Helper()
	faults, _, err := y.steps.CheckLog(y.ctx)
	y.do(err)
	if len(faults) == 0 || !fits(faults[0]) {
		y.t.Fatalf("%s changed, and the check says %v", what, faults)
	}
}

func (y *yard) valuesOf(db *sql.DB, table, key, value string) map[int64][]byte {
	y.t.Helper()
	rows := got(db.Query(fmt.Sprintf("SELECT %s, CAST(%s AS BLOB) FROM %s WHERE %s IS NOT NULL", key, value, table, value)))(y.t)
	all := map[int64][]byte{}
	for rows.Next() {
		var k int64
		var v []byte
		y.do(rows.Scan(&k, &v))
		all[k] = v
	}
	y.do(rows.Err())
	y.do(rows.Close())
	return all
}
