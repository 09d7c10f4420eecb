package views

import (
	"testing"

	"farbay/journal"
)

// The pages about the money of all builds lead to each other, and are one part of
// the house; nobody but the office is led to them.
func TestMoneyNav(t *testing.T) {
	current := func(links []Link) (texts []string) {
		for _, l := range links {
			if l.Current {
				texts = append(texts, l.Text)
			}
		}
		return texts
	}
	for path, want := range map[string]string{"/receivables": "Receivables", "/cash": "What will come in", "/books": "Books", "/builds": "", "/builds/b/money": ""} {
		f := officeFrame("", path)
		here, house := current(f.MoneyNav()), current(f.HouseNav())
		if want == "" {
			if f.MoneyNav() != nil || len(house) == 1 && house[0] == "Money" {
				t.Errorf("%s: leads to %v, and the house shows %v", path, f.MoneyNav(), house)
			}
			continue
		}
		if len(f.MoneyNav()) != 3 || len(here) != 1 || here[0] != want || len(house) != 1 || house[0] != "Money" {
			t.Errorf("%s: here %v, in the house %v; want %s and Money", path, here, house, want)
		}
		f.Person = &Who{Role: journal.Floor}
		if f.MoneyNav() != nil {
			t.Errorf("%s: the floor is led to %v", path, f.MoneyNav())
		}
	}
}
