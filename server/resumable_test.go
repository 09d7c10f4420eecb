package server_test

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/server"
	"farbay/server/servertest"
)

// Checks of the protocol are against "tus resumable upload protocol", version
// 1.0.0 (https://tus.io/protocols/resumable-upload), named by its headings.

// meta writes Upload-Metadata ("Creation"): pairs of key and base64 value.
func meta(pairs ...string) string {
	var all []string
	for i := 0; i < len(pairs); i += 2 {
		all = append(all, pairs[i]+" "+base64.StdEncoding.EncodeToString([]byte(pairs[i+1])))
	}
	return strings.Join(all, ",")
}

// tus sends a request of the protocol; pairs are headers.
func tus(c *servertest.Client, method, path string, body io.Reader, pairs ...string) *servertest.Reply {
	kind := ""
	if body != nil {
		kind = "application/offset+octet-stream"
	}
	return c.Send(method, path, kind, body, func(r *http.Request) {
		r.Header.Set("Tus-Resumable", "1.0.0")
		for i := 0; i < len(pairs); i += 2 {
			r.Header.Set(pairs[i], pairs[i+1])
		}
	})
}

func uploadsAt(build journal.BuildID) string { return "/builds/" + string(build) + "/uploads" }

// begin creates an upload and returns its address.
func begin(t *testing.T, c *servertest.Client, build journal.BuildID, name string, length int) string {
	t.Helper()
	r := tus(c, http.MethodPost, uploadsAt(build), nil, "Upload-Length", strconv.Itoa(length), "Upload-Metadata", meta("filename", name, "filetype", "image/jpeg")).Status(http.StatusCreated)
	at := r.Header.Get("Location")
	if !strings.HasPrefix(at, uploadsAt(build)+"/") {
		t.Fatalf("the upload's address is %q", at)
	}
	return at
}

func patch(c *servertest.Client, at string, offset int, chunk []byte) *servertest.Reply {
	return tus(c, http.MethodPatch, at, bytes.NewReader(chunk), "Upload-Offset", strconv.Itoa(offset))
}

// offset asks how far an upload has come.
func offset(t *testing.T, c *servertest.Client, at string) int {
	t.Helper()
	r := tus(c, http.MethodHead, at, nil).Status(http.StatusOK)
	n, err := strconv.Atoi(r.Header.Get("Upload-Offset"))
	if err != nil {
		t.Fatalf("%v in %v", err, r.Header)
	}
	if got := r.Header.Get("Cache-Control"); got != "no-store" { // "HEAD"
		t.Errorf("Cache-Control of HEAD is %q", got)
	}
	return n
}

// failureOf reads a refusal's sentence.
func failureOf(t *testing.T, r *servertest.Reply) string {
	t.Helper()
	var said struct{ Error string }
	if err := json.Unmarshal([]byte(r.Body), &said); err != nil {
		t.Fatalf("%s: %v", r.Body, err)
	}
	wholeSentence(t, said.Error)
	return said.Error
}

// openUploads returns the files of uploads under way.
func openUploads(t *testing.T, s *servertest.Server) []string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(s.Dir, "incoming-uploads", "open", "*"))
	if err != nil {
		t.Fatal(err)
	}
	return files
}

func TestResumable_Whole(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	options := tus(floor, http.MethodOptions, uploadsAt(build), nil).Status(http.StatusOK)
	for name, want := range map[string]string{ // "OPTIONS"
		"Tus-Version": "1.0.0", "Tus-Resumable": "1.0.0", "Tus-Extension": "creation,creation-with-upload,termination,expiration", "Tus-Max-Size": "1000000000",
	} {
		if got := options.Header.Get(name); got != want {
			t.Errorf("OPTIONS: %s is %q, want %q", name, got, want)
		}
	}
	photo := file{"IMG_1.jpg", grainyJPEG(t, 300, 200, 1)}
	half := len(photo.body) / 2
	at := begin(t, floor, build, photo.name, len(photo.body))
	r := patch(floor, at, 0, photo.body[:half]).Status(http.StatusNoContent)
	if got := r.Header.Get("Upload-Offset"); got != strconv.Itoa(half) {
		t.Errorf("after the first half Upload-Offset is %s", got)
	}
	// "Expiration": the date of RFC 9110, section 5.6.7.
	if until, err := http.ParseTime(r.Header.Get("Upload-Expires")); err != nil || !until.Equal(servertest.Begin.Add(7*24*time.Hour)) {
		t.Errorf("Upload-Expires: %s, %v", until, err)
	}
	if n := offset(t, floor, at); n != half {
		t.Errorf("HEAD says %d, want %d", n, half)
	}
	for _, wrong := range []int{0, half - 1, half + 1} { // "PATCH": 409 Conflict
		patch(floor, at, wrong, photo.body[half:]).Status(http.StatusConflict)
	}
	patch(floor, at, half, append(photo.body[half:], 'x')).Status(http.StatusRequestEntityTooLarge)
	last := patch(floor, at, half, photo.body[half:]).Status(http.StatusNoContent)
	id := last.Header.Get("Photo-Id")
	if id == "" || last.Header.Get("Photo-Duplicate") != "" || last.Header.Get("Photo-Thumb") != fmt.Sprintf("/builds/%s/photos/%s/320", build, id) {
		t.Errorf("the last answer's headers: %v", last.Header)
	}
	checkStored(t, s, photo)
	if left := openUploads(t, s); len(left) != 0 {
		t.Errorf("files are left: %q", left)
	}
	p := photoOf(t, s, build, journal.PhotoID(id))
	if p.FileName != photo.name || p.ByID != s.Floor.ID {
		t.Errorf("recorded as %+v", p)
	}
	floor.Get(last.Header.Get("Photo-Thumb")).Status(http.StatusOK)

	// An answer that was lost is given again.
	again := tus(floor, http.MethodHead, at, nil).Status(http.StatusOK)
	if again.Header.Get("Photo-Id") != id || again.Header.Get("Upload-Offset") != strconv.Itoa(len(photo.body)) {
		t.Errorf("asked again: %v", again.Header)
	}
	if got := patch(floor, at, len(photo.body), nil).Status(http.StatusNoContent).Header.Get("Photo-Id"); got != id {
		t.Errorf("sent again: %q", got)
	}

	// The same bytes are one photo, also as the body of their creation.
	r = tus(floor, http.MethodPost, uploadsAt(build), bytes.NewReader(photo.body), "Upload-Length", strconv.Itoa(len(photo.body)),
		"Upload-Metadata", meta("filename", "again.jpg")).Status(http.StatusCreated)
	if r.Header.Get("Photo-Id") != id || r.Header.Get("Photo-Duplicate") != "yes" {
		t.Errorf("sent twice: %v", r.Header)
	}
	if n := countPhotos(t, s.App, build); n != 1 {
		t.Errorf("%d photos are recorded", n)
	}
	// "Termination": the upload goes, the photo stays.
	tus(floor, http.MethodDelete, at, nil).Status(http.StatusNoContent)
	tus(floor, http.MethodHead, at, nil).Status(http.StatusNotFound)
	checkStored(t, s, photo)
}

// Whatever a client may get wrong is refused, and costs nothing.
func TestResumable_Hostile(t *testing.T) {
	s := servertest.New(t, func(c *server.Config) { c.MaxPhotoBytes, c.MaxVideoBytes = 200_000, 500_000 })
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	at := uploadsAt(build)
	tests := []struct {
		reason, length, meta string
		status               int
	}{
		{"huge", "9223372036854775807", "", http.StatusRequestEntityTooLarge},
		{"beyond any number", "99999999999999999999", "", http.StatusBadRequest},
		{"negative", "-1", "", http.StatusBadRequest},
		{"no number", "many", "", http.StatusBadRequest},
		{"no length", "", "", http.StatusBadRequest},
		{"a photo above its limit", "200001", meta("filetype", "image/jpeg"), http.StatusRequestEntityTooLarge},
		{"a video above its limit", "500001", meta("filetype", "video/mp4"), http.StatusRequestEntityTooLarge},
		{"too much said", "100", meta("filename", strings.Repeat("n", 5000)), http.StatusRequestEntityTooLarge},
		{"queued for somebody else", "100", meta("person", string(s.Office.ID)), http.StatusConflict},
		{"metadata of no form", "100", ",,= ,a b c, ==,filename !!!!", http.StatusCreated},
		{"a path for a name", "100", meta("filename", "../../../etc/passwd\x00\r\nX: y"), http.StatusCreated},
		{"a video within its limit", "500000", meta("filetype", "video/mp4"), http.StatusCreated},
	}
	for _, test := range tests {
		pairs := []string{"Upload-Metadata", test.meta}
		if test.length != "" {
			pairs = append(pairs, "Upload-Length", test.length)
		}
		if got := tus(floor, http.MethodPost, at, nil, pairs...); got.StatusCode != test.status {
			t.Errorf("%s: status %d, want %d: %s", test.reason, got.StatusCode, test.status, got.Body)
		}
	}
	tus(floor, http.MethodPost, at, nil, "Upload-Defer-Length", "1").Status(http.StatusNotImplemented)
	// "Tus-Resumable": another version is refused with 412.
	floor.Send(http.MethodPost, at, "", nil, func(r *http.Request) {
		r.Header.Set("Tus-Resumable", "0.2.2")
		r.Header.Set("Upload-Length", "10")
	}).Status(http.StatusPreconditionFailed)
	for _, id := range []string{"..", "%2e%2e%2f%2e%2e%2ffarbay.db", "nothing", strings.Repeat("a", 26)} {
		tus(floor, http.MethodHead, at+"/"+id, nil).Status(http.StatusNotFound)
		patch(floor, at+"/"+id, 0, []byte("x")).Status(http.StatusNotFound)
	}
	// A photo under the name of a video: its content decides.
	large := grainyJPEG(t, 600, 400, 3)
	if len(large) < 200_001 || len(large) > 500_000 {
		t.Fatalf("the photo has %d bytes", len(large))
	}
	r := tus(floor, http.MethodPost, at, nil, "Upload-Length", strconv.Itoa(len(large)), "Upload-Metadata", meta("filetype", "video/mp4")).Status(http.StatusCreated)
	if said := failureOf(t, patch(floor, r.Header.Get("Location"), 0, large).Status(http.StatusRequestEntityTooLarge)); said != "This file has more than 0.2 MB; please send a smaller one." {
		t.Errorf("a large photo is answered with %q", said)
	}
	checkStored(t, s)
}

// "X-HTTP-Method-Override" is the request's method, and lets nobody do more.
func TestResumable_MethodOverride(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	photo := file{"a.jpg", servertest.JPEG(t, 1)}
	at := begin(t, floor, build, photo.name, len(photo.body))
	tus(s.As(s.Owner), http.MethodPost, at, nil, "X-HTTP-Method-Override", "DELETE").Status(http.StatusForbidden)
	tus(s.As(s.Office), http.MethodPost, at, nil, "X-HTTP-Method-Override", "DELETE").Status(http.StatusNotFound)
	// Other methods are what they are; from another site nothing is done.
	tus(floor, http.MethodHead, at, nil, "X-HTTP-Method-Override", "DELETE").Status(http.StatusOK)
	tus(floor, http.MethodPost, at, nil, "X-HTTP-Method-Override", "DELETE", "Sec-Fetch-Site", "cross-site").Status(http.StatusForbidden)
	tus(floor, http.MethodPost, at, nil, "X-HTTP-Method-Override", "GET").Status(http.StatusMethodNotAllowed)
	r := tus(floor, http.MethodPost, at, bytes.NewReader(photo.body), "Upload-Offset", "0", "X-HTTP-Method-Override", "PATCH").Status(http.StatusNoContent)
	if r.Header.Get("Photo-Id") == "" {
		t.Errorf("taken with %v", r.Header)
	}
	checkStored(t, s, photo)
}

// An upload is its person's and its build's. For everybody else there is none.
func TestResumable_OthersSeeNothing(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	other, _ := s.Agreed("Juniper", s.Add(journal.Owner, "Bodil Strand"))
	floor, office, mate := s.As(s.Floor), s.As(s.Office), s.As(s.Add(journal.Floor, "Ines Calloway"))
	photo := file{"a.jpg", servertest.JPEG(t, 1)}
	at := begin(t, floor, build, photo.name, len(photo.body))
	elsewhere := strings.Replace(at, string(build), string(other), 1)
	for who, try := range map[string]struct {
		c  *servertest.Client
		at string
	}{"the office": {office, at}, "a mate": {mate, at}, "the same person at another build": {floor, elsewhere}} {
		for _, method := range []string{http.MethodHead, http.MethodPatch, http.MethodDelete} {
			var body io.Reader
			if method == http.MethodPatch {
				body = bytes.NewReader(photo.body)
			}
			if got := tus(try.c, method, try.at, body, "Upload-Offset", "0").StatusCode; got != http.StatusNotFound {
				t.Errorf("%s by %s: status %d, want 404", method, who, got)
			}
		}
	}
	tus(s.Client(), http.MethodHead, at, nil).Status(http.StatusUnauthorized) // never led to the sign-in page
	patch(s.Client(), at, 0, photo.body).Status(http.StatusUnauthorized)
	patch(floor, at, 0, photo.body).Status(http.StatusNoContent)
	checkStored(t, s, photo)
}

// What is no photo is refused with the whole sentence, once and whenever asked
// again, and leaves nothing.
func TestResumable_Refusals(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	for _, bad := range badFiles(t) {
		if len(bad.body) == 0 {
			r := tus(floor, http.MethodPost, uploadsAt(build), nil, "Upload-Length", "0").Status(http.StatusUnprocessableEntity)
			if said := failureOf(t, r); said != bad.says {
				t.Errorf("an empty file is answered with %q", said)
			}
			continue
		}
		at := begin(t, floor, build, bad.name, len(bad.body))
		r := patch(floor, at, 0, bad.body)
		if said := failureOf(t, r); r.StatusCode < 400 || r.StatusCode > 499 || said != bad.says {
			t.Errorf("%s: %d %q, want %q", bad.name, r.StatusCode, said, bad.says)
		}
		if got := tus(floor, http.MethodHead, at, nil).StatusCode; got != r.StatusCode {
			t.Errorf("%s asked again: %d", bad.name, got)
		}
		if said := failureOf(t, patch(floor, at, len(bad.body), nil)); said != bad.says {
			t.Errorf("%s sent again: %q", bad.name, said)
		}
	}
	checkStored(t, s)
	if left := openUploads(t, s); len(left) != 0 {
		t.Errorf("files are left: %q", left)
	}
}

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
	r := patch(floor, at, 0, large.body).Status(http.StatusServiceUnavailable)
	if said := failureOf(t, r); said != says || r.Header.Get("Retry-After") == "" {
		t.Errorf("answered with %q, %v", said, r.Header)
	}
	n := offset(t, floor, at)
	if n == 0 || n >= len(large.body) {
		t.Errorf("%d of %d bytes are kept", n, len(large.body))
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
