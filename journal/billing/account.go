package billing

import (
	"fmt"
	"slices"

	"farbay/journal"
)

// Source says what makes a charge agreed.
type Source string

const (
	// Agreement: a stage's value in the signed build agreement.
	Agreement Source = "agreement"
	// ChangeOrder: a signed change order.
	ChangeOrder Source = "change order"
	// Allowance: a booked use of a standing allowance.
	Allowance Source = "standing allowance"
	// EarlyStop: a signed paper that ends the build, for what is not done any more.
	EarlyStop Source = "early stop"
	// LoggedWork: work logged on a metered stage.
	LoggedWork Source = "logged work"
	// CeilingHeld: what brings the billed work of a metered stage to its ceiling.
	CeilingHeld Source = "ceiling"
)

// Charge is one thing agreed, billed whole and at most once.
type Charge struct {
	// Ref names the charge, uniquely within the build, by what it comes from:
	// "stage:ID", "paper:ID/stage:ID", "paper:ID/line:N", "use:ID", "work:ID", or "ceiling:ID/N" for
	// the Nth time that the billed work of stage ID is brought to its ceiling.
	Ref     string
	Source  Source
	StageID string // "" when no stage bears it
	Text    string // as it stands on the invoice
	Split   journal.Split
}

// DocumentKind is the kind of a billing document. Each has its own number
// series.
type DocumentKind string

const (
	Invoice         DocumentKind = "invoice"
	CreditMemo      DocumentKind = "credit memo"
	HoldbackRelease DocumentKind = "holdback release"
)

// Document is an issued document, or one about to be issued. Once issued it
// never changes. Subtotal + Tax = DepositCredit + Holdback + Payable.
type Document struct {
	ID     string // set by the caller; "" until issued
	Number int    // in the series of its kind; set by the caller, 0 until issued
	Kind   DocumentKind

	Charges       []Charge      // what it bills; negated in a cancelling credit memo
	Subtotal      journal.Cents // sum of Charges, before tax
	Tax           journal.Cents // on the whole subtotal
	DepositCredit journal.Cents // covered by the deposit; negative: given back to it
	Holdback      journal.Cents // kept back; negative: no longer kept back
	Payable       journal.Cents // to pay; negative: in the owner's favour

	IssuedOn      journal.Date
	DueOn         journal.Date // "" for credit memos
	ClosesStageID string       // the stage whose close issued it, else ""
	Cancels       string       // ID of the invoice a credit memo takes back, else ""
	Reason        string       // why it takes it back; set by the caller
}

// Total returns subtotal and tax together.
func (d Document) Total() journal.Cents { return d.Subtotal + d.Tax }

// Name returns what the document is called in a sentence: "invoice 12".
func (d Document) Name() string { return fmt.Sprintf("%s %d", d.Kind, d.Number) }

// Payment is one record of money that came in for a document or on account or,
// negative, that went out. It is never altered: a bounced one is reversed by
// another.
type Payment struct {
	ID         string
	DocumentID string        // "" on account: for the oldest open documents
	Amount     journal.Cents // negative: reversed, or refunded to the owner
	On         journal.Date
	Reverses   string // ID of the payment taken back, else ""
}

// Meter is a stage agreed by time and materials.
type Meter struct {
	StageID string
	Closed  bool // what is left of its ceiling is not needed any more
}

// Account is everything about the money of one build. Agreed, Work, Documents and
// Payments are in the order in which they came about, and only grow.
type Account struct {
	Terms           Terms
	Agreed          []Charge // those of a metered stage make up its ceiling and are not billed themselves
	Metered         []Meter
	Work            []Charge      // logged on the metered stages
	DepositReceived journal.Cents // all deposit money that came in, less what bounced
	DepositRefunded journal.Cents // of it, what was sent back, 0 or more
	Documents       []Document
	Payments        []Payment
}

// Unbilled returns the refs of what can be billed, in the order agreed: that of
// the given stages, or all when none is given. Of a metered stage they are its
// logged work and what brings it to the ceiling; they are billed together.
func (a Account) Unbilled(stageIDs ...string) []string {
	var refs []string
	for _, c := range a.Billable(stageIDs...) {
		refs = append(refs, c.Ref)
	}
	return refs
}

// Billable returns the charges that [Account.Unbilled] names.
func (a Account) Billable(stageIDs ...string) []Charge {
	var charges []Charge
	for _, c := range billable(a, tallyOf(a)) {
		if len(stageIDs) == 0 || slices.Contains(stageIDs, c.StageID) {
			charges = append(charges, c)
		}
	}
	return charges
}

// document returns the issued document of that ID.
func (a Account) document(id string) (Document, bool) {
	for _, d := range a.Documents {
		if d.ID == id && id != "" {
			return d, true
		}
	}
	return Document{}, false
}

// tally is what the documents so far come to.
type tally struct {
	agreed   journal.Cents // ceilings not needed taken off
	billed   journal.Cents // before tax, credit memos taken off
	covered  journal.Cents // credited from the deposit
	held     journal.Cents
	released bool           // a holdback release was issued
	times    map[string]int // ref -> times billed less times cancelled
	meters   map[string]*metering
}

// tallyOf sums up; closing are metered stages to be taken as closed already.
func tallyOf(a Account, closing ...string) tally {
	t := tally{times: make(map[string]int, len(a.Agreed))}
	for _, c := range a.Agreed {
		t.agreed += c.Split.Total()
	}
	for _, d := range a.Documents {
		t.covered += d.DepositCredit
		t.held += d.Holdback
		t.released = t.released || d.Kind == HoldbackRelease
		for _, c := range d.Charges {
			t.billed += c.Split.Total()
			if d.Cancels == "" {
				t.times[c.Ref]++
			} else {
				t.times[c.Ref]--
			}
		}
	}
	t.meters = metersOf(a, t.times, closing)
	for _, m := range t.meters {
		t.agreed -= m.unused()
	}
	return t
}

// Take adds a record of money to the account, as what it is: for a document, on
// account, or of the deposit.
func (a *Account) Take(p journal.Payment) {
	deposit := p.InvoiceID == "" && !p.OnAccount
	switch {
	case deposit && p.Refund:
		a.DepositRefunded -= p.Amount
	case deposit:
		a.DepositReceived += p.Amount
	default:
		a.Payments = append(a.Payments, Payment{
			ID: string(p.ID), DocumentID: string(p.InvoiceID), Amount: p.Amount, On: p.On, Reverses: string(p.ReversesID),
		})
	}
}
