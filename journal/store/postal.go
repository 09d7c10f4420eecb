package store

import (
	"farbay/journal"
	"farbay/journal/signoff"
)

type scanRow struct {
	ID          string `gorm:"primaryKey"`
	PaperID     string
	Revision    int
	Name        string
	ContentType string
	SHA256      string `gorm:"column:sha256"`
	Data        []byte
	ByID        string
	At          instant
}

func (scanRow) TableName() string { return "scans" }

func toScanRow(s signoff.Scan) scanRow {
	return scanRow{
		ID: string(s.ID), PaperID: string(s.PaperID), Revision: s.Revision, Name: s.Name, ContentType: s.ContentType,
		SHA256: s.SHA256, Data: s.Data, ByID: string(s.ByID), At: at(s.At),
	}
}

func (r scanRow) scan() signoff.Scan {
	return signoff.Scan{
		ID: journal.ScanID(r.ID), PaperID: journal.PaperID(r.PaperID), Revision: r.Revision, Name: r.Name, ContentType: r.ContentType,
		SHA256: r.SHA256, Data: r.Data, ByID: journal.PersonID(r.ByID), At: r.At.Time,
	}
}

// ScanOf implements [flow.Reads].
func (r *reads) ScanOf(paper journal.PaperID, id journal.ScanID) (signoff.Scan, error) {
	return take(r, "ScanOf", "There is no such scan.", r.q().Where("paper_id = ? AND id = ?", string(paper), string(id)), scanRow.scan)
}

func (t *tx) AddScan(s signoff.Scan) error {
	row := toScanRow(s)
	return t.add("AddScan", "There is such a scan already.", &row)
}

type postingRow struct {
	PaperID  string `gorm:"primaryKey"`
	Revision int    `gorm:"primaryKey;autoIncrement:false"`
	PersonID string `gorm:"primaryKey"`
	At       instant
	PostedOn string
	PostedBy ref
}

func (postingRow) TableName() string { return "postings" }

func toPostingRow(p signoff.Posting) postingRow {
	return postingRow{
		PaperID: string(p.PaperID), Revision: p.Revision, PersonID: string(p.PersonID), At: at(p.At),
		PostedOn: string(p.PostedOn), PostedBy: ref(p.PostedBy),
	}
}

func (r postingRow) posting() signoff.Posting {
	return signoff.Posting{
		PaperID: journal.PaperID(r.PaperID), Revision: r.Revision, PersonID: journal.PersonID(r.PersonID), At: r.At.Time,
		PostedOn: journal.Date(r.PostedOn), PostedBy: journal.PersonID(r.PostedBy),
	}
}

// Postings implements [flow.Reads].
func (r *reads) Postings(paper journal.PaperID) ([]signoff.Posting, error) {
	return find(r, "Postings", r.q().Where("paper_id = ?", string(paper)).Order("revision, at, person_id"), postingRow.posting)
}

func (t *tx) AddPosting(p signoff.Posting) error {
	row := toPostingRow(p)
	return t.add("AddPosting", "This paper goes to this person by post already.", &row)
}

// MarkPosted implements [flow.Tx].
func (t *tx) MarkPosted(p signoff.Posting) error {
	n, err := t.exec("MarkPosted", "UPDATE postings SET posted_on = ?, posted_by = ? WHERE paper_id = ? AND revision = ? AND person_id = ? AND posted_on = ''",
		string(p.PostedOn), ref(p.PostedBy), string(p.PaperID), p.Revision, string(p.PersonID))
	if err == nil && n == 0 {
		return journal.Errorf(journal.Conflict, "This was marked as posted already.")
	}
	return err
}

// LastConsent implements [flow.Reads].
func (r *reads) LastConsent(person journal.PersonID) (signoff.Consent, error) {
	return take(r, "LastConsent", "This person never agreed to electronic records.", r.q().Where("person_id = ?", string(person)).Order("added DESC"), consentRow.consent)
}

type confirmationRow struct {
	PaperID       string `gorm:"primaryKey"`
	Outcome       string
	PersonID      string
	TypedName     string
	Sentence      string
	Text          string
	At            instant
	Authenticated string
	Address       string
	UserAgent     string
}

func (confirmationRow) TableName() string { return "confirmations" }

func toConfirmationRow(c signoff.Confirmation) confirmationRow {
	outcome := "disputed"
	if c.Confirmed {
		outcome = "confirmed"
	}
	return confirmationRow{
		PaperID: string(c.PaperID), Outcome: outcome, PersonID: string(c.PersonID), TypedName: c.TypedName, Sentence: c.Sentence, Text: c.Text,
		At: at(c.At), Authenticated: c.Authenticated, Address: c.Address, UserAgent: c.UserAgent,
	}
}

func (r confirmationRow) confirmation() signoff.Confirmation {
	return signoff.Confirmation{
		PaperID: journal.PaperID(r.PaperID), Confirmed: r.Outcome == "confirmed", PersonID: journal.PersonID(r.PersonID), TypedName: r.TypedName,
		Sentence: r.Sentence, Text: r.Text, At: r.At.Time, Authenticated: r.Authenticated, Address: r.Address, UserAgent: r.UserAgent,
	}
}

func (r *reads) Confirmation(paper journal.PaperID) (signoff.Confirmation, error) {
	return take(r, "Confirmation", "Nobody has said anything to this yet.", r.q().Where("paper_id = ?", string(paper)), confirmationRow.confirmation)
}

func (t *tx) AddConfirmation(c signoff.Confirmation) error {
	row := toConfirmationRow(c)
	return t.add("AddConfirmation", "This was confirmed or disputed already.", &row)
}
