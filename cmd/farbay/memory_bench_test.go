package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"farbay/journal"
	"farbay/server"
)

// BenchmarkEightUploads runs a real server, sends it eight 12-megapixel JPEGs at
// once, and waits until all their sizes are made. It reports the server's peak
// memory (VmHWM of /proc) in MB, and as a ratio to what it needs at rest.
//
//	go test -run - -bench EightUploads -benchtime 1x ./cmd/farbay
func BenchmarkEightUploads(b *testing.B) { benchmarkMemory(b, 8, 4000, 3000) }

// BenchmarkFourLargeUploads is the same with four 48-megapixel JPEGs. Goal: 256
// MB or less.
//
//	go test -run - -bench FourLargeUploads -benchtime 1x ./cmd/farbay
func BenchmarkFourLargeUploads(b *testing.B) { benchmarkMemory(b, 4, 8000, 6000) }

// benchmarkMemory sends n JPEGs of width x height to a real server at once.
func benchmarkMemory(b *testing.B, n, width, height int) {
	if _, err := os.Stat("/proc/self/status"); err != nil {
		b.Skip("this system has no /proc")
	}
	binary, err := farbayBinary()
	if err != nil {
		b.Fatal(err)
	}
	k := &killed{t: b, binary: binary, dir: b.TempDir(), rand: rand.New(rand.NewPCG(1, 1)), clients: map[journal.PersonID]*http.Client{}}
	k.inside(func(app *server.App) {
		k.open(app)
		k.clients[k.floor.ID] = k.client(app, k.floor)
	})
	files := make([][]byte, n)
	for i := range files {
		files[i] = detailed(b, width, height, uint64(i))
	}
	process := startServe(b, binary, k.dir)
	rest := peakMB(b, process)
	for b.Loop() {
		var all sync.WaitGroup
		thumbs := make([]string, len(files))
		for i, file := range files {
			all.Go(func() { thumbs[i] = k.uploadOne(process.url, file) })
		}
		all.Wait()
		for _, thumb := range thumbs {
			k.waitFor(process.url + thumb)
		}
	}
	peak := peakMB(b, process)
	b.ReportMetric(peak, "MB-peak")
	b.ReportMetric(peak/rest, "peak/rest")
	b.ReportMetric(float64(len(files[0]))/1e6, "MB/photo")
}

// detailed is a JPEG with detail everywhere.
func detailed(tb testing.TB, width, height int, seed uint64) []byte {
	tb.Helper()
	random := rand.New(rand.NewPCG(seed, 2))
	picture := image.NewYCbCr(image.Rect(0, 0, width, height), image.YCbCrSubsampleRatio420)
	for i := range picture.Y {
		picture.Y[i] = uint8(i/width/12) ^ uint8(random.Uint32()&31)
	}
	grey := color.YCbCr{Cb: 128, Cr: 128}
	for i := range picture.Cb {
		picture.Cb[i], picture.Cr[i] = grey.Cb, grey.Cr
	}
	var made bytes.Buffer
	if err := jpeg.Encode(&made, picture, &jpeg.Options{Quality: 90}); err != nil {
		tb.Fatal(err)
	}
	return made.Bytes()
}

// uploadOne posts one photo and returns the address of its smallest size.
func (k *killed) uploadOne(base string, file []byte) string {
	var body bytes.Buffer
	form := multipart.NewWriter(&body)
	part, err := form.CreateFormFile("photos", "photo.jpg")
	if err == nil {
		_, err = part.Write(file)
	}
	if err == nil {
		err = form.Close()
	}
	if err != nil {
		k.t.Error(err)
		return ""
	}
	answer, done := k.post(k.floor, base, "/photos", form.FormDataContentType(), &body)
	var got struct{ Photos []struct{ Thumb string } }
	if !done || json.Unmarshal(answer, &got) != nil || len(got.Photos) != 1 {
		k.t.Errorf("the upload was answered with %q", answer)
		return ""
	}
	return got.Photos[0].Thumb
}

// waitFor asks for an address until it is there.
func (k *killed) waitFor(address string) {
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for range 2400 {
		answer, err := k.clients[k.floor.ID].Get(address)
		if err != nil {
			k.t.Fatal(err)
		}
		if err := answer.Body.Close(); err != nil {
			k.t.Fatal(err)
		}
		if answer.StatusCode == http.StatusOK {
			return
		}
		<-tick.C
	}
	k.t.Fatalf("%s is never there", address)
}

// peakMB is the most memory the process has had so far, in megabytes.
func peakMB(tb testing.TB, p *process) float64 {
	tb.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", p.cmd.Process.Pid))
	if err != nil {
		tb.Fatal(err)
	}
	for _, line := range strings.Split(string(status), "\n") {
		if rest, found := strings.CutPrefix(line, "VmHWM:"); found {
			kB, err := strconv.Atoi(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(rest), "kB")))
			if err != nil {
				tb.Fatal(err)
			}
			return float64(kB) / 1000
		}
	}
	tb.Fatal("no VmHWM")
	return 0
}
