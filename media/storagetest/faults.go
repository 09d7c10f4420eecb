package storagetest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"syscall"
	"testing"
	"time"

	"farbay/media"
)

var errInjected = errors.New("injected fault")

// switched is a hook that counts steps once armed, and fails one of them.
type switched struct {
	armed bool
	steps []string
	fail  int // index of the step to fail; -1 for none
	done  bool
	err   error
}

func (h *switched) hook(step string) (error, bool) {
	if !h.armed {
		return nil, false
	}
	h.steps = append(h.steps, step)
	if len(h.steps)-1 == h.fail {
		return h.err, h.done
	}
	return nil, false
}

// eachFault runs act with each of its steps failing, lost and done, each time
// in a fresh place that before has prepared. act must return the injected
// error. Then check looks, with the fault gone, at the storage and again at the
// place opened anew.
func (s suite) eachFault(t *testing.T, before, act func(media.Storage) error, check func(testing.TB, media.Storage)) {
	prepare := func(tb testing.TB, h *switched) (Place, media.Storage) {
		p := s.newPlace(tb)
		storage := p.Open(tb, h.hook)
		if err := before(storage); err != nil {
			tb.Fatalf("before: %v", err)
		}
		h.armed = true
		return p, storage
	}
	dry := &switched{fail: -1}
	if _, storage := prepare(t, dry); true {
		if err := act(storage); err != nil {
			t.Fatalf("without a fault: %v", err)
		}
	}
	if len(dry.steps) == 0 {
		t.Fatal("no step went through the hook")
	}
	for i, step := range dry.steps {
		for _, done := range []bool{false, true} {
			name := fmt.Sprintf("%d_%s_lost", i, step)
			if done {
				name = fmt.Sprintf("%d_%s_done", i, step)
			}
			t.Run(name, func(t *testing.T) {
				h := &switched{fail: i, done: done, err: errInjected}
				p, storage := prepare(t, h)
				checkIs(t, "with the fault", act(storage), errInjected)
				h.armed = false
				check(t, storage)
				check(t, p.Open(t, nil))
				// Once the cause is gone, the same again succeeds.
				if err := act(storage); err != nil {
					t.Errorf("again, without the fault: %v", err)
				}
			})
		}
	}
}

func nothingBefore(media.Storage) error { return nil }

func putting(b []byte) func(media.Storage) error {
	return func(s media.Storage) error {
		_, err := s.Put(context.Background(), bytes.NewReader(b), enough)
		return err
	}
}

// wholeOrNothing checks that the original is there whole or not at all.
func wholeOrNothing(b []byte) func(testing.TB, media.Storage) {
	return func(tb testing.TB, s media.Storage) {
		tb.Helper()
		has, err := s.Has(context.Background(), hashOf(b))
		if err != nil {
			tb.Fatal(err)
		}
		if has {
			checkOriginals(tb, s, b)
		} else {
			checkOriginals(tb, s)
		}
	}
}

func (s suite) faultsOfPut(t *testing.T) {
	b := sample(1, 300<<10)
	s.eachFault(t, nothingBefore, putting(b), wholeOrNothing(b))
}

func (s suite) faultsOfPutAgain(t *testing.T) {
	b := sample(1, 300<<10)
	s.eachFault(t, putting(b), putting(b), func(tb testing.TB, s media.Storage) {
		tb.Helper()
		checkOriginals(tb, s, b)
	})
}

func (s suite) faultsOfPutDerivative(t *testing.T) {
	ctx := context.Background()
	sha := hashOf([]byte("photo"))
	before, after := sample(1, 200<<10), sample(2, 150<<10)
	put := func(b []byte) func(media.Storage) error {
		return func(s media.Storage) error { return s.PutDerivative(ctx, sha, 960, b) }
	}
	s.eachFault(t, put(before), put(after), func(tb testing.TB, s media.Storage) {
		tb.Helper()
		f, err := s.OpenDerivative(ctx, sha, 960)
		if err != nil {
			tb.Fatalf("the derivative is gone: %v", err)
		}
		if got := content(tb, f); !bytes.Equal(got, before) && !bytes.Equal(got, after) {
			tb.Errorf("the derivative is neither the old nor the new: %d bytes", len(got))
		}
	})
}

func (s suite) faultsOfPutVariant(t *testing.T) {
	ctx := context.Background()
	sha := hashOf([]byte("photo"))
	before, after := sample(1, 20<<10), sample(2, 15<<10)
	put := func(b []byte) func(media.Storage) error {
		return func(s media.Storage) error { return s.PutVariant(ctx, sha, "t1", 960, b) }
	}
	s.eachFault(t, put(before), put(after), func(tb testing.TB, s media.Storage) {
		tb.Helper()
		f, err := s.OpenVariant(ctx, sha, "t1", 960)
		if err != nil {
			tb.Fatalf("the variant is gone: %v", err)
		}
		if got := content(tb, f); !bytes.Equal(got, before) && !bytes.Equal(got, after) {
			tb.Errorf("the variant is neither the old nor the new: %d bytes", len(got))
		}
	})
}

func (s suite) faultsOfRemove(t *testing.T) {
	ctx := context.Background()
	b := sample(1, 5000)
	before := func(s media.Storage) error {
		if err := putting(b)(s); err != nil {
			return err
		}
		return s.PutDerivative(ctx, hashOf(b), 320, []byte("x"))
	}
	s.eachFault(t, before, func(s media.Storage) error {
		_, err := s.Remove(ctx, hashOf(b), time.Now().Add(time.Hour))
		return err
	}, wholeOrNothing(b))
}

// faultDiskFull: a full disk and a used-up quota can be told from other faults,
// and nothing is left of the photo that did not fit.
func (s suite) faultDiskFull(t *testing.T) {
	for _, cause := range []error{syscall.ENOSPC, syscall.EDQUOT} {
		p := s.newPlace(t)
		full := false
		storage := p.Open(t, func(step string) (error, bool) {
			if full && step == "write" {
				return cause, false
			}
			return nil, false
		})
		kept := sample(1, 300<<10)
		mustPut(t, storage, kept)
		full = true
		_, err := storage.Put(context.Background(), bytes.NewReader(sample(2, 300<<10)), enough)
		checkIs(t, "Put", err, media.ErrDiskFull)
		checkIs(t, "PutDerivative", storage.PutDerivative(context.Background(), hashOf(kept), 320, []byte("x")), media.ErrDiskFull)
		checkNoLeftovers(t, p)
		checkOriginals(t, storage, kept)
	}
}
