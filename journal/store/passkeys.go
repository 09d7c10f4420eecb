package store

import (
	"time"

	"farbay/journal"
)

type passkeyRow struct {
	ID         string `gorm:"primaryKey"`
	PersonID   string
	Name       string
	Credential string
	AddedAt    instant
	UsedAt     instant
	EndedAt    instant
}

func (passkeyRow) TableName() string { return "passkeys" }

func toPasskeyRow(p journal.Passkey) passkeyRow {
	return passkeyRow{
		ID: p.ID, PersonID: string(p.PersonID), Name: p.Name, Credential: p.Credential,
		AddedAt: at(p.AddedAt), UsedAt: at(p.UsedAt), EndedAt: at(p.EndedAt),
	}
}

func (r passkeyRow) passkey() journal.Passkey {
	return journal.Passkey{
		ID: r.ID, PersonID: journal.PersonID(r.PersonID), Name: r.Name, Credential: r.Credential,
		AddedAt: r.AddedAt.Time, UsedAt: r.UsedAt.Time, EndedAt: r.EndedAt.Time,
	}
}

func (r *reads) Passkeys(person journal.PersonID) ([]journal.Passkey, error) {
	return find(r, "Passkeys", r.q().Where("person_id = ? AND ended_at = ''", string(person)).Order("added_at, id"), passkeyRow.passkey)
}

func (t *tx) AddPasskey(p journal.Passkey) error {
	row := toPasskeyRow(p)
	return t.add("AddPasskey", "This passkey is there already.", &row)
}

// UsePasskey implements [flow.Tx].
func (t *tx) UsePasskey(id, credential string, when time.Time) error {
	n, err := t.exec("UsePasskey", "UPDATE passkeys SET credential = ?, used_at = ? WHERE id = ? AND ended_at = ''", credential, at(when), id)
	return t.onePasskey(n, err)
}

// EndPasskey implements [flow.Tx].
func (t *tx) EndPasskey(person journal.PersonID, id string, when time.Time) error {
	n, err := t.exec("EndPasskey", "UPDATE passkeys SET ended_at = ? WHERE id = ? AND person_id = ? AND ended_at = ''", at(when), id, string(person))
	return t.onePasskey(n, err)
}

func (t *tx) onePasskey(n int64, err error) error {
	if err == nil && n == 0 {
		return journal.Errorf(journal.NotFound, "There is no such passkey.")
	}
	return err
}

type passkeyAskRow struct {
	TokenHash string `gorm:"primaryKey"`
	PersonID  string
	Subject   string
	Data      string
	ExpiresAt instant
}

func (passkeyAskRow) TableName() string { return "passkey_asks" }

func toPasskeyAskRow(a journal.PasskeyAsk) passkeyAskRow {
	return passkeyAskRow{TokenHash: a.TokenHash, PersonID: string(a.PersonID), Subject: a.Subject, Data: a.Data, ExpiresAt: at(a.ExpiresAt)}
}

func (r passkeyAskRow) ask() journal.PasskeyAsk {
	return journal.PasskeyAsk{
		TokenHash: r.TokenHash, PersonID: journal.PersonID(r.PersonID), Subject: r.Subject, Data: r.Data, ExpiresAt: r.ExpiresAt.Time,
	}
}

func (t *tx) AddPasskeyAsk(a journal.PasskeyAsk) error {
	row := toPasskeyAskRow(a)
	return t.add("AddPasskeyAsk", "There is such a request already.", &row)
}

// TakePasskeyAsk implements [flow.Tx].
func (t *tx) TakePasskeyAsk(tokenHash string) (journal.PasskeyAsk, error) {
	a, err := take(t.reads, "TakePasskeyAsk", "This request has run out; please try again.", t.q().Where("token_hash = ?", tokenHash), passkeyAskRow.ask)
	if err != nil {
		return a, err
	}
	_, err = t.exec("TakePasskeyAsk", "DELETE FROM passkey_asks WHERE token_hash = ?", tokenHash)
	return a, err
}
