package prooflog_test

import (
	"bytes"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"os/exec"
	"strings"
	"testing"
	"time"

	logproof "github.com/transparency-dev/formats/proof"
	"github.com/transparency-dev/merkle/compact"
	"github.com/transparency-dev/merkle/proof"
	"github.com/transparency-dev/merkle/rfc6962"

	"farbay/journal/prooflog"
)

// memory keeps a log's nodes.
type memory struct{ nodes []prooflog.Hash }

func (m *memory) ReadHashes(places []int64) ([]prooflog.Hash, error) {
	out := make([]prooflog.Hash, len(places))
	for i, at := range places {
		if at >= int64(len(m.nodes)) {
			return nil, fmt.Errorf("node %d of %d", at, len(m.nodes))
		}
		out[i] = m.nodes[at]
	}
	return out, nil
}

func entry(n int64) prooflog.Entry {
	return prooflog.Entry{
		Seq: n, At: time.Date(2026, 4, 14, 15, 4, 5, 123456789, time.UTC).Add(time.Duration(n) * time.Minute),
		Build: "heron", Person: "ada", Kind: "paper signed", Subject: fmt.Sprintf("paper-%d", n), Detail: `{"revision":2}`,
	}
}

func must[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

// logOf makes a log of n entries.
func logOf(t testing.TB, n int64) (*memory, [][]byte) {
	t.Helper()
	m := &memory{}
	var all [][]byte
	for i := range n {
		if int64(len(m.nodes)) != prooflog.Stored(i) {
			t.Fatalf("%d entries have %d nodes, want %d", i, len(m.nodes), prooflog.Stored(i))
		}
		b := must(entry(i + 1).Bytes())(t)
		m.nodes = append(m.nodes, must(prooflog.Grow(i, b, m))(t)...)
		all = append(all, b)
	}
	return m, all
}

// TestBytes_knownAnswer pins the byte form. The leaf hash is what the package
// comment's command prints: coreutils' sha256sum over a zero byte and the entry.
func TestBytes_knownAnswer(t *testing.T) {
	b := must(entry(42).Bytes())(t)
	const want = "farbay log entry 1\nseq 42\nat 2026-04-14T15:46:05.123456789Z\nbuild heron\nperson ada\nkind paper signed\nsubject paper-42\ndetail {\"revision\":2}\n"
	if string(b) != want {
		t.Errorf("bytes:\n%s\nwant:\n%s", b, want)
	}
	cmd := exec.Command("sh", "-c", `{ printf '\0'; cat; } | sha256sum`)
	cmd.Stdin = bytes.NewReader(b)
	out := must(cmd.Output())(t)
	if got := hex.EncodeToString(rfc6962.DefaultHasher.HashLeaf(b)); !strings.HasPrefix(string(out), got) {
		t.Errorf("sha256sum says %s, the log's leaf hash is %s", out, got)
	}
}

func TestParseEntry(t *testing.T) {
	for _, e := range []prooflog.Entry{entry(1), {Seq: 9, At: time.Unix(0, 0).UTC(), Kind: "program started"}} {
		if got := must(prooflog.ParseEntry(must(e.Bytes())(t)))(t); got != e {
			t.Errorf("read back %+v, wrote %+v", got, e)
		}
	}
	good := string(must(entry(7).Bytes())(t))
	for _, bad := range []string{
		"", "\n", good[:len(good)-1], good + "\n", strings.Replace(good, "seq 7", "seq 07", 1), strings.Replace(good, "seq 7", "seq -7", 1),
		strings.Replace(good, "entry 1", "entry 2", 1), strings.Replace(good, "kind ", "kind", 1), strings.Replace(good, "Z\n", "+00:00\n", 1),
		strings.Replace(good, "heron", "he\tron", 1), strings.Replace(good, "heron", "\xff", 1), strings.Replace(good, "\n", "\r\n", 1),
	} {
		if e, err := prooflog.ParseEntry([]byte(bad)); err == nil {
			t.Errorf("%q is read as %+v", bad, e)
		}
	}
	for _, e := range []prooflog.Entry{{Kind: "x"}, {Seq: 1, Kind: "two\nlines"}, {Seq: 1, Subject: "\xff"}, {Seq: 1, At: time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC)}} {
		if b, err := e.Bytes(); err == nil {
			t.Errorf("%+v has a byte form: %q", e, b)
		}
	}
}

// TestTree compares roots, inclusion and consistency with an independent
// implementation of RFC 6962 (github.com/transparency-dev/merkle), for logs of
// every size up to 70.
func TestTree(t *testing.T) {
	const most = 70
	m, all := logOf(t, most)
	outside := (&compact.RangeFactory{Hash: rfc6962.DefaultHasher.HashChildren}).NewEmptyRange(0)
	_, key, err := prooflog.NewKey(rand.Reader, "farbay.example/log")
	if err != nil {
		t.Fatal(err)
	}
	var heads []prooflog.Checkpoint
	for n := int64(1); n <= most; n++ {
		if err := outside.Append(rfc6962.DefaultHasher.HashLeaf(all[n-1]), nil); err != nil {
			t.Fatal(err)
		}
		head := must(prooflog.Head("farbay.example/log", n, m))(t)
		if root := must(outside.GetRootHash(nil))(t); !bytes.Equal(root, head.Root[:]) {
			t.Fatalf("root of %d entries %v, outside %x", n, head.Root, root)
		}
		heads = append(heads, head)
		signed := must(head.Sign(key))(t)
		for i := range n {
			receipt := must(prooflog.NewReceipt(all[i], n, signed, m))(t)
			e, c, err := prooflog.OpenReceipt(receipt, key.Public())
			if err != nil || e != entry(i+1) || c != head {
				t.Fatalf("entry %d of %d: %v %v %+v", i+1, n, err, c, e)
			}
			var outer logproof.TLogProof
			at := bytes.Index(receipt, []byte("c2sp.org/tlog-proof@v1\n"))
			if err := outer.Unmarshal(receipt[at:]); err != nil {
				t.Fatalf("entry %d of %d: the proof's form: %v", i+1, n, err)
			}
			var hashes [][]byte
			for _, h := range outer.Hashes {
				hashes = append(hashes, h[:])
			}
			if err := proof.VerifyInclusion(rfc6962.DefaultHasher, outer.Index, uint64(n), rfc6962.DefaultHasher.HashLeaf(all[i]), hashes, head.Root[:]); err != nil {
				t.Fatalf("entry %d of %d: outside: %v", i+1, n, err)
			}
		}
		for _, earlier := range heads {
			if err := prooflog.Consistent(earlier, head, m); err != nil {
				t.Fatalf("from %d to %d: %v", earlier.Size, n, err)
			}
		}
	}
}

// TestConsistent_rewritten: whoever kept a checkpoint finds out that an entry
// before it was changed, taken out or put in, and that the log was cut.
func TestConsistent_rewritten(t *testing.T) {
	kept := func(n int64) prooflog.Checkpoint {
		m, _ := logOf(t, n)
		return must(prooflog.Head("log", n, m))(t)
	}(20)
	for name, change := range map[string]func([][]byte) [][]byte{
		"changed":    func(all [][]byte) [][]byte { all[3] = must(entry(77).Bytes())(t); return all },
		"taken out":  func(all [][]byte) [][]byte { return append(all[:3], all[4:]...) },
		"put in":     func(all [][]byte) [][]byte { return append(all[:3], append([][]byte{all[0]}, all[3:]...)...) },
		"cut":        func(all [][]byte) [][]byte { return all[:12] },
		"as it was":  func(all [][]byte) [][]byte { return all },
		"reordered":  func(all [][]byte) [][]byte { all[18], all[19] = all[19], all[18]; return all },
		"after only": func(all [][]byte) [][]byte { all[25] = all[24]; return all },
	} {
		_, all := logOf(t, 30)
		m := &memory{}
		for i, b := range change(all) {
			m.nodes = append(m.nodes, must(prooflog.Grow(int64(i), b, m))(t)...)
		}
		n := int64(0)
		for prooflog.Stored(n) < int64(len(m.nodes)) {
			n++
		}
		err := prooflog.Consistent(kept, must(prooflog.Head("log", n, m))(t), m)
		if fine := name == "as it was" || name == "after only"; fine && err != nil || !fine && !errors.Is(err, prooflog.ErrRewritten) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestOpenReceipt_changed: no receipt with one bit changed proves the same or
// anything else, whoever changed it.
func TestOpenReceipt_changed(t *testing.T) {
	m, all := logOf(t, 11)
	_, key, err := prooflog.NewKey(rand.Reader, "log")
	if err != nil {
		t.Fatal(err)
	}
	_, other, err := prooflog.NewKey(rand.Reader, "log")
	if err != nil {
		t.Fatal(err)
	}
	signed := must(must(prooflog.Head("log", 11, m))(t).Sign(key))(t)
	receipt := must(prooflog.NewReceipt(all[4], 11, signed, m))(t)
	if _, _, err := prooflog.OpenReceipt(receipt, other.Public()); !errors.Is(err, prooflog.ErrNotSigned) {
		t.Errorf("with another's key: %v", err)
	}
	if _, _, err := prooflog.OpenReceipt(receipt, other.Public(), key.Public()); err != nil {
		t.Errorf("with the old and the new key: %v", err)
	}
	for i := range receipt {
		for bit := range 8 {
			changed := bytes.Clone(receipt)
			changed[i] ^= 1 << bit
			if e, _, err := prooflog.OpenReceipt(changed, key.Public()); err == nil {
				t.Fatalf("byte %d, bit %d changed: it proves %+v", i, bit, e)
			}
		}
	}
	for i := range receipt {
		if _, _, err := prooflog.OpenReceipt(receipt[:i], key.Public()); err == nil {
			t.Fatalf("cut off after %d bytes, it passes", i)
		}
	}
}

func TestOpenKey(t *testing.T) {
	secret, key, err := prooflog.NewKey(rand.Reader, "farbay.example/log")
	if err != nil {
		t.Fatal(err)
	}
	if got := must(prooflog.OpenKey(secret, key.Public()))(t); got.Public() != key.Public() || got.Name() != "farbay.example/log" {
		t.Errorf("read back as %q", got.Public())
	}
	_, other, err := prooflog.NewKey(rand.Reader, "farbay.example/log")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := prooflog.OpenKey(secret, other.Public()); err == nil {
		t.Error("a secret key passes as that of another public one")
	}
	if _, _, err := prooflog.NewKey(rand.Reader, "two words"); err == nil {
		t.Error("a name with a blank passes")
	}
}

// TestOpenCheckpoint_example opens the example of the signed-note form in the
// documentation of golang.org/x/mod/sumdb/note (package comment, "A Signed
// Note"): its key is right, and its text is no checkpoint.
func TestOpenCheckpoint_example(t *testing.T) {
	const public = "PeterNeumann+c74f20a3+ARpc2QcUPDhMQegwxbzhKqiBfsVkmqq/LDE4izWy10TW"
	const signed = "If you think cryptography is the answer to your problem,\nthen you don't know what your problem is.\n\n" +
		"— PeterNeumann x08go/ZJkuBS9UG/SffcvIAQxVBtiFupLLr8pAcElZInNIuGUgYN1FFYC2pZSNXgKvqfqdngotpRZb6KE6RyyBwJnAM=\n"
	_, err := prooflog.OpenCheckpoint([]byte(signed), public)
	if err == nil || errors.Is(err, prooflog.ErrNotSigned) {
		t.Errorf("got %v, want a refusal of the text, not of the signature", err)
	}
	if _, err := prooflog.OpenCheckpoint([]byte(strings.Replace(signed, "answer", "cause", 1)), public); !errors.Is(err, prooflog.ErrNotSigned) {
		t.Errorf("with a word changed: %v", err)
	}
}

func FuzzOpenReceipt(f *testing.F) {
	m, all := logOf(f, 5)
	_, key, err := prooflog.NewKey(rand.Reader, "log")
	if err != nil {
		f.Fatal(err)
	}
	signed := must(must(prooflog.Head("log", 5, m))(f).Sign(key))(f)
	receipt := must(prooflog.NewReceipt(all[2], 5, signed, m))(f)
	f.Add(receipt)
	f.Add([]byte("farbay receipt 1\n\n\n\n\n\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		if _, _, err := prooflog.OpenReceipt(b, key.Public()); err == nil && !bytes.Equal(b, receipt) {
			t.Errorf("another receipt passes:\n%s", b)
		}
	})
}
