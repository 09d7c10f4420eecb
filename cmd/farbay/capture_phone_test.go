package main

import (
	"context"
	"fmt"
	"net/http"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/serviceworker"
	"github.com/chromedp/chromedp"

	"farbay/journal"
	"farbay/server/servertest"
)

// onTheFloor is a shop with one build, and a phone with the capture page kept on
// it, by a way that can be cut.
type onTheFloor struct {
	*servertest.Server
	way   *link
	floor *phone
	build journal.BuildID
	stage journal.StageID
}

func newOnTheFloor(t *testing.T) *onTheFloor {
	t.Helper()
	b := newBrowser(t)
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	o := &onTheFloor{Server: s, way: newLink(t, strings.TrimPrefix(s.URL, "http://"), 0, 0), build: build, stage: stages[0].ID}
	o.floor = b.phone("the floor", o.way.URL())
	o.enter(s.Floor)
	o.floor.until("the page is kept", `document.querySelector("[data-capture]")?.dataset.offline === "ready"`, time.Minute)
	o.floor.until("the shell is there", `caches.open("farbay-shell").then((cache) => cache.match("/capture/shell")).then(Boolean)`, time.Minute)
	chooseWhere(o.floor.window, build, o.stage)
	return o
}

// enter signs a person in on the phone, and shows them the capture page.
func (o *onTheFloor) enter(p journal.Person) {
	o.floor.t.Helper()
	o.floor.open(o.Link(p, "/capture"))
	o.floor.press("Enter")
}

// choose gives photos to the page.
func (o *onTheFloor) choose(n int, photo func(i int) []byte) {
	o.floor.t.Helper()
	files, _ := photoFiles(o.floor.t, n, photo)
	o.floor.do("chooses photos", chromedp.SetUploadFiles(chromedp.CSS("#f-choose"), files))
}

// post chooses photos and posts them.
func (o *onTheFloor) post(n int) {
	o.floor.t.Helper()
	o.choose(n, func(i int) []byte { return servertest.JPEG(o.floor.t, i+1) })
	o.floor.waits(fmt.Sprintf("%d photos are kept on this phone.", n))
	o.floor.do("posts", chromedp.Click(chromedp.CSS("[data-post]")))
}

// none fails the test if anything was posted.
func (o *onTheFloor) none() {
	o.floor.t.Helper()
	if v := postedTo(o.floor.t, o.Server, o.build); len(v.Entries) != 0 {
		o.floor.t.Fatalf("%d entries are posted", len(v.Entries))
	}
}

// The office ends a phone's sessions while something is being posted: the page
// says so, keeps all of it, and goes on once the person has signed in again.
func TestCapture_SessionEnds(t *testing.T) {
	o := newOnTheFloor(t)
	if err := o.App.Steps().EndSessionsOf(context.Background(), servertest.Actor(o.Office), o.Floor.ID); err != nil {
		t.Fatal(err)
	}
	o.post(3)
	o.floor.waits("You are signed out. Sign in again; nothing is lost. 3 photos wait on this phone.")
	o.floor.look()
	o.none()
	o.floor.press("Sign in")
	if at := o.floor.path(); at != "/sign-in?next=/capture" {
		t.Errorf("signing in again begins at %s", at)
	}
	o.enter(o.Floor)
	o.floor.waits("Posted with 3 photos.")
	if e := checkArrived(t, o.Server, o.build, 3); e.AuthorID != o.Floor.ID {
		t.Errorf("posted as %+v", e)
	}
}

// What one person queued does not go out while another is signed in on the same
// phone, and the page says whose it is.
func TestCapture_AnotherPerson(t *testing.T) {
	o := newOnTheFloor(t)
	o.way.set(linkReset)
	o.post(3)
	o.floor.waits("3 photos wait on this phone")
	o.floor.newTab()
	o.way.set(linkUp)
	mate := o.Add(journal.Floor, "Ines Calloway")
	o.enter(mate)
	o.floor.waits(fmt.Sprintf("3 photos wait on this phone, taken by %s. They go when %s signs in on this phone; nothing goes in another name.", o.Floor.Name, o.Floor.Name))
	o.floor.waits("by " + o.Floor.Name)
	o.floor.look()
	o.none()

	// The mate's own goes meanwhile.
	chooseWhere(o.floor.window, o.build, o.stage)
	o.floor.fill("text", "Swept the bay.")
	o.floor.do("posts", chromedp.Click(chromedp.CSS("[data-post]")))
	o.floor.waits("Posted.")
	o.floor.waits("taken by " + o.Floor.Name)
	if v := postedTo(t, o.Server, o.build); len(v.Entries) != 1 || v.Entries[0].AuthorID != mate.ID || v.Entries[0].Text != "Swept the bay." || len(v.Entries[0].Photos) != 0 {
		t.Fatalf("the mate posted %+v", v.Entries)
	}
	o.enter(o.Floor)
	o.floor.waits("Posted with 3 photos.")
	v := postedTo(t, o.Server, o.build)
	if len(v.Entries) != 2 {
		t.Fatalf("%d entries, want 2", len(v.Entries))
	}
	for _, e := range v.Entries {
		if e.Text == "" && (e.AuthorID != o.Floor.ID || len(e.Photos) != 3) {
			t.Errorf("posted as %+v", e)
		}
	}
}

// Two tabs have the queue before them when the link returns: it is sent once.
// And a draft that both show can be posted from one of them only.
func TestCapture_TwoTabs(t *testing.T) {
	o := newOnTheFloor(t)
	second, stop := o.floor.home.tab()
	defer stop()
	second.open("/capture")
	chooseWhere(second, o.build, o.stage)
	o.way.set(linkReset)
	noise := badLink{wide: 690, high: 460}
	var size int64
	o.choose(8, func(i int) []byte {
		photo := noise.photo(t, uint64(i))
		size += int64(len(photo))
		return photo
	})
	o.floor.waits("8 photos are kept on this phone.")
	o.floor.do("posts", chromedp.Click(chromedp.CSS("[data-post]")))
	o.floor.waits("8 photos wait on this phone")
	second.waits("8 photos wait on this phone")
	second.fill("text", "Posted twice?")
	second.do("posts the draft that was posted", chromedp.Click(chromedp.CSS("[data-post]")))
	second.waits("This was posted from another tab.")

	before := o.way.bytesSent()
	o.way.set(linkUp)
	const now = `[...document.querySelectorAll("[data-queue-way] button")].forEach((button) => button.click())`
	o.floor.do("tries now", chromedp.Evaluate[chromedp.Void](now))
	second.do("tries now", chromedp.Evaluate[chromedp.Void](now))
	o.floor.waits("Posted with 8 photos.")
	second.waits("Posted with 8 photos.")
	checkArrived(t, o.Server, o.build, 8)
	if sent := o.way.bytesSent() - before; float64(sent) > mostSent*float64(size) {
		t.Errorf("%d bytes are sent of photos of %d: some went twice", sent, size)
	}
}

// A phone with no more room says so before anything is lost: what it holds stays
// and goes, and what it does not hold is named.
func TestCapture_PhoneFull(t *testing.T) {
	o := newOnTheFloor(t)
	noise := badLink{wide: 690, high: 460} // about 290 KB each
	photo := func(i int) []byte { return noise.photo(t, uint64(i)) }
	o.floor.do("tells how much room it has", chromedp.Evaluate[chromedp.Void](`navigator.storage.estimate = async () => ({ quota: 2e6, usage: 5e5 })`))
	o.choose(12, photo)
	o.floor.waits("This phone has room for 1.5 MB more, and these need")
	o.floor.waits("Nothing was taken over; please choose fewer, or wait until what is here has gone.")
	o.floor.look()
	// A browser that does not tell beforehand: the store itself refuses the sixth
	// photo, as "store a value" of https://w3c.github.io/IndexedDB has it.
	o.floor.do("has little room", chromedp.Evaluate[chromedp.Void](`(() => {
		navigator.storage.estimate = async () => ({});
		const put = IDBObjectStore.prototype.put;
		let blobs = 0;
		self.full = false;
		IDBObjectStore.prototype.put = function (...args) {
			if (self.full || (this.name === "blobs" && ++blobs > 5)) throw new DOMException("full", "QuotaExceededError");
			return put.apply(this, args);
		};
		self.makeRoom = () => { IDBObjectStore.prototype.put = put; };
	})()`))
	o.choose(12, photo)
	o.floor.waits("This phone has no more room: 5 photos are kept, IMG_0006.jpg and those after it are not.")
	o.floor.look()
	kept := ask(o.floor.window, "counts what is kept", chromedp.Evaluate[int](`document.querySelectorAll("[data-photos] li").length`))
	if kept != 5 {
		t.Errorf("%d photos are shown as kept, want 5", kept)
	}
	whole := ask(o.floor.window, "looks into the store", chromedp.Evaluate[int](
		`farbayStore.entries().then((all) => Promise.all(all.flatMap((e) => e.photos).map((p) => farbayStore.blob(p.id).then((b) => b?.size === p.size)))).then((all) => all.filter(Boolean).length)`, chromedp.EvalAwaitPromise))
	if whole != kept {
		t.Errorf("%d photos are shown as kept, %d are in the store whole", kept, whole)
	}

	// Full to the last byte: neither typed text nor posting is lost in silence.
	o.floor.do("has no byte left", chromedp.Evaluate[chromedp.Void](`self.full = true`))
	o.floor.fill("text", "Pans out.")
	o.floor.waits("This phone has no more room, so it is only on this page.")
	o.floor.do("posts", chromedp.Click(chromedp.CSS("[data-post]")))
	o.floor.waits("This phone has no more room, so it is not posted. All of it is still on this page")
	o.floor.look()
	o.none()

	o.floor.do("makes room", chromedp.Evaluate[chromedp.Void](`makeRoom()`))
	o.floor.do("posts", chromedp.Click(chromedp.CSS("[data-post]")))
	o.floor.waits(fmt.Sprintf("Posted with %d photos.", kept))
	if e := checkArrived(t, o.Server, o.build, kept); e.Text != "Pans out." {
		t.Errorf("posted as %+v", e)
	}
}

// With no page open, the worker sends what waits when the browser wakes it
// (Background Synchronization, https://wicg.github.io/background-sync/spec/).
func TestCapture_BackgroundSync(t *testing.T) {
	o := newOnTheFloor(t)
	registered := make(chan serviceworker.RegistrationID, 100)
	home := o.floor.home
	if err := chromedp.Listen(home.ctx, func(event any) {
		if e, ok := event.(*serviceworker.EventWorkerRegistrationUpdated); ok {
			for _, r := range e.Registrations {
				if strings.HasPrefix(r.ScopeURL, home.base) && !r.IsDeleted {
					registered <- r.RegistrationID
				}
			}
		}
	}); err != nil {
		t.Fatal(err)
	}
	home.do("watches the workers", func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		_, err = cdp.Call(ctx, t, serviceworker.Enable, cdp.Empty{})
		return none, err
	})
	var id serviceworker.RegistrationID
	select {
	case id = <-registered:
	case <-time.After(time.Minute):
		t.Fatal("no worker is registered")
	}
	o.way.set(linkReset)
	o.post(5)
	o.floor.waits("5 photos wait on this phone")
	o.floor.close()
	o.none()
	o.way.set(linkUp)
	o.none()
	home.do("wakes the worker", func(ctx context.Context, t *chromedp.Target) (none chromedp.Void, err error) {
		_, err = cdp.Call(ctx, t, serviceworker.DispatchSyncEvent, serviceworker.DispatchSyncEventParams{
			Origin: home.base, RegistrationID: id, Tag: "farbay-capture", LastChance: true,
		})
		return none, err
	})
	tick, limit := time.NewTicker(50*time.Millisecond), time.NewTimer(time.Minute)
	defer tick.Stop()
	defer limit.Stop()
	for len(postedTo(t, o.Server, o.build).Entries) == 0 {
		select {
		case <-tick.C:
		case <-limit.C:
			t.Fatal("the worker posted nothing")
		}
	}
	checkArrived(t, o.Server, o.build, 5)
}

// A file that is no photo holds up nothing: the rest is posted, the page says
// what was not taken and why, and lets go of it when told.
func TestCapture_Refused(t *testing.T) {
	o := newOnTheFloor(t)
	o.choose(3, func(i int) []byte {
		if i == 1 {
			return []byte("no photo")
		}
		return servertest.JPEG(t, i+1)
	})
	o.floor.waits("3 photos are kept on this phone.")
	o.floor.do("posts", chromedp.Click(chromedp.CSS("[data-post]")))
	o.floor.waits("Posted with 2 photos. 1 file was not taken:")
	o.floor.waits("IMG_0002.jpg: This is not a photo")
	o.floor.waits("Something was not taken; see below why.")
	o.floor.look()
	o.floor.do("sends it again", chromedp.Click(chromedp.CSS(`[aria-label="Send again: IMG_0002.jpg"]`)))
	o.floor.until("it is refused again", `document.querySelector(".refusals li") && document.body.innerText.includes("Something was not taken")`, time.Minute)
	o.floor.do("removes it", chromedp.Click(chromedp.CSS(`[aria-label="Remove: IMG_0002.jpg"]`)))
	o.floor.waits("Nothing waits on this phone.")
	o.floor.until("it is gone", `!document.body.innerText.includes("IMG_0002.jpg")`, time.Minute)
	v := postedTo(t, o.Server, o.build)
	if len(v.Entries) != 1 || len(v.Entries[0].Photos) != 2 {
		t.Errorf("posted are %+v", v.Entries)
	}
}

// A short video goes the way of the photos, and plays from any place
// (RFC 9110, section 14).
func TestCapture_Video(t *testing.T) {
	at := filepath.Join(t.TempDir(), "IMG_0001.mp4")
	if out, err := exec.CommandContext(t.Context(), needs(t, "ffmpeg"), "-v", "error", "-f", "lavfi", "-i", "testsrc2=size=320x240:rate=25:duration=2",
		"-c:v", "libx264", "-pix_fmt", "yuv420p", at).CombinedOutput(); err != nil {
		t.Fatalf("ffmpeg: %v: %s", err, out)
	}
	o := newOnTheFloor(t)
	o.floor.do("chooses a video", chromedp.SetUploadFiles(chromedp.CSS("#f-choose"), []string{at}))
	o.floor.waits("1 photo is kept on this phone.")
	o.floor.do("posts", chromedp.Click(chromedp.CSS("[data-post]")))
	o.floor.waits("Posted with 1 photo.")
	v := postedTo(t, o.Server, o.build)
	if len(v.Entries) != 1 || len(v.Entries[0].Photos) != 1 {
		t.Fatalf("posted are %+v", v.Entries)
	}
	video := v.Photos[v.Entries[0].Photos[0].PhotoID]
	if video.FileName != "IMG_0001.mp4" || !strings.HasPrefix(video.Kind, "video/") {
		t.Errorf("recorded as %+v", video)
	}
	r := o.As(o.Floor).Send(http.MethodGet, fmt.Sprintf("/builds/%s/photos/%s/video", o.build, video.ID), "", nil, func(r *http.Request) { r.Header.Set("Range", "bytes=100-199") })
	if r.StatusCode != http.StatusPartialContent || len(r.Body) != 100 || !strings.HasPrefix(r.Header.Get("Content-Range"), "bytes 100-199/") {
		t.Errorf("a part of it: %d with %d bytes, %v", r.StatusCode, len(r.Body), r.Header)
	}
}
