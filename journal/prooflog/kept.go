package prooflog

import (
	"bytes"
	"io"
	"mime/quotedprintable"
	"strconv"
	"strings"
)

// dash begins a signature's line, see c2sp.org/signed-note.
const dash = "—"

// FindCheckpoints returns what looks like a signed checkpoint in a text that
// somebody kept: a saved e-mail, with anything around the lines of the
// checkpoint, quoted by ">" or in quoted-printable; a receipt; a checkpoint
// alone. Each is a note for [OpenCheckpoint], which alone says whether it is
// one.
func FindCheckpoints(text []byte) [][]byte {
	found := findNotes(string(text))
	if len(found) > 0 || !bytes.Contains(text, []byte("=E2=80=94")) {
		return found
	}
	plain, err := io.ReadAll(quotedprintable.NewReader(bytes.NewReader(text)))
	if err != nil {
		return nil // it is no quoted-printable text either
	}
	return findNotes(string(plain))
}

func findNotes(text string) (found [][]byte) {
	lines := strings.Split(text, "\n")
	for i, line := range lines {
		lines[i] = strings.TrimLeft(strings.TrimSpace(line), "> \t")
	}
	for i := 2; i < len(lines); i++ {
		if !isHash(lines[i]) || !isSize(lines[i-1]) || lines[i-2] == "" {
			continue
		}
		if signatures := signaturesAt(lines[i+1:]); signatures != "" {
			found = append(found, []byte(lines[i-2]+"\n"+lines[i-1]+"\n"+lines[i]+"\n\n"+signatures))
		}
	}
	return found
}

// signaturesAt reads the lines of signatures after an empty line. Programs for
// e-mail break long lines at a blank, so a signature may stand on two.
func signaturesAt(lines []string) string {
	if len(lines) < 2 || lines[0] != "" {
		return ""
	}
	var all strings.Builder
	for lines = lines[1:]; len(lines) > 0; {
		rest, found := strings.CutPrefix(lines[0], dash)
		if !found {
			break
		}
		words := strings.Fields(rest)
		lines = lines[1:]
		if len(words) < 2 && len(lines) > 0 {
			words, lines = append(words, strings.Fields(lines[0])...), lines[1:]
		}
		if len(words) != 2 {
			break
		}
		all.WriteString(dash + " " + words[0] + " " + words[1] + "\n")
	}
	return all.String()
}

// isHash reports whether a line is 32 bytes in base64.
func isHash(line string) bool { return len(line) == 44 && line[43] == '=' }

func isSize(line string) bool {
	_, err := strconv.ParseInt(line, 10, 64)
	return err == nil
}
