package views

import (
	"bytes"
	"embed"
	"fmt"
	"io/fs"
	"path"
	"strings"
	"text/template"
)

//go:embed mail/*.txt
var mailFiles embed.FS

// Letter is the content of an e-mail: a struct that embeds [MailFrame] and
// names its template below mail/, without ".txt". The template's first line is
// the subject.
type Letter interface {
	Mail() string
}

// MailFrame is what every letter needs.
type MailFrame struct {
	Words
	ShopName  string
	ShopPhone string // "" for none
	ToName    string
	// Checkpoint is the signed state of the proof log, and LogAt the page that
	// explains it; "" for none.
	Checkpoint, LogAt string
}

var declaredLetters []Letter

func declareLetters(letters ...Letter) bool {
	declaredLetters = append(declaredLetters, letters...)
	return true
}

// mailText is one letter's text: its subject line and what follows the first
// blank line.
type mailText struct{ subject, body *template.Template }

type mailSet map[string]mailText

// parseMail parses every letter; each stands on its own, with the pieces of
// mail/_pieces.txt.
func parseMail() (mailSet, error) {
	set := mailSet{}
	base := template.New("").Option("missingkey=error").Funcs(template.FuncMap{
		"plural": Plural, "list": List, "workingDays": WorkingDays, "percent": Percent, "lower": strings.ToLower})
	pieces, err := mailFiles.ReadFile("mail/pieces.txt")
	if err != nil {
		return nil, fmt.Errorf("views.New: %w", err)
	}
	if base, err = base.Parse(string(pieces)); err != nil {
		return nil, fmt.Errorf("views.New: %w", err)
	}
	files, err := fs.Glob(mailFiles, "mail/*.txt")
	if err != nil {
		return nil, fmt.Errorf("views.New: %w", err)
	}
	for _, file := range files {
		name := strings.TrimSuffix(path.Base(file), ".txt")
		if name == "pieces" {
			continue
		}
		text, err := mailFiles.ReadFile(file)
		if err != nil {
			return nil, fmt.Errorf("views.New: %w", err)
		}
		if set[name], err = parseLetter(base, name, string(text)); err != nil {
			return nil, err
		}
	}
	for _, l := range declaredLetters {
		if set[l.Mail()].body == nil {
			return nil, fmt.Errorf("views.New: letter %T has no text mail/%s.txt", l, l.Mail())
		}
	}
	return set, nil
}

func parseLetter(base *template.Template, name, text string) (mailText, error) {
	head, body, found := strings.Cut(text, "\n\n")
	subject, named := strings.CutPrefix(head, "Subject: ")
	if !found || !named {
		return mailText{}, fmt.Errorf("views.New: mail/%s.txt does not begin with a subject line and a blank line", name)
	}
	own, err := base.Clone()
	if err != nil {
		return mailText{}, fmt.Errorf("views.New: %w", err)
	}
	var letter mailText
	if letter.subject, err = own.New(name + " subject").Parse(subject); err != nil {
		return mailText{}, fmt.Errorf("views.New: %w", err)
	}
	if letter.body, err = own.New(name).Parse(body); err != nil {
		return mailText{}, fmt.Errorf("views.New: %w", err)
	}
	return letter, nil
}

// Letter returns the subject and the plain text of an e-mail. The subject is
// one line: line breaks that came in with a name or title become blanks, so
// that nobody's text can add a header.
//
// Errors: a letter whose template does not fit it, or whose [Words] are not
// filled.
func (s *Set) Letter(l Letter) (subject, text string, err error) {
	t := s.mail[l.Mail()]
	if t.body == nil {
		return "", "", fmt.Errorf("views.Letter: no text mail/%s.txt", l.Mail())
	}
	var head, body bytes.Buffer
	if err := t.subject.Execute(&head, l); err != nil {
		return "", "", fmt.Errorf("views.Letter: %w", err)
	}
	if err := t.body.Execute(&body, l); err != nil {
		return "", "", fmt.Errorf("views.Letter: %w", err)
	}
	return strings.Join(strings.Fields(head.String()), " "), strings.TrimSpace(body.String()) + "\n", nil
}
