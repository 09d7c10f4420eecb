package server_test

import (
	"bytes"
	"fmt"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/server/servertest"
)

// cutOff sends the head of a PATCH and some of its bytes, and returns the
// connection.
func cutOff(t *testing.T, s *servertest.Server, c *servertest.Client, at string, from int, chunk []byte, length int) net.Conn {
	t.Helper()
	base, err := url.Parse(s.URL)
	if err != nil {
		t.Fatal(err)
	}
	conn, err := net.Dial("tcp", base.Host)
	if err != nil {
		t.Fatal(err)
	}
	head := fmt.Sprintf("PATCH %s HTTP/1.1\r\nHost: %s\r\nTus-Resumable: 1.0.0\r\nUpload-Offset: %d\r\nContent-Type: application/offset+octet-stream\r\nContent-Length: %d\r\n",
		at, base.Host, from, length)
	for _, cookie := range c.HTTP.Jar.Cookies(base) {
		head += fmt.Sprintf("Cookie: %s=%s\r\n", cookie.Name, cookie.Value)
	}
	if _, err := conn.Write(append([]byte(head+"\r\n"), chunk...)); err != nil {
		t.Fatal(err)
	}
	return conn
}

// The connection breaks off half-way, reset, closed, or only silent: what
// arrived is kept, the rest is sent from there, and the silent connection does
// not stand in the way.
func TestResumable_BrokenConnection(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	for i, how := range []string{"reset", "closed", "silent"} {
		photo := file{"a.jpg", grainyJPEG(t, 300, 200, uint64(i))}
		half := len(photo.body) / 2
		at := begin(t, floor, build, photo.name, len(photo.body))
		conn := cutOff(t, s, floor, at, 0, photo.body[:half], len(photo.body))
		part := filepath.Join(s.Dir, "incoming-uploads", "open", filepath.Base(at)+".part")
		until(t, "receiving the first half", func() bool {
			there, err := os.Stat(part)
			return err == nil && there.Size() == int64(half)
		})
		if how == "reset" {
			if err := conn.(*net.TCPConn).SetLinger(0); err != nil {
				t.Fatal(err)
			}
		}
		if how != "silent" {
			if err := conn.Close(); err != nil {
				t.Fatal(err)
			}
		}
		if n := offset(t, floor, at); n != half {
			t.Fatalf("%s: %d bytes are kept, want %d", how, n, half)
		}
		patch(floor, at, half, photo.body[half:]).Status(http.StatusNoContent)
		sum := sha256sum(t, photo.body)
		if originals(t, s)[sum] == "" {
			t.Errorf("%s: the photo is not stored", how)
		}
		if how == "silent" {
			if err := conn.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// Two requests send the same bytes at once: one of them, or each a part, and
// the photo is there once.
func TestResumable_TwiceAtOnce(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	for i := range 8 {
		photo := file{"a.jpg", grainyJPEG(t, 300, 200, uint64(i))}
		at := begin(t, floor, build, photo.name, len(photo.body))
		var both sync.WaitGroup
		for range 2 {
			both.Go(func() {
				r := tus(floor, http.MethodPatch, at, bytes.NewReader(photo.body), "Upload-Offset", "0")
				switch r.StatusCode {
				case http.StatusNoContent, http.StatusConflict, http.StatusBadRequest:
				default:
					t.Errorf("status %d: %s", r.StatusCode, r.Body)
				}
			})
		}
		both.Wait()
		if n := offset(t, floor, at); n < len(photo.body) {
			patch(floor, at, n, photo.body[n:]).Status(http.StatusNoContent)
		}
		if originals(t, s)[sha256sum(t, photo.body)] == "" {
			t.Errorf("photo %d is not stored", i)
		}
		if n := countPhotos(t, s.App, build); n != i+1 {
			t.Errorf("%d photos are recorded, want %d", n, i+1)
		}
	}
}

// The server stops half-way, and once with all bytes there and the photo not
// yet taken in, as a crash leaves it: the first goes on where it was, the second
// is taken in at the start or when asked for.
func TestResumable_Restart(t *testing.T) {
	dir, clock := t.TempDir(), servertest.NewClock()
	var build journal.BuildID
	var cookies http.CookieJar
	half, whole := file{"half.jpg", servertest.JPEG(t, 1)}, file{"whole.jpg", servertest.JPEG(t, 2)}
	var halfAt, wholeAt string
	t.Run("before", func(t *testing.T) {
		s := servertest.Start(t, dir, clock)
		build, _ = s.Agreed("Heron", s.Owner)
		floor := s.As(s.Floor)
		cookies = floor.HTTP.Jar
		halfAt, wholeAt = begin(t, floor, build, half.name, len(half.body)), begin(t, floor, build, whole.name, len(whole.body))
		patch(floor, halfAt, 0, half.body[:100]).Status(http.StatusNoContent)
		patch(floor, wholeAt, 0, whole.body[:100]).Status(http.StatusNoContent)
	})
	// The last bytes were written, and then there was no more power.
	part := filepath.Join(dir, "incoming-uploads", "open", filepath.Base(wholeAt)+".part")
	if err := os.WriteFile(part, whole.body, 0o600); err != nil {
		t.Fatal(err)
	}
	s := servertest.Start(t, dir, clock)
	floor := s.Client()
	for _, cookie := range cookies.Cookies(&url.URL{Scheme: "http", Host: "127.0.0.1"}) {
		base, err := url.Parse(s.URL)
		if err != nil {
			t.Fatal(err)
		}
		floor.HTTP.Jar.SetCookies(base, []*http.Cookie{cookie})
	}
	until(t, "taking in what was whole", func() bool { return countPhotos(t, s.App, build) == 1 })
	r := tus(floor, http.MethodHead, wholeAt, nil).Status(http.StatusOK)
	if p := photoOf(t, s, build, journal.PhotoID(r.Header.Get("Photo-Id"))); p.ByID != s.Floor.ID || p.FileName != whole.name {
		t.Errorf("taken in as %+v", p)
	}
	if n := offset(t, floor, halfAt); n != 100 {
		t.Errorf("%d bytes are kept, want 100", n)
	}
	patch(floor, halfAt, 100, half.body[100:]).Status(http.StatusNoContent)
	checkStored(t, s, half, whole)

	// The same without a restart, when the sender asks first.
	third := file{"third.jpg", servertest.JPEG(t, 3)}
	at := begin(t, floor, build, third.name, len(third.body))
	part = filepath.Join(dir, "incoming-uploads", "open", filepath.Base(at)+".part")
	if err := os.WriteFile(part, third.body, 0o600); err != nil {
		t.Fatal(err)
	}
	if id := tus(floor, http.MethodHead, at, nil).Status(http.StatusOK).Header.Get("Photo-Id"); id == "" {
		t.Error("HEAD does not finish a whole upload")
	}
	checkStored(t, s, half, whole, third)
}

// A disk that fills up: the sender is told, what arrived is kept, and with room
// again it goes on from there.
func TestResumable_DiskFull(t *testing.T) {
	dir := smallDisk(t, 16<<20)
	if err := os.Mkdir(filepath.Join(dir, "data"), 0o700); err != nil {
		t.Fatal(err)
	}
	s := servertest.Start(t, filepath.Join(dir, "data"), servertest.NewClock())
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	large := file{"IMG_9.jpg", grainyJPEG(t, 2400, 1600, 9)}
	at := begin(t, floor, build, large.name, len(large.body))
	const says = "The shop's disk is full, so this file was not stored to its end. Please keep it and tell the office; it goes on where it stopped."

	free := fillDisk(t, dir, 1<<20)
	// Little more than there is room for: what net/http still reads of a request
	// that was answered early, so that the answer is not lost to a reset.
	r := patch(floor, at, 0, large.body[:1<<20+128<<10]).Status(http.StatusServiceUnavailable)
	if said := failureOf(t, r); said != says || r.Header.Get("Retry-After") == "" {
		t.Errorf("answered with %q, %v", said, r.Header)
	}
	n := offset(t, floor, at)
	if n == 0 || n >= 1<<20+128<<10 {
		t.Errorf("%d of %d bytes are kept", n, 1<<20+128<<10)
	}
	free()

	// All bytes are there, and no room to put the photo away.
	patch(floor, at, n, large.body[n:len(large.body)-1]).Status(http.StatusNoContent)
	free = fillDisk(t, dir, 64<<10)
	failureOf(t, patch(floor, at, len(large.body)-1, large.body[len(large.body)-1:]).Status(http.StatusServiceUnavailable))
	tus(floor, http.MethodHead, at, nil).Status(http.StatusServiceUnavailable)
	free()
	if id := tus(floor, http.MethodHead, at, nil).Status(http.StatusOK).Header.Get("Photo-Id"); id == "" {
		t.Error("with room again the photo is not taken in")
	}
	checkStored(t, s, large)
}

// Uploads nobody comes back to are swept after their time, and one person
// cannot begin them without end.
func TestResumable_Limits(t *testing.T) {
	dir, clock := t.TempDir(), servertest.NewClock()
	t.Run("before", func(t *testing.T) {
		s := servertest.Start(t, dir, clock)
		build, _ := s.Agreed("Heron", s.Owner)
		floor := s.As(s.Floor)
		first := begin(t, floor, build, "a.jpg", 10)
		for range 199 {
			begin(t, floor, build, "a.jpg", 10)
		}
		r := tus(floor, http.MethodPost, uploadsAt(build), nil, "Upload-Length", "10").Status(http.StatusTooManyRequests)
		if said := failureOf(t, r); !strings.HasPrefix(said, "You began to send 200 files that have not arrived whole.") {
			t.Errorf("the 201st is answered with %q", said)
		}
		begin(t, s.As(s.Office), build, "a.jpg", 10) // counted for each person
		tus(floor, http.MethodDelete, first, nil).Status(http.StatusNoContent)
		begin(t, floor, build, "a.jpg", 10)
		clock.Pass(7*24*time.Hour - time.Second)
		tus(floor, http.MethodHead, first, nil).Status(http.StatusNotFound)
		if n := len(openUploads(t, s)); n != 2*201 {
			t.Errorf("%d files before their time", n)
		}
	})
	// Its bytes without a record, as a crash can leave them.
	if err := os.WriteFile(filepath.Join(dir, "incoming-uploads", "open", strings.Repeat("b", 26)+".part"), []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	clock.Pass(time.Minute)
	s := servertest.Start(t, dir, clock)
	until(t, "the sweep", func() bool { return len(openUploads(t, s)) == 0 })
}
