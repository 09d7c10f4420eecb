package server

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"fmt"
	"strings"
	"unicode/utf8"

	"golang.org/x/crypto/argon2"
	"golang.org/x/text/unicode/norm"

	"farbay/journal"
)

// argonCost is what one hash costs.
type argonCost struct {
	passes      uint32
	memoryKiB   uint32
	parallelism uint8
}

// passwordCost is the first of the settings that the OWASP Password Storage
// Cheat Sheet gives for Argon2id, all of equal strength: m = 46 MiB, t = 1,
// p = 1. RFC 9106, section 4, recommends more memory or passes where a machine
// has them to spare; this one also makes photos. The cost is kept with each
// hash, so it can be raised later without asking anybody for a new password.
// Salt and tag have the lengths of RFC 9106, section 4: 128 and 256 bits.
var passwordCost = argonCost{passes: 1, memoryKiB: 46 * 1024, parallelism: 1}

const (
	saltBytes = 16
	tagBytes  = 32
)

// Bounds of a password, in characters. NIST SP 800-63B-4, section 3.1.1.2, asks
// for 15 when the password is all there is; no rules of composition.
const (
	minPassword = 15
	maxPassword = 200
)

// passwords hashes and compares passwords. At most as many hashes are worked
// out at once as it has places, since each takes 46 MiB.
type passwords struct {
	places chan struct{}
	dummy  string // stands in for the hash of no account, so that the answer takes as long
}

func newPasswords(places int) (*passwords, error) {
	nobody := make([]byte, saltBytes+tagBytes)
	if _, err := rand.Read(nobody); err != nil {
		return nil, fmt.Errorf("server: dummy hash: %w", err)
	}
	return &passwords{
		places: make(chan struct{}, places),
		dummy:  encodeHash(passwordCost, nobody[:saltBytes], nobody[saltBytes:]),
	}, nil
}

// hash returns the encoded form of a password:
//
//	$argon2id$v=19$m=47104,t=1,p=1$<salt>$<tag>
//
// with salt and tag in base64 without padding, as the reference implementation
// writes it. It fails only when ctx ends while waiting for a place.
func (p *passwords) hash(ctx context.Context, password string) (string, error) {
	salt := make([]byte, saltBytes)
	if _, err := rand.Read(salt); err != nil {
		return "", fmt.Errorf("server: salt: %w", err)
	}
	tag, err := p.tag(ctx, password, salt, passwordCost, tagBytes)
	if err != nil {
		return "", err
	}
	return encodeHash(passwordCost, salt, tag), nil
}

// matches reports whether encoded is the hash of password. An empty encoded
// stands for no account: the same work is done and the answer is no.
//
// It fails when encoded cannot be read, or ctx ends while waiting for a place.
func (p *passwords) matches(ctx context.Context, password, encoded string) (bool, error) {
	known := encoded != ""
	if !known {
		encoded = p.dummy
	}
	cost, salt, want, err := decodeHash(encoded)
	if err != nil {
		return false, err
	}
	got, err := p.tag(ctx, password, salt, cost, uint32(len(want)))
	if err != nil {
		return false, err
	}
	return subtle.ConstantTimeCompare(got, want) == 1 && known, nil
}

func (p *passwords) tag(ctx context.Context, password string, salt []byte, c argonCost, length uint32) ([]byte, error) {
	select {
	case p.places <- struct{}{}:
		defer func() { <-p.places }()
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	// Keyboards differ in how they compose letters with accents; NFC makes
	// them one (NIST SP 800-63B-4, section 3.1.1.2, asks for NFC or NFKC).
	return argon2.IDKey([]byte(norm.NFC.String(password)), salt, c.passes, c.memoryKiB, c.parallelism, length), nil
}

func encodeHash(c argonCost, salt, tag []byte) string {
	return fmt.Sprintf("$argon2id$v=%d$m=%d,t=%d,p=%d$%s$%s", argon2.Version, c.memoryKiB, c.passes, c.parallelism,
		base64.RawStdEncoding.EncodeToString(salt), base64.RawStdEncoding.EncodeToString(tag))
}

func decodeHash(encoded string) (c argonCost, salt, tag []byte, err error) {
	unread := func(why string) (argonCost, []byte, []byte, error) {
		return argonCost{}, nil, nil, fmt.Errorf("server: stored password hash: %s", why)
	}
	parts := strings.Split(encoded, "$")
	if len(parts) != 6 || parts[0] != "" || parts[1] != "argon2id" {
		return unread("not in the form of argon2id")
	}
	if parts[2] != fmt.Sprintf("v=%d", argon2.Version) {
		return unread("another version than 19")
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &c.memoryKiB, &c.passes, &c.parallelism); err != nil ||
		c.passes < 1 || c.parallelism < 1 || c.memoryKiB > 4<<20 {
		return unread("cost cannot be read")
	}
	salt, saltErr := base64.RawStdEncoding.DecodeString(parts[4])
	tag, tagErr := base64.RawStdEncoding.DecodeString(parts[5])
	if saltErr != nil || tagErr != nil || len(tag) < 16 {
		return unread("salt or tag cannot be read")
	}
	return c, salt, tag, nil
}

// checkPassword records in bad what is wrong with a new password.
func checkPassword(bad journal.Problems, password string, p journal.Person) {
	lower := strings.ToLower(password)
	switch n := utf8.RuneCountInString(password); {
	case !utf8.ValidString(password):
		bad.Add("password", "Please use letters, digits, blanks and signs only.")
	case n < minPassword:
		bad.Add("password", "Please use at least %d characters; a few words in a row make a good password.", minPassword)
	case n > maxPassword:
		bad.Add("password", "Please use at most %d characters.", maxPassword)
	case lower == p.Email || lower == strings.ToLower(p.Name):
		bad.Add("password", "Please do not use the name or the e-mail address as the password.")
	case strings.Trim(lower, string([]rune(lower)[:1])) == "":
		bad.Add("password", "Please do not use one character over and over.")
	}
}
