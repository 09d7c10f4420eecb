package server_test

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"farbay/journal"
	"farbay/media"
	"farbay/server/servertest"
)

// The connection dies in the middle of the second of three files, closed or
// cut: the first is safe, of the second and third nothing is there. Sent again,
// the first is noticed.
func TestUpload_DeadConnection(t *testing.T) {
	for _, cut := range []bool{false, true} {
		s := servertest.New(t)
		build, _ := s.Agreed("Heron", s.Owner)
		floor := s.As(s.Floor)
		at := "/builds/" + string(build) + "/photos"
		files := []file{{"a.jpg", servertest.JPEG(t, 1)}, {"b.jpg", grainyJPEG(t, 600, 400, 1)}, {"c.jpg", servertest.JPEG(t, 2)}}
		body := multipartForm(nil, files...)
		half := bytes.Index(body, files[1].body) + len(files[1].body)/2

		base, err := url.Parse(s.URL)
		if err != nil {
			t.Fatal(err)
		}
		conn, err := net.Dial("tcp", base.Host)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(conn, "POST %s HTTP/1.1\r\nHost: %s\r\nOrigin: %s\r\nContent-Type: multipart/form-data; boundary=%s\r\nContent-Length: %d\r\n",
			at, base.Host, s.URL, boundary, len(body))
		for _, cookie := range floor.HTTP.Jar.Cookies(base) {
			fmt.Fprintf(conn, "Cookie: %s=%s\r\n", cookie.Name, cookie.Value)
		}
		if _, err := conn.Write(append([]byte("\r\n"), body[:half]...)); err != nil {
			t.Fatal(err)
		}
		until(t, "receiving the second file", func() bool { return len(originals(t, s)) == 1 && !s.App.Working() && len(unfinished(t, s)) == 1 })
		if cut {
			// Linger 0 makes close send a reset, as when the phone is gone.
			if err := conn.(*net.TCPConn).SetLinger(0); err != nil {
				t.Fatal(err)
			}
			err = conn.Close()
		} else {
			err = conn.(*net.TCPConn).CloseWrite()
		}
		if err != nil {
			t.Fatal(err)
		}
		if !cut {
			// Who still listens is told.
			r, err := http.ReadResponse(bufio.NewReader(conn), nil)
			if err != nil {
				t.Fatal(err)
			}
			page, err := io.ReadAll(r.Body)
			if err != nil || r.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(string(page), "The connection broke off. Photos that had arrived are safe") {
				t.Errorf("answered with %d, %v: %s", r.StatusCode, err, servertest.Words(string(page)))
			}
			if err := conn.Close(); err != nil {
				t.Fatal(err)
			}
		}
		until(t, "the end of the request", func() bool { return strings.Contains(s.Log.All(), "path="+at+" ") })
		checkStored(t, s, files[0])
		if n := countPhotos(t, s.App, build); n != 1 {
			t.Errorf("cut %v: %d photos are recorded, want the first", cut, n)
		}
		a := sendPhotos(t, floor, build, files...)
		if !a.Photos[0].Duplicate || a.Photos[1].Duplicate || a.Photos[2].Duplicate || a.Photos[1].ID == "" || a.Photos[2].ID == "" {
			t.Errorf("cut %v: sent again, %+v", cut, a)
		}
		checkStored(t, s, files...)
	}
}

// smallDisk mounts a file system of so many bytes, or skips.
func smallDisk(t *testing.T, bytes int) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, fmt.Sprintf("size=%d", bytes)); err != nil {
		t.Skipf("skipped: no small file system can be mounted here (%v); that takes root", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, 0); err != nil {
			t.Errorf("unmount: %v", err)
		}
	})
	return dir
}

// fillDisk writes a file until there is no room but so many bytes, and returns
// the function that makes room again.
func fillDisk(t *testing.T, dir string, leave int64) (free func()) {
	t.Helper()
	at := filepath.Join(dir, "filler")
	f, err := os.Create(at)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	var size int64
	for err == nil {
		var n int
		n, err = f.Write(make([]byte, 4096))
		size += int64(n)
	}
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
	if err := f.Truncate(size - leave); err != nil {
		t.Fatal(err)
	}
	return func() {
		if err := os.Remove(at); err != nil {
			t.Fatal(err)
		}
	}
}

// A full disk, and one that fills up in the middle of a photo: the sender is
// told, nothing half is stored, what was there stays, and once there is room
// the same sending works.
func TestUpload_DiskFull(t *testing.T) {
	dir := smallDisk(t, 16<<20)
	if err := os.Mkdir(filepath.Join(dir, "data"), 0o700); err != nil {
		t.Fatal(err)
	}
	s := servertest.Start(t, filepath.Join(dir, "data"), servertest.NewClock())
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	at := "/builds/" + string(build) + "/photos"
	before := goodFiles(t, 1, 1)[0]
	sendPhotos(t, floor, build, before)
	s.Settle()
	const says = "The shop's disk is full, so this photo was not stored. Please keep it and tell the office."

	large := file{"IMG_9.jpg", grainyJPEG(t, 2400, 1600, 9)}
	if len(large.body) < 2<<20 {
		t.Fatalf("the large photo has only %d bytes", len(large.body))
	}
	free := fillDisk(t, dir, 1<<20)
	r := postParts(floor, at, bytes.NewReader(multipartForm(nil, large)), asData).Status(http.StatusServiceUnavailable)
	if a := answerOf(t, r); len(a.Photos) != 1 || a.Photos[0].Error != says {
		t.Errorf("in the middle: answered with %s", r.Body)
	}
	wholeSentence(t, says)
	checkStored(t, s, before)
	free()

	free = fillDisk(t, dir, 0)
	a := answerOf(t, postParts(floor, at, bytes.NewReader(multipartForm(nil, goodFiles(t, 2, 20)...)), asData).Status(http.StatusOK))
	for _, p := range a.Photos {
		if p.Error != says {
			t.Errorf("full: answered with %+v", p)
		}
	}
	postParts(floor, at, bytes.NewReader(multipartForm(nil, goodFiles(t, 1, 20)...))).Status(http.StatusServiceUnavailable).Says("One file was not taken").Says(quoted(says))
	checkStored(t, s, before)
	if n := countPhotos(t, s.App, build); n != 1 {
		t.Errorf("%d photos are recorded", n)
	}
	free()
	a = sendPhotos(t, floor, build, goodFiles(t, 2, 20)...)
	for _, p := range a.Photos {
		if p.ID == "" || p.Duplicate {
			t.Errorf("with room again: %+v", p)
		}
	}
	checkStored(t, s, append(goodFiles(t, 2, 20), before)...)
	s.Settle()
	floor.Get(a.Photos[0].Thumb).Status(http.StatusOK)
}

// faulty is a storage whose reads or derivatives fail as a disk's do.
type faulty struct {
	media.Storage
	read, write error
}

func (f *faulty) Open(ctx context.Context, sha string) (media.File, error) {
	file, err := f.Storage.Open(ctx, sha)
	return faultyFile{file, f.read}, err
}

func (f *faulty) PutDerivative(ctx context.Context, sha string, edge int, data []byte) error {
	if f.write != nil {
		return f.write
	}
	return f.Storage.PutDerivative(ctx, sha, edge, data)
}

type faultyFile struct {
	media.File
	fault error
}

func (f faultyFile) ReadAt(b []byte, off int64) (int, error) {
	if f.fault != nil {
		return 0, f.fault
	}
	return f.File.ReadAt(b, off)
}

// A disk that is full or fails for a while does not end a photo: making its
// sizes is tried again, and works then.
func TestDerive_FaultsPass(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	p := s.Photo(build, 1)
	s.Settle()
	disk := &faulty{Storage: s.App.Storage()}
	in := s.App.Intake()
	in.Storage = disk
	for _, f := range []faulty{{read: syscall.EIO}, {write: media.ErrDiskFull}} {
		disk.read, disk.write = f.read, f.write
		if err := in.Derive(context.Background(), p); err == nil || journal.CodeOf(err) != journal.Internal {
			t.Errorf("a fault of the disk ends as %v", err)
		}
		if now := photoOf(t, s, build, p.ID); now.State == journal.PhotoFailed {
			t.Errorf("the photo is given up: %s", now.Fault)
		}
	}
	disk.read, disk.write = nil, nil
	if err := in.Derive(context.Background(), p); err != nil || photoOf(t, s, build, p.ID).State != journal.PhotoReady {
		t.Errorf("without the fault: %v", err)
	}
}
