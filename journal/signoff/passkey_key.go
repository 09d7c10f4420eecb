package signoff

import (
	"crypto"
	"crypto/ecdsa"
	"crypto/ed25519"
	"crypto/elliptic"
	"crypto/rsa"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"math/big"
)

// Labels and values of COSE keys (RFC 9052 section 7, RFC 9053 sections 2 and 7,
// RFC 8230 section 4, RFC 8812 section 2).
const (
	coseKind, coseAlgorithm, coseCurve, coseX, coseY = 1, 3, -1, -2, -3
	coseModulus, coseExponent                        = -1, -2

	coseOKP, coseEC2, coseRSA        = 1, 2, 3
	coseES256, coseEdDSA, coseRS256  = -7, -8, -257
	coseP256, coseEd25519            = 1, 6
	leastModulusBits, mostModulusBit = 2048, 8192
)

// CheckPasskeyKey returns an error for a COSE_Key whose signatures
// [PasskeyProof.Verify] would never take.
func CheckPasskeyKey(key []byte) error {
	_, err := readKey(key)
	return err
}

// readKey returns how to check signatures over data by a COSE_Key. Those of
// ES256 are ASN.1 DER, of EdDSA 64 bytes, of RS256 PKCS #1 v1.5 (WebAuthn,
// section 6.5.5).
func readKey(key []byte) (signed func(data, signature []byte) bool, err error) {
	members, err := parseCOSE(key)
	if err != nil {
		return nil, err
	}
	switch {
	case members.is(map[int64]int64{coseKind: coseEC2, coseAlgorithm: coseES256, coseCurve: coseP256}, coseX, coseY):
		public, err := ecdsa.ParseUncompressedPublicKey(elliptic.P256(), append(append([]byte{4}, members.bytes[coseX]...), members.bytes[coseY]...))
		if err != nil {
			return nil, fmt.Errorf("signoff: passkey: the key: %w", err)
		}
		return func(data, signature []byte) bool {
			sum := sha256.Sum256(data)
			return ecdsa.VerifyASN1(public, sum[:], signature)
		}, nil
	case members.is(map[int64]int64{coseKind: coseOKP, coseAlgorithm: coseEdDSA, coseCurve: coseEd25519}, coseX) &&
		len(members.bytes[coseX]) == ed25519.PublicKeySize:
		return func(data, signature []byte) bool { return ed25519.Verify(members.bytes[coseX], data, signature) }, nil
	case members.is(map[int64]int64{coseKind: coseRSA, coseAlgorithm: coseRS256}, coseModulus, coseExponent):
		public, err := rsaKey(members.bytes[coseModulus], members.bytes[coseExponent])
		if err != nil {
			return nil, err
		}
		return func(data, signature []byte) bool {
			sum := sha256.Sum256(data)
			return rsa.VerifyPKCS1v15(public, crypto.SHA256, sum[:], signature) == nil
		}, nil
	}
	return nil, errors.New("signoff: passkey: the key is of no kind that is taken here (ES256, EdDSA, RS256)")
}

func rsaKey(modulus, exponent []byte) (*rsa.PublicKey, error) {
	n := new(big.Int).SetBytes(modulus)
	if n.BitLen() < leastModulusBits || n.BitLen() > mostModulusBit || len(exponent) == 0 || len(exponent) > 4 {
		return nil, errors.New("signoff: passkey: the RSA key is too short or too long")
	}
	var e [4]byte
	copy(e[4-len(exponent):], exponent)
	return &rsa.PublicKey{N: n, E: int(binary.BigEndian.Uint32(e[:]))}, nil
}

// coseKey holds a key's members: whole numbers and byte strings by label.
type coseKey struct {
	numbers map[int64]int64
	bytes   map[int64][]byte
}

// is reports whether the key has exactly these numbers and these byte strings.
func (k coseKey) is(numbers map[int64]int64, strings ...int64) bool {
	if len(k.numbers) != len(numbers) || len(k.bytes) != len(strings) {
		return false
	}
	for label, want := range numbers {
		if got, there := k.numbers[label]; !there || got != want {
			return false
		}
	}
	for _, label := range strings {
		if _, there := k.bytes[label]; !there {
			return false
		}
	}
	return true
}

// CBOR's major types that a key is made of (RFC 8949, section 3.1).
const (
	cborUnsigned, cborNegative, cborBytes, cborMap = 0, 1, 2, 5
)

// parseCOSE reads a COSE_Key: one CBOR map from whole numbers to whole numbers
// or byte strings, in the one spelling that authenticators must use (CTAP2
// canonical CBOR: shortest lengths, nothing indefinite), and nothing after it.
func parseCOSE(b []byte) (coseKey, error) {
	k := coseKey{numbers: map[int64]int64{}, bytes: map[int64][]byte{}}
	bad := errors.New("signoff: passkey: the key is no COSE key")
	major, pairs, b, ok := cborHead(b)
	if !ok || major != cborMap || pairs > 16 {
		return k, bad
	}
	for range pairs {
		var label, value uint64
		if major, label, b, ok = cborHead(b); !ok || major > cborNegative {
			return k, bad
		}
		at := cborNumber(major, label)
		if _, twice := k.numbers[at]; twice || k.bytes[at] != nil {
			return k, bad
		}
		major, value, b, ok = cborHead(b)
		switch {
		case !ok || major > cborBytes || major == cborBytes && value > uint64(len(b)):
			return k, bad
		case major == cborBytes:
			k.bytes[at] = append([]byte{}, b[:value]...)
			b = b[value:]
		default:
			k.numbers[at] = cborNumber(major, value)
		}
	}
	if len(b) != 0 {
		return k, bad
	}
	return k, nil
}

// cborNumber returns a whole number; its argument is below 2^32.
func cborNumber(major byte, argument uint64) int64 {
	if major == cborNegative {
		return -1 - int64(argument)
	}
	return int64(argument)
}

// cborHead reads the head of a data item with an argument below 2^32; ok is
// false when the argument could have been written shorter.
func cborHead(b []byte) (major byte, argument uint64, rest []byte, ok bool) {
	if len(b) == 0 {
		return 0, 0, nil, false
	}
	major, short := b[0]>>5, b[0]&31
	size, least := 0, uint64(0)
	switch short {
	case 24:
		size, least = 1, 24
	case 25:
		size, least = 2, 1<<8
	case 26:
		size, least = 4, 1<<16
	default:
		return major, uint64(short), b[1:], short < 24
	}
	if len(b) < 1+size {
		return 0, 0, nil, false
	}
	for _, next := range b[1 : 1+size] {
		argument = argument<<8 | uint64(next)
	}
	return major, argument, b[1+size:], argument >= least
}
