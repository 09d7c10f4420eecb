package coating_test

import (
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/coating"
)

func TestParse(t *testing.T) {
	for text, want := range map[string]coating.Milli{"4": 4000, " 1.06 ": 1060, ".5": 500, "0.875": 875, "1,250": 1_250_000, "999,999.999": coating.MaxMilli, "0": 0, "007": 7000} {
		if got, err := coating.ParseMilli(text); err != nil || got != want {
			t.Errorf("ParseMilli(%q) = %d, %v; want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"", ".", "1.", "-1", "+1", "1.0625", "1,5", "1,2345", "12,34", "1 000", "1e3", "0x1", "½", "４", "1.5.2", "1000000", strings.Repeat("9", 5000), strings.Repeat("9", 20) + "x", "NaN"} {
		if got, err := coating.ParseMilli(text); journal.CodeOf(err) != journal.Invalid {
			t.Errorf("ParseMilli(%.20q) = %d, %v", text, got, err)
		}
	}
	for text, want := range map[string]coating.Weight{"506": 5060, "506.1": 5061, "0.1": 1, "100,000": coating.MaxWeight} {
		if got, err := coating.ParseWeight(text, coating.Tenth); err != nil || got != want {
			t.Errorf("ParseWeight(%q) = %d, %v; want %d", text, got, err, want)
		}
	}
	for _, text := range []string{"506.12", "100000.1", "506,1", "g", ""} {
		if got, err := coating.ParseWeight(text, coating.Tenth); journal.CodeOf(err) != journal.Invalid {
			t.Errorf("ParseWeight(%q) = %d, %v", text, got, err)
		}
	}
	if _, err := coating.ParseWeight("506.1", coating.Gram); journal.CodeOf(err) != journal.Invalid {
		t.Error("a scale of whole grams showed tenths")
	}
	if w := coating.Weight(5060); w.In(coating.Tenth) != "506.0" || w.In(coating.Gram) != "506" || coating.Weight(-12).In(coating.Tenth) != "-1.2" {
		t.Error("weights are written wrongly")
	}
}

// What is taken can be written and read again as the same number, and nothing but
// digits, one point and grouping commas is taken.
func FuzzParseMilli(f *testing.F) {
	for _, seed := range []string{"4", "1.06", ".5", "1,250.5", "-1", "1.", "999999999999999999999", "٣", "1e9", " 7 "} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		n, err := coating.ParseMilli(text)
		if err != nil {
			if journal.CodeOf(err) != journal.Invalid || !strings.HasSuffix(journal.MessageOf(err), ".") {
				t.Fatalf("%q: %v", text, err)
			}
			return
		}
		if strings.Trim(strings.TrimSpace(text), "0123456789.,") != "" || n < 0 || n > coating.MaxMilli {
			t.Fatalf("%q was taken for %d", text, n)
		}
		if again, err := coating.ParseMilli(n.String()); err != nil || again != n {
			t.Fatalf("%q is %d, written %q, read as %d: %v", text, n, n, again, err)
		}
		if w, err := coating.ParseWeight(text, coating.Tenth); err == nil && int64(w)*100 != int64(n) {
			t.Fatalf("%q is %d thousandths and %d tenths", text, n, w)
		}
	})
}
