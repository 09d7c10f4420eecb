package storagetest

import (
	"io/fs"
	"time"

	"farbay/media"
)

// Hook is asked before a step of a write, by its name. With a nil error the
// step is done. With an error it fails with it: not done at all, or, if done,
// done and reported as failed all the same.
type Hook func(step string) (err error, done bool)

// Files is the operating system's file system with hook before every step.
func Files(hook Hook) media.Filesystem {
	if hook == nil {
		return media.OSFiles{}
	}
	return hookedFiles{hook}
}

type hookedFiles struct{ hook Hook }

// step asks the hook, and does what it says.
func (h Hook) step(name string, do func() error) error {
	err, done := h(name)
	if err == nil {
		return do()
	}
	if done {
		if doErr := do(); doErr != nil {
			return doErr
		}
	}
	return err
}

func (f hookedFiles) MkdirAll(dir string) error {
	return f.hook.step("mkdir", func() error { return media.OSFiles{}.MkdirAll(dir) })
}

func (f hookedFiles) CreateTemp(dir string) (media.TempFile, error) {
	var file media.TempFile
	err := f.hook.step("create", func() (err error) {
		file, err = media.OSFiles{}.CreateTemp(dir)
		return err
	})
	if err != nil {
		return nil, err // a file made all the same is one nobody knows of
	}
	return hookedFile{file, f.hook}, nil
}

func (f hookedFiles) Chmod(name string, mode fs.FileMode) error {
	return f.hook.step("chmod", func() error { return media.OSFiles{}.Chmod(name, mode) })
}

func (f hookedFiles) Rename(from, to string) error {
	return f.hook.step("rename", func() error { return media.OSFiles{}.Rename(from, to) })
}

func (f hookedFiles) Remove(name string) error {
	return f.hook.step("remove", func() error { return media.OSFiles{}.Remove(name) })
}

func (f hookedFiles) Touch(name string, at time.Time) error {
	return f.hook.step("touch", func() error { return media.OSFiles{}.Touch(name, at) })
}

func (f hookedFiles) SyncDir(dir string) error {
	return f.hook.step("syncdir", func() error { return media.OSFiles{}.SyncDir(dir) })
}

type hookedFile struct {
	media.TempFile
	hook Hook
}

func (f hookedFile) Write(p []byte) (n int, err error) {
	err = f.hook.step("write", func() (err error) {
		n, err = f.TempFile.Write(p)
		return err
	})
	return n, err
}

func (f hookedFile) Sync() error { return f.hook.step("sync", f.TempFile.Sync) }

func (f hookedFile) Close() error { return f.hook.step("close", f.TempFile.Close) }
