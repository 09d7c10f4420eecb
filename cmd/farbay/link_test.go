package main

import (
	"errors"
	"math/rand/v2"
	"net"
	"sync"
	"testing"
	"time"
)

// link is the way from a phone to the server through a steel building, as a
// proxy of TCP connections that holds bytes up, loses some, and is cut.
//
// It works on streams, so a lost segment is played by what TCP makes of it: the
// segment is sent and counted a second time, after a retransmission timeout
// (RFC 6298: at least the round-trip time; Linux waits 200 ms or more).
type link struct {
	t        testing.TB
	listener net.Listener
	server   string
	bits     float64 // per second, each way; 0 for no limit
	loss     float64 // share of segments of 1,460 bytes

	mu     sync.Mutex
	up     *sync.Cond
	state  linkState
	conns  map[net.Conn]bool
	free   [2]time.Time // when each way is free again
	sent   int64        // bytes from the phone, with those sent again
	closed bool
}

type linkState int

const (
	linkUp     linkState = iota
	linkReset            // every connection is reset, new ones are refused
	linkSilent           // nothing passes, nobody is told
)

const segment = 1460 // bytes of one TCP segment in an Ethernet frame

// newLink opens the way to a server's host and port.
func newLink(t testing.TB, server string, bits, loss float64) *link {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	l := &link{t: t, listener: listener, server: server, bits: bits, loss: loss, conns: map[net.Conn]bool{}}
	l.up = sync.NewCond(&l.mu)
	var running sync.WaitGroup
	running.Go(func() { l.accept(&running) })
	t.Cleanup(func() {
		l.mu.Lock()
		l.closed = true
		l.mu.Unlock()
		if err := listener.Close(); err != nil {
			t.Error(err)
		}
		l.set(linkReset)
		running.Wait()
	})
	return l
}

// URL is the address of the server by this way.
func (l *link) URL() string { return "http://" + l.listener.Addr().String() }

// set changes how the link is; a link that is not silent any more goes on with
// the connections that waited.
func (l *link) set(state linkState) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.state = state
	if state == linkReset {
		for conn := range l.conns {
			l.drop(conn)
		}
	}
	l.up.Broadcast()
}

// drop ends a connection by a reset, as a peer does that has forgotten it.
func (l *link) drop(conn net.Conn) {
	if err := errors.Join(conn.(*net.TCPConn).SetLinger(0), conn.Close()); err != nil && !errors.Is(err, net.ErrClosed) {
		l.t.Error(err)
	}
	delete(l.conns, conn)
}

func (l *link) accept(running *sync.WaitGroup) {
	for {
		phone, err := l.listener.Accept()
		if err != nil {
			if !errors.Is(err, net.ErrClosed) {
				l.t.Error(err)
			}
			return
		}
		if !l.take(phone) {
			continue
		}
		server, err := net.Dial("tcp", l.server)
		if err != nil {
			l.end(phone)
			continue
		}
		if !l.take(server) {
			l.end(phone)
			continue
		}
		running.Go(func() { l.pump(0, phone, server) })
		running.Go(func() { l.pump(1, server, phone) })
	}
}

// take adds a connection, unless the link is cut. Its buffers are kept small, so
// that what the proxy has read is what is on the way.
func (l *link) take(conn net.Conn) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.conns[conn] = true
	if l.state == linkReset || l.closed {
		l.drop(conn)
		return false
	}
	tcp := conn.(*net.TCPConn)
	if err := errors.Join(tcp.SetReadBuffer(32<<10), tcp.SetWriteBuffer(32<<10)); err != nil {
		l.t.Error(err)
	}
	return true
}

func (l *link) end(conns ...net.Conn) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, conn := range conns {
		if l.conns[conn] {
			l.drop(conn)
		}
	}
}

// pump carries bytes one way, 0 from the phone, until either side ends.
func (l *link) pump(way int, from, to net.Conn) {
	defer l.end(from, to)
	buffer := make([]byte, segment)
	for {
		n, err := from.Read(buffer)
		if n > 0 {
			if !l.pass(way, n) {
				return
			}
			if _, err := to.Write(buffer[:n]); err != nil {
				return
			}
		}
		if err != nil {
			return
		}
	}
}

// pass waits until a segment is over the link, and reports whether there still
// is one.
func (l *link) pass(way, bytes int) bool {
	times := 1
	late := time.Duration(0)
	for l.loss > 0 && rand.Float64() < l.loss {
		times++
		late += 200 * time.Millisecond
	}
	l.mu.Lock()
	if way == 0 {
		l.sent += int64(times * bytes)
	}
	now := time.Now()
	if l.free[way].Before(now) {
		l.free[way] = now
	}
	if l.bits > 0 {
		l.free[way] = l.free[way].Add(time.Duration(float64(times*bytes*8) / l.bits * float64(time.Second)))
	}
	until := l.free[way].Add(late)
	l.mu.Unlock()
	if wait := time.Until(until); wait > 0 {
		<-time.After(wait)
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	for l.state == linkSilent && !l.closed {
		l.up.Wait()
	}
	return l.state == linkUp && !l.closed
}

// bytesSent returns the bytes the phone has sent so far, with those sent again.
func (l *link) bytesSent() int64 {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.sent
}
