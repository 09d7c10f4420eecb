package server_test

import (
	"archive/zip"
	"bytes"
	"context"
	"fmt"
	"image/jpeg"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/media"
	"farbay/server/servertest"
)

// tellingJPEG is a photo that tells where, when and with what it was taken, as
// ExifTool writes it.
func tellingJPEG(t *testing.T, seed int) []byte {
	t.Helper()
	at := filepath.Join(t.TempDir(), "telling.jpg")
	if err := os.WriteFile(at, servertest.JPEG(t, seed), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), tool(t, "exiftool"), "-q", "-overwrite_original", "-Make=Calder", "-Model=C4", "-Artist=Larkfield",
		"-DateTimeOriginal=2026:04:14 08:12:08", "-OffsetTimeOriginal=-06:00", "-GPSLatitude=39.7", "-GPSLatitudeRef=N", "-GPSLongitude=105", "-GPSLongitudeRef=W", at).CombinedOutput()
	if err != nil {
		t.Fatalf("exiftool: %v: %s", err, out)
	}
	body, err := os.ReadFile(at)
	if err != nil {
		t.Fatal(err)
	}
	return body
}

// unzipped is what is in a ZIP by name. Info-ZIP's unzip, a reader not ours,
// must find it whole.
func unzipped(t *testing.T, body string) map[string]string {
	t.Helper()
	at := filepath.Join(t.TempDir(), "photos.zip")
	if err := os.WriteFile(at, []byte(body), 0o600); err != nil {
		t.Fatal(err)
	}
	if out, err := exec.CommandContext(t.Context(), tool(t, "unzip"), "-t", at).CombinedOutput(); err != nil {
		t.Fatalf("unzip -t: %v: %s", err, out)
	}
	r, err := zip.NewReader(strings.NewReader(body), int64(len(body)))
	if err != nil {
		t.Fatal(err)
	}
	files := map[string]string{}
	for _, f := range r.File {
		open, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		content, err := io.ReadAll(open)
		if err != nil || open.Close() != nil {
			t.Fatalf("%s: %v", f.Name, err)
		}
		if _, twice := files[f.Name]; twice || f.Method != zip.Store {
			t.Errorf("%s is there twice, or not stored", f.Name)
		}
		files[f.Name] = string(content)
		if strings.HasPrefix(f.Name, "0001_2026-04-14_0812") && !f.Modified.Equal(time.Date(2026, 4, 14, 14, 12, 8, 0, time.UTC)) {
			t.Errorf("%s was changed at %s, and not when it was taken", f.Name, f.Modified)
		}
	}
	return files
}

// post puts files into the open stage as one entry.
func postFiles(t *testing.T, s *servertest.Server, b servertest.Full, stage journal.StageID, captions []string, files ...[]byte) (photos []journal.Photo) {
	t.Helper()
	ctx, floor := context.Background(), servertest.Actor(s.Floor)
	var placed []journal.EntryPhoto
	for i, body := range files {
		taken, err := s.App.Intake().Take(ctx, floor, b.ID, fmt.Sprintf("secret-name-%d.jpg", i), bytes.NewReader(body))
		if err != nil {
			t.Fatal(err)
		}
		photos = append(photos, taken.Photo)
		placed = append(placed, journal.EntryPhoto{PhotoID: taken.Photo.ID, Caption: captions[i]})
	}
	_, err := s.App.Steps().PostEntry(ctx, floor, b.ID, flow.NewEntry{StageID: stage, Kind: journal.KindProgress, Audience: journal.OwnerToo, Text: "Text", Photos: placed})
	if err != nil {
		t.Fatal(err)
	}
	s.Settle()
	return photos
}

// The owner gets the views in force without what the files tell, and nothing of
// the shop's; the shop gets the originals; one that is lost breaks nothing.
func TestStageZip(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	telling := tellingJPEG(t, 900)
	photos := postFiles(t, s, b, b.Open, []string{"Größe of the floor pan, left: 'as found' and much longer than that", "cropped"}, telling, pngFile(t))
	steps, ctx := s.App.Steps(), context.Background()
	half := journal.Layer{Crop: journal.Crop{W: 5000, H: journal.Full}}
	if err := steps.SetLayer(ctx, servertest.Actor(s.Office), b.ID, b.SharedPhoto.ID, 0, half); err != nil {
		t.Fatal(err)
	}
	s.Settle()
	owner, floor := s.As(s.Owner), s.As(s.Floor)
	at := "/builds/" + string(b.ID) + "/stages/" + string(b.Open)

	reply := owner.Get(at + "/photos.zip").Status(http.StatusOK)
	if kind, name := reply.Header.Get("Content-Type"), reply.Header.Get("Content-Disposition"); kind != "application/zip" || !strings.Contains(name, "heron-") {
		t.Errorf("sent as %q, %q", kind, name)
	}
	files := unzipped(t, reply.Body)
	index := files["index.txt"]
	const first = "0001_2026-04-14_0812_groe-of-the-floor-pan-left-as-found-and.jpg"
	if len(files) != 4 || files[first] == "" || !strings.Contains(index, "0001\t"+first+"\t2026-04-14 08:12:08 -06:00\tcamera with offset\tGröße of the floor pan, left: 'as found'") {
		t.Errorf("%d files; the index:\n%s", len(files), index)
	}
	named := regexp.MustCompile(`^\d{4}_\d{4}-\d\d-\d\d_\d{4}(_[a-z0-9-]{1,40})?\.jpg$`)
	halves := 0
	for name, body := range files {
		if name == "index.txt" {
			continue
		}
		if !named.MatchString(name) || !strings.Contains(index, "\t"+name+"\t") {
			t.Errorf("%q is no name, or not in the index", name)
		}
		if word := hasPrivate(exiftool(t, "one.jpg", body)); word != "" {
			t.Errorf("%s tells %q", name, word)
		}
		size, err := jpeg.DecodeConfig(strings.NewReader(body))
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if size.Width == 32 && size.Height == 48 { // half of 64 x 48
			halves++
		}
	}
	if halves != 1 {
		t.Errorf("%d files are cut as the layer in force says", halves)
	}
	for _, secret := range []string{"secret-name", "IMG_10", "For the shop only", string(b.ShopPhoto.ID), "Calder"} {
		if strings.Contains(reply.Body, secret) {
			t.Errorf("the owner learns of %q", secret)
		}
	}
	small := unzipped(t, owner.Get(at+"/photos.zip?size=2048").Status(http.StatusOK).Body)
	if len(small) != 4 || strings.Contains(small["index.txt"], "Not here") {
		t.Errorf("the smaller ZIP has %d files:\n%s", len(small), small["index.txt"])
	}
	owner.Get(at + "/photos.zip?size=320").Status(http.StatusUnprocessableEntity).Says("size=2048")

	originals := unzipped(t, floor.Get(at+"/photos.zip").Status(http.StatusOK).Body)
	if originals[first] != string(telling) || len(originals) != len(files)+1 || !strings.Contains(strings.Join(keys(originals), " "), "_cropped.png") {
		t.Errorf("the floor has %q, or not the original", keys(originals))
	}

	if err := os.Remove(s.App.Storage().(*media.Disk).OriginalPath(photos[1].SHA256)); err != nil {
		t.Fatal(err)
	}
	rest := unzipped(t, owner.Get(at+"/photos.zip").Status(http.StatusOK).Body)
	if len(rest) != 3 || !strings.Contains(rest["index.txt"], "Not here, or not whole: 1") || !regexp.MustCompile(`\t-\t.*cropped\tIt could not be read`).MatchString(rest["index.txt"]) {
		t.Errorf("with one lost there are %d files:\n%s", len(rest), rest["index.txt"])
	}
}

func keys(m map[string]string) (all []string) {
	for k := range m {
		all = append(all, k)
	}
	return all
}

// A stage without photos has no ZIP, and its sheet says so.
func TestStageZip_Empty(t *testing.T) {
	s := servertest.New(t)
	build, stages := s.Agreed("Juniper", s.Owner)
	at := "/builds/" + string(build) + "/stages/" + string(stages[5].ID)
	for _, who := range []*servertest.Client{s.As(s.Owner), s.As(s.Floor)} {
		who.Get(at + "/photos.zip").Status(http.StatusNotFound).Says("has no photos yet, so there is nothing to save")
		who.Get(at + "/sheet").Status(http.StatusOK).Says("No photos of this stage yet")
		if page := who.Get(at).Status(http.StatusOK); strings.Contains(page.Body, "photos.zip") {
			t.Error("the stage's page offers a ZIP of nothing")
		}
	}
}

// Nobody is sent more than two ZIPs at once; one that is broken off makes room.
func TestStageZip_TwoAtOnce(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	// More than what stands between server and reader can hold: comments (ITU-T
	// T.81, B.2.4.5) of 64 KB each, 20 MB of them, after the start marker.
	plain := servertest.JPEG(t, 901)
	comment := append([]byte{0xff, 0xfe, 0xff, 0xff}, make([]byte, 65533)...)
	postFiles(t, s, b, b.Open, []string{""}, bytes.Join([][]byte{plain[:2], bytes.Repeat(comment, 320), plain[2:]}, nil))
	floor, other := s.As(s.Floor), s.As(s.Office)
	at := "/builds/" + string(b.ID) + "/stages/" + string(b.Open) + "/photos.zip"
	var stops []context.CancelFunc
	for range 2 {
		ctx, stop := context.WithCancel(t.Context())
		defer stop()
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, s.URL+at, nil)
		if err != nil {
			t.Fatal(err)
		}
		open, err := floor.HTTP.Do(r) // and never read
		if err != nil {
			t.Fatal(err)
		}
		defer open.Body.Close()
		if open.StatusCode != http.StatusOK {
			t.Fatalf("status %d", open.StatusCode)
		}
		stops = append(stops, stop)
	}
	floor.Get(at).Status(http.StatusTooManyRequests).Says("saving 2 ZIPs already")
	other.Get(at).Status(http.StatusOK)
	stops[0]()
	again := time.NewTicker(20 * time.Millisecond)
	defer again.Stop()
	for end := time.After(20 * time.Second); floor.Get(at).StatusCode != http.StatusOK; {
		select {
		case <-again.C:
		case <-end:
			t.Fatal("one that was broken off still counts")
		}
	}
}

// The sheet has every photo once, numbered, in the order of capture, with what
// is laid over it; only the first rows load at once.
func TestContactSheet(t *testing.T) {
	s := servertest.New(t)
	b := s.Full("Heron", s.Owner, 100)
	files, captions := make([][]byte, 14), make([]string, 14)
	for i := range files {
		files[i] = servertest.JPEG(t, 910+i)
	}
	captions[0] = "Under the left pan"
	postFiles(t, s, b, b.Open, captions, files...)
	marked := journal.Layer{Marks: []journal.Mark{{Shape: journal.MarkArrow, X: 1000, Y: 1000, X2: 5000, Y2: 5000, Text: "crack"}}}
	if err := s.App.Steps().SetLayer(context.Background(), servertest.Actor(s.Office), b.ID, b.SharedPhoto.ID, 0, marked); err != nil {
		t.Fatal(err)
	}
	s.Settle()
	stage := "/builds/" + string(b.ID) + "/stages/" + string(b.Open)
	for who, want := range map[*servertest.Client]int{s.As(s.Owner): 15, s.As(s.Floor): 16, s.As(s.Office): 16} {
		page := who.Get(stage + "/sheet").Status(http.StatusOK).Says("Heron").Says("Under the left pan").Says(fmt.Sprintf("%d photos in the order", want))
		if got := strings.Count(page.Body, "<li>"); got != want {
			t.Errorf("%d photos, want %d", got, want)
		}
		if lazy := strings.Count(page.Body, `loading="lazy"`); lazy != want-12 {
			t.Errorf("%d of %d photos wait", lazy, want)
		}
		if !strings.Contains(page.Body, "Arrow: crack") || !strings.Contains(page.Body, `class="marks"`) {
			t.Error("the marks are missing")
		}
		if has := strings.Contains(page.Body, string(b.ShopPhoto.ID)); has != (want == 16) {
			t.Errorf("the shop's photo is there: %v", has)
		}
		who.Get(stage).Status(http.StatusOK).Says("Contact sheet").Says("Save all photos as ZIP")
	}
}
