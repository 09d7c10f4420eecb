package server

import (
	"context"
	"strings"
	"testing"
	"time"

	"farbay/journal"
)

// Known answers of the reference implementation for "password" with the salt
// "somesalt": P-H-C/phc-winner-argon2, src/test.c, section "Argon2id test".
// (The vector of RFC 9106, section 5.3, has a secret and associated data, which
// golang.org/x/crypto/argon2 does not take.)
func TestPasswordKnownAnswers(t *testing.T) {
	known := []struct{ password, encoded string }{
		{"password", "$argon2id$v=19$m=65536,t=2,p=1$c29tZXNhbHQ$CTFhFdXPJO1aFaMaO6Mm5c8y7cJHAph8ArZWb2GRPPc"},
		{"password", "$argon2id$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4"},
		{"password", "$argon2id$v=19$m=256,t=2,p=2$c29tZXNhbHQ$bQk8UB/VmZZF4Oo79iDXuL5/0ttZwg2f/5U52iv1cDc"},
	}
	p, err := newPasswords(1)
	if err != nil {
		t.Fatal(err)
	}
	for _, k := range known {
		for password, want := range map[string]bool{k.password: true, "Password": false, "": false, k.password + " ": false} {
			got, err := p.matches(t.Context(), password, k.encoded)
			if err != nil || got != want {
				t.Errorf("%q against %s: %v, %v; want %v", password, k.encoded, got, err, want)
			}
		}
		cost, salt, tag, err := decodeHash(k.encoded)
		if err != nil || encodeHash(cost, salt, tag) != k.encoded {
			t.Errorf("%s is read and written as %s, %v", k.encoded, encodeHash(cost, salt, tag), err)
		}
	}
}

func TestPasswordHash(t *testing.T) {
	p, err := newPasswords(2)
	if err != nil {
		t.Fatal(err)
	}
	a, errA := p.hash(t.Context(), "seven rusty hinges")
	b, errB := p.hash(t.Context(), "seven rusty hinges")
	if errA != nil || errB != nil || a == b {
		t.Errorf("two hashes of one password: %s and %s, %v, %v", a, b, errA, errB)
	}
	// OWASP Password Storage Cheat Sheet, Argon2id: m=47104 (46 MiB), t=1, p=1.
	if !strings.HasPrefix(a, "$argon2id$v=19$m=47104,t=1,p=1$") {
		t.Errorf("cost is %s", a)
	}
	// "é" as one character and as "e" with an accent are the same password
	// (Unicode Standard Annex 15, canonical equivalence).
	if c, err := p.hash(t.Context(), "caf\u00e9 on the bench"); err != nil {
		t.Error(err)
	} else if same, err := p.matches(t.Context(), "cafe\u0301 on the bench", c); err != nil || !same {
		t.Errorf("composed otherwise: %v, %v", same, err)
	}
	if ok, err := p.matches(t.Context(), "", ""); ok || err != nil {
		t.Errorf("no account, no password: %v, %v", ok, err)
	}
	for _, bad := range []string{
		"x", "$argon2i$v=19$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
		"$argon2id$v=16$m=256,t=2,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
		"$argon2id$v=19$m=256,t=0,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
		"$argon2id$v=19$m=99999999,t=1,p=1$c29tZXNhbHQ$nf65EOgLrQMR/uIPnA4rEsF5h7TKyQwu9U1bMCHGi/4",
		"$argon2id$v=19$m=256,t=1,p=1$c29tZXNhbHQ$", "$argon2id$v=19$m=256,t=1,p=1$*$nf65EOgLrQMR/uIPnA4rEg",
	} {
		if ok, err := p.matches(t.Context(), "password", bad); ok || err == nil {
			t.Errorf("stored hash %q: %v, %v; want an error", bad, ok, err)
		}
	}
}

// With all places taken, a try waits and gives up with its request.
func TestPasswordPlaces(t *testing.T) {
	p, err := newPasswords(1)
	if err != nil {
		t.Fatal(err)
	}
	p.places <- struct{}{}
	ctx, stop := context.WithTimeout(t.Context(), 10*time.Millisecond)
	defer stop()
	if _, err := p.hash(ctx, "x"); err != context.DeadlineExceeded {
		t.Errorf("error is %v", err)
	}
}

func TestCheckPassword(t *testing.T) {
	who := journal.Person{Name: "Maud Elvira Tynedale", Email: "maud.tynedale@people.example"}
	tests := []struct {
		name, password string
		good           bool
	}{
		{"a few words", "seven rusty hinges", true},
		{"15 characters, the least (NIST SP 800-63B-4, 3.1.1.2)", "123456789012345", true},
		{"14", "12345678901234", false},
		{"15 characters of several bytes", strings.Repeat("ö", 14) + "é", true},
		{"200", strings.Repeat("ab", 100), true},
		{"201", strings.Repeat("ab", 100) + "c", false},
		{"the address", "Maud.Tynedale@people.example", false},
		{"the name", "maud elvira tynedale", false},
		{"one character", "AAAAAAAAaaaaaaaaa", false},
		{"not text", "seven rusty \xff hinges", false},
		{"empty", "", false},
	}
	for _, test := range tests {
		bad := journal.Problems{}
		checkPassword(bad, test.password, who)
		if good := len(bad) == 0; good != test.good {
			t.Errorf("%s: %v, want good %v", test.name, bad, test.good)
		}
	}
}
