package server

import (
	"net/url"
	"strings"
	"testing"

	"farbay/journal"
)

func TestFormFields(t *testing.T) {
	f := formOf(url.Values{
		"line": {"  one line "}, "text": {" a\r\nb \r\n"}, "list": {"x", " ", "y"}, "lines": {"p\r\n\r\n q "},
		"cents": {"1,234.50"}, "day": {"2026-02-28"}, "n": {"7"}, "minus": {"\u22123"}, "hours": {"7.5"}, "version": {"3"},
	})
	if got := f.line("line"); got != "one line" {
		t.Errorf("line %q", got)
	}
	if got := f.text("text"); got != "a\nb" {
		t.Errorf("text %q", got)
	}
	if got := strings.Join(f.list("list"), "|"); got != "x|y" {
		t.Errorf("list %q", got)
	}
	if got := strings.Join(f.lines("lines"), "|"); got != "p|q" {
		t.Errorf("lines %q", got)
	}
	if got := f.cents("cents"); got != 123450 {
		t.Errorf("cents %d", got)
	}
	if got := f.date("day"); got != "2026-02-28" {
		t.Errorf("day %q", got)
	}
	if got := f.number("n", 1, 0, 9); got != 7 {
		t.Errorf("number %d", got)
	}
	if got := f.number("minus", 1, -9, 9); got != -3 {
		t.Errorf("minus %d", got)
	}
	if got := f.minutes("hours"); got != 450 {
		t.Errorf("hours %d", got)
	}
	if got := f.version(); got != 3 {
		t.Errorf("version %d", got)
	}
	if f.cents("none") != 0 || f.date("none") != "" || f.number("none", 5, 0, 9) != 5 || f.minutes("none") != 0 {
		t.Error("a missing field is not empty")
	}
	if err := f.err(); err != nil {
		t.Error(err)
	}
}

func TestFormProblems(t *testing.T) {
	tests := []struct {
		kind string
		read func(f *form)
		bad  []string
		good []string
	}{
		{"amount", func(f *form) { f.cents("x") },
			[]string{"1,234.5.", "-", "12e3", "1234567890", "1,23.00", "1.234", "abc", "$"}, []string{"1,234.5", "-20", "$3.07", " 5 "}},
		{"day", func(f *form) { f.date("x") },
			[]string{"2026-02-30", "2026-13-01", "30.2.2026", "2026-2-3", "yesterday", "0001-01-01"}, []string{"2024-02-29"}},
		{"number", func(f *form) { f.number("x", 0, -5, 5) },
			[]string{"6", "-6", "1.0", "1e1", "0x1", "99999999999999999999", "one"}, []string{"-5", "5", " 0 "}},
		{"hours", func(f *form) { f.minutes("x") },
			[]string{"7:30", "7.333", "0.01", "10000.05", ".5", "1e3", "--1"}, []string{"7.5", "-2", "0.05", "10000", "7.25"}},
	}
	for _, test := range tests {
		for _, text := range test.bad {
			f := formOf(url.Values{"x": {text}})
			test.read(f)
			if err := f.err(); journal.CodeOf(err) != journal.Invalid || f.bad["x"] == "" {
				t.Errorf("%s %q was taken", test.kind, text)
			}
		}
		for _, text := range test.good {
			f := formOf(url.Values{"x": {text}})
			test.read(f)
			if err := f.err(); err != nil {
				t.Errorf("%s %q: %v", test.kind, text, err)
			}
		}
	}
}

func TestFormIndexed(t *testing.T) {
	f := formOf(url.Values{"lines.0.text": {"a"}, "lines.12.kind": {"b"}, "lines.x.kind": {"c"}, "lines.-1.kind": {"c"}, "other.40.text": {"d"}})
	if got := f.indexed("lines", 60); got != 13 {
		t.Errorf("indexed = %d, want 13", got)
	}
	if got := f.raw(at("lines", 12, "kind")); got != "b" {
		t.Errorf("lines.12.kind = %q", got)
	}
	if got := f.indexed("lines", 5); got != 5 || f.bad["lines"] == "" {
		t.Errorf("indexed = %d, %v; want 5 and a problem", got, f.bad)
	}
	if got := formOf(url.Values{"lines.999999999999.text": {"a"}}).indexed("lines", 60); got != 0 {
		t.Errorf("a number beyond reason counts: %d", got)
	}
}

func TestFormTakesOverProblems(t *testing.T) {
	f := formOf(nil)
	f.bad.Add("name", "first")
	if err := f.add(&journal.Error{Code: journal.Invalid, Fields: map[string]string{"name": "second", "email": "third"}}); err != nil {
		t.Error(err)
	}
	if f.bad["name"] != "first" || f.bad["email"] != "third" {
		t.Errorf("problems: %v", f.bad)
	}
	if err := f.add(journal.Errorf(journal.Conflict, "late")); journal.CodeOf(err) != journal.Conflict {
		t.Errorf("a conflict is kept as %v", err)
	}
}

func FuzzDecimal(f *testing.F) {
	for _, seed := range []string{"6.25", "-1", "0.005", "", ".", "1e9", "999999999.99", "+3", "--3", "١"} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		n, ok := decimal(text, 2)
		if ok && (n > 99_999_999_999 || n < -99_999_999_999) {
			t.Errorf("decimal(%q) = %d", text, n)
		}
		if ok && strings.ContainsAny(text, "eE,_ xX") {
			t.Errorf("decimal(%q) was taken", text)
		}
	})
}

func TestLocalPath(t *testing.T) {
	for path, want := range map[string]string{
		"/": "/", "/builds/b1?x=1#y": "/builds/b1?x=1#y", "": "/", "builds": "/", "//e.example": "/", "/\\e.example": "/", "/a\\b": "/",
		"http://e.example": "/", "/\x00": "/", "/a//b": "/a//b", "/%2F/e.example": "/", "/" + strings.Repeat("a", 3000): "/",
	} {
		if got := localPath(path); got != want {
			t.Errorf("localPath(%q) = %q, want %q", path, got, want)
		}
	}
}
