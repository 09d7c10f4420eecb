// Package signoff holds papers: documents frozen for sign-off, their byte form,
// and the decisions on them.
//
// # Byte form
//
// A revision of a paper is one JSON object in the canonical form of RFC 8785
// (JSON Canonicalization Scheme): UTF-8, no blanks, object keys sorted by their
// UTF-16 code units. It holds strings, booleans, arrays, objects and whole
// numbers within ±2^53 only; amounts are in cents, dates are "2026-04-14",
// instants are RFC 3339 in UTC. Its hash is the SHA-256 of those bytes, in
// lower-case hex. With the bytes saved in a file,
//
//	sha256sum paper.json
//
// prints the same hash. What a person is shown is made from these bytes and
// nothing else. Two revisions with the same hash are the same paper.
//
// The package is pure: no clock, no randomness, no I/O.
package signoff
