package views

import (
	"fmt"
	"slices"
	"strings"

	"farbay/journal"
)

// Input is one field of a form as the pieces "field", "area", "choice",
// "radios", "money" and "day" show it: a label above, help under the
// label, then what is wrong, then the control with what was typed. Templates
// make one with
//
//	{{template "field" (input "email" "E-mail address" .Email .Problems | kind "email" | auto "email" | must)}}
//
// and change it with kind, help, auto, must, most, rows, options, symbol,
// prefix.
type Input struct {
	Name         string // form field name
	Prefix       string // before the name in the control's id, where a page has the name twice
	Label        string
	Value        string // as typed, kept
	Problem      string // what is wrong with it, a whole sentence; "" if nothing
	Help         string
	Type         string // of an input element; "text" when empty
	Autocomplete string
	Required     bool
	MaxLength    int // in characters; 0 for none
	Rows         int // of an area
	Symbol       string
	Options      []Option // of a choice or radios
}

// Option is one thing to choose.
type Option struct {
	Value string
	Text  string
	Help  string // under a radio; "" for none
}

// Problem is one thing wrong with a form, with the field it belongs to.
type Problem struct {
	Field    string // form field name
	Sentence string
}

// newInput takes the value as any of string, journal.Date, journal.Cents, int
// or a named string type, so that a page struct may keep its own types. An
// amount is shown without its currency.
func newInput(name, label string, value any, problems journal.Problems) (Input, error) {
	text := ""
	switch v := value.(type) {
	case nil:
	case string:
		text = v
	case bool:
		if v {
			text = "yes"
		}
	case int, journal.Cents, journal.Date, journal.StageID, journal.PersonID, journal.PlanID, journal.PhotoID, journal.InvoiceID,
		journal.EntryKind, journal.Audience, journal.LineKind, journal.Means, journal.Role, journal.MemberAs, journal.BasisPoints:
		text = fmt.Sprint(v)
	default:
		return Input{}, fmt.Errorf("views: field %s has a value of type %T, which no form can show", name, value)
	}
	return Input{Name: name, Label: label, Value: text, Problem: problems[name]}, nil
}

// ID returns the control's id: "f-", the prefix, the name.
func (f Input) ID() string { return "f-" + f.Prefix + f.Name }

// Described returns the ids of the help and of the problem, for
// aria-describedby; "" for neither.
func (f Input) Described() string {
	var ids []string
	if f.Help != "" {
		ids = append(ids, f.ID()+"-help")
	}
	if f.Problem != "" {
		ids = append(ids, f.ID()+"-problem")
	}
	return strings.Join(ids, " ")
}

// problemList returns the problems sorted by field name, so that the same form
// always says them in the same order.
func problemList(problems journal.Problems) []Problem {
	list := make([]Problem, 0, len(problems))
	for field, sentence := range problems {
		list = append(list, Problem{Field: field, Sentence: sentence})
	}
	slices.SortFunc(list, func(a, b Problem) int { return strings.Compare(a.Field, b.Field) })
	return list
}
