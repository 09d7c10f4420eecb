package prooflog_test

import (
	"bytes"
	"crypto/rand"
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	logfmt "github.com/transparency-dev/formats/log"
	"github.com/transparency-dev/merkle/testonly"
	"golang.org/x/mod/sumdb/note"

	"farbay/journal/prooflog"
)

// TestTree_published grows a tree over published leaves and compares all its
// nodes and roots.
//
// Source: the known answers of Certificate Transparency's own tests of RFC 6962
// (merkle_tree_test.cc), as github.com/transparency-dev/merkle/testonly has them;
// RFC 9162, section 2.1.1, has the same tree.
func TestTree_published(t *testing.T) {
	m := &memory{}
	nodes, roots := testonly.NodeHashes(), testonly.RootHashes()
	seen := 0
	for i, leaf := range testonly.LeafInputs() {
		n := int64(i)
		for level, got := range must(prooflog.Grow(n, leaf, m))(t) {
			if want := nodes[level][i>>level]; !bytes.Equal(got[:], want) {
				t.Errorf("leaf %d, level %d: node %x, published %x", i, level, got[:], want)
			}
			m.nodes = append(m.nodes, got)
			seen++
		}
		if head := must(prooflog.Head("log", n+1, m))(t); !bytes.Equal(head.Root[:], roots[i+1]) {
			t.Errorf("root of %d leaves %x, published %x", n+1, head.Root[:], roots[i+1])
		}
	}
	if seen != 15 {
		t.Errorf("%d nodes over 8 leaves, want 15", seen)
	}
}

// rfc8032 are the first three test vectors of RFC 8032, section 7.1: secret and
// public key, message, signature.
var rfc8032 = [][4]string{
	{
		"9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
		"d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
		"",
		"e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b",
	},
	{
		"4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
		"3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
		"72",
		"92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00",
	},
	{
		"c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
		"fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
		"af82",
		"6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a",
	},
}

// TestNewKey_rfc8032 makes a key from each vector's secret as randomness: the
// public text holds the vector's public key, and what the secret text signs is
// the vector's signature.
func TestNewKey_rfc8032(t *testing.T) {
	for i, vector := range rfc8032 {
		var b [4][]byte
		for j, text := range vector {
			b[j] = must(hex.DecodeString(text))(t)
		}
		secret, key, err := prooflog.NewKey(bytes.NewReader(b[0]), "log")
		if err != nil {
			t.Fatal(err)
		}
		if got := publicOf(t, key); !bytes.Equal(got, b[1]) {
			t.Errorf("vector %d: public key %x, published %x", i+1, got, b[1])
		}
		signer := must(note.NewSigner(secret))(t)
		if got := must(signer.Sign(b[2]))(t); !bytes.Equal(got, b[3]) {
			t.Errorf("vector %d: signature %x, published %x", i+1, got, b[3])
		}
		if !must(note.NewVerifier(key.Public()))(t).Verify(b[2], b[3]) {
			t.Errorf("vector %d: the published signature does not verify", i+1)
		}
	}
}

// publicOf takes the 32 bytes of a public key from its text; c2sp.org/signed-note
// has a byte 1 for Ed25519 before them.
func publicOf(t *testing.T, key prooflog.Key) []byte {
	t.Helper()
	b := must(base64.StdEncoding.DecodeString(strings.SplitN(key.Public(), "+", 3)[2]))(t)
	if len(b) != 33 || b[0] != 1 {
		t.Fatalf("the public text holds %x", b)
	}
	return b[1:]
}

// TestSign_openssl has openssl verify a checkpoint's signature. What it is given
// is made here from the texts, as somebody would by hand; the key's DER is that of
// RFC 8410, section 4: 12 fixed bytes and the key.
func TestSign_openssl(t *testing.T) {
	m, _ := logOf(t, 7)
	_, key, err := prooflog.NewKey(rand.Reader, "farbay.example/log")
	if err != nil {
		t.Fatal(err)
	}
	signed := string(must(must(prooflog.Head(key.Name(), 7, m))(t).Sign(key))(t))
	text, signature, _ := strings.Cut(signed, "\n\n")
	text += "\n"
	words := strings.Fields(signature)
	raw := must(base64.StdEncoding.DecodeString(words[len(words)-1]))(t)
	dir := t.TempDir()
	file := func(name string, content []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	der := append(must(hex.DecodeString("302a300506032b6570032100"))(t), publicOf(t, key)...)
	pub, sig := file("key.der", der), file("signature", raw[4:]) // before it stand 4 bytes of the key's hash
	verify := func(name, text string) (string, error) {
		out, err := exec.CommandContext(t.Context(), "openssl", "pkeyutl", "-verify", "-pubin", "-keyform", "DER", "-inkey", pub, "-rawin",
			"-in", file(name, []byte(text)), "-sigfile", sig).CombinedOutput()
		return string(out), err
	}
	if out, err := verify("good", text); err != nil || !strings.Contains(out, "Verified Successfully") {
		t.Errorf("openssl: %v: %s", err, out)
	}
	if out, err := verify("bad", strings.Replace(text, "\n7\n", "\n8\n", 1)); err == nil || strings.Contains(out, "Successfully") {
		t.Errorf("openssl passes a changed checkpoint: %s", out)
	}
}

// TestSign_note opens a checkpoint with golang.org/x/mod/sumdb/note itself, and
// reads it with another program's parser of c2sp.org/tlog-checkpoint
// (github.com/transparency-dev/formats).
func TestSign_note(t *testing.T) {
	m, _ := logOf(t, 7)
	_, key, err := prooflog.NewKey(rand.Reader, "farbay.example/log")
	if err != nil {
		t.Fatal(err)
	}
	head := must(prooflog.Head(key.Name(), 7, m))(t)
	signed := must(head.Sign(key))(t)
	verifier := must(note.NewVerifier(key.Public()))(t)
	opened := must(note.Open(signed, note.VerifierList(verifier)))(t)
	if want := fmt.Sprintf("farbay.example/log\n7\n%s\n", base64.StdEncoding.EncodeToString(head.Root[:])); opened.Text != want || len(opened.Sigs) != 1 {
		t.Errorf("note.Open reads %q, want %q", opened.Text, want)
	}
	outer, rest, _, err := logfmt.ParseCheckpoint(signed, key.Name(), verifier)
	if err != nil || outer.Size != 7 || !bytes.Equal(outer.Hash, head.Root[:]) || len(rest) != 0 {
		t.Errorf("read outside as %+v, %q, %v", outer, rest, err)
	}
}

// TestOpenCheckpoint_changed: no checkpoint with one bit changed is opened.
func TestOpenCheckpoint_changed(t *testing.T) {
	m, _ := logOf(t, 11)
	_, key, err := prooflog.NewKey(rand.Reader, "log")
	if err != nil {
		t.Fatal(err)
	}
	signed := must(must(prooflog.Head("log", 11, m))(t).Sign(key))(t)
	must(prooflog.OpenCheckpoint(signed, key.Public()))(t)
	for i := range signed {
		for bit := range 8 {
			changed := bytes.Clone(signed)
			changed[i] ^= 1 << bit
			if c, err := prooflog.OpenCheckpoint(changed, key.Public()); err == nil {
				t.Fatalf("byte %d, bit %d changed: it is %+v", i, bit, c)
			}
		}
	}
}

func TestUnder(t *testing.T) {
	m := prooflog.Stored(8)
	if first, last := prooflog.Under(m - 1); first != 1 || last != 8 {
		t.Errorf("the last node of 8 entries stands over %d to %d", first, last)
	}
	if first, last := prooflog.Under(prooflog.Stored(5)); first != 6 || last != 6 {
		t.Errorf("the leaf of entry 6 stands over %d to %d", first, last)
	}
}

// TestFindCheckpoints: a checkpoint is found in what people keep it in.
func TestFindCheckpoints(t *testing.T) {
	m, all := logOf(t, 7)
	_, key, err := prooflog.NewKey(rand.Reader, "log")
	if err != nil {
		t.Fatal(err)
	}
	signed := must(must(prooflog.Head("log", 7, m))(t).Sign(key))(t)
	receipt := must(prooflog.NewReceipt(all[2], 7, signed, m))(t)
	for name, text := range map[string]string{
		"alone":        string(signed),
		"receipt":      string(receipt),
		"in a mail":    "Dear Ada,\n\nthe log:\n\n" + string(signed) + "\n-- \nMarta\n",
		"quoted twice": ">> " + strings.ReplaceAll(string(signed), "\n", "\n>> "),
		"CR LF":        strings.ReplaceAll(string(signed), "\n", "\r\n"),
		"indented":     "    " + strings.ReplaceAll(string(signed), "\n", "\n    "),
		"end cut off":  strings.TrimSpace(string(signed)),
	} {
		found := prooflog.FindCheckpoints([]byte(text))
		if len(found) != 1 || !bytes.Equal(found[0], signed) {
			t.Errorf("%s: found %q", name, found)
		}
	}
	if found := prooflog.FindCheckpoints([]byte(string(signed) + "\n\n" + string(signed))); len(found) != 2 {
		t.Errorf("of two, found %d", len(found))
	}
	for _, text := range []string{"", "log\n7\n", strings.ReplaceAll(string(signed), "—", "-"), "\n\n\n\n\n"} {
		if found := prooflog.FindCheckpoints([]byte(text)); len(found) != 0 {
			t.Errorf("in %q: found %q", text, found)
		}
	}
}

func FuzzOpenCheckpoint(f *testing.F) {
	m, _ := logOf(f, 5)
	_, key, err := prooflog.NewKey(rand.Reader, "log")
	if err != nil {
		f.Fatal(err)
	}
	head := must(prooflog.Head("log", 5, m))(f)
	signed := must(head.Sign(key))(f)
	f.Add(signed)
	f.Add([]byte("log\n5\n\n\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, note := range append(prooflog.FindCheckpoints(b), b) {
			if c, err := prooflog.OpenCheckpoint(note, key.Public()); err == nil && c != head {
				t.Errorf("another checkpoint passes: %q", note)
			}
		}
	})
}

func FuzzParseEntry(f *testing.F) {
	f.Add(must(entry(7).Bytes())(f))
	f.Fuzz(func(t *testing.T, b []byte) {
		if e, err := prooflog.ParseEntry(b); err == nil && !bytes.Equal(must(e.Bytes())(t), b) {
			t.Errorf("%q is read as %+v", b, e)
		}
	})
}
