package views

import (
	"crypto/sha256"
	_ "embed"
	"encoding/hex"
	"strings"
)

// ConsentVersion names the disclosures shown now. A changed text gets a new
// version, and its file stays for the record.
const ConsentVersion = "2"

// ConsentText is the disclosures shown before a person agrees to electronic
// records, as hashed: UTF-8, lines end in "\n", a blank line between
// paragraphs, "# " before a heading.
//
// What they must say: 15 U.S.C. 7001(c)(1)(B) and (C): the paper option, the
// right to withdraw and what follows from it, what the consent covers, how to
// withdraw and to keep contact details current, how to get paper copies and at
// what fee, and what is needed to open and keep the records.
//
//go:embed consent/consent-2.txt
var ConsentText string

// ConsentSHA256 returns the SHA-256 of [ConsentText] in lower-case hex, as
// `sha256sum consent-2.txt` prints it.
func ConsentSHA256() string {
	sum := sha256.Sum256([]byte(ConsentText))
	return hex.EncodeToString(sum[:])
}

// Passage is a heading or paragraph of the disclosures.
type Passage struct {
	Heading bool
	Text    string
}

// Passages returns the disclosures in order.
func (Consent) Passages() []Passage {
	var passages []Passage
	for _, p := range strings.Split(strings.TrimSpace(ConsentText), "\n\n") {
		heading, is := strings.CutPrefix(p, "# ")
		passages = append(passages, Passage{Heading: is, Text: strings.Join(strings.Fields(heading), " ")})
	}
	return passages
}
