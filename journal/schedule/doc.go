// Package schedule counts the shop's working days: the days of a [Calendar]
// that are neither weekend, nor observed federal holiday, nor a closure of the
// shop's own.
//
// It is pure: no clock, no zone, no disk. Days are [journal.Date].
package schedule
