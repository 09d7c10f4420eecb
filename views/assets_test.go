package views

import (
	"bytes"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"
)

func get(t *testing.T, h http.Handler, path string, header ...string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, path, nil)
	for i := 0; i+1 < len(header); i += 2 {
		r.Header.Set(header[i], header[i+1])
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

func TestAssets_Serve(t *testing.T) {
	set := mustNew(t)
	url, err := set.Asset("css/look.css")
	if err != nil {
		t.Fatal(err)
	}
	w := get(t, set.Assets(), url)
	if w.Code != http.StatusOK {
		t.Fatalf("right address: %d", w.Code)
	}
	for name, want := range map[string]string{
		"Content-Type": "text/css; charset=utf-8", "Cache-Control": "public, max-age=31536000, immutable", "X-Content-Type-Options": "nosniff",
	} {
		if got := w.Header().Get(name); got != want {
			t.Errorf("%s is %q, want %q", name, got, want)
		}
	}
	// RFC 9110, 13.1.2: If-None-Match with the present ETag answers 304.
	if again := get(t, set.Assets(), url, "If-None-Match", w.Header().Get("ETag")); again.Code != http.StatusNotModified {
		t.Errorf("with its ETag: %d, want 304", again.Code)
	}
	r := httptest.NewRequest(http.MethodPost, url, nil)
	post := httptest.NewRecorder()
	set.Assets().ServeHTTP(post, r)
	if post.Code != http.StatusMethodNotAllowed {
		t.Errorf("POST: %d, want 405", post.Code)
	}
}

// Anything but the present content's hash is refused and never kept by a cache.
func TestAssets_WrongHash(t *testing.T) {
	set := mustNew(t)
	url, err := set.Asset("css/look.css")
	if err != nil {
		t.Fatal(err)
	}
	hash := strings.Split(url, "/")[2]
	for _, path := range []string{
		"/static/0000000000000000/css/look.css", "/static/css/look.css", "/static/" + hash + "/css/coats.css", "/static/" + hash + "/css/none.css",
		"/static/" + hash + "/../../views.go", "/static/", "/static/" + hash + "/", "/static/" + hash[:15] + "/css/look.css",
	} {
		w := get(t, set.Assets(), path)
		if w.Code != http.StatusNotFound || w.Header().Get("Cache-Control") != "no-store" {
			t.Errorf("%s: %d, Cache-Control %q; want 404 and no-store", path, w.Code, w.Header().Get("Cache-Control"))
		}
	}
}

// The hash in an address is the beginning of what sha256sum prints for the file
// as served.
func TestAssets_HashIsSha256sum(t *testing.T) {
	sum, err := exec.LookPath("sha256sum")
	if err != nil {
		t.Skip("sha256sum is not here")
	}
	set := mustNew(t)
	for name, f := range set.assets.files {
		command := exec.Command(sum)
		command.Stdin = bytes.NewReader(f.data)
		out, err := command.Output()
		if err != nil {
			t.Fatal(err)
		}
		if !strings.HasPrefix(string(out), f.hash) || len(f.hash) != 16 {
			t.Errorf("%s: hash %s, sha256sum %s", name, f.hash, out)
		}
	}
}

// A relative url() would lose the hash of what it names.
func TestStylesAndScriptsNameAssetsOnly(t *testing.T) {
	relative := regexp.MustCompile(`(?:url\(|from |import )\s*["']?([^"')]+)`)
	err := fs.WalkDir(staticFiles, "static", func(file string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || !(strings.HasSuffix(file, ".css") || strings.HasSuffix(file, ".js")) {
			return err
		}
		data, err := staticFiles.ReadFile(file)
		if err != nil {
			return err
		}
		for _, line := range strings.Split(string(data), "\n") {
			if strings.HasPrefix(strings.TrimSpace(line), "//") {
				continue
			}
			for _, m := range relative.FindAllStringSubmatch(line, -1) {
				if !strings.HasPrefix(m[1], "asset:") && (strings.Contains(m[0], "url(") || strings.HasPrefix(strings.TrimSpace(line), "import")) && !strings.HasPrefix(m[1], "{") {
					t.Errorf("%s: %s", file, m[0])
				}
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

func TestLoadAssets_Refuses(t *testing.T) {
	file := func(text string) *fstest.MapFile { return &fstest.MapFile{Data: []byte(text)} }
	for name, files := range map[string]fstest.MapFS{
		"a name that is not there": {"static/a.css": file(`url("asset:b.woff2")`)},
		"a circle":                 {"static/a.js": file(`import "asset:b.js"`), "static/b.js": file(`import "asset:a.js"`)},
		"an unknown kind":          {"static/a.exe": file("x")},
	} {
		if _, err := loadAssets(files, "static"); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
}

// A changed font changes the address of the style sheet that names it.
func TestLoadAssets_FollowsWhatIsNamed(t *testing.T) {
	sheet := &fstest.MapFile{Data: []byte(`url("asset:f.woff2")`)}
	urls := map[string]bool{}
	for _, font := range []string{"one", "two"} {
		a, err := loadAssets(fstest.MapFS{"static/a.css": sheet, "static/f.woff2": &fstest.MapFile{Data: []byte(font)}}, "static")
		if err != nil {
			t.Fatal(err)
		}
		url, err := a.url("a.css")
		if err != nil {
			t.Fatal(err)
		}
		urls[url] = true
		fontURL, err := a.url("f.woff2")
		if err != nil {
			t.Fatal(err)
		}
		if got, want := string(a.files["a.css"].data), `url("`+fontURL+`")`; got != want {
			t.Errorf("the sheet says %s, want %s", got, want)
		}
	}
	if len(urls) != 2 {
		t.Errorf("two fonts, %d addresses", len(urls))
	}
}

// Every class the coat strip may use is in its style sheet.
func TestCoatClassesAreThere(t *testing.T) {
	css := string(mustNew(t).assets.files["css/coats.css"].data)
	for width := 1; width <= coatWidths; width++ {
		if !strings.Contains(css, ".d"+itoa(width)+"{flex-grow:"+itoa(width)+"}") {
			t.Errorf("no class d%d", width)
		}
	}
	for done := 0; done <= 100; done++ {
		if !strings.Contains(css, ".p"+itoa(done)+"{--done:"+itoa(done)+"%}") {
			t.Errorf("no class p%d", done)
		}
	}
}
