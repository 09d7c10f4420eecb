package main

import (
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"farbay/server/servertest"
)

// TestBundle: a bundle is unpacked on another machine by Info-ZIP's unzip, its
// sums are checked by coreutils' sha256sum, and its receipt by the command that
// its README names; after one digit of the amount is changed, both complain.
func TestBundle(t *testing.T) {
	for _, program := range []string{"unzip", "sha256sum", "pdftotext"} {
		if _, err := exec.LookPath(program); err != nil && os.Getenv("FARBAY_TEST_ALL") == "" {
			t.Skipf("%s is not installed", program)
		}
	}
	s := servertest.New(t)
	f := s.Full("Old Salt", s.Owner, 1)
	s.Settle()
	s.Consents(s.Owner)
	owner := s.As(s.Owner)
	paper := "/builds/" + string(f.ID) + "/papers/" + string(f.Paper.ID)
	record := owner.Get(paper + "/revisions/1/record").Status(http.StatusOK).Body
	owner.Post(paper+"/sign", url.Values{"revision": {"1"}, "sha256": {hashOf(record)}, "name": {"Ada Finch"}, "parts_back": {"no"}, "sure": {"yes"}}).Status(http.StatusOK).Says("Signed. Thank you")
	for _, path := range []string{paper + "/bundle.zip", "/builds/" + string(f.ID) + "/bundle.zip"} {
		dir := t.TempDir()
		in := func(program string, args ...string) (string, error) {
			cmd := exec.CommandContext(t.Context(), program, args...)
			cmd.Dir = dir
			out, err := cmd.CombinedOutput()
			return string(out), err
		}
		writeFile(t, filepath.Join(dir, "bundle.zip"), []byte(owner.Get(path).Status(http.StatusOK).Body))
		if out, err := in("unzip", "-q", "bundle.zip"); err != nil {
			t.Fatalf("unzip: %v: %s", err, out)
		}
		sums, err := in("sha256sum", "--strict", "-c", "SHA256SUMS")
		if err != nil || strings.Count(sums, ": OK") != 8 {
			t.Errorf("sha256sum: %v:\n%s", err, sums)
		}
		text, err := in("pdftotext", "change-order-1/change-order-1-revision-1.pdf", "-")
		if err != nil || !strings.Contains(text, hashOf(record)) || !strings.Contains(text, "Signed by Ada Finch") {
			t.Errorf("the print: %v: %s", err, text)
		}
		readme, err := os.ReadFile(filepath.Join(dir, "README.txt"))
		if err != nil {
			t.Fatal(err)
		}
		command := ""
		for _, line := range strings.Split(string(readme), "\n") {
			if after, found := strings.CutPrefix(strings.TrimSpace(line), "farbay "); found {
				command = after
			}
		}
		t.Chdir(dir)
		code, out, errs := do(t, noEnv, strings.Fields(command)...)
		if code != 0 || !strings.Contains(out, "Good.") || !strings.Contains(out, "The paper is the one that was decided") {
			t.Errorf("farbay %s: exit %d: %s%s", command, code, out, errs)
		}
		name := filepath.Join(dir, "change-order-1", "change-order-1-revision-1.json")
		writeFile(t, name, []byte(strings.Replace(record, `"delta":219000`, `"delta":218000`, 1)))
		if code, out, errs = do(t, noEnv, strings.Fields(command)...); code != 1 || !strings.Contains(errs, "about another paper") {
			t.Errorf("after a digit was changed: exit %d: %s%s", code, out, errs)
		}
		if sums, err = in("sha256sum", "-c", "SHA256SUMS"); err == nil || !strings.Contains(sums, "revision-1.json: FAILED") {
			t.Errorf("sha256sum finds nothing after a digit was changed:\n%s", sums)
		}
	}
}
