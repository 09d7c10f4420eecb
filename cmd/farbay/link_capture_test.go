package main

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/jpeg"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"farbay/server/servertest"
)

// badLink is forty photos over a bad link: each way has so many bits a second,
// 2 % of the segments are lost, and three times nothing goes for a while.
type badLink struct {
	bits float64
	cut  time.Duration
	// A photo's pixels; they are noise, which JPEG cannot make small.
	wide, high int
}

// The goal: bytes sent are at most 1.1 times the photos'.
const mostSent = 1.1

// run has a phone post forty photos over the link and returns the bytes sent as
// a multiple of theirs, and how long it took.
func (l badLink) run(t testing.TB) (sent float64, size int64, took time.Duration) {
	t.Helper()
	b := newBrowser(t)
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	way := newLink(t, strings.TrimPrefix(s.URL, "http://"), 0, 0)
	floor := b.phone("the floor", way.URL())
	floor.do("signs in", chromedp.Navigate(floor.base+s.Link(s.Floor, "/capture")))
	floor.follow("enters", chromedp.Click(chromedp.CSS("main button")))
	floor.until("the page is kept", `document.querySelector("[data-capture]")?.dataset.offline === "ready"`, time.Minute)
	chooseWhere(floor.window, build, stages[0].ID)
	files, size := photoFiles(t, 40, func(i int) []byte { return l.photo(t, uint64(i)) })
	floor.do("chooses forty photos", chromedp.SetUploadFiles(chromedp.CSS("#f-choose"), files))
	floor.waits("40 photos are kept on this phone.")

	way.mu.Lock()
	way.bits, way.loss, way.sent = l.bits, 0.02, 0
	way.mu.Unlock()
	begin := time.Now()
	floor.do("posts", chromedp.Click(chromedp.CSS("[data-post]")))
	// The cuts fall in the middle of photos: after an eighth, half and three
	// quarters of all bytes.
	for i, kind := range []string{"reset", "silent", "silent, then reset"} {
		part := []float64{0.13, 0.5, 0.75}[i]
		way.untilSent(int64(part * float64(size)))
		if kind == "reset" {
			way.set(linkReset)
		} else {
			way.set(linkSilent)
		}
		<-time.After(l.cut)
		if kind == "silent, then reset" {
			way.set(linkReset)
		}
		way.set(linkUp)
	}
	floor.until("all is posted", `document.body.innerText.includes("Posted with 40 photos.")`, 10*time.Minute)
	took = time.Since(begin)
	checkArrived(t, s, build, 40)
	return float64(way.bytesSent()) / float64(size), size, took
}

// photo returns a photo of noise, another one for every seed.
func (l badLink) photo(t testing.TB, seed uint64) []byte {
	t.Helper()
	img := image.NewRGBA(image.Rect(0, 0, l.wide, l.high))
	random := rand.New(rand.NewPCG(seed, 7))
	for i := 0; i+8 <= len(img.Pix); i += 8 {
		binary.LittleEndian.PutUint64(img.Pix[i:], random.Uint64())
	}
	var made bytes.Buffer
	if err := jpeg.Encode(&made, img, &jpeg.Options{Quality: 90}); err != nil {
		t.Fatal(err)
	}
	return made.Bytes()
}

// untilSent waits until so many bytes have gone over the link.
func (l *link) untilSent(bytes int64) {
	l.t.Helper()
	tick, limit := time.NewTicker(5*time.Millisecond), time.NewTimer(10*time.Minute)
	defer tick.Stop()
	defer limit.Stop()
	for l.bytesSent() < bytes {
		select {
		case <-tick.C:
		case <-limit.C:
			l.t.Fatalf("only %d of %d bytes were sent", l.bytesSent(), bytes)
		}
	}
}

// The link of BenchmarkCapture_BadLink at about a twelfth of its times, faster: 12
// Mbit/s, cuts of 2.5 s, photos of about 56 KB.
func TestCapture_BadLink(t *testing.T) {
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	sent, size, took := badLink{bits: 12e6, cut: 2500 * time.Millisecond, wide: 300, high: 200}.run(t)
	t.Logf("40 photos, %d bytes, %.1f s; bytes sent %.3f times that", size, took.Seconds(), sent)
	if sent > mostSent {
		t.Errorf("bytes sent are %.3f times the photos', want at most %.1f", sent, mostSent)
	}
}

// Forty photos of about 290 KB over 2 Mbit/s with 2 % loss and three cuts of 30
// s, in real time: a real page in a real browser, and the real server.
func BenchmarkCapture_BadLink(b *testing.B) {
	for b.Loop() {
		sent, size, took := badLink{bits: 2e6, cut: 30 * time.Second, wide: 690, high: 460}.run(b)
		b.ReportMetric(sent, "sent/size")
		b.ReportMetric(float64(size)/40, "bytes/photo")
		b.ReportMetric(took.Seconds(), "s")
		if sent > mostSent {
			b.Errorf("bytes sent are %.3f times the photos', want at most %.1f", sent, mostSent)
		}
		b.Logf("40 photos, %d bytes, %.1f s; bytes sent %.3f times that", size, took.Seconds(), sent)
	}
}
