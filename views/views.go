package views

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"net/http"
	"path"
	"strings"
	"sync"
)

//go:embed all:templates
var templateFiles embed.FS

//go:embed all:static
var staticFiles embed.FS

// Page is a whole page: a struct that embeds [Frame] and says which template
// shows it, as the template's path below templates/ without ".html":
// "owner/build".
type Page interface {
	Template() string
	frame() Frame
}

// Piece is a part of a page that is also sent alone, such as the next entries
// of a journal. It names a template defined in a pieces file.
type Piece interface {
	Piece() string
}

// declared are all pages and pieces, so that New can tell when one has no
// template. Files with page structs add theirs with declare.
var (
	declaredPages  []Page
	declaredPieces []Piece
)

// declare is called once a file, as var _ = declare(PageA{}, PageB{}).
func declare(pages ...Page) bool {
	declaredPages = append(declaredPages, pages...)
	return true
}

func declarePieces(pieces ...Piece) bool {
	declaredPieces = append(declaredPieces, pieces...)
	return true
}

// Set is all templates and assets, parsed. It is safe for concurrent use.
type Set struct {
	pages  map[string]*template.Template
	pieces *template.Template
	assets *assets
	mail   mailSet
}

// New parses every embedded template. It returns an error when one cannot be
// parsed, when a declared page, piece or letter has no template, when a
// template has no page, or when a template or style sheet names an asset that
// is not there.
func New() (*Set, error) { return parsed() }

// parsed parses once in a process: a set never changes, and tests start hundreds of
// servers.
var parsed = sync.OnceValues(parse)

func parse() (*Set, error) {
	held, err := loadAssets(staticFiles, "static")
	if err != nil {
		return nil, err
	}
	set := &Set{pages: map[string]*template.Template{}, assets: held}
	base, err := set.parseBase()
	if err != nil {
		return nil, err
	}
	if set.pieces, err = base.Clone(); err != nil {
		return nil, fmt.Errorf("views.New: %w", err)
	}
	if err := set.parsePages(base); err != nil {
		return nil, err
	}
	if err := set.checkDeclared(); err != nil {
		return nil, err
	}
	if set.mail, err = parseMail(); err != nil {
		return nil, err
	}
	return set, nil
}

// parseBase parses the layout and every pieces file: those in templates/pieces
// and those whose name begins with "_" in a page folder.
func (s *Set) parseBase() (*template.Template, error) {
	base := template.New("").Funcs(s.funcs())
	err := walkTemplates(func(name, text string) error {
		if !isPieces(name) {
			return nil
		}
		if _, err := base.New(name).Parse(text); err != nil {
			return fmt.Errorf("views.New: %w", err)
		}
		return nil
	})
	return base, err
}

// parsePages gives each page file its own copy of base, in which it defines
// "main".
func (s *Set) parsePages(base *template.Template) error {
	return walkTemplates(func(name, text string) error {
		if isPieces(name) {
			return nil
		}
		page, err := base.Clone()
		if err != nil {
			return fmt.Errorf("views.New: %w", err)
		}
		if _, err := page.New(name).Parse(text); err != nil {
			return fmt.Errorf("views.New: %w", err)
		}
		if page.Lookup("main") == nil {
			return fmt.Errorf("views.New: template %s does not define \"main\"", name)
		}
		s.pages[name] = page.Lookup("layout")
		return nil
	})
}

func (s *Set) checkDeclared() error {
	used := map[string]bool{}
	for _, p := range declaredPages {
		if s.pages[p.Template()] == nil {
			return fmt.Errorf("views.New: page %T has no template %s", p, p.Template())
		}
		used[p.Template()] = true
	}
	for _, p := range declaredPieces {
		if s.pieces.Lookup(p.Piece()) == nil {
			return fmt.Errorf("views.New: piece %T has no template %q", p, p.Piece())
		}
	}
	for name := range s.pages {
		if !used[name] {
			return fmt.Errorf("views.New: template %s belongs to no page", name)
		}
	}
	return nil
}

func isPieces(name string) bool {
	return name == "layout" || strings.HasPrefix(name, "pieces/") || strings.HasPrefix(path.Base(name), "_")
}

// walkTemplates calls f with each template's name ("owner/build") and text.
func walkTemplates(f func(name, text string) error) error {
	return fs.WalkDir(templateFiles, "templates", func(file string, entry fs.DirEntry, err error) error {
		if err != nil || entry.IsDir() || path.Ext(file) != ".html" {
			return err
		}
		text, err := templateFiles.ReadFile(file)
		if err != nil {
			return fmt.Errorf("views.New: %w", err)
		}
		return f(strings.TrimSuffix(strings.TrimPrefix(file, "templates/"), ".html"), string(text))
	})
}

// Render writes a page as UTF-8 HTML. The page is made whole before the first
// byte is written, so a failure leaves w untouched.
//
// Errors: a page whose template does not fit it, or whose [Words] are not
// filled; whatever w returns.
func (s *Set) Render(w io.Writer, page Page) error {
	t := s.pages[page.Template()]
	if t == nil {
		return fmt.Errorf("views.Render: no template %s", page.Template())
	}
	var made bytes.Buffer
	if err := t.Execute(&made, page); err != nil {
		return fmt.Errorf("views.Render: %w", err)
	}
	_, err := made.WriteTo(w)
	return err
}

// RenderPiece writes a piece alone, under the same rules as Render.
func (s *Set) RenderPiece(w io.Writer, piece Piece) error {
	var made bytes.Buffer
	if err := s.pieces.ExecuteTemplate(&made, piece.Piece(), piece); err != nil {
		return fmt.Errorf("views.RenderPiece: %w", err)
	}
	_, err := made.WriteTo(w)
	return err
}

// Assets serves GET and HEAD of /static/<hash>/<name>. The right hash gets the
// file with a year's caching, any other 404 that is not cached.
func (s *Set) Assets() http.Handler { return s.assets }

// Asset returns the address of an asset named by its path below static/, such
// as "css/look.css"; it fails for a name that is not there.
func (s *Set) Asset(name string) (string, error) { return s.assets.url(name) }

// AssetFile returns an asset as it is served, for the few that stand at an
// address of their own, and its content type.
func (s *Set) AssetFile(name string) (data []byte, contentType string, err error) {
	f := s.assets.files[name]
	if f == nil {
		return nil, "", fmt.Errorf("views: there is no asset %s", name)
	}
	return f.data, f.contentType, nil
}
