package journal

import "errors"

// problemsIn returns the problems that an error carries, field by field.
func problemsIn(err error) Problems {
	var e *Error
	if !errors.As(err, &e) {
		return nil
	}
	return e.Fields
}
