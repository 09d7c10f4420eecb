package store

import (
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
)

func TestRoundTrip_Passkeys(t *testing.T) {
	s, f := yard(t), &filler{}
	// One that has ended is not read any more, so it is compared as a row.
	ended := fill(t, f, func(p *journal.Passkey) { p.PersonID, p.Credential = ada, `{"counter":1}` })
	write(t, s, func(tx flow.Tx) error { return tx.AddPasskey(ended) })
	var row passkeyRow
	if err := s.reader.Take(&row).Error; err != nil {
		t.Fatal(err)
	}
	same(t, ended, row.passkey())

	later := journal.Passkey{ID: "b", PersonID: ada, Name: "my phone", Credential: `{"counter":2}`, AddedAt: noon.Add(time.Hour)}
	first := journal.Passkey{ID: "c", PersonID: ada, Name: "the key", Credential: `{"counter":3}`, AddedAt: noon}
	bens := journal.Passkey{ID: "a", PersonID: ben, Name: "Ben's", Credential: `{}`, AddedAt: noon}
	for _, p := range []journal.Passkey{later, first, bens} {
		write(t, s, func(tx flow.Tx) error { return tx.AddPasskey(p) })
	}
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddPasskey(first) })
	of := func(who journal.PersonID) []journal.Passkey {
		return get(t, s, func(r flow.Reads) ([]journal.Passkey, error) { return r.Passkeys(who) })
	}
	same(t, []journal.Passkey{first, later}, of(ada))

	write(t, s, func(tx flow.Tx) error { return tx.UsePasskey("c", `{"counter":4}`, noon.Add(time.Minute)) })
	first.Credential, first.UsedAt = `{"counter":4}`, noon.Add(time.Minute)
	same(t, []journal.Passkey{first, later}, of(ada))

	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.EndPasskey(ben, "c", noon) })
	write(t, s, func(tx flow.Tx) error { return tx.EndPasskey(ada, "c", noon) })
	same(t, []journal.Passkey{later}, of(ada))
	same(t, []journal.Passkey{bens}, of(ben))
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.EndPasskey(ada, "c", noon) })
	refused(t, s, journal.NotFound, func(tx flow.Tx) error { return tx.UsePasskey("c", `{}`, noon) })
}

func TestRoundTrip_PasskeyAsks(t *testing.T) {
	s, f := yard(t), &filler{}
	ask := fill(t, f, func(a *journal.PasskeyAsk) { a.PersonID, a.Data = ada, `{"nonce":"n"}` })
	write(t, s, func(tx flow.Tx) error { return tx.AddPasskeyAsk(ask) })
	refused(t, s, journal.Conflict, func(tx flow.Tx) error { return tx.AddPasskeyAsk(ask) })
	var taken journal.PasskeyAsk
	take := func(tx flow.Tx) (err error) {
		taken, err = tx.TakePasskeyAsk(ask.TokenHash)
		return err
	}
	write(t, s, take)
	same(t, ask, taken)
	refused(t, s, journal.NotFound, take)

	// Those that have run out are swept away.
	write(t, s, func(tx flow.Tx) error { return tx.AddPasskeyAsk(ask) })
	write(t, s, func(tx flow.Tx) error { return tx.Sweep(ask.ExpiresAt) })
	write(t, s, take)
	write(t, s, func(tx flow.Tx) error { return tx.AddPasskeyAsk(ask) })
	write(t, s, func(tx flow.Tx) error { return tx.Sweep(ask.ExpiresAt.Add(time.Nanosecond)) })
	refused(t, s, journal.NotFound, take)
}
