package main

import (
	"bytes"
	"database/sql"
	"fmt"
	"mime/quotedprintable"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farbay/server/servertest"
)

// TestCheck_oldCopy puts an old copy of the database back, on which another
// truth is then recorded. What owners kept tells, in whatever form they kept it,
// and so does the checkpoint beside the secret key, without anybody's help.
func TestCheck_oldCopy(t *testing.T) {
	dir, clock := t.TempDir(), servertest.NewClock()
	old := filepath.Join(t.TempDir(), "old.db")
	var checkpoint, receipt string
	t.Run("before", func(t *testing.T) {
		s := servertest.Start(t, dir, clock)
		f := s.Full("Heron", s.Owner, 1)
		s.Consents(s.Owner)
		copyDatabase(t, dir, old)
		owner := s.As(s.Owner)
		paper := "/builds/" + string(f.ID) + "/papers/" + string(f.Paper.ID)
		record := owner.Get(paper + "/revisions/1/record").Status(http.StatusOK).Body
		owner.Post(paper+"/sign", url.Values{"revision": {"1"}, "sha256": {hashOf(record)}, "name": {"Ada Finch"}, "sure": {"yes"}}).Status(http.StatusOK)
		receipt = owner.Get(paper + "/receipt").Status(http.StatusOK).Body
		checkpoint = s.Client().Get("/proof-log/checkpoint").Status(http.StatusOK).Body
	})
	keep := func(name, text string) string {
		path := filepath.Join(t.TempDir(), name)
		writeFile(t, path, []byte(text))
		return path
	}
	var mail bytes.Buffer
	w := quotedprintable.NewWriter(&mail)
	if _, err := fmt.Fprintf(w, "Hello Ada,\n\nthank you.\n\n%s\nTern Hollow Truck Works\n", checkpoint); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	signature := strings.LastIndex(checkpoint, " ")
	kept := map[string]string{
		"note":    keep("note.txt", checkpoint),
		"receipt": keep("receipt.txt", receipt),
		"quoted":  keep("quoted.txt", "On Tuesday the shop wrote:\r\n> "+strings.ReplaceAll(strings.TrimSpace(checkpoint), "\n", "\r\n> ")+"\r\n> Yours\r\n"),
		"mail":    keep("mail.eml", "Content-Transfer-Encoding: quoted-printable\n\n"+mail.String()),
		"wrapped": keep("wrapped.txt", checkpoint[:signature]+"\n"+checkpoint[signature+1:]),
	}
	for name, file := range kept {
		if code, out, errs := do(t, noEnv, "check", "--data", dir, "--checkpoint", file); code != 0 || !strings.Contains(out, "2 checkpoints kept outside") {
			t.Errorf("%s, before: exit %d, %s%s", name, code, out, errs)
		}
	}
	nothing := keep("nothing.txt", "Hello Ada,\n\nthank you.\n")
	if code, _, errs := do(t, noEnv, "check", "--data", dir, "--checkpoint", nothing); code != 1 || !strings.Contains(errs, "there is no checkpoint in") {
		t.Errorf("a file without one: exit %d, %s", code, errs)
	}

	putBack(t, dir, old)
	const says = "of the signed events are missing, as after an old copy of the database was put back"
	code, out, _ := do(t, noEnv, "check", "--data", dir)
	if code != 1 || !strings.Contains(out, says) || !strings.Contains(out, "newest-checkpoint.txt") || !strings.Contains(out, "; 1 faults") {
		t.Errorf("the checkpoint beside the key: exit %d, %s", code, out)
	}
	for name, file := range kept {
		code, out, _ := do(t, noEnv, "check", "--data", dir, "--checkpoint", file)
		if code != 1 || strings.Count(out, says) != 2 || !strings.Contains(out, file) {
			t.Errorf("%s, with the old copy: exit %d, %s", name, code, out)
		}
	}

	// The log grows past the signed size again, with other events.
	t.Run("another truth", func(t *testing.T) {
		s := servertest.Start(t, dir, clock)
		if !strings.Contains(s.Log.All(), "the proof log is not a continuation of the checkpoint beside its keys") {
			t.Error("the start says nothing of it")
		}
		s.Agreed("Juniper", s.Owner)
	})
	code, out, _ = do(t, noEnv, "check", "--data", dir, "--checkpoint", kept["mail"])
	if code != 1 || strings.Count(out, "something was changed, removed or put in since") != 2 {
		t.Errorf("with another truth: exit %d, %s", code, out)
	}
}

// copyDatabase copies the database of a data folder that is in use.
func copyDatabase(t *testing.T, dir, to string) {
	t.Helper()
	db, err := sql.Open("sqlite3", filepath.Join(dir, "farbay.db"))
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec("VACUUM INTO ?", to); err != nil {
		t.Fatal(err)
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
}

// putBack puts a copy in the place of a data folder's database.
func putBack(t *testing.T, dir, from string) {
	t.Helper()
	data, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	for _, beside := range []string{"-wal", "-shm"} {
		if err := os.RemoveAll(filepath.Join(dir, "farbay.db"+beside)); err != nil {
			t.Fatal(err)
		}
	}
	writeFile(t, filepath.Join(dir, "farbay.db"), data)
}
