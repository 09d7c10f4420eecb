package billing

import (
	"testing"

	"pgregory.net/rapid"

	"farbay/journal"
)

// Day by day over every boundary. The columns are common practice, no source.
func TestBucketOf_DayByDay(t *testing.T) {
	want := map[AgeBucket][2]int{NotLate: {-400, 0}, LateTo30: {1, 30}, LateTo60: {31, 60}, LateTo90: {61, 90}, LateOver90: {91, 900}}
	days := 0
	for bucket, ends := range want {
		for late := ends[0]; late <= ends[1]; late++ {
			days++
			if got := BucketOf(late); got != bucket {
				t.Errorf("%d days late stands in column %d, want %d", late, got, bucket)
			}
		}
	}
	if days != 1301 {
		t.Errorf("%d days tried", days)
	}
}

func TestAgingOf(t *testing.T) {
	a := account(stage("a", 100_00), stage("b", 50_00), stage("c", 70_00), stage("d", 30_00))
	a.Terms.DueDays = 10
	for _, id := range []string{"a", "b", "c", "d"} {
		bill(t, a, id)
	}
	// The calendar days are counted by hand.
	for i, due := range []journal.Date{"2026-01-13", "2026-01-14", "2026-03-15", "2026-04-14"} {
		a.Documents[i].DueOn = due
	}
	for _, tc := range []struct {
		name string
		on   journal.Date
		want [AgeBuckets]journal.Cents
	}{
		{"on the due day of the last", "2026-04-14", [AgeBuckets]journal.Cents{30_00, 70_00, 0, 50_00, 100_00}},
		{"a day later", "2026-04-15", [AgeBuckets]journal.Cents{0, 30_00, 70_00, 0, 150_00}},
		{"the first is 90 days late", "2026-04-13", [AgeBuckets]journal.Cents{30_00, 70_00, 0, 150_00, 0}},
		{"over the change of clocks, 60 and 59 days", "2026-03-14", [AgeBuckets]journal.Cents{100_00, 0, 150_00, 0, 0}},
	} {
		got := AgingOf(*a, tc.on)
		if got.Open != tc.want || got.Favour != 0 || got.Due() != Due(*a) || len(got.Documents) != 4 {
			t.Errorf("%s: %v, %s in favour, %d documents; want %v", tc.name, got.Open, got.Favour, len(got.Documents), tc.want)
		}
	}
	if late := AgingOf(*a, "2026-04-14").Documents[0].Late; late != 91 {
		t.Errorf("13 January is %d days before 14 April, want 91", late)
	}
}

// Money in the owner's favour has its own column, and money on account shortens
// the oldest documents first.
func TestAgingOf_Favour(t *testing.T) {
	a := account(stage("a", 100_00), stage("b", 50_00))
	bill(t, a, "a")
	a.Payments = append(a.Payments, Payment{ID: "p", Amount: 120_00, On: today})
	aging := AgingOf(*a, today)
	same(t, "nothing is open", aging.Total(), 0)
	same(t, "20.00 is left on account", aging.Favour, 20_00)
	same(t, "of it on the first invoice", Open(*a)[0].OnAccount, 100_00)
	bill(t, a, "b")
	aging = AgingOf(*a, today)
	same(t, "the second is open with the rest", aging.Total(), 30_00)
	same(t, "nothing is left", aging.Favour, 0)
	same(t, "of it on the second", Open(*a)[1].OnAccount, 20_00)
	a.Payments = append(a.Payments, Payment{ID: "q", Amount: -120_00, On: today, Reverses: "p"})
	same(t, "it bounced", AgingOf(*a, today).Total(), 150_00)
	same(t, "and pays nothing any more", Open(*a)[0].OnAccount, 0)
}

// Credit and money on account are told apart.
func TestOpen_OnAccountIsPartOfCredited(t *testing.T) {
	a := account(stage("a", 100_00), stage("b", 0))
	bill(t, a, "a")
	a.Agreed = append(a.Agreed, delta("1", "b", -30_00))
	bill(t, a, "b")
	a.Payments = append(a.Payments, Payment{ID: "p", Amount: 25_00, On: today})
	first := Open(*a)[0]
	same(t, "settled by both", first.Credited, 55_00)
	same(t, "of it by money on account", first.OnAccount, 25_00)
	same(t, "left", first.Open, 45_00)
	same(t, "the memo has none of it", Open(*a)[1].OnAccount, 0)
}

// Whatever was billed and paid, the columns sum to what is due.
func TestAgingOf_SumsToDue(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		a := account()
		for i := range rapid.IntRange(1, 6).Draw(r, "documents") {
			id := string(rune('a' + i))
			a.Agreed = append(a.Agreed, stage(id, journal.Cents(rapid.IntRange(-50_00, 200_00).Draw(r, "amount"))))
			d := Document{
				ID: "d" + id, Number: i + 1, Kind: Invoice, Payable: a.Agreed[i].Split.Labour, Subtotal: a.Agreed[i].Split.Labour,
				IssuedOn: today.AddDays(rapid.IntRange(-200, 0).Draw(r, "issued")),
			}
			if d.Payable < 0 {
				d.Kind = CreditMemo
			} else {
				d.DueOn = d.IssuedOn.AddDays(rapid.IntRange(0, 60).Draw(r, "days to pay"))
			}
			a.Documents = append(a.Documents, d)
		}
		for i := range rapid.IntRange(0, 8).Draw(r, "payments") {
			to := ""
			if n := rapid.IntRange(0, len(a.Documents)).Draw(r, "to"); n < len(a.Documents) {
				to = a.Documents[n].ID
			}
			a.Payments = append(a.Payments, Payment{ID: string(rune('0' + i)), DocumentID: to, Amount: journal.Cents(rapid.IntRange(-100_00, 150_00).Draw(r, "paid"))})
		}
		aging := AgingOf(*a, today)
		if aging.Due() != Due(*a) {
			r.Fatalf("the columns come to %s, and %s is due", aging.Due(), Due(*a))
		}
		var documents journal.Cents
		for _, d := range aging.Documents {
			documents += d.Open
		}
		if documents+aging.OwedAgain != aging.Total() || aging.Favour < 0 || aging.OwedAgain < 0 {
			r.Fatalf("documents %s, %+v", documents, aging)
		}
		for _, b := range Open(*a) {
			if b.OnAccount < 0 || b.Document.Payable-b.Paid-b.Credited != b.Open {
				r.Fatalf("%+v", b)
			}
		}
	})
}
