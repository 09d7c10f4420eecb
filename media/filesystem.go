package media

import (
	"io/fs"
	"os"
	"time"
)

// Filesystem is what [Disk] asks of the file system when it writes: the steps
// that can fail or be lost between an upload and its acknowledgement. [OSFiles]
// is the real one; the storage suite puts one in between that fails.
type Filesystem interface {
	// MkdirAll makes a folder, and those above it, for the owner alone; one
	// that is there is no error.
	MkdirAll(dir string) error
	// CreateTemp makes a new file with a name of its own in dir.
	CreateTemp(dir string) (TempFile, error)
	// Chmod sets the permission bits.
	Chmod(name string, mode fs.FileMode) error
	// Rename moves a file within the file system, replacing the target.
	Rename(from, to string) error
	// Remove deletes a file.
	Remove(name string) error
	// Touch sets the modification time.
	Touch(name string, at time.Time) error
	// SyncDir makes the names in a directory durable.
	SyncDir(dir string) error
}

// TempFile is a file being written.
type TempFile interface {
	Write(p []byte) (int, error)
	Sync() error
	Close() error
	Name() string
}

// OSFiles is the operating system's file system.
type OSFiles struct{}

// MkdirAll implements [Filesystem].
func (OSFiles) MkdirAll(dir string) error { return os.MkdirAll(dir, 0o700) }

// CreateTemp implements [Filesystem].
func (OSFiles) CreateTemp(dir string) (TempFile, error) {
	return os.CreateTemp(dir, "*.part")
}

// Chmod implements [Filesystem].
func (OSFiles) Chmod(name string, mode fs.FileMode) error { return os.Chmod(name, mode) }

// Rename implements [Filesystem].
func (OSFiles) Rename(from, to string) error { return os.Rename(from, to) }

// Remove implements [Filesystem].
func (OSFiles) Remove(name string) error { return os.Remove(name) }

// Touch implements [Filesystem].
func (OSFiles) Touch(name string, at time.Time) error { return os.Chtimes(name, at, at) }

// SyncDir implements [Filesystem] with fsync(2) on the directory.
func (OSFiles) SyncDir(dir string) error {
	d, err := os.Open(dir)
	if err != nil {
		return err
	}
	err = d.Sync()
	if cerr := d.Close(); err == nil {
		err = cerr
	}
	return err
}
