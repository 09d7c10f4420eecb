package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server/servertest"
)

// phone is one person's phone, whose tabs share what it stores.
type phone struct {
	*window // the tab in hand
	home    *window
	close   context.CancelFunc
}

func (b *browser) phone(who, base string) *phone {
	b.t.Helper()
	p := &phone{home: b.window(who, base)}
	p.newTab()
	return p
}

// newTab closes the tab in hand and opens another.
func (p *phone) newTab() {
	p.home.t.Helper()
	if p.close != nil {
		p.close()
	}
	p.window, p.close = p.home.tab()
}

// tab opens another tab of the same phone.
func (w *window) tab() (*window, context.CancelFunc) {
	w.t.Helper()
	ctx, stop := chromedp.NewContext(w.ctx)
	w.t.Cleanup(stop)
	tab := &window{t: w.t, who: w.who, base: w.base, ctx: ctx, axe: w.axe}
	if err := chromedp.Do(ctx); err != nil {
		w.t.Fatal(err)
	}
	tab.do("holds it like a phone", chromedp.EmulateViewport(phoneWidth, phoneHeight, chromedp.EmulateMobile, chromedp.EmulateTouch))
	if err := chromedp.Listen(ctx, tab.listen); err != nil {
		w.t.Fatal(err)
	}
	return tab, stop
}

// until waits until an expression is true in the page.
func (w *window) until(what, expression string, most time.Duration) {
	w.t.Helper()
	ctx, stop := context.WithTimeout(w.ctx, most)
	defer stop()
	if _, err := chromedp.Run(ctx, chromedp.Poll[bool](expression, chromedp.WithPollingInterval(100*time.Millisecond), chromedp.WithPollingTimeout(most))); err != nil {
		w.fail("waits until "+what, err)
	}
}

// photoFiles writes photos into a folder and returns their paths.
func photoFiles(t testing.TB, n int, make func(i int) []byte) (files []string, bytes int64) {
	t.Helper()
	dir := t.TempDir()
	for i := range n {
		file := filepath.Join(dir, fmt.Sprintf("IMG_%04d.jpg", i+1))
		data := make(i)
		if err := os.WriteFile(file, data, 0o600); err != nil {
			t.Fatal(err)
		}
		files, bytes = append(files, file), bytes+int64(len(data))
	}
	return files, bytes
}

// postedTo returns a build's entries, newest first, as the shop sees them.
func postedTo(t testing.TB, s *servertest.Server, build journal.BuildID) flow.JournalView {
	t.Helper()
	v, err := s.App.Steps().JournalPage(context.Background(), servertest.Actor(s.Office), build, flow.EntryQuery{})
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// checkArrived fails the test unless the build has one entry with the files in
// their order, each once, and no other photo.
func checkArrived(t testing.TB, s *servertest.Server, build journal.BuildID, files int) journal.Entry {
	t.Helper()
	v := postedTo(t, s, build)
	if len(v.Entries) != 1 {
		t.Fatalf("there are %d entries, want 1", len(v.Entries))
	}
	e := v.Entries[0]
	if len(e.Photos) != files {
		t.Fatalf("the entry has %d photos, want %d", len(e.Photos), files)
	}
	for i, p := range e.Photos {
		if got, want := v.Photos[p.PhotoID].FileName, fmt.Sprintf("IMG_%04d.jpg", i+1); got != want {
			t.Errorf("photo %d is %s, want %s", i+1, got, want)
		}
	}
	err := s.App.Steps().Store.Read(context.Background(), func(r flow.Reads) error {
		n, err := r.CountPhotos(build, true)
		if n != files {
			t.Errorf("the build has %d photos, want %d", n, files)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// chooseWhere picks the build and the stage on the capture page.
func chooseWhere(p *window, build journal.BuildID, stage journal.StageID) {
	p.t.Helper()
	p.until("the builds are there", `document.querySelector("#f-build").options.length > 1`, time.Minute)
	p.do("chooses where", chromedp.Evaluate[chromedp.Void](fmt.Sprintf(`for (const [id, value] of [["f-build", %q], ["f-stage", %q]]) {
		const list = document.getElementById(id);
		list.value = value;
		list.dispatchEvent(new Event("change", { bubbles: true }));
	}`, build, stage)))
	p.until("it is shown", `!document.querySelector("[data-where-shown]").hidden`, time.Minute)
}

// Forty photos queued without a link, the tab closed and opened again still
// without one, and then a link: all arrive once, in order, in one entry.
func TestCapture_WithoutALink(t *testing.T) {
	b := newBrowser(t)
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	way := newLink(t, strings.TrimPrefix(s.URL, "http://"), 0, 0)
	floor := b.phone("the floor", way.URL())
	floor.open(s.Link(s.Floor, "/"))
	floor.press("Enter")
	floor.press("Take photos with a weak link or none")
	floor.until("the page is kept", `document.querySelector("[data-capture]").dataset.offline === "ready"`, time.Minute)
	floor.until("the shell is there", `caches.open("farbay-shell").then((cache) => cache.match("/capture/shell")).then(Boolean)`, time.Minute)
	chooseWhere(floor.window, build, stages[0].ID)
	floor.look()
	// Nothing private is kept: only the page's shell and static files.
	kept := ask(floor.window, "lists what is kept", chromedp.Evaluate[[]string](
		`caches.keys().then((names) => Promise.all(names.map((name) => caches.open(name).then((cache) => cache.keys())))).then((all) => all.flat().map((r) => new URL(r.url).pathname))`, chromedp.EvalAwaitPromise))
	for _, path := range kept {
		if path != "/capture/shell" && !strings.HasPrefix(path, "/static/") {
			t.Errorf("%s is kept on the phone", path)
		}
	}
	if len(kept) < 10 {
		t.Errorf("only %q are kept on the phone", kept)
	}

	way.set(linkReset)
	files, _ := photoFiles(t, 40, func(i int) []byte { return servertest.JPEG(t, i+1) })
	floor.do("chooses forty photos", chromedp.SetUploadFiles(chromedp.CSS("#f-choose"), files))
	floor.waits("40 photos are kept on this phone.")
	floor.fill("text", "Both pans are out.")
	floor.do("posts", chromedp.Click(chromedp.CSS("[data-post]")))
	floor.waits("There is no link to the shop just now. 40 photos wait on this phone")
	floor.look()
	if v := postedTo(t, s, build); len(v.Entries) != 0 {
		t.Fatalf("%d entries are there without a link", len(v.Entries))
	}

	floor.newTab()
	floor.open("/capture") // still without a link: from the phone
	floor.waits("There is no link to the shop just now. 40 photos wait on this phone")
	floor.sees("Heron")
	floor.look()
	floor.newTab()
	way.set(linkUp)
	floor.open("/capture")
	floor.waits("Posted with 40 photos.")
	floor.waits("Nothing waits on this phone.")
	floor.look()
	e := checkArrived(t, s, build, 40)
	if e.Text != "Both pans are out." || e.Audience != journal.ShopOnly || e.Kind != journal.KindProgress || e.StageID != stages[0].ID || e.AuthorID != s.Floor.ID {
		t.Errorf("posted as %+v", e)
	}
}
