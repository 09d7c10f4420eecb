package main

import (
	"archive/zip"
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"farbay/cmd/farbay/scenery"
	"farbay/journal"
	"farbay/journal/flow"
	"farbay/server/servertest"
)

// imported runs "farbay import --json" and returns its lines by file.
func imported(t *testing.T, wantCode int, args ...string) map[string]importLine {
	t.Helper()
	code, out, errs := do(t, noEnv, append([]string{"import", "--json"}, args...)...)
	if code != wantCode {
		t.Fatalf("exit %d, want %d: %s", code, wantCode, errs)
	}
	lines := map[string]importLine{}
	for scan := bufio.NewScanner(strings.NewReader(out)); scan.Scan(); {
		var l importLine
		if err := json.Unmarshal(scan.Bytes(), &l); err != nil {
			t.Fatalf("%v: %s", err, scan.Text())
		}
		lines[l.File] = l
	}
	return lines
}

func said(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

// cameraSamples is the folder shared/camera beside the module's root or above.
func cameraSamples(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for dir != filepath.Dir(dir) {
		dir = filepath.Dir(dir)
		if _, err := os.Stat(filepath.Join(dir, "shared", "camera", "truth.json")); err == nil {
			return filepath.Join(dir, "shared", "camera")
		}
	}
	t.Skip("skipped: no folder shared/camera with camera samples beside the project")
	return ""
}

// TestImport_cameraSamples: what is told of real cameras' files is what ExifTool
// reads in them. Source: truth.json beside the files, written with ExifTool
// 12.57; the capture time and offset follow DESIGN.md, Capture time.
func TestImport_cameraSamples(t *testing.T) {
	folder := cameraSamples(t)
	b, err := os.ReadFile(filepath.Join(folder, "truth.json"))
	if err != nil {
		t.Fatal(err)
	}
	var truth []struct {
		File, SHA256, FileType  string
		Orientation             *int
		ImageWidth, ImageHeight int
		GPSLatitude             *float64
		Derived                 struct {
			Local  *string `json:"capture_local"`
			Offset *string
		}
	}
	if err := json.Unmarshal(b, &truth); err != nil || len(truth) == 0 {
		t.Fatal(len(truth), err)
	}
	got := imported(t, 0, "--dry-run", filepath.Join(folder, "files"))
	fraction := regexp.MustCompile(`\.\d+`)
	for _, want := range truth {
		l, found := got[strings.TrimPrefix(want.File, "files/")]
		if !found {
			t.Errorf("no line for %s", want.File)
			continue
		}
		captured := ""
		if want.Derived.Local != nil {
			captured = strings.Replace(strings.Replace(*want.Derived.Local, ":", "-", 2), " ", "T", 1)
			if want.Derived.Offset != nil {
				captured += *want.Derived.Offset
			}
		}
		if at := fraction.ReplaceAllString(said(l.CapturedAt), ""); at != captured {
			t.Errorf("%s: captured_at %q, want %q", l.File, at, captured)
		}
		orientation, width, height := 1, want.ImageWidth, want.ImageHeight
		if want.Orientation != nil && *want.Orientation >= 1 && *want.Orientation <= 8 {
			orientation = *want.Orientation
		}
		if want.FileType == "HEIC" {
			// Turned by its own boxes, which ExifTool's size has not followed.
			width, height = min(width, height), max(width, height)
			orientation = l.Orientation
		} else if orientation >= 5 {
			width, height = height, width
		}
		if l.SHA256 != want.SHA256 || l.Orientation != orientation || l.Width != width || l.Height != height {
			t.Errorf("%s: %d x %d, orientation %d, %s; want %d x %d, %d, %s", l.File, l.Width, l.Height, l.Orientation, l.SHA256, width, height, orientation, want.SHA256)
		}
		if (l.Latitude == nil) != (want.GPSLatitude == nil) || l.Latitude != nil && fmt.Sprintf("%.4f", *l.Latitude) != fmt.Sprintf("%.4f", *want.GPSLatitude) {
			t.Errorf("%s: latitude %v, want %v", l.File, l.Latitude, want.GPSLatitude)
		}
		if l.Error != nil {
			t.Errorf("%s: %s", l.File, *l.Error)
		}
	}
}

// shots draws photos taken at the given times and writes them into a new
// folder, as a.jpg, b.jpg ...
func shots(t *testing.T, zone *time.Location, at ...time.Time) string {
	t.Helper()
	dir := t.TempDir()
	for i, when := range at {
		b, err := scenery.Shot{At: when.In(zone), Number: i}.JPEG()
		if err != nil {
			t.Fatal(err)
		}
		writeFile(t, filepath.Join(dir, fmt.Sprintf("%c.jpg", 'a'+i)), b)
	}
	return dir
}

func writeFile(t *testing.T, name string, b []byte) {
	t.Helper()
	if err := os.WriteFile(name, b, 0o600); err != nil {
		t.Fatal(err)
	}
}

// TestImport brings photos of two stages and one from before the work into a
// build, beside a running server; twice, and the second time changes nothing.
func TestImport(t *testing.T) {
	s := servertest.New(t)
	steps, floor := s.App.Steps(), servertest.Actor(s.Floor)
	build, stages := s.Agreed("Heron", s.Owner)
	open := func(i int) time.Time {
		if err := steps.OpenStage(t.Context(), floor, build, stages[i].ID); err != nil {
			t.Fatal(err)
		}
		at := s.Clock.Now()
		s.Clock.Pass(48 * time.Hour)
		return at
	}
	first := open(0)
	second := open(1)
	zone := time.FixedZone("", -7*3600)
	folder := shots(t, zone, second.Add(time.Hour), first.Add(time.Hour), first.Add(2*time.Hour), first.Add(-time.Hour))
	writeFile(t, filepath.Join(folder, "notes.txt"), []byte("Not a photo."))
	writeFile(t, filepath.Join(folder, ".hidden"), nil)
	b, err := os.ReadFile(filepath.Join(folder, "a.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	writeFile(t, filepath.Join(folder, "z again.jpg"), b)

	args := []string{"--data", s.Dir, "--build", "heron", "--as", s.Floor.Email, folder}
	dry := imported(t, 1, append([]string{"--dry-run"}, args...)...)
	if n := photosOf(t, s, build); n != 0 {
		t.Fatalf("a dry run stored %d photos", n)
	}
	got := imported(t, 1, args...)
	for file, stage := range map[string]string{"a.jpg": stages[1].Name, "b.jpg": stages[0].Name, "c.jpg": stages[0].Name, "d.jpg": "", "z again.jpg": stages[1].Name} {
		if said(got[file].Stage) != stage || said(dry[file].Stage) != stage {
			t.Errorf("%s: stage %q, dry %q, want %q", file, said(got[file].Stage), said(dry[file].Stage), stage)
		}
	}
	if want := second.Add(time.Hour).In(zone).Format(time.RFC3339); said(got["a.jpg"].CapturedAt) != want {
		t.Errorf("a.jpg captured at %s, want %s", said(got["a.jpg"].CapturedAt), want)
	}
	if said(got["z again.jpg"].DuplicateOf) != "a.jpg" || got["a.jpg"].DuplicateOf != nil {
		t.Errorf("the same file twice: %+v", got["z again.jpg"])
	}
	if !strings.Contains(said(got["notes.txt"].Error), "not a photo") || len(got) != 6 {
		t.Errorf("%d lines, notes.txt: %+v", len(got), got["notes.txt"])
	}
	counts := func() map[journal.StageID]int {
		n := map[journal.StageID]int{}
		for _, e := range entriesOf(t, s, build) {
			n[e.StageID] += len(e.Photos)
			if e.Audience != journal.ShopOnly || e.AuthorID != s.Floor.ID {
				t.Errorf("posted as %+v", e)
			}
		}
		return n
	}
	check := func(when string) {
		if n := counts(); n[stages[0].ID] != 2 || n[stages[1].ID] != 1 || len(entriesOf(t, s, build)) != 2 || photosOf(t, s, build) != 4 {
			t.Errorf("%s: photos by stage %v in %d entries", when, n, len(entriesOf(t, s, build)))
		}
	}
	check("imported")
	again := imported(t, 1, args...)
	check("imported again")
	if again["b.jpg"].DuplicateOf == nil || said(again["b.jpg"].Stage) != stages[0].Name {
		t.Errorf("the second time: %+v", again["b.jpg"])
	}
	// One that was loose goes in when its stage is named.
	imported(t, 1, append([]string{"--stage", strings.ToUpper(stages[2].Name)}, args...)...)
	if n := counts(); n[stages[2].ID] != 1 {
		t.Errorf("by stage: %v", n)
	}
}

// TestImport_goesOn: an import that was stopped after its photos were taken in,
// or half-way through an entry, is finished by the next.
func TestImport_goesOn(t *testing.T) {
	s := servertest.New(t)
	build, stages := s.Agreed("Heron", s.Owner)
	if err := s.App.Steps().OpenStage(t.Context(), servertest.Actor(s.Floor), build, stages[0].ID); err != nil {
		t.Fatal(err)
	}
	at := s.Clock.Now().Add(time.Hour)
	s.Clock.Pass(24 * time.Hour)
	folder := shots(t, time.UTC, at, at.Add(time.Minute), at.Add(2*time.Minute))
	// As the first import left it: one photo in its entry, one loose, one missing.
	lines := map[string]importLine{}
	one := t.TempDir()
	for _, name := range []string{"b.jpg", "c.jpg"} {
		b, err := os.ReadFile(filepath.Join(folder, name))
		if err != nil {
			t.Fatal(err)
		}
		if name == "b.jpg" {
			writeFile(t, filepath.Join(one, name), b)
			lines = imported(t, 0, "--data", s.Dir, "--build", "Heron", one)
			continue
		}
		if _, err := s.App.Intake().Take(t.Context(), servertest.Actor(s.Office), build, name, bytes.NewReader(b)); err != nil {
			t.Fatal(err)
		}
	}
	if said(lines["b.jpg"].Stage) != stages[0].Name {
		t.Fatalf("first: %+v", lines)
	}
	imported(t, 0, "--data", s.Dir, "--build", "Heron", folder)
	entries := entriesOf(t, s, build)
	if len(entries) != 1 || len(entries[0].Photos) != 3 {
		t.Fatalf("%d entries: %+v", len(entries), entries)
	}
	if !entries[0].HappenedAt.Equal(at) {
		t.Errorf("the entry is of %v, its first photo of %v", entries[0].HappenedAt, at)
	}
}

// TestImport_zip: the same from a ZIP, with names that lead out of it, a bomb
// and what systems leave behind.
func TestImport_zip(t *testing.T) {
	s := servertest.New(t)
	folder := shots(t, time.UTC, s.Clock.Now())
	photo, err := os.ReadFile(filepath.Join(folder, "a.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	var packed bytes.Buffer
	z := zip.NewWriter(&packed)
	for name, content := range map[string][]byte{
		"../../etc/photo.jpg": photo, "Heron/__MACOSX/._a.jpg": photo, ".DS_Store": {1}, `back\slash.jpg`: photo[:2000],
		"bomb.jpg": append([]byte("\xff\xd8\xff"), make([]byte, 60_000_000)...),
	} {
		w, err := z.Create(name)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(content); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	place := filepath.Join(t.TempDir(), "phone.zip")
	writeFile(t, place, packed.Bytes())
	t.Setenv("TMPDIR", t.TempDir())
	got := imported(t, 1, "--dry-run", place)
	if len(got) != 3 || got["etc/photo.jpg"].Error != nil || got["etc/photo.jpg"].SHA256 == "" {
		t.Errorf("lines: %+v", got)
	}
	if !strings.Contains(said(got["back/slash.jpg"].Error), "cut off") || got["bomb.jpg"].Error == nil {
		t.Errorf("cut off: %+v\nbomb: %+v", got["back/slash.jpg"], got["bomb.jpg"])
	}
	left, err := os.ReadDir(os.Getenv("TMPDIR"))
	if err != nil || len(left) > 0 {
		t.Errorf("unpacked files are left: %v %v", left, err)
	}
}

func TestImport_refuses(t *testing.T) {
	s := servertest.New(t)
	s.Agreed("Heron", s.Owner)
	empty := t.TempDir()
	notes := filepath.Join(t.TempDir(), "notes.txt")
	writeFile(t, notes, []byte("Not a ZIP."))
	for says, args := range map[string][]string{
		"name one folder":                      {"--dry-run"},
		"say with --build":                     {empty},
		`no build with the nickname "Juniper"`: {"--data", s.Dir, "--build", "Juniper", empty},
		`no stage "Gilding"`:                   {"--data", s.Dir, "--build", "Heron", "--stage", "Gilding", empty},
		"no account of the shop":               {"--data", s.Dir, "--build", "Heron", "--as", s.Owner.Email, empty},
		"shop only":                            {"--data", s.Dir, "--build", "Heron", "--audience", "everybody", empty},
		"neither a folder nor a ZIP":           {"--dry-run", notes},
		"cannot be read":                       {"--data", filepath.Join(empty, "nowhere"), "--build", "Heron", empty},
	} {
		code, _, errs := do(t, noEnv, append([]string{"import"}, args...)...)
		if code == 0 || !strings.Contains(errs, says) {
			t.Errorf("%v: exit %d, %q, want %q", args, code, errs, says)
		}
	}
	if code, out, _ := do(t, noEnv, "import", "--dry-run", empty); code != 0 || !strings.Contains(out, "0 files looked at") {
		t.Errorf("an empty folder: exit %d, %q", code, out)
	}
}

func entriesOf(t *testing.T, s *servertest.Server, build journal.BuildID) (entries []journal.Entry) {
	t.Helper()
	readStore(t, s, func(r flow.Reads) (err error) {
		entries, err = r.Entries(build, flow.EntryQuery{Staff: true})
		return err
	})
	return entries
}

func photosOf(t *testing.T, s *servertest.Server, build journal.BuildID) (n int) {
	t.Helper()
	readStore(t, s, func(r flow.Reads) (err error) {
		n, err = r.CountPhotos(build, true)
		return err
	})
	return n
}

func readStore(t *testing.T, s *servertest.Server, f func(flow.Reads) error) {
	t.Helper()
	if err := s.App.Steps().Store.Read(t.Context(), f); err != nil {
		t.Fatal(err)
	}
}
