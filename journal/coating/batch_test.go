package coating_test

import (
	"strings"
	"testing"

	"farbay/journal"
	"farbay/journal/coating"
)

func poured(component int, scale coating.Weight) coating.Pour {
	return coating.Pour{Act: coating.Poured, Component: component, Scale: scale}
}

func steps(b coating.Batch) string {
	var all []string
	for _, s := range b.Steps() {
		all = append(all, b.Formula.Components[s.Component].Name+" +"+s.Add.In(b.Formula.Step)+" to "+s.Scale.In(b.Formula.Step))
	}
	return strings.Join(all, ", ")
}

// 600 mL of 4:1:1, with 118.0 g of hardener poured for 106.0. Worked by hand: 118.0 /
// 106 x 593 = 660.13 g; clear 118 x 100 / 26.5 = 445.28, so 45.3 more; reducer 118 x
// 21.75 / 26.5 = 96.849, so 96.8. Own derivation.
func TestBatch_TooMuchHardener(t *testing.T) {
	b, err := byVolume().Replay(5930, []coating.Pour{poured(0, 4000), poured(1, 5180)})
	if err != nil {
		t.Fatal(err)
	}
	if b.Too != 120 || b.Over != 1 || !b.Grown() || b.Total() != 6601 {
		t.Errorf("too much %d of %d, total %d", b.Too, b.Over, b.Total())
	}
	if got, want := steps(b), "Clear +45.3 to 563.3, Reducer +96.8 to 660.1"; got != want {
		t.Errorf("steps %q, want %q", got, want)
	}
	if left, err := b.Take(coating.Pour{Act: coating.Left}); err != nil || steps(left) != "Reducer +87.0 to 605.0" || left.Total() != 6050 {
		t.Errorf("left as it is: %q, total %d, %v", steps(left), left.Total(), err)
	}
	if back, err := b.Take(coating.Pour{Act: coating.TakenBack}); err != nil || steps(back) != "Hardener +106.0 to 506.0, Reducer +87.0 to 593.0" {
		t.Errorf("taken back: %q, %v", steps(back), err)
	}
	topped, err := b.Take(poured(0, 5633))
	if err != nil {
		t.Fatal(err)
	}
	done, err := topped.Take(poured(2, 6601))
	if err != nil || !done.Done() || done.Ideal(1) != 1180 {
		t.Errorf("not done: %q, %v; ideal hardener %d", steps(done), err, done.Ideal(1))
	}
}

// The first component poured too much makes the whole batch larger, and asks for
// nothing more of it.
func TestBatch_TooMuchOfTheFirst(t *testing.T) {
	b, err := byWeight(coating.Gram, 4000, 1000).Replay(1000, []coating.Pour{poured(0, 880)})
	if err != nil || steps(b) != "Component 2 +22 to 110" {
		t.Errorf("%q, %v", steps(b), err)
	}
}

// Too little is gone on with, in any number of pours.
func TestBatch_Little(t *testing.T) {
	b, err := byVolume().Replay(5930, []coating.Pour{poured(0, 1500), poured(0, 3999)})
	if err != nil || b.Grown() || !strings.HasPrefix(steps(b), "Clear +0.1 to 400.0, ") {
		t.Errorf("%q, %v", steps(b), err)
	}
}

func TestBatch_Refusals(t *testing.T) {
	begun, err := byVolume().Replay(5930, []coating.Pour{poured(0, 4000)})
	if err != nil {
		t.Fatal(err)
	}
	done, err := begun.Formula.Replay(5930, []coating.Pour{poured(0, 4000), poured(1, 5060), poured(2, 5930)})
	if err != nil {
		t.Fatal(err)
	}
	whole, err := byWeight(coating.Gram, 4000, 1000).Begin(1000)
	if err != nil {
		t.Fatal(err)
	}
	fresh, err := byVolume().Begin(5930)
	if err != nil {
		t.Fatal(err)
	}
	for name, test := range map[string]struct {
		b    coating.Batch
		p    coating.Pour
		code journal.Code
	}{
		"a scale that fell":        {begun, poured(1, 3000), journal.Invalid},
		"a scale that stood still": {begun, poured(1, 4000), journal.Invalid},
		"below nothing":            {begun, poured(1, -1), journal.Invalid},
		"a batch past 100 kg":      {begun, poured(1, 400_000), journal.Invalid},
		"beyond any scale":         {begun, poured(1, 1<<62), journal.Invalid},
		"between whole grams":      {whole, poured(0, 805), journal.Invalid},
		"the wrong component":      {begun, poured(2, 5000), journal.Conflict},
		"no such component":        {begun, poured(7, 5000), journal.Conflict},
		"a full cup":               {done, poured(2, 6000), journal.Conflict},
		"leaving what is right":    {begun, coating.Pour{Act: coating.Left}, journal.Conflict},
		"taking back nothing":      {fresh, coating.Pour{Act: coating.TakenBack}, journal.Conflict},
		"no act":                   {begun, coating.Pour{}, journal.Invalid},
	} {
		before := steps(test.b)
		after, err := test.b.Take(test.p)
		if journal.CodeOf(err) != test.code || steps(after) != before {
			t.Errorf("%s: %v, steps %q", name, err, steps(after))
		}
	}
}
