package journal

import (
	"slices"
	"strings"
	"testing"
)

func TestParseReminderDays(t *testing.T) {
	for text, want := range map[string][]int{
		"":                 nil,
		" ":                nil,
		"-3, 1, 14, 30":    {-3, 1, 14, 30},
		"30 14\n1;\u22123": {-3, 1, 14, 30},
		"0":                {0},
		"+7":               {7},
	} {
		got, err := ParseReminderDays(text)
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("%q: %v, %v", text, got, err)
		}
		if again, err := ParseReminderDays(FormatReminderDays(got)); err != nil || !slices.Equal(again, got) {
			t.Errorf("%q written and read again: %v, %v", text, again, err)
		}
	}
	for _, text := range []string{"1, 1", "1.5", "a week", "366", "-366", "99999999999999999999", "1,,x"} {
		if got, err := ParseReminderDays(text); CodeOf(err) != Invalid || !strings.HasSuffix(MessageOf(err), ".") {
			t.Errorf("%q: %v, %v", text, got, err)
		}
	}
}

func TestShopValidate_Reminders(t *testing.T) {
	for _, tc := range []struct {
		name string
		days []int
		ok   bool
	}{
		{"none", nil, true},
		{"usual", []int{-3, 1, 14, 30}, true},
		{"not in order", []int{1, -3}, false},
		{"twice", []int{1, 1}, false},
		{"a year and a day", []int{366}, false},
		{"eleven", []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11}, false},
	} {
		shop := Shop{Name: "Tern Hollow", Zone: "America/Denver", Currency: "USD", QuietDays: 7, ReminderDays: tc.days}
		if err := shop.Validate(); (err == nil) != tc.ok {
			t.Errorf("%s: %v", tc.name, err)
		}
	}
}
