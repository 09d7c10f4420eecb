package server

import (
	"net/http"

	"farbay/journal"
	"farbay/views"
)

// refusal is how a page with a form is shown after its step refused what was
// typed. The zero value shows the page as it is.
type refusal struct {
	status   int              // 0 counts as 200
	problems journal.Problems // beside the fields
	sentence string           // at the head of the page, when no field is to blame
}

// refused turns a step's error into a refusal; ok is false for nil and for
// errors that are not about what was typed, nor about when.
func refused(err error) (r refusal, ok bool) {
	switch journal.CodeOf(err) {
	case journal.Conflict:
		return refusal{status: http.StatusConflict, sentence: journal.MessageOf(err)}, true
	case journal.Invalid:
		bad, other := problems(err)
		if other != nil {
			return refusal{status: http.StatusUnprocessableEntity, sentence: journal.MessageOf(other)}, true
		}
		return refusal{status: http.StatusUnprocessableEntity, problems: bad}, true
	}
	return refusal{}, false
}

// late reports whether somebody was faster: what the form was filled from is
// no longer what is stored.
func (r refusal) late() bool { return r.status == http.StatusConflict }

// answer is the page's status.
func (r refusal) answer() int {
	if r.status == 0 {
		return http.StatusOK
	}
	return r.status
}

// on says the refusal's sentence at the head of a page.
func (r refusal) on(f *views.Frame) {
	f.Refused = r.sentence
}

// check returns all that is wrong with what a form was read into, so that a
// person is told at once: what could not be read, and what the thing's own
// Validate says. Problems beside fields come as one Invalid error.
func (f *form) check(valid error) error {
	if err := f.add(valid); err != nil {
		return err
	}
	return f.err()
}
