package flow

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"farbay/journal"
	"farbay/journal/signoff"
)

// PasskeyAskLife is how long the browser has to answer what it was asked.
const PasskeyAskLife = 5 * time.Minute

// MaxPasskeys is how many passkeys a person may have at a time.
const MaxPasskeys = 10

// Passkeys returns the actor's passkeys that can be used, oldest first.
func (s *Steps) Passkeys(ctx context.Context, a Actor) (keys []journal.Passkey, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		keys, err = r.Passkeys(a.Person.ID)
		return err
	})
	return keys, err
}

// NewPasskey is a passkey that the server has checked.
type NewPasskey struct {
	ID         string // base64url of the credential's id
	Name       string // as the person calls it
	Credential string // JSON, as the server keeps it
	PublicKey  string // base64url of the COSE key; for the proof log
}

// CanAddPasskey returns the passkeys that the actor, an owner or delegate, has
// already, if another of that name can be added.
//
// Errors: [journal.Invalid] for the name, [journal.Forbidden], and
// [journal.Conflict] when there are too many.
func (s *Steps) CanAddPasskey(ctx context.Context, a Actor, name string) (keys []journal.Passkey, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		keys, err = canAddPasskey(r, a, name)
		return err
	})
	return keys, err
}

func canAddPasskey(r Reads, a Actor, name string) ([]journal.Passkey, error) {
	if a.Person.Role != journal.Owner || !a.Person.Active() {
		return nil, journal.Errorf(journal.Forbidden, "Only owners and their delegates sign papers here.")
	}
	bad := journal.Problems{}
	journal.CheckLine(bad, "name", name, 1, 60, "Please give the passkey a name, such as: my phone.")
	if err := bad.Err(); err != nil {
		return nil, err
	}
	keys, err := r.Passkeys(a.Person.ID)
	if err == nil && len(keys) >= MaxPasskeys {
		err = journal.Errorf(journal.Conflict, "You have %d passkeys here, which is as many as there can be. Please remove one first.", len(keys))
	}
	return keys, err
}

// AddPasskey keeps a passkey of the actor, and records its public key in the
// proof log, so that it can be told later whose it was.
//
// Errors are those of [Steps.CanAddPasskey], and [journal.Conflict] when the
// passkey is there already.
func (s *Steps) AddPasskey(ctx context.Context, a Actor, n NewPasskey) error {
	return s.write(ctx, func(tx Tx) error {
		if _, err := canAddPasskey(tx, a, n.Name); err != nil {
			return err
		}
		if err := tx.AddPasskey(journal.Passkey{ID: n.ID, PersonID: a.Person.ID, Name: n.Name, Credential: n.Credential, AddedAt: s.at()}); err != nil {
			return err
		}
		return s.record(tx, a, "", "passkey added", n.ID, map[string]any{"name": n.Name, "public_key": n.PublicKey})
	})
}

// EndPasskey removes one of the actor's passkeys; what it confirmed stays
// confirmed. [journal.NotFound] when there is none of that id.
func (s *Steps) EndPasskey(ctx context.Context, a Actor, id string) error {
	return s.write(ctx, func(tx Tx) error {
		if err := tx.EndPasskey(a.Person.ID, id, s.at()); err != nil {
			return err
		}
		return s.record(tx, a, "", "passkey removed", id, map[string]any{})
	})
}

// KeepPasskeyAsk keeps what the actor's browser is asked, as JSON under token,
// for one use within [PasskeyAskLife]. subject is "" for adding a passkey, else
// [PasskeyAct.Subject].
func (s *Steps) KeepPasskeyAsk(ctx context.Context, a Actor, token, subject, data string) error {
	return s.Store.Write(ctx, func(tx Tx) error {
		return tx.AddPasskeyAsk(journal.PasskeyAsk{
			TokenHash: TokenHash(token), PersonID: a.Person.ID, Subject: subject, Data: data, ExpiresAt: s.at().Add(PasskeyAskLife),
		})
	})
}

// TakePasskeyAsk returns what was kept under token, and forgets it, whatever
// becomes of the answer.
//
// It returns [journal.Conflict] with a sentence when the ask was used, has run
// out, is another person's, or is about anything but subject.
func (s *Steps) TakePasskeyAsk(ctx context.Context, a Actor, token, subject string) (data string, err error) {
	var ask journal.PasskeyAsk
	found := false
	err = s.Store.Write(ctx, func(tx Tx) (err error) {
		ask, found, err = absent(tx.TakePasskeyAsk(TokenHash(token)))
		return err
	})
	switch {
	case err != nil:
		return "", err
	case !found || ask.PersonID != a.Person.ID || !s.at().Before(ask.ExpiresAt):
		return "", journal.Errorf(journal.Conflict, "The passkey answered a request that was used already or is older than five minutes. Nothing was recorded; please try again.")
	case ask.Subject != subject:
		return "", journal.Errorf(journal.Conflict, "What the passkey confirmed is not what this page sent, such as another name. Nothing was recorded; please try again.")
	}
	return ask.Data, nil
}

// PasskeyAct is an act that a passkey is asked to confirm.
type PasskeyAct struct {
	Subject   string            // names the act, for the ask
	Challenge []byte            // see [signoff.PasskeyChallenge]
	Keys      []journal.Passkey // of which one is to confirm it
}

// PasskeyAct returns what a passkey is to sign for the decision in, with a nonce
// of the server's. Nothing is recorded. Errors are those of [Steps.Decide], and
// [journal.Conflict] if the actor has no passkey or the paper is decided.
func (s *Steps) PasskeyAct(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, in DecideInput, nonce string) (act PasskeyAct, err error) {
	err = s.Store.Read(ctx, func(r Reads) error {
		_, member, err := readable(r, a, build)
		if err != nil {
			return err
		}
		p, err := s.paperOf(r, a, build, paper)
		if err != nil {
			return err
		}
		if !journal.CanDecide(a.Person, member) {
			return journal.Errorf(journal.Forbidden, "Only the truck's owner or their delegate can decide this paper.")
		}
		d, decided, err := absent(r.Decision(paper))
		if err != nil {
			return err
		}
		if decided {
			return alreadyDecided(d)
		}
		_, sheet, err := s.outFor(r, p, *member, in)
		if err != nil {
			return err
		}
		if err := checkAct(in); err != nil {
			return err
		}
		act.Subject = PasskeySubject(paper, in)
		if act.Challenge, err = signoff.PasskeyChallenge(in.SHA256, in.Outcome, in.TypedName, sentenceOf(sheet, in.Outcome), nonce); err != nil {
			return err
		}
		if act.Keys, err = r.Passkeys(a.Person.ID); err == nil && len(act.Keys) == 0 {
			return journal.Errorf(journal.Conflict, "There is no passkey on your account. Please sign without it.")
		}
		return err
	})
	return act, err
}

// PasskeySubject names an act for the ask: the paper, its revision and bytes,
// the outcome and the typed name.
func PasskeySubject(paper journal.PaperID, in DecideInput) string {
	return fmt.Sprintf("%s %s revision %d %s as %q", in.Outcome, paper, in.Revision, in.SHA256, in.TypedName)
}

// PasskeyAnswer is a passkey's answer to an ask, which the server has checked.
type PasskeyAnswer struct {
	Proof  signoff.PasskeyProof // its Name is filled in by the step
	Before string               // the credential as it was checked
	After  string               // the credential as it is after this use
}

// confirmByPasskey puts the proof into the decision, after checking once more
// that the passkey can be used and signed this very act. No answer is no error.
func (s *Steps) confirmByPasskey(tx Tx, d *signoff.Decision, answer *PasskeyAnswer) error {
	if answer == nil {
		return nil
	}
	keys, err := tx.Passkeys(d.PersonID)
	if err != nil {
		return err
	}
	i := slices.IndexFunc(keys, func(k journal.Passkey) bool { return k.ID == answer.Proof.Credential })
	if i < 0 {
		return PasskeyGone()
	}
	if keys[i].Credential != answer.Before {
		return journal.Errorf(journal.Conflict, "This passkey was used somewhere else at the same moment. Nothing was recorded; please try again.")
	}
	proof := answer.Proof
	proof.Name = keys[i].Name
	if d.Passkey, err = proof.Text(); err != nil {
		return err
	}
	if err := d.VerifyPasskey(); err != nil {
		return &journal.Error{Code: journal.Conflict, Err: err, Message: "The passkey did not confirm this act. Nothing was recorded; please try again, or sign without it."}
	}
	return tx.UsePasskey(keys[i].ID, answer.After, s.at())
}

// PasskeyGone is what is said of a passkey that is not, or no longer, on the
// person's account.
func PasskeyGone() error {
	return journal.Errorf(journal.Conflict, "This passkey is not on your account any more. Nothing was recorded; please sign without it, or with another.")
}

// RefuseCopiedPasskey records that a passkey's counter did not go up, as of a key
// that was copied, and returns the refusal, [journal.Conflict].
func (s *Steps) RefuseCopiedPasskey(ctx context.Context, a Actor, build journal.BuildID, paper journal.PaperID, id string, kept, sent uint32) error {
	err := s.write(ctx, func(tx Tx) error {
		return s.record(tx, a, build, "passkey refused", string(paper), map[string]any{"passkey": id, "counter_kept": kept, "counter_sent": sent})
	})
	if err != nil {
		return err
	}
	return journal.Errorf(journal.Conflict, "This passkey counted backwards, as a copied one would, so it was refused and the shop's record says so. Nothing else was recorded. Please sign without it, and remove it on your account's page.")
}

// passkeyHash is the SHA-256 of a decision's proof, in hex; "" for none.
func passkeyHash(d signoff.Decision) string {
	if d.Passkey == "" {
		return ""
	}
	return signoff.Hash([]byte(d.Passkey))
}

// checkPasskeys reports proofs of a build's decisions that their key did not
// sign, or that are not those in the proof log.
func checkPasskeys(r Reads, said *said, b journal.Build, papers []signoff.Paper, add func(journal.BuildID, string, string, ...any)) error {
	events, err := r.Events(b.ID)
	if err != nil {
		return err
	}
	logged := map[string]string{}
	for _, e := range events {
		if e.Kind != "paper "+string(signoff.OutcomeSigned) && e.Kind != "paper "+string(signoff.OutcomeDeclined) {
			continue
		}
		var detail struct {
			Hash string `json:"passkey_sha256"` // not in events older than passkeys
		}
		if err := json.Unmarshal([]byte(e.Detail), &detail); err != nil {
			add(b.ID, e.Subject, "The record of a decision (event %d) cannot be read: %v.", e.Seq, err)
			continue
		}
		logged[e.Subject] = detail.Hash
	}
	for _, p := range papers {
		d, decided, err := absent(r.Decision(p.ID))
		if err != nil {
			return err
		}
		if !decided {
			continue
		}
		if err := d.VerifyPasskey(); err != nil {
			add(b.ID, string(p.ID), "The passkey's answer kept with the decision on %s %d does not confirm it: %v.", p.Kind, p.Number, err)
		}
		if passkeyHash(d) != logged[string(p.ID)] {
			add(b.ID, string(p.ID), "The passkey's answer kept with the decision on %s %d is not the one in the proof log.", p.Kind, p.Number)
		}
		if !said.hasAdded(d) {
			add(b.ID, string(p.ID), "The passkey that confirmed the decision on %s %d is not one that the person is recorded to have added before.", p.Kind, p.Number)
		}
	}
	return nil
}

// hasAdded reports whether the record says that the person who decided had added
// the passkey of the proof, with that key, by then; true without a proof, or with
// one that cannot be read, which is told elsewhere.
func (s *said) hasAdded(d signoff.Decision) bool {
	proof, ok, err := d.PasskeyProof()
	if err != nil || !ok {
		return true
	}
	added, known := s.added[proof.Credential]
	if !known || added.open() != nil {
		return false
	}
	key, err := json.Marshal(proof.PublicKey)
	return err == nil && added.Person == string(d.PersonID) && !added.At.After(d.At) && bytes.Equal(added.detail["public_key"], key)
}
