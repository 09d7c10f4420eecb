package billing

import (
	"fmt"
	"testing"

	"farbay/journal"
	"pgregory.net/rapid"
)

// metered returns an account with one stage "m" by time and materials.
func metered(ceiling journal.Cents, others ...Charge) *Account {
	a := account(append(others, stage("m", ceiling))...)
	a.Metered = []Meter{{StageID: "m"}}
	return a
}

// log adds work of one kind to the stage "m".
func log(a *Account, kind journal.LineKind, amount journal.Cents) string {
	ref := fmt.Sprintf("work:%d", len(a.Work)+1)
	a.Work = append(a.Work, Charge{Ref: ref, Source: LoggedWork, StageID: "m", Text: ref, Split: journal.Split{}.Plus(kind, amount)})
	return ref
}

// billSoFar bills the stage "m" without closing it.
func billSoFar(tb testing.TB, a *Account) Document {
	tb.Helper()
	d, ok, err := Next(*a, a.Unbilled("m"), today, "")
	if err != nil || !ok {
		tb.Fatalf("bill so far: ok %v, %v", ok, err)
	}
	return issue(tb, a, d)
}

// nothingToBill fails when the stage "m" has something to bill.
func nothingToBill(tb testing.TB, a *Account, closes string) {
	tb.Helper()
	if d, ok, err := Next(*a, a.Unbilled("m"), today, closes); err != nil || ok {
		tb.Errorf("there is something to bill: %+v, %v", d, err)
	}
}

func held(d Document) (lines []Charge) {
	for _, c := range d.Charges {
		if c.Source == CeilingHeld {
			lines = append(lines, c)
		}
	}
	return lines
}

// Two shops publish their rate and what it comes to: 77 hours at 75 an hour are
// 5,775 (kma-restoration.com/restoration-terms-and-agreement), and a deposit of
// 10,000 is roughly 160 hours at 65, which are 10,400
// (stellarrestorations.com/restorationagreement).
func TestMetered_PublishedHours(t *testing.T) {
	for _, tc := range []struct {
		hours      int
		rate, want string
	}{{77, "75", "5,775"}, {160, "65", "10,400"}} {
		a := metered(cents(t, "20,000"))
		w := journal.Work{Kind: journal.Labour, Minutes: tc.hours * 60, Rate: cents(t, tc.rate)}
		same(t, fmt.Sprintf("%d h at %s", tc.hours, tc.rate), w.Reckon(), cents(t, tc.want))
		log(a, journal.Labour, w.Reckon())
		d := billSoFar(t, a)
		same(t, "billed", d.Subtotal, cents(t, tc.want))
	}
	// The same hours, logged a quarter of an hour at a time, come to the same: the
	// rate divides by four.
	var sum journal.Cents
	for range 77 * 4 {
		sum += journal.Work{Kind: journal.Labour, Minutes: 15, Rate: 7500}.Reckon()
	}
	same(t, "77 h in quarters", sum, cents(t, "5,775"))
	// The deposit of 10,000 pays for what those hours come to as far as it goes.
	a := metered(cents(t, "20,000"))
	a.Terms.Crediting, a.Terms.Deposit, a.Terms.RefillFloor = FirstFirst, cents(t, "10,000"), cents(t, "500")
	a.DepositReceived = a.Terms.Deposit
	log(a, journal.Labour, cents(t, "10,400"))
	d := billSoFar(t, a)
	same(t, "covered by the deposit", d.DepositCredit, cents(t, "10,000"))
	same(t, "to pay", d.Payable, cents(t, "400"))
}

// The ceiling under the work, at it and above it; figures are our own.
func TestMetered_Ceiling(t *testing.T) {
	for _, tc := range []struct {
		name           string
		logged         []journal.Cents
		billed, unused journal.Cents
		beyond         journal.Cents
		used           journal.BasisPoints
	}{
		{"nothing logged", nil, 0, 400_000, 0, 0},
		{"under", []journal.Cents{315_000}, 315_000, 85_000, 0, 7_875},
		{"a cent under", []journal.Cents{399_999}, 399_999, 1, 0, 9_999},
		{"at", []journal.Cents{200_000, 200_000}, 400_000, 0, 0, 10_000},
		{"a cent over", []journal.Cents{400_001}, 400_000, 0, 1, 10_000},
		{"far over", []journal.Cents{300_000, 500_000}, 400_000, 0, 400_000, 20_000},
	} {
		t.Run(tc.name, func(t *testing.T) {
			a := metered(400_000)
			for _, amount := range tc.logged {
				log(a, journal.Labour, amount)
			}
			m, ok := MeteringOf(*a, "m")
			if !ok || m.Used() != tc.used {
				t.Errorf("used %d, want %d (%v)", m.Used(), tc.used, ok)
			}
			same(t, "beyond", m.Beyond(), tc.beyond)
			d, ok, err := Next(*a, a.Unbilled("m"), today, "m")
			if err != nil || ok != (tc.billed != 0) {
				t.Fatalf("Next: %v, %v", ok, err)
			}
			if ok {
				issue(t, a, d)
			}
			a.Metered[0].Closed = true
			s := adds(t, *a)
			same(t, "billed", s.Billed, tc.billed)
			same(t, "not needed", s.Unused, tc.unused)
			same(t, "to bill", s.ToBill, 0)
			nothingToBill(t, a, "")
			if lines := held(d); (tc.beyond > 0) != (len(lines) == 1) {
				t.Errorf("lines about the ceiling: %+v", lines)
			} else if tc.beyond > 0 {
				same(t, "not charged", lines[0].Split.Total(), -tc.beyond)
			}
		})
	}
	if _, ok := MeteringOf(*account(stage("f", 100)), "f"); ok {
		t.Error("a stage at a fixed price is metered")
	}
	for worked, want := range map[journal.Cents]int{0: 0, 3_150: 79, 3_199: 79, 3_200: 80, 3_219: 80, 3_221: 81, 3_999: 99, 4_000: 100, 4_021: 101} {
		if got := (Metering{Ceiling: 4_000, Worked: worked}).Percent(); got != want {
			t.Errorf("%s of 40.00 is %d %%, want %d", worked, got, want)
		}
	}
	if m := (Metering{Worked: 1}); m.Used() != 10_000 {
		t.Errorf("work without a ceiling uses %d", m.Used())
	}
}

func TestMetered_CeilingRaisedLater(t *testing.T) {
	a := metered(400_000)
	log(a, journal.Labour, 500_000)
	billSoFar(t, a)
	nothingToBill(t, a, "")
	a.Agreed = append(a.Agreed, delta("1", "m", 60_000))
	d := billSoFar(t, a)
	same(t, "charged when raised", d.Subtotal, 60_000)
	if lines := held(d); len(lines) != 1 || lines[0].Text != "Work done before, charged now within the ceiling of 4,600.00" || lines[0].Ref != "ceiling:m/2" {
		t.Errorf("lines about the ceiling: %+v", lines)
	}
	a.Agreed = append(a.Agreed, delta("2", "m", 540_000))
	log(a, journal.Parts, 10_000)
	d = billSoFar(t, a)
	same(t, "the rest and the new part", d.Subtotal, 50_000)
	s := adds(t, *a)
	same(t, "billed", s.Billed, 510_000)
	same(t, "still within the ceiling", s.ToBill, 490_000)
}

func TestMetered_CeilingLoweredBelowBilled(t *testing.T) {
	a := metered(400_000)
	log(a, journal.Labour, 350_000)
	invoice := billSoFar(t, a)
	a.Agreed = append(a.Agreed, delta("1", "m", -150_000))
	d := billSoFar(t, a)
	if d.Kind != CreditMemo {
		t.Errorf("a %s", d.Kind)
	}
	same(t, "credited", d.Payable, -100_000)
	if lines := held(d); len(lines) != 1 || lines[0].Text != "Above the ceiling of 2,500.00 and billed before: credited" {
		t.Errorf("lines about the ceiling: %+v", lines)
	}
	for _, b := range Open(*a) {
		if b.Document.ID == invoice.ID {
			same(t, "left open on the invoice", b.Open, 250_000)
		}
	}
	// More work changes nothing now.
	log(a, journal.Labour, 20_000)
	nothingToBill(t, a, "m")
	// Lowered to less than nothing, what is below it is owed to the owner, as the
	// signed total says.
	a.Agreed = append(a.Agreed, delta("2", "m", -300_000))
	d = billSoFar(t, a)
	same(t, "credited at the end", d.Subtotal, -300_000)
	a.Metered[0].Closed = true
	s := adds(t, *a)
	same(t, "billed", s.Billed, -50_000)
	same(t, "agreed", s.Agreed, -50_000)
}

func TestMetered_TakenBack(t *testing.T) {
	t.Run("before it was billed", func(t *testing.T) {
		a := metered(400_000)
		log(a, journal.Labour, 100_000)
		log(a, journal.Labour, -100_000)
		nothingToBill(t, a, "m")
		log(a, journal.Parts, 5_000)
		d := billSoFar(t, a)
		same(t, "billed", d.Subtotal, 5_000)
		if len(d.Charges) != 3 {
			t.Errorf("the invoice shows %d lines, want all three", len(d.Charges))
		}
	})
	t.Run("after it was billed", func(t *testing.T) {
		a := metered(400_000)
		log(a, journal.Labour, 100_000)
		log(a, journal.Labour, 50_000)
		billSoFar(t, a)
		log(a, journal.Labour, -50_000)
		d := billSoFar(t, a)
		if d.Kind != CreditMemo {
			t.Errorf("a %s", d.Kind)
		}
		same(t, "credited", d.Subtotal, -50_000)
		same(t, "billed", adds(t, *a).Billed, 100_000)
	})
	t.Run("while above the ceiling", func(t *testing.T) {
		a := metered(400_000)
		log(a, journal.Labour, 450_000)
		billSoFar(t, a)
		log(a, journal.Labour, -30_000) // still above: nothing to give back
		nothingToBill(t, a, "")
		log(a, journal.Labour, -40_000)
		d := billSoFar(t, a)
		same(t, "credited", d.Subtotal, -20_000)
		same(t, "billed is what was worked", adds(t, *a).Billed, 380_000)
	})
}

func TestMetered_CancelledInvoices(t *testing.T) {
	a := metered(400_000)
	log(a, journal.Labour, 300_000)
	first := billSoFar(t, a)
	log(a, journal.Parts, 200_000)
	second := billSoFar(t, a)
	same(t, "the second, up to the ceiling", second.Subtotal, 100_000)

	cancel(t, a, first.ID)
	again := billSoFar(t, a)
	same(t, "the first again", again.Subtotal, 300_000)
	cancel(t, a, second.ID)
	cancel(t, a, again.ID)
	same(t, "billed", adds(t, *a).Billed, 0)
	all := billSoFar(t, a)
	same(t, "all at once", all.Subtotal, 400_000)
	seen := map[string]int{}
	for _, d := range a.Documents {
		if d.Cancels != "" {
			continue
		}
		for _, c := range held(d) {
			seen[c.Ref]++
		}
	}
	for ref, times := range seen {
		if times > 1 {
			t.Errorf("%s stands on %d invoices", ref, times)
		}
	}
	nothingToBill(t, a, "m")
}

// Labour is not taxed and parts are: above the ceiling what is billed is divided
// as the work is, so that tax is asked for on the parts that are paid for, however
// the invoices were cut.
func TestMetered_KindsTaxedDifferently(t *testing.T) {
	logAll := func(a *Account, after func()) {
		a.Terms.Tax = Tax{Parts: 625}
		log(a, journal.Labour, 300_000)
		after()
		log(a, journal.Parts, 200_000)
		after()
		log(a, journal.Labour, 100_000)
		after()
	}
	once := metered(400_000)
	logAll(once, func() {})
	d := billSoFar(t, once)
	// 6,000.00 of work, a third of it parts: a third of 4,000.00 is 1,333.33.
	same(t, "tax on the parts within the ceiling", d.Tax, cents(t, "83.33"))

	often := metered(400_000)
	logAll(often, func() { billSoFar(t, often) })
	s, want := adds(t, *often), adds(t, *once)
	same(t, "billed, however cut", s.Billed, want.Billed)
	same(t, "tax, however cut", s.Tax, want.Tax)
	same(t, "with tax, however cut", s.BilledWithTax, want.BilledWithTax)
	last := often.Documents[len(often.Documents)-1]
	if lines := held(last); len(lines) != 1 || last.Subtotal != 0 || last.Kind != CreditMemo || last.Tax >= 0 {
		t.Errorf("the last document only shifts from parts to labour, and is %+v", last)
	}
}

func TestMetered_Reopened(t *testing.T) {
	a := metered(400_000)
	log(a, journal.Labour, 300_000)
	bill(t, a, "m")
	a.Metered[0].Closed = true
	same(t, "not needed", adds(t, *a).Unused, 100_000)
	a.Metered[0].Closed = false
	s := adds(t, *a)
	same(t, "not needed once it is reopened", s.Unused, 0)
	same(t, "to bill again", s.ToBill, 100_000)
	log(a, journal.Labour, 80_000)
	same(t, "the second close", bill(t, a, "m").Subtotal, 80_000)
	a.Metered[0].Closed = true
	s = adds(t, *a)
	same(t, "not needed", s.Unused, 20_000)
	// A later change of the ceiling alone asks for nothing.
	a.Agreed = append(a.Agreed, delta("1", "m", 50_000))
	nothingToBill(t, a, "")
	same(t, "not needed", adds(t, *a).Unused, 70_000)
}

// What the ceiling leaves over is no longer agreed, so a deposit credited in step
// with what is billed is used up when all is billed, not kept for what never comes.
func TestMetered_DepositWithAnUnusedCeiling(t *testing.T) {
	a := metered(400_000, stage("f", 600_000))
	a.Terms.Deposit, a.DepositReceived = 100_000, 100_000
	same(t, "credited with the fixed stage", bill(t, a, "f").DepositCredit, 60_000)
	log(a, journal.Labour, 100_000)
	same(t, "credited on the way, of 10,000.00", billSoFar(t, a).DepositCredit, 10_000)
	log(a, journal.Labour, 100_000)
	// The close takes 2,000.00 off what is agreed: 8,000.00, all billed.
	same(t, "credited with the close", bill(t, a, "m").DepositCredit, 30_000)
	a.Metered[0].Closed = true
	s := adds(t, *a)
	same(t, "covered", s.Covered, 100_000)
	same(t, "unearned", s.DepositUnearned, 0)
}

// The holdback follows what is billed, the part above the ceiling left out.
func TestMetered_Holdback(t *testing.T) {
	a := metered(400_000)
	a.Terms.HoldbackRate = 1000
	log(a, journal.Labour, 350_000)
	same(t, "held", billSoFar(t, a).Holdback, 35_000)
	log(a, journal.Labour, 350_000)
	same(t, "held up to the ceiling", billSoFar(t, a).Holdback, 5_000)
}

// What is billed of a metered stage is billed together, or the ceiling could be
// passed by leaving out its line.
func TestMetered_NotInParts(t *testing.T) {
	a := metered(400_000)
	log(a, journal.Labour, 300_000)
	log(a, journal.Labour, 300_000)
	refs := a.Unbilled("m")
	if len(refs) != 3 {
		t.Fatalf("to bill: %q", refs)
	}
	for _, some := range [][]string{refs[:2], refs[1:], {refs[0]}, {"stage:m"}} {
		if _, ok, err := Next(*a, some, today, ""); ok || journal.CodeOf(err) != journal.Conflict {
			t.Errorf("%q alone: %v, %v", some, ok, err)
		}
	}
}

// Whatever is logged, taken back, changed, billed, cancelled, closed and reopened,
// in any order: what is billed once all is billed is the logged work, at most the
// ceiling, kind by kind as the package comment says, and the statement adds up.
func TestMetered_AnyOrder(t *testing.T) {
	kinds := []journal.LineKind{journal.Labour, journal.Parts, journal.Outside}
	rapid.Check(t, func(t *rapid.T) {
		a := metered(journal.Cents(rapid.Int64Range(0, 500_000).Draw(t, "ceiling")), stage("f", 100_000))
		a.Terms.Tax = Tax{Parts: journal.BasisPoints(rapid.IntRange(0, 1000).Draw(t, "tax"))}
		a.Terms.HoldbackRate = journal.BasisPoints(rapid.IntRange(0, 1000).Draw(t, "holdback"))
		a.Terms.Deposit = 50_000
		a.DepositReceived = a.Terms.Deposit
		cancelled, takenBack := map[string]bool{}, map[string]bool{}
		put := func(d Document) {
			d.Number = len(a.Documents) + 1
			d.ID = fmt.Sprint(d.Number)
			a.Documents = append(a.Documents, d)
		}
		next := func(closes string) {
			d, ok, err := Next(*a, a.Unbilled("m"), today, closes)
			if err != nil {
				t.Fatal(err)
			}
			if ok {
				put(d)
			}
			if left := a.Unbilled("m"); len(left) > 0 {
				if d, ok, err := Next(*a, left, today, closes); ok || err != nil {
					t.Fatalf("there is more to bill at once: %+v, %v", d, err)
				}
			}
		}
		t.Repeat(map[string]func(*rapid.T){
			"log": func(t *rapid.T) {
				kind := rapid.SampledFrom(kinds).Draw(t, "kind")
				log(a, kind, journal.Cents(rapid.Int64Range(0, 200_000).Draw(t, "amount")))
			},
			"take back": func(t *rapid.T) {
				for _, w := range a.Work {
					if w.Split.Total() > 0 && !takenBack[w.Ref] {
						takenBack[w.Ref] = true
						log(a, kindOf(w.Split), -w.Split.Total())
						return
					}
				}
			},
			"change": func(t *rapid.T) {
				a.Agreed = append(a.Agreed, delta(fmt.Sprint(len(a.Agreed)), "m", journal.Cents(rapid.Int64Range(-300_000, 300_000).Draw(t, "delta"))))
			},
			"bill":  func(*rapid.T) { next("") },
			"close": func(*rapid.T) { next("m"); a.Metered[0].Closed = true },
			"reopen": func(*rapid.T) {
				a.Metered[0].Closed = false
			},
			"cancel": func(*rapid.T) {
				for _, d := range a.Documents {
					if d.Kind == Invoice && !cancelled[d.ID] {
						cancelled[d.ID] = true
						memo, err := Cancel(*a, d.ID, today)
						if err != nil {
							t.Fatal(err)
						}
						put(memo)
						return
					}
				}
			},
			"": func(t *rapid.T) {
				adds(t, *a)
				if billed, ceiling := stageBilled(*a), stageCeiling(*a); billed.Total() > ceiling && len(a.Unbilled("m")) == 0 {
					t.Fatalf("%s is billed, above the ceiling of %s", billed.Total(), ceiling)
				}
			},
		})
		next("m")
		a.Metered[0].Closed = true
		s := adds(t, *a)
		var worked journal.Split
		for _, w := range a.Work {
			worked = worked.Add(w.Split)
		}
		billed := stageBilled(*a)
		want := min(worked.Total(), stageCeiling(*a))
		if billed.Total() != want {
			t.Fatalf("billed %s of %s worked, want %s", billed.Total(), worked.Total(), want)
		}
		for _, k := range journal.LineKinds {
			if want >= 0 && (billed.Of(k) < 0 || billed.Of(k) > worked.Of(k)) {
				t.Fatalf("%s: billed %s of %s worked", k, billed.Of(k), worked.Of(k))
			}
		}
		if s.ToBill != 100_000 { // the fixed stage
			t.Fatalf("%s is left to bill", s.ToBill)
		}
	})
}

func kindOf(s journal.Split) journal.LineKind {
	for _, k := range journal.LineKinds {
		if s.Of(k) != 0 {
			return k
		}
	}
	return journal.Labour
}

func stageBilled(a Account) (billed journal.Split) {
	for _, d := range a.Documents {
		for _, c := range d.Charges {
			if c.StageID == "m" {
				billed = billed.Add(c.Split)
			}
		}
	}
	return billed
}

func stageCeiling(a Account) (ceiling journal.Cents) {
	for _, c := range a.Agreed {
		if c.StageID == "m" {
			ceiling += c.Split.Total()
		}
	}
	return ceiling
}
