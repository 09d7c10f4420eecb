package billing

import (
	"strings"
	"testing"

	"farbay/journal"
)

func TestTerms_Check(t *testing.T) {
	good := Terms{
		Deposit: journal.MaxCents, Crediting: ProRata, HoldbackRate: 10_000, DueDays: MaxDueDays,
		Tax: Tax{Labour: 10_000, Parts: 10_000, Outside: 10_000, Delivery: 10_000, Other: 10_000, PerLine: true},
	}
	for name, terms := range map[string]Terms{"all at their largest": good, "nothing asked for": {Crediting: ProRata}} {
		if err := terms.Validate(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	for name, tc := range map[string]struct {
		alter func(*Terms)
		field string
	}{
		"holdback of 101 %":         {func(t *Terms) { t.HoldbackRate = 10_100 }, "holdback_rate"},
		"holdback of 100.01 %":      {func(t *Terms) { t.HoldbackRate = 10_001 }, "holdback_rate"},
		"holdback below zero":       {func(t *Terms) { t.HoldbackRate = -1 }, "holdback_rate"},
		"labour at 101 %":           {func(t *Terms) { t.Tax.Labour = 10_100 }, "tax_labour"},
		"parts at 101 %":            {func(t *Terms) { t.Tax.Parts = 10_100 }, "tax_parts"},
		"outside work at 101 %":     {func(t *Terms) { t.Tax.Outside = 10_100 }, "tax_outside"},
		"delivery at 101 %":         {func(t *Terms) { t.Tax.Delivery = 10_100 }, "tax_delivery"},
		"other at -1 %":             {func(t *Terms) { t.Tax.Other = -100 }, "tax_other"},
		"deposit below zero":        {func(t *Terms) { t.Deposit = -1 }, "deposit"},
		"deposit too long":          {func(t *Terms) { t.Deposit = journal.MaxCents + 1 }, "deposit"},
		"crediting not chosen":      {func(t *Terms) { t.Crediting = "" }, "crediting"},
		"crediting of no known way": {func(t *Terms) { t.Crediting = "at random" }, "crediting"},
		"due before issue":          {func(t *Terms) { t.DueDays = -1 }, "due_days"},
		"due in years":              {func(t *Terms) { t.DueDays = MaxDueDays + 1 }, "due_days"},
	} {
		terms := good
		tc.alter(&terms)
		p := journal.Problems{}
		terms.Check(p)
		if len(p) != 1 || !strings.HasSuffix(p[tc.field], ".") {
			t.Errorf("%s: %v; want one sentence for %s", name, p, tc.field)
		}
		if err := terms.Validate(); journal.CodeOf(err) != journal.Invalid {
			t.Errorf("%s: %v", name, err)
		}
	}
	p := journal.Problems{}
	Terms{HoldbackRate: 10_100}.Check(p)
	if want := "The holdback is a rate from 0 to 100 %; 101 % is not."; p["holdback_rate"] != want {
		t.Errorf("%q; want %q", p["holdback_rate"], want)
	}
}

func TestParseRate(t *testing.T) {
	for in, want := range map[string]journal.BasisPoints{
		"0": 0, "5": 500, "6.25": 625, "6.5": 650, " 6.25 % ": 625, "100": 10_000, "0.01%": 1,
	} {
		got, err := ParseRate(in)
		if err != nil || got != want {
			t.Errorf("ParseRate(%q) = %d, %v; want %d", in, got, err, want)
		}
		if again, err := ParseRate(FormatRate(got)); err != nil || again != got {
			t.Errorf("%d written %q, read back %d, %v", got, FormatRate(got), again, err)
		}
	}
	for _, in := range []string{"", "%", "101", "100.01", "-1", "6.255", "6,25", "$6", "1,000", "six", "5 % %", "12e1"} {
		if got, err := ParseRate(in); journal.CodeOf(err) != journal.Invalid || got != 0 {
			t.Errorf("ParseRate(%q) = %d, %v; want an Invalid error", in, got, err)
		}
	}
	for rate, want := range map[journal.BasisPoints]string{0: "0", 500: "5", 625: "6.25", 650: "6.5", 10_000: "100", 10_100: "101", -1: "-0.01"} {
		if got := FormatRate(rate); got != want {
			t.Errorf("FormatRate(%d) = %q; want %q", rate, got, want)
		}
	}
}
