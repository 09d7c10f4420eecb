package server_test

import (
	"net/url"
	"strings"
	"testing"

	"github.com/andybalholm/cascadia"
	"golang.org/x/net/html"

	"farbay/server/htmlcheck"
	"farbay/server/servertest"
)

// formIn returns what a browser would send of the form with the action, as the
// page has it filled (HTML Standard, "Constructing the entry list"): buttons are
// not pressed.
func formIn(t *testing.T, page *servertest.Reply, action string) url.Values {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page.Body))
	if err != nil {
		t.Fatal(err)
	}
	form := cascadia.Query(root, cascadia.MustCompile(`form[action="`+action+`"]`))
	if form == nil {
		t.Fatalf("there is no form for %s in: %s", action, servertest.Words(page.Body))
	}
	values := url.Values{}
	for _, n := range cascadia.QueryAll(form, cascadia.MustCompile("input[name], select[name], textarea[name]")) {
		name, _ := htmlcheck.Attr(n, "name")
		kind, _ := htmlcheck.Attr(n, "type")
		value, hasValue := htmlcheck.Attr(n, "value")
		_, checked := htmlcheck.Attr(n, "checked")
		switch {
		case n.Data == "textarea":
			// The parser drops the line feed after the start tag, as browsers do.
			values.Add(name, whole(n))
		case n.Data == "select":
			values.Add(name, chosen(n))
		case kind == "checkbox" || kind == "radio":
			if checked && hasValue {
				values.Add(name, value)
			}
		case kind != "file":
			values.Add(name, value)
		}
	}
	return values
}

func whole(n *html.Node) string {
	text := ""
	for child := n.FirstChild; child != nil; child = child.NextSibling {
		if child.Type == html.TextNode {
			text += child.Data
		}
	}
	return text
}

func chosen(n *html.Node) string {
	options := cascadia.QueryAll(n, cascadia.MustCompile("option"))
	for _, option := range options {
		if _, selected := htmlcheck.Attr(option, "selected"); selected {
			value, _ := htmlcheck.Attr(option, "value")
			return value
		}
	}
	if len(options) == 0 {
		return ""
	}
	value, _ := htmlcheck.Attr(options[0], "value")
	return value
}

// with returns the form with some fields typed anew: name, text, name, text ...
func with(form url.Values, typed ...string) url.Values {
	filled := url.Values{}
	for name, values := range form {
		filled[name] = values
	}
	for i := 0; i < len(typed); i += 2 {
		filled.Set(typed[i], typed[i+1])
	}
	return filled
}

// keeps fails the test unless the page's form for the action has every typed
// field as it was sent.
func keeps(t *testing.T, page *servertest.Reply, action string, sent url.Values, fields ...string) {
	t.Helper()
	shown := formIn(t, page, action)
	for _, name := range fields {
		if got, want := shown.Get(name), sent.Get(name); got != want {
			t.Errorf("field %s is %q, was typed as %q", name, got, want)
		}
	}
}

// wrong passes if the page says beside the field that something is wrong, and
// links to it from the head of the form.
func wrong(field, pattern string) htmlcheck.Check {
	return htmlcheck.In(".problems", htmlcheck.In(`a[href="#f-`+field+`"]`, htmlcheck.HasText(pattern)))
}
