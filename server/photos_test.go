package server_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"log/slog"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/media"
	"farbay/server"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// exifTool writes tags into a photo.
func exifTool(t *testing.T, b []byte, tags ...string) []byte {
	t.Helper()
	cmd := exec.Command(program(t, "exiftool"), append(slices.Clone(tags), "-q", "-m", "-o", "-", "-")...)
	cmd.Stdin = bytes.NewReader(b)
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("exiftool: %v: %s", err, stderr.Bytes())
	}
	return out
}

// A phone whose clock is wrong: its photo is kept with what the phone says and
// marked doubtful, and the entry is dated by its posting. Promise 3, DESIGN.md
// "Capture time".
func TestUpload_WrongClock(t *testing.T) {
	program(t, "exiftool")
	s := servertest.New(t) // it is 14 April 2026, 15:00 UTC; the truck arrived on 1 April
	build, stages := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	tests := []struct {
		reason string
		tags   []string
		doubt  string
		source media.Source
		at     time.Time
		dated  bool // the entry is dated by it
	}{
		{"next year", []string{"-DateTimeOriginal=2027:04:14 08:00:00", "-OffsetTimeOriginal=-06:00"},
			"The camera's time is later than the moment the photo arrived.", media.SourceCameraOffset, time.Date(2027, 4, 14, 14, 0, 0, 0, time.UTC), false},
		{"ten minutes ahead, by its own offset", []string{"-DateTimeOriginal=2026:04:15 00:10:00", "-OffsetTimeOriginal=+09:00"},
			"The camera's time is later than the moment the photo arrived.", media.SourceCameraOffset, time.Date(2026, 4, 14, 15, 10, 0, 0, time.UTC), false},
		{"never set", []string{"-DateTimeOriginal=2012:01:01 00:00:12"},
			"The camera says 2012-01-01, and the truck arrived on 2026-04-01.", media.SourceShopZone, time.Date(2012, 1, 1, 7, 0, 12, 0, time.UTC), false},
		{"right", []string{"-DateTimeOriginal=2026:04:13 16:30:00", "-OffsetTimeOriginal=-06:00"},
			"", media.SourceCameraOffset, time.Date(2026, 4, 13, 22, 30, 0, 0, time.UTC), true},
		{"no Exif at all", nil, "", media.SourceReceived, servertest.Begin, false},
	}
	for i, test := range tests {
		b := servertest.JPEG(t, i+1)
		if test.tags != nil {
			b = exifTool(t, b, test.tags...)
		}
		a := sendPhotos(t, floor, build, file{fmt.Sprintf("IMG_%d.jpg", i), b})
		p := photoOf(t, s, build, a.Photos[0].ID)
		if p.CapturedDoubt != test.doubt || p.CapturedSource != string(test.source) || !p.CapturedAt.Equal(test.at) || !p.ReceivedAt.Equal(servertest.Begin) {
			t.Errorf("%s: %s by %s, doubt %q; received %s", test.reason, p.CapturedAt, p.CapturedSource, p.CapturedDoubt, p.ReceivedAt)
		}
		page := floor.Get(fmt.Sprintf("/builds/%s/photos/%s", build, p.ID)).Status(http.StatusOK)
		if test.doubt != "" {
			wholeSentence(t, test.doubt)
			page.Says("Doubtful: " + quoted(test.doubt))
		} else {
			page.Check(htmlcheck.In("main", htmlcheck.HasNoText("Doubtful")))
		}
		e, err := s.App.Steps().PostEntry(context.Background(), servertest.Actor(s.Floor), build, flow.NewEntry{
			StageID: stages[0].ID, Kind: journal.KindProgress, Audience: journal.ShopOnly, Photos: []journal.EntryPhoto{{PhotoID: p.ID}},
		})
		if err != nil {
			t.Fatal(err)
		}
		want := servertest.Begin
		if test.dated {
			want = test.at
		}
		if !e.HappenedAt.Equal(want) {
			t.Errorf("%s: the entry is dated %s, want %s", test.reason, e.HappenedAt, want)
		}
	}
}

// What is given out of a photo: typed, kept by this browser alone, piecewise if
// asked for, and not again when it is there.
func TestPhotoFile_Delivery(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	owner := s.As(s.Owner)
	for _, size := range []string{"320", "960", "2048"} {
		at := fmt.Sprintf("/builds/%s/photos/%s/%s", b.ID, b.SharedPhoto.ID, size)
		r := owner.Get(at).Status(http.StatusOK)
		for name, want := range map[string]string{
			"Content-Type": "image/jpeg", "X-Content-Type-Options": "nosniff", "Vary": "Cookie", "Accept-Ranges": "bytes",
			"Cache-Control": "private, max-age=31536000, immutable", "Cross-Origin-Resource-Policy": "same-origin",
		} {
			if got := r.Header.Get(name); got != want {
				t.Errorf("%s: %s is %q, want %q", size, name, got, want)
			}
		}
		if !strings.HasPrefix(r.Body, "\xff\xd8\xff") || r.Header.Get("Content-Encoding") != "" {
			t.Errorf("%s: %d bytes that are no JPEG, encoding %q", size, len(r.Body), r.Header.Get("Content-Encoding"))
		}
		tag := r.Header.Get("ETag")
		again := owner.Send(http.MethodGet, at, "", nil, func(r *http.Request) { r.Header.Set("If-None-Match", tag) }).Status(http.StatusNotModified)
		if tag == "" || again.Body != "" {
			t.Errorf("%s: ETag %q, 304 with %d bytes", size, tag, len(again.Body))
		}
		part := owner.Send(http.MethodGet, at, "", nil, func(r *http.Request) { r.Header.Set("Range", "bytes=10-99") }).Status(http.StatusPartialContent)
		if part.Body != r.Body[10:100] || part.Header.Get("Content-Range") != fmt.Sprintf("bytes 10-99/%d", len(r.Body)) {
			t.Errorf("%s: range %q of %d bytes", size, part.Header.Get("Content-Range"), len(part.Body))
		}
		owner.Send(http.MethodGet, at, "", nil, func(r *http.Request) { r.Header.Set("Range", "bytes=9999999-") }).Status(http.StatusRequestedRangeNotSatisfiable)
		// Whether the browser has it does not matter to whether they may have it.
		s.As(s.Add(journal.Owner, "Bodil Strand")).Send(http.MethodGet, at, "", nil, func(r *http.Request) { r.Header.Set("If-None-Match", tag) }).Status(http.StatusNotFound)
	}
	for _, size := range []string{"0", "-320", "321", "1e3", "9999999999999999999999", "320.jpg"} {
		r := owner.Get(fmt.Sprintf("/builds/%s/photos/%s/%s", b.ID, b.SharedPhoto.ID, size)).Status(http.StatusNotFound)
		if r.Header.Get("Retry-After") != "" || !strings.Contains(r.Header.Get("Cache-Control"), "no-store") {
			t.Errorf("size %s: %v", size, r.Header)
		}
	}
	original := fmt.Sprintf("/builds/%s/photos/%s/original", b.ID, b.SharedPhoto.ID)
	owner.Get(original).Status(http.StatusForbidden)
	r := s.As(s.Floor).Get(original).Status(http.StatusOK)
	if got := sha256sum(t, []byte(r.Body)); got != b.SharedPhoto.SHA256 || r.Header.Get("X-Content-Type-Options") != "nosniff" || r.Header.Get("Cache-Control") != "private, no-store" {
		t.Errorf("the original has SHA-256 %s, headers %v", got, r.Header)
	}
	checkSavedAs(t, r, "IMG_100.jpg")
}

// A photo whose sizes are still to be made is not there yet, and says when to
// ask again; one of which none can be made says so, and not to.
func TestPhotoFile_NotThere(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	// Its original cannot be found, so that the worker tries again later.
	pending, _, err := s.App.Steps().RecordPhoto(context.Background(), servertest.Actor(s.Floor), build, journal.Photo{
		SHA256: strings.Repeat("ab", 32), Bytes: 1, FileName: "IMG_1.jpg", Kind: "image/jpeg", Width: 4, Height: 3, Orientation: 1, CapturedSource: "received",
	})
	if err != nil {
		t.Fatal(err)
	}
	r := floor.Get(fmt.Sprintf("/builds/%s/photos/%s/960", build, pending.ID)).Status(http.StatusNotFound).Says("This photo is being made ready; look again in a minute.")
	if r.Header.Get("Retry-After") != "2" || r.Header.Get("Cache-Control") != "private, no-store" {
		t.Errorf("pending: %v", r.Header)
	}
	// Its end is there, and most of its pixels are not.
	whole := grainyJPEG(t, 300, 200, 3)
	a := sendPhotos(t, floor, build, file{"IMG_2.jpg", append(slices.Clone(whole[:len(whole)/3]), 0xff, 0xd9)})
	id := a.Photos[0].ID
	s.Settle()
	if p := photoOf(t, s, build, id); p.State != journal.PhotoFailed {
		t.Fatalf("a photo without pixels is %s: %+v", p.State, a)
	}
	r = floor.Get(fmt.Sprintf("/builds/%s/photos/%s/960", build, id)).Status(http.StatusNotFound).Says("This photo cannot be shown. Its original is safe with the shop.")
	if r.Header.Get("Retry-After") != "" {
		t.Errorf("a photo that will never be there: Retry-After %q", r.Header.Get("Retry-After"))
	}
	floor.Get(fmt.Sprintf("/builds/%s/photos/%s", build, id)).Status(http.StatusOK).Says("cut off|damaged")
	floor.Get(fmt.Sprintf("/builds/%s/photos/%s/original", build, id)).Status(http.StatusOK)
}

// Once its entry is withdrawn, or the shop's alone, the owner's next request for
// a photo finds nothing; the shop's does.
func TestPhotoFile_TakenBack(t *testing.T) {
	for _, how := range []string{"withdrawn", "shop only"} {
		s := servertest.New(t)
		b := s.Full("Heron", s.Owner, 100)
		s.Settle()
		owner, floor := s.As(s.Owner), s.As(s.Floor)
		photo := fmt.Sprintf("/builds/%s/photos/%s", b.ID, b.SharedPhoto.ID)
		entry := fmt.Sprintf("/builds/%s/entries/%s", b.ID, b.Shared)
		addresses := []string{photo, photo + "?entry=" + string(b.Shared), photo + "/320", photo + "/960", photo + "/2048"}
		tag := owner.Get(photo + "/960").Status(http.StatusOK).Header.Get("ETag")
		if how == "withdrawn" {
			floor.Post(entry+"/withdraw", url.Values{"version": {"1"}, "reason": {"wrong truck"}}).Redirects(entry)
		} else {
			form := with(formIn(t, floor.Get(entry+"/edit"), entry+"/edit"), "audience", "shop only")
			postParts(floor, entry+"/edit", bytes.NewReader(multipartForm(form))).Redirects(entry)
		}
		for _, at := range addresses {
			owner.Get(at).Status(http.StatusNotFound)
			floor.Get(at).Status(http.StatusOK)
		}
		owner.Send(http.MethodGet, photo+"/960", "", nil, func(r *http.Request) { r.Header.Set("If-None-Match", tag) }).Status(http.StatusNotFound)
		owner.Get(entry).Status(http.StatusNotFound)
	}
}

// Nothing private is in what owners get: ExifTool finds only the picture's own
// structure and colour (its groups of family 1), and none of the words that were
// written into the original. Promise 2.
func TestPhotoFile_NothingPrivate(t *testing.T) {
	program(t, "exiftool")
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	floor, owner := s.As(s.Floor), s.As(s.Owner)
	files := []file{{"IMG_1.jpg", exifTool(t, grainyJPEG(t, 700, 500, 1), "-Make=Ostler", "-Model=Pocket 4", "-Orientation#=6",
		"-DateTimeOriginal=2026:04:10 09:00:00", "-GPSLatitude#=40.5", "-GPSLatitudeRef=N", "-GPSLongitude#=105.25", "-GPSLongitudeRef=W",
		"-Artist=Wilhelmina Quarterdeck", "-SerialNumber=SN-77123-XK", "-OwnerName=Wilhelmina Quarterdeck", "-ImageDescription=behind the Quarterdeck barn",
		"-XMP:Creator=Wilhelmina Quarterdeck", "-XMP:GPSLatitude=40.5", "-IPTC:City=Tern Hollow", "-Comment=key under the mat")}}
	if at := camera(t, "camera__Canon_EOS_7D.jpg"); at != "" { // with a real camera's maker notes
		b, err := os.ReadFile(at)
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, file{filepath.Base(at), b})
	} else {
		t.Log("no folder shared/camera with camera samples beside the project: no real maker notes")
	}
	a := sendPhotos(t, floor, build, files...)
	var photos []journal.EntryPhoto
	for _, p := range a.Photos {
		photos = append(photos, journal.EntryPhoto{PhotoID: p.ID})
	}
	if _, err := s.App.Steps().PostEntry(context.Background(), servertest.Actor(s.Floor), build, flow.NewEntry{
		StageID: stages[0].ID, Kind: journal.KindProgress, Audience: journal.OwnerToo, Photos: photos,
	}); err != nil {
		t.Fatal(err)
	}
	s.Settle()
	if p := photoOf(t, s, build, a.Photos[0].ID); !p.Located || p.Camera != "Ostler Pocket 4" {
		t.Errorf("the shop's own record lacks the place or the camera: %+v", p)
	}
	may := map[string]bool{"ExifTool": true, "System": true, "File": true, "JFIF": true, "Composite": true}
	for i, p := range a.Photos {
		for _, size := range journal.PhotoSizes {
			body := owner.Get(fmt.Sprintf("/builds/%s/photos/%s/%d", build, p.ID, size)).Status(http.StatusOK).Body
			cmd := exec.Command("exiftool", "-json", "-a", "-G1", "-U", "-")
			cmd.Stdin = strings.NewReader(body)
			out, err := cmd.Output()
			if err != nil {
				t.Fatal(err)
			}
			var rows []map[string]any
			if err := json.Unmarshal(out, &rows); err != nil || len(rows) != 1 {
				t.Fatalf("exiftool: %v: %s", err, out)
			}
			for name, value := range rows[0] {
				group, tag, _ := strings.Cut(name, ":")
				if name != "SourceFile" && !may[group] && !strings.HasPrefix(group, "ICC") || tag == "Comment" {
					t.Errorf("%s at %d tells %s = %v", files[i].name, size, name, value)
				}
			}
			for _, word := range []string{"quarterdeck", "sn-77123", "tern hollow", "key under", "ostler", "canon", "exif\x00", "ns.adobe.com", "photoshop"} {
				if strings.Contains(strings.ToLower(body), word) {
					t.Errorf("%s at %d has %q in its bytes", files[i].name, size, word)
				}
			}
		}
		page := owner.Get(fmt.Sprintf("/builds/%s/photos/%s", build, p.ID)).Status(http.StatusOK)
		page.Check(htmlcheck.In("main", htmlcheck.HasNoText("40.5|105.25|Ostler Pocket|IMG_1|Canon|SHA")))
	}
}

// A stop leaves the sizes of some photos to be made; the next start makes them.
func TestPhotos_MadeAfterARestart(t *testing.T) {
	dir, clock := t.TempDir(), servertest.NewClock()
	var build journal.BuildID
	var taken []journal.PhotoID
	t.Run("stopped", func(t *testing.T) {
		s := servertest.Start(t, dir, clock, func(c *server.Config) { c.Workers = 1 })
		build, _ = s.Agreed("Heron", s.Owner)
		var files []file
		large := grainyJPEG(t, 2000, 1500, 1)
		for i := range 4 { // told apart by a comment (ITU-T T.81, B.2.4.5)
			files = append(files, file{fmt.Sprintf("IMG_%d.jpg", i), slices.Insert(slices.Clone(large), 2, 0xff, 0xfe, 0, 3, byte(i))})
		}
		for _, p := range sendPhotos(t, s.As(s.Floor), build, files...).Photos {
			taken = append(taken, p.ID)
		}
	})
	cfg := server.Default()
	cfg.DataDir = dir
	app, err := server.Open(cfg, server.WithClock(clock.Now), server.WithLog(slog.New(slog.DiscardHandler)))
	if err != nil {
		t.Fatal(err)
	}
	waiting := 0
	err = app.Steps().Store.Read(context.Background(), func(r flow.Reads) (err error) {
		waiting, err = r.PendingJobs(journal.JobDerive)
		return err
	})
	if err := errors.Join(err, app.Close()); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d of 4 photos wait", waiting)
	if waiting == 0 {
		t.Fatal("the stop comes too late to test anything")
	}
	t.Run("started again", func(t *testing.T) {
		s := servertest.Start(t, dir, clock)
		s.Settle()
		floor := s.As(s.Floor)
		for _, id := range taken {
			if p := photoOf(t, s, build, id); p.State != journal.PhotoReady || p.Tone == "" {
				t.Errorf("photo %s is %s", id, p.State)
			}
			for _, size := range journal.PhotoSizes {
				floor.Get(fmt.Sprintf("/builds/%s/photos/%s/%d", build, id, size)).Status(http.StatusOK)
			}
		}
	})
}
