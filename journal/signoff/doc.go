// Package signoff holds papers: documents frozen for sign-off, their byte form,
// and the decisions on them.
//
// # Byte form
//
// A revision of a paper is one JSON object in the canonical form of RFC 8785
// (JSON Canonicalization Scheme): UTF-8, no blanks, object keys sorted by their
// UTF-16 code units, no line end. It holds strings, booleans, arrays, objects and
// whole numbers within ±2^53 only; amounts are in cents, rates in basis points,
// dates are "2026-04-14", instants are RFC 3339 in UTC. Its hash is the SHA-256
// of those bytes, in lower-case hex. With the bytes saved in a file,
//
//	sha256sum paper.json
//
// prints the same hash. The object's members are those of [Sheet], in its JSON
// names; "format" names the form and "kind" the kind of paper. Each evidence photo
// stands in it with the SHA-256 of its original, so that a photo, too, can be
// checked by hand:
//
//	sha256sum photo.jpg
//
// What a person is shown is made from these bytes and nothing else, and
// [ParseSheet] refuses bytes that are not exactly the form of what they hold. Two
// revisions with the same hash are the same paper. Known papers of every kind are
// in testdata/papers.
//
// The package is pure: no clock, no randomness, no I/O.
package signoff
