package flow_test

import (
	"crypto/ed25519"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/base64"
	"encoding/json"
	"slices"
	"strings"
	"testing"
	"time"

	"farbay/journal"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// key is a passkey of the test, for https://portal.example.
type key struct {
	private ed25519.PrivateKey
	new     flow.NewPasskey
}

// passkey adds a passkey to an actor's account. The credential the server keeps
// is any JSON to these steps.
func (y *yard) passkey(a flow.Actor, name string) key {
	y.t.Helper()
	public, private, err := ed25519.GenerateKey(rand.Reader)
	y.do(err)
	// A COSE key, RFC 9053 section 7.2: kty OKP, alg EdDSA, crv Ed25519, x.
	cose := append([]byte{0xa4, 1, 1, 3, 0x27, 0x20, 6, 0x21, 0x58, 32}, public...)
	k := key{private, flow.NewPasskey{ID: base64url(public[:9]), Name: name, Credential: `{"counter":0}`, PublicKey: base64url(cose)}}
	y.do(y.steps.AddPasskey(y.ctx, a, k.new))
	return k
}

func base64url(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

// answers has the key sign a challenge, as an authenticator does with its user
// verified (W3C Web Authentication Level 3, section 6.3.3).
func (k key) answers(t testing.TB, challenge []byte, nonce string) *flow.PasskeyAnswer {
	t.Helper()
	client, err := json.Marshal(map[string]any{"type": "webauthn.get", "challenge": base64url(challenge), "origin": "https://portal.example", "crossOrigin": false})
	if err != nil {
		t.Fatal(err)
	}
	party, sum := sha256.Sum256([]byte("portal.example")), sha256.Sum256(client)
	data := append(party[:], 5, 0, 0, 0, 1)
	return &flow.PasskeyAnswer{Before: k.new.Credential, After: `{"counter":1}`, Proof: signoff.PasskeyProof{
		Credential: k.new.ID, PublicKey: k.new.PublicKey, AuthenticatorData: base64url(data), ClientDataJSON: base64url(client),
		Signature: base64url(ed25519.Sign(k.private, slices.Concat(data, sum[:]))), Nonce: nonce, UserVerified: true,
	}}
}

// asked is what the server does before the browser asks the passkey.
func (y *yard) asked(a flow.Actor, p signoff.Paper, in flow.DecideInput, token string) flow.PasskeyAct {
	y.t.Helper()
	act := got(y.steps.PasskeyAct(y.ctx, a, p.BuildID, p.ID, in, "nonce-"+token))(y.t)
	y.do(y.steps.KeepPasskeyAsk(y.ctx, a, token, act.Subject, `{"kept":"`+token+`"}`))
	return act
}

func TestPasskey_ConfirmsADecision(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	k := y.passkey(y.ada, "my phone")
	p := y.sent(y.heron, y.pans(y.heron, 8))
	in := y.form(y.ada, p, signoff.OutcomeSigned)
	act := y.asked(y.ada, p, in, "t1")
	if data := got(y.steps.TakePasskeyAsk(y.ctx, y.ada, "t1", flow.PasskeySubject(p.ID, in)))(t); data != `{"kept":"t1"}` {
		t.Errorf("the ask holds %s", data)
	}
	in.Passkey = k.answers(t, act.Challenge, "nonce-t1")
	y.now = y.now.Add(time.Minute)
	d := got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, in))(t)
	proof, ok, err := d.PasskeyProof()
	if err != nil || !ok || proof.Name != "my phone" || proof.Credential != k.new.ID || d.VerifyPasskey() != nil {
		t.Errorf("the decision holds %q (%v)", d.Passkey, err)
	}
	kept := got(y.steps.Passkeys(y.ctx, y.ada))(t)
	if len(kept) != 1 || kept[0].Credential != `{"counter":1}` || !kept[0].UsedAt.Equal(y.now) {
		t.Errorf("the passkey is kept as %+v", kept)
	}
	signed := y.events(y.heron, "paper signed")
	// The SHA-256 of what is kept, as sha256sum prints it.
	if want := `"passkey_sha256":"` + signoff.Hash([]byte(d.Passkey)) + `"`; len(signed) != 1 || !strings.Contains(signed[0].Detail, want) {
		t.Errorf("the record has no %s: %+v", want, signed)
	}
	faults, _, err := y.steps.Check(y.ctx, func(string) error { return nil })
	if err != nil || len(faults) != 0 {
		t.Errorf("the check says %v, %v", faults, err)
	}
	// The same form sent twice is harmless, although its ask is used up.
	if again := got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, in))(t); again != d {
		t.Error("the second time it is another decision")
	}
}

func TestTakePasskeyAsk_Refusals(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.passkey(y.ada, "my phone")
	p, other := y.sent(y.heron, y.pans(y.heron, 8)), y.sent(y.heron, y.pans(y.heron, 9))
	in := y.form(y.ada, p, signoff.OutcomeSigned)
	subject := flow.PasskeySubject(p.ID, in)
	for name, try := range map[string]func() error{
		"used twice": func() error {
			got(y.steps.TakePasskeyAsk(y.ctx, y.ada, "t", subject))(t)
			_, err := y.steps.TakePasskeyAsk(y.ctx, y.ada, "t", subject)
			return err
		},
		"by another person": func() error {
			_, err := y.steps.TakePasskeyAsk(y.ctx, y.dell, "t", subject)
			return err
		},
		"for another paper": func() error {
			_, err := y.steps.TakePasskeyAsk(y.ctx, y.ada, "t", flow.PasskeySubject(other.ID, in))
			return err
		},
		"for another revision": func() error {
			later := in
			later.Revision++
			_, err := y.steps.TakePasskeyAsk(y.ctx, y.ada, "t", flow.PasskeySubject(p.ID, later))
			return err
		},
		"for other bytes": func() error {
			changed := in
			changed.SHA256 = strings.Repeat("0", 64)
			_, err := y.steps.TakePasskeyAsk(y.ctx, y.ada, "t", flow.PasskeySubject(p.ID, changed))
			return err
		},
		"for the other outcome": func() error {
			declining := in
			declining.Outcome = signoff.OutcomeDeclined
			_, err := y.steps.TakePasskeyAsk(y.ctx, y.ada, "t", flow.PasskeySubject(p.ID, declining))
			return err
		},
		"with a changed name": func() error {
			renamed := in
			renamed.TypedName = "Ada F."
			_, err := y.steps.TakePasskeyAsk(y.ctx, y.ada, "t", flow.PasskeySubject(p.ID, renamed))
			return err
		},
		"for adding a passkey": func() error {
			_, err := y.steps.TakePasskeyAsk(y.ctx, y.ada, "t", "")
			return err
		},
		"after five minutes": func() error {
			y.now = y.now.Add(5 * time.Minute)
			_, err := y.steps.TakePasskeyAsk(y.ctx, y.ada, "t", subject)
			return err
		},
		"never given out": func() error {
			got(y.steps.TakePasskeyAsk(y.ctx, y.ada, "t", subject))(t)
			_, err := y.steps.TakePasskeyAsk(y.ctx, y.ada, "u", subject)
			return err
		},
	} {
		t.Run(name, func(t *testing.T) {
			y.asked(y.ada, p, in, "t")
			refused(t, try(), journal.Conflict)
			// Whatever the try was, the ask is used up.
			_, err := y.steps.TakePasskeyAsk(y.ctx, y.ada, "t", subject)
			refused(t, err, journal.Conflict)
		})
	}
}

// What the step refuses although the server took the answer for good; nothing
// is recorded then, and the plain way stays open.
func TestDecide_PasskeyRefusals(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	y.agrees(y.dell)
	k, gone, dells := y.passkey(y.ada, "my phone"), y.passkey(y.ada, "the old one"), y.passkey(y.dell, "Dell's")
	p := y.sent(y.heron, y.pans(y.heron, 8))
	in := y.form(y.ada, p, signoff.OutcomeSigned)
	act := y.asked(y.ada, p, in, "t1")
	y.do(y.steps.EndPasskey(y.ctx, y.ada, gone.new.ID))
	refused(t, y.steps.EndPasskey(y.ctx, y.ada, gone.new.ID), journal.NotFound)
	refused(t, y.steps.EndPasskey(y.ctx, y.ada, dells.new.ID), journal.NotFound)
	for name, change := range map[string]func(*flow.DecideInput){
		"removed":          func(in *flow.DecideInput) { in.Passkey = gone.answers(t, act.Challenge, "nonce-t1") },
		"another person's": func(in *flow.DecideInput) { in.Passkey = dells.answers(t, act.Challenge, "nonce-t1") },
		"other nonce":      func(in *flow.DecideInput) { in.Passkey.Proof.Nonce = "nonce-t2" },
		"other name":       func(in *flow.DecideInput) { in.TypedName = "Ada F." },
		"other outcome":    func(in *flow.DecideInput) { in.Outcome, in.Reason = signoff.OutcomeDeclined, "No." },
		"used meanwhile":   func(in *flow.DecideInput) { in.Passkey.Before = `{"counter":7}` },
		"not verified":     func(in *flow.DecideInput) { in.Passkey.Proof.UserVerified = false },
		"other key":        func(in *flow.DecideInput) { in.Passkey.Proof.PublicKey = dells.new.PublicKey },
	} {
		t.Run(name, func(t *testing.T) {
			tried := in
			tried.Passkey = k.answers(t, act.Challenge, "nonce-t1")
			change(&tried)
			_, err := y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, tried)
			refused(t, err, journal.Conflict)
		})
	}
	if n := len(y.events(y.heron, "paper signed")) + len(y.events(y.heron, "paper declined")); n != 0 {
		t.Errorf("%d decisions recorded by refused acts", n)
	}
	if kept := got(y.steps.Passkeys(y.ctx, y.ada))(t); len(kept) != 1 || !kept[0].UsedAt.IsZero() {
		t.Errorf("a refused act used a passkey: %+v", kept)
	}
	refused(t, y.steps.RefuseCopiedPasskey(y.ctx, y.ada, y.heron, p.ID, k.new.ID, 7, 3), journal.Conflict)
	copied := y.events(y.heron, "passkey refused")
	if len(copied) != 1 || !strings.Contains(copied[0].Detail, `"counter_kept":7`) || !strings.Contains(copied[0].Detail, `"counter_sent":3`) {
		t.Errorf("recorded of a copied passkey: %+v", copied)
	}
	plain := got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, in))(t)
	if plain.Passkey != "" {
		t.Errorf("the plain way holds %q", plain.Passkey)
	}
	_, err := y.steps.PasskeyAct(y.ctx, y.ada, y.heron, p.ID, in, "n")
	refused(t, err, journal.Conflict) // decided
}

func TestPasskeyAct_Refusals(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	p := y.sent(y.heron, y.pans(y.heron, 8))
	in := y.form(y.ada, p, signoff.OutcomeSigned)
	_, err := y.steps.PasskeyAct(y.ctx, y.ada, y.heron, p.ID, in, "n")
	refused(t, err, journal.Conflict) // has none
	y.passkey(y.ada, "my phone")
	_, err = y.steps.PasskeyAct(y.ctx, y.ben, y.heron, p.ID, in, "n")
	refused(t, err, journal.NotFound)
	_, err = y.steps.PasskeyAct(y.ctx, y.office, y.heron, p.ID, in, "n")
	refused(t, err, journal.Forbidden)
	for name, change := range map[string]func(*flow.DecideInput){
		"revision": func(in *flow.DecideInput) { in.Revision = 2 },
		"bytes":    func(in *flow.DecideInput) { in.SHA256 = strings.Repeat("0", 64) },
	} {
		changed := in
		change(&changed)
		if _, err := y.steps.PasskeyAct(y.ctx, y.ada, y.heron, p.ID, changed, "n"); journal.CodeOf(err) != journal.Conflict {
			t.Errorf("other %s: %v", name, err)
		}
	}
	in.TypedName = ""
	_, err = y.steps.PasskeyAct(y.ctx, y.ada, y.heron, p.ID, in, "n")
	refused(t, err, journal.Invalid, "name")
}

func TestAddPasskey_Refusals(t *testing.T) {
	y := newYard(t)
	first := y.passkey(y.ada, "my phone")
	refused(t, y.steps.AddPasskey(y.ctx, y.ada, first.new), journal.Conflict)
	refused(t, y.steps.AddPasskey(y.ctx, y.jory, flow.NewPasskey{ID: "x", Name: "mine", Credential: "{}"}), journal.Forbidden)
	refused(t, y.steps.AddPasskey(y.ctx, y.ada, flow.NewPasskey{ID: "x", Name: "", Credential: "{}"}), journal.Invalid, "name")
	for range flow.MaxPasskeys - 1 {
		y.passkey(y.ada, "another")
	}
	refused(t, y.steps.AddPasskey(y.ctx, y.ada, flow.NewPasskey{ID: "x", Name: "one more", Credential: "{}"}), journal.Conflict)
	added := y.events("", "passkey added")
	if len(added) != flow.MaxPasskeys || !strings.Contains(added[0].Detail, first.new.PublicKey) {
		t.Errorf("%d passkeys recorded, the first as %+v", len(added), added[0])
	}
}

// The database is edited behind the program's back: the proof is taken away, put
// in another's place, or one bit of it is changed, its name and id included.
func TestCheck_PasskeyChanged(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	k := y.passkey(y.ada, "my phone")
	p := y.sent(y.heron, y.pans(y.heron, 8))
	in := y.form(y.ada, p, signoff.OutcomeSigned)
	in.Passkey = k.answers(t, y.asked(y.ada, p, in, "t1").Challenge, "nonce-t1")
	d := got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, in))(t)

	behind, err := sql.Open("sqlite3", y.path)
	y.do(err)
	defer behind.Close()
	var trigger string
	y.do(behind.QueryRow("SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'decisions' AND sql LIKE '%BEFORE UPDATE%'").Scan(&trigger))
	_, err = behind.Exec("DROP TRIGGER " + trigger)
	y.do(err)
	for name, text := range map[string]string{
		"taken away": "", "other name": strings.Replace(d.Passkey, "my phone", "my phonf", 1),
		"other id":        strings.Replace(d.Passkey, `"credential":"`, `"credential":"A`, 1),
		"not verified":    strings.Replace(d.Passkey, "true", "false", 1),
		"other signature": strings.Replace(d.Passkey, `"signature":"`, `"signature":"A`, 1),
		"unchanged":       d.Passkey,
	} {
		_, err := behind.Exec("UPDATE decisions SET passkey = ? WHERE paper_id = ?", text, p.ID)
		y.do(err)
		faults, _, err := y.steps.Check(y.ctx, func(string) error { return nil })
		y.do(err)
		if (text != d.Passkey) != (len(faults) > 0) {
			t.Errorf("%s: the check says %v", name, faults)
		}
		for _, f := range faults {
			if f.Subject != string(p.ID) || !strings.Contains(f.Text, "passkey") {
				t.Errorf("%s: the check says %+v", name, f)
			}
		}
	}
}

// A proof by a key that the person never added, under the id of one they did:
// the signature is good, and the record does not know the key.
func TestCheck_PasskeyNeverAdded(t *testing.T) {
	y := newYard(t)
	y.agree(y.heron)
	y.agrees(y.ada)
	k, other := y.passkey(y.ada, "my phone"), y.passkey(y.ben, "a phone")
	p := y.sent(y.heron, y.pans(y.heron, 8))
	in := y.form(y.ada, p, signoff.OutcomeSigned)
	other.new.ID, other.new.Credential = k.new.ID, k.new.Credential
	in.Passkey = other.answers(t, y.asked(y.ada, p, in, "t1").Challenge, "nonce-t1")
	got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, in))(t)
	faults, _, err := y.steps.Check(y.ctx, func(string) error { return nil })
	y.do(err)
	if len(faults) != 1 || faults[0].Subject != string(p.ID) || !strings.Contains(faults[0].Text, "is recorded to have added") {
		t.Errorf("the check says %+v", faults)
	}
}
