package server

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/prooflog"
)

// keyFolder holds the secret keys of the proof log, below the data folder: a
// file each, named after its public key, so that one left by a crash harms
// nothing.
const keyFolder = "proof-keys"

// program is who acts when the program itself does.
var program = flow.Actor{Person: journal.Person{Name: "the program", Role: journal.Office}}

// WithNewLogKey lets Open make a new key for the proof log, for the reason
// given, in place of the one in use.
func WithNewLogKey(why string) Option { return func(a *App) { a.newKeyWhy = why } }

// wireLogKey opens the key that signs the proof log's checkpoints. The first
// start makes it. If the key in use is lost, it is not silently replaced: whoever
// reads a receipt is to know when and why the key changed.
func (a *App) wireLogKey(ctx context.Context) (err error) {
	var keys []flow.LogKey
	err = a.store.Read(ctx, func(r flow.Reads) error {
		keys, err = r.LogKeys()
		return err
	})
	if err != nil {
		return err
	}
	if len(keys) == 0 || a.newKeyWhy != "" {
		a.steps.LogKey, err = a.steps.NewLogKey(ctx, program, a.newKeyWhy, a.keepSecret)
		return err
	}
	public := keys[len(keys)-1].Public
	secret, err := os.ReadFile(a.keyFile(public))
	if errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("the secret key of the proof log is not in %s: please put the folder %s back from a backup, or have a new key made with \"farbay key new --why REASON\"",
			a.keyFile(public), keyFolder)
	}
	if err != nil {
		return err
	}
	a.steps.LogKey, err = prooflog.OpenKey(string(secret), public)
	return err
}

func (a *App) keyFile(public string) string {
	sum := sha256.Sum256([]byte(public))
	return filepath.Join(a.cfg.DataDir, keyFolder, hex.EncodeToString(sum[:8])+".key")
}

// keepSecret writes a secret key to its file, for the program alone to read, and
// returns when it is on disk.
func (a *App) keepSecret(public, secret string) (err error) {
	folder := filepath.Join(a.cfg.DataDir, keyFolder)
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	file, err := os.OpenFile(a.keyFile(public), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return err
	}
	_, err = file.WriteString(secret)
	if err = errors.Join(err, file.Sync(), file.Close()); err != nil {
		return err
	}
	for _, name := range []string{folder, a.cfg.DataDir} {
		dir, err := os.Open(name)
		if err != nil {
			return err
		}
		if err := errors.Join(dir.Sync(), dir.Close()); err != nil {
			return err
		}
	}
	return nil
}
