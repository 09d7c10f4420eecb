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
	LetterID   string
	// CorrectionID names a correction of a camera's clock.
	CorrectionID string
)
