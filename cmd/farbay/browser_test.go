package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// A phone's screen, in CSS pixels.
const phoneWidth, phoneHeight = 390, 844

// needs returns the path of a program, and skips the test when it is missing;
// with FARBAY_TEST_ALL set, as the full run has it, that is a failure.
func needs(t testing.TB, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err != nil {
		if os.Getenv("FARBAY_TEST_ALL") != "" {
			t.Fatalf("%s is not installed", program)
		}
		t.Skipf("%s is not installed", program)
	}
	return path
}

// browser is one headless Chromium. Each of its people is a window with cookies
// of its own.
type browser struct {
	t   testing.TB
	ctx context.Context
	axe string // source of the accessibility checker; "" when it is not there
}

func newBrowser(t testing.TB) *browser {
	t.Helper()
	options := append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(needs(t, "chromium")), chromedp.NoSandbox, chromedp.DisableGPU,
		chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	ctx, stop := chromedp.NewExecAllocator(context.Background(), options...)
	t.Cleanup(stop)
	// Notes of the protocol that this version of the library does not know are
	// no fault of a page.
	ctx, stop = chromedp.NewContext(ctx, chromedp.WithErrorf(func(string, ...any) {}))
	t.Cleanup(stop)
	if err := chromedp.Do(ctx); err != nil {
		t.Fatalf("Chromium does not start: %v", err)
	}
	b := &browser{t: t, ctx: ctx}
	source, err := os.ReadFile(filepath.Join("..", "..", ".ci", "node_modules", "axe-core", "axe.min.js"))
	switch {
	case err == nil:
		b.axe = string(source)
	case os.Getenv("FARBAY_TEST_ALL") != "":
		t.Fatalf("axe-core is not installed: %v", err)
	default:
		t.Log("axe-core is not installed; pages are not checked for accessibility")
	}
	return b
}

// window is one person's browser window.
type window struct {
	t      testing.TB
	who    string
	base   string
	ctx    context.Context
	axe    string
	mu     sync.Mutex
	faults []string // what pages complained of
}

// window opens a phone-sized window with cookies of its own.
func (b *browser) window(who, base string) *window {
	b.t.Helper()
	ctx, stop := chromedp.NewContext(b.ctx, chromedp.WithNewBrowserContext())
	b.t.Cleanup(stop)
	w := &window{t: b.t, who: who, base: base, ctx: ctx, axe: b.axe}
	// The first action opens the window for as long as its context lives.
	if err := chromedp.Do(ctx); err != nil {
		b.t.Fatal(err)
	}
	w.do("holds it like a phone", chromedp.EmulateViewport(phoneWidth, phoneHeight, chromedp.EmulateMobile, chromedp.EmulateTouch))
	if err := chromedp.Listen(ctx, w.listen); err != nil {
		b.t.Fatal(err)
	}
	return w
}

// listen notes what a page complains of: scripts that fail, and whatever the
// content security policy had to stop.
func (w *window) listen(event any) {
	fault := ""
	switch e := event.(type) {
	case *runtime.EventExceptionThrown:
		fault = exceptionText(e.ExceptionDetails)
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError {
			for _, arg := range e.Args {
				fault += string(arg.Value) + " "
			}
		}
	}
	if fault != "" {
		w.mu.Lock()
		w.faults = append(w.faults, fault)
		w.mu.Unlock()
	}
}

func exceptionText(e *runtime.ExceptionDetails) string {
	if e.Exception != nil {
		return e.Text + " " + e.Exception.Description
	}
	return e.Text
}

// do runs actions, each within a minute, and fails the test with a picture's
// worth of words when one does not work.
func (w *window) do(what string, actions ...chromedp.Action[chromedp.Void]) {
	w.t.Helper()
	ctx, stop := context.WithTimeout(w.ctx, time.Minute)
	defer stop()
	if err := chromedp.Do(ctx, actions...); err != nil {
		w.fail(what, err)
	}
}

// ask runs an action that has an answer.
func ask[T any](w *window, what string, action chromedp.Action[T]) T {
	w.t.Helper()
	ctx, stop := context.WithTimeout(w.ctx, time.Minute)
	defer stop()
	answer, err := chromedp.Run(ctx, action)
	if err != nil {
		w.fail(what, err)
	}
	return answer
}

// fail ends the test and says where the window was and what it showed.
func (w *window) fail(what string, cause error) {
	w.t.Helper()
	ctx, stop := context.WithTimeout(w.ctx, 10*time.Second)
	defer stop()
	address, err := chromedp.Run(ctx, chromedp.Location())
	text, err2 := chromedp.Run(ctx, chromedp.Text(chromedp.CSS("body")))
	w.t.Fatalf("%s %s: %v\non %s:\n%.1500s\n%v", w.who, what, cause, address, text, errors.Join(err, err2))
}

// open goes to a path.
func (w *window) open(path string) {
	w.t.Helper()
	w.do("opens "+path, chromedp.Navigate(w.base+path))
	w.look()
}

// quote writes a string into an XPath expression.
func quote(s string) string {
	if !strings.Contains(s, `"`) {
		return `"` + s + `"`
	}
	return `'` + s + `'`
}

// press presses the button or link that says text, and waits for the page that
// follows.
func (w *window) press(text string) {
	w.t.Helper()
	path := chromedp.Search(fmt.Sprintf(`//*[(self::button or self::a) and contains(normalize-space(.), %s)]`, quote(text)))
	w.do("presses "+text, chromedp.ScrollIntoView(path))
	w.follow("presses "+text, chromedp.Click(path))
}

// follow does an action that leads to another page.
func (w *window) follow(what string, action chromedp.Action[chromedp.Void]) {
	w.t.Helper()
	ctx, stop := context.WithTimeout(w.ctx, time.Minute)
	defer stop()
	if _, err := chromedp.RunResponse(ctx, action); err != nil {
		w.fail(what+" and a page follows", err)
	}
	w.look()
}

// fill types into the field of that name, in place of what is there.
func (w *window) fill(name, text string) {
	w.t.Helper()
	at := fmt.Sprintf(`[name=%q]:not([type=hidden])`, name)
	w.do("fills "+name, chromedp.Evaluate[chromedp.Void](`document.querySelector(`+jsString(at)+`).value = ""`), chromedp.SendKeys(chromedp.CSS(at), text))
}

// choose takes a radio button or an option by its words.
func (w *window) choose(text string) {
	w.t.Helper()
	label := chromedp.Search(fmt.Sprintf(`//label[.//input[@type="radio"] and contains(normalize-space(.), %s)]`, quote(text)))
	w.do("chooses "+text, chromedp.ScrollIntoView(label), chromedp.Click(label))
}

// pick takes an option of a list by its words.
func (w *window) pick(name, text string) {
	w.t.Helper()
	option := chromedp.Search(fmt.Sprintf(`//select[@name=%s]/option[contains(., %s)]`, quote(name), quote(text)))
	value := ask(w, "looks for "+text, chromedp.AttributeValue(option, "value", chromedp.NodeReady))
	w.do("picks "+text, chromedp.SetValue(chromedp.CSS(fmt.Sprintf(`select[name=%q]`, name)), value.Value))
}

// text returns what a part of the page says, with single blanks.
func (w *window) text(selector string) string {
	w.t.Helper()
	text := ask(w, "reads "+selector, chromedp.Text(chromedp.CSS(selector)))
	return strings.Join(strings.Fields(strings.ReplaceAll(text, "\u00a0", " ")), " ")
}

// sees fails the test unless the page says each of the texts.
func (w *window) sees(texts ...string) {
	w.t.Helper()
	page := w.text("body")
	for _, want := range texts {
		if !strings.Contains(page, want) {
			w.t.Fatalf("%s does not see %q, but:\n%.2500s", w.who, want, page)
		}
	}
}

// waits until the page says something.
func (w *window) waits(text string) {
	w.t.Helper()
	ask(w, "waits for "+text, chromedp.Poll[bool](
		fmt.Sprintf(`document.body.innerText.includes(%s)`, jsString(text)), chromedp.WithPollingInterval(100*time.Millisecond)))
}

func jsString(s string) string {
	b, err := json.Marshal(s)
	if err != nil {
		panic(err) // a string always has a JSON form
	}
	return string(b)
}

// path returns where the window is.
func (w *window) path() string {
	w.t.Helper()
	return strings.TrimPrefix(ask(w, "looks at the address", chromedp.Location()), w.base)
}

// look checks the page that is shown: nothing complained, nothing is wider than
// the phone, and the accessibility checker finds nothing serious (axe-core's
// rules for WCAG 2.1 A and AA).
func (w *window) look() {
	w.t.Helper()
	w.do("waits for the page", chromedp.WaitReady(chromedp.CSS("body")))
	w.mu.Lock()
	faults := w.faults
	w.faults = nil
	w.mu.Unlock()
	for _, fault := range faults {
		w.t.Errorf("%s on %s: %s", w.who, w.path(), fault)
	}
	if ask(w, "measures", chromedp.Evaluate[bool](`document.documentElement.scrollWidth > document.documentElement.clientWidth`)) {
		w.t.Errorf("%s on %s: the page is wider than a phone", w.who, w.path())
	}
	if w.axe == "" {
		return
	}
	for _, v := range ask(w, "checks accessibility", runAxe(w.axe)) {
		if v.Impact == "serious" || v.Impact == "critical" {
			w.t.Errorf("%s on %s: %s (%s) at %s", w.who, w.path(), v.Help, v.Impact, v.Nodes)
		}
	}
}

// violation is one finding of the accessibility checker.
type violation struct {
	Impact, Help, Nodes string
}

// runAxe runs the checker in a world of its own, as the page's content security
// policy rightly lets no foreign script in.
func runAxe(source string) chromedp.Action[[]violation] {
	return func(ctx context.Context, t *chromedp.Target) ([]violation, error) {
		tree, err := cdp.Call(ctx, t, page.GetFrameTree, cdp.Empty{})
		if err != nil {
			return nil, err
		}
		world, err := cdp.Call(ctx, t, page.CreateIsolatedWorld, page.CreateIsolatedWorldParams{FrameID: tree.FrameTree.Frame.ID})
		if err != nil {
			return nil, err
		}
		yes := true
		const script = `axe.run(document).then(r => r.violations.map(v => ({Impact: v.impact, Help: v.help, Nodes: v.nodes.map(n => n.target.join(" ")).join(", ")})))`
		result, err := cdp.Call(ctx, t, runtime.Evaluate, runtime.EvaluateParams{
			Expression: source + ";" + script, ContextID: world.ExecutionContextID, AwaitPromise: &yes, ReturnByValue: &yes,
		})
		if err != nil {
			return nil, err
		}
		if result.ExceptionDetails != nil {
			return nil, errors.New(exceptionText(result.ExceptionDetails))
		}
		var found []violation
		return found, json.Unmarshal(result.Result.Value, &found)
	}
}
