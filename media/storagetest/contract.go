package storagetest

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"os/exec"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/iotest"
	"time"

	"farbay/media"
)

func (s suite) put(t *testing.T) {
	p := s.newPlace(t)
	storage := p.Open(t, nil)
	var all [][]byte
	// Around the sizes of buffers, and a photo's.
	for i, n := range []int{1, 4095, 4096, 128 << 10, 128<<10 + 1, 3 << 20} {
		b := sample(byte(i), n)
		if stored := mustPut(t, storage, b); stored.Existed {
			t.Errorf("%d new bytes: Existed", n)
		}
		all = append(all, b)
	}
	checkOriginals(t, storage, all...)
	// In pieces of one byte, as a bad link gives them.
	slow := sample(100, 5000)
	if _, err := storage.Put(context.Background(), iotest.OneByteReader(bytes.NewReader(slow)), enough); err != nil {
		t.Fatalf("Put byte by byte: %v", err)
	}
	checkNoLeftovers(t, p)
	// Somebody else opens the place and sees the same.
	checkOriginals(t, p.Open(t, nil), append(all, slow)...)
}

func (s suite) putAgain(t *testing.T) {
	p := s.newPlace(t)
	storage := p.Open(t, nil)
	b := sample(1, 300<<10)
	mustPut(t, storage, b)
	for range 3 {
		if stored := mustPut(t, storage, b); !stored.Existed {
			t.Error("bytes that were there: not Existed")
		}
	}
	checkOriginals(t, storage, b)
	checkNoLeftovers(t, p)
}

func (s suite) putRefused(t *testing.T) {
	broken := errors.New("the link broke")
	b := sample(1, 500<<10)
	cut, cancel := context.WithCancel(context.Background())
	tests := []struct {
		name string
		ctx  context.Context
		r    io.Reader
		max  int64
		want error
	}{
		{"no bytes", context.Background(), bytes.NewReader(nil), enough, media.ErrEmpty},
		{"one byte too many", context.Background(), bytes.NewReader(b), int64(len(b)) - 1, media.ErrTooLarge},
		{"endless", context.Background(), endless{}, 1 << 20, media.ErrTooLarge},
		{"reader fails at once", context.Background(), iotest.ErrReader(broken), enough, broken},
		{"reader fails later", context.Background(), io.MultiReader(bytes.NewReader(b), iotest.ErrReader(broken)), enough, broken},
		{"cut off", context.Background(), io.MultiReader(bytes.NewReader(b), iotest.ErrReader(io.ErrUnexpectedEOF)), enough, io.ErrUnexpectedEOF},
		{"cancelled midway", cut, io.MultiReader(bytes.NewReader(b), cancelReader{cancel}, endless{}), enough, context.Canceled},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			p := s.newPlace(t)
			storage := p.Open(t, nil)
			stored, err := storage.Put(tt.ctx, tt.r, tt.max)
			checkIs(t, "Put", err, tt.want)
			if stored != (media.Stored{}) {
				t.Errorf("Put = %+v beside its error", stored)
			}
			checkOriginals(t, storage)
			checkNoLeftovers(t, p)
		})
	}
	p := s.newPlace(t)
	if _, err := p.Open(t, nil).Put(context.Background(), bytes.NewReader(b), int64(len(b))); err != nil {
		t.Errorf("exactly as many bytes as allowed: %v", err)
	}
}

// endless gives bytes without end.
type endless struct{}

func (endless) Read(p []byte) (int, error) { return len(p), nil }

// cancelReader cancels a context when it is reached, and is then at its end.
type cancelReader struct{ cancel func() }

func (r cancelReader) Read([]byte) (int, error) {
	r.cancel()
	return 0, io.EOF
}

func (s suite) putSpoiled(t *testing.T) {
	p := s.newPlace(t)
	storage := p.Open(t, nil)
	b := sample(1, 300<<10)
	sha := mustPut(t, storage, b).SHA256
	p.Spoil(t, sha)
	_, err := storage.Put(context.Background(), bytes.NewReader(b), enough)
	checkIs(t, "Put over a spoiled original", err, media.ErrCorrupt)
	checkIs(t, "Verify after it", storage.Verify(context.Background(), sha), media.ErrCorrupt)
	checkNoLeftovers(t, p)
}

// putMemory: a file eight times as large as what may be allocated for it.
func (s suite) putMemory(t *testing.T) {
	storage := s.newPlace(t).Open(t, nil)
	const size, most = 32 << 20, 4 << 20
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	if _, err := storage.Put(context.Background(), io.LimitReader(endless{}, size), size); err != nil {
		t.Fatal(err)
	}
	runtime.ReadMemStats(&after)
	if n := after.TotalAlloc - before.TotalAlloc; n > most {
		t.Errorf("Put of %d bytes allocated %d, want at most %d", size, n, most)
	}
}

// sha256sum checks stored originals with the sha256sum of GNU coreutils.
func (s suite) sha256sum(t *testing.T) {
	p := s.newPlace(t)
	storage := p.Open(t, nil)
	if p.OriginalPath(hashOf(nil)) == "" {
		t.Skip("skipped: originals are not files here")
	}
	tool, err := exec.LookPath("sha256sum")
	if err != nil && os.Getenv("FARBAY_TEST_ALL") != "" {
		t.Fatal("sha256sum is not installed")
	}
	if err != nil {
		t.Skip("skipped: sha256sum is not installed")
	}
	for i, n := range []int{1, 65, 1 << 20} {
		stored := mustPut(t, storage, sample(byte(i), n))
		out, err := exec.Command(tool, p.OriginalPath(stored.SHA256)).Output()
		if err != nil {
			t.Fatalf("sha256sum: %v", err)
		}
		if got, _, _ := strings.Cut(string(out), " "); got != stored.SHA256 {
			t.Errorf("sha256sum prints %s, stored as %s", got, stored.SHA256)
		}
	}
}

func (s suite) names(t *testing.T) {
	storage := s.newPlace(t).Open(t, nil)
	ctx := context.Background()
	good := hashOf([]byte("not stored"))
	for _, name := range []string{"", "ab", good[:63], good + "0", strings.ToUpper(good), "../../etc/passwd",
		good[:60] + "/../", strings.Repeat("g", 64), good[:63] + "\x00"} {
		_, err := storage.Open(ctx, name)
		checkIs(t, "Open "+name, err, media.ErrBadName)
		_, err = storage.Has(ctx, name)
		checkIs(t, "Has "+name, err, media.ErrBadName)
		checkIs(t, "PutDerivative "+name, storage.PutDerivative(ctx, name, 320, []byte("x")), media.ErrBadName)
		_, err = storage.OpenDerivative(ctx, name, 320)
		checkIs(t, "OpenDerivative "+name, err, media.ErrBadName)
		checkIs(t, "Verify "+name, storage.Verify(ctx, name), media.ErrBadName)
		_, err = storage.Remove(ctx, name, time.Now())
		checkIs(t, "Remove "+name, err, media.ErrBadName)
	}
	_, err := storage.Open(ctx, good)
	checkIs(t, "Open", err, media.ErrNotFound)
	_, err = storage.OpenDerivative(ctx, good, 320)
	checkIs(t, "OpenDerivative", err, media.ErrNotFound)
	checkIs(t, "Verify", storage.Verify(ctx, good), media.ErrNotFound)
	if has, err := storage.Has(ctx, good); has || err != nil {
		t.Errorf("Has = %v, %v for what is not stored", has, err)
	}
	for _, edge := range []int{0, -1} {
		checkIs(t, "PutDerivative", storage.PutDerivative(ctx, good, edge, []byte("x")), media.ErrBadName)
		_, err = storage.OpenDerivative(ctx, good, edge)
		checkIs(t, "OpenDerivative", err, media.ErrBadName)
	}
	checkIs(t, "PutDerivative of nothing", storage.PutDerivative(ctx, good, 320, nil), media.ErrEmpty)
}

// files: seeking and reading at an offset, by several at once.
func (s suite) files(t *testing.T) {
	storage := s.newPlace(t).Open(t, nil)
	b := sample(1, 256<<10)
	sha := mustPut(t, storage, b).SHA256
	if has, err := storage.Has(context.Background(), sha); !has || err != nil {
		t.Errorf("Has = %v, %v", has, err)
	}
	f, err := storage.Open(context.Background(), sha)
	if err != nil {
		t.Fatal(err)
	}
	var readers sync.WaitGroup
	for i := range 8 {
		readers.Go(func() {
			part := make([]byte, 10_000)
			off := i * 30_000
			if _, err := f.ReadAt(part, int64(off)); err != nil || !bytes.Equal(part, b[off:off+len(part)]) {
				t.Errorf("ReadAt %d: %v, or other bytes", off, err)
			}
		})
	}
	readers.Wait()
	if at, err := f.Seek(-100, io.SeekEnd); err != nil || at != int64(len(b))-100 {
		t.Errorf("Seek = %d, %v", at, err)
	}
	if tail, err := io.ReadAll(f); err != nil || !bytes.Equal(tail, b[len(b)-100:]) {
		t.Errorf("after Seek: %v, or other bytes", err)
	}
	if err := f.Close(); err != nil {
		t.Error(err)
	}
}

func (s suite) derivatives(t *testing.T) {
	p := s.newPlace(t)
	storage := p.Open(t, nil)
	ctx := context.Background()
	sha, other := hashOf([]byte("a")), hashOf([]byte("b"))
	put := func(sha string, edge int, b []byte) {
		if err := storage.PutDerivative(ctx, sha, edge, b); err != nil {
			t.Fatal(err)
		}
	}
	check := func(sha string, edge int, want []byte) {
		f, err := storage.OpenDerivative(ctx, sha, edge)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(content(t, f), want) {
			t.Errorf("derivative %s %d: other bytes", sha, edge)
		}
	}
	put(sha, 320, []byte("small"))
	put(sha, 960, sample(1, 200<<10))
	put(other, 320, []byte("another's"))
	put(sha, 320, []byte("small, made anew"))
	check(sha, 320, []byte("small, made anew"))
	check(sha, 960, sample(1, 200<<10))
	check(other, 320, []byte("another's"))
	_, err := storage.OpenDerivative(ctx, other, 960)
	checkIs(t, "OpenDerivative", err, media.ErrNotFound)
	checkOriginals(t, storage) // they are no originals
	checkNoLeftovers(t, p)
}

// variants: a variant stands beside the plain derivative and beside other
// variants, also those whose names and edges run into one another.
func (s suite) variants(t *testing.T) {
	p := s.newPlace(t)
	storage := p.Open(t, nil)
	ctx := context.Background()
	sha, other := hashOf([]byte("a")), hashOf([]byte("b"))
	type name struct {
		sha, variant string
		edge         int
	}
	names := []name{
		{sha, "t1-0-0-10000-10000", 960}, {sha, "t1-0-0-10000-10000", 320}, {sha, "t1-0-0-10000-5000", 960},
		{sha, "t", 1}, {sha, "t-1", 1}, {sha, "t-1", 11}, {sha, "t-1-1", 1}, {sha, strings.Repeat("v", 64), 960}, {other, "t", 1},
	}
	if err := storage.PutDerivative(ctx, sha, 960, []byte("plain")); err != nil {
		t.Fatal(err)
	}
	for range 2 { // again, in place of the first
		for i, n := range names {
			if err := storage.PutVariant(ctx, n.sha, n.variant, n.edge, sample(byte(i), 1000+i)); err != nil {
				t.Fatalf("%+v: %v", n, err)
			}
		}
	}
	reopened := p.Open(t, nil)
	for i, n := range names {
		f, err := reopened.OpenVariant(ctx, n.sha, n.variant, n.edge)
		if err != nil {
			t.Fatalf("%+v: %v", n, err)
		}
		if !bytes.Equal(content(t, f), sample(byte(i), 1000+i)) {
			t.Errorf("%+v has another's bytes", n)
		}
	}
	f, err := storage.OpenDerivative(ctx, sha, 960)
	if err != nil {
		t.Fatal(err)
	}
	if got := content(t, f); string(got) != "plain" {
		t.Errorf("the plain derivative became %q", got)
	}
	_, err = storage.OpenVariant(ctx, other, "t1-0-0-10000-10000", 960)
	checkIs(t, "another's variant", err, media.ErrNotFound)
	_, err = storage.OpenDerivative(ctx, other, 1)
	checkIs(t, "the plain one of a variant", err, media.ErrNotFound)
	for _, bad := range []string{"", "1", "-", "960", "../../x", "t/1", "T1", "t 1", "t\x00", "t.jpg", "é", strings.Repeat("v", 65)} {
		checkIs(t, "PutVariant "+bad, storage.PutVariant(ctx, sha, bad, 960, []byte("x")), media.ErrBadName)
		_, err := storage.OpenVariant(ctx, sha, bad, 960)
		checkIs(t, "OpenVariant "+bad, err, media.ErrBadName)
	}
	checkIs(t, "no bytes", storage.PutVariant(ctx, sha, "t", 1, nil), media.ErrEmpty)
	checkIs(t, "no edge", storage.PutVariant(ctx, sha, "t", 0, []byte("x")), media.ErrBadName)
	checkIs(t, "no hash", storage.PutVariant(ctx, "ab", "t", 1, []byte("x")), media.ErrBadName)
	checkOriginals(t, storage)
	checkNoLeftovers(t, p)
}

func (s suite) each(t *testing.T) {
	storage := s.newPlace(t).Open(t, nil)
	want := map[string]int64{}
	for i := range 40 {
		stored := mustPut(t, storage, sample(byte(i), 10+i))
		want[stored.SHA256] = stored.Bytes
	}
	var names []string
	err := storage.Each(context.Background(), func(sha string, n int64) error {
		names = append(names, sha)
		if want[sha] != n {
			t.Errorf("%s: %d bytes, want %d", sha, n, want[sha])
		}
		return nil
	})
	if err != nil || len(names) != len(want) || !slices.IsSorted(names) {
		t.Errorf("Each: %v, %d of %d, sorted %v", err, len(names), len(want), slices.IsSorted(names))
	}
	stop := errors.New("enough")
	seen := 0
	err = storage.Each(context.Background(), func(string, int64) error { seen++; return stop })
	checkIs(t, "Each", err, stop)
	if seen != 1 {
		t.Errorf("Each went on %d times after an error", seen-1)
	}
	cancelled, cancel := context.WithCancel(context.Background())
	cancel()
	checkIs(t, "Each", storage.Each(cancelled, func(string, int64) error { return nil }), context.Canceled)
}

func (s suite) verify(t *testing.T) {
	p := s.newPlace(t)
	storage := p.Open(t, nil)
	ctx := context.Background()
	good, bad := mustPut(t, storage, sample(1, 70_000)), mustPut(t, storage, sample(2, 70_000))
	p.Spoil(t, bad.SHA256)
	if err := storage.Verify(ctx, good.SHA256); err != nil {
		t.Errorf("Verify of a good original: %v", err)
	}
	checkIs(t, "Verify of a spoiled one", storage.Verify(ctx, bad.SHA256), media.ErrCorrupt)
}

func (s suite) remove(t *testing.T) {
	p := s.newPlace(t)
	storage := p.Open(t, nil)
	ctx := context.Background()
	a, b := sample(1, 5000), sample(2, 5000)
	shaA, shaB := mustPut(t, storage, a).SHA256, mustPut(t, storage, b).SHA256
	for _, edge := range []int{320, 960} {
		for _, sha := range []string{shaA, shaB} {
			if err := storage.PutDerivative(ctx, sha, edge, []byte("x")); err != nil {
				t.Fatal(err)
			}
			if err := storage.PutVariant(ctx, sha, "t1", edge, []byte("x")); err != nil {
				t.Fatal(err)
			}
		}
	}
	if removed, err := storage.Remove(ctx, shaA, time.Now().Add(-time.Hour)); removed || err != nil {
		t.Errorf("Remove of what was put just now = %v, %v", removed, err)
	}
	checkOriginals(t, storage, a, b)
	later := time.Now().Add(time.Hour)
	if removed, err := storage.Remove(ctx, shaA, later); !removed || err != nil {
		t.Errorf("Remove = %v, %v", removed, err)
	}
	checkOriginals(t, storage, b)
	_, err := storage.OpenDerivative(ctx, shaA, 320)
	checkIs(t, "derivative of what was removed", err, media.ErrNotFound)
	_, err = storage.OpenVariant(ctx, shaA, "t1", 320)
	checkIs(t, "variant of what was removed", err, media.ErrNotFound)
	v, err := storage.OpenVariant(ctx, shaB, "t1", 960)
	if err != nil {
		t.Errorf("another's variant: %v", err)
	} else {
		content(t, v)
	}
	f, err := storage.OpenDerivative(ctx, shaB, 320)
	if err != nil {
		t.Errorf("another's derivative: %v", err)
	} else {
		content(t, f)
	}
	if removed, err := storage.Remove(ctx, shaA, later); removed || err != nil {
		t.Errorf("Remove of nothing = %v, %v", removed, err)
	}
	mustPut(t, storage, a) // and it can come back
	checkOriginals(t, storage, a, b)
	// A Put of bytes that are there starts their age anew.
	between := time.Now()
	mustPut(t, storage, b)
	if removed, err := storage.Remove(ctx, shaB, between); removed || err != nil {
		t.Errorf("Remove of what was put again just now = %v, %v", removed, err)
	}
}

// together: many put the same bytes and others at once, from two openings of
// the place, as two processes would.
func (s suite) together(t *testing.T) {
	p := s.newPlace(t)
	storages := []media.Storage{p.Open(t, nil), p.Open(t, nil)}
	same := sample(1, 1<<20)
	all := [][]byte{same}
	var work sync.WaitGroup
	for i := range 16 {
		storage := storages[i%2]
		own := sample(byte(10+i), 50_000)
		all = append(all, own)
		work.Go(func() {
			for _, b := range [][]byte{same, own, same} {
				stored, err := storage.Put(context.Background(), bytes.NewReader(b), enough)
				if err != nil || stored.SHA256 != hashOf(b) {
					t.Errorf("Put = %+v, %v", stored, err)
				}
				// What is acknowledged is there, for whoever asks.
				if err := storages[(i+1)%2].Verify(context.Background(), hashOf(b)); err != nil {
					t.Errorf("Verify after Put: %v", err)
				}
			}
		})
	}
	work.Wait()
	checkOriginals(t, storages[0], all...)
	checkNoLeftovers(t, p)
}
