package views

import (
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/signoff"
)

func givenPasskeys() PasskeySection {
	return PasskeySection{Fit: true, Most: 10, Name: "the key on my ring", Problems: journal.Problems{"name": "Please give the passkey a name, such as: my phone."}, Lines: []PasskeyLine{
		{ID: "k1", Name: "my <b>phone</b>", AddedAt: at("2026-01-12", 19, 2), UsedAt: at("2026-04-14", 20, 0)},
		{ID: "k2", Name: "the key on my ring", AddedAt: at("2026-02-01", 9, 30)},
	}}
}

func TestDecisionView_ConfirmedWith(t *testing.T) {
	d := givenDecision(signoff.OutcomeSigned)
	if got := d.ConfirmedWith(); got != "" {
		t.Errorf("without a passkey: %q", got)
	}
	text, err := signoff.PasskeyProof{Name: "my phone"}.Text()
	if err != nil {
		t.Fatal(err)
	}
	d.Decision.Passkey = text
	if got := d.ConfirmedWith(); got != "“my phone”" {
		t.Errorf("with one: %q", got)
	}
	d.Decision.Passkey = strings.Replace(text, "name", "Name", 1)
	if got := d.ConfirmedWith(); !strings.Contains(got, "cannot be read") {
		t.Errorf("with one that cannot be read: %q", got)
	}
}
