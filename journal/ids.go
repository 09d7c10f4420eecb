package journal

// Identifiers are opaque, random and never reused. They are typed so that one
// cannot be passed for another.
type (
	PersonID   string
	BuildID    string
	PlanID     string
	StageID    string
	EntryID    string
	PhotoID    string
	PaperID    string
	QuestionID string
	InvoiceID  string
	PaymentID  string
	WorkID     string
	LetterID   string
	// AllowanceID and UseID name a standing allowance and a booked use of one.
	AllowanceID string
	UseID       string
	// ScanID names the scan of a sheet that was signed by hand.
	ScanID string
	// CorrectionID names a correction of a camera's clock.
	CorrectionID string
	// PaintID names a mix, a film reading or an amount used.
	PaintID string
)
