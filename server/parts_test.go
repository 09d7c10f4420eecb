package server

import (
	"bytes"
	"io"
	"mime/multipart"
	"net/http"
	"strings"
	"testing"
	"testing/iotest"
)

const testBoundary = "b0undary"

// partsOf reads all parts of a body with package mime/multipart, until the first
// error.
func partsOf(body io.Reader) (names, contents []string, err error) {
	r := multipart.NewReader(body, testBoundary)
	for {
		part, err := r.NextPart()
		if err == io.EOF {
			return names, contents, nil
		}
		if err != nil {
			return names, contents, err
		}
		content, err := io.ReadAll(part)
		if err != nil {
			return names, contents, err
		}
		names, contents = append(names, part.FileName()), append(contents, string(content))
	}
}

func cleaned(t *testing.T, body io.Reader) io.Reader {
	r, err := http.NewRequest(http.MethodPost, "/", body)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", "multipart/form-data; boundary="+testBoundary)
	cleanHeads(r)
	return r.Body
}

func aPart(name, content string) string {
	return "--" + testBoundary + "\r\nContent-Disposition: form-data; name=\"photos\"; filename=\"" + name + "\"\r\n\r\n" + content + "\r\n"
}

func TestHeadCleaner(t *testing.T) {
	contents := []string{
		"\x00\x01\r\n\x02", "", "\r\n", "\r\n--" + testBoundary + "longer\x01", "--" + testBoundary + "\x01", "\r\r\n-\x7f", "\r\n\r\nContent-Type: \x01\r\n\r\n",
	}
	var body string
	for _, content := range contents {
		body += aPart("a\x01\x1b.jpg", content)
	}
	body += "--" + testBoundary + "--\r\n"
	for how, r := range map[string]io.Reader{
		"whole": strings.NewReader(body), "byte by byte": iotest.OneByteReader(strings.NewReader(body)), "halves": iotest.HalfReader(strings.NewReader(body)),
	} {
		names, got, err := partsOf(cleaned(t, r))
		if err != nil || len(got) != len(contents) {
			t.Fatalf("%s: %d parts, %v", how, len(got), err)
		}
		for i, content := range contents {
			if names[i] != "a??.jpg" || got[i] != content {
				t.Errorf("%s: %q named %q, want %q", how, got[i], names[i], content)
			}
		}
	}
}

// Whatever package mime/multipart can read, it reads the same through the
// cleaner: not a byte of a part's content differs.
func FuzzHeadCleaner(f *testing.F) {
	f.Add([]byte(aPart("a.jpg", "x\x01y") + "--" + testBoundary + "--"))
	f.Add([]byte("preamble\r\n" + aPart("a", "\r\n--"+testBoundary+"x\r\n\r\n\x02") + aPart("b", "\n\x03") + "--" + testBoundary + "--\r\n\x04"))
	f.Add([]byte("--" + testBoundary + "\nA: b\n\n\x05\n--" + testBoundary + " \nC: d\n \n\x06\r\n--" + testBoundary + "--"))
	f.Add([]byte("--" + testBoundary + "\r\nA: b\n\n\x05\r\n--" + testBoundary + "\t\r\n\r\n\x06\r\n--" + testBoundary + "-\x07\r\n\r\n"))
	f.Add([]byte("--" + testBoundary + "\r\nA: b\r\n \t\x01c\r\n\t\r\n\x08\r\n--" + testBoundary + "\r\n--" + testBoundary + "\r\n\r\n\x09"))
	f.Fuzz(func(t *testing.T, body []byte) {
		_, want, err := partsOf(bytes.NewReader(body))
		_, got, err2 := partsOf(cleaned(t, bytes.NewReader(body)))
		if len(got) < len(want) || err == nil && (err2 != nil || len(got) != len(want)) {
			t.Fatalf("%q: %d parts (%v), through the cleaner %d (%v)", body, len(want), err, len(got), err2)
		}
		for i := range want {
			if got[i] != want[i] {
				t.Errorf("%q: part %d is %q, through the cleaner %q", body, i, want[i], got[i])
			}
		}
	})
}
