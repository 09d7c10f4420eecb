// Package prooflog makes the record of acts checkable by somebody else.
//
// The record is a list of entries, each a few lines of text, that only grows.
// Over it stands a Merkle tree as in RFC 6962 (Certificate Transparency): whoever
// holds the tree's root at one time can tell whether any entry before it was
// changed, removed or put in between later, and a few hashes prove that an entry
// is in it.
//
// # Entry
//
// An entry's bytes are eight lines, each ended by a line feed:
//
//	farbay log entry 1
//	seq 42
//	at 2026-04-14T15:04:05.123456789Z
//	build 3nk...
//	person 7qy...
//	kind paper signed
//	subject k2f...
//	detail {"revision":2,"sha256":"..."}
//
// seq counts from 1 without gaps. at is RFC 3339 in UTC with nine digits of
// fraction. build and person are empty where an entry has none; there is a blank
// after each name all the same. No value holds a line feed or another control
// character of ASCII.
//
// Its leaf hash is SHA-256 over a zero byte and the entry's bytes (RFC 6962,
// section 2.1). With the bytes saved in a file,
//
//	printf '\0' | cat - entry.txt | sha256sum
//
// prints it in hexadecimal; receipts write hashes in base64.
//
// # Checkpoint
//
// A checkpoint is the tree's root signed by the shop's Ed25519 key: a note as
// c2sp.org/signed-note has it, whose text is c2sp.org/tlog-checkpoint: the log's
// origin, the number of entries, and the root in base64, a line each.
//
// # Receipt
//
// A receipt is one text file that proves, without any server, that an entry is
// in the log: the line "farbay receipt 1", an empty line, the entry's bytes, an
// empty line, and a proof in the form of c2sp.org/tlog-proof, which ends with the
// checkpoint.
//
// What it proves: the shop's key signed a log that has exactly this entry at this
// place. What it does not: that the log was not shown differently to others. That
// is found out by comparing checkpoints that different people hold, see
// [Consistent].
//
// # Trust
//
// Whoever can write to the database can change entries; every checkpoint that
// left the house before then tells on them. Whoever has the secret key can sign
// another log; again only kept checkpoints tell.
//
// The package is pure: no clock, no I/O but the reader of hashes that it is
// given, and randomness only where a key is made.
package prooflog
