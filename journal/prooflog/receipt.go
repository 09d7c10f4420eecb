package prooflog

import (
	"bytes"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"golang.org/x/mod/sumdb/tlog"
)

// ReceiptFormat is the first line of a receipt.
const ReceiptFormat = "farbay receipt 1"

const proofFormat = "c2sp.org/tlog-proof@v1"

// maxProof bounds the hashes of a proof: a log of 2^63 entries needs no more.
const maxProof = 63

// NewReceipt returns the receipt of an entry that is in the log at a signed
// checkpoint of so many entries (see the package comment for its form). entry
// are the entry's bytes.
func NewReceipt(entry []byte, size int64, signed []byte, r Hashes) ([]byte, error) {
	e, err := ParseEntry(entry)
	if err != nil {
		return nil, err
	}
	proof, err := tlog.ProveRecord(size, e.Seq-1, r)
	if err != nil {
		return nil, fmt.Errorf("prooflog: prove entry %d: %w", e.Seq, err)
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s\n\n%s\n%s\nindex %d\n", ReceiptFormat, entry, proofFormat, e.Seq-1)
	for _, h := range proof {
		fmt.Fprintf(&b, "%v\n", h)
	}
	b.WriteByte('\n')
	b.Write(signed)
	return b.Bytes(), nil
}

// ErrNotInLog: the proof does not lead from the entry to the signed root.
var ErrNotInLog = errors.New("the entry is not in the signed log")

// OpenReceipt checks a receipt with nothing but public keys of the shop's, and
// returns the entry that is proved and the checkpoint that proves it. It returns
// [ErrNotSigned] if no such key signed, [ErrNotInLog] if the proof is wrong, and
// another error for bytes that are no receipt.
func OpenReceipt(receipt []byte, public ...string) (Entry, Checkpoint, error) {
	fail := func(err error) (Entry, Checkpoint, error) { return Entry{}, Checkpoint{}, err }
	parts := strings.SplitN(string(receipt), "\n\n", 4)
	if len(parts) != 4 || parts[0] != ReceiptFormat {
		return fail(fmt.Errorf("prooflog: this is no %q", ReceiptFormat))
	}
	entry := []byte(parts[1] + "\n")
	e, err := ParseEntry(entry)
	if err != nil {
		return fail(err)
	}
	proof, index, err := parseProof(strings.Split(parts[2], "\n"))
	if err != nil {
		return fail(err)
	}
	c, err := OpenCheckpoint([]byte(parts[3]), public...)
	if err != nil {
		return fail(err)
	}
	if index != e.Seq-1 {
		return fail(fmt.Errorf("prooflog: the proof is of entry %d, the receipt shows %d: %w", index+1, e.Seq, ErrNotInLog))
	}
	if index >= c.Size || tlog.CheckRecord(proof, c.Size, c.Root, index, tlog.RecordHash(entry)) != nil {
		return fail(fmt.Errorf("prooflog: entry %d of %d: %w", e.Seq, c.Size, ErrNotInLog))
	}
	return e, c, nil
}

// parseProof reads the lines of a c2sp.org/tlog-proof before its checkpoint.
func parseProof(lines []string) (tlog.RecordProof, int64, error) {
	if len(lines) < 2 || lines[0] != proofFormat || len(lines)-2 > maxProof {
		return nil, 0, errors.New("prooflog: the receipt's proof is not in its form")
	}
	digits, found := strings.CutPrefix(lines[1], "index ")
	index, err := strconv.ParseInt(digits, 10, 64)
	if !found || err != nil || index < 0 || strconv.FormatInt(index, 10) != digits {
		return nil, 0, errors.New("prooflog: the receipt's proof has no index")
	}
	proof := tlog.RecordProof{}
	for _, line := range lines[2:] {
		h, err := tlog.ParseHash(line)
		if err != nil {
			return nil, 0, fmt.Errorf("prooflog: a hash of the receipt's proof: %w", err)
		}
		if h.String() != line {
			return nil, 0, errors.New("prooflog: a hash of the receipt's proof has stray bits")
		}
		proof = append(proof, h)
	}
	return proof, index, nil
}
