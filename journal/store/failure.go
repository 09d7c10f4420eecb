package store

import (
	"errors"
	"fmt"

	"github.com/mattn/go-sqlite3"
	"gorm.io/gorm"

	"farbay/journal"
)

// errEnded is what a transaction answers after the function it was given to
// has returned.
var errEnded = errors.New("store: the transaction has ended")

// Sentences for failures that are nobody's mistake.
const (
	saidFull   = "The server's disk is full, so nothing of this was saved. Please make room there and try again."
	saidBusy   = "The database was busy for too long, so nothing of this was saved. Please try again."
	saidDisk   = "The server's disk could not be read or written, so nothing of this was saved. Please try again, and have the disk checked if it happens again."
	saidRefers = "This refers to something that is no longer there, or something else still needs it. Please reload the page and try again."
)

// failure translates what gorm and SQLite report. missing and taken are the
// sentences for a thing that is not there and one that is there already; where
// they are "" such a report is a fault of the program.
func failure(op string, err error, missing, taken string) error {
	var known *journal.Error
	var lite sqlite3.Error
	switch {
	case err == nil:
		return nil
	case errors.As(err, &known):
		return err
	case errors.Is(err, gorm.ErrRecordNotFound) && missing != "":
		return journal.Errorf(journal.NotFound, "%s", missing)
	case errors.Is(err, gorm.ErrDuplicatedKey) && taken != "":
		return &journal.Error{Code: journal.Conflict, Message: taken, Err: fmt.Errorf("store.%s: %w", op, err)}
	case errors.Is(err, gorm.ErrForeignKeyViolated), errors.As(err, &lite) && lite.ExtendedCode == sqlite3.ErrConstraintForeignKey:
		return &journal.Error{Code: journal.Conflict, Message: saidRefers, Err: fmt.Errorf("store.%s: %w", op, err)}
	}
	wrapped := fmt.Errorf("store.%s: %w", op, err)
	if !errors.As(err, &lite) {
		return wrapped
	}
	var said string
	switch lite.Code {
	case sqlite3.ErrFull:
		said = saidFull
	case sqlite3.ErrBusy, sqlite3.ErrLocked:
		said = saidBusy
	case sqlite3.ErrIoErr, sqlite3.ErrReadonly, sqlite3.ErrCantOpen:
		said = saidDisk
	default:
		return wrapped
	}
	return &journal.Error{Code: journal.Unavailable, Message: said, Err: wrapped}
}

// restricted reports whether a row could not be deleted because others refer to
// it. SQLite reports ON DELETE RESTRICT as a trigger's refusal; so this says
// nothing about a table that has a trigger on deletes.
func restricted(err error) bool {
	var lite sqlite3.Error
	return errors.As(err, &lite) && lite.ExtendedCode == sqlite3.ErrConstraintTrigger
}
