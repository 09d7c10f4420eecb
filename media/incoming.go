package media

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// lockName is the file in a process's incoming folder that the process holds
// locked with flock(2) for as long as it lives.
const lockName = "lock"

// claim is a process's own folder under incoming.
type claim struct {
	dir  string
	lock *os.File
}

// claimIncoming makes a folder of its own and locks it. A sweep by another
// process may take the folder between its making and its locking; then it makes
// another.
func claimIncoming(incoming string) (*claim, error) {
	for {
		dir, err := os.MkdirTemp(incoming, "")
		if err != nil {
			return nil, err
		}
		lock, err := os.OpenFile(filepath.Join(dir, lockName), os.O_CREATE|os.O_RDWR, 0o600)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		err = syscall.Flock(int(lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
		if err == nil {
			_, err = os.Stat(lock.Name())
		}
		if err == nil {
			return &claim{dir: dir, lock: lock}, nil
		}
		if cerr := lock.Close(); cerr != nil {
			return nil, cerr
		}
		if !errors.Is(err, syscall.EWOULDBLOCK) && !errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("lock %s: %w", lock.Name(), err)
		}
	}
}

// release removes the folder and unlocks it.
func (c *claim) release() error {
	return errors.Join(os.RemoveAll(c.dir), c.lock.Close())
}

// sweepIncoming removes the folders of processes that no longer live.
func sweepIncoming(incoming string) error {
	entries, err := os.ReadDir(incoming)
	if err != nil {
		return err
	}
	for _, entry := range entries {
		if err := sweepOne(filepath.Join(incoming, entry.Name())); err != nil {
			return err
		}
	}
	return nil
}

// sweepOne removes a folder under incoming unless somebody holds its lock. A
// folder without a lock file is being made or was never finished; removing it
// is safe, because [claimIncoming] then makes another.
func sweepOne(dir string) error {
	lock, err := os.OpenFile(filepath.Join(dir, lockName), os.O_RDWR, 0)
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, syscall.ENOTDIR) {
		return os.RemoveAll(dir)
	}
	if err != nil {
		return err
	}
	defer lock.Close()
	err = syscall.Flock(int(lock.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("lock %s: %w", lock.Name(), err)
	}
	return os.RemoveAll(dir)
}
