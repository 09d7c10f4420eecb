package media

import (
	"bytes"
	"fmt"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"testing"
)

// privacyCheck gathers derivatives to be looked through.
type privacyCheck struct {
	dir   string
	paths []string
	seen  map[string]bool
}

// add looks for private words in a derivative, in whatever case and also with
// two bytes a letter, and keeps it for exifTool.
func (c *privacyCheck) add(t *testing.T, name string, d Derivative, words []string) {
	t.Helper()
	if c.seen[string(d.JPEG)] {
		return // a small original's derivatives are one and the same
	}
	c.seen[string(d.JPEG)] = true
	lower := bytes.ToLower(d.JPEG)
	for _, word := range words {
		wide := strings.Join(strings.Split(word, ""), "\x00")
		if bytes.Contains(lower, []byte(strings.ToLower(word))) || bytes.Contains(lower, []byte(strings.ToLower(wide))) {
			t.Errorf("%s, %d px: %q is in it", name, d.LongEdge, word)
		}
	}
	path := filepath.Join(c.dir, fmt.Sprintf("%s-%d.jpg", name, d.LongEdge))
	writeFile(t, path, d.JPEG)
	c.paths = append(c.paths, path)
}

// exifTool asks ExifTool for every tag it can find in the derivatives: only
// those about the file itself and the colour profile may be there.
func (c *privacyCheck) exifTool(t *testing.T) {
	t.Helper()
	for path, tags := range exifTool(t, c.paths, "-u") {
		var more []string
		for key := range tags {
			switch group, _, _ := strings.Cut(key, ":"); {
			case key == "SourceFile", group == "ExifTool", group == "System", group == "File", group == "Composite":
			case strings.HasPrefix(group, "ICC"):
			default:
				more = append(more, key)
			}
		}
		sort.Strings(more)
		if len(more) > 0 {
			t.Errorf("%s: ExifTool finds %q", filepath.Base(path), more)
		}
	}
}

// TestDerive_NothingPrivate: DESIGN.md, Promise 2, on files with names, serial
// numbers, places and comments in Exif and XMP, in every format.
func TestDerive_NothingPrivate(t *testing.T) {
	program(t, "exiftool")
	var files []tagged
	for ext, base := range bases(t) {
		files = append(files, tagged{ext, ext, base, append(append([]string(nil), phoneTags...), privateTags...)})
	}
	check := privacyCheck{dir: t.TempDir(), seen: map[string]bool{}}
	for ext, path := range writeTags(t, files...) {
		b := readFile(t, path)
		if !bytes.Contains(bytes.ToLower(b), []byte("quarterdeck")) {
			t.Fatalf("%s: the original does not hold what is looked for", ext)
		}
		for _, d := range deriveAll(t, b) {
			check.add(t, ext, d, privateWords)
		}
	}
	check.exifTool(t)
}

// TestDerive_NothingPrivateInSamples: the "private" strings of truth.json,
// camera names, and dates, in derivatives of real photos with maker notes, IPTC,
// XMP and thumbnails.
func TestDerive_NothingPrivateInSamples(t *testing.T) {
	if plainly(t) {
		return
	}
	folder, rows := truth(t)
	program(t, "exiftool")
	check := privacyCheck{dir: t.TempDir(), seen: map[string]bool{}}
	for _, row := range rows {
		name := filepath.Base(row.File)
		b := readFile(t, filepath.Join(folder, row.File))
		if !mustInspect(t, b).Decodable() || slices.Contains(row.Categories, "orientation") {
			continue // no derivative, or nothing in it but an orientation
		}
		words := []string{"exif\x00", "http://ns.adobe.com", "photoshop 3.0"}
		for _, private := range row.Private {
			_, value, ok := strings.Cut(private, "=")
			if !ok {
				t.Fatalf("truth.json: private %q has no value", private)
			}
			words = append(words, value)
		}
		for _, word := range []string{text(row.DateTimeOriginal), text(row.Model)} {
			if len(word) > 4 { // shorter ones occur by chance
				words = append(words, word)
			}
		}
		for _, d := range deriveAll(t, b) {
			check.add(t, name, d, words)
		}
	}
	check.exifTool(t)
}
