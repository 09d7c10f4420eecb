package store

import (
	"fmt"
	"reflect"
	"testing"
	"time"
)

// filler gives every field of a struct a value that occurs nowhere else, so
// that a column which is forgotten, or swapped with another, is seen.
type filler struct{ n int }

// fill returns a T with all fields set, then changed by fix, which puts in what
// the database checks (kinds, identifiers). It fails the test if fix leaves a
// field empty.
func fill[T any](t testing.TB, f *filler, fix func(*T)) T {
	t.Helper()
	var v T
	f.set(reflect.ValueOf(&v).Elem(), "")
	fix(&v)
	requireFull(t, reflect.ValueOf(v), reflect.TypeOf(v).String())
	return v
}

func (f *filler) set(v reflect.Value, name string) {
	f.n++
	switch v.Kind() {
	case reflect.String:
		v.SetString(fmt.Sprintf("%s %d é\n'%%", name, f.n))
	case reflect.Int, reflect.Int64:
		v.SetInt(int64(f.n))
	case reflect.Float64:
		v.SetFloat(float64(f.n) + 0.1)
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		f.set(v.Elem(), name)
	case reflect.Slice:
		if v.Type().Elem().Kind() == reflect.Uint8 {
			v.SetBytes(fmt.Appendf(nil, "%s\x00%d", name, f.n))
			return
		}
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		for i := range v.Len() {
			f.set(v.Index(i), name)
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			v.Set(reflect.ValueOf(noon.Add(time.Duration(f.n) * (time.Hour + time.Nanosecond))))
			return
		}
		for i := range v.NumField() {
			f.set(v.Field(i), v.Type().Field(i).Name)
		}
	default:
		panic("filler: no value for " + v.Type().String())
	}
}

func requireFull(t testing.TB, v reflect.Value, path string) {
	t.Helper()
	switch {
	case v.IsZero(), v.Kind() == reflect.Slice && v.Len() == 0:
		t.Errorf("%s is empty, so the round trip says nothing about it", path)
	case v.Kind() == reflect.Slice && v.Type().Elem().Kind() != reflect.Uint8:
		for i := range v.Len() {
			requireFull(t, v.Index(i), fmt.Sprintf("%s[%d]", path, i))
		}
	case v.Kind() == reflect.Struct && v.Type() != reflect.TypeFor[time.Time]():
		for i := range v.NumField() {
			requireFull(t, v.Field(i), path+"."+v.Type().Field(i).Name)
		}
	}
}
