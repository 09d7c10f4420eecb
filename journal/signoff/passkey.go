package signoff

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"strings"
)

// PasskeyProof is how a passkey confirmed a decision, kept with it in
// [Decision.Passkey]. All bytes are in base64url without padding (RFC 4648,
// section 5).
type PasskeyProof struct {
	Credential        string `json:"credential"` // id of the WebAuthn credential
	Name              string `json:"name"`       // as the person calls the passkey
	PublicKey         string `json:"public_key"` // COSE_Key
	AuthenticatorData string `json:"authenticator_data"`
	ClientDataJSON    string `json:"client_data_json"`
	Signature         string `json:"signature"`
	Nonce             string `json:"nonce"` // chosen by the shop's server for this one act
	UserVerified      bool   `json:"user_verified"`
}

// passkeyDomain is the first line of what a challenge commits to, so that it
// can be taken for nothing else.
const passkeyDomain = "farbay passkey confirmation v1"

// PasskeyChallenge returns the 32 bytes that a passkey is asked to sign to
// confirm an act: the SHA-256 of six lines, each ended by one line feed (0x0A),
// in UTF-8: the words "farbay passkey confirmation v1"; the hash of the paper's
// bytes in lower-case hex; the outcome, "signed" or "declined"; the typed name;
// the act's sentence; and the nonce. With these in shell variables,
//
//	printf '%s\n' 'farbay passkey confirmation v1' "$SHA256" signed "$NAME" "$SENTENCE" "$NONCE" |
//	  openssl dgst -sha256 -binary | basenc --base64url | tr -d =
//
// prints what stands as "challenge" in clientDataJSON. The hash covers amounts,
// dates and photos, for they are in the paper's bytes. The reason of a declining
// and the wish for replaced parts are not covered.
//
// It returns an error when a line is empty or holds a line feed itself, since
// the lines could then be read in two ways.
func PasskeyChallenge(sha256Hex string, outcome Outcome, name, sentence, nonce string) ([]byte, error) {
	lines := []string{passkeyDomain, sha256Hex, string(outcome), name, sentence, nonce}
	for _, line := range lines {
		if line == "" || strings.Contains(line, "\n") {
			return nil, fmt.Errorf("signoff: passkey challenge: %q is not one line", line)
		}
	}
	sum := sha256.Sum256([]byte(strings.Join(lines, "\n") + "\n"))
	return sum[:], nil
}

// Text returns the form in which the proof is kept: canonical JSON.
func (p PasskeyProof) Text() (string, error) {
	text, err := canonical(p)
	return string(text), err
}

// ParsePasskeyProof reads what [PasskeyProof.Text] wrote. It returns an error
// for any other spelling, even one of the same meaning.
func ParsePasskeyProof(text string) (p PasskeyProof, err error) {
	if err := json.Unmarshal([]byte(text), &p); err != nil {
		return p, fmt.Errorf("signoff: passkey proof: %w", err)
	}
	again, err := p.Text()
	if err == nil && again != text {
		err = errors.New("signoff: passkey proof: not in its canonical form")
	}
	return p, err
}

// PasskeyProof returns how a passkey confirmed the decision; ok is false if none
// did. It checks nothing; see [Decision.VerifyPasskey].
func (d Decision) PasskeyProof() (p PasskeyProof, ok bool, err error) {
	if d.Passkey == "" {
		return p, false, nil
	}
	p, err = ParsePasskeyProof(d.Passkey)
	return p, err == nil, err
}

// VerifyPasskey checks, with nothing but the decision itself, that the key in its
// proof signed this act: that the challenge computed from the decision is the
// one in clientDataJSON, and the rest of [PasskeyProof.Verify]. A decision
// without a proof passes.
//
// What no key signs is the passkey's name and its credential id: they are the
// shop's word, which the proof log holds by the hash of [Decision.Passkey].
// Neither does it show whose key it is: that is the shop's word as well.
func (d Decision) VerifyPasskey() error {
	p, ok, err := d.PasskeyProof()
	if err != nil || !ok {
		return err
	}
	challenge, err := PasskeyChallenge(d.SHA256, d.Outcome, d.TypedName, d.Sentence, p.Nonce)
	if err != nil {
		return err
	}
	return p.Verify(challenge)
}

// clientData is what of clientDataJSON counts (WebAuthn, section 5.8.1).
type clientData struct {
	Type        string `json:"type"`
	Challenge   string `json:"challenge"`
	Origin      string `json:"origin"`
	CrossOrigin bool   `json:"crossOrigin"`
}

// Flags of the authenticator data (WebAuthn, section 6.1).
const (
	flagUserPresent  = 0x01
	flagUserVerified = 0x04
)

// Verify checks a passkey's answer to a challenge, as in WebAuthn section 7.2:
// clientDataJSON is of an assertion, holds the challenge, and comes from no
// foreign frame; the authenticator data are for the host of that origin, say
// that somebody was there, and say of user verification what the proof says;
// the signature over authenticatorData || SHA-256(clientDataJSON) is the
// key's. Keys are ES256 (P-256), EdDSA (Ed25519) and RS256.
//
// It does not know which origin is the shop's: the server checked that. Pure.
//
// Source: https://www.w3.org/TR/webauthn-3/#sctn-verifying-assertion
func (p PasskeyProof) Verify(challenge []byte) error {
	var key, authenticator, client, signature []byte
	for _, one := range []struct {
		name, text string
		into       *[]byte
	}{
		{"public key", p.PublicKey, &key}, {"authenticator data", p.AuthenticatorData, &authenticator},
		{"client data", p.ClientDataJSON, &client}, {"signature", p.Signature, &signature},
	} {
		var err error
		// Strict: unused bits must be zero, so that bytes have one spelling.
		if *one.into, err = base64.RawURLEncoding.Strict().DecodeString(one.text); err != nil {
			return fmt.Errorf("signoff: passkey: the %s: %w", one.name, err)
		}
	}
	origin, err := checkClientData(client, challenge)
	if err != nil {
		return err
	}
	if err := checkAuthenticator(authenticator, origin, p.UserVerified); err != nil {
		return err
	}
	signed, err := readKey(key)
	if err != nil {
		return err
	}
	sum := sha256.Sum256(client)
	if !signed(append(bytes.Clone(authenticator), sum[:]...), signature) {
		return errors.New("signoff: passkey: the signature is not the key's over these data")
	}
	return nil
}

// checkClientData returns the host of the origin.
func checkClientData(text, challenge []byte) (host string, err error) {
	var c clientData
	if err := json.Unmarshal(text, &c); err != nil {
		return "", fmt.Errorf("signoff: passkey: the client data: %w", err)
	}
	switch {
	case c.Type != "webauthn.get":
		return "", fmt.Errorf("signoff: passkey: the client data are of %q, not of a confirmation", c.Type)
	case c.Challenge != base64.RawURLEncoding.EncodeToString(challenge):
		return "", errors.New("signoff: passkey: what was signed is not this act")
	case c.CrossOrigin:
		return "", errors.New("signoff: passkey: it was signed inside another site's page")
	}
	u, err := url.Parse(c.Origin)
	if err != nil || u.Hostname() == "" {
		return "", fmt.Errorf("signoff: passkey: the origin %q has no host", c.Origin)
	}
	return u.Hostname(), nil
}

func checkAuthenticator(data []byte, host string, verified bool) error {
	if len(data) < 37 { // hash of the relying party's id, flags, counter
		return errors.New("signoff: passkey: the authenticator data are too short")
	}
	party := sha256.Sum256([]byte(host))
	flags := data[32]
	switch {
	case !bytes.Equal(data[:32], party[:]):
		return fmt.Errorf("signoff: passkey: the key is not one for %s", host)
	case flags&flagUserPresent == 0:
		return errors.New("signoff: passkey: nobody was there when it was signed")
	case (flags&flagUserVerified != 0) != verified:
		return errors.New("signoff: passkey: what is kept of the user's verification is not what was signed")
	}
	return nil
}
