package signoff

import (
	"strings"
	"time"

	"farbay/journal"
)

// Kind is what a paper is about.
type Kind string

const (
	// BuildAgreement: scope, stage values, terms of payment and ready date.
	BuildAgreement Kind = "build agreement"
	// Teardown: leave to take the truck apart.
	Teardown Kind = "teardown authorization"
	// ChangeOrder: a scope change, with its cost and days.
	ChangeOrder Kind = "change order"
	// DateChange: another ready date, at no cost.
	DateChange Kind = "date change"
	// DeliveryAcceptance: the truck and what goes with it are handed over.
	DeliveryAcceptance Kind = "delivery acceptance"
	// EarlyStop: the build ends before it is finished, with what is done billed.
	EarlyStop Kind = "early stop"
)

// Kinds lists all kinds in the order in which a build meets them.
var Kinds = []Kind{BuildAgreement, Teardown, ChangeOrder, DateChange, DeliveryAcceptance, EarlyStop}

// Valid reports whether k is one of [Kinds].
func (k Kind) Valid() bool {
	for _, known := range Kinds {
		if k == known {
			return true
		}
	}
	return false
}

// Title returns the kind as it begins a sentence: "Change order".
func (k Kind) Title() string {
	if k == "" {
		return ""
	}
	return strings.ToUpper(string(k[:1])) + string(k[1:])
}

// Slug returns the kind as part of a file name: "change-order".
func (k Kind) Slug() string { return strings.ReplaceAll(string(k), " ", "-") }

// State is where a paper stands.
type State string

const (
	// Drafted: only the shop sees it.
	Drafted State = "draft"
	// Sent: its last revision waits for the owner.
	Sent State = "sent"
	// Signed and Declined are final.
	Signed   State = "signed"
	Declined State = "declined"
	// Recalled: the shop took it back before a decision; it can be edited and
	// sent again.
	Recalled State = "recalled"
)

// Paper is one paper over all its revisions.
type Paper struct {
	ID        journal.PaperID
	BuildID   journal.BuildID
	Kind      Kind
	Number    int // 1, 2, 3 ... per build and kind, given at the first sending; 0 before
	State     State
	Draft     Draft           // what the shop is working on; the last revision may differ from it
	Revision  int             // the last one frozen; 0 before the first sending
	EntryID   journal.EntryID // the find it comes from, if any
	CreatedBy journal.PersonID
	CreatedAt time.Time
	Version   int
}

// Decided reports whether the paper is signed or declined.
func (p Paper) Decided() bool { return p.State == Signed || p.State == Declined }
