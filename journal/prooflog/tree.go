package prooflog

import (
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/mod/sumdb/note"
	"golang.org/x/mod/sumdb/tlog"
)

// Hash is a node of the tree.
type Hash = tlog.Hash

// Hashes reads stored nodes by their place in the order that [Grow] gives them
// out; see [tlog.StoredHashIndex].
type Hashes = tlog.HashReader

// Grow returns the nodes to be stored when an entry is added to a log of n
// entries, in order; their places are those from [Stored](n) on. r reads the
// nodes stored before.
func Grow(n int64, entry []byte, r Hashes) ([]Hash, error) {
	nodes, err := tlog.StoredHashes(n, entry, r)
	if err != nil {
		return nil, fmt.Errorf("prooflog: add entry %d: %w", n+1, err)
	}
	return nodes, nil
}

// Leaf is the node of an entry's bytes: their hash as RFC 6962 has it.
func Leaf(entry []byte) Hash { return tlog.RecordHash(entry) }

// GrowLeaf is [Grow] for an entry of which the leaf is known.
func GrowLeaf(n int64, leaf Hash, r Hashes) ([]Hash, error) {
	nodes, err := tlog.StoredHashesForRecordHash(n, leaf, r)
	if err != nil {
		return nil, fmt.Errorf("prooflog: add entry %d: %w", n+1, err)
	}
	return nodes, nil
}

// Under returns the first and the last entry that stand under the node at a
// place; for a leaf they are the same.
func Under(place int64) (first, last int64) {
	level, n := tlog.SplitStoredHashIndex(place)
	return n<<level + 1, (n + 1) << level
}

// Stored is how many nodes a log of n entries has stored.
func Stored(n int64) int64 { return tlog.StoredHashCount(n) }

// Checkpoint is the root of a log at one size.
type Checkpoint struct {
	Origin string // the log's name
	Size   int64  // entries
	Root   Hash
}

// Head returns the checkpoint of a log of n entries, n at least 1.
func Head(origin string, n int64, r Hashes) (Checkpoint, error) {
	root, err := tlog.TreeHash(n, r)
	if err != nil {
		return Checkpoint{}, fmt.Errorf("prooflog: root of %d entries: %w", n, err)
	}
	return Checkpoint{Origin: origin, Size: n, Root: root}, nil
}

// text is the checkpoint's text in the form of c2sp.org/tlog-checkpoint.
func (c Checkpoint) text() string { return fmt.Sprintf("%s\n%d\n%v\n", c.Origin, c.Size, c.Root) }

// Sign returns the checkpoint as a note signed by the key.
func (c Checkpoint) Sign(key Key) ([]byte, error) {
	signed, err := note.Sign(&note.Note{Text: c.text()}, key.signer)
	if err != nil {
		return nil, fmt.Errorf("prooflog: sign a checkpoint: %w", err)
	}
	return signed, nil
}

// ErrNotSigned: none of the keys that were given signed the checkpoint.
var ErrNotSigned = errors.New("not signed by a key of the shop's")

// OpenCheckpoint checks a signed checkpoint against the public keys and returns
// it. Signatures by other keys are passed over; at least one of these must be
// there and right, else it returns [ErrNotSigned].
func OpenCheckpoint(signed []byte, public ...string) (Checkpoint, error) {
	var known []note.Verifier
	for _, key := range public {
		v, err := note.NewVerifier(key)
		if err != nil {
			return Checkpoint{}, fmt.Errorf("prooflog: public key %q: %w", key, err)
		}
		known = append(known, v)
	}
	n, err := note.Open(signed, note.VerifierList(known...))
	var unverified *note.UnverifiedNoteError
	var invalid *note.InvalidSignatureError
	if errors.As(err, &unverified) || errors.As(err, &invalid) {
		return Checkpoint{}, fmt.Errorf("prooflog: checkpoint: %w", ErrNotSigned)
	}
	if err != nil {
		return Checkpoint{}, fmt.Errorf("prooflog: checkpoint: %w", err)
	}
	if err := strictSignatures(signed); err != nil {
		return Checkpoint{}, err
	}
	return parseCheckpoint(n.Text)
}

// strictSignatures refuses signatures whose base64 has stray bits in its last
// digit, which note.Open reads past: one checkpoint shall have one form.
func strictSignatures(signed []byte) error {
	_, lines, _ := strings.Cut(string(signed), "\n\n")
	for line := range strings.Lines(lines) {
		line = strings.TrimSuffix(line, "\n")
		if _, err := base64.StdEncoding.Strict().DecodeString(line[strings.LastIndexByte(line, ' ')+1:]); err != nil {
			return fmt.Errorf("prooflog: checkpoint: signature: %w", err)
		}
	}
	return nil
}

// parseCheckpoint reads a checkpoint's text, and refuses what is not exactly its
// form.
func parseCheckpoint(text string) (Checkpoint, error) {
	var c Checkpoint
	var root string
	if _, err := fmt.Sscanf(text, "%s\n%d\n%s\n", &c.Origin, &c.Size, &root); err != nil {
		return Checkpoint{}, fmt.Errorf("prooflog: checkpoint: %w", err)
	}
	var err error
	if c.Root, err = tlog.ParseHash(root); err != nil {
		return Checkpoint{}, fmt.Errorf("prooflog: checkpoint: root: %w", err)
	}
	if c.text() != text || c.Size < 1 {
		return Checkpoint{}, errors.New("prooflog: checkpoint: not in its form")
	}
	return c, nil
}

// ErrRewritten: a log does not continue the one that an earlier checkpoint is of.
var ErrRewritten = errors.New("the log is not a continuation of the earlier one")

// Consistent checks that the log whose nodes r reads, at the size and root of
// now, continues the one that the earlier checkpoint is of: the same entries, and
// perhaps more. It returns [ErrRewritten] if not.
func Consistent(earlier, now Checkpoint, r Hashes) error {
	if earlier.Size > now.Size {
		return fmt.Errorf("prooflog: %d entries were signed for and %d are there: %w", earlier.Size, now.Size, ErrRewritten)
	}
	proof, err := tlog.ProveTree(now.Size, earlier.Size, r)
	if err != nil {
		return fmt.Errorf("prooflog: from %d to %d entries: %w", earlier.Size, now.Size, err)
	}
	if err := tlog.CheckTree(proof, now.Size, now.Root, earlier.Size, earlier.Root); err != nil {
		return fmt.Errorf("prooflog: at %d entries: %w", earlier.Size, ErrRewritten)
	}
	return nil
}
