package journal

import (
	"errors"
	"strings"
	"testing"
)

// 77 hours at 75 an hour are 5,775 (kma-restoration.com/restoration-terms-and-agreement);
// 160 hours at 65 are 10,400, "roughly" the deposit of 10,000 of
// stellarrestorations.com/restorationagreement. The others are our own.
func TestWorkReckon(t *testing.T) {
	for _, tc := range []struct {
		name string
		work Work
		want Cents
	}{
		{"77 h at 75", Work{Kind: Labour, Minutes: 77 * 60, Rate: 75_00}, 5_775_00},
		{"160 h at 65", Work{Kind: Labour, Minutes: 160 * 60, Rate: 65_00}, 10_400_00},
		{"a quarter of an hour", Work{Kind: Labour, Minutes: 15, Rate: 95_00}, 23_75},
		{"half a cent rounds away from zero", Work{Kind: Labour, Minutes: 6, Rate: 95_05}, 9_51}, // 9.505
		{"and its opposite likewise", Work{Kind: Labour, Minutes: -6, Rate: 95_05}, -9_51},
		{"parts without mark-up", Work{Kind: Parts, Cost: 123_45}, 123_45},
		{"parts with 15 %", Work{Kind: Parts, Cost: 123_45, MarkUp: 1500}, 141_97}, // 18.5175
		{"outside work at 100 %", Work{Kind: Outside, Cost: 40_00, MarkUp: 10_000}, 80_00},
		{"labour has no mark-up", Work{Kind: Labour, Minutes: 60, Rate: 10_00, Cost: 5_00, MarkUp: 5000}, 10_00},
	} {
		if got := tc.work.Reckon(); got != tc.want {
			t.Errorf("%s: %s, want %s", tc.name, got, tc.want)
		}
	}
}

func TestWorkValidate(t *testing.T) {
	hours := Work{Kind: Labour, Day: "2026-04-14", Text: "Welded the left pan.", PersonID: "p", Minutes: 60, Rate: 95_00}
	part := Work{Kind: Parts, Day: "2026-04-14", Text: "Seam sealer", Cost: 48_00, MarkUp: 1500}
	sublet := Work{Kind: Outside, Day: "2026-04-14", Text: "Chrome on 14 pieces", Cost: 400_00, FileSHA256: strings.Repeat("a", 64)}
	with := func(w Work, change func(*Work)) Work { change(&w); return w }
	for _, tc := range []struct {
		name   string
		work   Work
		fields []string
	}{
		{"hours", hours, nil},
		{"a part", part, nil},
		{"outside work with the supplier's invoice", sublet, nil},
		{"six minutes", with(hours, func(w *Work) { w.Minutes = 6 }), nil},
		{"a whole day", with(hours, func(w *Work) { w.Minutes = 1440 }), nil},
		{"work of goodwill", with(hours, func(w *Work) { w.Rate = 0 }), nil},
		{"the day the build began", with(hours, func(w *Work) { w.Day = "2026-01-09" }), nil},
		{"five minutes", with(hours, func(w *Work) { w.Minutes = 5 }), []string{"hours"}},
		{"a day and a minute", with(hours, func(w *Work) { w.Minutes = 1441 }), []string{"hours"}},
		{"hours below zero", with(hours, func(w *Work) { w.Minutes = -60 }), []string{"hours"}},
		{"nobody", with(hours, func(w *Work) { w.PersonID = "" }), []string{"person"}},
		{"a rate below zero", with(hours, func(w *Work) { w.Rate = -1 }), []string{"rate"}},
		{"a rate out of reason", with(hours, func(w *Work) { w.Rate = MaxCents + 1 }), []string{"rate"}},
		{"tomorrow", with(hours, func(w *Work) { w.Day = "2026-04-16" }), []string{"day"}},
		{"before the build", with(hours, func(w *Work) { w.Day = "2026-01-08" }), []string{"day"}},
		{"no day", with(hours, func(w *Work) { w.Day = "" }), []string{"day"}},
		{"no words", with(hours, func(w *Work) { w.Text = "" }), []string{"text"}},
		{"too many words", with(hours, func(w *Work) { w.Text = strings.Repeat("x", 501) }), []string{"text"}},
		{"unreadable words", with(hours, func(w *Work) { w.Text = "a\x00b" }), []string{"text"}},
		{"no cost", with(part, func(w *Work) { w.Cost = 0 }), []string{"cost"}},
		{"a cost out of reason", with(part, func(w *Work) { w.Cost = MaxCents + 1 }), []string{"cost"}},
		{"a mark-up above 100 %", with(part, func(w *Work) { w.MarkUp = 10_001 }), []string{"mark_up"}},
		{"a mark-up below 0", with(part, func(w *Work) { w.MarkUp = -1 }), []string{"mark_up"}},
		{"outside work without the supplier's invoice", with(sublet, func(w *Work) { w.FileSHA256 = "" }), []string{"file"}},
		{"delivery is not logged", with(part, func(w *Work) { w.Kind = Delivery }), []string{"kind"}},
		{"nothing at all", Work{}, []string{"kind", "day", "text", "cost"}},
		{"taken back without a reason", with(hours, func(w *Work) { w.TakesBack = "x" }), []string{"reason"}},
		{"taken back with one", with(hours, func(w *Work) { w.TakesBack, w.Reason, w.Minutes = "x", "Wrong stage.", -60 }), nil},
	} {
		err := tc.work.Validate("2026-01-09", "2026-04-15")
		var e *Error
		if errors.As(err, &e); err == nil && tc.fields == nil {
			continue
		}
		if e == nil || e.Code != Invalid || len(e.Fields) != len(tc.fields) {
			t.Errorf("%s: %v, want sentences for %q", tc.name, err, tc.fields)
			continue
		}
		for _, field := range tc.fields {
			if !strings.HasSuffix(e.Fields[field], ".") {
				t.Errorf("%s: %s has no sentence: %q", tc.name, field, e.Fields[field])
			}
		}
	}
}

func TestWorkTakenBack(t *testing.T) {
	w := Work{ID: "w", Kind: Outside, Cost: 123_45, MarkUp: 1500, FileName: "a.pdf", FileSHA256: "aa"}
	w.Amount = w.Reckon()
	back := w.TakenBack()
	if back.TakesBack != "w" || back.ID != "" || back.Amount != -w.Amount || back.Reckon() != back.Amount || back.FileName != "" {
		t.Errorf("taken back: %+v", back)
	}
}
