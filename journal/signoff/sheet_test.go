package signoff_test

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/gowebpki/jcs"
	"pgregory.net/rapid"

	"farbay/journal"
	"farbay/journal/signoff"
)

func sample() signoff.Sheet {
	return signoff.Sheet{
		Format: signoff.Format, Kind: signoff.ChangeOrder, Number: 4, Revision: 1,
		SentAt: "2026-04-13T20:05:00Z", SentOn: "2026-04-13", SentBy: "Wilma Tarn",
		Shop:  signoff.SheetShop{Name: "Tern Hollow Truck Works", Address: "4 Quarry Road\nTern Hollow", Phone: "", Zone: "America/Denver"},
		Build: signoff.SheetBuild{ID: "b1", Nickname: "Heron", Truck: "1971 Ostler Fenman", Serial: "OF7-10442", Owners: []string{"Ida Marsh"}},
		Title: "Both front floor pans", Reason: "Rust < sound \"metal\" & more\u2028\tfar \u00e9 \U0001F69C \u202Eabc",
		Photos:   []signoff.SheetPhoto{{ID: "p1", SHA256: strings.Repeat("ab", 32), Caption: "left"}},
		Stage:    signoff.SheetStage{ID: "s8", Name: "Body metal"},
		Lines:    []signoff.SheetLine{{Kind: journal.Labour, Text: "Cut and weld", Minutes: 1080, Rate: 9500, Amount: 171000}, {Kind: journal.Parts, Text: "Two pans", Amount: 48000}},
		Currency: "USD", Delta: 219000, DeltaTax: 3000, DeltaWithTax: 222000,
		TaxRates:     []signoff.SheetRate{{Kind: journal.Parts, BasisPoints: 625}},
		AgreedBefore: 9634000, AgreedAfter: 9853000, TotalBefore: 9700000, TotalAfter: 9922000,
		Days: 6, DateBefore: "2026-09-24", DateAfter: "2026-10-02",
		Act: signoff.ChangeOrder.SignSentence(), Decline: signoff.ChangeOrder.DeclineSentence(), Notices: []string{"One.", "Two."},
	}
}

// The byte form is that of RFC 8785; github.com/gowebpki/jcs is an independent
// implementation of it.
func TestBytes_AreRFC8785(t *testing.T) {
	got, err := sample().Bytes()
	if err != nil {
		t.Fatal(err)
	}
	plain, err := json.Marshal(sample())
	if err != nil {
		t.Fatal(err)
	}
	want, err := jcs.Transform(plain)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(string(want), string(got)); diff != "" {
		t.Errorf("not the canonical form (-jcs +farbay):\n%s", diff)
	}
}

func TestBytes_AnyTextIsRFC8785(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		s := sample()
		s.Title, s.Reason = rapid.String().Draw(r, "title"), rapid.String().Draw(r, "reason")
		s.Days = rapid.IntRange(-400, 400).Draw(r, "days")
		s.Delta = journal.Cents(rapid.Int64Range(-1<<52, 1<<52).Draw(r, "delta"))
		got, err := s.Bytes()
		if err != nil {
			r.Fatal(err)
		}
		plain, err := json.Marshal(s)
		if err != nil {
			r.Fatal(err)
		}
		want, err := jcs.Transform(plain)
		if err != nil {
			r.Fatal(err)
		}
		if !bytes.Equal(got, want) {
			r.Fatalf("got  %q\nwant %q", got, want)
		}
		back, err := signoff.ParseSheet(got)
		if err != nil {
			r.Fatal(err)
		}
		if diff := cmp.Diff(s, back); diff != "" {
			r.Fatalf("read back (-want +got):\n%s", diff)
		}
	})
}

// The hash is what coreutils' sha256sum prints for the saved bytes.
func TestHash_IsSha256sum(t *testing.T) {
	text, err := sample().Bytes()
	if err != nil {
		t.Fatal(err)
	}
	file := filepath.Join(t.TempDir(), "paper.json")
	if err := os.WriteFile(file, text, 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("sha256sum", file).Output()
	if err != nil {
		t.Fatal(err)
	}
	if want, _, _ := strings.Cut(string(out), " "); signoff.Hash(text) != want {
		t.Errorf("Hash = %s, sha256sum says %s", signoff.Hash(text), want)
	}
}

// FIPS 180-4's example message "abc", as published by NIST with the standard.
func TestHash_KnownAnswer(t *testing.T) {
	const want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	if got := signoff.Hash([]byte("abc")); got != want {
		t.Errorf("Hash(abc) = %s", got)
	}
}

func TestParseSheet_RefusesWhatWasNotFrozen(t *testing.T) {
	good, err := sample().Bytes()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := signoff.ParseSheet(good); err != nil {
		t.Fatal(err)
	}
	cases := map[string]string{
		"a blank more":          strings.Replace(string(good), `"number":4`, `"number": 4`, 1),
		"a member more":         strings.Replace(string(good), `{"act"`, `{"aaa":1,"act"`, 1),
		"a member twice":        strings.Replace(string(good), `"number":4`, `"number":4,"number":5`, 1),
		"a member missing":      strings.Replace(string(good), `"number":4,`, ``, 1),
		"a number as fraction":  strings.Replace(string(good), `"number":4`, `"number":4.0`, 1),
		"another format":        strings.Replace(string(good), signoff.Format, "farbay change order 9", 1),
		"text after the end":    string(good) + "{}",
		"a line end":            string(good) + "\n",
		"nothing":               "",
		"invalid UTF-8 in text": strings.Replace(string(good), "Two.", "Two\xff", 1),
	}
	for name, text := range cases {
		if text == string(good) {
			t.Fatalf("%s: the case changes nothing", name)
		}
		if _, err := signoff.ParseSheet([]byte(text)); err == nil {
			t.Errorf("%s: was read without complaint", name)
		}
	}
}

func TestBytes_RefusesInvalidText(t *testing.T) {
	s := sample()
	s.Title = "pan\xff"
	if _, err := s.Bytes(); err == nil {
		t.Error("invalid UTF-8 was frozen")
	}
	s.Title = `typed \ufffd, and a real ` + "\uFFFD"
	if _, err := s.Bytes(); err != nil {
		t.Errorf("valid text refused: %v", err)
	}
	s.Delta = 1 << 53
	if _, err := s.Bytes(); err == nil {
		t.Error("a number that JSON readers may not carry exactly was frozen")
	}
}

func FuzzParseSheet(f *testing.F) {
	good, err := sample().Bytes()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add([]byte(`{}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		s, err := signoff.ParseSheet(b)
		if err != nil {
			return
		}
		again, err := s.Bytes()
		if err != nil || !bytes.Equal(again, b) {
			t.Fatalf("read, but does not freeze to the same bytes: %v", err)
		}
	})
}

func TestChange_Validate(t *testing.T) {
	ok := signoff.Draft{
		Title: "Pans", Reason: "Rust", StageID: "s1", Days: 2,
		Lines: []signoff.Line{{Kind: journal.Labour, Text: "Weld", Minutes: 450, Rate: 9500, Amount: signoff.LabourAmount(450, 9500)}},
	}
	if err := ok.Validate(signoff.ChangeOrder); err != nil {
		t.Fatal(err)
	}
	if got := signoff.LabourAmount(450, 9500); got != 71250 { // 7.5 h x 95.00
		t.Errorf("7.5 hours at 95.00 = %s", got)
	}
	cases := []struct {
		name, field string
		change      func(*signoff.Draft)
	}{
		{"no title", "title", func(c *signoff.Draft) { c.Title = "" }},
		{"no reason", "reason", func(c *signoff.Draft) { c.Reason = "" }},
		{"no stage", "stage", func(c *signoff.Draft) { c.StageID = "" }},
		{"401 days", "days", func(c *signoff.Draft) { c.Days = 401 }},
		{"nothing to agree to", "lines", func(c *signoff.Draft) { c.Lines, c.Days = nil, 0 }},
		{"no hours", "lines.0.hours", func(c *signoff.Draft) { c.Lines[0].Minutes = 0 }},
		{"unknown kind", "lines.0.kind", func(c *signoff.Draft) { c.Lines[0].Kind = "gold" }},
		{"a part for nothing", "lines.0.amount", func(c *signoff.Draft) { c.Lines[0] = signoff.Line{Kind: journal.Parts, Text: "Pan"} }},
		{"title with a line break", "title", func(c *signoff.Draft) { c.Title = "a\nb" }},
	}
	for _, tc := range cases {
		c := ok
		c.Lines = append([]signoff.Line{}, ok.Lines...)
		tc.change(&c)
		err := c.Validate(signoff.ChangeOrder)
		var e *journal.Error
		if journal.CodeOf(err) != journal.Invalid {
			t.Errorf("%s: %v", tc.name, err)
			continue
		}
		e = err.(*journal.Error)
		if e.Fields[tc.field] == "" {
			t.Errorf("%s: no sentence beside %s: %v", tc.name, tc.field, e.Fields)
		}
	}
}

// A slip in the year of a paper's day stays beside its field.
func TestDraft_DaysAreNear(t *testing.T) {
	agreement := signoff.Draft{Title: "Restoration", Reason: "All of it.", ReadyOn: "2026-09-24"}
	delivery := signoff.Draft{Title: "Delivery", HandedOver: []string{"Two keys"}, DeliveredOn: "2026-09-24"}
	for _, c := range []struct {
		name  string
		kind  signoff.Kind
		draft signoff.Draft
		field string
	}{
		{"the ready date of an agreement", signoff.BuildAgreement, agreement, "ready_on"},
		{"the day of a delivery", signoff.DeliveryAcceptance, delivery, "delivered_on"},
	} {
		for _, day := range []journal.Date{"1900-09-24", "1999-12-31", "2101-01-01", "2199-12-31"} {
			d := c.draft
			if c.field == "ready_on" {
				d.ReadyOn = day
			} else {
				d.DeliveredOn = day
			}
			if bad := journal.ProblemsOf(d.Validate(c.kind)); len(bad) != 1 || !strings.Contains(bad[c.field], "check the year") {
				t.Errorf("%s, %s: %v", c.name, day, bad)
			}
		}
		if err := c.draft.Validate(c.kind); err != nil {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}
