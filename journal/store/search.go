package store

import (
	"strings"
	"unicode"

	"farbay/journal"
	"farbay/journal/flow"
)

// maxSearchWords bounds a search; each word is looked up by itself.
const maxSearchWords = 12

type foundRow struct {
	Entry   entryRow `gorm:"embedded"`
	Snippet string
}

// SearchEntries implements [flow.Reads].
//
// Source of the query's form: https://www.sqlite.org/fts3.html, section 3.
func (r *reads) SearchEntries(want flow.EntrySearch) ([]flow.EntryFound, error) {
	match := matchOf(want.Words)
	if match == "" {
		return nil, nil
	}
	visible := "1"
	if !want.Staff {
		visible = shown
	}
	var rows []foundRow
	err := r.scan("SearchEntries", &rows, `SELECT entries.*, snippet(entry_words, char(2), char(3), '…', -1, 24) AS snippet
		FROM entry_words JOIN entry_docs ON doc = docid JOIN entries ON entries.id = entry_id
		WHERE entry_words MATCH ? AND build_id = ? AND `+visible+`
		ORDER BY happened_at DESC, entries.id DESC LIMIT ?`, match, string(want.BuildID), want.Limit)
	if err != nil {
		return nil, err
	}
	entries := each(rows, func(row foundRow) journal.Entry { return row.Entry.entry() })
	if err := r.addPhotos(entries); err != nil {
		return nil, err
	}
	found := make([]flow.EntryFound, len(rows))
	for i, row := range rows {
		found[i] = flow.EntryFound{Entry: entries[i], Snippet: row.Snippet}
	}
	return found, nil
}

// matchOf turns what a person typed into a query: all words, each as the
// beginning of one. Nothing in it is taken for an operator; "" if there is no
// word.
func matchOf(typed string) string {
	words := strings.FieldsFunc(typed, func(c rune) bool { return !unicode.IsLetter(c) && !unicode.IsNumber(c) && !unicode.IsMark(c) })
	var terms []string
	for _, w := range words[:min(len(words), maxSearchWords)] {
		terms = append(terms, `"`+w+`*"`)
	}
	return strings.Join(terms, " ")
}
