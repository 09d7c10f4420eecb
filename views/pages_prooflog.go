package views

import "time"

// ProofLog explains the proof log to everybody.
type ProofLog struct {
	Frame
	Keys       []ProofKey // oldest first; the last is in use
	Entries    int64
	Checkpoint string // signed
}

// ProofKey is a public key of the log's.
type ProofKey struct {
	Public string
	Since  time.Time
	Why    string // why it took the place of the one before; "" for the first
}

// Template names the page's template.
func (ProofLog) Template() string { return "door/proof_log" }

var _ = declare(ProofLog{})
