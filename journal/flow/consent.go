package flow

import (
	"context"
	"crypto/sha256"
	"strings"

	"farbay/journal"
	"farbay/journal/signoff"
)

// testWords stand in the test record that a person opens before consenting;
// short, plain and hard to confuse.
var testWords = []string{
	"anvil", "barrel", "candle", "dinghy", "ember", "fender", "gravel", "harbor",
	"island", "jacket", "kettle", "ladder", "meadow", "needle", "orchard", "pebble",
}

// TestWord is the word in a person's test record for a version of the
// disclosures. It need not be secret: it shows that the record could be opened.
func TestWord(p journal.PersonID, version string) string {
	sum := sha256.Sum256([]byte(string(p) + "\n" + version))
	return testWords[int(sum[0])%len(testWords)]
}

// GiveConsent records a person's agreement to electronic records, after they
// have read the disclosures (version and hash as shown) and typed back the word
// of their test record.
func (s *Steps) GiveConsent(ctx context.Context, a Actor, version, sha256 string, word string) error {
	if a.Person.Role != journal.Owner {
		return journal.Errorf(journal.Forbidden, "Only owners and their delegates sign papers here.")
	}
	word = strings.ToLower(strings.TrimSpace(word))
	if word != TestWord(a.Person.ID, version) {
		return journal.Problems{"word": "That is not the word in the test record. Please open it and type the word it shows."}.Err()
	}
	return s.write(ctx, func(tx Tx) error {
		c := signoff.Consent{
			PersonID: a.Person.ID, Version: version, SHA256: sha256, Word: word,
			At: s.at(), Address: a.Address, UserAgent: a.UserAgent,
		}
		if err := tx.AddConsent(c); err != nil {
			return err
		}
		return s.record(tx, a, "", "consent given", string(a.Person.ID), map[string]any{"version": version, "sha256": sha256})
	})
}

// ConsentOf returns a person's consent in force, if there is one.
func (s *Steps) ConsentOf(ctx context.Context, p journal.PersonID) (c signoff.Consent, ok bool, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		c, ok, err = absent(r.Consent(p))
		return err
	})
	return c, ok, err
}

// RecordWithdrawal ends a person's consent to electronic records as they told the
// shop, by letter, e-mail or phone; how says which and when. Office only. It has
// the same effect as [Steps.WithdrawConsent].
//
// It returns [journal.Invalid] beside "how" and [journal.Conflict] when none is in
// force.
func (s *Steps) RecordWithdrawal(ctx context.Context, a Actor, person journal.PersonID, how string) error {
	if err := asOffice(a); err != nil {
		return err
	}
	bad := journal.Problems{}
	journal.CheckLine(bad, "how", how, 1, 200, "Please say how they told you, such as: letter of 3 March.")
	if err := bad.Err(); err != nil {
		return err
	}
	return s.write(ctx, func(tx Tx) error {
		_, inForce, err := absent(tx.Consent(person))
		if err != nil {
			return err
		}
		if !inForce {
			return journal.Errorf(journal.Conflict, "No agreement of theirs to electronic records is in force.")
		}
		if err := tx.EndConsent(person, s.at()); err != nil {
			return err
		}
		return s.record(tx, a, "", "consent withdrawn", string(person), map[string]any{"how": how})
	})
}

// WithdrawConsent ends a person's consent to electronic records. What they
// decided before stays; from then on papers go to them by post.
func (s *Steps) WithdrawConsent(ctx context.Context, a Actor) error {
	return s.write(ctx, func(tx Tx) error {
		if err := tx.EndConsent(a.Person.ID, s.at()); err != nil {
			return err
		}
		return s.record(tx, a, "", "consent withdrawn", string(a.Person.ID), map[string]any{})
	})
}
