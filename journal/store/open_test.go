package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"farbay/journal"
	"farbay/journal/flow"
)

// TestOpen_Pragmas asks every connection of both handles, not one: settings
// made by a PRAGMA statement would hold on one of them only.
func TestOpen_Pragmas(t *testing.T) {
	s := open(t)
	for _, h := range []struct {
		name        string
		connections int
		handle      func() (*sql.DB, error)
		queryOnly   string
	}{
		{"writer", 1, s.writer.DB, "0"},
		{"reader", readers, s.reader.DB, "1"},
	} {
		db, err := h.handle()
		if err != nil {
			t.Fatal(err)
		}
		if got := db.Stats().MaxOpenConnections; got != h.connections {
			t.Errorf("%s takes up to %d connections, want %d", h.name, got, h.connections)
		}
		for i := range h.connections {
			conn, err := db.Conn(context.Background()) // kept, so the next is another
			if err != nil {
				t.Fatal(err)
			}
			defer conn.Close()
			// Names and values: https://www.sqlite.org/pragma.html
			for pragma, want := range map[string]string{
				"busy_timeout": "5000", "journal_mode": "wal", "foreign_keys": "1", "synchronous": "2",
				"recursive_triggers": "1", "query_only": h.queryOnly,
			} {
				var got string
				if err := conn.QueryRowContext(context.Background(), "PRAGMA "+pragma).Scan(&got); err != nil {
					t.Fatal(err)
				}
				if got != want {
					t.Errorf("%s connection %d has %s = %s, want %s", h.name, i, pragma, got, want)
				}
			}
		}
	}
}

func TestCheck_RefusesOtherSettings(t *testing.T) {
	s := open(t)
	if err := check(context.Background(), s.writer, true); err == nil {
		t.Error("a handle that can write passed as one that cannot")
	}
	if err := s.writer.Exec("PRAGMA synchronous = NORMAL").Error; err != nil {
		t.Fatal(err)
	}
	if err := check(context.Background(), s.writer, false); err == nil || !strings.Contains(err.Error(), "synchronous") {
		t.Errorf("got %v, want a refusal that names synchronous", err)
	}
}

// TestOpen_Path: characters with a meaning in file: addresses
// (https://www.sqlite.org/uri.html) are part of the name.
func TestOpen_Path(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "a ? b # c %41 é & d")
	if err := os.Mkdir(folder, 0o755); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(folder, "farbay?mode=memory.db")
	s, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	write(t, s, addYard)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	info, err := os.Stat(path)
	if err != nil {
		t.Fatal(err)
	}
	if info.Size() == 0 || info.Mode().Perm() != 0o600 {
		t.Errorf("the database has %d bytes and mode %v, want some and 0600", info.Size(), info.Mode())
	}
	files, err := os.ReadDir(folder)
	if err != nil || len(files) != 1 {
		t.Errorf("the folder holds %v (%v), want the database alone after Close", files, err)
	}
	s, err = Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if builds := get(t, s, flow.Reads.Builds); len(builds) != 2 {
		t.Errorf("%d builds are there after reopening, want 2", len(builds))
	}
}

func TestOpen_Refusals(t *testing.T) {
	folder := t.TempDir()
	if _, err := Open(filepath.Join(folder, "missing", "farbay.db")); journal.CodeOf(err) != journal.Unavailable {
		t.Errorf("missing folder: got %v, want Unavailable", err)
	}
	text := filepath.Join(folder, "text.db")
	if err := os.WriteFile(text, []byte(strings.Repeat("not a database\n", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(text); err == nil {
		t.Error("a text file was opened as a database")
	}

	newer := filepath.Join(folder, "newer.db")
	s, err := Open(newer)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.writer.Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (9999, 1)").Error; err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(newer); journal.CodeOf(err) != journal.Conflict || !strings.Contains(journal.MessageOf(err), "9999") {
		t.Errorf("newer database: got %v, want Conflict with its version", err)
	}
}

// nextVersion is the embedded migrations and one more.
func nextVersion(t *testing.T, text string) fs.FS {
	t.Helper()
	files := fstest.MapFS{"99999_next.sql": {Data: []byte(text)}}
	names, err := fs.Glob(embedded, "migrations/*.sql")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		data, err := embedded.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		files[filepath.Base(name)] = &fstest.MapFile{Data: data}
	}
	return files
}

func TestMigrate_BacksUpFirst(t *testing.T) {
	s := yard(t)
	db, err := s.writer.DB()
	if err != nil {
		t.Fatal(err)
	}
	backup := s.path + ".before-99999"
	if err := os.WriteFile(backup+".part", []byte("left by a crash"), 0o600); err != nil {
		t.Fatal(err)
	}
	change := "-- +goose Up\nALTER TABLE builds ADD COLUMN bay TEXT NOT NULL DEFAULT '';\nUPDATE builds SET nickname = nickname || ' II';\n"
	if err := migrate(context.Background(), db, s.path, nextVersion(t, change)); err != nil {
		t.Fatal(err)
	}
	if builds := get(t, s, flow.Reads.Builds); builds[0].Nickname != "Heron II" {
		t.Errorf("the migration did not reach the data: %q", builds[0].Nickname)
	}
	if _, err := os.Stat(backup + ".part"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a part of a backup is left: %v", err)
	}
	if info, err := os.Stat(backup); err != nil || info.Mode().Perm() != 0o600 {
		t.Fatalf("backup: %v (%v), want a file with mode 0600", info, err)
	}
	old, err := Open(backup)
	if err != nil {
		t.Fatal(err)
	}
	defer old.Close()
	if builds := get(t, old, flow.Reads.Builds); len(builds) != 2 || builds[0].Nickname != "Heron" {
		t.Errorf("the backup holds %v, want the builds as they were", builds)
	}

	// A second start has nothing to do and makes no backup.
	if err := os.Remove(backup); err != nil {
		t.Fatal(err)
	}
	if err := migrate(context.Background(), db, s.path, nextVersion(t, change)); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(backup); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a backup was made with nothing to migrate: %v", err)
	}
}

func TestMigrate_FailureChangesNothing(t *testing.T) {
	s := yard(t)
	db, err := s.writer.DB()
	if err != nil {
		t.Fatal(err)
	}
	change := "-- +goose Up\nUPDATE builds SET nickname = 'gone ' || id;\nINSERT INTO nowhere VALUES (1);\n"
	if err := migrate(context.Background(), db, s.path, nextVersion(t, change)); err == nil {
		t.Fatal("a migration with a mistake went through")
	}
	if builds := get(t, s, flow.Reads.Builds); builds[0].Nickname != "Heron" {
		t.Errorf("half a migration stayed: %q", builds[0].Nickname)
	}
	if err := migrate(context.Background(), db, s.path, nextVersion(t, "-- +goose Up\nDELETE FROM meta;\n")); err != nil {
		t.Errorf("after the mistake is mended: %v", err)
	}
}

// TestMigrate_ForeignKeys: with foreign keys off, as a rebuild of a table needs
// them, a migration can leave rows that point nowhere.
func TestMigrate_ForeignKeys(t *testing.T) {
	s := yard(t)
	db, err := s.writer.DB()
	if err != nil {
		t.Fatal(err)
	}
	change := "-- +goose NO TRANSACTION\n-- +goose Up\nPRAGMA foreign_keys = OFF;\nDELETE FROM builds;\nPRAGMA foreign_keys = ON;\n"
	err = migrate(context.Background(), db, s.path, nextVersion(t, change))
	if err == nil || !strings.Contains(err.Error(), "points to nothing in builds") {
		t.Errorf("got %v, want a refusal that names the table", err)
	}
}

func TestWrite_KeepsNothingOnFailure(t *testing.T) {
	s := yard(t)
	mistake := errors.New("mistake")
	err := s.Write(context.Background(), func(tx flow.Tx) error {
		if err := tx.SetMeta("key", "value"); err != nil {
			return err
		}
		return fmt.Errorf("the step: %w", mistake)
	})
	if !errors.Is(err, mistake) {
		t.Errorf("got %v, want what f returned", err)
	}
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic did not come through")
			}
		}()
		_ = s.Write(context.Background(), func(tx flow.Tx) error {
			if err := tx.SetMeta("key", "value"); err != nil {
				return err
			}
			panic("in the step")
		})
	}()
	ctx, cancel := context.WithCancel(context.Background())
	err = s.Write(ctx, func(tx flow.Tx) error {
		if err := tx.SetMeta("key", "value"); err != nil {
			return err
		}
		cancel()
		return nil
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want that the request is over", err)
	}
	if v := get(t, s, func(r flow.Reads) (string, error) { return r.Meta("key") }); v != "" {
		t.Errorf("%q was kept of writes that failed", v)
	}
	write(t, s, func(tx flow.Tx) error { return tx.SetMeta("key", "value") }) // and the handle still works
}

// TestWrite_BrokenStaysBroken: a step that goes on after a failure cannot make
// half of its changes count.
func TestWrite_BrokenStaysBroken(t *testing.T) {
	s := yard(t)
	err := s.Write(context.Background(), func(tx flow.Tx) error {
		if err := tx.SetMeta("before", "1"); err != nil {
			return err
		}
		first := tx.AddPerson(journal.Person{ID: "x", Role: "king", CreatedAt: noon}) // no such role
		if first == nil {
			t.Error("a role that does not exist was stored")
		}
		if err := tx.SetMeta("after", "1"); err == nil {
			t.Error("a broken transaction went on")
		}
		return nil // the mistake this test is about
	})
	if journal.CodeOf(err) != journal.Internal {
		t.Errorf("got %v, want the first failure", err)
	}
	for _, key := range []string{"before", "after"} {
		if v := get(t, s, func(r flow.Reads) (string, error) { return r.Meta(key) }); v != "" {
			t.Errorf("%s was kept", key)
		}
	}
}

func TestTransaction_EndsWithItsFunction(t *testing.T) {
	s := yard(t)
	var late flow.Tx
	write(t, s, func(tx flow.Tx) error {
		late = tx
		return nil
	})
	if err := late.SetMeta("key", "late"); !errors.Is(err, errEnded) {
		t.Errorf("write after the end: got %v, want errEnded", err)
	}
	if _, err := late.Builds(); !errors.Is(err, errEnded) {
		t.Errorf("read after the end: got %v, want errEnded", err)
	}
}
