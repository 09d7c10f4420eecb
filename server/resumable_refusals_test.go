package server_test

import (
	"bytes"
	"io"
	"net/http"
	"strconv"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/server"
	"farbay/server/servertest"
)

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
