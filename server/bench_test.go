package server_test

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server"
	"farbay/server/servertest"
)

// BenchmarkOwnerFirstPage measures an owner's first page of a build with 3,000
// photos against one with 30, both in one run: "ratio" is time over time (goal:
// at most 1.2).
//
//	go test -run - -bench OwnerFirstPage -benchtime 200x ./server
func BenchmarkOwnerFirstPage(b *testing.B) {
	s := servertest.New(b)
	second := s.Add(journal.Owner, "Bodil Strand")
	small, large := filled(b, s, "Heron", s.Owner, 30), filled(b, s, "Juniper", second, 3000)
	owners := [2]*servertest.Client{s.As(s.Owner), s.As(second)}
	paths := [2]string{"/builds/" + string(small), "/builds/" + string(large)}
	for i, c := range owners {
		c.Get(paths[i]).Status(http.StatusOK) // both warm
	}
	var taken [2]time.Duration
	for b.Loop() {
		for i, c := range owners {
			began := time.Now()
			c.Get(paths[i])
			taken[i] += time.Since(began)
		}
	}
	b.ReportMetric(float64(taken[1])/float64(taken[0]), "ratio")
	b.ReportMetric(float64(taken[0].Microseconds())/float64(b.N), "us/small")
	b.ReportMetric(float64(taken[1].Microseconds())/float64(b.N), "us/large")
}

// filled makes a build with so many photos in entries of ten, over its first
// five stages.
func filled(b *testing.B, s *servertest.Server, nickname string, owner journal.Person, photos int) journal.BuildID {
	b.Helper()
	ctx, floor := context.Background(), servertest.Actor(s.Floor)
	id, stages := s.Agreed(nickname, owner)
	for i := range photos / 10 {
		var shown []journal.EntryPhoto
		for k := range 10 {
			p, _, err := s.App.Steps().RecordPhoto(ctx, floor, id, journal.Photo{
				SHA256: fmt.Sprintf("%064x", i*10+k), Bytes: 3_000_000, FileName: "IMG.jpg", Kind: "image/jpeg",
				Width: 4032, Height: 3024, Orientation: 1, CapturedAt: servertest.Begin.Add(time.Duration(i*10+k-photos) * time.Minute),
				CapturedSource: "camera with offset",
			})
			if err != nil {
				b.Fatal(err)
			}
			shown = append(shown, journal.EntryPhoto{PhotoID: p.ID})
		}
		_, err := s.App.Steps().PostEntry(ctx, floor, id, flow.NewEntry{
			StageID: stages[i%5].ID, Kind: journal.KindProgress, Audience: journal.OwnerToo, Text: "Ten photos of it.", Photos: shown,
		})
		if err != nil {
			b.Fatal(err)
		}
	}
	return id
}

// BenchmarkPhotoServed measures what it costs that every request for a photo
// asks whether this person may have it: "ratio" is the requests/s of the server
// over those of a bare http.ServeContent of the same file, on one kept
// connection each, both in one run (goal: at least 0.8). No photo is asked for
// twice in a row; each is of another row and file.
//
//	go test -run - -bench PhotoServed -benchtime 3000x ./server
func BenchmarkPhotoServed(b *testing.B) {
	s := servertest.New(b, func(c *server.Config) { c.LogLevel = "info" })
	build := s.Full("Heron", s.Owner, 100)
	var photos []journal.Photo
	for i := range 20 {
		taken, err := s.App.Intake().Take(context.Background(), servertest.Actor(s.Floor), build.ID, "IMG.jpg", bytes.NewReader(grainy(b, i)))
		if err != nil {
			b.Fatal(err)
		}
		photos = append(photos, taken.Photo)
	}
	s.Settle()
	var shown []journal.EntryPhoto
	for _, p := range photos {
		shown = append(shown, journal.EntryPhoto{PhotoID: p.ID})
	}
	_, err := s.App.Steps().PostEntry(context.Background(), servertest.Actor(s.Floor), build.ID, flow.NewEntry{
		StageID: build.Open, Kind: journal.KindProgress, Audience: journal.OwnerToo, Text: "Twenty photos.", Photos: shown,
	})
	if err != nil {
		b.Fatal(err)
	}
	client := s.As(s.Owner).HTTP
	for _, size := range journal.PhotoSizes {
		b.Run(strconv.Itoa(size), func(b *testing.B) {
			derivative := func(p journal.Photo) string {
				return filepath.Join(s.Dir, "media", "derivatives", p.SHA256[:2], fmt.Sprintf("%s-%d.jpg", p.SHA256, size))
			}
			bare := bareFiles(b, func(i int) string { return derivative(photos[i]) })
			var taken [2]time.Duration
			var bytes int64
			for i := 0; b.Loop(); i++ {
				p := i % len(photos)
				for k, url := range []string{
					fmt.Sprintf("%s/%d", bare, p),
					fmt.Sprintf("%s/builds/%s/photos/%s/%d", s.URL, build.ID, photos[p].ID, size),
				} {
					began := time.Now()
					bytes = fetched(b, client, url)
					taken[k] += time.Since(began)
				}
			}
			b.ReportMetric(float64(taken[0])/float64(taken[1]), "ratio")
			b.ReportMetric(float64(taken[0].Microseconds())/float64(b.N), "us/bare")
			b.ReportMetric(float64(taken[1].Microseconds())/float64(b.N), "us/served")
			b.ReportMetric(float64(bytes)/1000, "kB")
		})
	}
}

// bareFiles serves files by number with http.ServeContent and nothing else, and
// returns its address.
func bareFiles(b *testing.B, path func(int) string) string {
	b.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	web := &http.Server{ReadHeaderTimeout: time.Minute, Handler: http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		i, err := strconv.Atoi(r.URL.Path[1:])
		if err != nil {
			http.Error(w, err.Error(), http.StatusNotFound)
			return
		}
		f, err := os.Open(path(i))
		if err != nil {
			http.Error(w, err.Error(), http.StatusNotFound)
			return
		}
		defer f.Close()
		w.Header().Set("Content-Type", "image/jpeg")
		http.ServeContent(w, r, "", time.Time{}, f)
	})}
	ended := make(chan error, 1)
	go func() { ended <- web.Serve(l) }()
	b.Cleanup(func() {
		if err := web.Close(); err != nil {
			b.Error(err)
		}
		<-ended
	})
	return "http://" + l.Addr().String()
}

// fetched reads an answer to its end and returns its length.
func fetched(b *testing.B, client *http.Client, url string) int64 {
	b.Helper()
	got, err := client.Get(url)
	if err != nil {
		b.Fatal(err)
	}
	n, err := io.Copy(io.Discard, got.Body)
	if err != nil || got.StatusCode != http.StatusOK {
		b.Fatalf("%s: status %d, %v", url, got.StatusCode, err)
	}
	if err := got.Body.Close(); err != nil {
		b.Fatal(err)
	}
	return n
}

// grainy is a photo of 2048 x 1536 with as much grain as makes its files about
// as large as a phone's.
func grainy(b *testing.B, seed int) []byte {
	b.Helper()
	noise := rand.New(rand.NewPCG(1, uint64(seed)))
	picture := image.NewRGBA(image.Rect(0, 0, 2048, 1536))
	for y := range 1536 {
		for x := range 2048 {
			v := uint8(60+x/16+y/32) + uint8(noise.IntN(24))
			picture.SetRGBA(x, y, color.RGBA{v, v, v - 20, 255})
		}
	}
	var made bytes.Buffer
	if err := jpeg.Encode(&made, picture, &jpeg.Options{Quality: 90}); err != nil {
		b.Fatal(err)
	}
	return made.Bytes()
}
