package main

import (
	"archive/zip"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"farbay/server/servertest"
)

// The books are written once, never over a file, and not at all for days that
// cannot be; the counts are told for people and for machines.
func TestBooksCommand(t *testing.T) {
	dir := t.TempDir()
	s := servertest.Start(t, dir, servertest.NewClock())
	s.Full("Heron", s.Owner, 1)
	to := filepath.Join(t.TempDir(), "books.zip")
	code, out, errs := do(t, noEnv, "books", "--data", dir, "--from", "2026-04-01", "--to", "2026-04-30", "--json", to)
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	lines := strings.Split(strings.TrimSpace(out), "\n")
	var counts bookedCounts
	if err := json.Unmarshal([]byte(lines[len(lines)-1]), &counts); err != nil || counts.Documents != 1 || counts.Payments != 1 {
		t.Errorf("%v: %s", err, out)
	}
	var first bookedLine
	if err := json.Unmarshal([]byte(lines[0]), &first); err != nil || first != (bookedLine{"Assets:Receivable", "0.00", "700.00", "0.00", "700.00"}) { // 500.00 came before the invoice
		t.Errorf("%v: %+v", err, first)
	}
	z, err := zip.OpenReader(to)
	if err != nil {
		t.Fatal(err)
	}
	defer z.Close()
	if !slices.ContainsFunc(z.File, func(f *zip.File) bool { return f.Name == "books.journal" }) {
		t.Error("there are no books in it")
	}
	before, err := os.ReadFile(to)
	if err != nil {
		t.Fatal(err)
	}
	code, _, errs = do(t, noEnv, "books", "--data", dir, "--from", "2026-04-01", "--to", "2026-04-30", to)
	if after, err := os.ReadFile(to); code != 1 || !strings.Contains(errs, "is there already") || err != nil || string(after) != string(before) {
		t.Errorf("again: exit %d, %s", code, errs)
	}
	other := to + "2"
	code, _, errs = do(t, noEnv, "books", "--data", dir, "--from", "2026-04-30", "--to", "2026-04-01", other)
	if _, err := os.Stat(other); code != 1 || !strings.Contains(errs, "ends before it begins") || !os.IsNotExist(err) {
		t.Errorf("backwards: exit %d, %s", code, errs)
	}
	if code, _, errs = do(t, noEnv, "books", "--data", dir); code != 2 || !strings.Contains(errs, "name the file") {
		t.Errorf("without a file: exit %d, %s", code, errs)
	}
	code, out, errs = do(t, noEnv, "books", "--data", dir, "--from", "2026-04-01", "--to", "2026-04-30", other)
	if code != 0 || !strings.Contains(out, "1 documents and 1 payments") {
		t.Errorf("exit %d, %s %s", code, out, errs)
	}
}
