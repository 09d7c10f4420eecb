package server_test

import (
	"bytes"
	"image/jpeg"
	"net/http"
	"os"
	"testing"

	"farbay/journal"
	"farbay/server/servertest"
)

// A HEIC as a phone wrote it becomes a photo that every browser shows: upright
// once, by its own boxes, and with nothing private in it.
func TestUpload_HEIC(t *testing.T) {
	at := camera(t, "offset__IMG_2927.HEIC")
	if at == "" {
		t.Skip("skipped: no folder shared/camera with camera samples beside the project")
	}
	body, err := os.ReadFile(at)
	if err != nil {
		t.Fatal(err)
	}
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	a := sendPhotos(t, floor, build, file{"IMG_2927.HEIC", body})
	if len(a.Photos) != 1 || a.Photos[0].Error != "" {
		t.Fatalf("answered %+v", a)
	}
	s.Settle()
	r := floor.Get("/builds/" + string(build) + "/photos/" + string(a.Photos[0].ID) + "/960").Status(http.StatusOK)
	shown, err := jpeg.DecodeConfig(bytes.NewReader([]byte(r.Body)))
	// truth.json: 3024 x 4032, which ExifTool 12.57 prints.
	if err != nil || shown.Width != 720 || shown.Height != 960 {
		t.Errorf("shown as %d x %d (%v), want 720 x 960", shown.Width, shown.Height, err)
	}
	photos, err := s.App.Steps().LoosePhotos(t.Context(), servertest.Actor(s.Floor), build)
	if err != nil || len(photos) != 1 || photos[0].State != journal.PhotoReady || photos[0].Kind != "image/heic" || photos[0].CapturedOffset != -240 {
		t.Errorf("recorded as %+v (%v)", photos, err)
	}
}
