package journal

import "testing"

func TestCheckText_SaysWhatIsWrong(t *testing.T) {
	const tooLong = "Please keep it short."
	cases := []struct{ name, text, line, more string }{
		{"plain", "ab", "", ""},
		{"too long", "abcdef", tooLong, tooLong},
		{"characters, not bytes", "\u05d0\u05d1\u05d2\u05d3\u05d4", "", ""},
		{"a line break", "a\nb", tooLong, ""},
		{"outer blanks", " a", tooLong, ""},
		{"a control character", "a\x00b", unreadable, unreadable},
		{"no UTF-8", "a\xff", unreadable, unreadable},
	}
	for _, c := range cases {
		line, more := Problems{}, Problems{}
		CheckLine(line, "f", c.text, 1, 5, tooLong)
		CheckText(more, "f", c.text, 1, 5, tooLong)
		if line["f"] != c.line || more["f"] != c.more {
			t.Errorf("%s: as a line %q, as text %q; want %q, %q", c.name, line["f"], more["f"], c.line, c.more)
		}
	}
}
