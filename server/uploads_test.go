package server_test

import (
	"bufio"
	"bytes"
	"context"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"hash/crc32"
	"image"
	"image/png"
	"io"
	"mime/multipart"
	"net"
	"net/http"
	"net/textproto"
	"net/url"
	"os/exec"
	"strings"
	"sync"
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server/servertest"
)

// sentFile is one file of an upload.
type sentFile struct {
	name string
	body io.Reader
}

// multipartOf writes files and fields as a browser does (RFC 7578), while they
// are being sent, so that a large one is never held.
func multipartOf(files []sentFile, fields url.Values) (contentType string, body io.Reader) {
	r, w := io.Pipe()
	form := multipart.NewWriter(w)
	go func() {
		w.CloseWithError(func() error {
			for name, values := range fields {
				for _, v := range values {
					if err := form.WriteField(name, v); err != nil {
						return err
					}
				}
			}
			for _, f := range files {
				head := textproto.MIMEHeader{}
				name := strings.NewReplacer("\\", "\\\\", `"`, "%22", "\n", "%0A", "\r", "%0D").Replace(f.name)
				head.Set("Content-Disposition", fmt.Sprintf(`form-data; name="photos"; filename="%s"`, name))
				part, err := form.CreatePart(head)
				if err != nil {
					return err
				}
				if _, err := io.Copy(part, f.body); err != nil {
					return err
				}
			}
			return form.Close()
		}())
	}()
	return form.FormDataContentType(), r
}

// uploaded is the answer to an upload by a script.
type uploaded struct {
	Photos []struct {
		File, ID, Thumb, Error string
		Duplicate              bool
	}
}

func upload(t testing.TB, c *servertest.Client, build journal.BuildID, files ...sentFile) uploaded {
	t.Helper()
	kind, body := multipartOf(files, nil)
	reply := c.Send(http.MethodPost, "/builds/"+string(build)+"/photos", kind, body, func(r *http.Request) { r.Header.Set("Accept", "application/json") })
	var got uploaded
	if err := json.Unmarshal([]byte(reply.Body), &got); err != nil {
		t.Fatalf("status %d: %v: %s", reply.StatusCode, err, reply.Body)
	}
	if len(got.Photos) != len(files) {
		t.Fatalf("%d answers to %d files: %s", len(got.Photos), len(files), reply.Body)
	}
	return got
}

func jpegFile(t testing.TB, name string, seed int) sentFile {
	return sentFile{name, bytes.NewReader(servertest.JPEG(t, seed))}
}

// hugePNG says that it has 20,000 x 10,000 pixels, which is 200 megapixels (PNG
// 3rd edition, section 11.2.1, IHDR).
func hugePNG(t testing.TB) []byte {
	t.Helper()
	var made bytes.Buffer
	if err := png.Encode(&made, image.NewGray(image.Rect(0, 0, 2, 2))); err != nil {
		t.Fatal(err)
	}
	b := made.Bytes()
	binary.BigEndian.PutUint32(b[16:], 20_000)
	binary.BigEndian.PutUint32(b[20:], 10_000)
	binary.BigEndian.PutUint32(b[29:], crc32.ChecksumIEEE(b[12:29]))
	return b
}

// zeros is an endless file of nothing.
type zeros struct{}

func (zeros) Read(p []byte) (int, error) {
	clear(p)
	return len(p), nil
}

// Each bad file gets one plain sentence; the good ones around it are taken.
func TestUpload_BadFilesSpoilNoOthers(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	whole := servertest.JPEG(t, 1)
	var gray bytes.Buffer
	if err := png.Encode(&gray, image.NewGray(image.Rect(0, 0, 9, 7))); err != nil {
		t.Fatal(err)
	}
	hundredMB := io.MultiReader(bytes.NewReader(whole[:len(whole)-2]), io.LimitReader(zeros{}, 100_000_000))
	cases := []struct {
		file sentFile
		says string // "" when it is taken
		name string // as answered
	}{
		{jpegFile(t, "IMG_1.jpg", 11), "", "IMG_1.jpg"},
		{sentFile{"list.jpg", strings.NewReader("shopping list")}, "This is not a photo; please send a JPEG, PNG or WebP file.", "list.jpg"},
		{sentFile{"cut.jpg", bytes.NewReader(whole[:len(whole)/2])}, "This photo is cut off: its end is missing. Please send it again.", "cut.jpg"},
		{sentFile{"nothing.jpg", strings.NewReader("")}, "This file is empty; please choose it again.", "nothing.jpg"},
		{sentFile{"huge.png", bytes.NewReader(hugePNG(t))}, "This photo has more than 100 megapixels; please send a smaller one.", "huge.png"},
		{sentFile{"long.jpg", hundredMB}, "This file has more than 50 MB; please send a smaller one.", "long.jpg"},
		{sentFile{"a.gif", strings.NewReader("GIF89a" + strings.Repeat("\x00", 50))}, "This kind of image is not taken; please send it as a JPEG, PNG or WebP file.", "a.gif"},
		{sentFile{"really-a-png.jpg", &gray}, "", "really-a-png.jpg"},
		{jpegFile(t, "program.exe", 12), "", "program.exe"},
		{jpegFile(t, "../../etc/passwd", 13), "", "passwd"},
		{jpegFile(t, "..", 14), "", "photo"},
		{jpegFile(t, "\u202egpj.sdrawkcab \U0001F69C.jpg", 15), "", "\u202egpj.sdrawkcab \U0001F69C.jpg"},
		{jpegFile(t, strings.Repeat("n", 296)+".jpg", 16), "", ""},
		{jpegFile(t, "IMG_2.jpg", 17), "", "IMG_2.jpg"},
	}
	var files []sentFile
	for _, c := range cases {
		files = append(files, c.file)
	}
	got := upload(t, floor, build, files...)
	for i, c := range cases {
		answer := got.Photos[i]
		if answer.Error != c.says || (answer.ID != "") != (c.says == "") {
			t.Errorf("%q: id %q, error %q, want %q", c.file.name, answer.ID, answer.Error, c.says)
		}
		if c.name != "" && answer.File != c.name || len([]rune(answer.File)) > 120 {
			t.Errorf("%q is called %q, want %q", c.file.name, answer.File, c.name)
		}
	}
	loose, err := s.App.Steps().LoosePhotos(context.Background(), servertest.Actor(s.Floor), build)
	if err != nil || len(loose) != 8 {
		t.Errorf("%d photos were recorded, %v", len(loose), err)
	}
}

// Of 61 photos the last is refused by name.
func TestUpload_SixtyOne(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	var files []sentFile
	for i := range 61 {
		files = append(files, jpegFile(t, fmt.Sprintf("IMG_%d.jpg", i), i))
	}
	got := upload(t, s.As(s.Floor), build, files...)
	for i, p := range got.Photos {
		if (p.Error == "") != (i < 60) {
			t.Errorf("file %d: %q", i, p.Error)
		}
	}
	if want := "At most 60 photos go with one entry; please post this one with another."; got.Photos[60].Error != want || got.Photos[60].File != "IMG_60.jpg" {
		t.Errorf("the 61st: %+v", got.Photos[60])
	}
}

// The stored original has the SHA-256 that coreutils' sha256sum computes from
// what was sent (FIPS 180-4).
func TestUpload_OriginalIsWhatWasSent(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	office := s.As(s.Office)
	sent := servertest.JPEG(t, 5)
	got := upload(t, office, build, sentFile{"IMG.jpg", bytes.NewReader(sent)})
	cmd := exec.Command("sha256sum")
	cmd.Stdin = bytes.NewReader(sent)
	out, err := cmd.Output()
	if err != nil {
		t.Fatal(err)
	}
	want, _, _ := strings.Cut(string(out), " ")
	var photo journal.Photo
	err = s.App.Steps().Store.Read(context.Background(), func(r flow.Reads) (err error) {
		photo, err = r.Photo(build, journal.PhotoID(got.Photos[0].ID))
		return err
	})
	if err != nil || photo.SHA256 != want {
		t.Errorf("recorded as %s, sha256sum says %s (%v)", photo.SHA256, want, err)
	}
	original := office.Get("/builds/" + string(build) + "/photos/" + got.Photos[0].ID + "/original").Status(http.StatusOK)
	if original.Body != string(sent) {
		t.Error("the original is not what was sent")
	}
}

// The same file twice in a build, from two phones at once, is one photo; in
// another build it is its own.
func TestUpload_SameFileTwice(t *testing.T) {
	s := servertest.New(t)
	heron, _ := s.Agreed("Heron", s.Owner)
	juniper, _ := s.Agreed("Juniper", s.Owner)
	ids := make([]string, 8)
	var all sync.WaitGroup
	for i := range ids {
		phone := s.As(s.Floor)
		all.Go(func() { ids[i] = upload(t, phone, heron, jpegFile(t, "IMG.jpg", 3)).Photos[0].ID })
	}
	all.Wait()
	for _, id := range ids {
		if id == "" || id != ids[0] {
			t.Errorf("answered %q", ids)
		}
	}
	again := upload(t, s.As(s.Floor), heron, jpegFile(t, "other-name.jpg", 3)).Photos[0]
	if !again.Duplicate || again.ID != ids[0] {
		t.Errorf("sent again: %+v", again)
	}
	if other := upload(t, s.As(s.Floor), juniper, jpegFile(t, "IMG.jpg", 3)).Photos[0]; other.Duplicate || other.ID == ids[0] {
		t.Errorf("in another build: %+v", other)
	}
}

// A connection that dies in the middle of the second of three files keeps the
// first and nothing of the others.
func TestUpload_DeadConnection(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	at, err := url.Parse(s.URL)
	if err != nil {
		t.Fatal(err)
	}
	var body bytes.Buffer
	kind, r := multipartOf([]sentFile{jpegFile(t, "1.jpg", 1), jpegFile(t, "2.jpg", 2), jpegFile(t, "3.jpg", 3)}, nil)
	if _, err := io.Copy(&body, r); err != nil {
		t.Fatal(err)
	}
	conn, err := net.Dial("tcp", at.Host)
	if err != nil {
		t.Fatal(err)
	}
	cookie := floor.HTTP.Jar.Cookies(at)[0]
	whole := body.Len()
	half := bytes.Index(body.Bytes(), []byte("2.jpg")) + 400
	w := bufio.NewWriter(conn)
	fmt.Fprintf(w, "POST /builds/%s/photos HTTP/1.1\r\nHost: %s\r\nCookie: %s=%s\r\nAccept: application/json\r\nSec-Fetch-Site: same-origin\r\nContent-Type: %s\r\nContent-Length: %d\r\n\r\n",
		build, at.Host, cookie.Name, cookie.Value, kind, whole)
	if _, err := w.Write(body.Bytes()[:half]); err != nil {
		t.Fatal(err)
	}
	if err := w.Flush(); err != nil {
		t.Fatal(err)
	}
	if err := conn.(*net.TCPConn).CloseWrite(); err != nil {
		t.Fatal(err)
	}
	answer, err := http.ReadResponse(bufio.NewReader(conn), nil)
	if err != nil {
		t.Fatal(err)
	}
	text, err := io.ReadAll(answer.Body)
	if err != nil {
		t.Fatal(err)
	}
	if answer.StatusCode != http.StatusUnprocessableEntity || !strings.Contains(string(text), "The connection broke off.") {
		t.Errorf("answered %d: %s", answer.StatusCode, text)
	}
	if err := conn.Close(); err != nil {
		t.Error(err)
	}
	stored := 0
	err = s.App.Storage().Each(context.Background(), func(string, int64) error { stored++; return nil })
	loose, err2 := s.App.Steps().LoosePhotos(context.Background(), servertest.Actor(s.Floor), build)
	if err != nil || err2 != nil || stored != 1 || len(loose) != 1 {
		t.Errorf("%d originals and %d photos, %v, %v", stored, len(loose), err, err2)
	}
	got := upload(t, floor, build, jpegFile(t, "1.jpg", 1), jpegFile(t, "2.jpg", 2), jpegFile(t, "3.jpg", 3))
	for i, p := range got.Photos {
		if p.Error != "" || p.Duplicate != (i == 0) {
			t.Errorf("sent again, file %d: %+v", i, p)
		}
	}
}

// Without scripts the form carries the files itself.
func TestEntry_PlainFormWithFiles(t *testing.T) {
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	kind, body := multipartOf(
		[]sentFile{jpegFile(t, "1.jpg", 1), {"bad.jpg", strings.NewReader("no photo")}, jpegFile(t, "2.jpg", 2)},
		url.Values{"id": {"0123456789abcdef0123"}, "stage": {string(stages[0].ID)}, "kind": {"progress"}, "audience": {"owner too"}, "text": {"Two photos."}},
	)
	at := "/builds/" + string(build) + "/entries/0123456789abcdef0123"
	floor.Send(http.MethodPost, "/builds/"+string(build)+"/entries", kind, body).Redirects(at)
	floor.Get(at).Says(`Posted; the owner can see it\. bad\.jpg: This is not a photo`)
	s.As(s.Owner).Get(at).Says("Two photos")
	v, err := s.App.Steps().EntryShow(context.Background(), servertest.Actor(s.Floor), build, "0123456789abcdef0123")
	if err != nil || len(v.Entry.Photos) != 2 {
		t.Errorf("the entry has %d photos, %v", len(v.Entry.Photos), err)
	}
}

// Hostile and foreign text is shown as it was typed; too much is refused with
// all of it kept; the same form twice is one entry.
func TestEntry_Text(t *testing.T) {
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	at := "/builds/" + string(build) + "/entries"
	text := "<script>alert(1)</script> & \"quotes\" \U0001F69C \u05e9\u05dc\u05d5\u05dd"
	form := url.Values{"id": {"0123456789abcdef0123"}, "stage": {string(stages[0].ID)}, "audience": {"owner too"}, "text": {text}}
	floor.Post(at, form).Redirects(at + "/0123456789abcdef0123")
	floor.Post(at, form).Redirects(at + "/0123456789abcdef0123")
	page := s.As(s.Owner).Get("/builds/" + string(build)).Status(http.StatusOK)
	if n := strings.Count(page.Body, "&lt;script&gt;alert(1)&lt;/script&gt;"); n != 1 || strings.Contains(page.Body, "<script>alert") {
		t.Errorf("the text stands %d times on the owner's page", n)
	}
	if !strings.Contains(page.Body, "\U0001F69C \u05e9\u05dc\u05d5\u05dd") {
		t.Error("the tractor or the Hebrew is gone")
	}
	long := strings.Repeat("\u05d0", 10_001)
	form.Set("text", long)
	form.Set("id", "another-form-0123456789")
	refused := floor.Post(at, form).Status(http.StatusUnprocessableEntity)
	if !strings.Contains(refused.Body, "Please keep the text to 10,000 characters.") || !strings.Contains(refused.Body, long) {
		t.Error("10,001 characters are not refused beside the field with all of them kept")
	}
}

// What owners get of a photo may be kept by their browser, by nobody else, and
// only as long as they may see it.
func TestPhotoFile_Headers(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	owner := s.As(s.Owner)
	at := "/builds/" + string(b.ID) + "/photos/" + string(b.SharedPhoto.ID) + "/960"
	s.Settle()
	got := owner.Get(at).Status(http.StatusOK)
	for name, want := range map[string]string{
		"Content-Type": "image/jpeg", "X-Content-Type-Options": "nosniff", "Cache-Control": "private, max-age=31536000, immutable",
	} {
		if got.Header.Get(name) != want {
			t.Errorf("%s is %q, want %q", name, got.Header.Get(name), want)
		}
	}
	owner.Send(http.MethodGet, at, "", nil, func(r *http.Request) { r.Header.Set("If-None-Match", got.Header.Get("ETag")) }).Status(http.StatusNotModified)
	part := owner.Send(http.MethodGet, at, "", nil, func(r *http.Request) { r.Header.Set("Range", "bytes=0-9") }).Status(http.StatusPartialContent)
	if part.Body != got.Body[:10] {
		t.Error("a range is not the beginning of the file")
	}
	e, err := s.App.Steps().EntryShow(context.Background(), servertest.Actor(s.Floor), b.ID, b.Shared)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.App.Steps().WithdrawEntry(context.Background(), servertest.Actor(s.Office), b.ID, b.Shared, e.Entry.Version, "Wrong truck."); err != nil {
		t.Fatal(err)
	}
	owner.Get(at).Status(http.StatusNotFound)
}

// Photos whose sizes were not made when the server stopped get them after the
// next start.
func TestDerive_SurvivesARestart(t *testing.T) {
	dir, clock := t.TempDir(), servertest.NewClock()
	var build journal.BuildID
	var photo journal.Photo
	t.Run("before", func(t *testing.T) {
		s := servertest.Start(t, dir, clock)
		build, _ = s.Agreed("Heron", s.Owner)
		photo = s.Photo(build, 1)
	})
	t.Run("after", func(t *testing.T) {
		s := servertest.Start(t, dir, clock)
		s.Settle()
		s.As(s.Floor).Get("/builds/" + string(build) + "/photos/" + string(photo.ID) + "/320").Status(http.StatusOK)
	})
}
