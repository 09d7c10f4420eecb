package server_test

import (
	"bytes"
	"fmt"
	"image/gif"
	"io"
	"net/http"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"

	"farbay/journal"
	"farbay/server"
	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// badFile is a file that is not taken, and why, as its sender is told.
type badFile struct {
	file
	says string
}

func badFiles(t *testing.T) []badFile {
	whole := servertest.JPEG(t, 7)
	const other = "This kind of file is not taken; please send a JPEG, PNG, WebP or HEIC photo, or a short MP4 or MOV video."
	return []badFile{
		{file{"notes.jpg", []byte("Ordered two pans from Calder on Friday.")}, "This is not a photo; please send a JPEG, PNG, WebP or HEIC file, or a short MP4 or MOV video."},
		{file{"page.jpg", []byte("<!doctype html><script>alert(1)</script>")}, "This is not a photo; please send a JPEG, PNG, WebP or HEIC file, or a short MP4 or MOV video."},
		{file{"half.jpg", whole[:len(whole)/2]}, "This photo is cut off: its end is missing. Please send it again."},
		{file{"half.png", pngFile(t)[:60]}, "This photo is cut off: its end is missing. Please send it again."},
		{file{"nothing.jpg", nil}, "This file is empty; please choose it again."},
		{file{"wall.jpg", hugeJPEG(t)}, "This photo has more than 100 megapixels; please send a smaller one."},
		{file{"wall.png", hugePNG(t)}, "This photo has more than 100 megapixels; please send a smaller one."},
		{file{"scan.tif", []byte("II*\x00\x08\x00\x00\x00\x00\x00\x00\x00\x00\x00")}, other},
		{file{"wheel.gif", encoded(t, func(w io.Writer) error { return gif.Encode(w, small(), nil) })}, other},
	}
}

// One bad file among ten good: it is told why in a sentence, and all others are
// taken, in their order.
func TestUpload_BadAmongGood(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	var good []file
	for n, bad := range badFiles(t) {
		ten := goodFiles(t, 10, 1000+10*n)
		good = append(good, ten...)
		got := sendPhotos(t, floor, build, slices.Insert(slices.Clone(ten), 4, bad.file)...)
		for i, p := range got.Photos {
			if i == 4 {
				if p.Error != bad.says || p.ID != "" || p.Thumb != "" || p.File != bad.name {
					t.Errorf("%s is answered with %+v, want %q", bad.name, p, bad.says)
				}
				continue
			}
			if p.Error != "" || p.ID == "" || p.Duplicate || p.Thumb != fmt.Sprintf("/builds/%s/photos/%s/320", build, p.ID) {
				t.Errorf("beside %s, %s is answered with %+v", bad.name, p.File, p)
			}
		}
	}
	checkStored(t, s, good...)

	// Alone, the status says it too.
	for _, bad := range badFiles(t) {
		want := http.StatusUnprocessableEntity
		if strings.Contains(bad.says, "more than") {
			want = http.StatusRequestEntityTooLarge
		}
		r := postParts(floor, "/builds/"+string(build)+"/photos", bytes.NewReader(multipartForm(nil, bad.file)), asData).Status(want)
		if a := answerOf(t, r); len(a.Photos) != 1 || a.Photos[0].Error != bad.says {
			t.Errorf("%s alone is answered with %s", bad.name, r.Body)
		}
		wholeSentence(t, bad.says)
	}
	checkStored(t, s, good...)
}

// Without scripts the files come with the entry's form, all bad ones among the
// good: the entry is posted with the good ones, and each bad one is named with
// its reason on the page that follows, where more can be added.
func TestUpload_BadAmongGoodInAForm(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	at := "/builds/" + string(build)
	form := formIn(t, floor.Get(at+"/entries/new").Status(http.StatusOK), at+"/entries")
	form = with(form, "stage", stageOf(t, s, build), "text", "Ten of the frame")
	form.Del("photos")
	ten := goodFiles(t, 10, 1)
	files := slices.Clone(ten)
	for i, bad := range badFiles(t) {
		files = slices.Insert(files, 2*i, bad.file)
	}
	for _, again := range []bool{false, true} { // the second time as when the page is reloaded
		page := postParts(floor, at+"/entries", bytes.NewReader(multipartForm(form, files...))).Status(http.StatusOK)
		page.Says("Posted, for the shop only").Says("Nine files were not taken. The others are safe.")
		for _, bad := range badFiles(t) {
			page.Check(htmlcheck.In(".problems li", htmlcheck.HasText("^"+quoted(bad.name+": "+bad.says)+"$")))
		}
		entry := at + "/entries/" + form.Get("id")
		shown := formIn(t, page, entry+"/edit")
		if len(shown["photo"]) != 10 || shown.Get("text") != "Ten of the frame" {
			t.Errorf("again %v: the entry has %d photos and says %q", again, len(shown["photo"]), shown.Get("text"))
		}
		floor.Get(entry).Status(http.StatusOK).Check(htmlcheck.Count(".tiles figure", 10))
	}
	if n := entriesOf(t, s, build); n != 1 {
		t.Errorf("%d entries were posted", n)
	}
	checkStored(t, s, ten...)

	// Alone, to the photos' own address.
	page := postParts(floor, at+"/photos", bytes.NewReader(multipartForm(nil, files[0]))).Status(http.StatusUnprocessableEntity)
	page.Says("One file was not taken").Says(quoted(badFiles(t)[0].says))
	postParts(floor, at+"/photos", bytes.NewReader(multipartForm(nil, goodFiles(t, 2, 90)...))).Redirects(at + "/entries/new")
	floor.Get(at + "/entries/new").Status(http.StatusOK).Says("2 photos are safe with the shop").Says("Two photos you sent before")
}

// What a file is, is told by its content; names are for show alone, and become
// neither a path nor markup nor a different ending on a screen.
func TestUpload_Names(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	long := strings.Repeat("w", 150) + "é" + strings.Repeat("z", 145) + ".jpg" // 300 characters
	tests := []struct {
		reason, sent string
		shown, saved string // saved: the name to be saved under, when it differs
	}{
		{"plain", "IMG_0001.jpg", "IMG_0001.jpg", ""},
		{"a JPEG by content", "photo.exe", "photo.exe", "photo.exe.jpg"},
		{"and no page when saved", "photo.html", "photo.html", "photo.html.jpg"},
		{"capital letters", "DSC_1.JPEG", "DSC_1.JPEG", ""},
		{"a path", "../../etc/passwd", "passwd", "passwd.jpg"},
		{"a path of another system", `C:\x\y.jpg`, "y.jpg", ""},
		{"only a path", "../..", "photo", "photo.jpg"},
		{"long", long, strings.Repeat("w", 60) + "…" + strings.Repeat("z", 55) + ".jpg", ""},
		{"control characters", "a\x01b\x1b[31m\x7f.jpg", "a?b?[31m?.jpg", ""},
		{"line ends and quotation marks, as browsers escape them", "a\r\nX-Evil: 1\"b.jpg", "a%0D%0AX-Evil: 1%22b.jpg", ""},
		{"right to left", "صورة الإطار.jpg", "صورة الإطار.jpg", ""},
		{"turned around", "photo\u202egpj.exe", "photogpj.exe", "photogpj.exe.jpg"},
		{"emoji, one of them joined", "🚙 frame 👩\u200d🔧.jpg", "🚙 frame 👩\u200d🔧.jpg", ""},
		{"markup", "<b>&amp;'x'.jpg", "<b>&amp;'x'.jpg", ""},
		{"semicolon and percent", "a;filename=b%2e.jpg", "a;filename=b%2e.jpg", ""},
		{"blanks", "   ", "photo", "photo.jpg"},
	}
	var files []file
	for i, test := range tests {
		files = append(files, file{test.sent, servertest.JPEG(t, 100+i)})
	}
	got := sendPhotos(t, floor, build, files...)
	for i, test := range tests {
		p := got.Photos[i]
		if p.File != test.shown || p.Error != "" {
			t.Errorf("%s: answered as %+v, want the name %q", test.reason, p, test.shown)
			continue
		}
		page := fmt.Sprintf("/builds/%s/photos/%s", build, p.ID)
		floor.Get(page).Status(http.StatusOK).Check(htmlcheck.In("dl.facts dd", htmlcheck.HasText("^"+quoted(test.shown)+",")))
		saved := test.saved
		if saved == "" {
			saved = test.shown
		}
		checkSavedAs(t, floor.Get(page+"/original").Status(http.StatusOK), saved)
	}
	checkStored(t, s, files...)

	// A PNG named .jpg; and a name that ends in a backslash, which browsers leave
	// as it is, and with which the header can no longer be read.
	png := file{"frame.jpg", pngFile(t)}
	a := sendPhotos(t, floor, build, png)
	r := floor.Get(fmt.Sprintf("/builds/%s/photos/%s/original", build, a.Photos[0].ID)).Status(http.StatusOK)
	if r.Header.Get("Content-Type") != "image/png" || r.Body != string(png.body) {
		t.Errorf("a PNG named .jpg is given back as %s, %d bytes", r.Header.Get("Content-Type"), len(r.Body))
	}
	checkSavedAs(t, r, "frame.jpg.png")
	a = sendPhotos(t, floor, build, file{`back\`, servertest.JPEG(t, 300)}, goodFiles(t, 1, 301)[0])
	if a.Photos[0].ID == "" || a.Photos[0].File != "photo" || a.Photos[1].ID == "" {
		t.Errorf("a name that cannot be read: %+v", a)
	}
}

// Of 61 photos 60 are taken and the last is refused by its name; bad files do
// not count among the 60.
func TestUpload_SixtyOne(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	good := goodFiles(t, 61, 1)
	files := slices.Clone(good)
	for _, bad := range badFiles(t) {
		files = slices.Insert(files, 30, bad.file)
	}
	got := sendPhotos(t, floor, build, files...)
	taken := 0
	for _, p := range got.Photos[:len(files)-1] {
		if p.ID != "" {
			taken++
		}
	}
	last := got.Photos[len(files)-1]
	many := make([]file, 601)
	for i := range many {
		many[i] = file{"x.jpg", []byte("x")}
	}
	a := answerOf(t, postParts(floor, "/builds/"+string(build)+"/photos", bytes.NewReader(multipartForm(nil, many...)), asData).Status(http.StatusRequestEntityTooLarge))
	if len(a.Photos) != 600 || a.Error != "These are more than 600 files. Those that were taken are safe; please send the others in another sending." {
		t.Errorf("of 601 files %d are answered: %s", len(a.Photos), a.Error)
	}
	if taken != 60 || last.File != "IMG_0061.jpg" || last.Error != "At most 60 photos go with one entry; please post this one with another." {
		t.Errorf("%d were taken; the last is answered with %+v", taken, last)
	}
	checkStored(t, s, good[:60]...)
}

// A file of 100 MB is refused with a sentence, those beside it are taken, and
// neither is held in memory: all that client, server and the sizes of the small
// photos allocate meanwhile is a fraction of it.
func TestUpload_HundredMegabytes(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	ten := goodFiles(t, 10, 1)
	form := multipartForm(nil, ten...)
	cut := bytes.Index(form, []byte(field("photos", "IMG_0006.jpg", true)))
	body := io.MultiReader(bytes.NewReader(form[:cut]), strings.NewReader(field("photos", "film.jpg", true)),
		stream(100_000_000), strings.NewReader("\r\n"), bytes.NewReader(form[cut:]))
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	r := postParts(floor, "/builds/"+string(build)+"/photos", body, asData).Status(http.StatusOK)
	runtime.ReadMemStats(&after)
	a := answerOf(t, r)
	for i, p := range a.Photos {
		if i == 5 {
			if p.File != "film.jpg" || p.Error != "This file has more than 50 MB; please send a smaller one." {
				t.Errorf("100 MB are answered with %+v", p)
			}
		} else if p.ID == "" {
			t.Errorf("beside 100 MB, %+v", p)
		}
	}
	if len(a.Photos) != 11 {
		t.Errorf("%d of 11 files are answered", len(a.Photos))
	}
	allocated := float64(after.TotalAlloc-before.TotalAlloc) / 1e6
	t.Logf("%.1f MB were allocated while 100 MB were sent", allocated)
	if allocated > 40 {
		t.Error("that is too much for a file that is streamed")
	}
	checkStored(t, s, ten...)
}

// A sending beyond its limit: those that came before are safe and told of, the
// one that went beyond is told why.
func TestUpload_BeyondTheLimit(t *testing.T) {
	const most = 100_000
	s := servertest.New(t, func(c *server.Config) { c.MaxPhotoBytes = most })
	build, _ := s.Agreed("Heron", s.Owner)
	floor := s.As(s.Floor)
	at := "/builds/" + string(build) + "/photos"
	const limit = 60*most + 1<<20 // as config.go says
	two, long := goodFiles(t, 2, 1), file{"grainy.jpg", grainyJPEG(t, 200, 150, 1)}
	if len(long.body) < 20_000 || len(long.body) > most {
		t.Fatalf("the photo to be cut off has %d bytes", len(long.body))
	}
	start := multipartForm(nil, two[0])
	start = start[:len(start)-len("--"+boundary+"--\r\n")]
	big := field("photos", "film.jpg", true)
	send := func(change ...func(*http.Request)) *servertest.Reply {
		body := io.MultiReader(bytes.NewReader(start), strings.NewReader(big), stream(int64(limit-len(start)-len(big)-10_000)),
			strings.NewReader("\r\n"), bytes.NewReader(multipartForm(nil, long, two[1])))
		return postParts(floor, at, body, change...)
	}
	const beyond = "These photos together are more than one sending takes. Those that arrived are safe; please send the others in another one."
	a := answerOf(t, send(asData).Status(http.StatusRequestEntityTooLarge))
	if len(a.Photos) != 3 || a.Photos[0].ID == "" || a.Photos[1].Error != "This file has more than 0.1 MB; please send a smaller one." ||
		a.Photos[2].File != "grainy.jpg" || a.Photos[2].Error != beyond || a.Error != beyond {
		t.Errorf("answered with %+v", a)
	}
	checkStored(t, s, two[0])
	send().Status(http.StatusRequestEntityTooLarge).Says("Two files were not taken").Says(quoted("grainy.jpg: " + beyond)).Says("One photo you sent before")
	checkStored(t, s, two[0])

	// A sending that says beforehand that it is too large is not read at all.
	declared := floor.Send(http.MethodPost, at, "multipart/form-data; boundary="+boundary, bytes.NewReader(start), asData, func(r *http.Request) {
		r.ContentLength = limit + 1
		r.Body = io.NopCloser(io.MultiReader(bytes.NewReader(start), stream(limit+1-int64(len(start)))))
	})
	declared.Status(http.StatusRequestEntityTooLarge)
	if !strings.Contains(declared.Body, "What was sent is larger than this page takes.") {
		t.Errorf("answered with %s", declared.Body)
	}
}

// Two phones send the same photo at once, four times each: one is stored, all
// are answered with it. A file that is refused is refused to all.
func TestUpload_SameAtOnce(t *testing.T) {
	s := servertest.New(t)
	build, _ := s.Agreed("Heron", s.Owner)
	phones := []*servertest.Client{s.As(s.Floor), s.As(s.Office)}
	at := "/builds/" + string(build) + "/photos"
	for _, sent := range []file{{"IMG_1.jpg", servertest.JPEG(t, 1)}, badFiles(t)[8].file} {
		replies := make([]*servertest.Reply, 8)
		var all sync.WaitGroup
		for i := range replies {
			all.Go(func() {
				replies[i] = postParts(phones[i%2], at, bytes.NewReader(multipartForm(nil, sent, goodFiles(t, 1, 50+i)[0])), asData)
			})
		}
		all.Wait()
		fresh, ids := 0, map[journal.PhotoID]bool{}
		for _, r := range replies {
			p := answerOf(t, r.Status(http.StatusOK)).Photos[0]
			if strings.HasSuffix(sent.name, ".jpg") {
				if ids[p.ID] = true; !p.Duplicate {
					fresh++
				}
				continue
			}
			if p.Error == "" || strings.Contains(p.Error, "went wrong") {
				t.Errorf("a refused file is answered with %+v", p)
			}
			wholeSentence(t, p.Error)
		}
		if strings.HasSuffix(sent.name, ".jpg") && (fresh != 1 || len(ids) != 1 || ids[""]) {
			t.Errorf("%d of 8 were new, ids %v", fresh, ids)
		}
	}
	checkStored(t, s, append(goodFiles(t, 8, 50), file{"IMG_1.jpg", servertest.JPEG(t, 1)})...)
}

// The same file twice in a build is one photo; in another build it is its own.
func TestUpload_Twice(t *testing.T) {
	s := servertest.New(t)
	heron, _ := s.Agreed("Heron", s.Owner)
	juniper, _ := s.Agreed("Juniper", s.Owner)
	floor := s.As(s.Floor)
	one := file{"IMG_1.jpg", servertest.JPEG(t, 1)}
	first := sendPhotos(t, floor, heron, one, file{"copy of IMG_1.jpg", one.body}, goodFiles(t, 1, 2)[0])
	again := sendPhotos(t, s.As(s.Office), heron, file{"renamed.jpg", one.body})
	id := first.Photos[0].ID
	if first.Photos[0].Duplicate || !first.Photos[1].Duplicate || first.Photos[1].ID != id || first.Photos[2].Duplicate || first.Photos[2].ID == id {
		t.Errorf("twice in one sending: %+v", first)
	}
	if !again.Photos[0].Duplicate || again.Photos[0].ID != id {
		t.Errorf("again by somebody else: %+v", again)
	}
	other := sendPhotos(t, floor, juniper, one)
	if other.Photos[0].Duplicate || other.Photos[0].ID == id {
		t.Errorf("in another build: %+v", other)
	}
	checkStored(t, s, one, goodFiles(t, 1, 2)[0])
	s.Settle()
	for build, photo := range map[journal.BuildID]journal.PhotoID{heron: id, juniper: other.Photos[0].ID} {
		floor.Get(fmt.Sprintf("/builds/%s/photos/%s/320", build, photo)).Status(http.StatusOK)
	}
}
