package views

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io/fs"
	"mime"
	"net/http"
	"path"
	"regexp"
	"strings"
	"time"
)

// asset is one static file as served.
type asset struct {
	data        []byte
	hash        string // first 16 hex digits of the SHA-256 of data
	contentType string
}

// assets holds every static file by its name, such as "css/look.css".
type assets struct {
	files map[string]*asset
}

// assetMark is how a style sheet or script names another asset: the mark is
// replaced by the asset's address before the file is hashed, so a changed font
// changes the address of the sheet that uses it.
var assetMark = regexp.MustCompile(`asset:([a-z0-9/._-]+)`)

// contentTypes of what we serve; the machine's MIME table is not asked, so that
// every machine serves the same.
var contentTypes = map[string]string{
	".css":   "text/css; charset=utf-8",
	".js":    "text/javascript; charset=utf-8",
	".woff2": "font/woff2",
	".svg":   "image/svg+xml",
	".png":   "image/png",
	".ico":   "image/x-icon",
	".txt":   "text/plain; charset=utf-8",
}

// loadAssets reads every file below root and gives each its hash.
func loadAssets(files fs.FS, root string) (*assets, error) {
	raw := map[string][]byte{}
	err := fs.WalkDir(files, root, func(file string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() {
			return err
		}
		data, err := fs.ReadFile(files, file)
		raw[strings.TrimPrefix(file, root+"/")] = data
		return err
	})
	if err != nil {
		return nil, fmt.Errorf("views: reading assets: %w", err)
	}
	a := &assets{files: map[string]*asset{}}
	for name := range raw {
		if err := a.add(name, raw, nil); err != nil {
			return nil, err
		}
	}
	return a, nil
}

// add takes in one file after those it names. above is the chain of files that
// are waiting for this one.
func (a *assets) add(name string, raw map[string][]byte, above []string) error {
	if a.files[name] != nil {
		return nil
	}
	data, known := raw[name]
	if !known {
		return fmt.Errorf("views: there is no asset %s, named by %s", name, strings.Join(above, ", "))
	}
	for _, n := range above {
		if n == name {
			return fmt.Errorf("views: assets name each other in a circle: %s", strings.Join(append(above, name), ", "))
		}
	}
	contentType := contentTypes[path.Ext(name)]
	if contentType == "" {
		return fmt.Errorf("views: no content type is known for asset %s", name)
	}
	if media, _, err := mime.ParseMediaType(contentType); err == nil && (media == "text/css" || media == "text/javascript") {
		for _, mark := range assetMark.FindAllSubmatch(data, -1) {
			if err := a.add(string(mark[1]), raw, append(above, name)); err != nil {
				return err
			}
		}
		data = assetMark.ReplaceAllFunc(data, func(mark []byte) []byte {
			named := string(bytes.TrimPrefix(mark, []byte("asset:")))
			return []byte(a.files[named].url(named))
		})
	}
	sum := sha256.Sum256(data)
	a.files[name] = &asset{data: data, hash: hex.EncodeToString(sum[:8]), contentType: contentType}
	return nil
}

func (f *asset) url(name string) string { return "/static/" + f.hash + "/" + name }

func (a *assets) url(name string) (string, error) {
	f := a.files[name]
	if f == nil {
		return "", fmt.Errorf("views: there is no asset %s", name)
	}
	return f.url(name), nil
}

// ServeHTTP answers /static/<hash>/<name>. Only the hash of the present content
// finds a file; anything else is 404 and not cached, so that a page from before
// an update never pins a wrong file.
func (a *assets) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	hash, name, _ := strings.Cut(strings.TrimPrefix(r.URL.Path, "/static/"), "/")
	f := a.files[name]
	if f == nil || f.hash != hash {
		w.Header().Set("Cache-Control", "no-store")
		http.Error(w, "There is no such file.", http.StatusNotFound)
		return
	}
	if r.Method != http.MethodGet && r.Method != http.MethodHead {
		w.Header().Set("Allow", "GET, HEAD")
		http.Error(w, "This address can only be read.", http.StatusMethodNotAllowed)
		return
	}
	h := w.Header()
	h.Set("Content-Type", f.contentType)
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	h.Set("ETag", `"`+f.hash+`"`)
	h.Set("X-Content-Type-Options", "nosniff")
	http.ServeContent(w, r, "", time.Time{}, bytes.NewReader(f.data))
}
