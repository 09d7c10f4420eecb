// Package storagetest is the suite that every media.Storage must pass: what the
// interface's contract says, tried with good input, bad input, many at once,
// and with each step of a write failing in turn, once lost and once done but
// reported as failed.
package storagetest

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"testing"

	"farbay/media"
)

// Place is one empty storage under test, which can be opened again and again.
type Place interface {
	// Open opens it. Every step of a write goes through hook before it is done;
	// hook may be nil.
	Open(tb testing.TB, hook Hook) media.Storage
	// Leftovers lists what is in the place beside whole originals and
	// derivatives, such as files half received.
	Leftovers(tb testing.TB) []string
	// OriginalPath is the file that holds an original, or "" if originals are
	// not files of this machine.
	OriginalPath(sha string) string
	// Spoil changes a byte of a stored original behind the storage's back.
	Spoil(tb testing.TB, sha string)
}

// Run runs the suite; newPlace makes a fresh place for each test.
func Run(t *testing.T, newPlace func(tb testing.TB) Place) {
	s := suite{newPlace}
	t.Run("Put", s.put)
	t.Run("PutAgain", s.putAgain)
	t.Run("PutRefused", s.putRefused)
	t.Run("PutSpoiled", s.putSpoiled)
	t.Run("PutMemory", s.putMemory)
	t.Run("SHA256Sum", s.sha256sum)
	t.Run("Names", s.names)
	t.Run("Files", s.files)
	t.Run("Derivatives", s.derivatives)
	t.Run("Variants", s.variants)
	t.Run("Each", s.each)
	t.Run("Verify", s.verify)
	t.Run("Remove", s.remove)
	t.Run("Together", s.together)
	t.Run("Faults/Put", s.faultsOfPut)
	t.Run("Faults/PutAgain", s.faultsOfPutAgain)
	t.Run("Faults/PutDerivative", s.faultsOfPutDerivative)
	t.Run("Faults/PutVariant", s.faultsOfPutVariant)
	t.Run("Faults/Remove", s.faultsOfRemove)
	t.Run("Faults/DiskFull", s.faultDiskFull)
}

type suite struct {
	newPlace func(tb testing.TB) Place
}

const enough = 64 << 20

// sample makes n bytes that differ with seed and do not repeat.
func sample(seed byte, n int) []byte {
	out := make([]byte, 0, n+sha256.Size)
	block := sha256.Sum256([]byte{seed})
	for len(out) < n {
		out = append(out, block[:]...)
		block = sha256.Sum256(block[:])
	}
	return out[:n]
}

func hashOf(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

func mustPut(tb testing.TB, s media.Storage, b []byte) media.Stored {
	tb.Helper()
	stored, err := s.Put(context.Background(), bytes.NewReader(b), enough)
	if err != nil {
		tb.Fatalf("Put: %v", err)
	}
	if stored.SHA256 != hashOf(b) || stored.Bytes != int64(len(b)) {
		tb.Fatalf("Put = %+v, want %s, %d bytes", stored, hashOf(b), len(b))
	}
	return stored
}

// content reads an open file and closes it.
func content(tb testing.TB, f media.File) []byte {
	tb.Helper()
	b, err := io.ReadAll(f)
	if err != nil {
		tb.Fatalf("read: %v", err)
	}
	if f.Size() != int64(len(b)) {
		tb.Errorf("Size = %d, read %d bytes", f.Size(), len(b))
	}
	if err := f.Close(); err != nil {
		tb.Errorf("Close: %v", err)
	}
	return b
}

// checkOriginals checks that exactly these originals are stored, whole.
func checkOriginals(tb testing.TB, s media.Storage, want ...[]byte) {
	tb.Helper()
	ctx := context.Background()
	left := map[string][]byte{}
	for _, b := range want {
		left[hashOf(b)] = b
	}
	err := s.Each(ctx, func(sha string, n int64) error {
		b, ok := left[sha]
		if !ok {
			tb.Errorf("an original %s of %d bytes that nobody put", sha, n)
			return nil
		}
		delete(left, sha)
		if n != int64(len(b)) {
			tb.Errorf("%s: Each says %d bytes, want %d", sha, n, len(b))
		}
		f, err := s.Open(ctx, sha)
		if err != nil {
			return err
		}
		if !bytes.Equal(content(tb, f), b) {
			tb.Errorf("%s: other bytes than were put", sha)
		}
		return s.Verify(ctx, sha)
	})
	if err != nil {
		tb.Errorf("Each: %v", err)
	}
	for sha := range left {
		tb.Errorf("original %s is not there", sha)
	}
}

func checkNoLeftovers(tb testing.TB, p Place) {
	tb.Helper()
	if left := p.Leftovers(tb); len(left) > 0 {
		tb.Errorf("left behind: %q", left)
	}
}

func checkIs(tb testing.TB, what string, err, target error) {
	tb.Helper()
	if !errors.Is(err, target) {
		tb.Errorf("%s: error %v, want %v", what, err, target)
	}
}
