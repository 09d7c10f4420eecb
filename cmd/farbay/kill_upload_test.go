package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server"
)

// Resumable uploads when the process is killed (promise 4): in the middle of the
// bytes, and right after the last of them. Started again, the server knows how
// far it came, and the upload ends as one photo.

// tusSend sends a request of the tus protocol, version 1.0.0
// (https://tus.io/protocols/resumable-upload), as the floor.
func (k *killed) tusSend(method, address string, body io.Reader, pairs ...string) (*http.Response, error) {
	k.t.Helper()
	r, err := http.NewRequest(method, address, body)
	k.ok(err)
	r.Header.Set("Tus-Resumable", "1.0.0")
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if body != nil {
		r.Header.Set("Content-Type", "application/offset+octet-stream")
	}
	for i := 0; i < len(pairs); i += 2 {
		r.Header.Set(pairs[i], pairs[i+1])
	}
	answer, err := k.clients[k.floor.ID].Do(r)
	if err != nil {
		return nil, err
	}
	said, err := io.ReadAll(answer.Body)
	answer.Body = io.NopCloser(bytes.NewReader(said))
	return answer, errors.Join(err, answer.Body.Close())
}

// offset asks how far an upload has come; what it became is in the answer.
func (k *killed) offset(address string) (int, http.Header) {
	k.t.Helper()
	answer, err := k.tusSend(http.MethodHead, address, nil)
	k.ok(err)
	n, err := strconv.Atoi(answer.Header.Get("Upload-Offset"))
	if err != nil || answer.StatusCode != http.StatusOK {
		k.t.Fatalf("HEAD answers %d: %v", answer.StatusCode, answer.Header)
	}
	return n, answer.Header
}

// endless gives its bytes, then calls at, and then fails: the sender's line is
// dead, as its server is.
type endless struct {
	io.Reader
	at func()
}

func (r endless) Read(b []byte) (int, error) {
	n, err := r.Reader.Read(b)
	if err == io.EOF {
		r.at()
		err = io.ErrUnexpectedEOF
	}
	return n, err
}

// arrived waits until a file of an open upload has so many bytes, or is gone as
// it was taken in.
func (k *killed) arrived(part string, bytes int64) {
	tick, limit := time.NewTicker(200*time.Microsecond), time.NewTimer(time.Minute)
	defer tick.Stop()
	defer limit.Stop()
	for {
		there, err := os.Stat(part)
		if os.IsNotExist(err) || err == nil && there.Size() >= bytes {
			return
		}
		select {
		case <-tick.C:
		case <-limit.C:
			k.t.Errorf("%s does not reach %d bytes: %v", part, bytes, err)
			return
		}
	}
}

// uploadRound sends a photo to a server that is killed when after bytes have
// arrived, and a while later; then it starts the server again and brings the
// upload to its end. It returns how many bytes had been kept, and the photo.
func (k *killed) uploadRound(photo []byte, after int, while time.Duration) (kept int, id string) {
	k.t.Helper()
	process := startServe(k.t, k.binary, k.dir)
	begun, err := k.tusSend(http.MethodPost, process.url+"/builds/"+string(k.build)+"/uploads", nil, "Upload-Length", strconv.Itoa(len(photo)))
	k.ok(err)
	path := begun.Header.Get("Location")
	if begun.StatusCode != http.StatusCreated || !strings.HasPrefix(path, "/") {
		k.t.Fatalf("the upload begins with %d: %v", begun.StatusCode, begun.Header)
	}
	part := filepath.Join(k.dir, "incoming-uploads", "open", filepath.Base(path)+".part")
	kill := func() {
		// What the client and the server hold in their buffers has not arrived.
		k.arrived(part, int64(min(after, len(photo))))
		<-time.After(while)
		if err := process.cmd.Process.Kill(); err != nil {
			k.t.Error(err)
		}
		<-process.ended
	}
	var killing sync.WaitGroup
	var body io.Reader = bytes.NewReader(photo)
	if after < len(photo) {
		body = endless{bytes.NewReader(photo[:after+buffered]), kill}
	} else {
		killing.Go(kill)
	}
	if _, err := k.tusSend(http.MethodPatch, process.url+path, body, "Upload-Offset", "0"); err == nil && after < len(photo) {
		k.t.Error("a server that is gone answers")
	}
	killing.Wait()
	there, err := os.Stat(part)
	whole := os.IsNotExist(err)
	if err != nil && !whole {
		k.t.Fatal(err)
	}

	process = startServe(k.t, k.binary, k.dir)
	kept, header := k.offset(process.url + path)
	if !whole && int64(kept) != there.Size() {
		k.t.Errorf("it goes on at %d, and %d bytes are kept", kept, there.Size())
	}
	if kept < len(photo) {
		if header.Get("Photo-Id") != "" {
			k.t.Errorf("%d of %d bytes are a photo: %v", kept, len(photo), header)
		}
		answer, err := k.tusSend(http.MethodPatch, process.url+path, bytes.NewReader(photo[kept:]), "Upload-Offset", strconv.Itoa(kept))
		k.ok(err)
		if answer.StatusCode != http.StatusNoContent {
			said, err := io.ReadAll(answer.Body)
			k.t.Fatalf("the rest, from %d of %d bytes, is answered with %d: %s %v", kept, len(photo), answer.StatusCode, said, err)
		}
		header = answer.Header
	}
	id = header.Get("Photo-Id")
	if n, again := k.offset(process.url + path); n != len(photo) || id == "" || again.Get("Photo-Id") != id {
		k.t.Errorf("it ends as photo %q; asked again it has %d of %d bytes and is %q", id, n, len(photo), again.Get("Photo-Id"))
	}
	if err := process.cmd.Process.Kill(); err != nil {
		k.t.Error(err)
	}
	<-process.ended
	return kept, id
}

// buffered is more than what net/http and the server keep in hand before it is
// written.
const buffered = 64 << 10

func TestKilledProcess_Upload(t *testing.T) {
	if testing.Short() {
		t.Skip("starts and kills a process several times")
	}
	binary, err := farbayBinary()
	if err != nil {
		t.Fatal(err)
	}
	k := &killed{t: t, binary: binary, dir: t.TempDir(), rand: rand.New(rand.NewPCG(1, 2)), clients: map[journal.PersonID]*http.Client{}}
	k.inside(func(app *server.App) {
		k.open(app)
		k.clients[k.floor.ID] = k.client(app, k.floor)
	})
	noise := badLink{wide: 1200, high: 800}
	photos := map[string]string{} // id by SHA-256
	send := func(after func(length int) int, while time.Duration) (kept, length int) {
		photo := noise.photo(t, uint64(len(photos)))
		kept, id := k.uploadRound(photo, after(len(photo)), while)
		sum := sha256.Sum256(photo)
		photos[hex.EncodeToString(sum[:])] = id
		return kept, len(photo)
	}
	for _, eighth := range []int{1, 4, 6} {
		kept, length := send(func(length int) int { return length * eighth / 8 }, 0)
		if kept < length*eighth/8 || kept >= length {
			t.Errorf("killed after %d eighths: %d of %d bytes are kept", eighth, kept, length)
		}
	}
	// Before, while and after the photo is put away, as it happens.
	for _, while := range []time.Duration{0, time.Millisecond, 4 * time.Millisecond, 15 * time.Millisecond, 60 * time.Millisecond} {
		if kept, length := send(func(length int) int { return length }, while); kept != length {
			t.Errorf("killed %s after the last byte: %d of %d bytes are kept", while, kept, length)
		}
	}
	if out, err := exec.Command(binary, "check", "--data", k.dir).CombinedOutput(); err != nil {
		t.Fatalf("farbay check: %v\n%s", err, out)
	}
	k.inside(func(app *server.App) {
		k.ok(app.Steps().Store.Read(t.Context(), func(r flow.Reads) error {
			for sha, id := range photos {
				k.ok(app.Storage().Verify(t.Context(), sha))
				p, err := r.PhotoBySHA(k.build, sha)
				if err != nil || string(p.ID) != id {
					t.Errorf("%s is photo %q (%v), and %q was said", sha, p.ID, err, id)
				}
			}
			n, err := r.CountPhotos(k.build, true)
			if n != len(photos) {
				t.Errorf("%d photos are recorded, want %d", n, len(photos))
			}
			return err
		}))
	})
	left, err := filepath.Glob(filepath.Join(k.dir, "incoming-uploads", "open", "*"))
	if err != nil || len(left) > 0 {
		t.Errorf("files are left: %q, %v", left, err)
	}
}
