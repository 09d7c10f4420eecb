package views

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"farbay/journal"
)

// WaitsOn says whose move it is.
type WaitsOn string

const (
	// OnOwner: a paper is out for sign-off, or the truck has not come.
	OnOwner WaitsOn = "owner"
	// OnPayment: an invoice is open, or the deposit is not in.
	OnPayment WaitsOn = "payment"
	// OnUs: the shop itself; a gate, an unanswered question, a bill to write.
	OnUs WaitsOn = "us"
)

// Wait is one thing a build waits on. What it is for decides how it is worded
// and where it leads; see [Wait.What].
type Wait struct {
	On  WaitsOn
	For string // "decision", "truck", "deposit", "invoice", "agreement", "answer", "draft", "authorization", "re-estimate", "start", "gate", "close", "billing", "ceiling", "logged work", "delivery", "release" or "refund"

	BuildID journal.BuildID
	Days    int           // whole days it has waited
	Late    int           // days past its due day; 0 when not late or never due
	Amount  journal.Cents // of money that waits; 0 otherwise

	EntryID   journal.EntryID   // of a wish or its handling
	PaperID   journal.PaperID   // of a decision, answer or draft
	Paper     string            // "Change order 4", or "change order" for a draft
	Title     string            // of the paper; of a wish what was found
	InvoiceID journal.InvoiceID // of an invoice
	Invoice   string            // "invoice 31"
	StageID   journal.StageID   // of a start, gate or close
	Stage     string            // name; of a handling what to do: "keep", "ship" or "discard"
	Missing   []string          // of a gate, whole sentences
	Percent   int               // of a ceiling

	// NoWay: the reader may not go where one acts on it, so there is no link.
	NoWay bool
}

// What says what waits, without a full stop: "change order 4, both front floor
// pans". It fails for a kind of wait it does not know.
func (w Wait) What() (string, error) {
	switch w.For {
	case "decision":
		return w.paper(), nil
	case "truck":
		return "the truck is not here yet", nil
	case "confirm":
		return "confirm " + w.paper() + ", agreed by phone", nil
	case "dispute":
		return "settle " + w.paper() + ", the owner says it was not agreed", nil
	case "post":
		return "print and post " + w.paper(), nil
	case "wish":
		return "keep, ship or discard " + w.Title, nil
	case "handling":
		return w.Stage + " " + w.Title + ", as the owner said", nil
	case "deposit":
		return "the deposit", nil
	case "invoice":
		return w.Invoice, nil
	case "agreement":
		return "settle values and agreement", nil
	case "answer":
		return "answer a question on " + w.paper(), nil
	case "draft":
		if w.Title == "" {
			return "finish a draft " + strings.ToLower(w.Paper), nil
		}
		return "finish and send " + w.Title, nil
	case "authorization":
		return "send the teardown authorization for " + w.Stage, nil
	case "re-estimate":
		return "send the re-estimate, " + w.Stage + " is closed", nil
	case "start":
		return "open " + w.Stage + ", no stage is under way", nil
	case "gate":
		return "gate of " + w.Stage + " still needs " + counted(len(w.Missing), "thing", "things"), nil
	case "close":
		return "close " + w.Stage + ", its gate has all it needs", nil
	case "billing":
		return "bill signed changes on closed stages", nil
	case "ceiling":
		return fmt.Sprintf("send a change order, %s has used %d %% of its ceiling", w.Stage, w.Percent), nil
	case "logged work":
		return "bill the logged work of " + w.Stage, nil
	case "delivery":
		return "every stage is closed, send the delivery acceptance", nil
	case "release":
		return "release the holdback", nil
	case "refund":
		return "send the owner back what is left", nil
	}
	return "", fmt.Errorf("views: a wait for %q has no words", w.For)
}

func (w Wait) paper() string {
	paper := strings.ToLower(w.Paper)
	if w.Title == "" {
		return paper
	}
	return paper + ", " + w.Title
}

// Path returns where to act on it. It fails as [Wait.What] does.
func (w Wait) Path() (string, error) {
	at := BuildRef{ID: w.BuildID}.URL()
	switch w.For {
	case "decision", "confirm", "dispute", "post", "answer", "draft":
		return at + "/papers/" + string(w.PaperID), nil
	case "truck":
		return at + "/edit", nil
	case "wish", "handling":
		return at + "/entries/" + string(w.EntryID), nil
	case "authorization", "re-estimate", "delivery":
		return at + "/papers", nil
	case "deposit":
		return at + "/payments/new?invoice=deposit", nil
	case "invoice":
		return at + "/invoices/" + string(w.InvoiceID), nil
	case "agreement":
		return at + "/scope", nil
	case "start", "gate", "close":
		return at + "/stages/" + string(w.StageID), nil
	case "ceiling", "logged work":
		return at + "/stages/" + string(w.StageID) + "#work", nil
	case "billing", "release":
		return at + "/money", nil
	case "refund":
		return at + "/refunds/new", nil
	}
	return "", fmt.Errorf("views: a wait for %q leads nowhere", w.For)
}

// Age says how long it has waited: "since today", "one day", "9 days".
func (w Wait) Age() string {
	if w.Days <= 0 {
		return "since today"
	}
	return Plural(w.Days, "day", "days")
}

// LateBy says how late it is: "3 days late"; "" when it is not.
func (w Wait) LateBy() string {
	if w.Late <= 0 {
		return ""
	}
	return Plural(w.Late, "day", "days") + " late"
}

// Who names the side in the board's bold word.
func (w Wait) Who() string {
	switch w.On {
	case OnOwner:
		return "Owner"
	case OnPayment:
		return "Payment"
	}
	return "Us"
}

// WorstFirst returns the waits, the late ones first (most days first), then
// what the shop itself can do, then the longest waits.
func WorstFirst(waits []Wait) []Wait {
	waits = slices.Clone(waits)
	slices.SortStableFunc(waits, func(a, b Wait) int {
		return cmp.Or(cmp.Compare(b.Late, a.Late), cmp.Compare(b.rank(), a.rank()), cmp.Compare(b.Days, a.Days))
	})
	return waits
}

func (w Wait) rank() int {
	if w.On == OnUs {
		return 1
	}
	return 0
}

// WaitList is a build's waits as they are shown, piece "wait-list".
type WaitList struct {
	Words
	Waits []Wait // in the order shown
}
