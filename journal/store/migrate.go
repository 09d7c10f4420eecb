package store

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/pressly/goose/v3"

	"farbay/journal"
)

//go:embed migrations/*.sql
var embedded embed.FS

func (s *Store) migrate(ctx context.Context) error {
	db, err := s.writer.DB()
	if err != nil {
		return fmt.Errorf("store.Open: %w", err)
	}
	files, err := fs.Sub(embedded, "migrations")
	if err != nil {
		return fmt.Errorf("store.Open: %w", err)
	}
	return migrate(ctx, db, s.path, files)
}

// migrate brings the database at path to the newest of the files, each in its
// own transaction. A database that holds something is copied first.
func migrate(ctx context.Context, db *sql.DB, path string, files fs.FS) error {
	p, err := goose.NewProvider(goose.DialectSQLite3, db, files, goose.WithDisableGlobalRegistry(true))
	if err != nil {
		return fmt.Errorf("store.Open: %w", err)
	}
	current, target, err := p.GetVersions(ctx)
	if err != nil {
		return fmt.Errorf("store.Open: %w", err)
	}
	if current > target {
		return journal.Errorf(journal.Conflict, "This data was last used with a newer version of Farbay (database %d, this program knows %d). Please run that version or a later one.", current, target)
	}
	if current == target {
		return nil
	}
	if current > 0 {
		if err := backUp(ctx, db, fmt.Sprintf("%s.before-%05d", path, target)); err != nil {
			return err
		}
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("store.Open: bring the database up to date: %w", err)
	}
	return checkForeignKeys(ctx, db)
}

// backUp copies the database to the file to, replacing an earlier copy only
// when the new one is complete and on disk.
func backUp(ctx context.Context, db *sql.DB, to string) error {
	part := to + ".part"
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("store.Open: back up: %w", err)
	}
	// Made here, empty, for its permissions; VACUUM INTO takes an empty file.
	made, err := os.OpenFile(part, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("store.Open: back up: %w", err)
	}
	if _, err := db.ExecContext(ctx, "VACUUM INTO ?", part); err != nil {
		return errors.Join(fmt.Errorf("store.Open: back up: %w", err), made.Close(), os.Remove(part))
	}
	if err := errors.Join(made.Sync(), made.Close(), os.Rename(part, to)); err != nil {
		return fmt.Errorf("store.Open: back up: %w", err)
	}
	folder, err := os.Open(filepath.Dir(to))
	if err != nil {
		return fmt.Errorf("store.Open: back up: %w", err)
	}
	if err := errors.Join(folder.Sync(), folder.Close()); err != nil {
		return fmt.Errorf("store.Open: back up: %w", err)
	}
	return nil
}

// checkForeignKeys refuses a database in which something points nowhere.
func checkForeignKeys(ctx context.Context, db *sql.DB) (err error) {
	rows, err := db.QueryContext(ctx, "PRAGMA foreign_key_check")
	if err != nil {
		return fmt.Errorf("store.Open: %w", err)
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	if rows.Next() {
		var table, parent string
		var row, key sql.NullInt64
		if err := rows.Scan(&table, &row, &parent, &key); err != nil {
			return fmt.Errorf("store.Open: %w", err)
		}
		return fmt.Errorf("store.Open: row %d of %s points to nothing in %s", row.Int64, table, parent)
	}
	return rows.Err()
}
