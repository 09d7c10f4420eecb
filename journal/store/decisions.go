package store

import (
	"fmt"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

type decisionRow struct {
	PaperID        string `gorm:"primaryKey"`
	Revision       int
	SHA256         string `gorm:"column:sha256"`
	Outcome        string
	PersonID       string
	Quality        string
	TypedName      string
	Sentence       string
	Reason         string
	PartsBack      bool
	At             instant
	Zone           string
	Authenticated  string
	Address        string
	UserAgent      string
	ConsentVersion string
	ConsentAt      instant
	CopyTo         string
	CopyLetterID   ref
	Manner         string
	HappenedAt     instant
	RecordedBy     ref
	Phone          string
	SpokeWith      string
	ScanID         ref
	Passkey        string
}

func (decisionRow) TableName() string { return "decisions" }

func toDecisionRow(d signoff.Decision) decisionRow {
	return decisionRow{
		PaperID: string(d.PaperID), Revision: d.Revision, SHA256: d.SHA256, Outcome: string(d.Outcome),
		PersonID: string(d.PersonID), Quality: string(d.As), TypedName: d.TypedName, Sentence: d.Sentence, Reason: d.Reason, PartsBack: d.PartsBack,
		At: at(d.At), Zone: d.Zone, Authenticated: d.Authenticated, Address: d.Address, UserAgent: d.UserAgent,
		ConsentVersion: d.ConsentVersion, ConsentAt: at(d.ConsentAt), CopyTo: d.CopyTo, CopyLetterID: ref(d.CopyLetterID),
		Manner: string(d.Manner), HappenedAt: at(d.HappenedAt), RecordedBy: ref(d.RecordedBy), Phone: d.Phone, SpokeWith: d.SpokeWith,
		ScanID: ref(d.ScanID), Passkey: d.Passkey,
	}
}

func (r decisionRow) decision() signoff.Decision {
	return signoff.Decision{
		PaperID: journal.PaperID(r.PaperID), Revision: r.Revision, SHA256: r.SHA256, Outcome: signoff.Outcome(r.Outcome),
		PersonID: journal.PersonID(r.PersonID), As: journal.MemberAs(r.Quality), TypedName: r.TypedName, Sentence: r.Sentence, Reason: r.Reason, PartsBack: r.PartsBack,
		At: r.At.Time, Zone: r.Zone, Authenticated: r.Authenticated, Address: r.Address, UserAgent: r.UserAgent,
		ConsentVersion: r.ConsentVersion, ConsentAt: r.ConsentAt.Time, CopyTo: r.CopyTo, CopyLetterID: journal.LetterID(r.CopyLetterID),
		Manner: signoff.Manner(r.Manner), HappenedAt: r.HappenedAt.Time, RecordedBy: journal.PersonID(r.RecordedBy), Phone: r.Phone, SpokeWith: r.SpokeWith,
		ScanID: journal.ScanID(r.ScanID), Passkey: r.Passkey,
	}
}

func (r *reads) Decision(paper journal.PaperID) (signoff.Decision, error) {
	return take(r, "Decision", "This paper is not decided.", r.q().Where("paper_id = ?", string(paper)), decisionRow.decision)
}

// AddDecision implements [flow.Tx]. It returns [journal.Conflict] too when the
// revision is not the paper's last, or its hash is another.
func (t *tx) AddDecision(d signoff.Decision) error {
	const op = "AddDecision"
	var last int
	if err := t.scan(op, &last, "SELECT coalesce(max(number), 0) FROM revisions WHERE paper_id = ?", string(d.PaperID)); err != nil {
		return err
	}
	if last == 0 {
		return journal.Errorf(journal.NotFound, noRevision)
	}
	if d.Revision != last {
		return journal.Errorf(journal.Conflict, "This paper was changed after you opened it. Please read it again as it stands now.")
	}
	row := toDecisionRow(d)
	return t.add(op, "This paper is decided already.", &row)
}

type questionRow struct {
	Added      int64 `gorm:"primaryKey"`
	ID         string
	PaperID    string
	Revision   int
	AskedBy    string
	Text       string
	AskedAt    instant
	Answer     string
	AnsweredBy ref
	AnsweredAt instant
}

func (questionRow) TableName() string { return "questions" }

func toQuestionRow(q signoff.Question) questionRow {
	return questionRow{
		ID: string(q.ID), PaperID: string(q.PaperID), Revision: q.Revision, AskedBy: string(q.AskedBy), Text: q.Text, AskedAt: at(q.AskedAt),
		Answer: q.Answer, AnsweredBy: ref(q.AnsweredBy), AnsweredAt: at(q.AnsweredAt),
	}
}

func (r questionRow) question() signoff.Question {
	return signoff.Question{
		ID: journal.QuestionID(r.ID), PaperID: journal.PaperID(r.PaperID), Revision: r.Revision, AskedBy: journal.PersonID(r.AskedBy), Text: r.Text, AskedAt: r.AskedAt.Time,
		Answer: r.Answer, AnsweredBy: journal.PersonID(r.AnsweredBy), AnsweredAt: r.AnsweredAt.Time,
	}
}

func (r *reads) Questions(paper journal.PaperID) ([]signoff.Question, error) {
	return find(r, "Questions", r.q().Where("paper_id = ?", string(paper)).Order("asked_at, added"), questionRow.question)
}

func (t *tx) AddQuestion(q signoff.Question) error {
	row := toQuestionRow(q)
	return t.add("AddQuestion", "There is such a question already.", &row)
}

func (t *tx) AnswerQuestion(q signoff.Question) error {
	const op = "AnswerQuestion"
	if q.AnsweredAt.IsZero() {
		return t.fail(op, fmt.Errorf("the answer to question %s has no time", q.ID), "", "")
	}
	row := toQuestionRow(q)
	n, err := t.exec(op, "UPDATE questions SET answer = ?, answered_by = ?, answered_at = ? WHERE id = ? AND paper_id = ? AND answered_at = ''",
		row.Answer, row.AnsweredBy, row.AnsweredAt, row.ID, row.PaperID)
	if err != nil || n == 1 {
		return err
	}
	if _, err := take(t.reads, op, "There is no such question.", t.q().Where("id = ? AND paper_id = ?", row.ID, row.PaperID), questionRow.question); err != nil {
		return err
	}
	return journal.Errorf(journal.Conflict, "This question is answered already.")
}

type consentRow struct {
	PersonID  string
	Version   string
	SHA256    string `gorm:"column:sha256"`
	Word      string
	At        instant
	Address   string
	UserAgent string
	EndedAt   instant
}

func (consentRow) TableName() string { return "consents" }

func toConsentRow(c signoff.Consent) consentRow {
	return consentRow{
		PersonID: string(c.PersonID), Version: c.Version, SHA256: c.SHA256, Word: c.Word, At: at(c.At),
		Address: c.Address, UserAgent: c.UserAgent, EndedAt: at(c.EndedAt),
	}
}

func (r consentRow) consent() signoff.Consent {
	return signoff.Consent{
		PersonID: journal.PersonID(r.PersonID), Version: r.Version, SHA256: r.SHA256, Word: r.Word, At: r.At.Time,
		Address: r.Address, UserAgent: r.UserAgent, EndedAt: r.EndedAt.Time,
	}
}

func (r *reads) Consent(person journal.PersonID) (signoff.Consent, error) {
	q := r.q().Where("person_id = ? AND ended_at = ''", string(person))
	return take(r, "Consent", "This person has not agreed to electronic records.", q, consentRow.consent)
}

func (t *tx) AddConsent(c signoff.Consent) error {
	row := toConsentRow(c)
	return t.whole("AddConsent", func() error {
		if err := t.EndConsent(c.PersonID, c.At); err != nil {
			return err
		}
		return t.add("AddConsent", "", &row)
	})
}

// EndConsent implements [flow.Tx]; when none is in force it changes nothing.
func (t *tx) EndConsent(person journal.PersonID, when time.Time) error {
	_, err := t.exec("EndConsent", "UPDATE consents SET ended_at = ? WHERE person_id = ? AND ended_at = ''", at(when), string(person))
	return err
}
