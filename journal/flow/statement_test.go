package flow_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"farbay/journal"
	"farbay/journal/billing"
	"farbay/journal/flow"
	"farbay/journal/signoff"
)

// told has the money of Heron go its way over ten days, one thing each, and calls
// then at the end of each.
func (y *yard) told(then func(day int)) {
	y.t.Helper()
	y.do(y.saveTerms(y.heron, billing.Terms{Deposit: 140_000, Crediting: billing.ProRata, HoldbackRate: 1000, DueDays: 10, Tax: billing.Tax{Labour: 500}}))
	var first flow.Invoice
	var metered journal.StageID
	days := []func(){
		func() {
			y.agreeOn(y.heron, func(rows []flow.StageScope) {
				rows[1].Value = journal.Split{Labour: 300_000, Parts: 12_345, Outside: 700, Delivery: 50, Other: 3}
				rows[2].Value, rows[2].Metered = journal.Split{Labour: 60_000}, true
			})
			y.agrees(y.ada)
		},
		func() {
			y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, journal.Payment{ID: "form-number-of-deposit", Amount: 140_000, On: "2026-04-14", Means: journal.Wire}))
		},
		func() {
			p := y.sent(y.heron, y.pans(y.heron, 0))
			got(y.steps.Decide(y.ctx, y.ada, y.heron, p.ID, y.form(y.ada, p, signoff.OutcomeSigned)))(y.t)
		},
		func() {
			inv, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, y.ready(y.heron, 0))
			y.do(err)
			first = inv
		},
		func() {
			p := payment(1, first.ID, 10_000)
			y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, p))
			y.do(y.steps.ReversePayment(y.ctx, y.office, y.heron, p.ID, "It bounced."))
			y.do(y.steps.RecordPayment(y.ctx, y.office, y.heron, payment(2, first.ID, 20_001)))
		},
		func() {
			y.allowed(50_000, 100_000)
			got(y.steps.BookUse(y.ctx, y.office, y.heron, used("use-form-000000000000001", y.find(y.heron, 31, journal.OwnerToo), 10_000)))(y.t)
		},
		func() {
			metered = y.ready(y.heron, 2)
			y.log(y.jory, y.hours(1, metered))
			y.log(y.jory, y.chrome(2, metered))
			y.log(y.jory, y.hours(3, metered))
			y.do(y.steps.TakeBackWork(y.ctx, y.jory, y.heron, workForm(3), "Wrong stage."))
		},
		func() { got(y.steps.BillWork(y.ctx, y.office, y.heron, metered))(y.t) },
		func() {
			_, _, err := y.steps.CloseStage(y.ctx, y.office, y.heron, metered)
			y.do(err)
		},
		func() {
			y.do(y.steps.ReopenStage(y.ctx, y.office, y.heron, y.stage(y.heron, 0).ID, "Everything anew.", true))
		},
	}
	for i, day := range days {
		day()
		then(i)
		y.now = y.now.Add(24 * time.Hour)
	}
}

func (y *yard) day() journal.Date {
	return journal.DateOf(y.now, got(time.LoadLocation("America/Denver"))(y.t))
}

// A statement of a day is the same whenever it is made, agrees with the one that the
// record of events makes of that instant, and each of its figures is the sum of its
// records.
func TestStatementAt_TheSameWheneverItIsMade(t *testing.T) {
	y := newYard(t)
	began := y.day()
	var then []flow.StatementOn
	y.told(func(int) { then = append(then, got(y.steps.StatementAt(y.ctx, y.office, y.heron, y.day(), began))(t)) })
	var kinds []string
	for i, was := range then {
		is := got(y.steps.StatementAt(y.ctx, y.ada, y.heron, was.On, began))(t)
		if diff := cmp.Diff(was.Period, is.Period); diff != "" {
			t.Errorf("the statement of %s is another one now:\n%s", was.On, diff)
		}
		if was.Over || !is.Over || is.Entry != was.Entry || is.Entry.Seq == 0 {
			t.Errorf("of %s: %+v and %+v", was.On, was.Entry, is.Entry)
		}
		if err := is.Period.Check(); err != nil {
			t.Errorf("of %s: %v", was.On, err)
		}
		if err := is.Application().Check(); err != nil {
			t.Errorf("of %s: %v", was.On, err)
		}
		y.do(y.steps.Store.Read(y.ctx, func(r flow.Reads) error {
			logged, err := flow.AccountFromLog(r, y.heron, is.Until)
			if text := flow.Unlike(is.Period, billing.PeriodOf(billing.Books{Before: is.Books.Before, Now: logged})); text != "" {
				t.Errorf("of %s: %s", was.On, text)
			}
			return err
		}))
		for _, f := range billing.Figures() {
			figure, _ := is.Period.Figure(f, nil)
			var sum journal.Cents
			for _, part := range billing.Explain(is.Books, f, nil) {
				sum += part.Amount
			}
			if sum != figure {
				t.Errorf("of %s: %s is %s, and its records come to %s", was.On, f, figure, sum)
			}
		}
		s := is.Period.Now
		kinds = append(kinds, fmt.Sprintf("%d: agreed %s billed %s paid %s due %s", i, s.Agreed, s.Billed, s.Paid, s.Due))
	}
	// Worked by hand: a stage of 1,000.00 and a change of 2,302.00 are billed; then work
	// for 590.00 of a ceiling of 600.00; then the first is taken back.
	for i, want := range []string{"billed 0.00", "billed 0.00", "billed 0.00", "billed 3,302.00 paid 0.00", "billed 3,302.00 paid 200.01", "billed 3,302.00",
		"billed 3,302.00", "billed 3,892.00", "billed 3,892.00", "billed 590.00 paid 200.01"} {
		if !strings.Contains(kinds[i], want) {
			t.Errorf("%s; want %q", kinds[i], want)
		}
	}
	for i := 1; i < len(then); i++ {
		if cmp.Equal(then[i-1].Period.Now, then[i].Period.Now) {
			t.Errorf("nothing came about on day %d", i)
		}
	}
}

// What falls on the last instant of a day at the shop is of that day, and what falls
// on the first of the next is not; on the day the clocks change too.
func TestStatementAt_DayEndsAtTheShop(t *testing.T) {
	for _, tc := range []struct {
		name string
		at   time.Time // of the recording
		on   journal.Date
		in   bool
	}{
		{"the last instant of a day", time.Date(2026, 4, 15, 5, 59, 59, 999e6, time.UTC), "2026-04-14", true},
		{"the first of the next", time.Date(2026, 4, 15, 6, 0, 0, 0, time.UTC), "2026-04-14", false},
		{"the last of the day that has 25 hours", time.Date(2026, 11, 2, 6, 59, 59, 999e6, time.UTC), "2026-11-01", true},
		{"the first after it", time.Date(2026, 11, 2, 7, 0, 0, 0, time.UTC), "2026-11-01", false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			y := newYard(t)
			y.now = tc.at
			y.agree(y.heron)
			y.now = tc.at.Add(48 * time.Hour)
			v := got(y.steps.StatementAt(y.ctx, y.ada, y.heron, tc.on, ""))(t)
			if in := v.Period.Now.Agreed != 0; in != tc.in {
				t.Errorf("agreed %s as of %s", v.Period.Now.Agreed, tc.on)
			}
			if recorded := v.Entry.Kind == "agreement recorded"; recorded != tc.in {
				t.Errorf("it goes up to %+v", v.Entry)
			}
		})
	}
}

func TestStatementAt_Refuses(t *testing.T) {
	y := newYard(t)
	for _, tc := range []struct {
		name      string
		on, since journal.Date
		field     string
	}{
		{"a day to come", "2026-04-15", "", "on"},
		{"no day", "", "", "on"},
		{"a far year", "0026-04-14", "", "on"},
		{"a period that ends before it begins", "2026-04-13", "2026-04-14", "since"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := y.steps.StatementAt(y.ctx, y.ada, y.heron, tc.on, tc.since)
			refused(t, err, journal.Invalid, tc.field)
		})
	}
	_, err := y.steps.StatementAt(y.ctx, y.ben, y.heron, "2026-04-14", "")
	refused(t, err, journal.NotFound)
	before := got(y.steps.StatementAt(y.ctx, y.ada, y.heron, "2020-01-01", "2019-01-01"))(t)
	if before.Entry.Seq != 0 || before.Period.Now.Agreed != 0 {
		t.Errorf("before the build began: %+v", before)
	}
}

// Where the tables were edited so that they still add up, the record tells.
func TestCheck_StatementFromTheRecord(t *testing.T) {
	for name, change := range map[string]string{
		"a stage's value that is not billed": "UPDATE stages SET labour = labour + 1 WHERE position = 2",
		"a stage became metered":             "UPDATE stages SET metered = 1 WHERE position = 2",
		"the lines of a use":                 `UPDATE allowance_uses SET lines = replace(lines, '10000', '10001')`,
	} {
		t.Run(name, func(t *testing.T) {
			y := newYard(t)
			y.told(func(int) {})
			if faults := y.checked(); len(faults) > 0 {
				t.Fatalf("before: %+v", faults)
			}
			db := y.tampered()
			result, err := db.ExecContext(context.Background(), change)
			y.do(err)
			if n := got(result.RowsAffected())(t); n == 0 {
				t.Fatal("nothing was changed")
			}
			found := false
			for _, f := range y.checked() {
				found = found || strings.Contains(f.Text, "The statement of Heron is not the one that the record makes: ")
			}
			if !found {
				t.Errorf("the check tells %+v", y.checked())
			}
		})
	}
}
