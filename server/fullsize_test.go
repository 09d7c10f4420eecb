package server_test

import (
	"bytes"
	"context"
	"image/jpeg"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"farbay/journal"
	"farbay/server/servertest"
)

// tool finds an outside program, or skips; with FARBAY_TEST_ALL set it must be
// there.
func tool(t *testing.T, name string) string {
	t.Helper()
	at, err := exec.LookPath(name)
	if err != nil && os.Getenv("FARBAY_TEST_ALL") != "" {
		t.Fatalf("%s is not installed", name)
	}
	if err != nil {
		t.Skipf("skipped: %s is not installed", name)
	}
	return at
}

// exiftool is what ExifTool, a reader not ours, says of a file.
func exiftool(t *testing.T, name, body string) string {
	t.Helper()
	at := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(at, []byte(body), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), tool(t, "exiftool"), "-ee", "-G1", "-a", "-s", at).CombinedOutput()
	if err != nil {
		t.Fatalf("exiftool: %v: %s", err, out)
	}
	return string(out)
}

// private are words of tags that tell where, with what and when a file was made.
var private = []string{"GPS", "Make", "Model ", "Serial", "Software", "Artist", "DateTimeOriginal", "Larkfield", "Location"}

func hasPrivate(said string) string {
	for _, word := range private {
		if strings.Contains(said, word) {
			return word
		}
	}
	return ""
}

// An owner saves a photo in full size without what its file tells; the original
// only when the office hands it out; never more of it than is shown.
func TestPhoto_FullSize(t *testing.T) {
	s := servertest.New(t)
	heron := s.Full("Heron", s.Owner, 100)
	s.Settle()
	at := "/builds/" + string(heron.ID) + "/photos/" + string(heron.SharedPhoto.ID)
	owner, office, floor := s.As(s.Owner), s.As(s.Office), s.As(s.Floor)
	full := owner.Get(at + "/full").Status(http.StatusOK)
	if name := full.Header.Get("Content-Disposition"); !strings.Contains(name, "heron-") || full.Header.Get("Content-Type") != "image/jpeg" {
		t.Errorf("saved as %q, %q", name, full.Header.Get("Content-Type"))
	}
	if again := owner.Get(at + "/full").Status(http.StatusOK); again.Body != full.Body {
		t.Error("the second time it is another file")
	}
	shown, err := jpeg.DecodeConfig(strings.NewReader(full.Body))
	if err != nil {
		t.Fatal(err)
	}

	owner.Get(at + "/original").Status(http.StatusForbidden)
	floor.Post(at+"/hand-out", url.Values{"give": {"yes"}}).Status(http.StatusForbidden)
	owner.Post(at+"/hand-out", url.Values{"give": {"yes"}}).Status(http.StatusForbidden)
	office.Post(at+"/hand-out", url.Values{"give": {"yes"}}).Status(http.StatusSeeOther)
	owner.Get(at).Says("Save the original")
	original := owner.Get(at + "/original").Status(http.StatusOK).Body
	if floor.Get(at+"/original").Status(http.StatusOK).Body != original {
		t.Error("the owner's original is another than the shop's")
	}

	// Once it is cropped, nobody outside gets the rest, by any of the addresses.
	read := journal.Layer{}
	err = s.App.Steps().SetLayer(context.Background(), servertest.Actor(s.Office), heron.ID, heron.SharedPhoto.ID, read.Number, journal.Layer{Crop: journal.Crop{W: 5000, H: journal.Full}})
	if err != nil {
		t.Fatal(err)
	}
	s.Settle()
	owner.Get(at + "/original").Status(http.StatusForbidden).Says("only a part")
	part, err := jpeg.DecodeConfig(strings.NewReader(owner.Get(at + "/full").Status(http.StatusOK).Body))
	if err != nil || part.Width != (shown.Width+1)/2 || part.Height != shown.Height {
		t.Errorf("cropped to half it is %d x %d of %d x %d (%v)", part.Width, part.Height, shown.Width, shown.Height, err)
	}
	office.Post(at+"/hand-out", url.Values{"give": {"no"}}).Status(http.StatusSeeOther)
	owner.Get(at + "/original").Status(http.StatusForbidden).Says("keeps the originals")

	// What the shop alone sees stays there.
	shop := "/builds/" + string(heron.ID) + "/photos/" + string(heron.ShopPhoto.ID)
	for _, end := range []string{"/full", "/original", "/video"} {
		owner.Get(shop + end).Status(http.StatusNotFound)
	}
}

// What a camera wrote into a photo reaches no owner with the full-size file, also
// when that is cut out of it; what ExifTool says of the original is the control.
func TestPhoto_FullSizeTellsNothing(t *testing.T) {
	at := filepath.Join(t.TempDir(), "IMG_5.jpg")
	if err := os.WriteFile(at, servertest.JPEG(t, 5), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), tool(t, "exiftool"), "-q", "-overwrite_original", "-Make=Larkfield", "-Model=P5", "-SerialNumber=77123",
		"-DateTimeOriginal=2026:04:10 09:15:00", "-GPSLatitude=41.1", "-GPSLatitudeRef=N", "-GPSLongitude=112.5", "-GPSLongitudeRef=W", "-XMP:Creator=Larkfield", at).CombinedOutput()
	if err != nil {
		t.Fatalf("exiftool: %v: %s", err, out)
	}
	body, err := os.ReadFile(at)
	if err != nil {
		t.Fatal(err)
	}
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	floor, office, owner := s.As(s.Floor), s.As(s.Office), s.As(s.Owner)
	photo := string(sendPhotos(t, floor, build, file{"IMG_5.jpg", body}).Photos[0].ID)
	s.Settle()
	floor.Post("/builds/"+string(build)+"/entries", url.Values{"id": {"full-full-full-full"}, "stage": {string(stages[0].ID)}, "kind": {"progress"}, "audience": {"owner too"}, "photo": {photo}}).Status(http.StatusSeeOther)
	address := "/builds/" + string(build) + "/photos/" + photo
	if hasPrivate(exiftool(t, "original.jpg", floor.Get(address+"/original").Status(http.StatusOK).Body)) == "" {
		t.Fatal("the original tells nothing private")
	}
	for number, layer := range []string{"", `{"crop":{"x":0,"y":0,"w":5000,"h":5000}}`} {
		if layer != "" {
			office.Post(address+"/marks", layerForm(number-1, layer)).Redirects(address)
			s.Settle()
		}
		if word := hasPrivate(exiftool(t, "full.jpg", owner.Get(address+"/full").Status(http.StatusOK).Body)); word != "" {
			t.Errorf("under the layer %q the full-size file tells %q", layer, word)
		}
	}
}

// film makes a short film of 2 s as a phone would name and place it.
func film(t *testing.T) []byte {
	t.Helper()
	at := filepath.Join(t.TempDir(), "film.mov")
	for _, args := range [][]string{
		{tool(t, "ffmpeg"), "-v", "error", "-f", "lavfi", "-i", "testsrc2=size=320x240:rate=15:duration=2", "-f", "lavfi", "-i", "sine=duration=2",
			"-c:v", "libx264", "-pix_fmt", "yuv420p", "-c:a", "aac", "-shortest", at},
		{tool(t, "exiftool"), "-q", "-overwrite_original", "-Keys:GPSCoordinates=41.1, -112.5", "-Keys:Make=Larkfield", "-Keys:Model=P5",
			"-Keys:CreationDate=2026:04:10 09:15:00-06:00", at},
	} {
		if out, err := exec.CommandContext(t.Context(), args[0], args[1:]...).CombinedOutput(); err != nil {
			t.Fatalf("%v: %v: %s", args[0], err, out)
		}
	}
	b, err := os.ReadFile(at)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A video is taken like a photo, played by parts without what its file tells,
// and kept as it came.
func TestVideo(t *testing.T) {
	body := film(t)
	for _, c := range []struct {
		name   string
		poster bool
	}{{"with ffmpeg", true}, {"without", false}} {
		t.Run(c.name, func(t *testing.T) {
			if !c.poster {
				t.Setenv("PATH", t.TempDir())
			}
			s := servertest.New(t)
			build, stages := s.Agreed("Heron", s.Owner)
			floor, owner := s.As(s.Floor), s.As(s.Owner)
			a := sendPhotos(t, floor, build, file{"IMG_7.MOV", body})
			if len(a.Photos) != 1 || a.Photos[0].Error != "" {
				t.Fatalf("answered %+v", a)
			}
			s.Settle()
			loose, err := s.App.Steps().LoosePhotos(t.Context(), servertest.Actor(s.Floor), build)
			if err != nil || len(loose) != 1 {
				t.Fatal(loose, err)
			}
			p := loose[0]
			if p.Kind != "video/quicktime" || p.DurationMS < 1900 || p.DurationMS > 2200 || p.State != journal.PhotoReady || p.Pictured() != c.poster || p.CapturedOffset != -360 {
				t.Errorf("recorded as %+v", p)
			}
			at := "/builds/" + string(build) + "/photos/" + string(p.ID)
			owner.Get(at + "/video").Status(http.StatusNotFound)
			floor.Post("/builds/"+string(build)+"/entries", url.Values{"id": {"film-film-film-film"}, "stage": {string(stages[0].ID)}, "kind": {"progress"}, "audience": {"owner too"}, "photo": {string(p.ID)}}).Status(http.StatusSeeOther)
			owner.Get(at).Says("Video, 0:02")
			owner.Get("/builds/" + string(build) + "/journal").Says("Video, 0:02")
			clean := owner.Get(at + "/video").Status(http.StatusOK)
			if len(clean.Body) != len(body) || clean.Header.Get("Accept-Ranges") != "bytes" || clean.Header.Get("Content-Type") != "video/quicktime" {
				t.Errorf("%d of %d bytes as %v", len(clean.Body), len(body), clean.Header)
			}
			part := owner.Send(http.MethodGet, at+"/video", "", nil, func(r *http.Request) { r.Header.Set("Range", "bytes=1000-1999") })
			if part.StatusCode != http.StatusPartialContent || part.Body != clean.Body[1000:2000] {
				t.Errorf("a part: status %d, %d bytes", part.StatusCode, len(part.Body))
			}
			if saved := owner.Get(at + "/full").Status(http.StatusOK); saved.Body != clean.Body || !strings.Contains(saved.Header.Get("Content-Disposition"), ".mov") {
				t.Errorf("saved as %v", saved.Header)
			}
			if original := floor.Get(at + "/original").Status(http.StatusOK); !bytes.Equal([]byte(original.Body), body) {
				t.Error("the original is not as it came")
			}
			if c.poster {
				if hasPrivate(exiftool(t, "film.mov", string(body))) == "" {
					t.Fatal("the film as it was sent tells nothing private")
				}
				if word := hasPrivate(exiftool(t, "clean.mov", clean.Body)); word != "" {
					t.Errorf("the owner's video tells %q", word)
				}
				owner.Get(at + "/320").Status(http.StatusOK)
			} else {
				floor.Get(at).Says("no ffmpeg")
			}
		})
	}
}
