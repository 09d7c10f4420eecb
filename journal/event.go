package journal

import "time"

// Event is one line of the append-only record of acts: a paper sent, a
// decision, a stage opened or closed, an invoice, a payment. The database
// refuses to change or delete one.
type Event struct {
	Seq      int64 // 1, 2, 3 ... without gaps, given by the store
	At       time.Time
	BuildID  BuildID
	PersonID PersonID // who did it; "" for the program itself
	Kind     string   // e.g. "paper sent", "paper signed", "stage closed"
	Subject  string   // id of the paper, stage, invoice, ...
	Detail   string   // canonical JSON with what matters of it
}
