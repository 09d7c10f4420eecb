package views

import (
	"image"
	"image/color"
	"image/jpeg"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestPreview writes every sample page, every asset and stand-in photos to the
// folder named by FARBAY_PREVIEW, for looking at them in a browser. The folder
// is laid out as the addresses are, with pages as NAME.html.
func TestPreview(t *testing.T) {
	dir := os.Getenv("FARBAY_PREVIEW")
	if dir == "" {
		t.Skip("FARBAY_PREVIEW names no folder to write the pages to")
	}
	set := mustNew(t)
	for name, page := range samples {
		write(t, filepath.Join(dir, name+".html"), []byte(render(t, set, page)))
	}
	for name := range set.assets.files {
		url, err := set.Asset(name)
		if err != nil {
			t.Fatal(err)
		}
		w := httptest.NewRecorder()
		set.Assets().ServeHTTP(w, httptest.NewRequest(http.MethodGet, url, nil))
		write(t, filepath.Join(dir, filepath.FromSlash(strings.TrimPrefix(url, "/"))), w.Body.Bytes())
	}
	for i, id := range []string{"p1", "p2", "p3", "p4", "p5", "p6"} {
		for size, name := range map[int]string{320: "320", 960: "960", 2048: "2048"} {
			width, height := size, size*3/4
			if id == "p2" {
				width, height = height, width
			}
			path := filepath.Join(dir, "builds/b1/photos", id, name)
			if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
				t.Fatal(err)
			}
			f, err := os.Create(path)
			if err != nil {
				t.Fatal(err)
			}
			if err := jpeg.Encode(f, standIn(width, height, i), nil); err != nil {
				t.Fatal(err)
			}
			if err := f.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// standIn draws a plain hall with something standing in it.
func standIn(width, height, i int) image.Image {
	m := image.NewRGBA(image.Rect(0, 0, width, height))
	wall, floor, body := color.RGBA{217, 222, 219, 255}, color.RGBA{151, 148, 138, 255}, color.RGBA{uint8(60 + 30*i), 70, uint8(60 + 10*i), 255}
	for y := range height {
		for x := range width {
			c := wall
			if y > height*7/10 {
				c = floor
			}
			if x > width/5 && x < width*4/5 && y > height*2/5 && y < height*3/4 {
				c = body
			}
			m.Set(x, y, c)
		}
	}
	return m
}

func write(t *testing.T, path string, data []byte) {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, data, 0o644); err != nil {
		t.Fatal(err)
	}
}
