package server_test

import (
	"bytes"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
	"farbay/server/servertest"
)

// originalEvents are the kinds of a build's events about originals, and who
// caused them.
func originalEvents(t *testing.T, s *servertest.Server, build journal.BuildID, photo journal.PhotoID) (kinds []string) {
	t.Helper()
	err := s.App.Steps().Store.Read(context.Background(), func(r flow.Reads) error {
		events, err := r.Events(build)
		for _, e := range events {
			if strings.HasPrefix(e.Kind, "original ") && e.Subject == string(photo) && e.PersonID == s.Office.ID {
				kinds = append(kinds, e.Kind)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return kinds
}

// What the office hands out and takes back is recorded, each once; the owner
// gets the bytes as they came, under no name that the sender gave them.
func TestHandOut(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Old Salt", s.Owner, 100)
	s.Settle()
	at := fmt.Sprintf("/builds/%s/photos/%s", b.ID, b.SharedPhoto.ID)
	owner, office := s.As(s.Owner), s.As(s.Office)
	give := func(value string) *servertest.Reply {
		return office.Post(at+"/hand-out", url.Values{"give": {value}})
	}
	office.Get(at).Status(http.StatusOK).Says("The original tells where, when and with what it was taken")
	if page := owner.Get(at).Status(http.StatusOK); strings.Contains(page.Body, "/original") || strings.Contains(page.Body, "/hand-out") {
		t.Error("the owner is offered what they may not have")
	}
	if page := s.As(s.Floor).Get(at).Status(http.StatusOK); strings.Contains(page.Body, "/hand-out") {
		t.Error("the floor is offered to hand out an original")
	}
	give("perhaps").Status(http.StatusUnprocessableEntity).Says("yes or no")
	give("no").Redirects(at)
	if kinds := originalEvents(t, s, b.ID, b.SharedPhoto.ID); kinds != nil {
		t.Errorf("nothing happened, and recorded is %q", kinds)
	}
	give("yes").Redirects(at)
	give("yes").Redirects(at)
	office.Get(at).Status(http.StatusOK).Says("Handed out to the owner")
	r := owner.Get(at + "/original").Status(http.StatusOK)
	if name := r.Header.Get("Content-Disposition"); !strings.HasPrefix(name, "attachment; filename=old-salt-2026-") || !strings.HasSuffix(name, ".jpg") {
		t.Errorf("the owner saves it as %q", name)
	}
	if want := servertest.JPEG(t, 100); !bytes.Equal([]byte(r.Body), want) {
		t.Errorf("the original has %d bytes, came with %d", len(r.Body), len(want))
	}
	// A photo that is turned is still shown whole; one that is cropped is not.
	for number, c := range []struct {
		layer  string
		status int
	}{{`{"turn":1}`, http.StatusOK}, {`{"crop":{"x":0,"y":0,"w":5000,"h":5000}}`, http.StatusForbidden}} {
		office.Post(at+"/marks", layerForm(number, c.layer)).Redirects(at)
		s.Settle()
		owner.Get(at + "/original").Status(c.status)
		page := owner.Get(at).Status(http.StatusOK)
		if offered := strings.Contains(page.Body, "/original"); offered != (c.status == http.StatusOK) {
			t.Errorf("under %s the owner is offered the original: %t", c.layer, offered)
		}
	}
	office.Get(at).Status(http.StatusOK).Says("While only a part of it is shown, they cannot save it")
	give("no").Redirects(at)
	owner.Get(at + "/original").Status(http.StatusForbidden)
	if kinds := fmt.Sprint(originalEvents(t, s, b.ID, b.SharedPhoto.ID)); kinds != "[original handed out original taken back]" {
		t.Errorf("recorded is %s", kinds)
	}
}

// A video that comes in pieces is a video like any other, and the answer to a
// page that waits for a preview says whether there will be one.
func TestVideo_InPieces(t *testing.T) {
	body := film(t)
	t.Setenv("PATH", t.TempDir()) // from here on there is no ffmpeg
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	at := tus(floor, http.MethodPost, uploadsAt(build), nil, "Upload-Length", strconv.Itoa(len(body)),
		"Upload-Metadata", meta("filename", "IMG_8.MOV", "filetype", "video/quicktime")).Status(http.StatusCreated).Header.Get("Location")
	half := len(body) / 2
	patch(floor, at, 0, body[:half]).Status(http.StatusNoContent)
	id := patch(floor, at, half, body[half:]).Status(http.StatusNoContent).Header.Get("Photo-Id")
	photo := fmt.Sprintf("/builds/%s/photos/%s", build, id)
	s.Settle()
	never := floor.Get(photo + "/960").Status(http.StatusNotFound).Says("no preview")
	if never.Header.Get("Retry-After") != "" {
		t.Error("a page is told to ask again for a preview that will not come")
	}
	floor.Get(photo).Status(http.StatusOK).Says("Video, 0:02")
	floor.Get("/builds/" + string(build) + "/entries/new").Status(http.StatusOK).Says("Video, 0:02")
	floor.Get(photo + "/marks").Status(http.StatusConflict).Says("A video takes no marks")
	if clean := floor.Get(photo + "/video").Status(http.StatusOK); len(clean.Body) != len(body) || clean.Body == string(body) {
		t.Errorf("played are %d of %d bytes, or they are not cleaned", len(clean.Body), len(body))
	}
}

// Two minutes are the most; what is longer is told so and leaves nothing.
func TestVideo_TooLong(t *testing.T) {
	at := filepath.Join(t.TempDir(), "long.mp4")
	out, err := exec.CommandContext(t.Context(), tool(t, "ffmpeg"), "-v", "error", "-f", "lavfi", "-i", "color=size=32x32:rate=1:duration=125",
		"-c:v", "libx264", "-pix_fmt", "yuv420p", at).CombinedOutput()
	if err != nil {
		t.Fatalf("ffmpeg: %v: %s", err, out)
	}
	body, err := os.ReadFile(at)
	if err != nil {
		t.Fatal(err)
	}
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	a := answerOf(t, postParts(s.As(s.Floor), "/builds/"+string(build)+"/photos", bytes.NewReader(multipartForm(nil, file{"long.mp4", body})), asData).Status(http.StatusRequestEntityTooLarge))
	if len(a.Photos) != 1 || a.Photos[0].Error != "This video is longer than 2 minutes; please send a shorter one." {
		t.Errorf("answered %+v", a)
	}
	if err := s.App.Storage().Each(t.Context(), func(sha string, _ int64) error { return fmt.Errorf("%s is kept", sha) }); err != nil {
		t.Error(err)
	}
}

// A paper is read and signed without playing anything: it takes a find's photos,
// and no video.
func TestVideo_OnNoPaper(t *testing.T) {
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	floor, office := s.As(s.Floor), s.As(s.Office)
	a := sendPhotos(t, floor, build, file{"IMG_9.MOV", film(t)}, file{"IMG_10.jpg", servertest.JPEG(t, 10)})
	s.Settle()
	video, photo := a.Photos[0].ID, a.Photos[1].ID
	steps, by := s.App.Steps(), servertest.Actor(s.Office)
	find, err := steps.PostEntry(t.Context(), by, build, flow.NewEntry{
		ID: "find-with-a-video-00001", StageID: stages[0].ID, Kind: journal.KindFind, Audience: journal.ShopOnly, Text: "The rear crossmember is cracked.",
		Photos: []journal.EntryPhoto{{PhotoID: video}, {PhotoID: photo}},
	})
	if err != nil {
		t.Fatal(err)
	}
	p, err := steps.NewPaper(t.Context(), by, build, flow.PaperStart{Kind: signoff.ChangeOrder, EntryID: find.ID})
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Draft.Photos) != 1 || p.Draft.Photos[0].PhotoID != photo {
		t.Errorf("the paper begins with %+v", p.Draft.Photos)
	}
	page := office.Get(fmt.Sprintf("/builds/%s/papers/%s/edit", build, p.ID)).Status(http.StatusOK)
	if strings.Contains(page.Body, string(video)) || !strings.Contains(page.Body, string(photo)) {
		t.Error("the paper's form offers the video, or not the photo")
	}
	p.Draft.Photos[0].PhotoID = video
	if _, err := steps.SavePaper(t.Context(), by, build, p.ID, p.Version, p.Draft); journal.CodeOf(err) != journal.Invalid {
		t.Errorf("a video on a paper: %v", err)
	}
}

// Asked for by many at once, the full-size file is made and sent whole to each;
// asked for again with its tag, it is not sent (RFC 9110, section 13.1.2).
func TestPhoto_FullSizeAtOnce(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	s.Settle()
	at := fmt.Sprintf("/builds/%s/photos/%s/full", b.ID, b.SharedPhoto.ID)
	owner := s.As(s.Owner)
	replies := make([]*servertest.Reply, 8)
	var all sync.WaitGroup
	for i := range replies {
		all.Go(func() { replies[i] = owner.Get(at) })
	}
	all.Wait()
	for _, r := range replies {
		if r.StatusCode != http.StatusOK || r.Body == "" || r.Body != replies[0].Body {
			t.Errorf("status %d with %d bytes", r.StatusCode, len(r.Body))
		}
	}
	tag := replies[0].Header.Get("ETag")
	if kept := replies[0].Header.Get("Cache-Control"); tag == "" || kept != "private, no-cache" {
		t.Errorf("tag %q, kept %q", tag, kept)
	}
	again := owner.Send(http.MethodGet, at, "", nil, func(r *http.Request) { r.Header.Set("If-None-Match", tag) })
	if again.StatusCode != http.StatusNotModified || again.Body != "" {
		t.Errorf("asked again: status %d, %d bytes", again.StatusCode, len(again.Body))
	}
}
