package journal

import (
	"errors"
	"fmt"
)

// Code says what kind of failure an [Error] is. The server translates codes to
// HTTP statuses in one table.
type Code string

const (
	// Invalid: what was entered cannot be taken; Fields says where.
	Invalid Code = "invalid"
	// NotFound: no such thing, or not for this person to know of.
	NotFound Code = "not found"
	// Forbidden: the person is known and may not do this.
	Forbidden Code = "forbidden"
	// SignedOut: the act needs a signed-in person.
	SignedOut Code = "signed out"
	// Conflict: it was right when read and no longer is (a lost race, an old
	// revision, a stage already closed).
	Conflict Code = "conflict"
	// TooLarge: more bytes, pixels or files than are taken.
	TooLarge Code = "too large"
	// TooMany: more attempts than are allowed for now.
	TooMany Code = "too many"
	// Unavailable: something outside failed (disk full, mail server down);
	// trying again may help.
	Unavailable Code = "unavailable"
	// Internal: a fault of the program; its text is never shown to a person.
	Internal Code = "internal"
)

// Error is a failure fit to be shown: a code, one or more whole sentences for
// the reader, where in a form it belongs, and the cause for the log.
type Error struct {
	Code    Code
	Message string            // whole sentences, for the person
	Fields  map[string]string // form field name -> sentence; only with Invalid
	Err     error             // cause, for the log only; may be nil
}

// Error returns the message, and the cause after a colon. For logs.
func (e *Error) Error() string {
	s := string(e.Code) + ": " + e.Message
	for name, text := range e.Fields {
		s += " [" + name + ": " + text + "]"
	}
	if e.Err != nil {
		s += ": " + e.Err.Error()
	}
	return s
}

// Unwrap returns the cause.
func (e *Error) Unwrap() error { return e.Err }

// Errorf makes an [Error] with a formatted message for the reader.
func Errorf(code Code, format string, args ...any) *Error {
	return &Error{Code: code, Message: fmt.Sprintf(format, args...)}
}

// CodeOf returns the code of err, [Internal] for errors of other packages, and
// "" for nil.
func CodeOf(err error) Code {
	if err == nil {
		return ""
	}
	var e *Error
	if errors.As(err, &e) {
		return e.Code
	}
	return Internal
}

// MessageOf returns the sentences to show for err; for [Internal] failures and
// errors of other packages a fixed sentence that tells nothing of the cause.
func MessageOf(err error) string {
	var e *Error
	if errors.As(err, &e) && e.Code != Internal {
		return e.Message
	}
	return "Something went wrong on our side. Nothing was lost; please try again."
}

// Problems collects what is wrong with a form, field by field.
type Problems map[string]string

// Add records a sentence for a field; the first one for a field stays.
func (p Problems) Add(field, format string, args ...any) {
	if _, taken := p[field]; !taken {
		p[field] = fmt.Sprintf(format, args...)
	}
}

// Err returns nil when nothing was recorded, else an [Invalid] error with all
// of it.
func (p Problems) Err() error {
	if len(p) == 0 {
		return nil
	}
	return &Error{Code: Invalid, Message: "Please look at the marked fields; everything you typed is still here.", Fields: p}
}

// ProblemsOf returns the field problems of an [Invalid] error, to add to; none
// for nil.
func ProblemsOf(err error) Problems {
	bad := Problems{}
	var e *Error
	if errors.As(err, &e) {
		for field, sentence := range e.Fields {
			bad[field] = sentence
		}
	}
	return bad
}
