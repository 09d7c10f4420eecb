package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"time"

	"gorm.io/driver/sqlite"
	"gorm.io/gorm"
	"gorm.io/gorm/logger"

	"farbay/journal"
	"farbay/journal/flow"
)

// readers is how many snapshots can be read at the same time.
const readers = 8

// busyMilliseconds is how long a connection waits for a lock that another
// process holds.
const busyMilliseconds = "5000"

// Store is an open database. It is safe for concurrent use.
type Store struct {
	path   string
	writer *gorm.DB
	reader *gorm.DB

	askPhoto *sql.Stmt
}

var _ flow.Store = (*Store)(nil)

// Open opens the database file at path, whose folder must exist, and makes it
// if it is not there. It brings an older database up to date, after copying it
// beside itself as "<path>.before-<version>", version being five digits of the
// newest migration.
//
// It returns an error when the file cannot be opened or is no database, when it
// was made by a newer program, when a migration fails (the database is then as
// it was), when a foreign key points nowhere, and when a connection is not set
// as it must be. Codes: [journal.Unavailable] for the disk, [journal.Conflict]
// for a newer database, else [journal.Internal].
func Open(path string) (_ *Store, err error) {
	ctx := context.Background()
	full, err := filepath.Abs(path)
	if err != nil {
		return nil, fmt.Errorf("store.Open: %w", err)
	}
	// SQLite gives the files beside the database its own permissions, so made
	// private here they all are.
	file, err := os.OpenFile(full, os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, &journal.Error{Code: journal.Unavailable, Message: "The database file cannot be opened for writing. Please check the folder and its permissions.", Err: fmt.Errorf("store.Open: %w", err)}
	}
	if err := file.Close(); err != nil {
		return nil, fmt.Errorf("store.Open: %w", err)
	}

	s := &Store{path: full}
	defer func() {
		if err != nil {
			err = failure("Open", errors.Join(err, s.Close()), "", "")
		}
	}()
	if s.writer, err = connect(full, "immediate", false, 1); err != nil {
		return nil, err
	}
	if err = check(ctx, s.writer, false); err != nil {
		return nil, err
	}
	if err = s.migrate(ctx); err != nil {
		return nil, err
	}
	if err = s.growLog(ctx); err != nil {
		return nil, err
	}
	if s.reader, err = connect(full, "deferred", true, readers); err != nil {
		return nil, err
	}
	if err = check(ctx, s.reader, true); err != nil {
		return nil, err
	}
	return s, s.prepare()
}

// Close ends all connections. Transactions still running fail.
func (s *Store) Close() error {
	var errs []error
	if s.askPhoto != nil {
		errs = append(errs, s.askPhoto.Close())
	}
	for _, handle := range []*gorm.DB{s.reader, s.writer} {
		if handle == nil {
			continue
		}
		db, err := handle.DB()
		if err == nil {
			err = db.Close()
		}
		errs = append(errs, err)
	}
	return failure("Close", errors.Join(errs...), "", "")
}

// Read implements [flow.Store].
func (s *Store) Read(ctx context.Context, f func(flow.Reads) error) error {
	return within(ctx, "Read", s.reader, func(r *reads) error { return f(r) })
}

// Write implements [flow.Store].
func (s *Store) Write(ctx context.Context, f func(flow.Tx) error) error {
	return within(ctx, "Write", s.writer, func(r *reads) error { return f(&tx{r}) })
}

// within runs f in one transaction of the handle.
func within(ctx context.Context, op string, handle *gorm.DB, f func(*reads) error) error {
	var refused error
	err := handle.WithContext(ctx).Transaction(func(db *gorm.DB) error {
		r := &reads{db: db}
		defer func() { r.broken = errEnded }()
		if refused = f(r); refused == nil {
			// A full disk makes SQLite roll back by itself. Whatever f made of
			// that, nothing more may be kept.
			refused = r.broken
		}
		return refused
	})
	if refused != nil {
		return refused
	}
	return failure(op, overtaken(ctx, err), "", "")
}

// overtaken names the request's end as the cause of a transaction that is over:
// database/sql rolls back as soon as the context ends, and says only that.
func overtaken(ctx context.Context, err error) error {
	if errors.Is(err, sql.ErrTxDone) && ctx.Err() != nil {
		return fmt.Errorf("%w: %w", ctx.Err(), err)
	}
	return err
}

// reads is a running transaction, for questions.
type reads struct {
	db     *gorm.DB
	broken error // the first failure other than NotFound and Conflict
}

// tx is a running transaction that may write.
type tx struct{ *reads }

// q begins a query. After a failure every query fails in the same way.
func (r *reads) q() *gorm.DB {
	if r.broken == nil {
		return r.db
	}
	db := r.db.Session(&gorm.Session{})
	db.Error = r.broken
	return db
}

// fail is [failure], remembering what leaves the transaction unusable.
func (r *reads) fail(op string, err error, missing, taken string) error {
	if r.broken != nil {
		return r.broken
	}
	err = failure(op, overtaken(r.db.Statement.Context, err), missing, taken)
	switch journal.CodeOf(err) {
	case "", journal.NotFound, journal.Conflict:
	default:
		r.broken = err
	}
	return err
}

// take returns the one row that q finds; missing is the sentence if none.
func take[R, D any](r *reads, op, missing string, q *gorm.DB, from func(R) D) (D, error) {
	var row R
	if err := q.Take(&row).Error; err != nil {
		var none D
		return none, r.fail(op, err, missing, "")
	}
	return from(row), nil
}

// find returns all rows that q finds; nil if none.
func find[R, D any](r *reads, op string, q *gorm.DB, from func(R) D) ([]D, error) {
	var rows []R
	if err := q.Find(&rows).Error; err != nil {
		return nil, r.fail(op, err, "", "")
	}
	return each(rows, from), nil
}

// scan reads the one row of a hand-written query into dest.
func (r *reads) scan(op string, dest any, query string, args ...any) error {
	return r.fail(op, r.q().Raw(query, args...).Scan(dest).Error, "", "")
}

// add inserts a row; taken is the sentence if it is there already.
func (t *tx) add(op, taken string, row any) error {
	return t.fail(op, t.q().Create(row).Error, "", taken)
}

// exec runs a change and returns how many rows it touched.
func (t *tx) exec(op string, query string, args ...any) (int64, error) {
	res := t.q().Exec(query, args...)
	return res.RowsAffected, t.fail(op, res.Error, "", "")
}

// whole runs the several statements of one method so that, when it fails, none
// of them counts: a step may take a Conflict as an answer and go on.
func (t *tx) whole(op string, f func() error) error {
	if _, err := t.exec(op, "SAVEPOINT whole"); err != nil {
		return err
	}
	err := f()
	if err == nil {
		_, err = t.exec(op, "RELEASE whole")
		return err
	}
	if _, undo := t.exec(op, "ROLLBACK TO whole"); undo != nil {
		return err // the transaction is broken, and will be rolled back
	}
	if _, undo := t.exec(op, "RELEASE whole"); undo != nil {
		return undo
	}
	return err
}

// save stores a row, whose Version is already the next one, over the row that
// key finds with the version before.
func (t *tx) save(op, missing, taken string, row any, version int, key string, args ...any) error {
	res := t.q().Model(row).Where(key, args...).Where("version = ?", version).Select("*").Updates(row)
	if res.Error != nil {
		return t.fail(op, res.Error, missing, taken)
	}
	if res.RowsAffected == 1 {
		return nil
	}
	var n int64
	if err := t.q().Model(row).Where(key, args...).Count(&n).Error; err != nil {
		return t.fail(op, err, "", "")
	}
	if n == 0 {
		return journal.Errorf(journal.NotFound, "%s", missing)
	}
	return changedMeanwhile()
}

func changedMeanwhile() error {
	return journal.Errorf(journal.Conflict, "Somebody else changed this in the meantime. Please look at the present state and try again.")
}

// upTo puts a limit on a query; below 1 there is none.
func upTo(q *gorm.DB, limit int) *gorm.DB {
	if limit < 1 {
		return q
	}
	return q.Limit(limit)
}

// connect opens one handle. What must hold for every connection stands in the
// data source name: a PRAGMA statement would reach one connection of the pool.
func connect(path, lock string, queryOnly bool, connections int) (*gorm.DB, error) {
	params := url.Values{
		"_busy_timeout":       {busyMilliseconds},
		"_journal_mode":       {"WAL"},
		"_foreign_keys":       {"1"},
		"_synchronous":        {"FULL"},
		"_recursive_triggers": {"1"}, // or REPLACE would pass the append-only triggers
		"_txlock":             {lock},
	}
	if queryOnly {
		params.Set("_query_only", "1")
	}
	dsn := "file:" + (&url.URL{Path: path}).EscapedPath() + "?" + params.Encode()
	db, err := sql.Open(sqlite.DriverName, dsn)
	if err != nil {
		return nil, fmt.Errorf("store.Open: %w", err)
	}
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	// Nothing is logged here: every failure is returned, and whoever handles it
	// logs it.
	g, err := gorm.Open(sqlite.New(sqlite.Config{Conn: db}), &gorm.Config{
		TranslateError:         true,
		NowFunc:                func() time.Time { return time.Now().UTC() },
		Logger:                 logger.Discard,
		SkipDefaultTransaction: true,
	})
	if err != nil {
		return nil, errors.Join(fmt.Errorf("store.Open: %w", err), db.Close())
	}
	return g, nil
}

// check reads back how a connection of the handle is set.
func check(ctx context.Context, handle *gorm.DB, queryOnly bool) error {
	want := []struct{ pragma, value string }{
		{"busy_timeout", busyMilliseconds},
		{"journal_mode", "wal"},
		{"foreign_keys", "1"},
		{"synchronous", "2"}, // FULL
		{"recursive_triggers", "1"},
		{"query_only", "0"},
	}
	if queryOnly {
		want[len(want)-1].value = "1"
	}
	for _, w := range want {
		var got string
		if err := handle.WithContext(ctx).Raw("PRAGMA " + w.pragma).Scan(&got).Error; err != nil {
			return fmt.Errorf("store.Open: %w", err)
		}
		if got != w.value {
			return fmt.Errorf("store.Open: the database has %s = %s where %s is needed", w.pragma, got, w.value)
		}
	}
	return nil
}
