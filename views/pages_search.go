package views

import "strings"

// Search shows what a search of a build's journal found.
type Search struct {
	Frame
	Query string // as typed
	Found []FoundEntry
	More  bool // there are more than are shown
}

// Template names the page's template.
func (Search) Template() string { return "owner/search" }

// FoundEntry is an entry, with the part of its words where the search found it.
type FoundEntry struct {
	EntryView
	Snippet []SnippetPart
}

// SnippetPart is a run of text, found or around what was found.
type SnippetPart struct {
	Text  string
	Found bool
}

// NewSnippet divides a snippet in which each word found stands between U+0002
// and U+0003.
func NewSnippet(marked string) []SnippetPart {
	var parts []SnippetPart
	add := func(text string, found bool) {
		if text != "" {
			parts = append(parts, SnippetPart{text, found})
		}
	}
	for marked != "" {
		before, rest, _ := strings.Cut(marked, "\x02")
		word, after, _ := strings.Cut(rest, "\x03")
		add(before, false)
		add(word, true)
		marked = after
	}
	return parts
}

// Cover returns the entry's first photo that can be shown, or nil.
func (f FoundEntry) Cover() *PhotoView {
	for i, p := range f.Photos {
		if p.Ready() {
			return &f.Photos[i]
		}
	}
	return nil
}

var _ = declare(Search{})

// SearchField is the form that asks for a search, piece "search-field".
type SearchField struct {
	Action string
	Query  string
}

// SearchField returns the form for the page's build.
func (f Frame) SearchField(query string) SearchField {
	return SearchField{Action: f.Build.URL() + "/search", Query: query}
}
