package server_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/server/servertest"
)

// tusClient runs tus-js-client 4.3.1 under Node, a client of the tus authors'
// own; what it prints is returned.
func tusClient(t *testing.T, s *servertest.Server, c *servertest.Client, args ...string) string {
	t.Helper()
	node := program(t, "node")
	script, err := filepath.Abs(filepath.Join("..", ".ci", "tus-client.mjs"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(filepath.Dir(script), "node_modules", "tus-js-client")); err != nil {
		if os.Getenv("FARBAY_TEST_ALL") != "" {
			t.Fatalf("tus-js-client is not installed: %v", err)
		}
		t.Skip("skipped: tus-js-client is not installed (npm ci --prefix .ci)")
	}
	base, err := url.Parse(s.URL)
	if err != nil {
		t.Fatal(err)
	}
	var cookies []string
	for _, cookie := range c.HTTP.Jar.Cookies(base) {
		cookies = append(cookies, cookie.Name+"="+cookie.Value)
	}
	cmd := exec.Command(node, append([]string{script, strings.Join(cookies, "; ")}, args...)...)
	var out, complaints bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &complaints
	if err := cmd.Run(); err != nil {
		t.Fatalf("tus-js-client %q: %v\n%s", args[1:], err, complaints.String())
	}
	return strings.TrimSpace(out.String())
}

// stuffedJPEG is a small photo with 20 MB of application segments, which readers
// pass over (ITU-T T.81, B.2.4.6).
func stuffedJPEG(t *testing.T, seed int) []byte {
	t.Helper()
	plain := servertest.JPEG(t, seed)
	segment := append([]byte{0xff, 0xef, 0xff, 0xff}, bytes.Repeat([]byte{'x'}, 0xffff-2)...)
	return slices.Concat(plain[:2], bytes.Repeat(segment, 20_000_000/len(segment)), plain[2:])
}

// A client not ours begins, is cut off in mid-chunk, resumes from another
// process with nothing but the address, and ends an upload.
func TestResumable_ForeignClient(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	photo := file{"IMG_1.jpg", stuffedJPEG(t, 1)}
	at := filepath.Join(t.TempDir(), photo.name)
	if err := os.WriteFile(at, photo.body, 0o600); err != nil {
		t.Fatal(err)
	}
	place := tusClient(t, s, floor, at, "create", s.URL+uploadsAt(build))
	path, ours := strings.CutPrefix(place, s.URL)
	if !ours {
		t.Fatalf("the upload's address is %q", place)
	}
	if n := offset(t, floor, path); n == 0 || n >= len(photo.body) {
		t.Fatalf("cut off, %d of %d bytes are there", n, len(photo.body))
	}
	var said struct {
		Status                  int
		Photo, Thumb, Duplicate string
	}
	if err := json.Unmarshal([]byte(tusClient(t, s, floor, at, "resume", place)), &said); err != nil {
		t.Fatal(err)
	}
	if said.Status != http.StatusNoContent || said.Duplicate != "" || said.Thumb != fmt.Sprintf("/builds/%s/photos/%s/320", build, said.Photo) {
		t.Errorf("the last answer: %+v", said)
	}
	checkStored(t, s, photo)
	if p := photoOf(t, s, build, journal.PhotoID(said.Photo)); p.FileName != photo.name {
		t.Errorf("recorded as %+v", p)
	}
	// What has been sent whole is not sent again.
	if err := json.Unmarshal([]byte(tusClient(t, s, floor, at, "resume", place)), &said); err != nil || said.Status != http.StatusOK {
		t.Errorf("resumed again: %+v, %v", said, err)
	}

	other := file{"IMG_2.jpg", stuffedJPEG(t, 2)}
	if err := os.WriteFile(at, other.body, 0o600); err != nil {
		t.Fatal(err)
	}
	place = tusClient(t, s, floor, at, "create", s.URL+uploadsAt(build))
	if said := tusClient(t, s, floor, at, "end", place); said != "ended" {
		t.Errorf("terminating prints %q", said)
	}
	tus(floor, http.MethodHead, strings.TrimPrefix(place, s.URL), nil).Status(http.StatusNotFound)
	checkStored(t, s, photo)
	if left := openUploads(t, s); len(left) != 0 {
		t.Errorf("files are left: %q", left)
	}
}
