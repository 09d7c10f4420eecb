package main

import (
	"encoding/json"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"farbay/journal/prooflog"
	"farbay/journal/signoff"
	"farbay/server/servertest"
)

// TestVerify: what an owner downloads after signing is checked on another
// machine, with nothing but the shop's published keys.
func TestVerify(t *testing.T) {
	s := servertest.New(t)
	f := s.Full("Heron", s.Owner, 1)
	s.Consents(s.Owner)
	owner := s.As(s.Owner)
	paper := "/builds/" + string(f.ID) + "/papers/" + string(f.Paper.ID)
	record := owner.Get(paper + "/revisions/1/record").Status(http.StatusOK).Body
	owner.Get(paper + "/receipt").Status(http.StatusNotFound)
	owner.Post(paper+"/sign", url.Values{"revision": {"1"}, "sha256": {hashOf(record)}, "name": {"Ada Finch"}, "sure": {"yes"}}).Status(http.StatusOK).Says("Signed. Thank you")
	receipt := owner.Get(paper + "/receipt").Status(http.StatusOK).Body
	anybody := s.Client()
	keys := anybody.Get("/proof-log/keys").Status(http.StatusOK).Body
	checkpoint := anybody.Get("/proof-log/checkpoint").Status(http.StatusOK).Body
	if _, err := prooflog.OpenCheckpoint([]byte(checkpoint), strings.TrimSpace(keys)); err != nil {
		t.Errorf("the published checkpoint: %v", err)
	}
	anybody.Get("/proof-log").Says("signed lines are a checkpoint").Says(strings.TrimSpace(strings.Split(checkpoint, "\n")[0]))

	dir := t.TempDir()
	at := func(name, content string) string {
		path := filepath.Join(dir, name)
		writeFile(t, path, []byte(content))
		return path
	}
	keyFile, receiptFile, paperFile := at("keys.txt", keys), at("receipt.txt", receipt), at("paper.json", record)
	otherSecret, other, err := prooflog.NewKey(strings.NewReader(strings.Repeat("x", 64)), "another")
	if err != nil || otherSecret == "" {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name, says string
		code       int
		args       []string
	}{
		{"receipt alone", "name that file too", 0, []string{"--keys", keyFile, receiptFile}},
		{"with the paper", "The paper is the one that was decided", 0, []string{"--keys", keyFile, receiptFile, paperFile}},
		{"who agreed", `By Ada Finch, as owner: "I have read`, 0, []string{"--keys", keyFile, receiptFile, paperFile}},
		{"key as text", "Good.", 0, []string{"--keys", strings.TrimSpace(keys), receiptFile}},
		{"another's key", "not signed by the key", 1, []string{"--keys", other.Public(), receiptFile}},
		{"another paper", "about another paper", 1, []string{"--keys", keyFile, receiptFile, at("changed.json", strings.Replace(record, `"revision":1`, `"revision":2`, 1))}},
		{"changed receipt", "proof is wrong", 1, []string{"--keys", keyFile, at("changed.txt", strings.Replace(receipt, "Ada Finch", "Eve Finch", 1))}},
		{"no receipt", "farbay receipt 1", 1, []string{"--keys", keyFile, paperFile}},
		{"nothing named", "name the receipt", 2, []string{"--keys", keyFile}},
		{"no keys", "say --keys", 2, []string{receiptFile}},
	} {
		code, out, errs := do(t, noEnv, append([]string{"verify"}, c.args...)...)
		if code != c.code || !strings.Contains(out+errs, c.says) {
			t.Errorf("%s: exit %d, want %d, with %q in:\n%s%s", c.name, code, c.code, c.says, out, errs)
		}
	}
	public := strings.Fields(keys)
	for i := range record { // that of receipts is tried where they are read
		for bit := range 8 {
			changed := []byte(record)
			changed[i] ^= 1 << bit
			if _, err := verifyReceipt([]byte(receipt), changed, public); err == nil {
				t.Fatalf("the paper with byte %d, bit %d changed passes", i, bit)
			}
		}
	}
	_, out, _ := do(t, noEnv, "verify", "--json", "--keys", keyFile, receiptFile, paperFile)
	var found verified
	if err := json.Unmarshal([]byte(out), &found); err != nil || !found.Valid || found.Kind != "paper signed" || found.Paper != hashOf(record) {
		t.Errorf("%v: %s", err, out)
	}
}

// TestKey: a lost key stops the program with a sentence, and a new one is made
// only when somebody says why.
func TestKey(t *testing.T) {
	dir := t.TempDir()
	code, first, errs := do(t, noEnv, "key", "--data", dir)
	if code != 0 || strings.Count(first, "\n") != 1 {
		t.Fatalf("exit %d: %s%s", code, first, errs)
	}
	if err := os.RemoveAll(filepath.Join(dir, "proof-keys")); err != nil {
		t.Fatal(err)
	}
	if code, _, errs = do(t, noEnv, "check", "--data", dir); code != 1 || !strings.Contains(errs, "farbay key new --why") {
		t.Errorf("with the key lost: exit %d, %s", code, errs)
	}
	if code, _, errs = do(t, noEnv, "key", "new", "--data", dir); code != 2 || !strings.Contains(errs, "--why") {
		t.Errorf("without a reason: exit %d, %s", code, errs)
	}
	code, both, errs := do(t, noEnv, "key", "new", "--data", dir, "--why", "The folder was lost with the old disk.")
	if code != 0 || strings.Count(both, "\n") != 2 || !strings.HasPrefix(both, first) {
		t.Errorf("a new key: exit %d, %s%s", code, both, errs)
	}
	if code, out, errs := do(t, noEnv, "check", "--data", dir); code != 0 {
		t.Errorf("afterwards: exit %d, %s%s", code, out, errs)
	}
	info, err := os.Stat(filepath.Join(dir, "proof-keys"))
	if err != nil || info.Mode().Perm() != 0o700 {
		t.Errorf("the folder of secrets: %v %v", info, err)
	}
}

func hashOf(s string) string { return signoff.Hash([]byte(s)) }
