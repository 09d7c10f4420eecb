package signoff_test

import (
	"bytes"
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/rsa"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"strings"
	"testing"

	"farbay/journal/signoff"
)

func base64url(b []byte) string { return base64.RawURLEncoding.EncodeToString(b) }

// The authentication examples of W3C Web Authentication Level 3, section 16; see
// testdata/passkey_vectors.txt.
func TestPasskeyProof_PublishedVectors(t *testing.T) {
	text, err := os.ReadFile("testdata/passkey_vectors.json")
	if err != nil {
		t.Fatal(err)
	}
	var vectors []map[string]string
	if err := json.Unmarshal(text, &vectors); err != nil || len(vectors) != 3 {
		t.Fatalf("%d vectors, %v", len(vectors), err)
	}
	for _, v := range vectors {
		t.Run(v["section"], func(t *testing.T) {
			field := func(name string) []byte {
				b, err := hex.DecodeString(v[name])
				if err != nil || len(b) == 0 {
					t.Fatalf("%s: %v", name, err)
				}
				return b
			}
			authenticator := field("authenticatorData")
			p := signoff.PasskeyProof{
				Credential: base64url(field("credentialID")), PublicKey: base64url(field("credentialPubKey")),
				AuthenticatorData: base64url(authenticator), ClientDataJSON: base64url(field("clientDataJSON")),
				Signature: base64url(field("signature")), UserVerified: authenticator[32]&4 != 0,
			}
			challenge := field("challenge")
			if err := p.Verify(challenge); err != nil {
				t.Fatal(err)
			}
			for name, member := range map[string]*string{
				"public key": &p.PublicKey, "authenticator data": &p.AuthenticatorData, "client data": &p.ClientDataJSON, "signature": &p.Signature,
			} {
				kept := *member
				raw, err := base64.RawURLEncoding.DecodeString(kept)
				if err != nil {
					t.Fatal(err)
				}
				every := 1
				if len(raw) > 300 { // RSA, which is slow: each modulus is prepared anew
					every = 61
				}
				for bit := 0; bit < len(raw)*8; bit += every {
					raw[bit/8] ^= 1 << (bit % 8)
					*member = base64url(raw)
					if p.Verify(challenge) == nil {
						t.Errorf("bit %d of the %s may be changed", bit, name)
					}
					raw[bit/8] ^= 1 << (bit % 8)
				}
				*member = kept
			}
			challenge[0] ^= 1
			if p.Verify(challenge) == nil {
				t.Error("another challenge is taken")
			}
		})
	}
}

// The value was printed by the command of the doc comment, with OpenSSL 3 and
// basenc of GNU coreutils.
func TestPasskeyChallenge_KnownAnswer(t *testing.T) {
	got, err := signoff.PasskeyChallenge(strings.Repeat("ab", 32), signoff.OutcomeSigned, "Zoë Finch", "I agree to this change and its cost.", "bm9uY2U")
	if err != nil || base64url(got) != "nb0kjkbOGUxW4zRBOJbUB04sC-HjFCgCVUOigyHR3kg" {
		t.Errorf("the challenge is %s, %v", base64url(got), err)
	}
	for _, bad := range [][5]string{
		{"", "signed", "Zoë", "I agree.", "n"}, {"ab", "", "Zoë", "I agree.", "n"}, {"ab", "signed", "Zoë\nFinch", "I agree.", "n"},
		{"ab", "signed", "Zoë", "", "n"}, {"ab", "signed", "Zoë", "I agree.", ""},
	} {
		if _, err := signoff.PasskeyChallenge(bad[0], signoff.Outcome(bad[1]), bad[2], bad[3], bad[4]); err == nil {
			t.Errorf("%q has a challenge", bad)
		}
	}
}

// softKey is a passkey made by the test: a COSE key and how it signs.
type softKey struct {
	cose []byte
	sign func(data []byte) []byte
}

// softKeys makes one of each kind. COSE keys as in RFC 9053 sections 7.1 and
// 7.2 and RFC 8230 section 4.
func softKeys(t testing.TB) map[string]softKey {
	t.Helper()
	must := func(b []byte, err error) []byte {
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	ec, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	point := must(ec.PublicKey.Bytes())
	edPublic, ed, err := ed25519.GenerateKey(rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	rs, err := rsa.GenerateKey(rand.Reader, 2048)
	if err != nil {
		t.Fatal(err)
	}
	join := func(parts ...[]byte) []byte { return bytes.Join(parts, nil) }
	return map[string]softKey{
		"ES256": {join([]byte{0xa5, 1, 2, 3, 0x26, 0x20, 1, 0x21, 0x58, 32}, point[1:33], []byte{0x22, 0x58, 32}, point[33:]), func(data []byte) []byte {
			sum := sha256.Sum256(data)
			return must(ecdsa.SignASN1(rand.Reader, ec, sum[:]))
		}},
		"EdDSA": {join([]byte{0xa4, 1, 1, 3, 0x27, 0x20, 6, 0x21, 0x58, 32}, edPublic), func(data []byte) []byte { return ed25519.Sign(ed, data) }},
		"RS256": {join([]byte{0xa4, 1, 3, 3, 0x39, 1, 0, 0x20, 0x59, 1, 0}, rs.N.Bytes(), []byte{0x21, 0x43, 1, 0, 1}), func(data []byte) []byte {
			sum := sha256.Sum256(data)
			return must(rsa.SignPKCS1v15(rand.Reader, rs, crypto.SHA256, sum[:]))
		}},
	}
}

// confirmed is a decision confirmed by the key. change may spoil what is signed.
func confirmed(t testing.TB, key softKey, change func(client map[string]any, authenticator []byte)) signoff.Decision {
	t.Helper()
	d := signoff.Decision{SHA256: strings.Repeat("0c", 32), Outcome: signoff.OutcomeSigned, TypedName: "Ada Finch", Sentence: "I agree."}
	p := signoff.PasskeyProof{Credential: "Y3JlZA", Name: "my phone", PublicKey: base64url(key.cose), Nonce: "bm9uY2U", UserVerified: true}
	challenge, err := signoff.PasskeyChallenge(d.SHA256, d.Outcome, d.TypedName, d.Sentence, p.Nonce)
	if err != nil {
		t.Fatal(err)
	}
	client := map[string]any{"type": "webauthn.get", "challenge": base64url(challenge), "origin": "https://portal.example:8443", "crossOrigin": false}
	party := sha256.Sum256([]byte("portal.example"))
	authenticator := append(party[:], 0x05, 0, 0, 0, 7)
	if change != nil {
		change(client, authenticator)
	}
	text, err := json.Marshal(client)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(text)
	p.AuthenticatorData, p.ClientDataJSON = base64url(authenticator), base64url(text)
	p.Signature = base64url(key.sign(append(bytes.Clone(authenticator), sum[:]...)))
	if d.Passkey, err = p.Text(); err != nil {
		t.Fatal(err)
	}
	return d
}

// Any bit of what is kept that is changed is caught by the decision alone, but
// for those of the passkey's name and credential id, which no key signs; the
// check against the proof log catches those (package flow).
func TestVerifyPasskey_OneBit(t *testing.T) {
	for kind, key := range softKeys(t) {
		t.Run(kind, func(t *testing.T) {
			d := confirmed(t, key, nil)
			if err := d.VerifyPasskey(); err != nil {
				t.Fatal(err)
			}
			kept, ok, err := d.PasskeyProof()
			if err != nil || !ok {
				t.Fatal(err)
			}
			text, unsigned := []byte(d.Passkey), 0
			for bit := range len(text) * 8 {
				text[bit/8] ^= 1 << (bit % 8)
				d.Passkey = string(text)
				if d.VerifyPasskey() == nil {
					p, _, err := d.PasskeyProof()
					p.Name, p.Credential = kept.Name, kept.Credential
					if err != nil || p != kept {
						t.Errorf("bit %d of %s may be changed", bit, text)
					}
					unsigned++
				}
				text[bit/8] ^= 1 << (bit % 8)
			}
			if most := 8 * len(kept.Name+kept.Credential); unsigned > most {
				t.Errorf("%d bits may be changed, and the name and the id have %d", unsigned, most)
			}
			d.Passkey = string(text)
			for name, change := range map[string]func(*signoff.Decision){
				"hash":     func(d *signoff.Decision) { d.SHA256 = strings.Repeat("0d", 32) },
				"outcome":  func(d *signoff.Decision) { d.Outcome = signoff.OutcomeDeclined },
				"name":     func(d *signoff.Decision) { d.TypedName = "Ada Finch." },
				"sentence": func(d *signoff.Decision) { d.Sentence = "I agree to all." },
			} {
				other := d
				change(&other)
				if other.VerifyPasskey() == nil {
					t.Errorf("the proof is taken with another %s", name)
				}
			}
		})
	}
}

// What a key did sign, and is yet no confirmation.
func TestVerifyPasskey_Refuses(t *testing.T) {
	key := softKeys(t)["ES256"]
	for name, change := range map[string]func(map[string]any, []byte){
		"made for adding a passkey": func(c map[string]any, _ []byte) { c["type"] = "webauthn.create" },
		"inside another site":       func(c map[string]any, _ []byte) { c["crossOrigin"] = true },
		"another site":              func(c map[string]any, _ []byte) { c["origin"] = "https://portal.example.net" },
		"no origin":                 func(c map[string]any, _ []byte) { delete(c, "origin") },
		"another challenge":         func(c map[string]any, _ []byte) { c["challenge"] = "AAAA" },
		"nobody there":              func(_ map[string]any, a []byte) { a[32] &^= 1 },
		"not verified":              func(_ map[string]any, a []byte) { a[32] &^= 4 },
		"another party's key":       func(_ map[string]any, a []byte) { a[0] ^= 1 },
	} {
		if confirmed(t, key, change).VerifyPasskey() == nil {
			t.Errorf("taken: %s", name)
		}
	}
	if err := confirmed(t, key, func(map[string]any, []byte) {}).VerifyPasskey(); err != nil {
		t.Errorf("unspoilt: %v", err)
	}
	if err := (signoff.Decision{TypedName: "Ada Finch"}).VerifyPasskey(); err != nil {
		t.Errorf("no proof at all: %v", err)
	}
}

// Keys must not be read in two ways, and no bytes may crash the reader.
func FuzzPasskeyProof_Key(f *testing.F) {
	for _, key := range softKeys(f) {
		f.Add(key.cose)
	}
	f.Add([]byte{0xbf, 0xff})
	f.Add([]byte{0xa1, 1, 0x5a, 0xff, 0xff, 0xff, 0xff})
	good := confirmed(f, softKeys(f)["EdDSA"], nil)
	kept, _, err := good.PasskeyProof()
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, key []byte) {
		p := kept
		p.PublicKey = base64url(key)
		challenge, err := signoff.PasskeyChallenge(good.SHA256, good.Outcome, good.TypedName, good.Sentence, p.Nonce)
		if err != nil {
			t.Fatal(err)
		}
		if err := p.Verify(challenge); err == nil && p.PublicKey != kept.PublicKey {
			t.Errorf("the key %s verifies what it did not sign", fmt.Sprintf("%x", key))
		}
	})
}
