// Package journal is the model of a restoration shop's builds: what a build,
// stage, entry, photo, person and paper are, which values are valid, and who
// may see what.
//
// It is pure: no clock, no randomness, no disk, no network, no SQL. Times and
// identifiers are passed in. Times are UTC instants; calendar days are [Date];
// money is [Cents].
//
// The packages below it each hold one subject: signoff (papers and decisions),
// billing (invoices and statements), schedule (working days), coating (paint). They
// import this package and never each other. Package flow joins them in transactions, and
// package store keeps them in a database.
package journal
