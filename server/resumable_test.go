package server_test

import (
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"farbay/journal"
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
