package prooflog

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"
)

// Format names the byte form of entries written now. A later form gets a later
// name; entries once written are read for ever.
const Format = "farbay log entry 1"

const instantForm = "2006-01-02T15:04:05.000000000Z"

// Entry is one act on record.
type Entry struct {
	Seq     int64 // 1, 2, 3 ...
	At      time.Time
	Build   string // id; "" for an act on no build
	Person  string // id; "" for the program itself
	Kind    string // such as "paper signed"
	Subject string // id of the paper, stage, invoice ...
	Detail  string // one line of JSON; "" for none
}

// Bytes returns the entry's byte form (see the package comment). It fails on
// text that is not valid UTF-8 or holds a control character of ASCII, on a Seq below 1
// and on years outside 0 to 9999.
func (e Entry) Bytes() ([]byte, error) {
	if e.Seq < 1 {
		return nil, fmt.Errorf("prooflog: entry %d: entries count from 1", e.Seq)
	}
	at := e.At.UTC().Format(instantForm)
	if len(at) != len(instantForm) {
		return nil, fmt.Errorf("prooflog: entry %d: the year of %v does not fit four digits", e.Seq, e.At)
	}
	lines := e.lines(at)
	size := len(Format) + 1
	for _, line := range lines {
		if !isOneLine(line.value) {
			return nil, fmt.Errorf("prooflog: entry %d: %s does not fit one line of text", e.Seq, line.name)
		}
		size += len(line.name) + len(line.value) + 2
	}
	// In one piece: a check of the whole log makes every entry's bytes.
	b := append(make([]byte, 0, size), Format+"\n"...)
	for _, line := range lines {
		b = append(append(append(append(b, line.name...), ' '), line.value...), '\n')
	}
	return b, nil
}

// isOneLine reports whether text is valid UTF-8 without control characters of
// ASCII, which are bytes of their own there.
func isOneLine(text string) bool {
	for i := range len(text) {
		if c := text[i]; c < 0x20 || c == 0x7f {
			return false
		}
	}
	return utf8.ValidString(text)
}

type entryLine struct{ name, value string }

func (e Entry) lines(at string) [7]entryLine {
	return [7]entryLine{
		{"seq", strconv.FormatInt(e.Seq, 10)}, {"at", at}, {"build", e.Build}, {"person", e.Person},
		{"kind", e.Kind}, {"subject", e.Subject}, {"detail", e.Detail},
	}
}

// ParseEntry reads an entry's bytes. It refuses bytes that are not exactly the
// byte form of the entry they hold.
func ParseEntry(b []byte) (Entry, error) {
	var e Entry
	lines := strings.Split(string(b), "\n")
	names := e.lines("")
	if len(lines) != len(names)+2 || lines[0] != Format || lines[len(lines)-1] != "" {
		return Entry{}, fmt.Errorf("prooflog: these are not the lines of a %q", Format)
	}
	values := make([]string, len(names))
	for i, name := range names {
		value, found := strings.CutPrefix(lines[i+1], name.name+" ")
		if !found {
			return Entry{}, fmt.Errorf("prooflog: line %d of the entry is not its %s", i+2, name.name)
		}
		values[i] = value
	}
	seq, err := strconv.ParseInt(values[0], 10, 64)
	if err != nil {
		return Entry{}, fmt.Errorf("prooflog: the entry's number: %w", err)
	}
	at, err := time.Parse(instantForm, values[1])
	if err != nil {
		return Entry{}, fmt.Errorf("prooflog: the entry's time: %w", err)
	}
	e = Entry{Seq: seq, At: at, Build: values[2], Person: values[3], Kind: values[4], Subject: values[5], Detail: values[6]}
	again, err := e.Bytes()
	if err != nil {
		return Entry{}, err
	}
	if !bytes.Equal(again, b) {
		return Entry{}, fmt.Errorf("prooflog: entry %d is not in its byte form", seq)
	}
	return e, nil
}
