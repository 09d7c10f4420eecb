package signoff

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"
)

// maxWhole is the largest whole number that RFC 8785 (through I-JSON, RFC 7493
// section 2.2) carries exactly.
const maxWhole = 1<<53 - 1

// canonical returns the RFC 8785 form of a struct of strings, booleans, whole
// numbers, arrays and objects. It returns an error for invalid UTF-8, numbers
// beyond ±(2^53-1), fractions and nulls, none of which a paper holds.
func canonical(v any) ([]byte, error) {
	if err := checkStrings(v); err != nil {
		return nil, err
	}
	plain, err := json.Marshal(v)
	if err != nil {
		return nil, fmt.Errorf("signoff: canonical form: %w", err)
	}
	d := json.NewDecoder(bytes.NewReader(plain))
	d.UseNumber()
	var tree any
	if err := d.Decode(&tree); err != nil {
		return nil, fmt.Errorf("signoff: canonical form: %w", err)
	}
	return appendValue(nil, tree)
}

// checkStrings refuses invalid UTF-8, which json.Marshal would silently replace.
func checkStrings(v any) error {
	var b strings.Builder
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return fmt.Errorf("signoff: canonical form: %w", err)
	}
	// encoding/json writes invalid bytes as the escape \ufffd, and a real
	// U+FFFD as itself. Escaped backslashes go first: a person may have typed
	// a backslash before those letters.
	if strings.Contains(strings.ReplaceAll(b.String(), `\\`, ""), `\ufffd`) {
		return fmt.Errorf("signoff: canonical form: text is not valid UTF-8")
	}
	return nil
}

func appendValue(b []byte, v any) ([]byte, error) {
	switch v := v.(type) {
	case bool:
		return strconv.AppendBool(b, v), nil
	case string:
		return appendString(b, v), nil
	case json.Number:
		n, err := strconv.ParseInt(v.String(), 10, 64)
		if err != nil || n > maxWhole || n < -maxWhole {
			return nil, fmt.Errorf("signoff: canonical form: %s is not a whole number within 2^53", v)
		}
		return strconv.AppendInt(b, n, 10), nil
	case []any:
		b = append(b, '[')
		for i, item := range v {
			if i > 0 {
				b = append(b, ',')
			}
			var err error
			if b, err = appendValue(b, item); err != nil {
				return nil, err
			}
		}
		return append(b, ']'), nil
	case map[string]any:
		keys := make([]string, 0, len(v))
		for k := range v {
			keys = append(keys, k)
		}
		slices.SortFunc(keys, compareUTF16)
		b = append(b, '{')
		for i, k := range keys {
			if i > 0 {
				b = append(b, ',')
			}
			b = append(appendString(b, k), ':')
			var err error
			if b, err = appendValue(b, v[k]); err != nil {
				return nil, err
			}
		}
		return append(b, '}'), nil
	}
	return nil, fmt.Errorf("signoff: canonical form: a paper holds no %T", v)
}

// compareUTF16 orders keys as RFC 8785 section 3.2.3 asks.
func compareUTF16(a, b string) int {
	return slices.Compare(utf16.Encode([]rune(a)), utf16.Encode([]rune(b)))
}

// appendString writes a string as RFC 8785 section 3.2.2.2 asks: only quotation
// mark, backslash and control characters are escaped.
func appendString(b []byte, s string) []byte {
	b = append(b, '"')
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case c == '"' || c == '\\':
			b = append(b, '\\', c)
		case c == '\b':
			b = append(b, `\b`...)
		case c == '\t':
			b = append(b, `\t`...)
		case c == '\n':
			b = append(b, `\n`...)
		case c == '\f':
			b = append(b, `\f`...)
		case c == '\r':
			b = append(b, `\r`...)
		case c < 0x20:
			b = append(b, fmt.Sprintf(`\u%04x`, c)...)
		default:
			b = append(b, c)
		}
	}
	return append(b, '"')
}
