package signoff

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"

	"farbay/journal"
)

// Format names the byte form written now. A later form gets a later name; bytes
// once frozen are read for ever.
const Format = "farbay paper 1"

// Sheet is a frozen paper: all that the owner is shown, and nothing that they
// are not. Which members below the photos count is a matter of its kind; those of
// other kinds are left out or empty. Its canonical JSON ([Sheet.Bytes]) is what is hashed and signed.
type Sheet struct {
	Format   string `json:"format"`
	Kind     Kind   `json:"kind"`
	Number   int    `json:"number"`
	Revision int    `json:"revision"`
	SentAt   string `json:"sent_at"` // RFC 3339, UTC
	SentOn   string `json:"sent_on"` // the day at the shop
	SentBy   string `json:"sent_by"`

	Shop  SheetShop  `json:"shop"`
	Build SheetBuild `json:"build"`

	Title  string       `json:"title"`
	Reason string       `json:"reason"`
	Photos []SheetPhoto `json:"photos"`
	Stage  SheetStage   `json:"stage"` // which bears the lines that name none; of a teardown authorization the one it allows
	Lines  []SheetLine  `json:"lines"`
	// ReEstimate: the estimate renewed after the teardown.
	ReEstimate bool `json:"re_estimate,omitempty"`
	// Adds and Drops are stages that a change order puts into the order of work and
	// takes out of it.
	Adds  *SheetAdded `json:"adds_stage,omitempty"`
	Drops *SheetStage `json:"drops_stage,omitempty"`

	Currency string `json:"currency"`
	// This change, in cents: before tax, its tax at the rates named, and both.
	Delta        journal.Cents `json:"delta"`
	DeltaTax     journal.Cents `json:"delta_tax"`
	DeltaWithTax journal.Cents `json:"delta_with_tax"`
	TaxRates     []SheetRate   `json:"tax_rates"`
	// The build before and after, in cents, likewise.
	AgreedBefore journal.Cents `json:"agreed_before"`
	AgreedAfter  journal.Cents `json:"agreed_after"`
	TotalBefore  journal.Cents `json:"total_before"` // with tax
	TotalAfter   journal.Cents `json:"total_after"`  // with tax
	// The agreed ready date before and after; "" when none is agreed.
	Days       int          `json:"days"`
	DateBefore journal.Date `json:"date_before"`
	DateAfter  journal.Date `json:"date_after"`

	Agreement  *SheetAgreement  `json:"agreement,omitempty"`
	Teardown   *SheetTeardown   `json:"teardown,omitempty"`
	Acceptance *SheetAcceptance `json:"acceptance,omitempty"`
	Stop       *SheetStop       `json:"early_stop,omitempty"`
	Delegate   *SheetDelegate   `json:"delegate,omitempty"`  // named by signing
	Allowance  *SheetAllowance  `json:"allowance,omitempty"` // given by signing
	// Standing is the allowance in force when the paper was sent.
	Standing *SheetStanding `json:"standing_allowance,omitempty"`

	Act     string   `json:"act"`     // the sentence that signing stands for
	Decline string   `json:"decline"` // the sentence that declining stands for
	Notices []string `json:"notices"` // shown above the signature
}

// SheetShop is the shop as it stands at the head of the paper.
type SheetShop struct {
	Name    string `json:"name"`
	Address string `json:"address"`
	Phone   string `json:"phone"`
	Zone    string `json:"zone"`
}

// Location returns the shop's zone; UTC for one that is not known here.
func (s SheetShop) Location() *time.Location {
	zone, err := time.LoadLocation(s.Zone)
	if err != nil {
		return time.UTC
	}
	return zone
}

// SheetBuild names the build and who its owners are.
type SheetBuild struct {
	ID       journal.BuildID `json:"id"`
	Nickname string          `json:"nickname"`
	Truck    string          `json:"truck"`
	Serial   string          `json:"serial"`
	Owners   []string        `json:"owners"`
}

// SheetStage is the stage that bears the change.
type SheetStage struct {
	ID   journal.StageID `json:"id"`
	Name string          `json:"name"`
	// Metered: by time and materials, so that a change moves what it may cost at
	// most.
	Metered bool `json:"metered,omitempty"`
}

// SheetLine is one line, with its amount in cents before tax.
type SheetLine struct {
	// Stage bears the line; left out where it is the sheet's.
	Stage   *SheetStage      `json:"stage,omitempty"`
	Kind    journal.LineKind `json:"kind"`
	Text    string           `json:"text"`
	Minutes int              `json:"minutes"` // labour lines; 0 otherwise
	Rate    journal.Cents    `json:"rate"`    // per hour; 0 otherwise
	Amount  journal.Cents    `json:"amount"`
	// Dropped: it takes off what is not billed of the stage that is dropped.
	Dropped bool `json:"dropped,omitempty"`
}

// SheetRate is a tax rate in force when the paper was sent, in basis points;
// only rates above zero are listed.
type SheetRate struct {
	Kind        journal.LineKind    `json:"kind"`
	BasisPoints journal.BasisPoints `json:"basis_points"`
}

// Bearing returns the stage that bears a line.
func (s Sheet) Bearing(l SheetLine) SheetStage {
	if l.Stage != nil {
		return *l.Stage
	}
	return s.Stage
}

// StageSplit is what a change puts on one stage, by line kind, before tax.
type StageSplit struct {
	Stage SheetStage
	Split journal.Split
}

// Splits returns the change by stage, in the order in which the lines first name
// them; none without lines.
func (s Sheet) Splits() []StageSplit {
	var all []StageSplit
	at := map[journal.StageID]int{}
	for _, l := range s.Lines {
		stage := s.Bearing(l)
		i, known := at[stage.ID]
		if !known {
			i = len(all)
			at[stage.ID], all = i, append(all, StageSplit{Stage: stage})
		}
		all[i].Split = all[i].Split.Plus(l.Kind, l.Amount)
	}
	return all
}

// Bears reports whether the paper puts cost on a stage, or allows it.
func (s Sheet) Bears(stage journal.StageID) bool {
	if s.Stage.ID == stage && (s.Kind == ChangeOrder || s.Kind == Teardown) || s.Drops != nil && s.Drops.ID == stage {
		return true
	}
	if s.Stop != nil {
		for _, st := range s.Stop.Stages {
			if st.ID == stage && st.Open {
				return true
			}
		}
	}
	for _, l := range s.Lines {
		if s.Bearing(l).ID == stage {
			return true
		}
	}
	return false
}

// OwnerOnly reports whether no delegate can decide the paper: it is the
// agreement itself, ends it, or gives powers.
func (s Sheet) OwnerOnly() bool {
	return s.Kind == BuildAgreement || s.Kind == EarlyStop || s.Delegate != nil || s.Allowance != nil
}

// ByPhone reports whether the paper can be agreed by phone: a change of work or of
// the date, that gives nobody a power.
func (s Sheet) ByPhone() bool {
	return (s.Kind == ChangeOrder || s.Kind == DateChange) && !s.OwnerOnly()
}

// Name returns "Change order 4".
func (s Sheet) Name() string { return fmt.Sprintf("%s %d", s.Kind.Title(), s.Number) }

// Bytes returns the canonical byte form (see the package comment). It fails
// only on text that is not valid UTF-8, which forms never let through.
func (s Sheet) Bytes() ([]byte, error) { return canonical(s) }

// Hash returns the SHA-256 of b in lower-case hex, as `sha256sum` prints it.
func Hash(b []byte) string {
	sum := sha256.Sum256(b)
	return hex.EncodeToString(sum[:])
}

// ParseSheet reads frozen bytes. It refuses bytes that are not exactly the
// canonical form of the sheet they hold, unknown members included, so that what
// is shown can be made from nothing but what was hashed.
func ParseSheet(b []byte) (Sheet, error) {
	var s Sheet
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		return Sheet{}, fmt.Errorf("signoff: read paper: %w", err)
	}
	if s.Format != Format || !s.Kind.Valid() {
		return Sheet{}, fmt.Errorf("signoff: read paper: unknown format %q or kind %q", s.Format, s.Kind)
	}
	again, err := s.Bytes()
	if err != nil {
		return Sheet{}, err
	}
	if !bytes.Equal(again, b) {
		return Sheet{}, fmt.Errorf("signoff: read paper: bytes are not in canonical form")
	}
	return s, nil
}
