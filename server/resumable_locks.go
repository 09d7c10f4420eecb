package server

import (
	"context"
	"sync"

	"github.com/tus/tusd/v2/pkg/handler"
	"github.com/tus/tusd/v2/pkg/memorylocker"
)

// uploadLocks locks uploads so that one request at a time writes to each. Who
// holds a lock and is asked to give it up is told so only once it has begun to
// write, or has let go: tusd stops a request by closing its body, and reads the
// body without protection while the request is still setting it.
type uploadLocks struct {
	memory *memorylocker.MemoryLocker

	mu   sync.Mutex
	held map[string]*uploadLock // by the upload's id
}

func newUploadLocks() *uploadLocks {
	return &uploadLocks{memory: memorylocker.New(), held: map[string]*uploadLock{}}
}

// NewLock implements [handler.Locker].
func (l *uploadLocks) NewLock(id string) (handler.Lock, error) {
	lock, err := l.memory.NewLock(id)
	return &uploadLock{locks: l, id: id, lock: lock, begun: make(chan struct{})}, err
}

// writing says that the request which holds the upload's lock has begun to
// write.
func (l *uploadLocks) writing(id string) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if held := l.held[id]; held != nil {
		held.once.Do(func() { close(held.begun) })
	}
}

type uploadLock struct {
	locks *uploadLocks
	id    string
	lock  handler.Lock
	once  sync.Once
	begun chan struct{} // closed when it writes or has let go
}

// Lock implements [handler.Lock].
func (k *uploadLock) Lock(ctx context.Context, release func()) error {
	later := func() {
		go func() {
			<-k.begun
			release()
		}()
	}
	if err := k.lock.Lock(ctx, later); err != nil {
		return err
	}
	k.locks.mu.Lock()
	defer k.locks.mu.Unlock()
	k.locks.held[k.id] = k
	return nil
}

// Unlock implements [handler.Lock].
func (k *uploadLock) Unlock() error {
	k.locks.mu.Lock()
	if k.locks.held[k.id] == k {
		delete(k.locks.held, k.id)
	}
	k.once.Do(func() { close(k.begun) })
	k.locks.mu.Unlock()
	return k.lock.Unlock()
}
