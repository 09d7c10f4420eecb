package views

import "testing"

func TestOfficeNew(t *testing.T) {
	if _, err := New(); err != nil {
		t.Fatal(err)
	}
}
