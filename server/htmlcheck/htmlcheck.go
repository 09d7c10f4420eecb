// Package htmlcheck checks pages in tests by what is in them, found with CSS
// selectors, so that a test does not hang on layout.
//
//	err := htmlcheck.Run(page,
//		htmlcheck.In("main h1", htmlcheck.HasText("^Heron$")),
//		htmlcheck.In("form", htmlcheck.HasAttr("action", "^/sign-in$")),
//		htmlcheck.NotIn(".price"))
//
// Text is compared as people read it: runs of blanks count as one, and scripts,
// styles and templates have none.
package htmlcheck

import (
	"errors"
	"fmt"
	"regexp"
	"strings"

	"github.com/andybalholm/cascadia"
	"golang.org/x/net/html"
)

// Check says what is wrong with a part of a page, or nil.
type Check func(n *html.Node) error

// Run parses a page and returns what all checks say of it.
func Run(page string, checks ...Check) error {
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		return fmt.Errorf("htmlcheck: %w", err)
	}
	return all(root, checks)
}

func all(n *html.Node, checks []Check) error {
	var wrong []error
	for _, check := range checks {
		if err := check(n); err != nil {
			wrong = append(wrong, err)
		}
	}
	return errors.Join(wrong...)
}

// In passes if some element matches the selector and, of those, one passes all
// checks.
func In(selector string, checks ...Check) Check {
	match := cascadia.MustCompile(selector)
	return func(n *html.Node) error {
		found := cascadia.QueryAll(n, match)
		if len(found) == 0 {
			return fmt.Errorf("nothing matches %q", selector)
		}
		var last error
		for _, one := range found {
			if last = all(one, checks); last == nil {
				return nil
			}
		}
		if len(found) > 1 {
			return fmt.Errorf("none of the %d that match %q passes; of the last: %w", len(found), selector, last)
		}
		return fmt.Errorf("in %q: %w", selector, last)
	}
}

// NotIn passes if nothing matches the selector.
func NotIn(selector string) Check {
	match := cascadia.MustCompile(selector)
	return func(n *html.Node) error {
		if one := cascadia.Query(n, match); one != nil {
			return fmt.Errorf("%q is there: %q", selector, short(Text(one)))
		}
		return nil
	}
}

// Count passes if exactly n elements match the selector.
func Count(selector string, n int) Check {
	match := cascadia.MustCompile(selector)
	return func(root *html.Node) error {
		if got := len(cascadia.QueryAll(root, match)); got != n {
			return fmt.Errorf("%d elements match %q, want %d", got, selector, n)
		}
		return nil
	}
}

// HasText passes if the text of the part matches the pattern.
func HasText(pattern string) Check {
	re := regexp.MustCompile(pattern)
	return func(n *html.Node) error {
		if text := Text(n); !re.MatchString(text) {
			return fmt.Errorf("text is %q, want a match of %q", short(text), pattern)
		}
		return nil
	}
}

// HasNoText passes if the text of the part does not match the pattern.
func HasNoText(pattern string) Check {
	re := regexp.MustCompile(pattern)
	return func(n *html.Node) error {
		if text := Text(n); re.MatchString(text) {
			return fmt.Errorf("text %q must not match %q", short(re.FindString(text)), pattern)
		}
		return nil
	}
}

// HasAttr passes if the element has the attribute and its value matches the
// pattern.
func HasAttr(name, pattern string) Check {
	re := regexp.MustCompile(pattern)
	return func(n *html.Node) error {
		value, there := Attr(n, name)
		switch {
		case !there:
			return fmt.Errorf("there is no attribute %s", name)
		case !re.MatchString(value):
			return fmt.Errorf("attribute %s is %q, want a match of %q", name, value, pattern)
		}
		return nil
	}
}

// Attr returns an attribute of an element.
func Attr(n *html.Node, name string) (value string, there bool) {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val, true
		}
	}
	return "", false
}

// Text returns the text below n with each run of blanks as one.
func Text(n *html.Node) string {
	var b strings.Builder
	gather(n, &b)
	return strings.Join(strings.Fields(b.String()), " ")
}

func gather(n *html.Node, b *strings.Builder) {
	switch {
	case n.Type == html.TextNode:
		b.WriteString(n.Data)
	case n.Type == html.ElementNode && (n.Data == "script" || n.Data == "style" || n.Data == "template"):
		return
	}
	for child := n.FirstChild; child != nil; child = child.NextSibling {
		gather(child, b)
	}
	if n.Type == html.ElementNode && !inline[n.Data] {
		b.WriteString(" ")
	}
}

// inline elements do not part words.
var inline = map[string]bool{
	"a": true, "abbr": true, "b": true, "bdi": true, "cite": true, "code": true, "em": true, "i": true, "mark": true,
	"q": true, "s": true, "small": true, "span": true, "strong": true, "sub": true, "sup": true, "time": true, "u": true,
}

// Values returns an attribute of every element that matches the selector, such
// as all addresses of a page with ("a", "href").
func Values(page, selector, attr string) ([]string, error) {
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		return nil, fmt.Errorf("htmlcheck: %w", err)
	}
	match, err := cascadia.Compile(selector)
	if err != nil {
		return nil, fmt.Errorf("htmlcheck: %w", err)
	}
	var values []string
	for _, n := range cascadia.QueryAll(root, match) {
		if value, there := Attr(n, attr); there {
			values = append(values, value)
		}
	}
	return values, nil
}

func short(text string) string {
	if r := []rune(text); len(r) > 200 {
		return string(r[:200]) + "…"
	}
	return text
}
