package server

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"farbay/journal/flow"
)

// newestFile is the newest checkpoint of the proof log, beside the secret keys:
// outside the database, so that an old copy of the database that was put back
// alone is found out. A backup of the whole data folder holds both, and putting
// that back is no fault.
const newestFile = "newest-checkpoint.txt"

// keptLog keeps the newest checkpoint of the proof log in its file.
type keptLog struct {
	mu     sync.Mutex
	size   int64 // of the one in the file
	broken bool  // the record is no continuation of the one in the file, which stays as it is
}

// KeptCheckpoint returns the newest checkpoint that was kept outside the
// database; none before the first one.
func (a *App) KeptCheckpoint() ([]flow.Kept, error) {
	name := filepath.Join(a.cfg.DataDir, keyFolder, newestFile)
	note, err := os.ReadFile(name)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return []flow.Kept{{From: name, Note: note}}, nil
}

// compareKept warns when the record is not a continuation of the checkpoint that
// was kept. It refuses nothing: the shop must be able to work, and "farbay check"
// says the same until somebody has looked into it and taken the file away.
func (a *App) compareKept(ctx context.Context) error {
	kept, err := a.KeptCheckpoint()
	if err != nil || len(kept) == 0 {
		return err
	}
	size, fault, err := a.steps.Continues(ctx, kept[0])
	if err != nil {
		return err
	}
	a.witness.size = size
	if fault.Text != "" {
		a.witness.broken = true
		a.log.WarnContext(ctx, "the proof log is not a continuation of the checkpoint beside its keys; run farbay check", "found", fault.Text)
	}
	return nil
}

// wrote follows each write to the database: it wakes the job worker and keeps
// the newest checkpoint, now that it is on record. One that a crash keeps from
// its file is followed by the next. A failure to keep it must not fail the act,
// which is done: it goes to the log.
func (a *App) wrote() {
	a.jobs.nudge()
	if err := a.keepNewest(context.Background()); err != nil {
		a.log.Error("the newest checkpoint of the proof log was not kept beside its keys", "error", err)
	}
}

func (a *App) keepNewest(ctx context.Context) error {
	var newest flow.SignedCheckpoint
	err := a.store.Read(ctx, func(r flow.Reads) (err error) {
		newest, err = r.NewestCheckpoint()
		return err
	})
	if err != nil {
		return err
	}
	a.witness.mu.Lock()
	defer a.witness.mu.Unlock()
	if a.witness.broken || newest.Size <= a.witness.size {
		return nil
	}
	folder := filepath.Join(a.cfg.DataDir, keyFolder)
	if err := replaceFile(folder, newestFile, newest.Note); err != nil {
		return fmt.Errorf("server: %w", err)
	}
	a.witness.size = newest.Size
	return nil
}

// replaceFile puts a file in place whole: written beside, fsynced, renamed, the
// folder fsynced.
func replaceFile(folder, name string, data []byte) (err error) {
	file, err := os.CreateTemp(folder, name+".*.tmp")
	if err != nil {
		return err
	}
	_, err = file.Write(data)
	if err = errors.Join(err, file.Sync(), file.Close()); err == nil {
		err = os.Rename(file.Name(), filepath.Join(folder, name))
	}
	if err != nil {
		return errors.Join(err, os.Remove(file.Name()))
	}
	dir, err := os.Open(folder)
	if err != nil {
		return err
	}
	return errors.Join(dir.Sync(), dir.Close())
}
