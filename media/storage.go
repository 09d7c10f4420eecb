package media

import (
	"context"
	"io"
	"time"
)

// Stored says what [Storage.Put] kept.
type Stored struct {
	SHA256  string // 64 lower-case hexadecimal digits, as sha256sum prints them
	Bytes   int64
	Existed bool // the same bytes were already there; nothing was written
}

// File is an open original or derivative. It may be read by several goroutines
// with ReadAt.
type File interface {
	io.ReadSeekCloser
	io.ReaderAt
	// Size is the length in bytes.
	Size() int64
}

// Storage keeps originals under the SHA-256 of their bytes, and derivatives
// beside them. Every implementation passes the suite in media/storagetest.
//
// Durability: when Put or PutDerivative returns nil, the bytes survive the loss
// of power at that instant. When they return an error, the file is either wholly
// there or not at all, never in part; doing the same again is safe and, once
// the cause is gone, succeeds.
//
// Ordering: what Put or PutDerivative acknowledged is seen by every later call
// from anyone. Calls on different hashes do not wait for each other's bytes.
//
// Immutability: an original under a hash never changes. No method overwrites
// one.
//
// Errors: [ErrBadName] for a name that cannot be one, [ErrNotFound] for one
// that is not stored, [ErrDiskFull] when there is no room, the context's error
// when it ends first; all to be tested with errors.Is.
//
// Trust: who can write to the storage can remove photos and derivatives, and
// can exchange derivatives unnoticed. Originals exchanged or damaged are found
// by Verify. Who can read it can read every photo, so it is as private as the
// database.
type Storage interface {
	// Put reads r to its end and keeps the bytes. It holds a small buffer of
	// them in memory, never the whole. Existed is true if an original with
	// these bytes was there; then it was compared byte for byte and left as it
	// is, and its age (see Remove) starts anew.
	//
	// It returns [ErrEmpty] for no bytes, [ErrTooLarge] once r gives more than
	// maxBytes, [ErrCorrupt] if the file already under this hash has other
	// bytes, or the error of r. After an error of r, of the context, ErrEmpty or
	// ErrTooLarge nothing is left behind.
	Put(ctx context.Context, r io.Reader, maxBytes int64) (Stored, error)

	// Open opens an original for reading; the caller closes it.
	Open(ctx context.Context, sha string) (File, error)

	// Has says whether an original is stored under sha.
	Has(ctx context.Context, sha string) (bool, error)

	// PutDerivative keeps data as the derivative of sha with this long edge in
	// pixels, in place of an earlier one. Readers see the old or the new, whole.
	// The original need not be stored.
	PutDerivative(ctx context.Context, sha string, longEdge int, data []byte) error

	// OpenDerivative opens a derivative for reading; the caller closes it.
	OpenDerivative(ctx context.Context, sha string, longEdge int) (File, error)

	// PutVariant is PutDerivative for a derivative of part of the original, or
	// of the original turned: it stands beside the plain one of this long edge,
	// under a name of its own; see [ValidVariant].
	PutVariant(ctx context.Context, sha, variant string, longEdge int, data []byte) error

	// OpenVariant opens such a derivative for reading; the caller closes it.
	OpenVariant(ctx context.Context, sha, variant string, longEdge int) (File, error)

	// Each calls fn for every original, in ascending order of hash, and stops
	// at the first error, which it returns. An original put or removed
	// meanwhile may or may not be seen.
	Each(ctx context.Context, fn func(sha string, bytes int64) error) error

	// Verify reads an original to its end and returns [ErrCorrupt] if its
	// SHA-256 is not its name.
	Verify(ctx context.Context, sha string) error

	// Remove deletes an original and its derivatives, variants too, but only if its last Put
	// was before putBefore; removed says whether it did. It is for originals
	// that no record refers to, left by a crash between Put and the record:
	// putBefore is set so far back (a day) that no Put still on its way to its
	// record is hit. An original that is not there is no error.
	Remove(ctx context.Context, sha string, putBefore time.Time) (removed bool, err error)
}

// maxVariantBytes is the longest name of a variant.
const maxVariantBytes = 64

// ValidVariant says whether a variant can have this name: 1 to 64 lower-case
// letters, digits and "-", with a letter first.
func ValidVariant(name string) bool {
	if name == "" || len(name) > maxVariantBytes || name[0] < 'a' || name[0] > 'z' {
		return false
	}
	for i := range len(name) {
		c := name[i]
		if (c < '0' || c > '9') && (c < 'a' || c > 'z') && c != '-' {
			return false
		}
	}
	return true
}

// ValidName says whether sha can name an original: 64 lower-case hexadecimal
// digits.
func ValidName(sha string) bool {
	if len(sha) != 64 {
		return false
	}
	for i := range len(sha) {
		c := sha[i]
		if (c < '0' || c > '9') && (c < 'a' || c > 'f') {
			return false
		}
	}
	return true
}
