package htmlcheck

import (
	"strings"
	"testing"
)

const page = `<!doctype html><title>T</title><main id="m"><h1>One <b>t</b>wo
 three</h1><p class="a b">first</p><p class="a">second</p><script>var hidden = "script"</script>
<form action="/go" method="post"><input name="x" value=""></form></main>`

func TestRun(t *testing.T) {
	tests := []struct {
		name   string
		reason string
		check  Check
		want   string // part of the error; "" for a pass
	}{
		{"text", "blanks fold, inline elements do not part words", In("h1", HasText("^One two three$")), ""},
		{"text differs", "the text found is told", In("h1", HasText("^Two")), `text is "One two three"`},
		{"any of several", "one match is enough", In("p.a", HasText("second")), ""},
		{"both in one", "checks must hold for the same element", In("p.a", HasText("first"), HasAttr("class", "^a$")), "none of the 2"},
		{"missing", "a selector without a match fails", In("h2"), "nothing matches"},
		{"not in", "absence passes", NotIn("h2"), ""},
		{"is in", "presence fails", NotIn("p.b"), `"p.b" is there: "first"`},
		{"attribute", "an attribute may be empty", In("input", HasAttr("value", "^$")), ""},
		{"no attribute", "a missing attribute is not an empty one", In("input", HasAttr("type", "")), "no attribute type"},
		{"script", "scripts have no text", In("main", HasNoText("hidden")), ""},
		{"no text", "a match fails", In("main", HasNoText("sec.nd")), `must not match`},
		{"count", "an exact number", Count("p", 2), ""},
		{"count differs", "the number found is told", Count("p", 3), "2 elements"},
		{"nested", "checks look below the element found", In("main", In("form", HasAttr("action", "^/go$"))), ""},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			err := Run(page, test.check)
			switch {
			case test.want == "" && err != nil:
				t.Errorf("%s: %v", test.reason, err)
			case test.want != "" && err == nil:
				t.Errorf("%s: passed", test.reason)
			case test.want != "" && !strings.Contains(err.Error(), test.want):
				t.Errorf("%s: %v, want %q in it", test.reason, err, test.want)
			}
		})
	}
}

func TestValues(t *testing.T) {
	got, err := Values(page, "p", "class")
	if err != nil || strings.Join(got, "|") != "a b|a" {
		t.Errorf("Values = %q, %v; want both classes in order", got, err)
	}
	if _, err := Values(page, "p[", "class"); err == nil {
		t.Error("a selector that cannot be read was taken")
	}
}
