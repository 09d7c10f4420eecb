package server_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"io"
	"io/fs"
	"math/rand/v2"
	"mime"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server"
	"farbay/server/servertest"
)

// file is one file of a sending.
type file struct {
	name string
	body []byte
}

const boundary = "----farbay-test-boundary"

// field writes the head of one part as browsers do (HTML Standard,
// "multipart/form-data encoding algorithm": of a name only the quotation mark
// and line ends are escaped, the rest goes as it is, in UTF-8).
func field(name, fileName string, isFile bool) string {
	escape := strings.NewReplacer("\r", "%0D", "\n", "%0A", `"`, "%22")
	head := "--" + boundary + "\r\nContent-Disposition: form-data; name=\"" + escape.Replace(name) + `"`
	if isFile {
		head += `; filename="` + escape.Replace(fileName) + "\"\r\nContent-Type: application/octet-stream"
	}
	return head + "\r\n\r\n"
}

// multipartForm is a whole form: its text fields in the order of their names,
// then its files, as "photos".
func multipartForm(values url.Values, files ...file) []byte {
	var b bytes.Buffer
	names := make([]string, 0, len(values))
	for name := range values {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		for _, value := range values[name] {
			b.WriteString(field(name, "", false) + value + "\r\n")
		}
	}
	for _, f := range files {
		b.WriteString(field("photos", f.name, true))
		b.Write(f.body)
		b.WriteString("\r\n")
	}
	b.WriteString("--" + boundary + "--\r\n")
	return b.Bytes()
}

func asData(r *http.Request) { r.Header.Set("Accept", "application/json") }

// postParts sends a multipart form.
func postParts(c *servertest.Client, path string, body io.Reader, change ...func(*http.Request)) *servertest.Reply {
	return c.Send(http.MethodPost, path, "multipart/form-data; boundary="+boundary, body, change...)
}

// answered is what a script is told of a sending.
type answered struct {
	Photos []struct {
		File, Thumb, Error string
		ID                 journal.PhotoID
		Duplicate          bool
	}
	Error string
}

func answerOf(t *testing.T, r *servertest.Reply) (a answered) {
	t.Helper()
	if err := json.Unmarshal([]byte(r.Body), &a); err != nil || !strings.HasPrefix(r.Header.Get("Content-Type"), "application/json") {
		t.Fatalf("answer is no JSON: %v: %s", err, r.Body)
	}
	return a
}

// sendPhotos sends files to a build and returns what is said of each.
func sendPhotos(t *testing.T, c *servertest.Client, build journal.BuildID, files ...file) answered {
	t.Helper()
	a := answerOf(t, postParts(c, "/builds/"+string(build)+"/photos", bytes.NewReader(multipartForm(nil, files...)), asData).Status(http.StatusOK))
	if len(a.Photos) != len(files) {
		t.Fatalf("%d files were sent, %d answered: %+v", len(files), len(a.Photos), a)
	}
	return a
}

// goodFiles are n small photos of their own.
func goodFiles(t *testing.T, n, seed int) (files []file) {
	t.Helper()
	for i := range n {
		files = append(files, file{fmt.Sprintf("IMG_%04d.jpg", seed+i), servertest.JPEG(t, seed+i)})
	}
	return files
}

// wholeSentence fails the test unless a message is one or more whole sentences that
// tell nothing of the inside.
func wholeSentence(t *testing.T, text string) {
	t.Helper()
	first, _ := utf8.DecodeRuneInString(text)
	if !unicode.IsUpper(first) || !strings.HasSuffix(text, ".") || strings.ContainsAny(text, "{}<>\n") || strings.Contains(text, "media.") {
		t.Errorf("not a whole sentence: %q", text)
	}
}

// originals returns the stored originals' paths by their names.
func originals(t *testing.T, s *servertest.Server) map[string]string {
	t.Helper()
	found := map[string]string{}
	walk(t, filepath.Join(s.Dir, "media", "originals"), func(path string) { found[filepath.Base(path)] = path })
	return found
}

// unfinished returns the files that are still being received.
func unfinished(t *testing.T, s *servertest.Server) (found []string) {
	t.Helper()
	walk(t, filepath.Join(s.Dir, "media", "incoming"), func(path string) {
		if filepath.Base(path) != "lock" {
			found = append(found, path)
		}
	})
	return found
}

func walk(t *testing.T, dir string, each func(path string)) {
	t.Helper()
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if errors.Is(err, fs.ErrNotExist) && path != dir {
			return nil // it went meanwhile
		}
		if err == nil && !d.IsDir() {
			each(path)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
}

// program returns the path of a program, and skips the test when it is missing;
// with FARBAY_TEST_ALL set, as the full run has it, that is a failure.
func program(t *testing.T, name string) string {
	t.Helper()
	path, err := exec.LookPath(name)
	if err != nil {
		if os.Getenv("FARBAY_TEST_ALL") != "" {
			t.Fatalf("%s is not installed", name)
		}
		t.Skipf("skipped: %s is not installed", name)
	}
	return path
}

// sha256sum returns what coreutils' sha256sum prints of some bytes.
func sha256sum(t *testing.T, b []byte) string {
	t.Helper()
	cmd := exec.Command(program(t, "sha256sum"))
	cmd.Stdin = bytes.NewReader(b)
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	return strings.Fields(string(out))[0]
}

func small() image.Image {
	img := image.NewPaletted(image.Rect(0, 0, 40, 30), color.Palette{color.Black, color.White, color.RGBA{200, 60, 40, 255}})
	for i := range img.Pix {
		img.Pix[i] = uint8(i / 7 % 3)
	}
	return img
}

func encoded(t *testing.T, encode func(io.Writer) error) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := encode(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func pngFile(t *testing.T) []byte {
	return encoded(t, func(w io.Writer) error { return png.Encode(w, small()) })
}

// grainyJPEG is a JPEG of noise, which hardly compresses, so that its pixels are
// most of its bytes.
func grainyJPEG(t *testing.T, w, h int, seed uint64) []byte {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	rng := rand.New(rand.NewPCG(seed, 2))
	for i := 0; i+8 <= len(img.Pix); i += 8 {
		binary.LittleEndian.PutUint64(img.Pix[i:], rng.Uint64())
	}
	return encoded(t, func(w io.Writer) error { return jpeg.Encode(w, img, &jpeg.Options{Quality: 90}) })
}

// hugeJPEG is a small JPEG whose frame header (ITU-T T.81, B.2.2) claims 20,000
// x 10,000 pixels.
func hugeJPEG(t *testing.T) []byte {
	b := slices.Clone(servertest.JPEG(t, 1))
	at := bytes.Index(b, []byte{0xff, 0xc0})
	binary.BigEndian.PutUint16(b[at+5:], 10_000)
	binary.BigEndian.PutUint16(b[at+7:], 20_000)
	return b
}

// hugePNG is a small PNG whose IHDR (PNG 3rd edition, 11.2.1) claims 20,000 x
// 10,000 pixels, with the checksum that fits.
func hugePNG(t *testing.T) []byte {
	b := pngFile(t)
	binary.BigEndian.PutUint32(b[16:], 20_000)
	binary.BigEndian.PutUint32(b[20:], 10_000)
	binary.BigEndian.PutUint32(b[29:], crc32.ChecksumIEEE(b[12:29]))
	return b
}

// camera finds the camera samples, which are no part of the project, in a folder
// shared/camera beside the module's root or above; "" if there are none.
func camera(t *testing.T, name string) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for dir != filepath.Dir(dir) {
		dir = filepath.Dir(dir)
		at := filepath.Join(dir, "shared", "camera", "files", name)
		if _, err := os.Stat(at); err == nil {
			return at
		}
	}
	return ""
}

// checkStored fails the test unless the stored originals are those files and no
// others, byte for byte as sha256sum counts them, and nothing half-received is
// left.
func checkStored(t *testing.T, s *servertest.Server, files ...file) {
	t.Helper()
	s.Settle() // sizes being made are half-written files, too
	stored := originals(t, s)
	want := map[string]bool{}
	for _, f := range files {
		sum := sha256sum(t, f.body)
		want[sum] = true
		at, there := stored[sum]
		if !there {
			t.Errorf("%s is not stored under its SHA-256", f.name)
			continue
		}
		b, err := os.ReadFile(at)
		if err != nil {
			t.Fatal(err)
		}
		if got := sha256sum(t, b); got != sum {
			t.Errorf("the original of %s has SHA-256 %s, was sent with %s", f.name, got, sum)
		}
	}
	for sum := range stored {
		if !want[sum] {
			t.Errorf("original %s is stored and was refused, or never sent", sum)
		}
	}
	if left := unfinished(t, s); len(left) > 0 {
		t.Errorf("half-received files are left: %v", left)
	}
}

// stream gives n bytes that begin as a JPEG does, without having them in memory.
func stream(n int64) io.Reader {
	return io.MultiReader(strings.NewReader("\xff\xd8\xff\xe0"), io.LimitReader(zeros{}, n-4))
}

type zeros struct{}

func (zeros) Read(b []byte) (int, error) { clear(b); return len(b), nil }

// quoted makes a pattern of plain words.
func quoted(text string) string { return regexp.QuoteMeta(text) }

// checkSavedAs fails the test unless the answer is to be saved under that name
// (RFC 6266).
func checkSavedAs(t *testing.T, r *servertest.Reply, name string) {
	t.Helper()
	how, params, err := mime.ParseMediaType(r.Header.Get("Content-Disposition"))
	if err != nil || how != "attachment" || params["filename"] != name {
		t.Errorf("Content-Disposition %q: %v, %q, want %q", r.Header.Get("Content-Disposition"), err, params["filename"], name)
	}
}

func stageOf(t *testing.T, s *servertest.Server, build journal.BuildID) string {
	t.Helper()
	v, err := s.App.Steps().BuildShow(context.Background(), servertest.Actor(s.Office), build)
	if err != nil {
		t.Fatal(err)
	}
	return string(v.Stages[0].ID)
}

func entriesOf(t *testing.T, s *servertest.Server, build journal.BuildID) int {
	t.Helper()
	page, err := s.App.Steps().JournalPage(context.Background(), servertest.Actor(s.Office), build, flow.EntryQuery{Staff: true, Limit: 100})
	if err != nil {
		t.Fatal(err)
	}
	return len(page.Entries)
}

func photoOf(t *testing.T, s *servertest.Server, build journal.BuildID, id journal.PhotoID) journal.Photo {
	t.Helper()
	v, err := s.App.Steps().PhotoShow(context.Background(), servertest.Actor(s.Office), build, id, "")
	if err != nil {
		t.Fatal(err)
	}
	return v.Photo
}

func countPhotos(t *testing.T, app *server.App, build journal.BuildID) (n int) {
	t.Helper()
	err := app.Steps().Store.Read(context.Background(), func(r flow.Reads) (err error) {
		n, err = r.CountPhotos(build, true)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// until waits for something the server does after its client has gone.
func until(t *testing.T, what string, done func() bool) {
	t.Helper()
	deadline := time.NewTimer(30 * time.Second)
	defer deadline.Stop()
	again := time.NewTicker(2 * time.Millisecond)
	defer again.Stop()
	for !done() {
		select {
		case <-again.C:
		case <-deadline.C:
			t.Fatalf("%s does not happen", what)
		}
	}
}
