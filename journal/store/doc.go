// Package store keeps everything but the photos' bytes in one SQLite database
// and implements [flow.Store].
//
// # Shape
//
// Each file holds one noun: an unexported row struct with gorm's tags, the two
// translations between row and domain value, and the queries. Domain types know
// nothing of the database. Tables are made and changed by the SQL files in
// migrations only; schema.sql is what they come to, kept for readers and
// compared by a test.
//
// # Stored forms
//
// An instant is UTC text of fixed width, "2026-04-14T15:04:05.000000000Z", so
// that text order is time order and nothing is rounded; "" means none. A
// [journal.Date] is stored as it is. Money is whole cents. Identifiers that
// point nowhere are NULL. Lists inside a value (a gate's checks, a plan's
// stages, a draft, an issued document) are JSON with the names fixed by the
// structs of this package.
//
// # Two handles
//
// Writes go through a handle with one connection, whose transactions take the
// write lock when they begin: a transaction that reads first and writes later
// can then not fail for a lock it did not get. Reads go through several
// connections that refuse to write, and do not wait for the writer. What each
// connection must be set to stands in the data source name and is read back at
// [Open].
//
// # Trust
//
// The database refuses, by triggers and foreign keys, to change or delete
// events, revisions, decisions, invoices, payments, entry histories and stage
// turns, to decide bytes other than those frozen, to bill a charge twice, and
// to show a photo in another build's entry or paper. That guards against faults
// of this program. It does not guard against somebody who can write the file.
package store
