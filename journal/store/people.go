package store

import (
	"time"

	"farbay/journal"
)

type personRow struct {
	ID           string `gorm:"primaryKey"`
	Name         string
	Email        string
	Phone        string
	Postal       string `gorm:"column:postal_address"`
	Role         string
	PasswordHash string
	CreatedAt    instant
	EndedAt      instant
}

func (personRow) TableName() string { return "people" }

func toPersonRow(p journal.Person) personRow {
	return personRow{
		ID: string(p.ID), Name: p.Name, Email: p.Email, Phone: p.Phone, Postal: p.Postal, Role: string(p.Role),
		PasswordHash: p.PasswordHash, CreatedAt: at(p.CreatedAt), EndedAt: at(p.EndedAt),
	}
}

func (r personRow) person() journal.Person {
	return journal.Person{
		ID: journal.PersonID(r.ID), Name: r.Name, Email: r.Email, Phone: r.Phone, Postal: r.Postal, Role: journal.Role(r.Role),
		PasswordHash: r.PasswordHash, CreatedAt: r.CreatedAt.Time, EndedAt: r.EndedAt.Time,
	}
}

const (
	noPerson   = "There is no such person."
	emailTaken = "There is a person with this e-mail address already."
)

func (r *reads) Person(id journal.PersonID) (journal.Person, error) {
	return take(r, "Person", noPerson, r.q().Where("id = ?", string(id)), personRow.person)
}

func (r *reads) PersonByEmail(email string) (journal.Person, error) {
	return take(r, "PersonByEmail", noPerson, r.q().Where("email = ?", journal.NormalEmail(email)), personRow.person)
}

func (r *reads) People() ([]journal.Person, error) {
	return find(r, "People", r.q().Order("name COLLATE NOCASE, id"), personRow.person)
}

func (t *tx) AddPerson(p journal.Person) error {
	row := toPersonRow(p)
	return t.add("AddPerson", emailTaken, &row)
}

func (t *tx) SavePerson(p journal.Person) error {
	row := toPersonRow(p)
	res := t.q().Model(&row).Select("*").Updates(&row)
	if res.Error != nil {
		return t.fail("SavePerson", res.Error, "", emailTaken)
	}
	if res.RowsAffected == 0 {
		return journal.Errorf(journal.NotFound, noPerson)
	}
	return nil
}

type sessionRow struct {
	TokenHash  string `gorm:"primaryKey"`
	PersonID   string
	How        string
	Address    string
	UserAgent  string
	CreatedAt  instant
	LastSeenAt instant
	ExpiresAt  instant
	EndedAt    instant
}

func (sessionRow) TableName() string { return "sessions" }

func toSessionRow(s journal.Session) sessionRow {
	return sessionRow{
		TokenHash: s.TokenHash, PersonID: string(s.PersonID), How: s.How, Address: s.Address, UserAgent: s.UserAgent,
		CreatedAt: at(s.CreatedAt), LastSeenAt: at(s.LastSeenAt), ExpiresAt: at(s.ExpiresAt), EndedAt: at(s.EndedAt),
	}
}

func (r sessionRow) session() journal.Session {
	return journal.Session{
		TokenHash: r.TokenHash, PersonID: journal.PersonID(r.PersonID), How: r.How, Address: r.Address, UserAgent: r.UserAgent,
		CreatedAt: r.CreatedAt.Time, LastSeenAt: r.LastSeenAt.Time, ExpiresAt: r.ExpiresAt.Time, EndedAt: r.EndedAt.Time,
	}
}

const noSession = "There is no such session."

// Sessions implements [flow.Reads].
func (r *reads) Sessions(id journal.PersonID) ([]journal.Session, error) {
	return find(r, "Sessions", r.q().Where("person_id = ?", string(id)).Order("last_seen_at DESC, token_hash"), sessionRow.session)
}

func (r *reads) Session(tokenHash string) (journal.Session, error) {
	return take(r, "Session", noSession, r.q().Where("token_hash = ?", tokenHash), sessionRow.session)
}

func (t *tx) AddSession(s journal.Session) error {
	row := toSessionRow(s)
	return t.add("AddSession", "There is such a session already.", &row)
}

// SaveSession stores all but the end of a session that has ended: once ended it
// stays so, whatever an older reading of it says.
func (t *tx) SaveSession(s journal.Session) error {
	row := toSessionRow(s)
	n, err := t.exec("SaveSession", `UPDATE sessions SET person_id = ?, how = ?, address = ?, user_agent = ?,
		created_at = ?, last_seen_at = ?, expires_at = ?, ended_at = CASE ended_at WHEN '' THEN ? ELSE ended_at END
		WHERE token_hash = ?`,
		row.PersonID, row.How, row.Address, row.UserAgent, row.CreatedAt, row.LastSeenAt, row.ExpiresAt, row.EndedAt, row.TokenHash)
	if err == nil && n == 0 {
		return journal.Errorf(journal.NotFound, noSession)
	}
	return err
}

func (t *tx) EndSessions(person journal.PersonID, when time.Time) error {
	_, err := t.exec("EndSessions", "UPDATE sessions SET ended_at = ? WHERE person_id = ? AND ended_at = ''", at(when), string(person))
	return err
}

type linkRow struct {
	TokenHash string `gorm:"primaryKey"`
	PersonID  string
	Purpose   string
	Next      string
	CreatedAt instant
	ExpiresAt instant
	UsedAt    instant
}

func (linkRow) TableName() string { return "links" }

func toLinkRow(l journal.Link) linkRow {
	return linkRow{
		TokenHash: l.TokenHash, PersonID: string(l.PersonID), Purpose: string(l.Purpose), Next: l.Next,
		CreatedAt: at(l.CreatedAt), ExpiresAt: at(l.ExpiresAt), UsedAt: at(l.UsedAt),
	}
}

func (r linkRow) link() journal.Link {
	return journal.Link{
		TokenHash: r.TokenHash, PersonID: journal.PersonID(r.PersonID), Purpose: journal.LinkPurpose(r.Purpose), Next: r.Next,
		CreatedAt: r.CreatedAt.Time, ExpiresAt: r.ExpiresAt.Time, UsedAt: r.UsedAt.Time,
	}
}

const noLink = "There is no such link."

func (r *reads) Link(tokenHash string) (journal.Link, error) {
	return take(r, "Link", noLink, r.q().Where("token_hash = ?", tokenHash), linkRow.link)
}

func (t *tx) AddLink(l journal.Link) error {
	row := toLinkRow(l)
	return t.add("AddLink", "There is such a link already.", &row)
}

func (t *tx) UseLink(tokenHash string, when time.Time) (bool, error) {
	n, err := t.exec("UseLink", "UPDATE links SET used_at = ? WHERE token_hash = ? AND used_at = ''", at(when), tokenHash)
	if err != nil || n == 1 {
		return n == 1, err
	}
	_, err = t.Link(tokenHash)
	return false, err
}

type keptFormRow struct {
	TokenHash string `gorm:"primaryKey"`
	PersonID  ref
	Path      string
	Form      string
	ExpiresAt instant
}

func (keptFormRow) TableName() string { return "kept_forms" }

func toKeptFormRow(k journal.KeptForm) keptFormRow {
	return keptFormRow{TokenHash: k.TokenHash, PersonID: ref(k.PersonID), Path: k.Path, Form: k.Values, ExpiresAt: at(k.ExpiresAt)}
}

func (r keptFormRow) keptForm() journal.KeptForm {
	return journal.KeptForm{TokenHash: r.TokenHash, PersonID: journal.PersonID(r.PersonID), Path: r.Path, Values: r.Form, ExpiresAt: r.ExpiresAt.Time}
}

func (r *reads) KeptForm(tokenHash string) (journal.KeptForm, error) {
	return take(r, "KeptForm", "There is no such kept form.", r.q().Where("token_hash = ?", tokenHash), keptFormRow.keptForm)
}

func (t *tx) AddKeptForm(k journal.KeptForm) error {
	row := toKeptFormRow(k)
	return t.add("AddKeptForm", "There is such a kept form already.", &row)
}

func (t *tx) DropKeptForm(tokenHash string) error {
	_, err := t.exec("DropKeptForm", "DELETE FROM kept_forms WHERE token_hash = ?", tokenHash)
	return err
}

func (t *tx) Sweep(before time.Time) error {
	for _, query := range []string{
		"DELETE FROM sessions WHERE expires_at < @before OR ended_at <> '' AND ended_at < @before",
		"DELETE FROM links WHERE expires_at < @before OR used_at <> '' AND used_at < @before",
		"DELETE FROM kept_forms WHERE expires_at < @before",
		"DELETE FROM passkey_asks WHERE expires_at < @before",
	} {
		if _, err := t.exec("Sweep", query, map[string]any{"before": at(before)}); err != nil {
			return err
		}
	}
	return nil
}
