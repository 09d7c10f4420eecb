package store

import (
	"database/sql/driver"
	"encoding/json"
	"fmt"
	"time"

	"farbay/journal"
)

// instantForm is the stored form of an instant: fixed width, so that it sorts
// as text.
const instantForm = "2006-01-02T15:04:05.000000000Z"

// instant is a point in time as it is stored; the zero time is "".
type instant struct {
	time.Time `gorm:"type:text;autoCreateTime:false"`
}

func at(t time.Time) instant { return instant{t} }

// text returns the stored form, for comparisons in queries.
func (i instant) text() string {
	if i.IsZero() {
		return ""
	}
	return i.UTC().Format(instantForm)
}

// Value implements [driver.Valuer].
func (i instant) Value() (driver.Value, error) {
	s := i.text()
	if s != "" && len(s) != len(instantForm) {
		return nil, fmt.Errorf("the year of %v does not fit four digits", i.Time)
	}
	return s, nil
}

// Scan implements [database/sql.Scanner]. NULL, as max() gives for no rows, is
// the zero time.
func (i *instant) Scan(src any) error {
	switch src := src.(type) {
	case nil:
		*i = instant{}
		return nil
	case string:
		return i.parse(src)
	case []byte:
		return i.parse(string(src))
	}
	return fmt.Errorf("an instant is stored as text, not %T", src)
}

func (i *instant) parse(s string) error {
	if s == "" {
		*i = instant{}
		return nil
	}
	t, err := time.Parse(instantForm, s)
	if err != nil {
		return fmt.Errorf("stored instant: %w", err)
	}
	*i = instant{t.UTC()}
	return nil
}

// ref is an identifier that may point nowhere: "" is stored as NULL, so that
// foreign keys hold for the rest.
type ref string

// Value implements [driver.Valuer].
func (r ref) Value() (driver.Value, error) {
	if r == "" {
		return nil, nil
	}
	return string(r), nil
}

// Scan implements [database/sql.Scanner].
func (r *ref) Scan(src any) error {
	switch src := src.(type) {
	case nil:
		*r = ""
	case string:
		*r = ref(src)
	case []byte:
		*r = ref(src)
	default:
		return fmt.Errorf("an identifier is stored as text, not %T", src)
	}
	return nil
}

// list is a slice stored as a JSON array. No elements, nil or not, are stored
// as [] and read back as nil.
type list[T any] struct {
	Items []T `gorm:"type:text"`
}

func listOf[T any](items []T) list[T] { return list[T]{items} }

// Value implements [driver.Valuer].
func (l list[T]) Value() (driver.Value, error) {
	if len(l.Items) == 0 {
		return "[]", nil
	}
	b, err := json.Marshal(l.Items)
	return string(b), err
}

// Scan implements [database/sql.Scanner].
func (l *list[T]) Scan(src any) error {
	var items []T
	if err := scanJSON(src, &items); err != nil {
		return err
	}
	if len(items) == 0 {
		items = nil
	}
	l.Items = items
	return nil
}

// object is a struct stored as a JSON object.
type object[T any] struct {
	V T `gorm:"type:text"`
}

// Value implements [driver.Valuer].
func (o object[T]) Value() (driver.Value, error) {
	b, err := json.Marshal(o.V)
	return string(b), err
}

// Scan implements [database/sql.Scanner].
func (o *object[T]) Scan(src any) error {
	var v T
	if err := scanJSON(src, &v); err != nil {
		return err
	}
	o.V = v
	return nil
}

func scanJSON(src, dest any) error {
	switch src := src.(type) {
	case string:
		return json.Unmarshal([]byte(src), dest)
	case []byte:
		return json.Unmarshal(src, dest)
	}
	return fmt.Errorf("JSON is stored as text, not %T", src)
}

// each translates a slice; nil for no elements.
func each[A, B any](in []A, f func(A) B) []B {
	if len(in) == 0 {
		return nil
	}
	out := make([]B, len(in))
	for i, v := range in {
		out[i] = f(v)
	}
	return out
}

// jsonArray is a set of identifiers as one parameter, for
// "IN (SELECT value FROM json_each(?))": the query stays the same for any number.
func jsonArray[T ~string](ids []T) (string, error) {
	if len(ids) == 0 {
		return "[]", nil
	}
	b, err := json.Marshal(ids)
	return string(b), err
}

// splitJSON is an amount by line kind inside a JSON column.
type splitJSON struct {
	Labour   journal.Cents `json:"labour"`
	Parts    journal.Cents `json:"parts"`
	Outside  journal.Cents `json:"outside"`
	Delivery journal.Cents `json:"delivery"`
	Other    journal.Cents `json:"other"`
}
