// Package flow holds the steps of the job that touch several subjects at once:
// each step checks, changes and records in one transaction, or does nothing.
//
// Steps declare what they need of a database as [Store], [Reads] and [Tx].
// They take time and identifiers from [Steps], never from the machine. What a
// person may see or do is checked here as well as by the server's route table,
// so that no page can forget it.
package flow
