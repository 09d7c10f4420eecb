package prooflog

import (
	"fmt"
	"io"

	"golang.org/x/mod/sumdb/note"
)

// Key signs checkpoints. It is an Ed25519 key in the text forms of
// c2sp.org/signed-note.
type Key struct {
	signer note.Signer
	public string
}

// NewKey makes a key for a log of this name from a source of randomness and
// returns its secret text, which is to be kept as a password is. The name must
// hold no blank and no plus sign.
func NewKey(random io.Reader, name string) (secret string, key Key, err error) {
	secret, public, err := note.GenerateKey(random, name)
	if err != nil {
		return "", Key{}, fmt.Errorf("prooflog: make a key: %w", err)
	}
	signer, err := note.NewSigner(secret)
	if err != nil {
		return "", Key{}, fmt.Errorf("prooflog: make a key for %q: %w", name, err)
	}
	return secret, Key{signer, public}, nil
}

// OpenKey reads the secret and public texts of a key, and checks that the one
// belongs to the other.
func OpenKey(secret, public string) (Key, error) {
	signer, err := note.NewSigner(secret)
	if err != nil {
		return Key{}, fmt.Errorf("prooflog: secret key: %w", err)
	}
	verifier, err := note.NewVerifier(public)
	if err != nil {
		return Key{}, fmt.Errorf("prooflog: public key: %w", err)
	}
	const probe = "does one belong to the other?\n"
	signed, err := note.Sign(&note.Note{Text: probe}, signer)
	if err != nil {
		return Key{}, fmt.Errorf("prooflog: secret key: %w", err)
	}
	if _, err := note.Open(signed, note.VerifierList(verifier)); err != nil {
		return Key{}, fmt.Errorf("prooflog: the secret key is not that of the public one: %w", err)
	}
	return Key{signer, public}, nil
}

// Public is the key's public text: its name, a short hash and the key itself.
func (k Key) Public() string { return k.public }

// Name is the log's name.
func (k Key) Name() string { return k.signer.Name() }
