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
}

var declaredLetters []Letter

func declareLetters(letters ...Letter) bool {
	declaredLetters = append(declaredLetters, letters...)
	return true
}

type mailSet map[string]*template.Template

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
		own, err := base.Clone()
		if err != nil {
			return nil, fmt.Errorf("views.New: %w", err)
		}
		if set[name], err = own.New(name).Parse(string(text)); err != nil {
			return nil, fmt.Errorf("views.New: %w", err)
		}
	}
	for _, l := range declaredLetters {
		if set[l.Mail()] == nil {
			return nil, fmt.Errorf("views.New: letter %T has no text mail/%s.txt", l, l.Mail())
		}
	}
	return set, nil
}

// Letter returns the subject and the plain text of an e-mail. The subject is
// one line: line breaks that came in with a name or title become blanks, so
// that nobody's text can add a header.
//
// Errors: a letter whose template does not fit it, or whose [Words] are not
// filled.
func (s *Set) Letter(l Letter) (subject, text string, err error) {
	t := s.mail[l.Mail()]
	if t == nil {
		return "", "", fmt.Errorf("views.Letter: no text mail/%s.txt", l.Mail())
	}
	var made bytes.Buffer
	if err := t.Execute(&made, l); err != nil {
		return "", "", fmt.Errorf("views.Letter: %w", err)
	}
	head, body, _ := strings.Cut(made.String(), "\n\n")
	subject = strings.Join(strings.Fields(strings.TrimPrefix(head, "Subject: ")), " ")
	return subject, strings.TrimSpace(body) + "\n", nil
}
