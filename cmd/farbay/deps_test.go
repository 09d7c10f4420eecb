package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

const root = "../.."

// listed is what go list says of one package.
type listed struct {
	ImportPath   string
	Dir          string
	Standard     bool
	Imports      []string
	TestImports  []string
	XTestImports []string
	Deps         []string
}

// ours returns the packages of this module, by path below it ("server").
func ours(t *testing.T) map[string]listed {
	t.Helper()
	cmd := exec.Command("go", "list", "-deps", "-test=false", "-json=ImportPath,Dir,Standard,Imports,TestImports,XTestImports,Deps", "./...")
	cmd.Dir = root
	var stderr bytes.Buffer
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, stderr.String())
	}
	all := map[string]listed{}
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p listed
		if err := dec.Decode(&p); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatal(err)
		}
		if below, found := strings.CutPrefix(p.ImportPath, "farbay/"); found {
			all[below] = p
		}
	}
	if len(all) < 8 {
		t.Fatalf("go list names %d packages of ours", len(all))
	}
	return all
}

func isStandard(importPath string) bool {
	first, _, _ := strings.Cut(importPath, "/")
	return first != "farbay" && !strings.Contains(first, ".")
}

// within reports whether importPath is one of the names or lies below one.
func within(importPath string, names []string) bool {
	return slices.ContainsFunc(names, func(name string) bool {
		return importPath == name || strings.HasPrefix(importPath, name+"/")
	})
}

// pure are the packages below journal that hold one subject each.
var pure = []string{
	"farbay/journal/signoff", "farbay/journal/prooflog", "farbay/journal/billing",
	"farbay/journal/schedule", "farbay/journal/parts", "farbay/journal/coating",
}

// mayImport says, for each package of ours that is not free, what its code may
// import besides the standard library. The longest name that fits counts.
var mayImport = map[string][]string{
	"journal":          {},
	"journal/signoff":  {"farbay/journal"},
	"journal/prooflog": {"farbay/journal", "golang.org/x/mod/sumdb"},
	"journal/billing":  {"farbay/journal"},
	"journal/schedule": {"farbay/journal"},
	"journal/parts":    {"farbay/journal"},
	"journal/coating":  {"farbay/journal"},
	"journal/flow":     append([]string{"farbay/journal"}, pure...),
	"journal/store": append([]string{
		"farbay/journal", "farbay/journal/flow", "gorm.io", "github.com/pressly/goose", "github.com/mattn/go-sqlite3",
	}, pure...),
	"views": append([]string{
		"farbay/journal", "github.com/carlos7ags/folio", "golang.org/x/image/font/gofont", "golang.org/x/text/unicode/norm",
	}, pure...),
	"media": {
		"github.com/disintegration/imaging", "github.com/rwcarlsen/goexif", "golang.org/x/image", "golang.org/x/sync",
		"github.com/tetratelabs/wazero", "github.com/kovidgoyal/imaging/prism/meta/icc",
	},
	"media/storagetest": {"farbay/media"},
}

// exact names are not opened for what lies below them: "farbay/journal" is the
// package, not its family.
func allowed(importPath string, names []string) bool {
	for _, name := range names {
		if importPath == name || !strings.HasPrefix(name, "farbay/") && strings.HasPrefix(importPath, name+"/") {
			return true
		}
	}
	return false
}

// onlyIn says which packages alone may import a library or a package.
var onlyIn = map[string][]string{
	"github.com/labstack/echo":          {"farbay/server"},
	"gorm.io":                           {"farbay/journal/store"},
	"github.com/pressly/goose":          {"farbay/journal/store"},
	"github.com/mattn/go-sqlite3":       {"farbay/journal/store"},
	"html/template":                     {"farbay/views"},
	"github.com/carlos7ags/folio":       {"farbay/views"},
	"github.com/disintegration/imaging": {"farbay/media"},
	"github.com/rwcarlsen/goexif":       {"farbay/media"},
	"github.com/tetratelabs/wazero":     {"farbay/media"},
	"github.com/kovidgoyal/imaging":     {"farbay/media"},
	"github.com/go-webauthn/webauthn":   {"farbay/server"},
	"farbay/journal/store":              {"farbay/server"},
	"farbay/server/servertest":          {}, // tests only
	"farbay/server/htmlcheck":           {"farbay/server/servertest"},
	"farbay/media/storagetest":          {},
	"testing":                           {"farbay/server/servertest", "farbay/media/storagetest"},
}

func TestImports(t *testing.T) {
	for name, p := range ours(t) {
		if names, bound := mayImport[name]; bound {
			for _, imported := range p.Imports {
				if !isStandard(imported) && !allowed(imported, names) {
					t.Errorf("%s imports %s, which it may not", p.ImportPath, imported)
				}
			}
		}
		for _, imported := range p.Imports {
			for library, holders := range onlyIn {
				if within(imported, []string{library}) && !slices.Contains(holders, p.ImportPath) {
					t.Errorf("%s imports %s; only %v may", p.ImportPath, imported, holders)
				}
			}
			if strings.HasPrefix(imported, "farbay/cmd/") && !strings.HasPrefix(name, "cmd/") {
				t.Errorf("%s imports the command %s", p.ImportPath, imported)
			}
			if imported == "farbay/server" && !strings.HasPrefix(name, "cmd/") && name != "server/servertest" {
				t.Errorf("%s imports farbay/server; only commands may", p.ImportPath)
			}
		}
	}
}

// What a package imports through others counts too: the model and its steps
// must not bring in any library, by whatever way, but the two of the proof log,
// which are pure themselves and import the standard library only.
func TestDeps(t *testing.T) {
	all := ours(t)
	for name := range all {
		if name != "journal" && name != "journal/flow" && !within("farbay/"+name, pure) {
			continue
		}
		for _, dep := range all[name].Deps {
			if !isStandard(dep) && !strings.HasPrefix(dep, "farbay/journal") && !within(dep, []string{"golang.org/x/mod/sumdb"}) {
				t.Errorf("%s depends on %s", name, dep)
			}
			if dep == "database/sql" || dep == "net/http" || dep == "html/template" {
				t.Errorf("%s depends on %s", name, dep)
			}
		}
	}
}

// The rules must be able to fail.
func TestImportRulesCanFail(t *testing.T) {
	if allowed("farbay/journal/flow", mayImport["views"]) || allowed("gorm.io/gorm", mayImport["journal/flow"]) ||
		allowed("farbay/journal/billing", mayImport["journal/signoff"]) {
		t.Error("what is forbidden is allowed")
	}
	if !allowed("gorm.io/driver/sqlite", mayImport["journal/store"]) || !allowed("farbay/journal/billing", mayImport["views"]) {
		t.Error("what is allowed is forbidden")
	}
	if !within("github.com/labstack/echo/v4/middleware", []string{"github.com/labstack/echo"}) || within("testing/fstest2x", []string{"testing/fstest"}) {
		t.Error("a path is taken for another")
	}
	if isStandard("gorm.io/gorm") || isStandard("farbay/views") || !isStandard("net/http") {
		t.Error("the standard library is not told from others")
	}
}

// Nothing lies visible in the top folder but what belongs there.
func TestTopFolder(t *testing.T) {
	belongs := []string{"go.mod", "go.sum", "README.md", "DEVELOPERS.md", "cmd", "server", "journal", "media", "views", "testdata"}
	ignored, err := os.ReadFile(filepath.Join(root, ".gitignore"))
	if err != nil {
		t.Fatal(err)
	}
	for _, line := range strings.Fields(string(ignored)) {
		belongs = append(belongs, strings.Trim(line, "/")) // made by running it, never kept
	}
	entries, err := os.ReadDir(root)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && !slices.Contains(belongs, e.Name()) {
			t.Errorf("%s does not belong in the top folder", e.Name())
		}
	}
}

func TestMainIsShort(t *testing.T) {
	text, err := os.ReadFile("main.go")
	if err != nil {
		t.Fatal(err)
	}
	if lines := bytes.Count(text, []byte("\n")); lines >= 120 {
		t.Errorf("main.go has %d lines; it stays under 120", lines)
	}
}

// Nobody sleeps, in code or in tests: what is waited for says when it is there.
func TestNobodySleeps(t *testing.T) {
	files := 0
	err := filepath.WalkDir(root, func(file string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case e.IsDir() && strings.HasPrefix(e.Name(), ".") && e.Name() != "..":
			return fs.SkipDir
		case e.IsDir() || path.Ext(file) != ".go":
			return nil
		}
		files++
		set := token.NewFileSet()
		parsed, err := parser.ParseFile(set, file, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		ast.Inspect(parsed, func(n ast.Node) bool {
			call, ok := n.(*ast.SelectorExpr)
			if !ok || call.Sel.Name != "Sleep" {
				return true
			}
			if from, ok := call.X.(*ast.Ident); ok && from.Name == "time" {
				t.Errorf("%s sleeps", set.Position(n.Pos()))
			}
			return true
		})
		return nil
	})
	if err != nil || files < 50 {
		t.Errorf("%d files read, %v", files, err)
	}
}
