package signoff

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"

	"farbay/journal"
)

// Format names the byte form written now. A later form gets a later name; bytes
// once frozen are read for ever.
const Format = "farbay change order 1"

// Sheet is a frozen change order: all that the owner is shown, and nothing that
// they are not. Its canonical JSON ([Sheet.Bytes]) is what is hashed and signed.
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
	Stage  SheetStage   `json:"stage"`
	Lines  []SheetLine  `json:"lines"`

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

	Act     string   `json:"act"`     // the sentence that signing stands for
	Notices []string `json:"notices"` // shown above the signature
}

// SheetShop is the shop as it stands at the head of the paper.
type SheetShop struct {
	Name    string `json:"name"`
	Address string `json:"address"`
	Phone   string `json:"phone"`
	Zone    string `json:"zone"`
}

// SheetBuild names the build and who its owners are.
type SheetBuild struct {
	ID       journal.BuildID `json:"id"`
	Nickname string          `json:"nickname"`
	Truck    string          `json:"truck"`
	Serial   string          `json:"serial"`
	Owners   []string        `json:"owners"`
}

// SheetPhoto is one evidence photo: the SHA-256 of its original.
type SheetPhoto struct {
	ID      journal.PhotoID `json:"id"`
	SHA256  string          `json:"sha256"`
	Caption string          `json:"caption"`
	// Shown is how the photo was shown when the paper was sent. The member is
	// left out for a photo shown plain and whole.
	Shown *SheetShown `json:"shown,omitempty"`
}

// SheetShown is a photo's layer at the time of sending: see [journal.Layer].
type SheetShown struct {
	View   string      `json:"view"`  // [journal.Layer.View]; "" for the plain photo
	Width  int         `json:"width"` // of what is shown, in pixels
	Height int         `json:"height"`
	Turn   int         `json:"turn"`
	Crop   SheetCrop   `json:"crop"`
	Marks  []SheetMark `json:"marks"`
}

// SheetCrop is the part shown, in parts of [journal.Full]; all 0 for the whole.
type SheetCrop struct {
	X int `json:"x"`
	Y int `json:"y"`
	W int `json:"w"`
	H int `json:"h"`
}

// SheetMark is one mark, in parts of [journal.Full] of the turned photo.
type SheetMark struct {
	Shape journal.MarkShape `json:"shape"`
	X     int               `json:"x"`
	Y     int               `json:"y"`
	X2    int               `json:"x2"`
	Y2    int               `json:"y2"`
	Text  string            `json:"text"`
}

// ShownOf freezes how a photo is shown now; nil when plain, whole and unmarked.
func ShownOf(p journal.Photo) *SheetShown {
	if p.Layer.Plain() && len(p.Layer.Marks) == 0 {
		return nil
	}
	s := &SheetShown{View: p.Layer.View(), Turn: p.Layer.Turn, Crop: SheetCrop(p.Layer.Crop), Marks: []SheetMark{}}
	s.Width, s.Height = p.Shown()
	for _, m := range p.Layer.Marks {
		s.Marks = append(s.Marks, SheetMark(m))
	}
	return s
}

// Layer is the layer that was frozen.
func (p SheetPhoto) Layer() journal.Layer {
	if p.Shown == nil {
		return journal.Layer{}
	}
	l := journal.Layer{Turn: p.Shown.Turn, Crop: journal.Crop(p.Shown.Crop)}
	for _, m := range p.Shown.Marks {
		l.Marks = append(l.Marks, journal.Mark(m))
	}
	return l
}

// SheetStage is the stage that bears the change.
type SheetStage struct {
	ID   journal.StageID `json:"id"`
	Name string          `json:"name"`
}

// SheetLine is one line, with its amount in cents before tax.
type SheetLine struct {
	Kind    journal.LineKind `json:"kind"`
	Text    string           `json:"text"`
	Minutes int              `json:"minutes"` // labour lines; 0 otherwise
	Rate    journal.Cents    `json:"rate"`    // per hour; 0 otherwise
	Amount  journal.Cents    `json:"amount"`
}

// SheetRate is a tax rate in force when the paper was sent, in basis points;
// only rates above zero are listed.
type SheetRate struct {
	Kind        journal.LineKind    `json:"kind"`
	BasisPoints journal.BasisPoints `json:"basis_points"`
}

// Split returns the change by line kind, before tax.
func (s Sheet) Split() journal.Split {
	var sum journal.Split
	for _, l := range s.Lines {
		sum = sum.Plus(l.Kind, l.Amount)
	}
	return sum
}

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
	if s.Format != Format {
		return Sheet{}, fmt.Errorf("signoff: read paper: unknown format %q", s.Format)
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
