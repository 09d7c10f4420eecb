package media

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

const (
	originalsDir   = "originals"
	derivativesDir = "derivatives"
	incomingDir    = "incoming"

	// originalMode lets the owner read an original and nobody write it, so that
	// a slip of the hand on the server does not change one.
	originalMode   = 0o400
	derivativeMode = 0o600

	copyBufferBytes = 128 << 10
)

// Disk is [Storage] in a folder of the local file system:
//
//	originals/ab/abcd…         an original, named after its SHA-256
//	derivatives/ab/abcd…-960.jpg  a derivative, by the long edge in pixels
//	derivatives/ab/abcd…-t1-0-0-10000-5000-960.jpg  the same of a variant, here "t1-0-0-10000-5000"
//	incoming/<one per process>/   files being received
//
// A file is written in incoming, fsynced, renamed to its name, and the
// directory fsynced. The same check by hand: for every file under originals,
// sha256sum prints its name.
//
// Several processes may use one folder at once: each receives into its own
// incoming folder, which it holds locked. What a dead process left there is
// removed by the next [OpenDisk].
type Disk struct {
	dir     string
	files   Filesystem
	claim   *claim
	namings [256]sync.Mutex // by the first byte of the hash: look, then rename or remove

	readying sync.Mutex
	isReady  map[string]bool // folders known to be there and durable
}

// OpenDisk opens dir as storage and makes it if need be. The caller closes it.
func OpenDisk(dir string) (*Disk, error) { return OpenDiskOn(OSFiles{}, dir) }

// OpenDiskOn is [OpenDisk] writing through files; for tests of faults.
func OpenDiskOn(files Filesystem, dir string) (*Disk, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, fmt.Errorf("media.OpenDisk: %w", err)
	}
	d := &Disk{dir: dir, files: files, isReady: map[string]bool{}}
	if err := d.makeDirs(); err != nil {
		return nil, fmt.Errorf("media.OpenDisk: %w", diskError(err))
	}
	incoming := filepath.Join(dir, incomingDir)
	if err := sweepIncoming(incoming); err != nil {
		return nil, fmt.Errorf("media.OpenDisk: sweep %s: %w", incomingDir, err)
	}
	if d.claim, err = claimIncoming(incoming); err != nil {
		return nil, fmt.Errorf("media.OpenDisk: %w", diskError(err))
	}
	return d, nil
}

// Close gives up this process's incoming folder. A Put still under way fails.
func (d *Disk) Close() error {
	if err := d.claim.release(); err != nil {
		return fmt.Errorf("media.Disk.Close: %w", err)
	}
	return nil
}

// makeDirs makes the top folders and makes them durable. The folder above dir
// is only touched if dir is new; it may not be ours to read.
func (d *Disk) makeDirs() error {
	_, err := os.Stat(d.dir)
	isNew := errors.Is(err, fs.ErrNotExist)
	if err != nil && !isNew {
		return err
	}
	for _, dir := range []string{originalsDir, derivativesDir, incomingDir} {
		if err := d.files.MkdirAll(filepath.Join(d.dir, dir)); err != nil {
			return err
		}
	}
	if isNew {
		if err := d.files.SyncDir(filepath.Dir(d.dir)); err != nil {
			return err
		}
	}
	return d.files.SyncDir(d.dir)
}

// ready makes a folder that a file is about to be renamed into, and makes it
// durable, once in this process's life: also when it is there, because whoever
// made it may have died before the fsync.
func (d *Disk) ready(sub string) error {
	d.readying.Lock()
	defer d.readying.Unlock()
	if d.isReady[sub] {
		return nil
	}
	if err := d.files.MkdirAll(sub); err != nil {
		return err
	}
	if err := d.files.SyncDir(filepath.Dir(sub)); err != nil {
		return err
	}
	d.isReady[sub] = true
	return nil
}

// OriginalPath is where an original is or would be, for tools that work on
// files, such as sha256sum. The file must not be written to.
func (d *Disk) OriginalPath(sha string) string {
	return filepath.Join(d.dir, originalsDir, sha[:2], sha)
}

// naming returns the lock under which the name sha is looked up and then
// taken or given up.
func (d *Disk) naming(sha string) *sync.Mutex {
	b, err := hex.DecodeString(sha[:2])
	if err != nil {
		panic("media: name not checked: " + sha) // every caller has a valid name
	}
	return &d.namings[b[0]]
}

// Put implements [Storage].
func (d *Disk) Put(ctx context.Context, r io.Reader, maxBytes int64) (Stored, error) {
	sum := sha256.New()
	name, n, err := d.receive(ctx, r, sum, maxBytes)
	if err == nil && n == 0 {
		err = ErrEmpty
	}
	if err != nil {
		return Stored{}, fmt.Errorf("media.Disk.Put: %w", d.discard(name, err))
	}
	stored := Stored{SHA256: hex.EncodeToString(sum.Sum(nil)), Bytes: n}
	if stored.Existed, err = d.settle(ctx, name, stored.SHA256); err != nil {
		return Stored{}, fmt.Errorf("media.Disk.Put: %w", d.discard(name, err))
	}
	return stored, nil
}

// receive writes r to a new file in incoming, and to sum, and makes the file
// durable. The name is empty if there is no file to discard.
func (d *Disk) receive(ctx context.Context, r io.Reader, sum hash.Hash, maxBytes int64) (name string, n int64, err error) {
	f, err := d.files.CreateTemp(d.claim.dir)
	if err != nil {
		return "", 0, err
	}
	n, err = copyLimited(ctx, io.MultiWriter(f, sum), r, maxBytes)
	if err == nil {
		err = f.Sync()
	}
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	return f.Name(), n, err
}

// copyLimited copies r to w until its end, the end of ctx, or more than
// maxBytes.
func copyLimited(ctx context.Context, w io.Writer, r io.Reader, maxBytes int64) (int64, error) {
	buf := make([]byte, copyBufferBytes)
	var total int64
	for {
		if err := ctx.Err(); err != nil {
			return total, err
		}
		n, err := r.Read(buf)
		total += int64(n)
		if total > maxBytes {
			return total, ErrTooLarge
		}
		if n > 0 {
			if _, werr := w.Write(buf[:n]); werr != nil {
				return total, werr
			}
		}
		if err == io.EOF {
			return total, nil
		}
		if err != nil {
			return total, err
		}
	}
}

// settle gives the received file its name, unless the name is taken; then the
// bytes must be the same, and the received file goes.
func (d *Disk) settle(ctx context.Context, name, sha string) (existed bool, err error) {
	lock := d.naming(sha)
	lock.Lock()
	defer lock.Unlock()
	target := d.OriginalPath(sha)
	if err = d.ready(filepath.Dir(target)); err != nil {
		return false, err
	}
	_, err = os.Stat(target)
	switch {
	case err == nil:
		existed = true
		if err = sameBytes(ctx, target, name); err != nil {
			return false, err
		}
		if err = d.files.Touch(target, time.Now()); err != nil {
			return false, err
		}
		if err = d.files.Remove(name); err != nil {
			return false, err
		}
	case errors.Is(err, fs.ErrNotExist):
		if err = d.files.Chmod(name, originalMode); err != nil {
			return false, err
		}
		if err = d.files.Rename(name, target); err != nil {
			return false, err
		}
	default:
		return false, err
	}
	// Also when it existed: whoever renamed it may have been cut off before
	// its own fsync, and this acknowledgement must hold by itself.
	return existed, d.files.SyncDir(filepath.Dir(target))
}

// sameBytes returns ErrCorrupt if the stored file differs from the received
// one, which has the hash that the stored file is named after.
func sameBytes(ctx context.Context, stored, received string) error {
	a, err := os.Open(stored)
	if err != nil {
		return err
	}
	defer a.Close()
	b, err := os.Open(received)
	if err != nil {
		return err
	}
	defer b.Close()
	bufA, bufB := make([]byte, copyBufferBytes), make([]byte, copyBufferBytes)
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		n, errA := io.ReadFull(a, bufA)
		m, errB := io.ReadFull(b, bufB)
		if !bytes.Equal(bufA[:n], bufB[:m]) {
			return fmt.Errorf("%s: %w", filepath.Base(stored), ErrCorrupt)
		}
		endA, endB := readEnded(errA), readEnded(errB)
		switch {
		case errA != nil && !endA:
			return errA
		case errB != nil && !endB:
			return errB
		case endA && endB:
			return nil
		case endA != endB:
			return fmt.Errorf("%s: %w", filepath.Base(stored), ErrCorrupt)
		}
	}
}

func readEnded(err error) bool { return err == io.EOF || err == io.ErrUnexpectedEOF }

// discard removes a received file after err, and returns err, with the reason
// why the file could not be removed, if so; the next OpenDisk removes it then.
func (d *Disk) discard(name string, err error) error {
	err = diskError(err)
	if name == "" {
		return err
	}
	if rerr := d.files.Remove(name); rerr != nil && !errors.Is(rerr, fs.ErrNotExist) {
		return fmt.Errorf("%w (and its received part stays until the next start: %w)", err, rerr)
	}
	return err
}

// diskFile is a File on the local file system.
type diskFile struct {
	*os.File
	size int64
}

// Size implements [File].
func (f diskFile) Size() int64 { return f.size }

func openFile(ctx context.Context, path string) (File, error) {
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s: %w", filepath.Base(path), ErrNotFound)
	}
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return diskFile{f, info.Size()}, nil
}

// Open implements [Storage].
func (d *Disk) Open(ctx context.Context, sha string) (File, error) {
	if !ValidName(sha) {
		return nil, fmt.Errorf("media.Disk.Open: %q: %w", sha, ErrBadName)
	}
	f, err := openFile(ctx, d.OriginalPath(sha))
	if err != nil {
		return nil, fmt.Errorf("media.Disk.Open: %w", err)
	}
	return f, nil
}

// Has implements [Storage].
func (d *Disk) Has(ctx context.Context, sha string) (bool, error) {
	if !ValidName(sha) {
		return false, fmt.Errorf("media.Disk.Has: %q: %w", sha, ErrBadName)
	}
	if err := ctx.Err(); err != nil {
		return false, fmt.Errorf("media.Disk.Has: %w", err)
	}
	_, err := os.Stat(d.OriginalPath(sha))
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("media.Disk.Has: %w", err)
	}
	return true, nil
}

// Each implements [Storage]. Files whose name is no hash are passed over.
func (d *Disk) Each(ctx context.Context, fn func(sha string, bytes int64) error) error {
	for i := range 256 {
		entries, err := os.ReadDir(filepath.Join(d.dir, originalsDir, hex.EncodeToString([]byte{byte(i)})))
		if err != nil && !errors.Is(err, fs.ErrNotExist) { // a folder comes with its first file
			return fmt.Errorf("media.Disk.Each: %w", err)
		}
		for _, entry := range entries { // ReadDir sorts
			if err := ctx.Err(); err != nil {
				return fmt.Errorf("media.Disk.Each: %w", err)
			}
			if !ValidName(entry.Name()) {
				continue
			}
			info, err := entry.Info()
			if errors.Is(err, fs.ErrNotExist) {
				continue // removed meanwhile
			}
			if err != nil {
				return fmt.Errorf("media.Disk.Each: %w", err)
			}
			if err := fn(entry.Name(), info.Size()); err != nil {
				return err
			}
		}
	}
	return nil
}

// Verify implements [Storage].
func (d *Disk) Verify(ctx context.Context, sha string) error {
	f, err := d.Open(ctx, sha)
	if err != nil {
		return err
	}
	sum := sha256.New()
	_, err = copyLimited(ctx, sum, f, 1<<62)
	if cerr := f.Close(); err == nil {
		err = cerr
	}
	if err != nil {
		return fmt.Errorf("media.Disk.Verify: %s: %w", sha, err)
	}
	if hex.EncodeToString(sum.Sum(nil)) != sha {
		return fmt.Errorf("media.Disk.Verify: %s: %w", sha, ErrCorrupt)
	}
	return nil
}

// Remove implements [Storage]. The derivatives go first, so that a crash on
// the way leaves an original that can be removed again.
func (d *Disk) Remove(ctx context.Context, sha string, putBefore time.Time) (bool, error) {
	if !ValidName(sha) {
		return false, fmt.Errorf("media.Disk.Remove: %q: %w", sha, ErrBadName)
	}
	lock := d.naming(sha)
	lock.Lock()
	defer lock.Unlock()
	removed, err := d.remove(ctx, sha, putBefore)
	if err != nil {
		return false, fmt.Errorf("media.Disk.Remove: %w", err)
	}
	return removed, nil
}

func (d *Disk) remove(ctx context.Context, sha string, putBefore time.Time) (bool, error) {
	if err := ctx.Err(); err != nil {
		return false, err
	}
	original := d.OriginalPath(sha)
	info, err := os.Stat(original)
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil || !info.ModTime().Before(putBefore) {
		return false, err
	}
	sub := filepath.Join(d.dir, derivativesDir, sha[:2])
	entries, err := os.ReadDir(sub)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return false, err
	}
	for _, entry := range entries {
		if strings.HasPrefix(entry.Name(), sha+"-") {
			if err := d.files.Remove(filepath.Join(sub, entry.Name())); err != nil {
				return false, err
			}
		}
	}
	if err := d.files.Remove(original); err != nil {
		return false, err
	}
	return true, d.files.SyncDir(filepath.Dir(original))
}
