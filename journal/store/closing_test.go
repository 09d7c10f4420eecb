package store

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/mattn/go-sqlite3"
	"gorm.io/gorm"

	"farbay/journal"
	"farbay/journal/prooflog"
)

// Promise 6 when closing a stage breaks off: stage, invoice, charges, event, letters
// and jobs are all there or none, and afterwards the stage can be closed, once.

// atWrite calls f before every write statement of the store, with its number.
func atWrite(t testing.TB, s *Store, f func(n int, db *gorm.DB)) {
	t.Helper()
	n := 0
	count := func(db *gorm.DB) { n++; f(n, db) }
	callbacks := s.writer.Callback()
	for _, err := range []error{
		callbacks.Create().Before("gorm:create").Register("test:create", count),
		callbacks.Update().Before("gorm:update").Register("test:update", count),
		callbacks.Delete().Before("gorm:delete").Register("test:delete", count),
		callbacks.Raw().Before("gorm:raw").Register("test:raw", count),
	} {
		ok(t, err)
	}
}

// everything lists all rows of all tables.
func everything(t testing.TB, s *Store) string {
	t.Helper()
	var tables []string
	ok(t, s.reader.Raw("SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT LIKE 'sqlite_%' AND sql NOT LIKE 'CREATE VIRTUAL%' ORDER BY name").Scan(&tables).Error)
	var text strings.Builder
	for _, table := range tables {
		var rows []map[string]any
		ok(t, s.reader.Table(table).Find(&rows).Error)
		for _, row := range rows {
			fmt.Fprintln(&text, table, row)
		}
	}
	return text.String()
}

// unchanged fails the test unless the database holds what it held before.
func unchanged(t testing.TB, s *Store, before, why string) {
	t.Helper()
	if diff := cmp.Diff(before, everything(t, s)); diff != "" {
		t.Fatalf("%s and something stayed:\n%s", why, diff)
	}
}

// closedOnce fails the test unless the build's one stage is closed with one invoice,
// and cannot be closed again.
func closedOnce(t testing.TB, s *Store, p *shop, build journal.BuildID, stage journal.StageID) {
	t.Helper()
	v, err := p.steps.StageOf(p.ctx, p.office, build, stage)
	ok(t, err)
	if v.Stage.State != journal.Closed || len(v.Invoices) != 1 || v.Invoices[0].Document.Number != 1 {
		t.Errorf("the stage is %s, with %d invoices", v.Stage.State, len(v.Invoices))
	}
	count := func(what, query string, want int) {
		t.Helper()
		var n int
		ok(t, s.reader.Raw(query).Scan(&n).Error)
		if n != want {
			t.Errorf("%d %s; want %d", n, what, want)
		}
	}
	count("invoices", "SELECT count(*) FROM invoices", 1)
	count("billed charges", "SELECT count(*) FROM billed_charges", 1)
	count("events of it", "SELECT count(*) FROM events WHERE kind = 'invoice issued'", 1)
	count("closes", "SELECT count(*) FROM events WHERE kind = 'stage closed'", 1)
	count("letters", "SELECT count(*) FROM letters WHERE subject = 'flow.InvoiceLetter'", 1)
	count("letters without a job", "SELECT count(*) FROM letters WHERE id NOT IN (SELECT subject FROM jobs)", 0)
	if _, _, err := p.steps.CloseStage(p.ctx, p.office, build, stage); journal.CodeOf(err) != journal.Conflict {
		t.Errorf("closed twice: %v", err)
	}
	p.sound(t)
}

// Every write of a close fails once, and then its commit.
func TestCloseStage_EveryWriteFails(t *testing.T) {
	s := open(t)
	p, _ := newShop(t, s)
	build, stages := p.build(t, "Heron", 1)
	before := everything(t, s)
	failing, seen := 1, 0
	start := 0
	broken := sqlite3.Error{Code: sqlite3.ErrIoErr}
	atWrite(t, s, func(n int, db *gorm.DB) {
		if seen = n - start; seen == failing {
			if db.AddError(broken) == nil {
				t.Error("the write was not made to fail")
			}
		}
	})
	for ; ; failing++ {
		inv, _, err := p.steps.CloseStage(p.ctx, p.office, build, stages[0])
		start += seen
		if err == nil {
			break
		}
		if journal.CodeOf(err) != journal.Unavailable || inv.ID != "" {
			t.Fatalf("write %d failed and the step says %v, %v", failing, inv.ID, err)
		}
		unchanged(t, s, before, fmt.Sprintf("write %d failed", failing))
		if failing == 100 {
			t.Fatal("the stage never closes")
		}
	}
	if failing < 10 {
		t.Errorf("only %d writes were tried", failing-1)
	}
	t.Logf("%d writes failed, one after the other", failing-1)
	closedOnce(t, s, p, build, stages[0])
}

func TestCloseStage_CommitFails(t *testing.T) {
	s := open(t)
	p, _ := newShop(t, s)
	build, stages := p.build(t, "Heron", 1)
	before := everything(t, s)
	db, err := s.writer.DB()
	ok(t, err)
	hook := func(answer func() int) {
		conn, err := db.Conn(p.ctx)
		ok(t, err)
		ok(t, conn.Raw(func(driver any) error {
			driver.(*sqlite3.SQLiteConn).RegisterCommitHook(answer)
			return nil
		}))
		ok(t, conn.Close())
	}
	refused := 0
	hook(func() int { refused++; return 1 }) // which makes SQLite roll back
	inv, _, err := p.steps.CloseStage(p.ctx, p.office, build, stages[0])
	if err == nil || inv.ID != "" || refused == 0 {
		t.Fatalf("the commit failed %d times, and the step says %v, %v", refused, inv.ID, err)
	}
	hook(nil)
	unchanged(t, s, before, "the commit failed")
	if _, _, err := p.steps.CloseStage(p.ctx, p.office, build, stages[0]); err != nil {
		t.Fatal(err)
	}
	closedOnce(t, s, p, build, stages[0])
}

// closingChild names the variable that makes the test binary a process that closes
// a stage and is killed at one of its writes: the database's path, the number of the
// write, the secret key and its public one, the build and the stage.
const closingChild = "FARBAY_STORE_TEST_CLOSING"

// closeAndDie is the process to kill.
func closeAndDie(told string) error {
	words := strings.Split(told, "\n")
	at, err := strconv.Atoi(words[1])
	if err != nil {
		return err
	}
	key, err := prooflog.OpenKey(words[2], words[3])
	if err != nil {
		return err
	}
	s, err := Open(words[0])
	if err != nil {
		return err
	}
	dying := func(n *int) func(*gorm.DB) {
		return func(db *gorm.DB) {
			if *n++; *n == at {
				db.AddError(syscall.Kill(os.Getpid(), syscall.SIGKILL))
				select {} // until it arrives
			}
		}
	}
	n := 0
	callbacks := s.writer.Callback()
	err = errors.Join(
		callbacks.Create().After("gorm:create").Register("test:create", dying(&n)),
		callbacks.Update().After("gorm:update").Register("test:update", dying(&n)),
		callbacks.Raw().After("gorm:raw").Register("test:raw", dying(&n)),
	)
	if err != nil {
		return err
	}
	p := openShop(s, key, "c"+words[1])
	_, _, err = p.steps.CloseStage(p.ctx, p.office, journal.BuildID(words[4]), journal.StageID(words[5]))
	return errors.Join(err, s.Close())
}

// A process that closes a stage is killed after each of its writes. Its clock is
// behind that of the process that opened the stage, as after it was put back.
func TestCloseStage_KilledAfterEveryWrite(t *testing.T) {
	path := filepath.Join(t.TempDir(), "farbay.db")
	s, err := Open(path)
	ok(t, err)
	p, secret := newShop(t, s)
	build, stages := p.build(t, "Heron", 1)
	public := p.steps.LogKey.Public()
	before := everything(t, s)
	ok(t, s.Close())
	every := 1
	if testing.Short() {
		every = 5
	}
	for at := 1; ; at += every {
		// #nosec G204 -- the test's own binary
		child := exec.Command(os.Args[0])
		child.Env = append(os.Environ(), closingChild+"="+strings.Join([]string{path, fmt.Sprint(at), secret, public, string(build), string(stages[0])}, "\n"))
		out, died := child.CombinedOutput()
		s, err = Open(path)
		ok(t, err)
		p = openShop(s, p.steps.LogKey, "b"+fmt.Sprint(at))
		if died == nil {
			t.Logf("killed after each of %d writes", at-1)
			break
		}
		if child.ProcessState.ExitCode() != -1 || at == 200 {
			t.Fatalf("at write %d: %v\n%s", at, died, out)
		}
		unchanged(t, s, before, fmt.Sprintf("killed after write %d", at))
		requireSound(t, s)
		ok(t, s.Close())
	}
	t.Cleanup(func() { ok(t, s.Close()) })
	closedOnce(t, s, p, build, stages[0])
}
